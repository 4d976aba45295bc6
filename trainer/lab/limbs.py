"""Limbs of two bones. Pure numpy, all frames at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trainer.lab import rotations as rot
from trainer.lab.body import Body

Floats = NDArray[np.float64]


def two_bones(
    body: Body,
    names: tuple[str, str, str],
    start: Floats,
    end: Floats,
    pole: Floats,
    rest_pole: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Reach from ``start`` to ``end`` (T, 3) with two bones, by the cosine rule.

    ``names`` are the upper bone, the lower bone and the one at its end; the middle joint sticks
    out towards ``pole`` (T, 3), at rest towards ``rest_pole`` (3,). Returns the rotations of both
    bones (T, 3, 3) and where the middle joint is (T, 3). A target out of reach is pointed at with
    the limb straight.
    """
    a, b, c = (body.head_of(name) for name in names)
    first, second = np.linalg.norm(b - a), np.linalg.norm(c - b)
    line = end - start
    reach = np.clip(
        np.linalg.norm(line, axis=-1), abs(first - second) + 1e-3, (first + second) * 0.99995
    )[:, None]
    way = rot.unit(line)
    along = (first**2 - second**2 + reach**2) / (2 * reach)
    off = np.sqrt(np.maximum(first**2 - along**2, 0.0))
    side = rot.across(pole, way)
    middle = start + along * way + off * side
    finish = start + reach * way
    normal = np.cross(way, side)
    rest_way = rot.unit(c - a)
    rest_normal = np.cross(rest_way, rot.across(rest_pole, rest_way))
    upper = rot.frame(middle - start, normal) @ rot.frame(b - a, rest_normal).T
    lower = rot.frame(finish - middle, normal) @ rot.frame(c - b, rest_normal).T
    return upper, lower, middle


def lengths(body: Body, upper: str, lower: str, end: str) -> tuple[float, float]:
    """Return the lengths of a limb's two bones, metres."""
    a, b, c = (body.head_of(name) for name in (upper, lower, end))
    return float(np.linalg.norm(b - a)), float(np.linalg.norm(c - b))


def swing_only(turn: Floats, axis: Floats) -> Floats:
    """Return the smallest rotation that takes the axis where ``turn`` takes it."""
    there = rot.apply(turn, axis)
    normal = np.cross(axis, there)
    size = np.linalg.norm(normal, axis=-1)
    angle = np.degrees(np.arctan2(size, there @ axis))
    return rot.about(rot.unit(normal), angle)


def twist_towards(lower: Floats, hand: Floats, axis: Floats, part: float) -> Floats:
    """Turn the forearm about its own length part of the way to the hand's roll."""
    local = np.swapaxes(lower, -1, -2) @ hand
    rest = np.swapaxes(swing_only(local, axis), -1, -2) @ local
    return lower @ rot.share(rest, part)
