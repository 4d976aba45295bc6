"""Shoulder and hip turn from one pose, each behind one function.

A single view under-reads the turn: the shoulders' projected width alone says about 60 at a true
90 because the pose model under-rotates a twisted trunk with the arms across it. What is done
about it, and how well it works, is in docs/measures.md.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.records import Pose
from trainer.core.setup import Reference

FloatArray = NDArray[np.float64]


def shoulder_turn_deg(pose: Pose, reference: Reference) -> float | None:
    """Return the shoulder line's turn from setup in degrees, + away from the target.

    A camera estimate: see docs/measures.md for how far to trust it.
    """
    return _line_turn_deg(pose, reference, "shoulder")


def hip_turn_deg(pose: Pose, reference: Reference) -> float | None:
    """Return the hip line's turn from setup in degrees, + away from the target."""
    return _line_turn_deg(pose, reference, "hip")


def _line_turn_deg(pose: Pose, reference: Reference, part: str) -> float | None:
    """Return the change of a line's heading in the world points, horizontal plane.

    The line runs from trail to lead; its heading is 0 square to the camera and grows as the
    lead end comes toward the camera.
    """
    now = _heading_deg(pose.world_m, reference, part)
    then = _heading_deg(reference.world_m, reference, part)
    if now is None or then is None:
        return None
    return geo.wrap_deg(now - then)


def _heading_deg(world_m: FloatArray, reference: Reference, part: str) -> float | None:
    lead, trail = geo.lead_trail(reference.handed, part)
    line = world_m[lead] - world_m[trail]
    across = -float(line[0]) * geo.away_sign(reference.handed)
    nearer = -float(line[2])
    if abs(across) + abs(nearer) < 1e-6:
        return None
    return float(np.degrees(np.arctan2(nearer, across)))
