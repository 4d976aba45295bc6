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


def outline_of(mask: NDArray[np.float32]) -> Outline:
    """Return the ends of the silhouette in ``ROWS`` rows of a mask (H, W) of likelihoods.

    The ends lie between pixels, where the likelihood passes one half on a straight line from
    one pixel to the next.
    """
    height, width = mask.shape
    rows = ((np.arange(ROWS) + 0.5) * height / ROWS).astype(np.intp)
    likely = mask[rows]
    inside = likely > _INSIDE
    some = inside.any(axis=1)
    first = inside.argmax(axis=1)
    last = width - 1 - inside[:, ::-1].argmax(axis=1)
    left = np.where(some, first - _share(likely, first, -1), np.nan)
    right = np.where(some, last + _share(likely, last, +1), np.nan)
    return Outline(row_px=rows.astype(np.float64), left_px=left, right_px=right)


def _share(likely: NDArray[np.float32], at: NDArray[np.intp], step: int) -> NDArray[np.float64]:
    """Return how far from the end pixel towards its outer neighbour the half lies, 0 to 1.

    At the picture's edge there is no neighbour: 0.
    """
    which = np.arange(len(at))
    outer = np.clip(at + step, 0, likely.shape[1] - 1)
    here = likely[which, at].astype(np.float64)
    beyond = likely[which, outer].astype(np.float64)
    fall = np.where(outer == at, np.inf, np.maximum(here - beyond, 1e-6))
    share: NDArray[np.float64] = np.clip((here - _INSIDE) / fall, 0.0, 1.0)
    return share
