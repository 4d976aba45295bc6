"""Prints, weave and folds: small repeated pictures for garments, and bumps on their shells."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Image = NDArray[np.uint8]
Colour = tuple[int, int, int]

PATTERNS: Final = ("plain", "stripes", "hoops", "checks", "dots", "blocks", "mottle")
#: Side of the repeated picture, on the cloth and in pixels.
REPEAT_M: Final = 0.48
REPEAT_PX: Final = 192


def noise(rng: np.random.Generator, size_hw: tuple[int, int], cells: int) -> Floats:
    """Return smooth noise (H, W) about 0, sd about 1, with ``cells`` bumps down the picture.

    It repeats from edge to edge.
    """
    import cv2

    height, width = size_hw
    across = max(2, round(cells * width / height))
    small = rng.standard_normal((cells, across)).astype(np.float32)
    small = np.pad(small, 2, mode="wrap")
    step = (height / cells, width / across)
    big = cv2.resize(
        small,
        (round((across + 4) * step[1]), round((cells + 4) * step[0])),
        interpolation=cv2.INTER_CUBIC,
    )
    top, left = round(2 * step[0]), round(2 * step[1])
    return np.asarray(big[top : top + height, left : left + width], dtype=np.float64)


def cloth_print(
    pattern: str,
    first: Colour,
    second: Colour,
    rng: np.random.Generator,
    *,
    weave: float = 0.0,
    folds: float = 0.0,
) -> Image:
    """Return the repeated picture of a cloth (REPEAT_PX, REPEAT_PX, 3).

    ``weave`` is the strength of the speckle and ``folds`` that of painted creases, as shares of
    the brightness.
    """
    size = REPEAT_PX
    down, across = np.mgrid[0:size, 0:size]
    mask = np.zeros((size, size))
    period = size // int(rng.integers(4, 13))
    width = float(rng.uniform(0.2, 0.6))
    if pattern == "stripes":
        mask = ((across % period) < period * width).astype(float)
    elif pattern == "hoops":
        mask = ((down % period) < period * width).astype(float)
    elif pattern == "checks":
        mask = 0.5 * ((across % period) < period * width) + 0.5 * ((down % period) < period * width)
    elif pattern == "dots":
        at = np.hypot((across % period) - period / 2, (down % period) - period / 2)
        mask = (at < period * 0.5 * width).astype(float)
    elif pattern == "blocks":
        for _ in range(5):
            left, top = rng.integers(0, size, 2)
            wide, high = rng.integers(size // 5, size // 2, 2)
            mask[top : top + high, left : left + wide] = rng.uniform(0.4, 1.0)
    elif pattern == "mottle":
        mask = np.clip(0.5 + 1.5 * noise(rng, (size, size), int(rng.integers(6, 20))), 0, 1)
    mask = mask[..., None]
    paint = np.array(first) * (1 - mask) + np.array(second) * mask
    light = np.ones((size, size))
    if folds > 0:
        creases = noise(rng, (size, size), 5)
        light += folds * (0.8 - 2.2 * np.abs(creases))
    if weave > 0:
        light += weave * (noise(rng, (size, size), 96) + 0.8 * noise(rng, (size, size), 32))
    return np.clip(paint * np.clip(light, 0.25, 1.5)[..., None], 0, 255).astype(np.uint8)


def print_place(points: Floats) -> Floats:
    """Return where in a repeated print the points of a garment at rest lie, (P, 2)."""
    return np.stack([points[:, 0] + 0.7 * points[:, 2], points[:, 1]], axis=1) / REPEAT_M


def folds(points: Floats, height_m: float, rng: np.random.Generator) -> Floats:
    """Return how far folds push the points (P, 3) outwards, (P,) metres about 0."""
    total = np.zeros(len(points))
    for _ in range(4):
        way = rng.standard_normal(3) * [1.0, 0.7, 1.0]
        length = float(rng.uniform(0.07, 0.16))
        phase = points @ (way / np.linalg.norm(way)) / length + rng.random()
        total += 1 - 2 * np.abs(np.sin(np.pi * phase)) ** 0.7
    return height_m * 0.5 * total
