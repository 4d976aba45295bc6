"""Where a printed tag is and how it is turned, from a single tag's four corners.

A square seen by one camera has two likely attitudes, mirrored about the line of sight; far off
or nearly square to the camera the picture hardly tells which. Here the choice is made, by how
well each fits the corners and by what is known otherwise; and the error is told, from the
corners' noise through the derivative of the projection.

Camera's axes: x right, y down, z away from the camera. The tag's own: x right and y down as it
is read, z into the sheet; so the identity is an upright tag facing the camera.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import rotation as rot

FloatArray = NDArray[np.float64]

#: Below this likelihood of the chosen attitude it is called ambiguous.
SURE: Final = 0.95
#: From so many errors on a hint counts no more against an attitude. Two hints often rest on one and
#: the same earlier picture: once that was taken for its mirror image, corners that tell it clearly
#: must be able to put it right.
HINT_ERRORS: Final = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Attitude:
    """One of the attitudes the corners allow."""

    rotation: FloatArray  #: (3, 3) from the tag's axes to the camera's
    place_m: FloatArray  #: (3,) the tag's middle in the camera's axes
    misfit: float  #: squared distance of the corners from where it puts them, over noise squared


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hint:
    """What else is known of a tag's attitude: from the frame before, or from the body."""

    rotation: FloatArray  #: (3, 3)
    se_deg: float  #: one standard error of its angle about any axis


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TagPose:
    """Where one tag is and how it is turned."""

    number: int
    rotation: FloatArray  #: (3, 3) from the tag's axes to the camera's
    place_m: FloatArray  #: (3,) its middle in the camera's axes
    #: (6, 6) covariance of a small rotation from the left about the camera's axes (radians) and
    #: of the place (metres)
    spread: FloatArray
    ambiguous: bool  #: the other attitude is likelier than one in twenty; ``spread`` has it in

    @property
    def se_deg(self) -> tuple[float, float, float]:
        """One standard error about the camera's y, x and z: turn, pitch and roll."""
        x, y, z = np.degrees(np.sqrt(np.diag(self.spread)[:3]))
        return float(y), float(x), float(z)

    @property
    def place_se_m(self) -> tuple[float, float, float]:
        """One standard error of the place along the camera's x, y and z."""
        x, y, z = np.sqrt(np.diag(self.spread)[3:])
        return float(x), float(y), float(z)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TagsRead:
    """What looking for tags in one picture came to."""

    focal_px: float  #: of the lens they were read through, the mean of both ways
    poses: tuple[TagPose, ...]  #: by number; () when none was seen, or the looking came too late
    tilt_se_deg: float = 3.0  #: how well it is known how far the camera looks down


def square(size_m: float) -> FloatArray:
    """Return the black square's corners (4, 3) in the tag's axes, top left first, clockwise."""
    half = size_m / 2
    return np.array(
        [[-half, -half, 0.0], [half, -half, 0.0], [half, half, 0.0], [-half, half, 0.0]]
    )


def projected(rotation: FloatArray, place_m: FloatArray, size_m: float) -> FloatArray:
    """Return the corners (4, 2) in the plane one unit before the camera: x / z and y / z."""
    seen = square(size_m) @ rotation.T + place_m
    flat: FloatArray = seen[:, :2] / seen[:, 2:]
    return flat


def derivative(rotation: FloatArray, place_m: FloatArray, size_m: float) -> FloatArray:
    """Return (8, 6): the change of ``projected`` with a small left rotation and the place."""
    arms = square(size_m) @ rotation.T
    seen = arms + place_m
    out = np.zeros((8, 6))
    for row, (arm, (x, y, z)) in enumerate(zip(arms, seen, strict=True)):
        flat = np.array([[1 / z, 0.0, -x / z**2], [0.0, 1 / z, -y / z**2]])
        out[2 * row : 2 * row + 2, :3] = -flat @ rot.cross_matrix(arm)
        out[2 * row : 2 * row + 2, 3:] = flat
    return out


def refined(
    attitude: Attitude, corners: FloatArray, *, size_m: float, noise: float, steps: int = 5
) -> Attitude:
    """Return the attitude brought to the least squared distance from ``corners`` (4, 2).

    ``corners`` as ``projected`` gives them, ``noise`` in the same unit. Gauss-Newton, damped a
    little, for a tag square to the camera leaves two directions weak. A step that makes it worse
    ends it.
    """
    best = attitude
    for _ in range(steps):
        slope = derivative(best.rotation, best.place_m, size_m) / noise
        short = (corners - projected(best.rotation, best.place_m, size_m)).ravel() / noise
        normal = slope.T @ slope
        normal[np.diag_indices(6)] *= 1.001
        step = np.linalg.solve(normal, slope.T @ short)
        turned = rot.from_vector(step[:3]) @ best.rotation
        moved = best.place_m + step[3:]
        if moved[2] <= 0:
            break
        misfit = misfit_of(turned, moved, corners, size_m=size_m, noise=noise)
        if misfit > best.misfit:
            break
        done = best.misfit - misfit < 1e-3
        best = Attitude(rotation=turned, place_m=moved, misfit=misfit)
        if done:
            break
    return best


def misfit_of(
    rotation: FloatArray, place_m: FloatArray, corners: FloatArray, *, size_m: float, noise: float
) -> float:
    """Return the corners' squared distance from the projection, in units of the noise squared."""
    return float((((corners - projected(rotation, place_m, size_m)) / noise) ** 2).sum())


def chosen(
    number: int,
    attitudes: Sequence[Attitude],
    *,
    size_m: float,
    noise: float,
    hints: Sequence[Hint] = (),
) -> TagPose | None:
    """Return the likeliest of a tag's attitudes with its error, or None when there is none.

    Each attitude's likelihood is that of the corners times that of the hints, all Gaussian. The
    covariance is the inverse of the derivative's square times the noise squared (first order),
    and what the other attitude would make of it, by its likelihood. ``noise`` is a corner's
    standard error as ``projected`` counts: pixels over the focal length.
    """
    if not attitudes:
        return None
    costs = [a.misfit + sum(_strain(a, hint) for hint in hints) for a in attitudes]
    order = np.argsort(costs)
    best = attitudes[int(order[0])]
    slope = derivative(best.rotation, best.place_m, size_m) / noise
    spread: FloatArray = np.linalg.inv(slope.T @ slope)
    ambiguous = False
    if len(order) > 1:
        other = attitudes[int(order[1])]
        odds = float(np.exp(-(costs[int(order[1])] - costs[int(order[0])]) / 2))
        wrong = odds / (1 + odds)
        apart = np.concatenate(
            [rot.to_vector(other.rotation @ best.rotation.T), other.place_m - best.place_m]
        )
        spread = spread + wrong * np.outer(apart, apart)
        ambiguous = wrong > 1 - SURE
    return TagPose(
        number=number,
        rotation=best.rotation,
        place_m=best.place_m,
        spread=spread,
        ambiguous=ambiguous,
    )


def _strain(attitude: Attitude, hint: Hint) -> float:
    """Return the squared angle from the hint over its error; far off all hints count alike."""
    errors = rot.angle_deg(hint.rotation, attitude.rotation) / hint.se_deg
    return min(errors, HINT_ERRORS) ** 2
