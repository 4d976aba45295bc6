"""Longer or shorter arms and legs and wider or narrower shoulders for a body at rest."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from trainer.lab.body import Body

Floats = NDArray[np.float64]
#: Limb bones whose names begin so, and the two joints that give the way they run.
_RUNS = (
    (("clavicle", "shoulder01"), None),
    (("upperarm",), ("upperarm01", "lowerarm01")),
    (("lowerarm",), ("lowerarm01", "wrist")),
    (("upperleg",), ("upperleg01", "lowerleg01")),
    (("lowerleg",), ("lowerleg01", "foot")),
)


def stretched(body: Body, *, arm: float, leg: float, shoulders: float) -> Body:
    """Return the body with its limbs scaled along themselves and its shoulder girdle across.

    1 leaves a part as it is. Hands, feet and head keep their size; in the end the whole body is
    scaled to the stature it had and put back on the floor.
    """
    shares = (shoulders, arm, arm, leg, leg)
    count = len(body.bone_names)
    turns, shifts = np.tile(np.eye(3), (count, 1, 1)), np.zeros((count, 3))
    for index, name in enumerate(body.bone_names):
        parent, old = int(body.parents[index]), body.heads[index]
        new = old if parent < 0 else turns[parent] @ old + shifts[parent]
        turns[index] = _scale(body, name, shares)
        shifts[index] = new - turns[index] @ old
    heads = np.stack(
        [
            h if p < 0 else turns[p] @ h + shifts[p]
            for h, p in zip(body.heads, body.parents.tolist(), strict=True)
        ]
    )
    vertices = np.zeros_like(body.vertices)
    for column in range(body.weights.shape[1]):
        bones = body.weight_bones[:, column]
        moved = np.einsum("nij,nj->ni", turns[bones], body.vertices) + shifts[bones]
        vertices += body.weights[:, column, None] * moved
    floor, scale = vertices[:, 1].min(), np.ptp(body.vertices[:, 1]) / np.ptp(vertices[:, 1])
    lift = np.array([0.0, floor, 0.0])
    return replace(body, vertices=(vertices - lift) * scale, heads=(heads - lift) * scale)


def _scale(body: Body, name: str, shares: tuple[float, ...]) -> Floats:
    """Return how a bone's flesh is scaled about its joint (3, 3)."""
    side = name[-2:]
    for (starts, run), share in zip(_RUNS, shares, strict=True):
        if not name.startswith(starts):
            continue
        way = np.array([1.0, 0.0, 0.0])
        if run is not None:
            way = body.head_of(run[1] + side) - body.head_of(run[0] + side)
            way = way / np.linalg.norm(way)
        return np.eye(3) + (share - 1.0) * np.outer(way, way)
    return np.eye(3)
