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
from trainer.core.trunk_network import Network

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
#: And where the trunk's picture is read: what it says now less at setup, and at setup.
TRUNK_FEATURES: Final = 6
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
    """Coefficients for what a pose may hold, and the pose model they belong to."""

    name: str  #: version, shown by doctor and kept in traces
    pose_model: str  #: SHA-256 of the pose model's networks it was fitted with
    points: Estimator  #: from the body points alone
    outline: Estimator | None = None  #: from points and outline
    trunk: Estimator | None = None  #: from points, outline and the trunk's picture
    network: Network | None = None  #: reads the trunk's picture for ``trunk``

    def readers(self, count: int) -> tuple[Estimator, ...]:
        """Return the coefficients whose readings of ``count`` features are averaged.

        With the trunk's picture those with it and without: the two err in different ways, and on
        pictures shaded as none of the fit's the mean is nearer than either (docs/estimator.md).
        """
        if self.outline is None or len(self.outline.relevance) > count:
            return (self.points,)
        if self.trunk is None or len(self.trunk.relevance) > count:
            return (self.outline,)
        return self.trunk, self.outline


def widened(fitted: Fitted, factor: float) -> Fitted:
    """Return ``fitted`` with every standard error ``factor`` times as large; itself for 1."""
    if factor == 1.0:
        return fitted

    def wide(one: Estimator) -> Estimator:
        offset = one.offset.copy()
        offset[len(one.outputs) :] += np.log(factor)
        return replace(one, offset=offset)

    return replace(
        fitted,
        points=wide(fitted.points),
        outline=None if fitted.outline is None else wide(fitted.outline),
        trunk=None if fitted.trunk is None else wide(fitted.trunk),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """Coefficients made ready for one setup: what depends on the setup alone, worked out once."""

    fitted: Fitted
    reference: Reference
    then: Setting  #: the setup's own part of the features
    #: (K,) what each set of coefficients says of the setup itself, by its number of features
    zero: dict[int, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setting:
    """What a pose's features are told against: the same numbers of the setup."""

    parts: FloatArray
    shape: FloatArray  #: the setup's proportions and lean
    extents: FloatArray | None  #: its silhouette; None: only points are read
    trunk: FloatArray | None  #: what the trunk's picture said


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
    """Return what the regression reads of a pose: (F,) numbers, more where more is known.

    Picture points from mid-hip and depth in torso lengths of the setup, world points in metres,
    each less its value at setup; then the setup's own proportions and lean. With an outline, the
    silhouette's extents less those at setup, then those; and with the trunk's picture read, the
    same of that.
    """
    return _row(pose, reference, _setting(reference))


def _setting(reference: Reference) -> Setting:
    parts = _parts(reference.image_px, reference.depth_px, reference.world_m, reference)
    return Setting(
        parts=parts,
        shape=_shape(parts),
        extents=extents(
            reference.outline, reference.hip_px, _torso_px(reference), reference.handed
        ),
        trunk=_trunk(reference.trunk_deg, reference.handed),
    )


def _row(pose: Pose, reference: Reference, then: Setting) -> FloatArray:
    parts = _parts(pose.image_px, pose.depth_px, pose.world_m, reference)
    edges = None if then.extents is None else _extents(pose, reference)
    trunk = None if then.trunk is None else _trunk(pose.trunk_deg, reference.handed)
    return _joined(then, parts, edges, trunk)


def _joined(
    then: Setting, parts: FloatArray, edges: FloatArray | None, trunk: FloatArray | None
) -> FloatArray:
    row = [parts - then.parts, then.shape]
    if edges is not None and then.extents is not None:
        row += [edges - then.extents, then.extents]
        if trunk is not None and then.trunk is not None:
            row += [trunk - then.trunk, then.trunk]
    return np.concatenate(row)


def prepare(fitted: Fitted, reference: Reference) -> Prepared:
    """Return ``fitted`` made ready for readings against ``reference``."""
    then = _setting(reference)
    still = _joined(then, then.parts, then.extents, then.trunk)
    zero = {}
    for machine in (fitted.points, fitted.outline, fitted.trunk):
        if machine is not None and len(machine.relevance) <= len(still):
            count = len(machine.relevance)
            zero[count] = _zeroed(machine, _run(machine, still[None, :count])[0])
    return Prepared(fitted=fitted, reference=reference, then=then, zero=zero)


def estimate(ready: Prepared, pose: Pose) -> Estimate:
    """Return every output that can be told of ``pose`` with its standard error.

    Turns and drifts are 0 at setup. What pose and setup both have is used: outline, trunk's
    picture; only with an outline can the back be told.
    """
    row = _row(pose, ready.reference, ready.then)
    machines = ready.fitted.readers(len(row))
    outputs = machines[0].outputs
    count = len(outputs)
    said = np.zeros(2 * count)
    for machine in machines:
        width = len(machine.relevance)
        said += _run(machine, row[None, :width])[0]
        said[:count] -= ready.zero[width]
    said /= len(machines)
    return Estimate(
        value=dict(zip(outputs, said[:count].tolist(), strict=True)),
        se=dict(zip(outputs, np.exp(said[count:]).tolist(), strict=True)),
    )


def _trunk(trunk_deg: FloatArray | None, handed: Handed) -> FloatArray | None:
    return None if trunk_deg is None else trunk_deg[0 if handed is Handed.RIGHT else 1]


def _extents(pose: Pose, reference: Reference) -> FloatArray | None:
    hip_px = geo.middle(pose.image_px, "hip")
    return extents(pose.outline, hip_px, _torso_px(reference), reference.handed)


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
    for begin, count in ((WITH_POINTS, OUTLINE_FEATURES), (WITH_OUTLINE, TRUNK_FEATURES)):
        still[:, begin : begin + count // 2] = 0.0
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
#: How many features a row has of the points alone, with the outline, and with all.
WITH_POINTS: Final = _MOVING + _SHAPE
WITH_OUTLINE: Final = WITH_POINTS + OUTLINE_FEATURES
WITH_TRUNK: Final = WITH_OUTLINE + TRUNK_FEATURES


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
