"""A list over the mirror, such as the kept sessions, and its keys. Main thread only."""

from __future__ import annotations

from typing import Any, Final

from trainer.adapters import palette
from trainer.adapters.screen_focus import draw_focus
from trainer.adapters.screen_layout import Box, Layout
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_words import LIST_EMPTY, rows_of
from trainer.ports import KeyAction, Listed

CAP: Final = 0.030  #: ink height of a row, as a share of the window's height
GAP: Final = 1.2  #: between columns, in ink heights
LEAST_PX: Final = 6  #: ink height below which nothing can be read
LONGEST: Final = 5  #: of a column's words, so many are measured to find the widest


def rows_shown(listed: Listed, room: int) -> range:
    """Return which rows are shown where there is room for so many: those round the chosen one."""
    count, room = len(listed.rows), max(room, 1)
    if listed.chosen is None or count <= room:
        return range(min(count, room))
    first = min(max(listed.chosen - room // 2, 0), count - room)
    return range(first, first + room)


def list_action(pygame: Any, key: int) -> KeyAction | None:  # noqa: ANN401
    """Return what a key means while a list is shown; None for one that keeps its meaning."""
    return {
        pygame.K_UP: KeyAction.LIST_UP,
        pygame.K_DOWN: KeyAction.LIST_DOWN,
        pygame.K_LEFT: KeyAction.LIST_PREVIOUS,
        pygame.K_RIGHT: KeyAction.LIST_NEXT,
        pygame.K_SPACE: KeyAction.LIST_MARK,
        pygame.K_RETURN: KeyAction.LIST_OPEN,
        pygame.K_KP_ENTER: KeyAction.LIST_OPEN,
        pygame.K_ESCAPE: KeyAction.SESSIONS,
    }.get(key)


def draw_list(surface: Any, pen: Pen, layout: Layout, listed: Listed) -> None:  # noqa: ANN401
    """Draw title, rows and foot over the whole window."""
    window, u = layout.window, layout.unit
    surface.fill(palette.INK)
    area = Box(0.05 * window.w, 0.05 * window.h, 0.90 * window.w, 0.90 * window.h)
    cap = CAP * u
    foot_lines, foot_cap = pen.block(
        listed.foot, 0.8 * cap, Box(area.x, area.y, area.w, 6 * cap), 4
    )
    foot_h = len(foot_lines) * foot_cap * LEADING
    title_cap = pen.shrunk(listed.title, 1.6 * cap, 0.7 * area.w)
    pen.write(surface, listed.title, (area.x, area.y), title_cap, palette.TARGET)
    y = area.y + title_cap * LEADING + cap
    cap, widths = _fitted(pen, listed, cap, area.w)
    row_h = cap * LEADING
    _row(surface, pen, listed.head, (area.x, y), cap, widths, palette.QUIET_TEXT)
    y += row_h
    room = int((area.bottom - foot_h - cap - y) / row_h)
    shown = rows_shown(listed, room)
    if not listed.rows:
        pen.write(surface, LIST_EMPTY, (area.x + GAP * cap, y), cap, palette.TEXT)
    for number in shown:
        chosen = number == listed.chosen
        if chosen:
            box = (round(area.x - 0.3 * cap), round(y - 0.45 * cap), round(area.w + 0.6 * cap))
            surface.fill(palette.mix(palette.INK, palette.LINE, 0.35), (*box, round(row_h)))
            draw_focus(surface, Box(*box, round(row_h)), u)
        _row(surface, pen, listed.rows[number], (area.x, y), cap, widths, palette.TEXT)
        y += row_h
    y = area.bottom - foot_h
    if len(shown) < len(listed.rows):
        words = rows_of(shown.start + 1, shown.stop, len(listed.rows))
        words_cap = pen.shrunk(words, 0.8 * cap, 0.25 * area.w)
        pen.write(surface, words, (area.right, area.y), words_cap, palette.QUIET_TEXT, align=1.0)
    for line in foot_lines:
        pen.write(surface, line, (area.x, y), foot_cap, palette.QUIET_TEXT)
        y += foot_cap * LEADING


def _fitted(pen: Pen, listed: Listed, cap: float, width: float) -> tuple[float, list[float]]:
    """Return the ink height at which all columns are within ``width``, and their widths.

    Only each column's longest words are measured: a list may have hundreds of rows.
    """
    columns = zip(listed.head, *listed.rows, strict=True)
    longest = [sorted(set(cells), key=len)[-LONGEST:] for cells in columns]
    while True:
        widths = [max(pen.width(words, cap) for words in some) + GAP * cap for some in longest]
        over = sum(widths) + GAP * cap - width
        if over <= 0:
            return cap, widths
        if cap <= LEAST_PX:
            widest = widths.index(max(widths))  # what is too long there is cut
            widths[widest] = max(widths[widest] - over, 0.0)
            return cap, widths
        cap = max(cap * 0.94, LEAST_PX)


def _row(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    cells: tuple[str, ...],
    at_xy: tuple[float, float],
    cap: float,
    widths: list[float],
    colour: palette.Colour,
) -> None:
    x = at_xy[0] + GAP * cap
    for words, width in zip(cells, widths, strict=True):
        pen.write(
            surface, _cut(pen, words, cap, width - 0.5 * GAP * cap), (x, at_xy[1]), cap, colour
        )
        x += width


def _cut(pen: Pen, words: str, cap: float, width: float) -> str:
    """Return as much of the words as ``width`` has room for."""
    if pen.width(words, cap) <= width:
        return words
    while words and pen.width(words + "…", cap) > width:
        words = words[:-1]
    return words + "…"
