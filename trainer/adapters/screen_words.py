"""The words of the window, worked out from a view; nothing drawn."""

from __future__ import annotations

from typing import Final

from trainer.core.records import Handed, Measures, Phase, Step
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
    ("F1 or ?", "this page"),
    ("Q or Esc", "quit"),
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
    reasons = len(view.last_rep_words) > 1 and not stale and not view.pain
    if reasons and view.step is not None and _just_ended(view, view.step):
        return ()
    lines = list(view.notices)
    if view.step is not None:
        lines += [text for text in view.step.notices if text not in lines]
    if view.pain:
        lines.insert(0, "Pain marked: stop and rest; no turn is asked for")
    return tuple(text.removesuffix(".") for text in lines)


def quiet_line(view: View, *, stale: bool = False) -> str:
    """Return the small line while there is no notice: the last verdict, or how things run."""
    if view.last_rep_words and not stale and view.step is not None:
        big = headline(view)
        rest = [words for words in view.last_rep_words if words != big]
        if view.step.phase in _RESTING | {Phase.SETUP} and rest:
            lead = "" if big == view.last_rep_words[0] else "last rep: "
            return lead + "  ·  ".join(rest)
    return running_line(view)


def running_line(view: View) -> str:
    """Return handedness, sound, pace and delay in one line."""
    parts = [f"{(Handed.LEFT if view.handed_left else Handed.RIGHT).value}-hander"]
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


def turn_state(turn_deg: float | None, view: View) -> str:
    """Return "none", "below", "reached" (from the target to the band's end) or "past" it.

    The target is reached where its tone sounds: at the target, not at the band's lower end. Once
    pain is marked there is no target, so nothing is reached or past; nor is it between swings.
    """
    if turn_deg is None:
        return "none"
    if view.pain or not judged(view) or turn_deg < view.target_deg:
        return "below"
    return "reached" if turn_deg <= view.target_deg + view.turn_band_deg else "past"


def drift_state(drift_cm: float | None, tol_cm: float, *, counts: bool) -> str:
    """Return "none", "in", "out", or "off": outside, but in a phase where it does not count.

    The edge itself is in.
    """
    if drift_cm is None:
        return "none"
    if abs(drift_cm) <= tol_cm:
        return "in"
    return "out" if counts else "off"


def head_words(
    lateral_cm: float, vertical_cm: float | None, tol_cm: float, *, counts: bool
) -> tuple[float, str]:
    """Return the drift to write in figures and the word with it: "", "out", "up" or "down".

    The height takes the figure only where it is out and the larger of the two, as for the tone.
    """
    if vertical_cm is not None and counts and abs(vertical_cm) > max(tol_cm, abs(lateral_cm)):
        return vertical_cm, "up" if vertical_cm > 0 else "down"
    return lateral_cm, "out" if counts and abs(lateral_cm) > tol_cm else ""
