"""Tells a pose that can be trusted from one that cannot, without asking the model's own opinion.

The model's visibility stays near 1 even for a hidden shoulder (docs/accuracy.md), so only the
shape, the place and the movement of the body are judged. Two kinds of check:

* absolute: a pose that could be nobody's (not finite, upside down, tiny, a joint outside the
  picture, limbs too long for the trunk);
* relative: a pose that cannot follow the last trusted one (the whole trunk jumps, or grows). A
  length in the picture may shrink at once, because a limb turns toward the camera, but can
  hardly grow past what it was. Only the trunk counts here: hands in a full swing move 10 m/s.

When the relative checks keep refusing one and the same body for ``Rules.recover_s`` it is another
player, and is trusted from then on. Pure functions; the state is passed in and handed back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

from trainer.core.landmarks import Landmark
from trainer.core.records import Pose

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in pixels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """Limits of a human body and its movement.

    Lengths over stature: trunk side (shoulder to hip) 0.288, upper arm 0.186, thigh 0.245,
    shoulder breadth 0.259 (Drillis and Contini 1966, as drawn in D. A. Winter, Biomechanics and
    Motor Control of Human Movement; values from memory). In trunk sides that is 0.65, 0.85 and
    0.90. A trunk that leans 45 degrees toward the camera looks 0.71 of its length and a limb
    nearer the camera up to 1.15 of its own, so the limits below are those ratios times 1.15 / 0.71,
    and a fifth more for the model's error.
    """

    upper_arm_trunks: float = 1.3
    thigh_trunks: float = 1.7
    shoulder_trunks: float = 1.8
    trunk_sides: float = 2.5  #: longer over shorter; chosen by eye, a full turn stays under 1.6
    trunk_growth: float = 1.35  #: over the longest of the last seconds
    min_height: float = 0.15  #: nose to ankles, in picture heights
    jump_trunks: float = 0.5  #: allowed at once, for the model's error
    speed_trunks_s: float = 6.0  #: 6 trunks are about 3 m: a jog; a swing's trunk stays under 2 m/s
    jump_most_trunks: float = 1.5  #: however long the gap
    forget_s: float = 0.5  #: after this long without a trusted pose anybody may appear anywhere
    recover_s: float = 0.3
    longest_tau_s: float = 5.0  #: the longest trunk is forgotten with this time constant


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """What is remembered of the poses trusted so far. ``Trust()`` is a fresh start."""

    t_s: float | None = None  #: of the last trusted pose
    centre_px: tuple[float, float] = (0.0, 0.0)  #: middle of its trunk
    longest_px: float = 0.0  #: longest trunk of the last seconds
    doubt_t_s: float | None = None  #: of the last pose refused by a relative check
    doubt_since_s: float = 0.0  #: when one and the same other body was first seen
    doubt_centre_px: tuple[float, float] = (0.0, 0.0)


#: What a doubt about a body that is cut off by the picture's edge ends in.
OUTSIDE: Final = "outside the picture"
#: A joint of these outside the picture is a guess, and every measure hangs on one of them.
_NEEDED: Final = (
    Landmark.LEFT_SHOULDER,
    Landmark.RIGHT_SHOULDER,
    Landmark.LEFT_HIP,
    Landmark.RIGHT_HIP,
    Landmark.LEFT_WRIST,
    Landmark.RIGHT_WRIST,
)


class _Side(NamedTuple):
    """Rows of one side's joints."""

    name: str
    shoulder: int
    elbow: int
    hip: int
    knee: int


_SIDES: Final = tuple(
    _Side(
        side,
        *(
            int(Landmark[f"{side}_{joint}".upper()])
            for joint in ("shoulder", "elbow", "hip", "knee")
        ),
    )
    for side in ("left", "right")
)
_PAIRS: Final = {
    "shoulder": (_SIDES[0].shoulder, _SIDES[1].shoulder),
    "hip": (_SIDES[0].hip, _SIDES[1].hip),
}


def judge(
    trust: Trust, pose: Pose, rules: Rules | None = None, *, bounds: Box | None = None
) -> tuple[Trust, str | None]:
    """Return the new state, and why ``pose`` is not to be trusted (None: it is).

    ``bounds`` is the part of the picture the model was shown; the whole of it by default.
    A frame in which nobody was seen needs no call: time passes by the poses' own stamps.
    """
    rules = rules or Rules()
    points = pose.image_px.tolist()
    if trust.t_s is None or not 0 < pose.t_s - trust.t_s <= rules.forget_s:
        trust = Trust()
    reason = _absurd(points, pose, trust, rules, bounds)
    if reason is not None:
        return trust, reason
    trunk = _trunk(points)
    centre = _centre(points)
    doubt = None
    if trust.t_s is not None:
        doubt = _cannot_follow(trust, pose.t_s - trust.t_s, centre, trunk, rules)
    if doubt is None:
        return _trusting(trust, pose.t_s, centre, trunk, rules), None
    since = trust.doubt_since_s
    if trust.doubt_t_s is None or _jumped(
        trust.doubt_centre_px, centre, pose.t_s - trust.doubt_t_s, trunk, rules
    ):
        since = pose.t_s
    if pose.t_s - since >= rules.recover_s:
        return _trusting(Trust(), pose.t_s, centre, trunk, rules), None
    return (
        replace(trust, doubt_t_s=pose.t_s, doubt_since_s=since, doubt_centre_px=centre),
        doubt,
    )


def _trusting(
    trust: Trust, t_s: float, centre: tuple[float, float], trunk: float, rules: Rules
) -> Trust:
    if trust.t_s is None:
        return Trust(t_s=t_s, centre_px=centre, longest_px=trunk)
    faded = trust.longest_px * math.exp(-(t_s - trust.t_s) / rules.longest_tau_s)
    return Trust(t_s=t_s, centre_px=centre, longest_px=max(trunk, faded))


def _absurd(
    points: list[list[float]], pose: Pose, trust: Trust, rules: Rules, bounds: Box | None
) -> str | None:
    """Return what makes the pose nobody's, or None."""
    if not all(math.isfinite(x) and math.isfinite(y) for x, y in points):
        return "a point is not a number"
    width, height = pose.size_wh
    left, top, right, bottom = bounds or (0.0, 0.0, float(width - 1), float(height - 1))
    for name in _NEEDED:
        x, y = points[name]
        if not (left < x < right and top < y < bottom):
            return f"{name.name.lower().replace('_', ' ')} {OUTSIDE}"
    shoulders, hips = _middle(points, "shoulder"), _middle(points, "hip")
    if hips[1] <= shoulders[1]:
        return "hips above shoulders"
    feet_y = max(points[Landmark.LEFT_ANKLE][1], points[Landmark.RIGHT_ANKLE][1])
    if feet_y - points[Landmark.NOSE][1] < rules.min_height * height:
        return "too small"
    sides = sorted(_length(points, side.shoulder, side.hip) for side in _SIDES)
    if sides[1] > rules.trunk_sides * sides[0]:
        return "the two sides of the trunk do not match"
    # Somebody bending down shows a short trunk, but the arms and legs of a long one.
    trunk = max(sides[1], trust.longest_px)
    for side in _SIDES:
        if _length(points, side.shoulder, side.elbow) > rules.upper_arm_trunks * trunk:
            return f"{side.name} upper arm too long for the trunk"
        if _length(points, side.hip, side.knee) > rules.thigh_trunks * trunk:
            return f"{side.name} thigh too long for the trunk"
    one, other = _SIDES
    if _length(points, one.shoulder, other.shoulder) > rules.shoulder_trunks * trunk:
        return "shoulders too broad for the trunk"
    return None


def _cannot_follow(
    trust: Trust, dt_s: float, centre: tuple[float, float], trunk: float, rules: Rules
) -> str | None:
    if trunk > rules.trunk_growth * trust.longest_px:
        return "the trunk grew at once"
    if _jumped(trust.centre_px, centre, dt_s, max(trust.longest_px, trunk), rules):
        return "the body jumped"
    return None


def _jumped(
    before: tuple[float, float],
    after: tuple[float, float],
    dt_s: float,
    trunk_px: float,
    rules: Rules,
) -> bool:
    allowed = rules.jump_trunks + rules.speed_trunks_s * dt_s
    return math.dist(before, after) > min(allowed, rules.jump_most_trunks) * trunk_px


def _middle(points: list[list[float]], joint: str) -> tuple[float, float]:
    left, right = _PAIRS[joint]
    (x1, y1), (x2, y2) = points[left], points[right]
    return (x1 + x2) / 2, (y1 + y2) / 2


def _centre(points: list[list[float]]) -> tuple[float, float]:
    (x1, y1), (x2, y2) = _middle(points, "shoulder"), _middle(points, "hip")
    return (x1 + x2) / 2, (y1 + y2) / 2


def _trunk(points: list[list[float]]) -> float:
    """Return the longer of the two trunk sides: the one less hidden by turn and lean."""
    return max(_length(points, side.shoulder, side.hip) for side in _SIDES)


def _length(points: list[list[float]], one: int, other: int) -> float:
    return math.dist(points[one], points[other])
