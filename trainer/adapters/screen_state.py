"""What a view says of the player's state: what counts now, what is reached or out. No words."""

from __future__ import annotations

from typing import Final

from trainer.core import own_rep
from trainer.core.asked_turn import asked
from trainer.core.cues import least_turn_deg
from trainer.core.records import Measures, Phase, Step
from trainer.core.rules import CueRules, Rules
from trainer.ports import View

VERDICT_S: Final = 6.0  #: how long after a rep its verdict is the headline
#: Phases in which turn and drift count.
SWINGING: Final = frozenset({Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP})
RESTING: Final = frozenset({Phase.NOBODY, Phase.WAITING, Phase.AFTER})


def just_ended(view: View, step: Step) -> bool:
    """Return True for a while after a rep, until the player stands at setup again."""
    if step.phase not in RESTING:
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
    if view.step is None or view.last_rep is None or not just_ended(view, view.step):
        return None
    return view.last_rep.at_top


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


def view_rules(view: View) -> Rules:
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
    return asked(measures, view_rules(view).cues)


def off_own(measures: Measures, view: View) -> Measures:
    """Return the drifts counted from the reference in use; as they are where none is."""
    return own_rep.judged(measures, view_rules(view))


def drift_band(view: View, part: str) -> own_rep.Band:
    """Return (lowest, highest) drift allowed of "head" or "hips", in cm, + away."""
    if part == "hips":
        return own_rep.hip_band(view.own, view_rules(view).cues)
    own_cm = None if view.own is None else view.own.head_lateral_cm
    return own_rep.path_band(own_cm, view.head_tol_cm)


def head_way(
    lateral_cm: float, vertical_cm: float | None, tol_cm: float, *, counts: bool
) -> tuple[float, str]:
    """Return the drift to write in figures and which way it counts: "", "out", "up" or "down".

    The height takes the figure only where it is out and the larger of the two, as for the tone.
    """
    if vertical_cm is not None and counts and abs(vertical_cm) > max(tol_cm, abs(lateral_cm)):
        return vertical_cm, "up" if vertical_cm > 0 else "down"
    return lateral_cm, "out" if counts and abs(lateral_cm) > tol_cm else ""
