"""What the body really does, estimated from what the pose model says of it.

The pose model under-rotates a twisted trunk with the arms across it, moves mid-hip when the hips
turn, and more: errors that follow from the pose itself. A kernel regression, fitted on rendered
people whose joints are known (docs/accuracy.md), reads all body points against the player's own
setup and gives each measure with its standard error. Everything is done in lead and trail, so a
left-hander reads exactly as the mirrored right-hander; at setup every turn and drift reads 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.landmarks import LANDMARK_COUNT, Landmark
from trainer.core.records import Handed, Pose
from trainer.core.setup import Reference

FloatArray = NDArray[np.float64]

#: What the regression gives, in this order; the drifts as corrections to the picture's own.
OUTPUTS: Final = (
    "shoulder_turn_deg",
    "hip_turn_deg",
    "chest_pitch_deg",
    "head_lateral_cm",
    "head_vertical_cm",
    "hip_lateral_cm",
)


def _swapped_rows() -> NDArray[np.int64]:
    rows = np.arange(LANDMARK_COUNT)
    for point in Landmark:
        name = point.name
        other = name.replace("LEFT", "~").replace("RIGHT", "LEFT").replace("~", "RIGHT")
        rows[point] = Landmark[other]
    return rows


_SWAPPED: Final = _swapped_rows()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Estimator:
    """A fitted kernel regression on M centres (Nystrom form of kernel ridge regression).

    output = weights' exp(-width |x - centre|^2 / F), x being the scaled features; the method is
    that of Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, section 8.3.2
    (subset of regressors).
    """

    name: str  #: version and what it was fitted for, shown by doctor and kept in traces
    mean: FloatArray  #: (F,) of the features
    scale: FloatArray  #: (F,)
    centres: FloatArray  #: (M, F) scaled features of some poses
    width: float
    weights: FloatArray  #: (M, 2 K): K outputs, then K logarithms of their standard errors
    offset: FloatArray  #: (2 K,)
    squares: FloatArray | None = None  #: (M,) |centre|^2, kept because it never changes

    def __post_init__(self) -> None:
        """Work out ``squares``."""
        object.__setattr__(self, "squares", np.sum(self.centres**2, axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """An estimator made ready for one setup: what depends on the setup alone, worked out once."""

    fitted: Estimator
    reference: Reference
    then: FloatArray  #: the setup's own parts of the features
    shape: FloatArray  #: its proportions and lean
    zero: FloatArray  #: (K,) what the regression says of the setup itself


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Values and standard errors by output name."""

    value: dict[str, float]
    se: dict[str, float]


def canonical(points: FloatArray, handed: Handed, middle_x: float = 0.0) -> FloatArray:
    """Return points (33, D) as a right-hander's: x mirrored about ``middle_x``, sides swapped."""
    if handed is Handed.RIGHT:
        return points
    mirrored: FloatArray = points[_SWAPPED].copy()
    mirrored[:, 0] = 2 * middle_x - mirrored[:, 0]
    return mirrored


def features(pose: Pose, reference: Reference) -> FloatArray:
    """Return what the regression reads: (F,) numbers, all 0-based on the setup but the last few.

    Picture points from mid-hip and depth in torso lengths of the setup, world points in metres,
    each less its value at setup; then the setup's own proportions and lean.
    """
    now = _parts(pose.image_px, pose.depth_px, pose.world_m, reference)
    then = _parts(reference.image_px, reference.depth_px, reference.world_m, reference)
    return np.concatenate([now - then, _shape(then)])


def prepare(fitted: Estimator, reference: Reference) -> Prepared:
    """Return ``fitted`` made ready for readings against ``reference``."""
    then = _parts(reference.image_px, reference.depth_px, reference.world_m, reference)
    shape = _shape(then)
    still = np.concatenate([np.zeros_like(then), shape])
    return Prepared(
        fitted=fitted,
        reference=reference,
        then=then,
        shape=shape,
        zero=_zeroed(_run(fitted, still[None])[0]),
    )


def estimate(ready: Prepared, pose: Pose) -> Estimate:
    """Return every output with its standard error, 0 at setup for all but the chest's pitch."""
    now = _parts(pose.image_px, pose.depth_px, pose.world_m, ready.reference)
    said = _run(ready.fitted, np.concatenate([now - ready.then, ready.shape])[None])[0]
    count = len(OUTPUTS)
    value, se = said[:count] - ready.zero, np.exp(said[count:])
    return Estimate(
        value=dict(zip(OUTPUTS, value.tolist(), strict=True)),
        se=dict(zip(OUTPUTS, se.tolist(), strict=True)),
    )


def _zeroed(said: FloatArray) -> FloatArray:
    """Return what is to be taken off so that the setup reads 0; the chest's pitch keeps its own."""
    zero: FloatArray = said[: len(OUTPUTS)].copy()
    zero[OUTPUTS.index("chest_pitch_deg")] = 0.0
    return zero


def predict(fitted: Estimator, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (values, standard errors), each (R, K), for rows of features (R, F)."""
    still = rows.copy()
    still[:, :-_SHAPE] = 0.0
    said = _run(fitted, np.concatenate([rows, still]))
    now, then = said[: len(rows)], said[len(rows) :]
    count = len(OUTPUTS)
    zero = np.array([_zeroed(row) for row in then])
    return now[:, :count] - zero, np.exp(now[:, count:])


def _run(fitted: Estimator, rows: FloatArray) -> FloatArray:
    scaled = np.clip((rows - fitted.mean) / fitted.scale, -LIMIT, LIMIT)
    near = kernel(scaled, fitted.centres, fitted.width, fitted.squares)
    result: FloatArray = _times(near, fitted.weights) + fitted.offset
    return result


def kernel(
    rows: FloatArray, centres: FloatArray, width: float, squares: FloatArray | None = None
) -> FloatArray:
    """Return exp(-width |row - centre|^2 / F) for every row and centre, (R, M)."""
    if squares is None:
        squares = np.sum(centres**2, axis=1)
    squared = np.sum(rows**2, axis=1)[:, None] - 2.0 * _times(rows, centres.T) + squares
    result: FloatArray = np.exp(-width / rows.shape[1] * np.maximum(squared, 0.0))
    return result


def _times(rows: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return ``rows @ matrix``.

    A few rows go through einsum: the matrix library would wake its threads for them, which on
    a busy machine with few cores costs a hundred times the product (0.3 against 40 ms seen).
    """
    if len(rows) > 8:
        return rows @ matrix
    result: FloatArray = np.einsum("rf,fm->rm", rows, matrix)
    return result


def _parts(
    image_px: FloatArray, depth_px: FloatArray, world_m: FloatArray, reference: Reference
) -> FloatArray:
    hips = geo.middle(image_px, "hip")
    torso = float(np.linalg.norm(reference.chest_px - reference.hip_px))
    flat = canonical((image_px - hips) / torso, reference.handed)
    depth = canonical(depth_px[:, None] / torso, reference.handed)
    if reference.handed is Handed.LEFT:
        depth = -depth  # depth is no sideways axis: undo the mirroring
    world = canonical(world_m, reference.handed)
    return np.concatenate([flat.ravel(), depth.ravel(), world.ravel()])


#: Scaled features are held within this: a pose far from all that was fitted stays sane.
LIMIT: Final = 5.0

#: How many numbers ``_shape`` gives.
_SHAPE: Final = 8


def _shape(setup: FloatArray) -> FloatArray:
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
