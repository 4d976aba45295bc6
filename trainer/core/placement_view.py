"""How the camera stands to the player, read from the player's own body at address.

One view of one body tells less than instruments would. How sure each figure is was measured on
772 rendered people before cameras off by up to 15 degrees (docs/how-to/place-the-camera.md);
``python -m trainer.lab place`` measures it and fits the weights again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.landmarks import Landmark
from trainer.core.records import Handed, Pose
from trainer.core.rules import SetupRules
from trainer.core.setup import front_px, looks_like_address, scale_cm_per_px

FloatArray = NDArray[np.float64]

#: Assumed across the longer side of the picture where the lens is not known: common webcams
#: have 60 to 80 (common practice, no source).
VIEW_DEG: Final = 70.0
#: Mean stature for where none is given: men and women of ANSUR II (2012), 1756 and 1629 mm.
STATURE_CM: Final = 169.0
DRIVER_CM: Final = 114.0  #: a common driver, 45 inches (common practice, no source)

#: Shares of stature. Wrists go so far to the trail side of mid-shoulder, and so far up: of 768
#: rendered backswings 99 % stayed within 0.357 and 0.254, and who lifts the hands higher than
#: they did has room too. The hand adds half its 0.108 (Drillis and Contini 1966, from memory).
HANDS_ASIDE: Final = 0.36 + 0.054
HANDS_UP: Final = 0.29 + 0.054
#: From the eyes to the crown; eye height 0.936 of stature (same source, from memory).
CROWN: Final = 0.064
#: Upper arm, forearm and half the hand (same source), as far as the club's grip end is held.
ARMS: Final = 0.186 + 0.146 + 0.054
#: A grip covers this much of the club; the shoulder stands so far beside the stance's middle.
GRIP_CM: Final = 12.0
SHOULDER_CM: Final = 20.0
#: Between the club's reach and the camera; and the least distance for any club (both chosen).
CLEARANCE_M: Final = 0.5
LEAST_M: Final = 2.5

_FEET: Final = (
    Landmark.LEFT_ANKLE,
    Landmark.RIGHT_ANKLE,
    Landmark.LEFT_HEEL,
    Landmark.RIGHT_HEEL,
    Landmark.LEFT_FOOT_INDEX,
    Landmark.RIGHT_FOOT_INDEX,
)

#: Attitude from five readings of the body, by generalised least squares on the rendered people,
#: so that on average a camera off by 10 degrees reads as 10. In order: the shoulder line's turn
#: in the pose model's metres, the tilts of ankle line and hip line and the legs' lean from
#: upright in the picture (degrees), and how far mid-shoulder is beside mid-ankle, in leg lengths.
_YAW: Final = (-0.331, 0.703, -0.407, 1.456, -64.050)
_YAW_AT: Final = (1.517, -3.012)  #: to be added; the second once more times the hand, + right
_ROLL: Final = (0.013, -0.057, 0.025, -0.519, -16.707)
_ROLL_AT: Final = (-0.093, -0.359)
#: How steeply the floor is seen at the feet, in degrees, from how far the toes lie under the
#: heels, in leg lengths: least squares on the same people, whose cameras stood 0.6 to 1.5 m high
#: and 2.2 to 4 m away. Feet say it so roughly that a camera much higher or lower than a metre is
#: told by about half of what it is tipped.
_FLOOR: Final = (155.1, 0.956)


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraView:
    """How the body stands in the picture; shares are of the body's height in it."""

    at_address: bool  #: hands together in front, facing the camera: angles can be told
    stature_px: float  #: what the whole stature would be, worked out from the legs
    distance_m: float  #: from the camera
    least_m: float  #: nearer than this the camera is within, or almost within, the club's reach
    fills: float  #: stature over the picture's shorter side
    feet_room: float  #: share between the lowest point of a foot and the lower edge; - outside
    head_room: float  #: between crown and upper edge
    aside_room: float  #: between the hands' farthest place and the edge on the trail side
    up_room: float  #: between the hands' highest place and the upper edge
    lead_room: float  #: between the body and the edge on the lead side
    yaw_deg: float  #: + the camera stands too far toward the player's left
    pitch_deg: float  #: + it looks down
    roll_deg: float  #: + it leans clockwise, as seen from behind it
    by_rod: bool = False  #: the yaw rests on a rod on the floor, and less on the body


def reach_m(stature_cm: float, driver_cm: float) -> float:
    """Return how far arms and club reach from the middle of the stance."""
    return (ARMS * stature_cm + driver_cm - GRIP_CM + SHOULDER_CM) / 100.0


def least_m(stature_cm: float | None, driver_cm: float | None) -> float:
    """Return the least distance of the camera from the player, by the club's reach."""
    stature, driver = stature_cm or STATURE_CM, driver_cm or DRIVER_CM
    return max(LEAST_M, CLEARANCE_M + reach_m(stature, driver))


def focal_of(size_wh: tuple[int, int], field_of_view_deg: float | None) -> float:
    """Return the focal length in pixels; ``field_of_view_deg`` is across the picture's width.

    None: of a common webcam, whichever way up it stands.
    """
    if field_of_view_deg is not None:
        return geo.focal_px(size_wh[0], field_of_view_deg)
    return geo.focal_px(max(size_wh), VIEW_DEG)


def view_of(
    pose: Pose,
    handed: Handed,
    *,
    stature_cm: float | None = None,
    driver_cm: float | None = None,
    focal_px: float,
) -> CameraView | None:
    """Return how the player of ``pose`` stands before the camera.

    None for a body that does not face the camera, or whose legs cannot be read.
    """
    points = pose.image_px
    width, torso = front_px(points)
    plain, _ = scale_cm_per_px(points, pose.world_m, STATURE_CM)
    scale, _ = scale_cm_per_px(points, pose.world_m, stature_cm)
    if plain is None or scale is None or not np.isfinite(points).all():
        return None
    if torso <= 0 or width <= 0.35 * torso:
        return None
    w, h = pose.size_wh
    tall = STATURE_CM / plain  # whoever it is: the legs are the same share of a stature
    sign = geo.away_sign(handed)
    chest = geo.middle(points, "shoulder")
    farthest_x = float(chest[0]) + sign * HANDS_ASIDE * tall
    crown_y = float(min(points[Landmark.LEFT_EYE, 1], points[Landmark.RIGHT_EYE, 1])) - CROWN * tall
    lead_x = float((sign * points[:, 0]).min() * sign)
    yaw_deg, pitch_deg, roll_deg = _attitude(points, pose.world_m, handed, (w, h), focal_px)
    return CameraView(
        at_address=looks_like_address(pose, SetupRules()),
        stature_px=tall,
        distance_m=scale * focal_px / 100.0,
        least_m=least_m(stature_cm, driver_cm),
        fills=tall / min(w, h),
        feet_room=(h - float(points[list(_FEET), 1].max())) / tall,
        head_room=crown_y / tall,
        aside_room=(farthest_x if sign < 0 else w - farthest_x) / tall,
        up_room=(float(chest[1]) - HANDS_UP * tall) / tall,
        lead_room=(w - lead_x if sign < 0 else lead_x) / tall,
        yaw_deg=yaw_deg,
        pitch_deg=pitch_deg,
        roll_deg=roll_deg,
    )


def attitude_read(points: FloatArray, world_m: FloatArray) -> tuple[tuple[float, ...], float]:
    """Return what the camera's attitude is told from: see ``_YAW``, and see ``_FLOOR``."""
    shoulders = world_m[Landmark.LEFT_SHOULDER] - world_m[Landmark.RIGHT_SHOULDER]
    feet, hips = geo.middle(points, "ankle"), geo.middle(points, "hip")
    legs = hips - feet
    long = max(float(np.linalg.norm(legs)), 1.0)
    heels = (points[Landmark.LEFT_HEEL] + points[Landmark.RIGHT_HEEL]) * 0.5
    toes = (points[Landmark.LEFT_FOOT_INDEX] + points[Landmark.RIGHT_FOOT_INDEX]) * 0.5
    read = (
        math.degrees(math.atan2(float(shoulders[2]), float(shoulders[0]))),
        _tilt_deg(points[Landmark.LEFT_ANKLE] - points[Landmark.RIGHT_ANKLE]),
        _tilt_deg(points[Landmark.LEFT_HIP] - points[Landmark.RIGHT_HIP]),
        math.degrees(math.atan2(float(legs[0]), -float(legs[1]))),
        float(geo.middle(points, "shoulder")[0] - feet[0]) / long,
    )
    return read, float(toes[1] - heels[1]) / long


def under_deg(points: FloatArray, size_wh: tuple[int, int], focal_px: float) -> float:
    """Return how far under the picture's middle the ankles are seen."""
    row = float(geo.middle(points, "ankle")[1]) - size_wh[1] / 2
    return math.degrees(math.atan(row / focal_px))


def _attitude(
    points: FloatArray,
    world_m: FloatArray,
    handed: Handed,
    size_wh: tuple[int, int],
    focal_px: float,
) -> tuple[float, float, float]:
    """Return yaw, pitch and roll of the camera against the player, in degrees."""
    read, toes = attitude_read(points, world_m)
    hand = 1.0 if handed is Handed.RIGHT else -1.0
    yaw, roll = (
        sum(weight * value for weight, value in zip(weights, read, strict=True))
        + at
        + hand * by_hand
        for weights, (at, by_hand) in ((_YAW, _YAW_AT), (_ROLL, _ROLL_AT))
    )
    # The feet are seen from so much above; less how far under the picture's middle they are.
    steep_deg = _FLOOR[0] * toes + _FLOOR[1]
    return yaw, steep_deg - under_deg(points, size_wh, focal_px), roll


def _tilt_deg(line: FloatArray) -> float:
    """Return the tilt of a line from the player's right to the left; + the left end lower."""
    return math.degrees(math.atan2(float(line[1]), float(line[0])))
