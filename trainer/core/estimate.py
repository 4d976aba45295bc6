"""What the body really does, estimated from what the pose model says of it.

The pose model under-rotates a twisted trunk with the arms across it, moves mid-hip when the hips
turn, and more: errors that follow from the pose itself. A kernel regression, fitted on rendered
people whose joints are known (docs/accuracy.md), reads all body points against the player's own
setup and gives each measure with its standard error. Everything is done in lead and trail, so a
left-hander reads exactly as the mirrored right-hander; at setup every turn and drift reads 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.body_numbers import MOVING, SHAPE, moving_numbers, shape_numbers
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
    centres: FloatArray | NDArray[np.float32]  #: (M, F) features of poses, scaled and weighted
    width: float
    weights: FloatArray  #: (M, 2 K): K outputs, then K logarithms of their standard errors
    offset: FloatArray  #: (2 K,)
    #: (F, M) the centres again, narrow and feature by feature: what one pose is read with. Half the
    #: bytes to fetch is half the time, for between two pictures the pose model empties the caches.
    narrow: NDArray[np.float32] = field(init=False)
    squares: FloatArray = field(init=False)  #: (M,) |centre|^2
    #: (M,) the products of the centres with what changes with a pose, for the setup itself: there
    #: those features are 0, whoever stands there
    resting: NDArray[np.float32] = field(init=False)
    #: (K,) 0 where the setup is told as it is, else 1
    zeroed: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        """Work out what never changes."""
        narrow = np.asfortranarray(self.centres, dtype=np.float32)
        object.__setattr__(self, "narrow", narrow.T)
        if self.centres.dtype == np.float32:
            object.__setattr__(self, "centres", narrow)  # the same memory
        # Without the squares themselves, 5 MB that the process would keep for good.
        squares = np.einsum("mf,mf->m", self.centres, self.centres, dtype=np.float64)
        object.__setattr__(self, "squares", squares)
        zeroed = np.array([float(name not in AS_IT_IS) for name in self.outputs])
        object.__setattr__(self, "zeroed", zeroed)
        still = weighted(self, np.zeros(len(self.relevance)))
        object.__setattr__(self, "resting", _along(self, still, _NOW))


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
    #: by number of features, filled when first asked for: an estimator is made ready for every
    #: setup that is taken anew, and few of them read with every set of coefficients
    stilled: dict[int, Stilled] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setting:
    """What a pose's features are told against: the same numbers of the setup."""

    parts: FloatArray
    extents: FloatArray | None  #: its silhouette; None: only points are read
    trunk: FloatArray | None  #: what the trunk's picture said
    torso_px: float
    still: FloatArray  #: the features of the setup itself


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stilled:
    """One set of coefficients for one setup."""

    level: FloatArray  #: (M,) what the kernels' exponents are but for what a pose adds
    zero: FloatArray  #: (2 K,) what is taken off so that the setup reads 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Values and standard errors by output name."""

    value: dict[str, float]
    se: dict[str, float]


def features(pose: Pose, reference: Reference) -> FloatArray:
    """Return what the regression reads of a pose: (F,) numbers, more where more is known.

    Picture points from mid-hip and depth in torso lengths of the setup, world points in metres,
    each less its value at setup; then the setup's own proportions and lean. With an outline, the
    silhouette's extents less those at setup, then those; and with the trunk's picture read, the
    same of that.
    """
    return _row(pose, reference, _setting(reference))


def _setting(reference: Reference) -> Setting:
    torso_px = float(np.linalg.norm(reference.chest_px - reference.hip_px))
    parts = moving_numbers(
        reference.image_px, reference.depth_px, reference.world_m, torso_px, reference.handed
    )
    edges = extents(reference.outline, reference.hip_px, torso_px, reference.handed)
    trunk = None if edges is None else _trunk(reference.trunk_deg, reference.handed)
    still = [np.zeros_like(parts), shape_numbers(parts)]
    for known in (edges, trunk):
        if known is not None:
            still += [np.zeros_like(known), known]
    return Setting(
        parts=parts, extents=edges, trunk=trunk, torso_px=torso_px, still=np.concatenate(still)
    )


def _row(pose: Pose, reference: Reference, then: Setting) -> FloatArray:
    handed = reference.handed
    parts = moving_numbers(pose.image_px, pose.depth_px, pose.world_m, then.torso_px, handed)
    edges = trunk = None
    if then.extents is not None:
        hip_px = geo.middle(pose.image_px, "hip")
        edges = extents(pose.outline, hip_px, then.torso_px, handed)
    if edges is not None and then.trunk is not None:
        trunk = _trunk(pose.trunk_deg, handed)
    count = WITH_POINTS if edges is None else WITH_OUTLINE if trunk is None else WITH_TRUNK
    row: FloatArray = then.still[:count].copy()
    row[:MOVING] = parts - then.parts
    if edges is not None and then.extents is not None:
        row[_EDGES] = edges - then.extents
    if trunk is not None and then.trunk is not None:
        row[_TRUNK] = trunk - then.trunk
    return row


def prepare(fitted: Fitted, reference: Reference) -> Prepared:
    """Return ``fitted`` made ready for readings against ``reference``."""
    return Prepared(fitted=fitted, reference=reference, then=_setting(reference))


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
        said += _against(ready, machine, row)
    said /= len(machines)
    return Estimate(
        value=dict(zip(outputs, said[:count].tolist(), strict=True)),
        se=dict(zip(outputs, np.exp(said[count:]).tolist(), strict=True)),
    )


def _against(ready: Prepared, machine: Estimator, row: FloatArray) -> FloatArray:
    """Return (2 K,) what one set of coefficients says of a row of features, 0 at setup."""
    count = len(machine.relevance)
    stilled = ready.stilled.get(count)
    if stilled is None:
        stilled = ready.stilled[count] = _stilled(machine, ready.then.still[:count])
    placed = weighted(machine, row[:count])
    return _said(machine, stilled.level, _along(machine, placed, _NOW), placed) - stilled.zero


def _stilled(machine: Estimator, still: FloatArray) -> Stilled:
    """Return what of a set of coefficients depends on the setup alone."""
    placed = weighted(machine, still)
    along = _along(machine, placed, _AT_SETUP)
    level = (2.0 * along - machine.squares) * (machine.width / len(placed))
    zero = _said(machine, level, machine.resting, placed)
    count = len(machine.outputs)
    zero[:count] *= machine.zeroed
    zero[count:] = 0.0
    return Stilled(level=level, zero=zero)


def _said(
    machine: Estimator, level: FloatArray, along: NDArray[np.float32], placed: FloatArray
) -> FloatArray:
    """Return (2 K,) the outputs of scaled and weighted features (F,).

    |x - c|^2 is taken apart: the squares of the centres and their products with what only the setup
    says are in ``level``, those with what changes with the pose in ``along``, and the square of x,
    the same for all centres, comes last.
    """
    per = machine.width / len(placed)
    exponent = np.multiply(along, 2.0 * per, dtype=np.float64)
    exponent += level
    near = np.exp(exponent, out=exponent)
    result: FloatArray = np.einsum("m,mk->k", near, machine.weights)
    result *= math.exp(-per * float(placed @ placed))
    result += machine.offset
    return result


def _along(machine: Estimator, placed: FloatArray, parts: tuple[slice, ...]) -> NDArray[np.float32]:
    """Return (M,) the product of some of the features with the same of every centre.

    By einsum: the matrix library would wake its threads for it, which on a busy machine with few
    cores costs a hundred times the product (0.3 against 40 ms seen).
    """
    narrow = placed.astype(np.float32)
    result: NDArray[np.float32] = np.einsum("f,fm->m", narrow[parts[0]], machine.narrow[parts[0]])
    for part in parts[1:]:
        if part.stop <= len(placed):
            result += np.einsum("f,fm->m", narrow[part], machine.narrow[part])
    return result


def _trunk(trunk_deg: FloatArray | None, handed: Handed) -> FloatArray | None:
    """Return what the trunk's picture said for who swings so; None where it was not asked."""
    if trunk_deg is None:
        return None
    said: FloatArray = trunk_deg[0 if handed is Handed.RIGHT else 1]
    return None if np.isnan(said[0]) else said


def _zeroed(machine: Estimator, said: FloatArray) -> FloatArray:
    """Return what is to be taken off so that the setup reads 0, where it is to read 0."""
    zero: FloatArray = said[: len(machine.outputs)] * machine.zeroed
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
    still[:, :MOVING] = 0.0
    for begin, count in ((WITH_POINTS, OUTLINE_FEATURES), (WITH_OUTLINE, TRUNK_FEATURES)):
        still[:, begin : begin + count // 2] = 0.0
    return still


def weighted(machine: Estimator, rows: FloatArray) -> FloatArray:
    """Return rows of features (R, F), or one (F,), scaled, held within ``LIMIT`` and weighted."""
    scaled = np.minimum(np.maximum((rows - machine.mean) / machine.scale, -LIMIT), LIMIT)
    result: FloatArray = scaled * machine.relevance
    return result


def _run(machine: Estimator, rows: FloatArray) -> FloatArray:
    placed = weighted(machine, rows)
    near = kernel(placed, machine.centres, machine.width, machine.squares)
    result: FloatArray = near @ machine.weights + machine.offset
    return result


def kernel(
    rows: FloatArray,
    centres: FloatArray | NDArray[np.float32],
    width: float,
    squares: FloatArray | None = None,
) -> FloatArray:
    """Return exp(-width |row - centre|^2 / F) for every row and centre, (R, M)."""
    if squares is None:
        squares = np.sum(centres.astype(np.float64) ** 2, axis=1)
    squared = np.sum(rows**2, axis=1)[:, None] - 2.0 * rows @ centres.T + squares
    result: FloatArray = np.exp(-width / rows.shape[1] * np.maximum(squared, 0.0))
    return result


#: Scaled features are held within this: a pose far from all that was fitted stays sane.
LIMIT: Final = 5.0

#: How many features a row has of the points alone, with the outline, and with all.
WITH_POINTS: Final = MOVING + SHAPE
WITH_OUTLINE: Final = WITH_POINTS + OUTLINE_FEATURES
WITH_TRUNK: Final = WITH_OUTLINE + TRUNK_FEATURES
#: Where in a row stands what changes with the pose, and what only the setup says.
_EDGES: Final = slice(WITH_POINTS, WITH_POINTS + OUTLINE_FEATURES // 2)
_TRUNK: Final = slice(WITH_OUTLINE, WITH_OUTLINE + TRUNK_FEATURES // 2)
_NOW: Final = (slice(0, MOVING), _EDGES, _TRUNK)
_AT_SETUP: Final = (
    slice(MOVING, WITH_POINTS),
    slice(_EDGES.stop, WITH_OUTLINE),
    slice(_TRUNK.stop, WITH_TRUNK),
)
