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
    seen = ~(np.isnan(outline.left_px) | np.isnan(outline.right_px))
    if np.count_nonzero(seen) < _FEWEST_ROWS:
        return None
    heights_px = hip_px[1] - np.array(HEIGHTS) * torso_px
    rows = outline.row_px[seen]
    ends = [np.interp(heights_px, rows, x[seen]) for x in (outline.left_px, outline.right_px)]
    if geo.away_sign(handed) < 0:
        ends.reverse()
    sides = (np.stack(ends, axis=1) - hip_px[0]) / torso_px * geo.away_sign(handed)
    result: FloatArray = np.clip(sides, -_FARTHEST, _FARTHEST).ravel()
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
    some = 2 * np.isnan(stack).sum(axis=0) < len(ends)
    result = np.full(stack.shape[1], np.nan)
    result[some] = np.nanmedian(stack[:, some], axis=0)
    return result
