"""How fast the picture moves round the hands, whatever the body points say of them.

At the top one hand hides behind the other or behind the head and the pose model puts it anywhere,
or holds it where it was. That hands, arms and club have come to rest is still to be seen: the
picture there stops moving.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.core import geometry as geo
from trainer.core.records import Frame

Floats = NDArray[np.float64]

#: The square round the hands, from its middle to its side, in lengths from mid-shoulder to
#: mid-ankle: about 35 cm, so that hands which are read 20 cm off are still inside.
HALF_LENGTHS: Final = 0.25
#: The small pictures that are compared have so many pixels a side.
SIDE_PX: Final = 48
#: Pictures further apart than this have too little in common.
LONGEST_S: Final = 0.15
_SMALLEST_PX: Final = 12
#: Levels, window, rounds, neighbourhood and its spread of the method (see ``HandMotion``).
_HOW: Final = (2, 11, 1, 5, 1.1)


class HandMotion:
    """Compares each picture with the one before. One thread at a time; about 0.6 ms a picture.

    By dense optical flow: Farneback 2003, Two-frame motion estimation based on polynomial
    expansion, SCIA, as OpenCV has it.
    """

    def __init__(self) -> None:
        """Begin with no picture."""
        self._before: Frame | None = None

    def read(self, frame: Frame, points_px: Floats) -> float | None:
        """Return how fast the picture round the hands of body points (33, 2) moves.

        The mean over the square of the way that each place has gone since the picture before, in
        sides of the square a second. None for hands below the hips, where no top is, out of the
        picture, or without a picture shortly before.
        """
        before, self._before = self._before, frame
        hands = geo.middle(points_px, "wrist")
        if before is None or hands[1] > geo.middle(points_px, "hip")[1]:
            return None
        since_s = frame.t_s - before.t_s
        if not 0 < since_s <= LONGEST_S or before.image_rgb.shape != frame.image_rgb.shape:
            return None
        ankles = geo.middle(points_px, "ankle")
        length = float(np.linalg.norm(geo.middle(points_px, "shoulder") - ankles))
        window = _window(hands, HALF_LENGTHS * length, frame.image_rgb.shape)
        if window is None:
            return None
        rows, columns, scale = window
        cv2 = load_cv2()
        old, new = (_small(one.image_rgb[rows, columns], scale) for one in (before, frame))
        way_px = cv2.calcOpticalFlowFarneback(old, new, None, 0.5, *_HOW, 0)
        return float(np.hypot(way_px[..., 0], way_px[..., 1]).mean()) / SIDE_PX / since_s


def _window(
    middle_px: Floats, half_px: float, shape: tuple[int, ...]
) -> tuple[slice, slice, float] | None:
    """Return rows and columns of the square in a picture, and how much smaller it is to be."""
    ends = [
        (max(0, round(at - half_px)), min(size, round(at + half_px)))
        for at, size in zip(middle_px, (shape[1], shape[0]), strict=True)
    ]
    if any(to - begin < _SMALLEST_PX for begin, to in ends):
        return None
    (left, right), (top, bottom) = ends
    return slice(top, bottom), slice(left, right), SIDE_PX / (2 * half_px)


def _small(image_rgb: NDArray[np.uint8], scale: float) -> NDArray[Any]:
    cv2 = load_cv2()
    grey = cv2.cvtColor(image_rgb, cv2.COLOR_RGB2GRAY)
    size = tuple(max(8, round(side * scale)) for side in grey.shape[::-1])
    small: NDArray[Any] = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    return small
