"""A body's points as plain numbers that do not depend on the picture's size or on who swings."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.landmarks import LANDMARK_COUNT, Landmark
from trainer.core.records import Handed

FloatArray = NDArray[np.float64]

#: How many numbers ``moving_numbers`` gives, and ``shape_numbers``.
MOVING: Final = 6 * LANDMARK_COUNT
SHAPE: Final = 8


def _swapped_rows() -> NDArray[np.int64]:
    rows = np.arange(LANDMARK_COUNT)
    for point in Landmark:
        name = point.name
        other = name.replace("LEFT", "~").replace("RIGHT", "LEFT").replace("~", "RIGHT")
        rows[point] = Landmark[other]
    return rows


_SWAPPED: Final = _swapped_rows()


def sides_swapped(values: FloatArray) -> FloatArray:
    """Return (33, ...) values of the points with those of left and right exchanged."""
    result: FloatArray = values[_SWAPPED]
    return result


def canonical(points: FloatArray, handed: Handed, middle_x: float = 0.0) -> FloatArray:
    """Return points (33, D) as a right-hander's: x mirrored about ``middle_x``, sides swapped."""
    if handed is Handed.RIGHT:
        return points
    mirrored = sides_swapped(points)
    mirrored[:, 0] = 2 * middle_x - mirrored[:, 0]
    return mirrored


def moving_numbers(
    image_px: FloatArray,
    depth_px: FloatArray,
    world_m: FloatArray,
    torso_px: float,
    handed: Handed,
) -> FloatArray:
    """Return (6 N,) numbers of the body points of one pose, as a right-hander's.

    Picture points from mid-hip, then depth, both in torso lengths of ``torso_px``; then world
    points in metres.
    """
    hips = geo.middle(image_px, "hip")
    flat = canonical((image_px - hips) / torso_px, handed)
    # Depth is no sideways axis: of a left-hander only the sides are swapped.
    depth = (depth_px if handed is Handed.RIGHT else sides_swapped(depth_px)) / torso_px
    world = canonical(world_m, handed)
    return np.concatenate([flat.ravel(), depth, world.ravel()])


def shape_numbers(setup: FloatArray) -> FloatArray:
    """Return (8,) numbers of a setup's ``moving_numbers``: its proportions and lean."""
    flat = setup[: 2 * LANDMARK_COUNT].reshape(LANDMARK_COUNT, 2)
    world = setup[3 * LANDMARK_COUNT :].reshape(LANDMARK_COUNT, 3)
    shoulders = flat[Landmark.LEFT_SHOULDER] - flat[Landmark.RIGHT_SHOULDER]
    hips = flat[Landmark.LEFT_HIP] - flat[Landmark.RIGHT_HIP]
    chest = geo.middle(world, "shoulder")
    nose, ears = flat[Landmark.NOSE], geo.middle(flat, "ear")
    hands = geo.middle(flat, "wrist")
    return np.array(
        [
            shoulders[0],
            shoulders[1],
            hips[0],
            chest[2],
            nose[1] - ears[1],
            hands[0],
            hands[1],
            geo.middle(flat, "ankle")[1],
        ]
    )
