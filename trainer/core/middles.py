"""Medians and shares over the first axis of small arrays.

The same numbers as numpy's own, which spends most of its time on cases that do not come up here;
while a player stands still they are asked for ten times a second.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def median(values: FloatArray) -> FloatArray:
    """Return the median over the first axis of (N, ...) numbers."""
    ordered = np.sort(values, axis=0)
    count = len(ordered)
    middle: FloatArray = (ordered[(count - 1) // 2] + ordered[count // 2]) * 0.5
    return middle


def share(ordered: FloatArray, part: float) -> FloatArray:
    """Return below what a part of 0 to 1 of (N, ...) sorted numbers lies, over the first axis.

    On a straight line between the two nearest, definition 7 of Hyndman & Fan 1996 (from memory),
    which is numpy's own.
    """
    below, way = divmod(part * (len(ordered) - 1), 1.0)
    here = ordered[int(below)]
    beyond = ordered[min(int(below) + 1, len(ordered) - 1)]
    value: FloatArray = here + way * (beyond - here)
    return value
