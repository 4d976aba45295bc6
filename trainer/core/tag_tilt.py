"""The camera's tilt: tags are told in level axes, as far as it is known how the camera looks.

Only the tilt about the picture's across is told. Looking down by it is positive. The camera's axes
are x right, y down, z away from the camera (``tag_pose``).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import rotation as rot
from trainer.core.tag_pose import Hint, TagPose
from trainer.core.tag_reading import Angle, PartReading

FloatArray = NDArray[np.float64]

#: How well a tilt is known that was told to about a degree, and one that was taken as level: a
#: laptop or tripod in front of the player looks down by up to 7 degrees or up by 3. Chosen.
TOLD_SE_DEG: Final = 1.0
LEVEL_SE_DEG: Final = 3.0


def level_from_camera(tilt_deg: float) -> FloatArray:
    """Return what takes directions (3,) in the camera's axes to level ones, (3, 3)."""
    return rot.from_vector(np.array([-math.radians(tilt_deg), 0.0, 0.0]))


def levelled(pose: TagPose, level: FloatArray) -> TagPose:
    """Return a tag's pose in level axes; ``level`` as :func:`level_from_camera` gives it."""
    whole = np.kron(np.eye(2), level)
    return replace(
        pose,
        rotation=level @ pose.rotation,
        place_m=level @ pose.place_m,
        spread=whole @ pose.spread @ whole.T,
    )


def as_seen(hint: Hint, level: FloatArray) -> Hint:
    """Return a hint in level axes as the camera's have it."""
    return replace(hint, rotation=level.T @ hint.rotation)


def with_tilt(part: PartReading | None, tilt_se_deg: float) -> PartReading | None:
    """Return a part's reading with what an unknown tilt does to its turn in the error told."""
    if part is None:
        return None
    now = _turn_rad(part.rotation)
    off = _turn_rad(_tilted(part.rotation, 1.0)) - now
    slope = abs((off + math.pi) % (2 * math.pi) - math.pi) / math.radians(1.0)
    turn = Angle(deg=part.turn.deg, se_deg=math.hypot(part.turn.se_deg, slope * tilt_se_deg))
    return replace(part, turn=turn)


def opened_deg(rotation: FloatArray, pitch_deg: float) -> float:
    """Return by how much a front that pointed ``pitch_deg`` above the level has come up.

    ``rotation`` (3, 3) is the part's since the setup in the axes (away, up, near).
    """
    then = math.radians(pitch_deg)
    front = rotation @ np.array([0.0, math.sin(then), math.cos(then)])
    return math.degrees(math.asin(min(max(float(front[1]), -1.0), 1.0))) - pitch_deg


def opened_tilt_se_deg(rotation: FloatArray, pitch_deg: float, tilt_se_deg: float) -> float:
    """Return how far an unknown tilt may have put :func:`opened_deg` off."""
    off = opened_deg(_tilted(rotation, 1.0), pitch_deg) - opened_deg(rotation, pitch_deg)
    return abs(off) * tilt_se_deg


def _tilted(rotation: FloatArray, by_deg: float) -> FloatArray:
    """Return a rotation in (away, up, near) as a camera tilted by so much more reads it."""
    tilt = rot.from_vector(np.array([math.radians(by_deg), 0.0, 0.0]))
    tilted: FloatArray = tilt @ rotation @ tilt.T
    return tilted


def _turn_rad(rotation: FloatArray) -> float:
    side = rotation @ np.array([-1.0, 0.0, 0.0])
    return math.atan2(float(side[2]), -float(side[0]))
