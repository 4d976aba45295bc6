"""Colours of the window, chosen so that colour never carries a meaning alone.

The accents are from the colour-blind-safe set of Okabe and Ito ("Color Universal Design", 2008).
Text on a plate keeps at least 4.5:1 and graphics at least 3:1 (WCAG 2.x, success criteria 1.4.3
and 1.4.11) whatever the picture behind the plate shows; the tests work that out for a white and
for a black picture.
"""

from __future__ import annotations

from typing import Final

Colour = tuple[int, int, int]

BLACK: Final[Colour] = (0x00, 0x00, 0x00)
ORANGE: Final[Colour] = (0xE6, 0x9F, 0x00)
SKY_BLUE: Final[Colour] = (0x56, 0xB4, 0xE9)
BLUISH_GREEN: Final[Colour] = (0x00, 0x9E, 0x73)
YELLOW: Final[Colour] = (0xF0, 0xE4, 0x42)

INK: Final[Colour] = (0x10, 0x16, 0x1C)  #: plates, strip and the window round the picture
PLATE_ALPHA: Final = 238  #: of 255; keeps every contrast below over a white picture
TEXT: Final[Colour] = (0xF4, 0xF1, 0xE8)
QUIET_TEXT: Final[Colour] = (0xB8, 0xBF, 0xC4)
LINE: Final[Colour] = (0x93, 0x9C, 0xA3)  #: outlines of bars and beams

BELOW: Final = SKY_BLUE  #: turn still under its target
REACHED: Final = BLUISH_GREEN  #: turn at its target, drift inside its bracket
BEYOND: Final = ORANGE  #: turn past the band, drift outside its bracket
TARGET: Final = YELLOW  #: the target mark and its band
WARNING: Final = ORANGE  #: the mark before a notice

#: What is written as text, and what is only drawn, on plates and strip.
TEXT_COLOURS: Final = (TEXT, QUIET_TEXT, BEYOND, TARGET)
GRAPHIC_COLOURS: Final = (BELOW, REACHED, BEYOND, TARGET, LINE, WARNING)


def over(plate: Colour, alpha: int, behind: Colour) -> Colour:
    """Return the colour seen where a plate of ``alpha`` (0..255) lies over ``behind``."""
    red, green, blue = (
        round((front * alpha + back * (255 - alpha)) / 255)
        for front, back in zip(plate, behind, strict=True)
    )
    return red, green, blue


def mix(first: Colour, second: Colour, share: float) -> Colour:
    """Return the colour ``share`` (0..1) of the way from ``first`` to ``second``."""
    red, green, blue = (round(a + (b - a) * share) for a, b in zip(first, second, strict=True))
    return red, green, blue
