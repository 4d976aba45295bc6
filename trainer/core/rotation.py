"""Rotations as (3, 3) arrays: from and to rotation vectors, and their weighted mean.

The formulas are Rodrigues'; tests hold them against ``scipy.spatial.transform.Rotation``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def cross_matrix(vector: FloatArray) -> FloatArray:
    """Return the (3, 3) matrix that makes the cross product with ``vector`` from the left."""
    x, y, z = (float(value) for value in vector)
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def from_vector(vector_rad: FloatArray) -> FloatArray:
    """Return the rotation about ``vector_rad`` (3,) by its length in radians."""
    angle = float(np.linalg.norm(vector_rad))
    cross = cross_matrix(vector_rad)
    if angle < 1e-8:
        return np.eye(3) + cross
    turned: FloatArray = (
        np.eye(3)
        + np.sin(angle) / angle * cross
        + (1.0 - np.cos(angle)) / angle**2 * (cross @ cross)
    )
    return turned


def to_vector(rotation: FloatArray) -> FloatArray:
    """Return the rotation vector in radians, (3,), of length 0 to pi."""
    skew = np.array(
        [
            rotation[2, 1] - rotation[1, 2],
            rotation[0, 2] - rotation[2, 0],
            rotation[1, 0] - rotation[0, 1],
        ]
    )
    sine, cosine = float(np.linalg.norm(skew)) / 2, (float(np.trace(rotation)) - 1) / 2
    angle = float(np.arctan2(sine, cosine))
    if sine > 1e-6:
        vector: FloatArray = skew * (angle / (2 * sine))
        return vector
    if cosine > 0:
        small: FloatArray = skew / 2
        return small
    # Half a turn: the axis is the longest column of R + 1, its sign is of no consequence.
    outer = (rotation + np.eye(3)) / 2
    column = outer[:, int(np.argmax(np.diag(outer)))]
    half: FloatArray = angle * column / float(np.linalg.norm(column))
    return half


def angle_deg(one: FloatArray, other: FloatArray) -> float:
    """Return the angle of the rotation that takes ``one`` to ``other``, 0 to 180."""
    return float(np.degrees(np.linalg.norm(to_vector(other @ one.T))))


def weighted_mean(
    rotations: Sequence[FloatArray], spreads_rad2: Sequence[FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return the mean of rotations (3, 3) and its covariance (3, 3) in radians squared.

    ``spreads_rad2`` are the covariances of each one's small rotation from the left. Best linear
    estimate about the surest rotation, repeated until it is still. Raises ValueError for none.
    """
    if not rotations:
        raise ValueError("a mean of no rotations was asked for; give at least one")
    says = [np.linalg.inv(spread) for spread in spreads_rad2]
    spread: FloatArray = np.linalg.inv(np.sum(says, axis=0))
    mean = rotations[int(np.argmax([float(np.trace(say)) for say in says]))]
    for _ in range(5):
        pulls = [
            say @ to_vector(rotation @ mean.T)
            for say, rotation in zip(says, rotations, strict=True)
        ]
        step = spread @ np.sum(pulls, axis=0)
        mean = from_vector(step) @ mean
        if float(np.linalg.norm(step)) < 1e-6:
            break
    return mean, spread
