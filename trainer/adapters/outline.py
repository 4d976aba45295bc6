"""The pose model's mask -> where the player's silhouette begins and ends, row by row."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.records import Outline

#: How many rows of the picture are kept, evenly spaced.
ROWS: Final = 120
#: From this likelihood on a pixel belongs to the player.
_INSIDE: Final = 0.5
_EACH: Final = np.arange(ROWS)
_OUTWARD: Final = np.array([[-1], [1]])


def outline_of(mask: NDArray[np.float32]) -> Outline:
    """Return the ends of the silhouette in ``ROWS`` rows of a mask (H, W) of likelihoods.

    The ends lie between pixels, where the likelihood passes one half on a straight line from
    one pixel to the next.
    """
    height, width = mask.shape
    rows = ((np.arange(ROWS) + 0.5) * height / ROWS).astype(np.intp)
    step = height // ROWS
    # Where the rows lie evenly no copy of them is needed.
    likely = mask[rows[0] :: step] if step * ROWS == height else mask[rows]
    inside = likely > _INSIDE
    first = inside.argmax(axis=1)
    some = inside[_EACH, first]
    # Both ends at once, left and right: most of the cost of each step is in the call.
    end = np.stack([first, _last(inside)])
    outer = end + _OUTWARD
    edge = (outer < 0) | (outer == width)
    outer[edge] = end[edge]
    here = likely[_EACH, end].astype(np.float64)
    share = (here - _INSIDE) / np.maximum(here - likely[_EACH, outer], 1e-6)
    share[edge] = 0.0  # at the picture's edge there is no neighbour
    ends = end + _OUTWARD * np.minimum(np.maximum(share, 0.0), 1.0)
    ends[:, ~some] = np.nan
    return Outline(row_px=rows.astype(np.float64), left_px=ends[0], right_px=ends[1])


def _last(inside: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return the last column that is inside in each row; any in a row without one."""
    width = inside.shape[1]
    if width % 8:
        return width - 1 - inside[:, ::-1].argmax(axis=1)
    # Backwards numpy looks at one pixel at a time, so first at eight at once.
    eights = inside.view(np.uint64) != 0
    eight = 8 * (eights.shape[1] - 1 - eights[:, ::-1].argmax(axis=1))
    few = inside[_EACH[:, None], eight[:, None] + np.arange(7, -1, -1)]
    result: NDArray[np.intp] = eight + 7 - few.argmax(axis=1)
    return result
