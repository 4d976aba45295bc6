"""Draws the rod check: what to do, and what the camera read. Main thread only."""

from __future__ import annotations

from typing import Any

from trainer.adapters import palette
from trainer.adapters.screen_layout import FIGURE, Box, Layout
from trainer.adapters.screen_marks import draw_plate
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_words import ROD_STEPS, ROD_TITLE, ROD_TRUE, estimate, whole
from trainer.core.summary import rod_words
from trainer.ports import View


def draw_rod(surface: Any, pen: Pen, layout: Layout, view: View) -> None:  # noqa: ANN401
    """Draw the check's steps in the turn's column, the one to do now marked, and the reading."""
    if view.rod is None:
        return
    u = layout.unit
    _draw_more(surface, pen, layout, rod_words(view.rod)[1])
    plate = layout.turn.plate
    draw_plate(surface, pen, plate, u)
    inner = plate.inside(0.02 * u)
    title = ROD_TITLE
    cap = pen.shrunk(title, 0.036 * u, inner.w)
    pen.write(surface, title, (inner.x, inner.y), cap, palette.TEXT)
    y = inner.y + 0.075 * u
    reading = view.rod.reading
    if reading is not None:
        figure = whole(reading.read_deg)
        cap = pen.shrunk(figure, min(FIGURE * u, 0.4 * inner.h), inner.w * 0.8)
        end = pen.write(surface, figure, (inner.x, y), cap, palette.TEXT)
        pen.write(surface, "°", (end.right, y), 0.8 * cap, palette.TEXT)
        y += cap + 0.03 * u
        if reading.se_deg is not None:
            words = estimate(reading.se_deg)
            cap = pen.shrunk(words, 0.026 * u, inner.w)
            pen.write(surface, words, (inner.x, y), cap, palette.QUIET_TEXT)
            y += cap * LEADING + 0.01 * u
        words = ROD_TRUE
        cap = pen.shrunk(words, 0.036 * u, inner.w)
        pen.write(surface, words, (inner.x, y), cap, palette.TARGET)
        return
    for stage, words in ROD_STEPS:
        now = stage is view.rod.stage
        room = Box(inner.x, y, inner.w, max(inner.bottom - y, 1) / 2)
        lines, cap = pen.block(words, 0.034 * u, room, 3)
        for line in lines:
            pen.write(surface, line, (inner.x, y), cap, palette.TEXT if now else palette.QUIET_TEXT)
            y += cap * LEADING
        if now:  # not by colour alone
            width = pen.width(lines[-1], cap)
            mark = (
                round(inner.x),
                round(y - 0.25 * cap),
                max(round(width), 1),
                max(round(0.12 * cap), 2),
            )
            surface.fill(palette.TARGET, mark)
        y += 0.03 * u


def _draw_more(surface: Any, pen: Pen, layout: Layout, words: str) -> None:  # noqa: ANN401
    """Write how to do it in the drifts' column, where it can be read with the shaft in hand."""
    first, last, u = layout.head.plate, layout.hips.plate, layout.unit
    plate = Box(first.x, first.y, first.w, last.bottom - first.y)
    draw_plate(surface, pen, plate, u)
    inner = plate.inside(0.02 * u)
    lines, cap = pen.block(words, 0.042 * u, inner, 14)
    y = inner.y
    for line in lines:
        pen.write(surface, line, (inner.x, y), cap, palette.TEXT)
        y += cap * LEADING
