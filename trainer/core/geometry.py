"""Angles, axes and signs: the one page that defines the coordinate system.

Picture: x right, y down, in pixels, as the camera sees it (never mirrored). World, from the
pose model: metres from mid-hip, x right and y down like the picture, z away from the camera.
The player faces the camera, so the player's left is picture right. A right-hander's target is
to the player's left, so "away from the target" is picture left for a right-hander and picture
right for a left-hander. Turn is positive away from the target, whoever swings.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import Landmark
from trainer.core.records import Handed

FloatArray = NDArray[np.float64]

#: (lead, trail) rows of each paired body point, by handedness.
_PAIRS: Final = {
    "shoulder": (Landmark.LEFT_SHOULDER, Landmark.RIGHT_SHOULDER),
    "hip": (Landmark.LEFT_HIP, Landmark.RIGHT_HIP),
    "wrist": (Landmark.LEFT_WRIST, Landmark.RIGHT_WRIST),
    "elbow": (Landmark.LEFT_ELBOW, Landmark.RIGHT_ELBOW),
    "knee": (Landmark.LEFT_KNEE, Landmark.RIGHT_KNEE),
    "ankle": (Landmark.LEFT_ANKLE, Landmark.RIGHT_ANKLE),
    "ear": (Landmark.LEFT_EAR, Landmark.RIGHT_EAR),
}


def away_sign(handed: Handed) -> int:
    """Return the picture-x sign of "away from the target": -1 right-hander, +1 left-hander."""
    return -1 if handed is Handed.RIGHT else 1


def lead_trail(handed: Handed, part: str) -> tuple[int, int]:
    """Return the (lead, trail) rows of a paired body part such as ``"shoulder"``."""
    left, right = _PAIRS[part]
    return (int(left), int(right)) if handed is Handed.RIGHT else (int(right), int(left))


def middle(points: FloatArray, part: str) -> FloatArray:
    """Return the midpoint, shape (D,), of a paired body part in ``points`` (33, D)."""
    left, right = _PAIRS[part]
    middle_point: FloatArray = (points[left] + points[right]) * 0.5
    return middle_point


def head_point(points: FloatArray) -> FloatArray:
    """Return the head point, 0.75 mid-ear + 0.25 nose, shape (D,).

    The nose lies well ahead of the turning axis of the head, so alone it moves when the head
    only turns; the ears alone are hidden more often. The weights are our measurement on
    rendered people, see docs/measures.md.
    """
    point: FloatArray = 0.75 * middle(points, "ear") + 0.25 * points[Landmark.NOSE]
    return point


def turn_from_width_deg(dx: float, width: float) -> float:
    """Return the turn in degrees, 0..180, of a line of length ``width`` seen as signed ``dx``.

    Orthographic: cos(turn) = dx / width for a line turning about any axis in the plane that
    holds the camera's axis, whatever that axis' forward lean. Past 90 degrees ``dx`` changes
    sign. ``dx / width`` outside -1..1 (noise) is clipped. Raises ValueError if ``width`` is not
    positive.
    """
    if not width > 0:
        raise ValueError(f"a line's width must be positive, not {width}")
    return float(np.degrees(np.arccos(np.clip(dx / width, -1.0, 1.0))))


def turned_line(width: float, lean_deg: float, turn_deg: float) -> FloatArray:
    """Return (x, y up, z toward camera) of a line turned about a trunk leaning to the camera.

    ``W (cos t, sin p sin t, -cos p sin t)`` for turn t and lean p; used to test what a single
    view can tell.
    """
    lean, turn = np.radians(lean_deg), np.radians(turn_deg)
    return width * np.array(
        [np.cos(turn), np.sin(lean) * np.sin(turn), -np.cos(lean) * np.sin(turn)]
    )


def focal_px(width_px: float, hfov_deg: float) -> float:
    """Return the pinhole focal length in pixels: (W / 2) / tan(HFOV / 2)."""
    return float(width_px / 2 / np.tan(np.radians(hfov_deg) / 2))


def cm_per_px(distance_m: float, width_px: float, hfov_deg: float) -> float:
    """Return centimetres a pixel spans at ``distance_m`` along the optical axis."""
    return 100.0 * distance_m / focal_px(width_px, hfov_deg)


def wrap_deg(angle_deg: float) -> float:
    """Return ``angle_deg`` brought into -180..180."""
    return float((angle_deg + 180.0) % 360.0 - 180.0)
