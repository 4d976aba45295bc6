"""Steps, reps and cues as lines of text, for a machine without a screen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from trainer.core.records import Phase, Rep, Step
from trainer.core.repeat import turn_spread
from trainer.core.rules import Rules
from trainer.core.summary import comfort_words, cue_words, line_words, spread_words, words_for

if TYPE_CHECKING:
    from trainer.players import PlayerRecord
    from trainer.shared import Shared

KEPT = "kept"  #: of a rep that is on the disk
#: What the mirror tells of itself while it runs.
LOADING_MODEL = "Loading the pose model."
NO_SOUND = "No sound (trainer doctor says why)."
SOUND_OFF = "Sound off."
VOLUME_MUTED = "Sound off: M brings it back, then V"
FILMING_NOW = "Filming: pictures round each rep are kept, no sound"
FILMING_ENDED = "Not filming any more"
NO_PICTURES = "No pictures here: no rep is kept"
#: What the volume test plays, the softest first.
VOLUME_WORDS = (
    "Volume: the softest there is, head just out",
    "Volume: hips just out, as soft",
    "Volume: head far out, from the left",
    "Volume: hips far out, from the right",
    "Volume: turn reached. The first must be heard where you stand",
)

NO_PLAYERS = (
    "No player has a record in {} yet. trainer live --player NAME begins one."  #: in which folder
)
#: Of a player whose record was taken away or given another name by hand.
RECORDLESS = "{0}: no record, but reps are kept; trainer rename {0} NAME gives them to NAME"

#: What each phase is called to the player.
PHASE_WORDS = {
    Phase.NOBODY: "nobody in the picture",
    Phase.WAITING: "waiting for address",
    Phase.SETUP: "setup",
    Phase.TAKEAWAY: "takeaway",
    Phase.BACKSWING: "backswing",
    Phase.TOP: "top",
    Phase.AFTER: "after the top",
}


def step_lines(step: Step, rules: Rules, *, seen_notices: set[str]) -> Iterator[str]:
    """Yield a line for each move, cue, finished rep and new notice of ``step``."""
    for change in step.changes:
        yield f"{change.t_s:8.2f} s  {PHASE_WORDS[change.phase]}"
    for cue in step.told:
        delay_ms = (cue.decided_t_s - cue.t_s) * 1000
        yield (
            f"{cue.t_s:8.2f} s  cue: {cue_words(cue.kind, cue.side)} (decided {delay_ms:.0f} ms on)"
        )
    for notice in step.notices:
        if notice not in seen_notices:
            seen_notices.add(notice)
            yield f"{step.t_s:8.2f} s  note: {notice}"
    rep = step.rep
    if rep is not None and rep.verdict is not None and not rep.verdict.told:
        yield f"{step.t_s:8.2f} s  rep {rep.number}: on your own, not told"
    elif rep is not None:
        yield rep_line(rep, rules)


def rep_line(rep: Rep, rules: Rules) -> str:
    """Return one rep as a line: when, verdict, reasons."""
    lines = words_for(rep, rules).lines if rep.verdict is None else rep.verdict.lines
    when_s = rep.top_t_s if rep.top_t_s is not None else rep.takeaway_t_s
    back = "" if rep.backswing_s is None else f", backswing {rep.backswing_s:.2f} s"
    return f"{when_s:8.2f} s  rep {rep.number}: {'; '.join(lines)}{back}"


def spread_line(reps: Iterable[Rep]) -> Iterator[str]:
    """Yield one line on how alike the reps are, or none for too few."""
    words = spread_words(turn_spread(reps))
    if words:
        yield words[0].upper() + words[1:] + " (player and camera together)."


def sittings_lines(sittings: Sequence[Shared], *, each_rep: bool) -> Iterator[str]:
    """Yield what each player's sitting came to: the reps, where wanted, and how alike they are."""
    for one in sittings:
        if len(sittings) > 1 and one.player:
            yield f"{one.player}:"
        for rep in one.reps if each_rep else ():
            yield rep_line(rep, one.rules)
        yield from spread_line(one.reps)


def player_line(name: str, rules: Rules) -> str:
    """Return what is used of a player's record as a line."""
    known = [f"{rules.handed.value}-hander"]
    if rules.stature_cm is not None:
        known.append(f"{rules.stature_cm:g} cm")
    if rules.ball_line_cm:
        known.append(line_words(rules.ball_line_cm).lower())
    if rules.own is not None:
        known.append(f"today's reference rep {rules.own.turn_deg:.0f}°")
    comfort = comfort_words(rules)
    if comfort:
        known.append(comfort[0].lower() + comfort[1:])
    return f"Player {name}: {', '.join(known)}."


def roster_line(record: PlayerRecord) -> str:
    """Return what is known of one player of the roster as a line."""
    known = [] if record.handed is None else [f"{record.handed.value}-hander"]
    for value, words in (
        (record.stature_cm, "{:g} cm tall"),
        (record.target_deg, "target {:g}°"),
        (record.comfort_deg, "comfortable maximum {:g}°"),
    ):
        if value is not None:
            known.append(words.format(value))
    if record.silent_checks:
        last = record.silent_checks[-1]
        known.append(f"last silent check {last.good} of {last.reps} good")
    if record.practised is not None:
        known.append(f"practised {record.practised}")
    if record.notes:
        known.append(" ".join(record.notes.split()))
    return f"{record.name}: {', '.join(known) or 'nothing known yet'}"
