"""Turn only: hands on the chest or a shaft across the shoulders; no club, no swing.

The start is that of the rod check: facing the camera, hands near the shoulders, still. A rep is a
turn away from the target and back. The estimator was fitted on hands that hold a club, so with
folded arms a turn is a rougher estimate still (docs/accuracy.md, the rod check); compare it with
your own reps of the same kind only.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from trainer.core import cues as cue_rules
from trainer.core import geometry as geo
from trainer.core import own_rep
from trainer.core.estimate import Fitted, Prepared, prepare
from trainer.core.measures import measure
from trainer.core.records import Cue, Measures, Phase, PhaseChange, Pose, Rep
from trainer.core.rod_check import HANDS_SPREAD_CM, LOST_S, WALKED_CM, looks_like_start
from trainer.core.rules import Rules
from trainer.core.setup import Reference, StillWindow, push, reference_from

LEAVE_DEG: Final = 15.0  #: turned so far, a rep is under way
BACK_SHARE: Final = 0.6  #: back to this share of the farthest, the top is over
LEAST_DEG: Final = 25.0  #: a turn that went no farther is no rep
TOP_SHARE: Final = 0.93  #: readings from here up make the top
LONGEST_S: Final = 30.0
RENEW_S: Final = 0.1  #: the start is looked for so often


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TurnState:
    """All that turn-only practice remembers between two poses."""

    phase: Phase = Phase.NOBODY
    window: StillWindow = field(default_factory=StillWindow)
    reference: Reference | None = None
    ready: Prepared | None = None
    setup_s: float = 0.0
    began_s: float = 0.0
    readings: tuple[Measures, ...] = ()
    cues: cue_rules.CueState = field(default_factory=cue_rules.CueState)
    rep_cues: tuple[Cue, ...] = ()
    seen_s: float | None = None
    looked_s: float = float("-inf")  #: when the window was last searched for a start


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """What one reading of turn-only practice came to."""

    measures: Measures
    phase: Phase
    changes: tuple[PhaseChange, ...] = ()
    cues: tuple[Cue, ...] = ()
    rep: Rep | None = None


def step(
    state: TurnState,
    t_s: float,
    pose: Pose | None,
    smooth: Pose | None,
    rules: Rules,
    fitted: Fitted | None,
) -> tuple[TurnState, Turned]:
    """Advance by one reading: the pose as read, the same smoothed; None for both when unread."""
    before = state.phase
    state, now, cues, rep = _advance(state, t_s, pose, smooth, rules, fitted)
    changes: tuple[PhaseChange, ...] = ()
    if state.phase is not before:
        changes = (PhaseChange(phase=state.phase, t_s=t_s, decided_t_s=t_s),)
    return state, Turned(measures=now, phase=state.phase, changes=changes, cues=cues, rep=rep)


def _advance(
    state: TurnState,
    t_s: float,
    pose: Pose | None,
    smooth: Pose | None,
    rules: Rules,
    fitted: Fitted | None,
) -> tuple[TurnState, Measures, tuple[Cue, ...], Rep | None]:
    none = Measures(t_s=t_s)
    lost = state.seen_s is not None and t_s - state.seen_s > LOST_S
    if pose is None or smooth is None:
        if lost or state.seen_s is None:
            return TurnState(), none, (), None
        return replace(state, window=push(state.window, None, t_s, rules.setup)), none, (), None
    if lost:
        state = TurnState()
    state = replace(state, seen_s=t_s)
    if state.phase in (Phase.NOBODY, Phase.AFTER):
        state = replace(state, phase=Phase.WAITING)
    if state.phase in (Phase.WAITING, Phase.SETUP):
        state = _look_for_start(state, t_s, pose, rules, fitted)
    reference = state.reference
    if reference is None:
        return state, none, (), None
    hips_px = float(np.linalg.norm(geo.middle(smooth.image_px, "hip") - reference.hip_px))
    if hips_px * reference.cm_per_px > WALKED_CM:
        return TurnState(phase=Phase.WAITING, seen_s=t_s), none, (), None
    now = replace(
        measure(smooth, t_s, reference, state.ready),
        hand_lateral_cm=None,  # the hands hold no club: where they are says nothing of a swing
        hand_height_cm=None,
        hand_arc_deg=None,
    )
    turn_deg = now.shoulder_turn_deg
    if turn_deg is None:
        return state, now, (), None
    if state.phase is Phase.SETUP and turn_deg >= LEAVE_DEG:
        state = replace(state, phase=Phase.BACKSWING, began_s=t_s, readings=(), rep_cues=())
    if state.phase is not Phase.BACKSWING:
        return state, now, (), None
    cue_state, cues = cue_rules.step(
        state.cues,
        own_rep.judged(now, rules),
        Phase.BACKSWING,
        own_rep.cue_rules(rules),
        pain=rules.pain,
    )
    state = replace(
        state,
        cues=cue_state,
        rep_cues=(*state.rep_cues, *cues),
        readings=(*state.readings, now),
    )
    farthest = max(m.shoulder_turn_deg or 0.0 for m in state.readings)
    if turn_deg <= BACK_SHARE * farthest:
        rep = _rep(state, t_s, farthest) if farthest >= LEAST_DEG else None
        return _again(state, Phase.AFTER if rep else Phase.WAITING, t_s), now, cues, rep
    if t_s - state.began_s > LONGEST_S:
        return _again(state, Phase.WAITING, t_s), now, cues, None
    return state, now, cues, None


def _again(state: TurnState, phase: Phase, t_s: float) -> TurnState:
    """Return the state that waits for the next start; the reference stands until a new one."""
    return TurnState(
        phase=phase,
        reference=state.reference,
        ready=state.ready,
        seen_s=t_s,
    )


def _look_for_start(
    state: TurnState, t_s: float, pose: Pose, rules: Rules, fitted: Fitted | None
) -> TurnState:
    window = push(state.window, pose, t_s, rules.setup)
    state = replace(state, window=window)
    if t_s - state.looked_s < RENEW_S - 1e-9:  # medians cost time
        return state
    state = replace(state, looked_s=t_s)
    # Folded arms hide each other's hands, and their points jump about; the trunk must be still.
    eased = replace(rules, setup=replace(rules.setup, hands_spread_cm=HANDS_SPREAD_CM))
    reference = reference_from(window, eased, looks_like_start)
    if reference is None:
        return state
    ready = None if fitted is None else prepare(fitted, reference)
    setup_s = reference.t_s if state.phase is Phase.WAITING else state.setup_s
    return replace(state, phase=Phase.SETUP, reference=reference, ready=ready, setup_s=setup_s)


def _rep(state: TurnState, t_s: float, farthest_deg: float) -> Rep:
    """Return the turn as a rep: its top is the median of the readings near the farthest."""
    top = [m for m in state.readings if (m.shoulder_turn_deg or 0.0) >= TOP_SHARE * farthest_deg]

    def median(name: str) -> float | None:
        values = [getattr(m, name) for m in top if getattr(m, name) is not None]
        return float(np.median(values)) if values else None

    def largest(name: str) -> float | None:
        values = [getattr(m, name) for m in state.readings if getattr(m, name) is not None]
        return max(values, key=abs, default=None)

    names = [name for name in Measures.__dataclass_fields__ if name not in ("t_s", "sources")]
    told: dict[str, Any] = {name: median(name) for name in names}
    return Rep(
        number=0,
        setup_t_s=state.setup_s,
        takeaway_t_s=state.began_s,
        top_t_s=top[0].t_s,
        top_end_t_s=top[-1].t_s,
        complete=True,
        at_top=Measures(t_s=top[0].t_s, **told),
        max_shoulder_turn_deg=farthest_deg,
        max_head_lateral_cm=largest("head_lateral_cm"),
        max_head_vertical_cm=largest("head_vertical_cm"),
        max_hip_lateral_cm=largest("hip_lateral_cm"),
        cues=state.rep_cues,
    )
