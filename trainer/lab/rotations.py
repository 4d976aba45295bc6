"""Rotation matrices (..., 3, 3) over many frames at once. Right-handed; angles in degrees."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def about_x(angle_deg: Floats | float) -> Floats:
    """Turn about x: y goes towards z."""
    return about(np.array([1.0, 0.0, 0.0]), angle_deg)


def about_y(angle_deg: Floats | float) -> Floats:
    """Turn about y: z goes towards x."""
    return about(np.array([0.0, 1.0, 0.0]), angle_deg)


def about_z(angle_deg: Floats | float) -> Floats:
    """Turn about z: x goes towards y."""
    return about(np.array([0.0, 0.0, 1.0]), angle_deg)


def about(axis: Floats, angle_deg: Floats | float) -> Floats:
    """Turn about unit axes (..., 3) by angles (...): Rodrigues' formula."""
    angle = np.radians(np.asarray(angle_deg, dtype=np.float64))[..., None, None]
    axis = np.broadcast_to(axis, (*angle.shape[:-2], 3)) if axis.ndim == 1 else axis
    k = _cross_matrix(axis)
    return np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * (k @ k)


def share(whole: Floats, part: float) -> Floats:
    """Return the rotations done in part, 0..1, about the same axes (each less than 180 deg)."""
    trace = np.trace(whole, axis1=-2, axis2=-1)
    angle = np.arccos(np.clip((trace - 1.0) / 2.0, -1.0, 1.0))
    twist = np.stack(
        [
            whole[..., 2, 1] - whole[..., 1, 2],
            whole[..., 0, 2] - whole[..., 2, 0],
            whole[..., 1, 0] - whole[..., 0, 1],
        ],
        axis=-1,
    )
    size = np.linalg.norm(twist, axis=-1, keepdims=True)
    axis = np.where(size > 1e-9, twist / np.maximum(size, 1e-9), np.array([0.0, 1.0, 0.0]))
    return about(axis, np.degrees(angle) * part)


def between(first: Floats, second: Floats, part: float) -> Floats:
    """Return the rotation a share of the way from ``first`` to ``second``."""
    return first @ share(np.swapaxes(first, -1, -2) @ second, part)


def unit(vectors: Floats) -> Floats:
    """Scale vectors (..., 3) to length 1."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-12)


def across(vectors: Floats, direction: Floats) -> Floats:
    """Return the unit part of ``vectors`` at right angles to unit ``direction``, both (..., 3)."""
    along = np.sum(vectors * direction, axis=-1, keepdims=True)
    return unit(vectors - along * direction)


def frame(direction: Floats, normal: Floats) -> Floats:
    """Return frames (..., 3, 3) whose columns are the direction, a third axis and the normal."""
    x = unit(direction)
    z = across(normal, x)
    return np.stack([x, np.cross(z, x), z], axis=-1)


def apply(rotations: Floats, vector: Floats) -> Floats:
    """Turn vectors: (..., 3, 3) times (3,) or (..., 3)."""
    return np.einsum("...ij,...j->...i", rotations, vector)


def _cross_matrix(axis: Floats) -> Floats:
    zero = np.zeros(axis.shape[:-1])
    x, y, z = axis[..., 0], axis[..., 1], axis[..., 2]
    rows = [
        np.stack([zero, -z, y], axis=-1),
        np.stack([z, zero, -x], axis=-1),
        np.stack([-y, x, zero], axis=-1),
    ]
    return np.stack(rows, axis=-2)
