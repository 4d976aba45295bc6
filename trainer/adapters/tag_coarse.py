"""Looks for a tag whose outline is lost: an arm over its white, a black sleeve beside its black.

OpenCV's detector begins with the outline, so such a tag is not found though all of it shows. Here
its inside is laid over the picture by normalised correlation, at one size and roll a picture, so
that a round of all takes less than a second and no picture long. What that gives is a start for
the alignment, which believes nothing that is not the tag.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.adapters.tag_align import CELLS, family
from trainer.core.tag_seen import Box

FloatArray = NDArray[np.float64]
Image = NDArray[np.uint8]

#: The black square's side as shares of the height of the body's box (trunk, head and some room):
#: tags of 12 cm had 0.11 to 0.22 of it on rendered people at address.
_SIDES: Final = (0.1, 0.12, 0.14, 0.165, 0.195, 0.23)
_ROLLS_DEG: Final = (-12.0, -4.0, 4.0, 12.0)
#: Correlation from which on the alignment is tried. Chest tags bare at address had 0.85 to 0.95.
_LEAST: Final = 0.7
_CELL_PX: Final = 8
#: Of the black border this share of a cell is used: beside it the arm begins.
_BORDER: Final = 0.25
LOOKS: Final = len(_SIDES) * len(_ROLLS_DEG)


def coarse(grey: Image, box: Box, number: int, look: int) -> FloatArray | None:
    """Return the corners (4, 2) that a tag square to the camera may have in ``grey``, or None.

    ``look`` counts the pictures; each looks for another size and roll. ``box`` is the body's, of
    whose height the size is reckoned.
    """
    cv2 = load_cv2()
    side = _SIDES[look % len(_SIDES)] * (box[3] - box[1])
    roll_deg = _ROLLS_DEG[look // len(_SIDES) % len(_ROLLS_DEG)]
    inside = _inside(number, max(round(side), 8), roll_deg)
    if side < CELLS or min(grey.shape) <= inside.shape[0]:
        return None
    found = cv2.matchTemplate(grey, inside, cv2.TM_CCOEFF_NORMED)
    _, most, _, (left, top) = cv2.minMaxLoc(found)
    if not most >= _LEAST:
        return None
    middle = np.array([left, top]) + (inside.shape[0] - 1) / 2
    roll = np.radians(roll_deg)
    right = np.array([np.cos(roll), -np.sin(roll)]) * side / 2
    down = np.array([np.sin(roll), np.cos(roll)]) * side / 2
    return np.array(
        [middle - right - down, middle + right - down, middle + right + down, middle - right + down]
    )


@lru_cache(maxsize=128)
def _inside(number: int, side_px: int, roll_deg: float) -> Image:
    """Return the tag's inside, rolled anticlockwise, as a lens shows it ``side_px`` across."""
    cv2 = load_cv2()
    across = CELLS * _CELL_PX
    flat = cv2.aruco.generateImageMarker(family(), number, across)
    middle = ((across - 1) / 2, (across - 1) / 2)
    turn = cv2.getRotationMatrix2D(middle, roll_deg, 1.0)
    flat = cv2.warpAffine(flat, turn, (across, across), borderValue=0)
    edge = round((1.0 - _BORDER) * _CELL_PX)
    flat = flat[edge : across - edge, edge : across - edge]
    width = max(round(flat.shape[0] * side_px / across), 4)
    small = cv2.resize(flat, (width, width), interpolation=cv2.INTER_AREA)
    blurred: Image = cv2.GaussianBlur(small, (0, 0), 0.6)
    return blurred
