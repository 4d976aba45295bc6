"""The words of the window, worked out from a view; nothing drawn."""

from __future__ import annotations

from typing import Final, NamedTuple

from trainer.adapters.screen_state import (
    RESTING,
    SWINGING,
    at_top,
    just_ended,
    view_rules,
)
from trainer.core.practice_rules import PracticeKind, TurnOf
from trainer.core.practice_shown import PracticeShown
from trainer.core.practice_words import CUES, KINDS
from trainer.core.records import Handed, Measures, Phase, Source
from trainer.core.rod_check import RodStage
from trainer.core.summary import SOURCE_WORDS, rod_words, tag_words
from trainer.ports import View

WINDOW_TITLE: Final = "Backswing mirror"
NOT_MEASURED: Final = "not measured"
OPENING: Final = "opening camera …"
GETTING_READY: Final = "getting ready …"
STALE: Final = "no new pictures"
FILMING: Final = "filming"
REPS: Final = "reps"
CM: Final = "cm"
DRIFT_NAMES: Final = {"head": "head", "hips": "hips"}
OUT: Final = "out"
HEAD_WAYS: Final = {"": "", "out": OUT, "up": "up", "down": "down"}  #: of ``head_way``
AT_THE_TOP: Final = "at the top"
TARGET_SIDE: Final = "target"
TURN_WORDS: Final = {"maybe": "maybe", "reached": "there", "past": "enough"}  #: by turn_state
OWN: Final = "own"  #: over a target taken from the player's own rep
TONES_ONLY: Final = "tones only"
NO_TARGET: Final = "no target"
FAR_TARGET: Final = "target {}°"  #: under the bar that is read across a room
FAR_OWN: Final = "own target {}°"
BALL_LINE: Final = "ball line"
ROD_TITLE: Final = "camera check"
ROD_STEPS: Final = (
    (RodStage.START, "1  face the camera, still"),
    (RodStage.TURN, "2  shaft parallel to the rod"),
    (RodStage.DONE, "3  what the camera read"),
)
ROD_TRUE: Final = "at your true 90°"
#: The checkpoints in the list; the one to do now stands in the headline with its whole name.
POINTS_LISTED: Final = ("setup", "hip height", "arm level", "top")
GHOST_OWN: Final = "your own rep"
GHOST_NEXT: Final = "next"
LIST_EMPTY: Final = "none"
HELP_TITLE: Final = "Keys"
SIGNS_TITLE: Final = "Without the keyboard"
NOW: Final = "now"  #: beside the tick of what is in force
KINDS_TITLE: Final = "What to practise"
KINDS_KEYS: Final = "a key, or up, down and Enter: choose   ·   Esc: back"
GO_ON: Final = "press any key to go on"
MIRROR_KEYS: Final = (
    ("F", "full screen, and back"),
    ("R", "new setup: stand at address again"),
    ("H", "switch right-hander / left-hander"),
    ("M", "sound off, and on again"),
    ("V", "is it loud enough? the tones, from the softest on"),
    ("P", "pain: stop asking for turn"),
    ("Left, Right", "at setup: move the ball line; the mouse drags it too"),
    ("T", "this one: the last rep is your reference for today"),
    ("O", "aim at your own reference, and back"),
    ("X", "the last rep went as far as is comfortable: no target much above it"),
    ("C", "check the camera with a rod, and end the check"),
    ("K", "what to practise; Page Down and Page Up go through the kinds"),
    ("S", "which reps are told: every, alternate, fading, bandwidth, silent"),
    ("G", "guess first; then 1 short, 2 there, 3 past"),
    ("Y", "begin the silent check that is offered"),
    ("B or full stop", "pause, and go on"),
    ("J", "answer signs by hand, and no longer"),
    ("L", "the list of sessions that were kept, and back"),
    ("E", "make the report of the last session and show it"),
    ("I", "film the reps, without sound, and no longer"),
    ("N", "next player of the roster; with Shift the one before"),
    ("+, −", "coach: the last rep was good, was not; once more takes it back"),
    ("W", "coach: write a note on the last rep"),
    ("Space", "the last rep standing still: step through it, and back"),
    ("U", "the last rep's top beside the reference's, and back"),
    ("Up, Down", "target higher, lower; A: the band or a tolerance in its place"),
    ("D", "very large, for a screen across the room, and back"),
    ("F2", "where to put the camera, and back"),
    ("F3", "choose the camera and say who you are once more"),
    ("F4", "the caution"),
    ("F1 or ?", "this page; once more: the signs by hand"),
    ("Q or Esc", "quit; Esc first takes a page away"),
)

_PHASES: Final = {
    Phase.NOBODY: "step into the picture",
    Phase.WAITING: "stand at address, hands on the club",
    Phase.SETUP: "setup",
    Phase.TAKEAWAY: "takeaway",
    Phase.BACKSWING: "backswing",
    Phase.TOP: "top",
    Phase.AFTER: "back to setup",
}


def page_number(number: int, count: int) -> str:
    """Return which page of the first run it is."""
    return f"{number} of {count}"


def headline(view: View, *, stale: bool = False) -> str:
    """Return the one thing to read from afar: what is happening, or what to do now."""
    if view.guide is not None:
        return view.guide.title
    if view.image_rgb is None:
        return OPENING
    if stale:
        return STALE
    if view.step is None:
        return GETTING_READY
    if view.rod is not None:
        return rod_words(view.rod)[0]
    if view.practice is not None and view.practice.sign:
        return view.practice.sign
    if view.practice is not None and view.practice.headline:
        return view.practice.headline
    if verdict_words(view) and just_ended(view, view.step):
        return view.last_rep_words[0]
    return _PHASES[view.step.phase]


def verdict_words(view: View) -> tuple[str, ...]:
    """Return what may be read of the last rep: nothing where tones alone tell of it."""
    return view.last_rep_words if view.look.figures else ()


def notices(view: View, *, stale: bool = False) -> tuple[str, ...]:
    """Return the status lines that carry a mark, the most pressing first.

    While a rep's verdict stands, its reasons have the line, unless pictures or pain matter more.
    """
    if view.answer or view.rod is not None:
        return ()  # what a key just did, and what to do in the check, have the line
    reasons = len(verdict_words(view)) > 1 and not stale and not view.pain
    if reasons and view.step is not None and just_ended(view, view.step):
        return ()
    lines = list(view.notices)
    if view.step is not None:
        lines += [text for text in view.step.notices if text not in lines]
    if view.pain:
        lines.insert(0, "Pain marked: stop and rest; no turn is asked for")
    if lines and view.practice is not None and view.practice.line:
        lines.append(view.practice.line)  # which schedule runs stays to be seen
    return tuple(text.removesuffix(".") for text in lines)


def quiet_line(view: View, *, stale: bool = False) -> str:
    """Return the small line while there is no notice: the last verdict, or how things run."""
    if view.answer:
        return view.answer
    if view.rod is not None:
        return ""  # it has a column to itself
    practised = "" if view.practice is None else view.practice.line
    if practised and not (view.step is not None and just_ended(view, view.step)):
        return practised
    if verdict_words(view) and not stale and view.step is not None:
        big = headline(view)
        rest = [words for words in view.last_rep_words if words != big]
        if view.step.phase in RESTING | {Phase.SETUP} and rest:
            lead = "" if big == view.last_rep_words[0] else "last rep: "
            return lead + "  ·  ".join(rest)
    return running_line(view)


def running_line(view: View) -> str:
    """Return handedness, sound, pace and delay in one line; in a swing what tags tell besides."""
    if view.step is not None and view.step.phase in SWINGING:
        told = tag_words(view.step.measures, view_rules(view).cues)
        if told and view.look.figures:
            return "  ·  ".join(told)
    parts = [f"{(Handed.LEFT if view.handed_left else Handed.RIGHT).value}-hander"]
    if view.own is not None and not view.pain:
        parts.append("target and bands: your own rep")
    if not view.look.figures:
        parts.append(TONES_ONLY)
    if view.muted:
        parts.append("muted")
    if view.fps is not None:
        parts.append(f"{view.fps:.0f} readings a second")
    if view.cue_delay_ms is not None:
        parts.append(f"cue {view.cue_delay_ms:.0f} ms after its picture")
    parts.append("F1 keys")
    return "  ·  ".join(parts)


def whole(value: float) -> str:
    """Return a number without decimals and with a true minus sign; never "-0"."""
    rounded = round(value)
    return f"−{-rounded}" if rounded < 0 else str(rounded)


def centimetres(value_cm: float) -> str:
    """Return the size of a drift; the beam shows its direction."""
    return str(round(abs(value_cm)))


def turn_title(view: View) -> str:
    """Return what the large figure of the turn is."""
    of = "chest turn" if view.turn_of is TurnOf.CHEST else "shoulder turn"
    return of if at_top(view) is None else "turn at the top"


def turn_caption(measures: Measures, view: View) -> str:
    """Return what the turn rests on and its standard error, for under its figure.

    "Your own" is the error that a comparison with tags found for this player.
    """
    se_deg = measures.shoulder_turn_se_deg
    name = "thorax_turn_deg" if view.turn_of is TurnOf.CHEST else "shoulder_turn_deg"
    source = (measures.sources or {}).get(name, Source.POSE)
    if source is Source.POSE:
        if se_deg is None:
            return "camera estimate"
        is_own = view.step is not None and view.step.own_turn_error
        return f"your own ±{whole(se_deg)}°" if is_own else estimate(se_deg)
    words = SOURCE_WORDS[source]
    return words if se_deg is None else f"{words} ±{whole(se_deg)}°"


def estimate(se_deg: float) -> str:
    """Return how sure an estimate is, by its standard error."""
    return f"estimate ±{whole(se_deg)}°"


def back_words(gap_cm: float) -> str:
    """Return how far the back's edge was from the ball line at the top; negative is past it."""
    past = " past" if gap_cm < 0 and whole(gap_cm) != "0" else ""
    return f"back {whole(abs(gap_cm))} cm{past}"


def kept_back(view: View, part: str) -> str:
    """Return why "turn" or "drifts" is not shown now; empty where it may be."""
    practice = view.practice
    if practice is None or (practice.turn if part == "turn" else practice.drifts):
        return ""
    if not practice.verdict:
        return "your guess first"
    if part == "turn" and practice.kind is PracticeKind.CENTRED:
        return "head and hips only"
    if part == "drifts" and practice.kind is PracticeKind.TURN_ONLY:
        return "turn only"
    return "on your own"


class Choice(NamedTuple):
    """A row of a page of choices."""

    key: str
    name: str
    what: str
    in_force: bool = False


def kinds_choices(practice: PracticeShown | None) -> tuple[Choice, ...]:
    """Return the kinds with their keys, the one in force marked, and how they are told."""
    practice = practice or PracticeShown()
    kinds = (
        Choice(str(key), *KINDS[kind], in_force=kind is practice.kind)
        for key, kind in enumerate(PracticeKind, start=1)
    )
    guess = "on" if practice.guess_first else "off"
    return (
        *kinds,
        Choice("S", "which reps are told", f"now: {CUES[practice.cues]}"),
        Choice(
            "G", "guess first", f"now {guess}: say short, there or past before the figure shows"
        ),
    )


def rows_of(first: int, last: int, count: int) -> str:
    """Return which rows of a long list are seen."""
    return f"{first} to {last} of {count}"
