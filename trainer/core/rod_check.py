"""The rod check: what the camera reads at a turn the player knows to be 90 degrees.

A rod on the floor points at the camera. The player holds a shaft across the shoulders, faces the
camera and stands still; then turns until the shaft is parallel to the rod, and holds it there.
What the camera reads is then told beside the 90 degrees it was. It is a test of the camera that
anyone can make; nothing is corrected by it (``ROD_SHRINK``).

The start must be the program's own zero, so it must be square to the camera; and the arms are
folded here and on a club in a swing, so the result is a hint about the swing, no proof.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.estimate import Fitted, Prepared, prepare
from trainer.core.landmarks import Landmark
from trainer.core.measures import measure
from trainer.core.records import Measures, Pose
from trainer.core.rules import Rules, SetupRules
from trainer.core.setup import Reference, StillWindow, front_px, push, reference_from

FloatArray = NDArray[np.float64]

TRUE_DEG: Final = 90.0
#: How much of a rod check's error is taken off later turns: 0 none, 1 all. On six people the
#: estimator was not fitted on, what a check read with folded arms told nothing of what the same
#: camera read in their swings, and taking any of it off made those worse (docs/accuracy.md).
ROD_SHRINK: Final = 0.0

HOLD_S: Final = 1.0  #: the shaft is held parallel to the rod for this long
FAR_DEG: Final = 45.0  #: a hold nearer to the start is no turn to the rod; chosen
HANDS_SPREAD_CM: Final = 12.0  #: the folded hands may wander this far at the start
LOW_HANDS: Final = (
    0.9  #: and lie so far down from the shoulders (0) to the hips (1), as they are seen
)
STILL_DEG: Final = 4.0  #: a hold begins and ends this near to its median
SCATTER_DEG: Final = 14.0  #: and its readings scatter so widely, the outer tenths left out
GAP_S: Final = 0.3  #: unread for longer: what was done meanwhile is not known
LOST_S: Final = 1.5  #: unread for longer: the player may have walked off; start again
WALKED_CM: Final = 40.0  #: hips this far from the start: walked off, no turn on the spot


class RodStage(str, Enum):
    """Where in the check the player is."""

    START = "start"  #: to face the camera, shaft across the shoulders, and stand still
    TURN = "turn"  #: to turn until the shaft is parallel to the rod, and hold
    DONE = "done"  #: the reading stands until the check is ended


@dataclass(frozen=True, slots=True, kw_only=True)
class RodReading:
    """What the camera read at the player's true 90 degrees."""

    read_deg: float  #: shoulder turn, median over the hold
    se_deg: float | None  #: one standard error as the reading itself stated it; None: not known


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Held:
    """One reading on the way to the rod."""

    t_s: float
    turn_deg: float
    se_deg: float | None
    middles_px: FloatArray  #: (2, 2): mid-shoulder and mid-hip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RodState:
    """All the check remembers between two poses."""

    stage: RodStage = RodStage.START
    window: StillWindow = field(default_factory=StillWindow)
    reference: Reference | None = None
    ready: Prepared | None = None
    held: tuple[_Held, ...] = ()
    seen_t_s: float | None = None
    wrong_way: bool = False  #: turned toward the target; the other way was wanted
    reading: RodReading | None = None


def step(
    state: RodState,
    t_s: float,
    pose: Pose | None,
    smooth: Pose | None,
    rules: Rules,
    fitted: Fitted | None,
) -> RodState:
    """Advance by one reading: the pose as read, the same smoothed; None for both when unread."""
    if state.stage is RodStage.DONE:
        return state
    if pose is None or smooth is None:
        if state.seen_t_s is not None and t_s - state.seen_t_s > LOST_S:
            return RodState()
        return replace(state, window=push(state.window, None, t_s, rules.setup))
    if state.seen_t_s is not None and t_s - state.seen_t_s > LOST_S:
        state = RodState()
    state = replace(state, seen_t_s=t_s)
    if state.stage is RodStage.START:
        return _look_for_start(state, t_s, pose, rules, fitted)
    return _look_for_hold(state, t_s, smooth, rules)


def _look_for_start(
    state: RodState, t_s: float, pose: Pose, rules: Rules, fitted: Fitted | None
) -> RodState:
    window = push(state.window, pose, t_s, rules.setup)
    # Folded arms hide each other's hands, and their points jump about; the trunk must be still.
    eased = replace(rules, setup=replace(rules.setup, hands_spread_cm=HANDS_SPREAD_CM))
    reference = reference_from(window, eased, looks_like_start)
    if reference is None:
        return replace(state, window=window)
    return replace(
        state,
        stage=RodStage.TURN,
        window=StillWindow(),
        reference=reference,
        ready=None if fitted is None else prepare(fitted, reference),
    )


def _look_for_hold(state: RodState, t_s: float, smooth: Pose, rules: Rules) -> RodState:
    reference = state.reference
    if reference is None:
        return RodState()
    middles = np.stack([geo.middle(smooth.image_px, part) for part in ("shoulder", "hip")])
    walked_px = float(np.linalg.norm(middles[1] - reference.hip_px))
    if walked_px * reference.cm_per_px > WALKED_CM:
        return RodState()
    now = measure(smooth, t_s, reference, state.ready)
    if now.shoulder_turn_deg is None:
        return replace(state, held=())
    kept = state.held
    if kept and t_s - kept[-1].t_s > GAP_S:
        kept = ()
    new = _Held(
        t_s=t_s,
        turn_deg=now.shoulder_turn_deg,
        se_deg=now.shoulder_turn_se_deg,
        middles_px=middles,
    )
    # One reading older than the hold is kept, so that the rest spans all of it.
    old = [h for h in kept if h.t_s <= t_s - HOLD_S + 1e-9]
    held = (*old[-1:], *(h for h in kept if h.t_s > t_s - HOLD_S + 1e-9), new)
    state = replace(state, held=held)
    if held[0].t_s > t_s - HOLD_S + 1e-9 or not _is_still(held, reference, rules.setup):
        return state
    turn_deg = float(np.median([h.turn_deg for h in held]))
    state = replace(state, wrong_way=turn_deg <= -FAR_DEG)
    if turn_deg < FAR_DEG:
        return state
    errors = [h.se_deg for h in held if h.se_deg is not None]
    reading = RodReading(read_deg=turn_deg, se_deg=float(np.median(errors)) if errors else None)
    return RodState(stage=RodStage.DONE, reading=reading)


def _is_still(held: tuple[_Held, ...], reference: Reference, rules: SetupRules) -> bool:
    """Tell whether neither the body nor the reading moved; single jumps are no movement."""
    if len(held) < 5:
        return False
    turns = _without_jumps(np.array([h.turn_deg for h in held]))
    middles = _without_jumps(np.stack([h.middles_px for h in held]))
    moved_cm = np.linalg.norm(np.ptp(middles, axis=0), axis=1) * reference.cm_per_px
    middle = np.median(turns)
    drift_deg = max(abs(float(np.median(end) - middle)) for end in (turns[:3], turns[-3:]))
    scatter_deg = float(np.quantile(turns, 0.9) - np.quantile(turns, 0.1))
    return bool(
        drift_deg <= STILL_DEG
        and scatter_deg <= SCATTER_DEG
        and np.all(moved_cm <= rules.body_spread_cm)
    )


def _without_jumps(values: FloatArray) -> FloatArray:
    """Return the running median of three of ``values`` (N, ...); a lone jump is gone."""
    three: FloatArray = np.median(np.stack([values[:-2], values[1:-1], values[2:]]), axis=0)
    return three


def looks_like_start(pose: Pose, rules: SetupRules) -> bool:
    """Tell whether the player faces the camera with both hands near the shoulders.

    Address wants the hands low and together; here they hold a shaft against the chest. Faces:
    the shoulders are seen at least half as wide as the trunk is high (about 0.7 when square,
    from the segment lengths of Drillis and Contini 1966, from memory).
    """
    points = pose.image_px
    shoulders = geo.middle(points, "shoulder")
    left, torso = front_px(points)
    if torso <= 0 or left < 0.5 * torso:
        return False
    wrists = points[[Landmark.LEFT_WRIST, Landmark.RIGHT_WRIST]]
    high_enough = wrists[:, 1] < shoulders[1] + LOW_HANDS * torso
    low_enough = wrists[:, 1] > shoulders[1] - 0.35 * torso
    beside = np.abs(wrists[:, 0] - shoulders[0]) < 0.95 * left
    return bool(np.all(high_enough & low_enough & beside))


def corrected(now: Measures, read_deg: float | None, shrink: float = ROD_SHRINK) -> Measures:
    """Return ``now`` with its shoulder turn corrected by a rod check that read ``read_deg``.

    The check's ratio 90 / read, shrunk toward 1 by ``shrink``: with 0, as shipped, the very same
    record comes back.
    """
    turn = now.shoulder_turn_deg
    if read_deg is None or turn is None or shrink == 0.0 or read_deg < FAR_DEG:
        return now
    factor = 1.0 + shrink * (TRUE_DEG / read_deg - 1.0)
    return replace(now, shoulder_turn_deg=factor * turn)
