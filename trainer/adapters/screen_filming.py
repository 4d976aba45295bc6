"""The mark that pictures are being kept: a disc in a ring, and a word. Main thread only."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from trainer.adapters import palette
from trainer.adapters.screen_far import far_reps
from trainer.adapters.screen_layout import PAD, Box, Layout
from trainer.adapters.screen_marks import draw_plate
from trainer.adapters.screen_pen import Pen
from trainer.adapters.screen_words import FILMING

HIGH: Final = 0.06  #: height of ring and word together
WIDE: Final = 0.25  #: room for both
EDGE: Final = 0.042  #: of the window's height, left free above pages and lists


def mark_box(layout: Layout, *, covered: bool = False, far: bool = False) -> Box:
    """Return where the mark stands: at the end of the strip's lower line, or below a tall one.

    ``covered``: a page or a list lies over the mirror; then in the free edge above it. ``far``: in
    the window for a screen across the room, under its reps, and larger.
    """
    line, window, u = layout.line, layout.window, layout.unit
    if far:
        column = far_reps(layout)
        wide = min(1.5 * WIDE * u, column.w)
        high = HIGH * u * wide / (WIDE * u)
        return Box(column.right - wide, column.bottom - 1.2 * high, wide, high)
    if covered:
        high = min(EDGE * window.h, HIGH * u)
        wide = WIDE * u * high / (HIGH * u)
        return Box((window.w - wide) / 2, 0.0, wide, high)
    wide = min(WIDE * u, line.w)
    if line.h > 0.1 * u:
        return Box(line.x, line.bottom - HIGH * u, wide, HIGH * u)
    return Box(line.right - wide, line.y, wide, HIGH * u)


def beside_mark(layout: Layout) -> Layout:
    """Return the layout with a lower line that leaves room for the mark."""
    line, u = layout.line, layout.unit
    box = mark_box(layout)
    if line.h > 0.1 * u:
        return replace(layout, line=line._replace(h=box.y - line.y))
    return replace(layout, line=line._replace(w=max(box.x - PAD * u - line.x, 1)))


def draw_filming(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    *,
    covered: bool = False,
    far: bool = False,
) -> None:
    """Draw the mark; last of all, so that no page or list hides it."""
    import pygame

    box = mark_box(layout, covered=covered, far=far)
    draw_plate(surface, pen, box, layout.unit)
    half = 0.42 * box.h
    middle = (round(box.x + 0.15 * box.h + half), round(box.y + box.h / 2))
    pygame.draw.circle(surface, palette.WARNING, middle, round(half), max(round(0.16 * half), 2))
    pygame.draw.circle(surface, palette.WARNING, middle, max(round(0.55 * half), 2))
    x = middle[0] + 1.6 * half
    cap = pen.shrunk(FILMING, 0.6 * box.h, max(box.right - x - 0.1 * box.h, 1))
    pen.write(surface, FILMING, (x, box.y + (box.h - cap) / 2), cap, palette.TEXT)
