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
    last = _last(inside)
    left = first - _share(likely, first, np.maximum(first - 1, 0))
    right = last + _share(likely, last, np.minimum(last + 1, width - 1))
    left[~some] = right[~some] = np.nan
    return Outline(row_px=rows.astype(np.float64), left_px=left, right_px=right)


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


def _share(
    likely: NDArray[np.float32], at: NDArray[np.intp], outer: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return how far from the end pixel towards its outer neighbour the half lies, 0 to 1.

    At the picture's edge there is no neighbour: 0.
    """
    here = likely[_EACH, at].astype(np.float64)
    beyond = likely[_EACH, outer].astype(np.float64)
    share = (here - _INSIDE) / np.maximum(here - beyond, 1e-6)
    share[outer == at] = 0.0
    result: NDArray[np.float64] = np.minimum(np.maximum(share, 0.0), 1.0)
    return result
