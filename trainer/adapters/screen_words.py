"""The words of the window, worked out from a view; nothing drawn."""

from __future__ import annotations

from typing import Final

from trainer.core import own_rep
from trainer.core.asked_turn import asked
from trainer.core.cues import least_turn_deg
from trainer.core.practice_rules import TurnOf
from trainer.core.records import Handed, Measures, Phase, Source, Step
from trainer.core.rules import CueRules, Rules
from trainer.core.summary import SOURCE_WORDS, rod_words, tag_words
from trainer.ports import View

NOT_MEASURED: Final = "not measured"
OPENING: Final = "opening camera …"
GETTING_READY: Final = "getting ready …"
STALE: Final = "no new pictures"
VERDICT_S: Final = 6.0  #: how long after a rep its verdict is the headline
MIRROR_KEYS: Final = (
    ("F", "full screen, and back"),
    ("R", "new setup: stand at address again"),
    ("H", "switch right-hander / left-hander"),
    ("M", "sound off, and on again"),
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
#: Phases in which turn and drift count.
SWINGING: Final = frozenset({Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP})
_RESTING: Final = frozenset({Phase.NOBODY, Phase.WAITING, Phase.AFTER})


def headline(view: View, *, stale: bool = False) -> str:
    """Return the one thing to read from afar: what is happening, or what to do now."""
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
    if view.last_rep_words and _just_ended(view, view.step):
        return view.last_rep_words[0]
    return _PHASES[view.step.phase]


def _just_ended(view: View, step: Step) -> bool:
    """Return True for a while after a rep, until the player stands at setup again."""
    if step.phase not in _RESTING:
        return False
    rep = view.last_rep
    ended_s = None if rep is None else rep.top_end_t_s
    if ended_s is None:
        return step.phase is Phase.AFTER
    return 0.0 <= step.t_s - ended_s <= VERDICT_S


def at_top(view: View) -> Measures | None:
    """Return the last rep's reading at its top while its verdict is the headline, else None.

    Just after a rep the player looks up to see how it was; the follow-through's own readings
    would say nothing. Shown under titles that say so.
    """
    if view.step is None or view.last_rep is None or not _just_ended(view, view.step):
        return None
    return view.last_rep.at_top


def notices(view: View, *, stale: bool = False) -> tuple[str, ...]:
    """Return the status lines that carry a mark, the most pressing first.

    While a rep's verdict stands, its reasons have the line, unless pictures or pain matter more.
    """
    if view.answer or view.rod is not None:
        return ()  # what a key just did, and what to do in the check, have the line
    reasons = len(view.last_rep_words) > 1 and not stale and not view.pain
    if reasons and view.step is not None and _just_ended(view, view.step):
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
        return rod_words(view.rod)[1]
    practised = "" if view.practice is None else view.practice.line
    if practised and not (view.step is not None and _just_ended(view, view.step)):
        return practised
    if view.last_rep_words and not stale and view.step is not None:
        big = headline(view)
        rest = [words for words in view.last_rep_words if words != big]
        if view.step.phase in _RESTING | {Phase.SETUP} and rest:
            lead = "" if big == view.last_rep_words[0] else "last rep: "
            return lead + "  ·  ".join(rest)
    return running_line(view)


def running_line(view: View) -> str:
    """Return handedness, sound, pace and delay in one line; in a swing what tags tell besides."""
    if view.step is not None and view.step.phase in SWINGING:
        told = tag_words(view.step.measures, _view_rules(view).cues)
        if told:
            return "  ·  ".join(told)
    parts = [f"{(Handed.LEFT if view.handed_left else Handed.RIGHT).value}-hander"]
    if view.own is not None and not view.pain:
        parts.append("target and bands: your own rep")
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


def judged(view: View) -> bool:
    """Return True where a turn or drift counts: takeaway to top, and the last rep's top."""
    return view.step is not None and (view.step.phase in SWINGING or at_top(view) is not None)


def hips_judged(view: View) -> bool:
    """Return True where the hips count, as their tone does: at the top, or strictly always."""
    if view.hips_strict:
        return judged(view)
    return view.step is not None and (view.step.phase is Phase.TOP or at_top(view) is not None)


def turn_state(measures: Measures, view: View, before: str = "none") -> str:
    """Return "none", "below", "maybe", "reached" (from the target to the band's end) or "past" it.

    The target is reached where its tone sounds: at the target, not at the band's lower end, and
    with the confidence asked for; a reading at the target that is not so sure is a "maybe". What
    was reached or past ``before`` stays so until the turn has come back by the hysteresis. Once
    pain is marked there is no target, so nothing is reached or past; nor is it between swings.
    """
    turn_deg = measures.shoulder_turn_deg
    if turn_deg is None:
        return "none"
    if view.pain or not judged(view):
        return "below"
    confidence, hysteresis_deg = view.turn_confidence, view.turn_hysteresis_deg
    least_deg = least_turn_deg(turn_deg, measures.shoulder_turn_se_deg, confidence)
    target_deg, enough_deg = view.target_deg, view.target_deg + view.turn_band_deg
    past = least_deg > enough_deg - (hysteresis_deg if before == "past" else 0.0)
    if past and least_deg >= target_deg:  # also where the hysteresis is wider than the band
        return "past"
    if least_deg >= target_deg - (hysteresis_deg if before in ("reached", "past") else 0.0):
        return "reached"
    return "below" if turn_deg < target_deg else "maybe"


def drift_state(drift_cm: float | None, tol_cm: float, *, counts: bool) -> str:
    """Return "none", "in", "out", or "off": outside, but in a phase where it does not count.

    The edge itself is in.
    """
    if drift_cm is None:
        return "none"
    if abs(drift_cm) <= tol_cm:
        return "in"
    return "out" if counts else "off"


def _view_rules(view: View) -> Rules:
    """Return the rules of the bands, as the view states them."""
    return Rules(
        own=view.own,
        cues=CueRules(
            head_tol_cm=view.head_tol_cm,
            hip_tol_cm=view.hip_tol_cm,
            hips_strict=view.hips_strict,
            turn_of=view.turn_of,
            own_top=view.own is not None,
        ),
    )


def asked_of(measures: Measures, view: View) -> Measures:
    """Return the measures with the turn that the target is about as the shoulder turn."""
    return asked(measures, _view_rules(view).cues)


def turn_title(view: View) -> str:
    """Return what the large figure of the turn is."""
    of = "chest turn" if view.turn_of is TurnOf.CHEST else "shoulder turn"
    return of if at_top(view) is None else "turn at the top"


def turn_caption(measures: Measures, view: View) -> str:
    """Return what the turn rests on and its standard error, for under its figure."""
    se_deg = measures.shoulder_turn_se_deg
    name = "thorax_turn_deg" if view.turn_of is TurnOf.CHEST else "shoulder_turn_deg"
    source = (measures.sources or {}).get(name, Source.POSE)
    if source is Source.POSE:
        return "camera estimate" if se_deg is None else f"estimate ±{whole(se_deg)}°"
    words = SOURCE_WORDS[source]
    return words if se_deg is None else f"{words} ±{whole(se_deg)}°"


def off_own(measures: Measures, view: View) -> Measures:
    """Return the drifts counted from the reference in use; as they are where none is."""
    return own_rep.judged(measures, _view_rules(view))


def drift_band(view: View, part: str) -> own_rep.Band:
    """Return (lowest, highest) drift allowed of "head" or "hips", in cm, + away."""
    if part == "hips":
        return own_rep.hip_band(view.own, _view_rules(view).cues)
    own_cm = None if view.own is None else view.own.head_lateral_cm
    return own_rep.path_band(own_cm, view.head_tol_cm)


def head_words(
    lateral_cm: float, vertical_cm: float | None, tol_cm: float, *, counts: bool
) -> tuple[float, str]:
    """Return the drift to write in figures and the word with it: "", "out", "up" or "down".

    The height takes the figure only where it is out and the larger of the two, as for the tone.
    """
    if vertical_cm is not None and counts and abs(vertical_cm) > max(tol_cm, abs(lateral_cm)):
        return vertical_cm, "up" if vertical_cm > 0 else "down"
    return lateral_cm, "out" if counts and abs(lateral_cm) > tol_cm else ""
