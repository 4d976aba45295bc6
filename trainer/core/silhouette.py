"""The silhouette's extent beside the body at a few heights: what the outline adds to the points."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.records import Handed, Outline

FloatArray = NDArray[np.float64]

#: Heights above mid-hip in torso lengths of the setup, from below the hips to the crown.
HEIGHTS: Final = (-0.25, 0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6)
_HEIGHTS: Final = np.array(HEIGHTS)
#: Extents are held within this many torso lengths: a club or a bag in the mask is no body.
_FARTHEST: Final = 2.0
_FEWEST_ROWS: Final = 5


def extents(
    outline: Outline | None, hip_px: FloatArray, torso_px: float, handed: Handed
) -> FloatArray | None:
    """Return where the silhouette ends on the target side and on the trail side.

    (2 H,) torso lengths from mid-hip, height after height, target side first, positive away from
    the target. None without an outline or when it covers too few rows.
    """
    if outline is None:
        return None
    both = outline.left_px + outline.right_px
    seen = (both == both).nonzero()[0]  # what is not there is NaN, and no NaN is like itself
    if len(seen) < _FEWEST_ROWS:
        return None
    hip_x, hip_y = hip_px.tolist()
    heights_px = hip_y - _HEIGHTS * torso_px
    rows = outline.row_px[seen]
    away = geo.away_sign(handed)
    target, trail = (
        (outline.right_px, outline.left_px) if away < 0 else (outline.left_px, outline.right_px)
    )
    sides = np.empty((len(HEIGHTS), 2))
    sides[:, 0] = np.interp(heights_px, rows, target[seen])
    sides[:, 1] = np.interp(heights_px, rows, trail[seen])
    sides = (sides - hip_x) * (away / torso_px)
    result: FloatArray = np.minimum(np.maximum(sides, -_FARTHEST), _FARTHEST).ravel()
    return result


def median_outline(outlines: list[Outline | None]) -> Outline | None:
    """Return the median of the outlines of a still stretch; None if most have none."""
    there = [outline for outline in outlines if outline is not None]
    if not there or 2 * len(there) <= len(outlines):
        return None
    rows = there[-1].row_px
    same = [outline for outline in there if outline.row_px.shape == rows.shape]
    return Outline(
        row_px=rows,
        left_px=_median([outline.left_px for outline in same]),
        right_px=_median([outline.right_px for outline in same]),
    )


def _median(ends: list[FloatArray]) -> FloatArray:
    """Return the median of each row; NaN where half or more have no silhouette."""
    stack = np.array(ends)
    there = len(ends) - np.isnan(stack).sum(axis=0)
    some = 2 * there > len(ends)
    there = there[some]
    # Sorted, what is not there comes last: the middle of the rest is the median. numpy's own way
    # round NaN is many times as slow, and this runs ten times a second while a player stands still.
    ordered, columns = np.sort(stack[:, some], axis=0), np.arange(len(there))
    result = np.full(stack.shape[1], np.nan)
    result[some] = (ordered[(there - 1) // 2, columns] + ordered[there // 2, columns]) * 0.5
    return result
