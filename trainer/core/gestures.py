"""Signs by hand: what the player asks for without a key, and whether the player is there at all.

Postures that a swing does not make, held for a time: the trunk faces the camera (at the top and
at the finish it is turned away), and the two hands are far apart (on a club they are together).
They are looked for between swings only. All limits are design choices; how often they were
mistaken on swings is in docs/how-to/hands-free.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import Landmark
from trainer.core.records import Phase, Pose

FloatArray = NDArray[np.float64]

#: Rows of each pair, left and right, which follow one another.
_EARS, _SHOULDERS, _ELBOWS, _WRISTS, _HIPS = (
    slice(int(left), int(left) + 2)
    for left in (
        Landmark.LEFT_EAR,
        Landmark.LEFT_SHOULDER,
        Landmark.LEFT_ELBOW,
        Landmark.LEFT_WRIST,
        Landmark.LEFT_HIP,
    )
)


class Sign(str, Enum):
    """A posture with a meaning."""

    HAND_UP = "hand_up"  #: one hand above the head, the other low
    HANDS_OUT = "hands_out"  #: both arms out to the sides, one to each
    ON_HEAD = "on_head"  #: both hands on the head, elbows out
    OUT_LOW = "out_low"  #: one arm out to the side at hip height, the other at the body
    OUT_LEVEL = "out_level"  #: the same, level with the shoulder


# All lengths in trunk heights as seen: mid-shoulder to mid-hip.
FACING: Final = 0.45  #: the shoulders are seen at least so wide
ABOVE_HEAD: Final = 0.3  #: a hand this far above the nose is above the head
LOW_HAND: Final = 0.35  #: the other hand this far below the shoulders
ELBOW_UP: Final = 0.1  #: its elbow is no lower than so far below its shoulder
OUT: Final = 0.65  #: a hand this far outside its shoulder is out to the side
BOTH_OUT: Final = 0.9  #: both hands so far out are out, whichever way the body leans ...
BOTH_LEVEL: Final = 0.8  #: ... and this near to their shoulders' heights
#: An arm out at so many degrees from straight down is low, or level. From 45, because a club
#: in a hanging hand was seen to take the arm out to 40.
OUT_LOW_DEG: Final = (45.0, 70.0)
OUT_LEVEL_DEG: Final = (70.0, 115.0)
APART: Final = 0.9  #: and this far from the other hand
AT_BODY_DEG: Final = 42.0  #: the other arm hangs nearer than this to straight down
ON_HEAD: Final = 0.32  #: a hand this near to the ears' height ...
ON_HEAD_ASIDE: Final = (0.05, 0.6)  #: ... and so far beside the head is on it
STILL: Final = 0.35  #: a hand that moves farther holds nothing

HOLD_S: Final = {
    Sign.HAND_UP: 1.0,
    Sign.HANDS_OUT: 1.0,
    Sign.ON_HEAD: 1.5,
    Sign.OUT_LOW: 0.7,
    Sign.OUT_LEVEL: 0.7,
}
GAP_S: Final = 0.25  #: a posture unread for so long goes on being held
#: Looked for between swings only; the finish is over when the phase is.
RESTING: Final = frozenset({Phase.NOBODY, Phase.WAITING, Phase.SETUP})
AWAY_S: Final = 3.0  #: nobody seen for so long: the player has walked off
BACK_S: Final = 0.5  #: somebody seen for so long: the player is back


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SignState:
    """The posture being held, and whether anybody is there."""

    sign: Sign | None = None
    since_s: float = 0.0
    last_s: float = 0.0  #: last reading that showed it
    hands: FloatArray | None = None  #: (2, 2) hands from mid-shoulder when it began
    told: bool = False  #: it has been answered; it must be left before it counts again
    seen_s: float | None = None  #: last reading with a pose; None before the first
    seen_since_s: float = 0.0
    away: bool = False  #: was there and has walked off

    def held_share(self) -> float:
        """Return how much of its hold is done, 0..1; 0 for none, or one answered already."""
        if self.sign is None or self.told:
            return 0.0
        return min((self.last_s - self.since_s) / HOLD_S[self.sign], 1.0)


def step(
    state: SignState, t_s: float, pose: Pose | None, phase: Phase, wanted: frozenset[Sign]
) -> tuple[SignState, Sign | None]:
    """Advance by one reading; return the state and the sign whose hold is complete now.

    ``wanted``: the signs that mean something now; others are not looked for.
    """
    state = _presence(state, t_s, pose)
    found = None
    hands = None
    if pose is not None and phase in RESTING:
        found, hands = posture(pose)
        if found not in wanted:
            found = None
    if found is None or hands is None:
        if state.sign is not None and t_s - state.last_s > GAP_S:
            state = replace(state, sign=None, hands=None, told=False)
        return state, None
    moved = state.hands is not None and float(np.abs(hands - state.hands).max()) > STILL
    if found is not state.sign or moved:
        fresh = replace(state, sign=found, since_s=t_s, last_s=t_s, hands=hands)
        return replace(fresh, told=state.told and found is state.sign), None
    state = replace(state, last_s=t_s)
    if state.told or t_s - state.since_s < HOLD_S[found] - 1e-9:
        return state, None
    return replace(state, told=True), found


def _presence(state: SignState, t_s: float, pose: Pose | None) -> SignState:
    if pose is not None:
        gone = state.seen_s is None or t_s - state.seen_s > BACK_S
        since_s = t_s if gone else state.seen_since_s
        away = state.away and t_s - since_s < BACK_S
        return replace(state, seen_s=t_s, seen_since_s=since_s, away=away)
    if state.seen_s is not None and t_s - state.seen_s >= AWAY_S:
        return state if state.away else replace(state, away=True)
    return state


def posture(pose: Pose) -> tuple[Sign | None, FloatArray | None]:
    """Return the sign a pose shows and its hands (2, 2), see ``SignState``; None for none."""
    # Plain numbers: this runs for every picture, and small arrays cost more than they hold.
    nose, ears, shoulders, elbows, hands, hips = (
        pose.image_px[rows].tolist() for rows in (0, _EARS, _SHOULDERS, _ELBOWS, _WRISTS, _HIPS)
    )
    middle_y = (shoulders[0][1] + shoulders[1][1]) / 2
    trunk = (hips[0][1] + hips[1][1]) / 2 - middle_y
    if not trunk > 0 or not shoulders[0][0] - shoulders[1][0] >= FACING * trunk:
        return None, None
    # Left outward is +x in the picture, right outward is -x.
    out = (
        (hands[0][0] - shoulders[0][0]) / trunk,
        (shoulders[1][0] - hands[1][0]) / trunk,
    )
    # + lower than its own shoulder: a body may lean
    below = tuple((hands[side][1] - shoulders[side][1]) / trunk for side in (0, 1))
    # A hidden wrist may be put anywhere, high up too; its elbow does not go with it.
    up = tuple(
        (nose[1] - hands[side][1]) / trunk > ABOVE_HEAD
        and (elbows[side][1] - shoulders[side][1]) / trunk < ELBOW_UP
        for side in (0, 1)
    )
    sign = _shown(out, below, up)
    if sign is None and _on_head(ears, shoulders, elbows, hands, trunk):
        sign = Sign.ON_HEAD
    if sign in (Sign.OUT_LEVEL, Sign.OUT_LOW) and abs(hands[0][0] - hands[1][0]) < APART * trunk:
        sign = None  # both are out on one side, as on a club that goes back
    if sign is None:
        return None, None
    # From the body, not from the picture's corner: the trunk's height jitters too.
    middle_x = (shoulders[0][0] + shoulders[1][0]) / 2
    return sign, (np.array(hands) - [middle_x, middle_y]) / trunk


def _shown(out: tuple[float, ...], below: tuple[float, ...], up: tuple[bool, ...]) -> Sign | None:
    """Return the sign of the arms alone, from how far out and how far below each hand is."""
    if any(up):
        other = below[1] if up[0] else below[0]
        return Sign.HAND_UP if not all(up) and other > LOW_HAND else None
    if min(out) > BOTH_OUT and max(abs(below[0]), abs(below[1])) < BOTH_LEVEL:
        return Sign.HANDS_OUT
    hang_deg = [math.degrees(math.atan2(out[side], below[side])) for side in (0, 1)]
    for side in (0, 1):
        if hang_deg[1 - side] > AT_BODY_DEG or below[1 - side] < LOW_HAND:
            continue
        if out[side] > OUT and OUT_LOW_DEG[0] < hang_deg[side] < OUT_LEVEL_DEG[1]:
            return Sign.OUT_LOW if hang_deg[side] < OUT_LOW_DEG[1] else Sign.OUT_LEVEL
    return None


def _on_head(
    ears: list[list[float]],
    shoulders: list[list[float]],
    elbows: list[list[float]],
    hands: list[list[float]],
    trunk: float,
) -> bool:
    head_x, head_y = (ears[0][0] + ears[1][0]) / 2, (ears[0][1] + ears[1][1]) / 2
    low, high = ON_HEAD_ASIDE
    for side, outward in ((0, 1.0), (1, -1.0)):
        aside = outward * (hands[side][0] - head_x) / trunk
        near = abs(hands[side][1] - head_y) / trunk < ON_HEAD
        elbow_out = outward * (elbows[side][0] - shoulders[side][0]) / trunk > 0.1
        if not (near and low < aside < high and elbow_out):
            return False
    return True
