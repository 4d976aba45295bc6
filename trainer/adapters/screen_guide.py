"""Pages of the first run and the placement guide over the mirror. Main thread only."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.adapters import palette
from trainer.adapters.screen_figures import draw_figure, draw_rests_on
from trainer.adapters.screen_focus import draw_focus
from trainer.adapters.screen_layout import HEADLINE, LINE, SMALL, TITLE, WORD, Box, Layout, fit
from trainer.adapters.screen_marks import tick, warning_mark
from trainer.adapters.screen_mirror import draw_mirror
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_words import page_number
from trainer.core.placement import Check, Group, PlacementState, Stage
from trainer.core.placement_words import GROUP_NAMES, RESTS_ON
from trainer.core.records import Handed
from trainer.ports import Guide, GuidePage, View


def draw_guide(surface: Any, pen: Pen, layout: Layout, view: View, guide: Guide) -> None:  # noqa: ANN401
    """Draw a page over the whole window."""
    window, u = layout.window, layout.unit
    surface.fill(palette.INK)
    area = Box(0.04 * window.w, 0.04 * window.h, 0.92 * window.w, 0.92 * window.h)
    room = area._replace(h=area.h - _foot(surface, pen, area, guide, u))
    room = _title(surface, pen, room, guide, u)
    if guide.page is GuidePage.PLACEMENT:
        _placement(surface, pen, room, view, guide, u)
    elif guide.page is GuidePage.CAMERA:
        _camera(surface, pen, room, view, guide, u)
    elif guide.page is GuidePage.CAUTION:
        _bullets(surface, pen, room, guide.lines, u)
    else:
        _question(surface, pen, room, guide, u)


def _foot(surface: Any, pen: Pen, area: Box, guide: Guide, u: float) -> float:  # noqa: ANN401
    """Write what the keys do; return how much height it takes."""
    lines, cap = pen.block(guide.foot, LINE * u, area._replace(h=0.14 * u), 3)
    tall = len(lines) * cap * LEADING
    y = area.bottom - tall + 0.5 * cap
    for line in lines:
        pen.write(surface, line, (area.x, y), cap, palette.QUIET_TEXT)
        y += cap * LEADING
    return tall + 0.02 * u


def _title(surface: Any, pen: Pen, area: Box, guide: Guide, u: float) -> Box:  # noqa: ANN401
    """Write the page's number and title; return what is left under them."""
    wide = area.w
    if guide.number:
        number = page_number(guide.number, guide.count)
        cap = SMALL * 1.2 * u
        pen.write(surface, number, (area.right, area.y), cap, palette.QUIET_TEXT, align=1.0)
        wide -= pen.width(number, cap) + 0.03 * u
    lines, cap = pen.block(guide.title, HEADLINE * u, Box(area.x, area.y, wide, 0.27 * u), 2)
    y = area.y
    for line in lines:
        pen.write(surface, line, (area.x, y), cap, palette.TEXT)
        y += cap * LEADING
    return Box(area.x, y, area.w, max(area.bottom - y, 1))


def _write(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    box: Box,
    words: str,
    cap: float,
    colour: palette.Colour = palette.TEXT,
    most: int = 3,
) -> float:
    """Write words at the top of a box; return the y under them."""
    lines, cap = pen.block(words, cap, box, most)
    y = box.y
    for line in lines:
        pen.write(surface, line, (box.x, y), cap, colour)
        y += cap * LEADING
    return y


def _trouble(surface: Any, pen: Pen, box: Box, words: str, u: float) -> float:  # noqa: ANN401
    if not words:
        return box.y
    mark = 0.05 * u
    warning_mark(surface, (box.x + 0.4 * mark, box.y + 0.02 * u), 0.04 * u)
    inner = Box(box.x + 1.2 * mark, box.y, max(box.w - 1.2 * mark, 1), box.h)
    return _write(surface, pen, inner, words, 0.036 * u, most=7)


def _choices(surface: Any, pen: Pen, box: Box, guide: Guide, u: float) -> float:  # noqa: ANN401
    """Draw the choices, the chosen one framed and marked; return the y under them."""
    cap = min(
        (pen.shrunk(words, TITLE * u, box.w - 0.1 * u) for words in guide.choices),
        default=TITLE * u,
    )
    cap = min(cap, 0.6 * box.h / (2.7 * max(len(guide.choices), 1)))  # words follow under them
    y = box.y
    for number, words in enumerate(guide.choices):
        row = Box(box.x + 0.05 * u, y, box.w - 0.05 * u, 2.4 * cap)
        if number == guide.chosen:
            draw_focus(surface, row, u)
        pen.write(surface, words, (row.x + 0.02 * u, y + 0.7 * cap), cap, palette.TEXT)
        y += 2.7 * cap
    return y


def _question(surface: Any, pen: Pen, area: Box, guide: Guide, u: float) -> None:  # noqa: ANN401
    import pygame

    y = area.y + 0.02 * u
    if guide.choices:
        y = _choices(surface, pen, Box(area.x, y, area.w, area.h), guide, u) + 0.02 * u
    if guide.entry is not None:
        box = Box(area.x, y, min(0.6 * u, area.w), 0.15 * u)
        edge = tuple(round(v) for v in box)
        pygame.draw.rect(surface, palette.TARGET, edge, max(round(0.006 * u), 2))
        cap = pen.shrunk(guide.entry, 0.07 * u, box.w - 0.08 * u)
        end = pen.write(
            surface, guide.entry, (box.x + 0.03 * u, y + 0.04 * u), cap, palette.TEXT
        ).right
        line = (round(end + 0.008 * u), round(y + 0.03 * u), max(round(0.006 * u), 2))
        surface.fill(palette.TARGET, (*line, round(0.09 * u)))
        y = box.bottom + 0.05 * u
    y = _trouble(surface, pen, Box(area.x, y, area.w, 0.25 * u), guide.trouble, u)
    y += 0.02 * u if guide.trouble else 0.0
    cap, gap, room_h = WORD * u, 0.01 * u, area.bottom - y
    while cap > 5:  # one size for all of them
        rows = [row for line in guide.lines for row in pen.wrap(line, cap, area.w)]
        if len(rows) * cap * LEADING + len(guide.lines) * gap <= room_h:
            break
        cap *= 0.94
    for line in guide.lines:
        for row in pen.wrap(line, cap, area.w):
            pen.write(surface, row, (area.x, y), cap, palette.TEXT)
            y += cap * LEADING
        y += gap


def _bullets(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    area: Box,
    lines: tuple[str, ...],
    u: float,
) -> None:
    """Write the lines as large as they all fit."""
    import pygame

    cap = WORD * u
    while cap > 5:
        rows = [pen.wrap(line, cap, area.w - 1.6 * cap) for line in lines]
        if sum(map(len, rows)) * LEADING * cap + 0.5 * len(rows) * cap <= area.h:
            break
        cap *= 0.94
    y = area.y
    for some in rows:
        middle = (area.x + 0.35 * cap, y + 0.5 * cap)
        pygame.draw.circle(surface, palette.TARGET, middle, max(0.22 * cap, 2))
        for row in some:
            pen.write(surface, row, (area.x + 1.5 * cap, y), cap, palette.TEXT)
            y += cap * LEADING
        y += 0.5 * cap


def _halves(area: Box, u: float, share: float) -> tuple[Box, Box]:
    """Return two parts of the page, side by side, or one over the other where it is narrow."""
    gap = 0.03 * u
    if area.w > area.h:
        first = Box(area.x, area.y, share * (area.w - gap), area.h)
        return first, Box(first.right + gap, area.y, area.right - first.right - gap, area.h)
    first = Box(area.x, area.y, area.w, share * (area.h - gap))
    return first, Box(area.x, first.bottom + gap, area.w, area.bottom - first.bottom - gap)


def _camera(surface: Any, pen: Pen, area: Box, view: View, guide: Guide, u: float) -> None:  # noqa: ANN401
    left, right = _halves(area, u, 0.62 if area.w > area.h else 0.34)
    place = _picture(surface, left, view.image_rgb)
    if right.y > area.y:  # under the picture, which may leave room
        y = place.bottom + 0.03 * u
        right = right._replace(y=y, h=max(area.bottom - y, 1))
    y = _choices(surface, pen, right, guide, u) + 0.02 * u
    y = _trouble(surface, pen, right._replace(y=y, h=0.45 * right.h), guide.trouble, u)
    y += 0.02 * u
    for line in guide.lines:
        rest = right._replace(y=y, h=right.bottom - y)
        if rest.h >= 2 * LINE * u:  # where the choices leave room for it
            _write(surface, pen, rest, line, 0.036 * u, palette.QUIET_TEXT, most=5)


def _picture(surface: Any, box: Box, image_rgb: NDArray[np.uint8] | None) -> Box:  # noqa: ANN401
    """Draw the picture as in a mirror, or an empty frame; return where it is."""
    import pygame

    shape = (16, 9) if image_rgb is None else (image_rgb.shape[1], image_rgb.shape[0])
    place = fit(box, shape)
    place = place._replace(y=box.y)
    edge = tuple(round(v) for v in place)
    if image_rgb is not None:
        draw_mirror(surface, image_rgb, place)
    pygame.draw.rect(surface, palette.LINE, edge, 2)
    return place


def _placement(surface: Any, pen: Pen, area: Box, view: View, guide: Guide, u: float) -> None:  # noqa: ANN401
    y = area.y
    for line in guide.lines:
        y = _write(surface, pen, area._replace(y=y, h=0.2 * u), line, TITLE * u) + 0.01 * u
    words = "  ·  ".join(view.notices)
    if words:  # a camera that was lost must be told of here too
        tall = 0.11 * u
        _trouble(surface, pen, Box(area.x, area.bottom - tall, area.w, tall), words, u)
        area = area._replace(h=area.h - tall)
    marks_h = 0.1 * u
    middle = Box(area.x, y, area.w, max(area.bottom - y - marks_h, 1))
    state = guide.placement or PlacementState()
    left, right = _halves(middle, u, 0.55)
    place = _picture(surface, left, view.image_rgb)
    _rod(surface, place, view.image_rgb, state)
    finding = state.finding
    if state.stage is Stage.READY or (finding is not None and finding.check is Check.YAW):
        tall = 0.075 * u
        note = Box(right.x, right.bottom - tall, right.w, tall)
        _rests_on(surface, pen, note, by_rod=state.rod_counts, u=u)
        right = right._replace(h=right.h - tall)
    handed = Handed.LEFT if view.handed_left else Handed.RIGHT
    draw_figure(surface, right, state.stage, finding, handed)
    _marks(surface, pen, Box(area.x, area.bottom - marks_h, area.w, marks_h), state, u)


def _rod(
    surface: Any,  # noqa: ANN401
    place: Box,
    image_rgb: NDArray[np.uint8] | None,
    state: PlacementState,
) -> None:
    """Mark the rod that counts in the mirrored picture, a little beyond both its ends."""
    import pygame

    ends = state.rod_px
    if ends is None or image_rgb is None:
        return
    scale = place.w / image_rgb.shape[1]
    reach = 0.2 * (ends[1] - ends[0])
    for end, out in ((ends[0], -reach), (ends[1], reach)):
        marks = [(place.right - x * scale, place.y + y * scale) for x, y in (end, end + out)]
        pygame.draw.line(surface, palette.INK, *marks, max(round(0.02 * place.h), 5))
        pygame.draw.line(surface, palette.TARGET, *marks, max(round(0.01 * place.h), 3))


def _rests_on(surface: Any, pen: Pen, box: Box, *, by_rod: bool, u: float) -> None:  # noqa: ANN401
    """Write what square is told from, with its mark before it."""
    words, mark_w = RESTS_ON[by_rod], 0.09 * u
    cap = pen.shrunk(words, LINE * u, box.w - 1.3 * mark_w)
    x = box.x + (box.w - 1.3 * mark_w - pen.width(words, cap)) / 2
    draw_rests_on(surface, Box(x, box.y, mark_w, box.h), by_rod=by_rod)
    pen.write(surface, words, (x + 1.3 * mark_w, box.y + (box.h - cap) / 2), cap, palette.TEXT)


def _marks(surface: Any, pen: Pen, box: Box, state: PlacementState, u: float) -> None:  # noqa: ANN401
    """Draw a mark and a word for each group: a tick, a warning, or a ring for not read yet."""
    import pygame

    size, gap = 0.04 * u, 0.015 * u
    names = [GROUP_NAMES[group] for group in Group]
    rows = 1 if box.w > 1.2 * u else 2
    columns = -(-len(names) // rows)
    wide = box.w / columns
    cap = min(pen.shrunk(name, LINE * u, wide - size - 2 * gap) for name in names)
    for number, group in enumerate(Group):
        row, column = divmod(number, columns)
        x, y = box.x + column * wide, box.y + (row + 0.5) * box.h / rows
        fine = state.group(group)
        if fine:
            tick(surface, (x, y - size / 2), size)
        elif fine is False:
            warning_mark(surface, (x + size / 2, y), size)
        else:
            middle = (round(x + size / 2), round(y))
            pygame.draw.circle(surface, palette.LINE, middle, size * 0.4, max(round(0.1 * size), 1))
        colour = palette.QUIET_TEXT if fine is None else palette.TEXT
        pen.write(surface, GROUP_NAMES[group], (x + size + gap, y - cap / 2), cap, colour)
