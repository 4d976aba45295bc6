"""Marks and figures that several parts of the window draw. Main thread only."""

from __future__ import annotations

from typing import Any

from trainer.adapters import palette
from trainer.adapters.screen_calm import Calm
from trainer.adapters.screen_layout import FIGURE, WORD, Box
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_words import NOT_MEASURED

COLOURS = {
    "none": palette.LINE,
    "below": palette.BELOW,
    "maybe": palette.BELOW,
    "reached": palette.REACHED,
    "past": palette.REACHED,
    "in": palette.REACHED,
    "off": palette.BELOW,
    "out": palette.BEYOND,
    "up": palette.BEYOND,
    "down": palette.BEYOND,
}


def draw_plate(surface: Any, pen: Pen, box: Box, unit: float) -> None:  # noqa: ANN401
    """Draw the dark plate that text and bars stand on."""
    size = (max(round(box.w), 1), max(round(box.h), 1))
    surface.blit(pen.plate(size, unit), (round(box.x), round(box.y)))


def settled_colour(calm: Calm, name: str, wanted: str, now_s: float) -> tuple[str, palette.Colour]:
    """Return the state shown for a mark now, and its colour on the way there."""
    before, state, share = calm.settle(name, wanted, now_s)
    return state, palette.mix(COLOURS[before], COLOURS[state], share)


def write_figure(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    box: Box,
    digits: str,
    sign: str,
    unit: float,
    *,
    word: str = "",
) -> None:
    """Write a key figure with its unit, and a word under the unit."""
    word_cap = WORD * unit
    if sign == "°":
        sign_cap, side_w = 0.09 * unit, 0.05 * unit
    else:
        sign_cap = 0.03 * unit
        side_w = pen.width(sign, sign_cap)
    cap = pen.shrunk(digits, min(box.h, FIGURE * unit), max(box.w - side_w, 1))
    end = pen.write(surface, digits, (box.x, box.y), cap, palette.TEXT)
    x = end.right + 0.008 * unit
    # The degree sign has wide edges of its own.
    indent = 0.25 * pen.width(sign, sign_cap) if sign == "°" else 0.0
    pen.write(surface, sign, (x - indent, box.y), sign_cap, palette.TEXT)
    if word:
        word_cap = pen.shrunk(word, word_cap, max(box.right - x, 1))
        pen.write(surface, word, (x, box.y + cap - word_cap), word_cap, palette.BEYOND)


def write_not_measured(surface: Any, pen: Pen, box: Box) -> None:  # noqa: ANN401
    """Write that a figure was not measured."""
    lines, cap = pen.block(NOT_MEASURED, 0.4 * box.h, box, 2)
    y = box.y + (box.h - cap * (1 + LEADING * (len(lines) - 1))) / 2
    for line in lines:
        pen.write(surface, line, (box.x, y), cap, palette.TEXT)
        y += cap * LEADING


def tick(surface: Any, at: tuple[float, float], size: float) -> None:  # noqa: ANN401
    """Draw a tick with its upper left corner at ``at``."""
    import pygame

    x, y = at
    points = [(x, y + 0.55 * size), (x + 0.38 * size, y + 0.9 * size), (x + size, y + 0.1 * size)]
    pygame.draw.lines(surface, palette.REACHED, False, points, max(round(0.17 * size), 2))


def warning_mark(surface: Any, middle: tuple[float, float], size: float) -> None:  # noqa: ANN401
    """Draw a triangle with a stroke and a dot in it."""
    import pygame

    x, y = middle
    half = size / 2
    points = [(x, y - half), (x + half * 1.1, y + half), (x - half * 1.1, y + half)]
    pygame.draw.polygon(surface, palette.WARNING, points)
    px = max(round(0.1 * size), 1)
    pygame.draw.line(surface, palette.BLACK, (x, y - 0.15 * size), (x, y + 0.18 * size), px)
    pygame.draw.circle(surface, palette.BLACK, (x, y + 0.34 * size), px)
