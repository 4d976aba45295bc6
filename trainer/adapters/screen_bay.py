"""The coach's bay on the screen: who is next, a note under way, the last rep standing still.

Main thread only. Bodies are drawn from their points and mirrored, as the picture is.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from trainer.adapters import palette
from trainer.adapters.screen_layout import FIGURE, SMALL, STRIP_H, TITLE, Box, Layout
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.core.bay_words import CARET, CUT
from trainer.core.landmarks import Landmark as L
from trainer.core.look_back import Figure, LookBack
from trainer.ports import Announced, Writing

#: Room for a body, in its nose-to-ankle heights: with the hands over the head, and swung aside.
TALL: Final = 1.32
WIDE: Final = 0.85
NOTE_H: Final = STRIP_H  #: height of a note being written
LEGS: Final = (
    (L.LEFT_HIP, L.LEFT_KNEE, L.LEFT_ANKLE),
    (L.RIGHT_HIP, L.RIGHT_KNEE, L.RIGHT_ANKLE),
)
ARMS: Final = (
    (L.LEFT_SHOULDER, L.LEFT_ELBOW, L.LEFT_WRIST),
    (L.RIGHT_SHOULDER, L.RIGHT_ELBOW, L.RIGHT_WRIST),
)
TRUNK: Final = (L.LEFT_SHOULDER, L.RIGHT_SHOULDER, L.RIGHT_HIP, L.LEFT_HIP)


def draw_announced(surface: Any, pen: Pen, layout: Layout, told: Announced) -> None:  # noqa: ANN401
    """Draw the next player's name large across the window, and under it what is asked of them."""
    window, u = layout.window, layout.unit
    name_cap = pen.shrunk(told.name, 1.6 * FIGURE * u, 0.84 * window.w)
    inner_w = 0.84 * window.w
    lines: list[tuple[str, float]] = []
    for words in told.lines:
        some, cap = pen.block(words, 0.045 * u, Box(0, 0, inner_w, 0.2 * u), 2)
        lines += [(line, cap) for line in some]
    tall = name_cap * LEADING + sum(cap * LEADING for _, cap in lines) + 0.08 * u
    surface.fill(palette.INK)
    x, y = 0.08 * window.w, max((window.h - tall) / 2, 0) + 0.05 * u
    pen.write(surface, told.name, (x, y), name_cap, palette.TARGET)
    y += name_cap * LEADING
    for line, cap in lines:
        pen.write(surface, line, (x, y), cap, palette.TEXT)
        y += cap * LEADING


def above_note(layout: Layout) -> Layout:
    """Return the layout of what is left of the window while a note is written at its foot."""
    window = layout.window
    return replace(layout, window=window._replace(h=max(window.h - NOTE_H * layout.unit, 1)))


def draw_writing(surface: Any, pen: Pen, layout: Layout, writing: Writing) -> None:  # noqa: ANN401
    """Draw the note under way at the window's foot; the mirror above it goes on."""
    window, u = layout.window, layout.unit
    tall = NOTE_H * u
    box = Box(0, window.h - tall, window.w, tall)
    surface.fill(palette.INK, tuple(round(v) for v in box))
    inner = box.inside(0.02 * u)
    cap = pen.shrunk(writing.title, 0.03 * u, inner.w)
    pen.write(surface, writing.title, (inner.x, inner.y), cap, palette.TARGET)
    room = Box(inner.x, inner.y + 0.05 * u, inner.w, 0.085 * u)
    # The end is what is being written, so where all is too long the beginning is left out.
    text = writing.text + CARET
    while len(text) > 1 and pen.block(text, 0.05 * u, room, 2)[1] < 0.025 * u:
        text = CUT + text.removeprefix(CUT)[1:]
    lines, text_cap = pen.block(text, 0.05 * u, room, 2)
    y = room.y
    for line in lines:
        pen.write(surface, line, (room.x, y), text_cap, palette.TEXT)
        y += text_cap * LEADING
    foot_cap = pen.shrunk(writing.foot, SMALL * u, inner.w)
    at = (inner.x, inner.bottom - foot_cap)
    pen.write(surface, writing.foot, at, foot_cap, palette.QUIET_TEXT)


def draw_look_back(surface: Any, pen: Pen, layout: Layout, looked: LookBack) -> None:  # noqa: ANN401
    """Draw one body with its readings, or two beside each other, over the whole window."""
    window, u = layout.window, layout.unit
    surface.fill(palette.INK)
    area = Box(0.03 * window.w, 0.035 * window.h, 0.94 * window.w, 0.93 * window.h)
    title_lines, title_cap = pen.block(
        looked.title, TITLE * u, Box(area.x, area.y, area.w, 0.14 * u), 2
    )
    y = area.y
    for line in title_lines:
        pen.write(surface, line, (area.x, y), title_cap, palette.TARGET)
        y += title_cap * LEADING
    foot_lines, foot_cap = pen.block(looked.foot, 0.028 * u, Box(area.x, 0, area.w, 0.09 * u), 2)
    foot_y = area.bottom - len(foot_lines) * foot_cap * LEADING
    for row, line in enumerate(foot_lines):
        at = (area.x, foot_y + row * foot_cap * LEADING)
        pen.write(surface, line, at, foot_cap, palette.QUIET_TEXT)
    line_h = 0.09 * u if looked.share is not None else 0.0
    body = Box(area.x, y + 0.01 * u, area.w, max(foot_y - y - line_h - 0.03 * u, 1))
    upright = window.w < window.h
    if upright:  # the table under the bodies
        bodies = body._replace(h=0.55 * body.h)
        gap = 0.03 * u
        table = Box(body.x, bodies.bottom + gap, body.w, body.h - bodies.h - gap)
    else:
        bodies = body._replace(w=0.42 * body.w)
        table = Box(bodies.right + 0.02 * u, body.y, body.right - bodies.right - 0.02 * u, body.h)
    each = bodies.w / len(looked.figures)
    for place, figure in enumerate(looked.figures):
        box = Box(bodies.x + place * each, bodies.y, each, bodies.h)
        draw_figure(surface, pen, box, figure, u)
    _table(surface, pen, table, looked, u)
    if looked.share is not None:
        strip = Box(area.x, foot_y - line_h, area.w, line_h)
        _time_line(surface, pen, strip, looked, looked.share, u)


def draw_figure(surface: Any, pen: Pen, box: Box, figure: Figure, unit: float) -> None:  # noqa: ANN401
    """Draw a body in the box, feet at its foot, with its title under them."""
    import pygame

    cap = pen.shrunk(figure.title, 0.03 * unit, box.w)
    at_title = (box.x + box.w / 2, box.bottom - cap)
    pen.write(surface, figure.title, at_title, cap, palette.TEXT, align=0.5)
    base = box.bottom - 2.4 * cap
    points = figure.image_px
    ankles = points[[L.LEFT_ANKLE, L.RIGHT_ANKLE]].mean(axis=0)
    if not np.all(np.isfinite(ankles)):
        return
    scale = min((base - box.y) / TALL, box.w / WIDE) / figure.tall_px
    thick = max(round(0.035 * figure.tall_px * scale), 2)

    def at(point: Any) -> tuple[int, int] | None:  # noqa: ANN401
        if not np.all(np.isfinite(point)):
            return None
        x = box.x + box.w / 2 - (float(point[0]) - figure.middle_px) * scale
        y = base - (float(ankles[1]) - float(point[1])) * scale
        return round(min(max(x, box.x), box.right)), round(min(max(y, box.y), box.bottom))

    def line(rows: tuple[int, ...], colour: palette.Colour) -> None:
        found = [at(points[row]) for row in rows]
        for first, second in pairwise(found):
            if first is not None and second is not None:
                pygame.draw.line(surface, colour, first, second, thick)
                pygame.draw.circle(surface, colour, second, thick / 2)

    ground = (round(box.x + 0.1 * box.w), round(base), round(0.8 * box.w), max(thick // 4, 1))
    surface.fill(palette.mix(palette.INK, palette.LINE, 0.5), ground)
    if figure.hands_px is not None and len(figure.hands_px) > 1:
        way = [spot for spot in map(at, figure.hands_px) if spot is not None]
        if len(way) > 1:
            pygame.draw.lines(surface, palette.BELOW, False, way, max(thick // 4, 1))
    for rows in LEGS:
        line(rows, palette.LINE)
    corners = [spot for spot in (at(points[row]) for row in TRUNK) if spot is not None]
    if len(corners) == len(TRUNK):
        pygame.draw.polygon(surface, palette.mix(palette.INK, palette.LINE, 0.6), corners)
        pygame.draw.lines(surface, palette.LINE, True, corners, thick)
    for rows in ARMS:
        line(rows, palette.TARGET)
    head = at((points[L.NOSE] + points[[L.LEFT_EAR, L.RIGHT_EAR]].mean(axis=0)) / 2)
    if head is not None:
        radius = max(0.075 * figure.tall_px * scale, 3)
        pygame.draw.circle(surface, palette.INK, head, radius)
        pygame.draw.circle(surface, palette.TEXT, head, radius, max(thick // 2, 2))


def _table(surface: Any, pen: Pen, box: Box, looked: LookBack, unit: float) -> None:  # noqa: ANN401
    """Draw names and readings in rows, as large as all of them fit."""
    rows = (looked.head, *looked.rows)
    columns = len(looked.head)
    row_h = min(box.h / max(len(rows), 1), 0.13 * unit)
    cap = min(0.05 * unit, 0.55 * row_h)
    gap = 0.03 * unit
    while True:
        widths = [max(pen.width(row[column], cap) for row in rows) for column in range(columns)]
        if sum(widths) + gap * (columns - 1) <= box.w or cap <= 6:
            break
        cap *= 0.95
    y = box.y + max((box.h - row_h * len(rows)) / 3, 0)
    for number, row in enumerate(rows):
        x = box.x
        for column, words in enumerate(row):
            quiet = number == 0 or column == 0
            colour = palette.QUIET_TEXT if quiet else palette.TEXT
            pen.write(surface, words, (x, y), cap, colour)
            x += widths[column] + gap
        y += row_h


def _time_line(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    box: Box,
    looked: LookBack,
    share: float,
    unit: float,
) -> None:
    """Draw the rep's time as a line with its instants, and where this reading lies on it."""
    import pygame

    y, thick = box.y + 0.02 * unit, max(round(0.006 * unit), 1)
    left, wide = box.x + 0.02 * unit, box.w - 0.04 * unit
    pygame.draw.line(
        surface, palette.LINE, (round(left), round(y)), (round(left + wide), round(y)), thick
    )
    end = -1.0
    for at, name in looked.marks:
        x = left + at * wide
        height = 0.014 * unit
        pygame.draw.line(surface, palette.TEXT, (x, y - height), (x, y + height), thick)
        cap = SMALL * unit
        width = pen.width(name, cap)
        start = min(max(x - width / 2, box.x), box.right - width)
        if start > end:  # else two names would run into one another
            pen.write(surface, name, (start, y + 0.028 * unit), cap, palette.QUIET_TEXT)
            end = start + width + 0.5 * cap
    x, size = left + share * wide, 0.018 * unit
    corners = [(x, y - size), (x + size, y), (x, y + size), (x - size, y)]
    pygame.draw.polygon(surface, palette.TARGET, corners)
