"""The picture on a card: the printed tag in its white, as the sheets have it. cv2 on use."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.tag_modules import tag_blacks
from trainer.core.print_sheets import MODULES, STRIP_MM, tag_place
from trainer.core.tag_roles import BY_NUMBER

Image = NDArray[np.uint8]

#: A module of the code in pixels: over twice what the nearest large picture shows of it.
MODULE_PX: Final = 24
PAPER: Final = 236
INK: Final = 20


def card_picture(number: int, size_cm: float) -> Image:
    """Return the card (H, W, 3), its first row on top: the tag, and over and under it the words.

    Sizes are those of ``core.print_sheets``. Raises ValueError for a size it has not.
    """
    import cv2

    place = tag_place(10.0 * size_cm, "a4")
    scale = MODULES * MODULE_PX / place.tag.width  # pixels a millimetre
    wide, high = round(place.card.width * scale), round(place.card.height * scale)
    image = np.full((high, wide, 3), PAPER, dtype=np.uint8)
    left, top = place.tag.left - place.card.left, place.tag.top - place.card.top
    for x, y, width, height in tag_blacks(number, place.tag.width):
        columns = slice(round((left + x) * scale), round((left + x + width) * scale))
        rows = slice(round((top + y) * scale), round((top + y + height) * scale))
        image[rows, columns] = INK
    middle, strip = wide // 2, STRIP_MM * scale
    name = BY_NUMBER[number].name if number in BY_NUMBER else "tag"
    for text, base, start in (
        ("UP", 0.75 * strip, middle + 3 * scale),
        (f"{name} {number} {size_cm:g} cm", high - 0.3 * strip, 0.2 * wide),
    ):
        at, height = (round(start), round(base)), 0.06 * strip
        cv2.putText(image, text, at, cv2.FONT_HERSHEY_SIMPLEX, height, (INK,) * 3, 1, cv2.LINE_AA)
    low, tip = 0.75 * strip, 0.2 * strip
    arrow = np.array([[-6 * scale, low], [-2 * scale, tip], [2 * scale, low]])
    points = (arrow + np.array([middle, 0])).round().astype(np.int32)
    cv2.fillPoly(image, [points], (INK,) * 3, cv2.LINE_AA)
    return image
