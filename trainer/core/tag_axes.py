"""What a part's rotation since setup means: turn, pitch, side bend; and its move.

All is told against the setup, in the camera's room: *up* is the picture's upright unless told
otherwise, *away* lies level along the picture, away from the target, and *near* is level toward
the camera. In lead and trail a left-hander is the exact mirror of a right-hander.

The **side axis** is the level line from the trail to the lead side at setup, square to the
camera's line; it then moves with the part. **Turn** is that axis' angle in the level plane, 0 at
setup, positive as its lead end comes toward the camera: away from the target. **Side bend** is
its angle out of the level plane, 0 at setup, positive with the lead end up: leaning away from
the target. The **facing** is where the front points, square to the side axis at setup: as the
front tag lies, or level where none was seen; **pitch** is its angle above the level plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.records import Handed
from trainer.core.tag_reading import Angle

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Axes:
    """Three unit vectors in the camera's axes, at right angles to each other."""

    away: FloatArray  #: (3,) away from the target
    up: FloatArray  #: (3,)
    near: FloatArray  #: (3,) toward the camera


def axes_of(handed: Handed, up: FloatArray | None = None) -> Axes:
    """Return the axes for a player; ``up`` (3,) in the camera's axes, default (0, -1, 0).

    Raises ValueError for an ``up`` along the camera's line of sight, which leaves no level.
    """
    upright = np.array([0.0, -1.0, 0.0]) if up is None else np.asarray(up, np.float64)
    length = float(np.linalg.norm(upright))
    level = np.array([0.0, 0.0, -1.0]) * length**2 - upright * -upright[2]
    if not float(np.linalg.norm(level)) > 1e-3 * length**2 > 0:
        raise ValueError(
            f"up is {upright.tolist()} in the camera's axes: it lies along the line of sight. "
            "A camera that looks roughly level was wanted. Give (0, -1, 0)."
        )
    upright = upright / length
    near = level / float(np.linalg.norm(level))
    right = np.cross(near, upright) * -1.0  # picture right: x of a level camera
    return Axes(away=right * geo.away_sign(handed), up=upright, near=near)


def turn(rotation: FloatArray, spread: FloatArray, axes: Axes) -> Angle:
    """Return the side axis' angle in the level plane after ``rotation`` (3, 3) from the setup.

    ``spread`` (3, 3) is the covariance in radians squared of a small rotation from the left.
    """
    side = rotation @ -axes.away
    lead, near = float(side @ -axes.away), float(side @ axes.near)
    flat = max(lead * lead + near * near, 1e-9)
    slope = np.cross(side, (lead * axes.near + near * axes.away) / flat)
    return Angle(deg=float(np.degrees(np.arctan2(near, lead))), se_deg=_se_deg(slope, spread))


def side_bend(rotation: FloatArray, spread: FloatArray, axes: Axes) -> Angle:
    """Return the side axis' angle above the level plane, + with the lead end up."""
    return _above(rotation @ -axes.away, spread, axes)


def pitch(facing: FloatArray, rotation: FloatArray, spread: FloatArray, axes: Axes) -> Angle:
    """Return the angle above the level plane of ``facing``, (3,) at setup, after ``rotation``."""
    return _above(rotation @ facing, spread, axes)


def facing_of(normal: FloatArray | None, axes: Axes) -> FloatArray:
    """Return the facing at setup, (3,), from the front tag's outward normal there, or None.

    The part of the normal along the side axis is left out: the tag may sit off the middle.
    """
    if normal is None:
        return axes.near
    front: FloatArray = normal - axes.away * float(normal @ axes.away)
    length = float(np.linalg.norm(front))
    if length < 0.3:
        return axes.near
    level: FloatArray = front / length
    return level


def _above(direction: FloatArray, spread: FloatArray, axes: Axes) -> Angle:
    high = float(np.clip(direction @ axes.up, -1.0, 1.0))
    slope = np.cross(direction, axes.up) / max(float(np.sqrt(1.0 - high * high)), 1e-3)
    return Angle(deg=float(np.degrees(np.arcsin(high))), se_deg=_se_deg(slope, spread))


def _se_deg(slope: FloatArray, spread: FloatArray) -> float:
    return float(np.degrees(np.sqrt(max(0.0, float(slope @ spread @ slope)))))
