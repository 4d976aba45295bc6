"""The mark that pictures are being kept: a disc in a ring, and a word. Main thread only."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final, Literal

from trainer.adapters import palette
from trainer.adapters.screen_bay import above_note
from trainer.adapters.screen_far import far_reps
from trainer.adapters.screen_layout import PAD, Box, Layout
from trainer.adapters.screen_marks import draw_plate
from trainer.adapters.screen_pen import Pen
from trainer.adapters.screen_words import FILMING

Over = Literal["strip", "page", "note", "far"]
HIGH: Final = 0.06  #: height of ring and word together
WIDE: Final = 0.25  #: room for both
EDGE: Final = 0.038  #: of the window's height, left free above pages and lists


def mark_box(layout: Layout, over: Over = "strip") -> Box:
    """Return where the mark stands: at the end of the strip's lower line, or below a tall one.

    ``over`` is what the window shows in place of that: a "page" or list (then in its free corner),
    a "note" being written (beside its title), or what is for a screen across the room ("far": under
    its reps, and larger).
    """
    line, window, u = layout.line, layout.window, layout.unit
    if over == "far":
        column = far_reps(layout)
        wide = min(1.5 * WIDE * u, column.w)
        high = HIGH * wide / WIDE
        return Box(column.right - wide, column.bottom - 1.2 * high, wide, high)
    if over in ("page", "note"):
        high = min(EDGE * window.h, HIGH * u)
        top = 0.0 if over == "page" else above_note(layout).window.bottom
        return Box(window.right - WIDE * high / HIGH, top, WIDE * high / HIGH, high)
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


def draw_filming(surface: Any, pen: Pen, layout: Layout, over: Over = "strip") -> None:  # noqa: ANN401
    """Draw the mark; last of all, so that no page or list hides it."""
    import pygame

    box = mark_box(layout, over)
    draw_plate(surface, pen, box, layout.unit)
    half = 0.42 * box.h
    middle = (round(box.x + 0.15 * box.h + half), round(box.y + box.h / 2))
    pygame.draw.circle(surface, palette.WARNING, middle, round(half), max(round(0.16 * half), 2))
    pygame.draw.circle(surface, palette.WARNING, middle, max(round(0.55 * half), 2))
    x = middle[0] + 1.6 * half
    cap = pen.shrunk(FILMING, 0.6 * box.h, max(box.right - x - 0.1 * box.h, 1))
    pen.write(surface, FILMING, (x, box.y + (box.h - cap) / 2), cap, palette.TEXT)
