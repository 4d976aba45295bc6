"""What the body really does, estimated from what the pose model says of it.

The pose model under-rotates a twisted trunk with the arms across it, moves mid-hip when the hips
turn, and more: errors that follow from the pose itself. A kernel regression, fitted on rendered
people whose joints are known (docs/accuracy.md), reads all body points against the player's own
setup and gives each measure with its standard error. Everything is done in lead and trail, so a
left-hander reads exactly as the mirrored right-hander; at setup every turn and drift reads 0.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.landmarks import LANDMARK_COUNT, Landmark
from trainer.core.records import Handed, Pose
from trainer.core.setup import Reference
from trainer.core.silhouette import HEIGHTS, extents

FloatArray = NDArray[np.float64]

#: What the regression gives, in this order; the drifts and the tilt as corrections to what the
#: picture's points say on their own.
OUTPUTS: Final = (
    "shoulder_turn_deg",
    "hip_turn_deg",
    "separation_deg",
    "chest_pitch_deg",
    "side_tilt_deg",
    "head_lateral_cm",
    "head_vertical_cm",
    "hip_lateral_cm",
)
#: What only the outline can tell: a correction to the silhouette's own edge.
BACK: Final = "back_gap_cm"
OUTLINE_OUTPUTS: Final = (*OUTPUTS, BACK)
#: How many more numbers are read where there is an outline: extents now less at setup, at setup.
OUTLINE_FEATURES: Final = 4 * len(HEIGHTS)
#: Not 0 at setup: where chest and trunk point is told as it is.
AS_IT_IS: Final = frozenset({"chest_pitch_deg", "side_tilt_deg", BACK})


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

    output = weights' exp(-width |x - centre|^2 / F), x being the features scaled and then weighted
    by how much each tells; the method is that of Rasmussen & Williams 2006, Gaussian Processes for
    Machine Learning, section 8.3.2 (subset of regressors), the weights those of section 5.1
    (automatic relevance determination).
    """

    outputs: tuple[str, ...]  #: K names
    mean: FloatArray  #: (F,) of the features
    scale: FloatArray  #: (F,)
    relevance: FloatArray  #: (F,) how much each scaled feature counts
    centres: FloatArray  #: (M, F) features of some poses, scaled and weighted
    width: float
    weights: FloatArray  #: (M, 2 K): K outputs, then K logarithms of their standard errors
    offset: FloatArray  #: (2 K,)
    squares: FloatArray | None = None  #: (M,) |centre|^2, kept because it never changes

    def __post_init__(self) -> None:
        """Work out ``squares``."""
        object.__setattr__(self, "squares", np.sum(self.centres**2, axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """Coefficients for poses with an outline and without, and the pose model they belong to."""

    name: str  #: version, shown by doctor and kept in traces
    pose_model: str  #: SHA-256 of the pose model's networks it was fitted with
    points: Estimator  #: from the body points alone
    outline: Estimator | None = None  #: from points and outline


def widened(fitted: Fitted, factor: float) -> Fitted:
    """Return ``fitted`` with every standard error ``factor`` times as large; itself for 1."""
    if factor == 1.0:
        return fitted

    def wide(one: Estimator) -> Estimator:
        offset = one.offset.copy()
        offset[len(one.outputs) :] += np.log(factor)
        return replace(one, offset=offset)

    outline = None if fitted.outline is None else wide(fitted.outline)
    return replace(fitted, points=wide(fitted.points), outline=outline)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """Coefficients made ready for one setup: what depends on the setup alone, worked out once."""

    fitted: Fitted
    reference: Reference
    then: FloatArray  #: the setup's own parts of the features
    shape: FloatArray  #: its proportions and lean
    points_zero: FloatArray  #: (K,) what the regression says of the setup itself
    extents: FloatArray | None  #: the setup's silhouette; None: only points are read
    outline_zero: FloatArray | None


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
    """Return what the regression reads of the points: (F,) numbers.

    Picture points from mid-hip and depth in torso lengths of the setup, world points in metres,
    each less its value at setup; then the setup's own proportions and lean.
    """
    now = _parts(pose.image_px, pose.depth_px, pose.world_m, reference)
    then = _parts(reference.image_px, reference.depth_px, reference.world_m, reference)
    return np.concatenate([now - then, _shape(then)])


def outline_features(pose: Pose, reference: Reference) -> FloatArray | None:
    """Return ``features``, then the silhouette's extents less those at setup, then those.

    None when the pose or the setup has no outline.
    """
    now, then = _extents(pose, reference), _setup_extents(reference)
    if now is None or then is None:
        return None
    return np.concatenate([features(pose, reference), now - then, then])


def prepare(fitted: Fitted, reference: Reference) -> Prepared:
    """Return ``fitted`` made ready for readings against ``reference``."""
    then = _parts(reference.image_px, reference.depth_px, reference.world_m, reference)
    shape = _shape(then)
    still = np.concatenate([np.zeros_like(then), shape])
    extents, outline_zero = _setup_extents(reference), None
    if extents is not None and fitted.outline is not None:
        row = np.concatenate([still, np.zeros_like(extents), extents])
        outline_zero = _zeroed(fitted.outline, _run(fitted.outline, row[None])[0])
    return Prepared(
        fitted=fitted,
        reference=reference,
        then=then,
        shape=shape,
        points_zero=_zeroed(fitted.points, _run(fitted.points, still[None])[0]),
        extents=extents,
        outline_zero=outline_zero,
    )


def estimate(ready: Prepared, pose: Pose) -> Estimate:
    """Return every output that can be told of ``pose`` with its standard error.

    Turns and drifts are 0 at setup. Where pose and setup have an outline it is used, and only
    then can the back be told.
    """
    now = _parts(pose.image_px, pose.depth_px, pose.world_m, ready.reference)
    row = np.concatenate([now - ready.then, ready.shape])
    machine, zero = ready.fitted.points, ready.points_zero
    extents = None
    if ready.extents is not None and ready.outline_zero is not None:
        extents = _extents(pose, ready.reference)
        if extents is not None and ready.fitted.outline is not None:
            machine, zero = ready.fitted.outline, ready.outline_zero
            row = np.concatenate([row, extents - ready.extents, ready.extents])
    said = _run(machine, row[None])[0]
    count = len(machine.outputs)
    value, se = said[:count] - zero, np.exp(said[count:])
    return Estimate(
        value=dict(zip(machine.outputs, value.tolist(), strict=True)),
        se=dict(zip(machine.outputs, se.tolist(), strict=True)),
    )


def _extents(pose: Pose, reference: Reference) -> FloatArray | None:
    hip_px = geo.middle(pose.image_px, "hip")
    return extents(pose.outline, hip_px, _torso_px(reference), reference.handed)


def _setup_extents(reference: Reference) -> FloatArray | None:
    return extents(reference.outline, reference.hip_px, _torso_px(reference), reference.handed)


def _torso_px(reference: Reference) -> float:
    return float(np.linalg.norm(reference.chest_px - reference.hip_px))


def _zeroed(machine: Estimator, said: FloatArray) -> FloatArray:
    """Return what is to be taken off so that the setup reads 0, where it is to read 0."""
    zero: FloatArray = said[: len(machine.outputs)].copy()
    zero[[name in AS_IT_IS for name in machine.outputs]] = 0.0
    return zero


def predict(machine: Estimator, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (values, standard errors), each (R, K), for rows of features (R, F)."""
    said = _run(machine, np.concatenate([rows, at_setup(rows)]))
    now, then = said[: len(rows)], said[len(rows) :]
    count = len(machine.outputs)
    zero = np.array([_zeroed(machine, row) for row in then])
    values: FloatArray = now[:, :count] - zero
    errors: FloatArray = np.exp(now[:, count:])
    return values, errors


def at_setup(rows: FloatArray) -> FloatArray:
    """Return rows of features (R, F) as they would be at the setup they were read against."""
    still: FloatArray = rows.copy()
    still[:, :_MOVING] = 0.0
    still[:, _MOVING + _SHAPE : _MOVING + _SHAPE + OUTLINE_FEATURES // 2] = 0.0
    return still


def weighted(machine: Estimator, rows: FloatArray) -> FloatArray:
    """Return rows of features (R, F) scaled, held within ``LIMIT`` and weighted."""
    scaled = np.clip((rows - machine.mean) / machine.scale, -LIMIT, LIMIT)
    result: FloatArray = scaled * machine.relevance
    return result


def _run(machine: Estimator, rows: FloatArray) -> FloatArray:
    placed = weighted(machine, rows)
    near = kernel(placed, machine.centres, machine.width, machine.squares)
    result: FloatArray = _times(near, machine.weights) + machine.offset
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
    torso = _torso_px(reference)
    flat = canonical((image_px - hips) / torso, reference.handed)
    depth = canonical(depth_px[:, None] / torso, reference.handed)
    if reference.handed is Handed.LEFT:
        depth = -depth  # depth is no sideways axis: undo the mirroring
    world = canonical(world_m, reference.handed)
    return np.concatenate([flat.ravel(), depth.ravel(), world.ravel()])


#: Scaled features are held within this: a pose far from all that was fitted stays sane.
LIMIT: Final = 5.0

#: How many numbers ``_parts`` gives, and ``_shape``.
_MOVING: Final = 6 * LANDMARK_COUNT
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
