"""The page of kinds: what to practise, and how it is told. Main thread only."""

from __future__ import annotations

from typing import Any, Final

from trainer.adapters import palette
from trainer.adapters.screen_focus import draw_focus
from trainer.adapters.screen_layout import Box, Layout
from trainer.adapters.screen_marks import tick
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_words import KINDS_KEYS, KINDS_TITLE, NOW, Choice, kinds_choices
from trainer.ports import KeyAction, View

#: What each row asks for, from top to bottom.
ROWS: Final = (
    KeyAction.FREE,
    KeyAction.CHECKPOINTS,
    KeyAction.TURN_ONLY,
    KeyAction.CENTRED,
    KeyAction.LADDER,
    KeyAction.NEXT_CUES,
    KeyAction.GUESS_FIRST,
)


def row_in_force(view: View | None) -> int:
    """Return the row of the kind that is practised now."""
    practice = None if view is None else view.practice
    if practice is None:
        return 0
    return [row.value for row in ROWS].index(practice.kind.value)


def draw_kinds(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    view: View | None,
    focus: int | None,
) -> None:
    """Draw a row for each kind, the one in force ticked, and two for how it is told.

    A row's name can be read from where the player stands: a sign by hand goes through the kinds.
    """
    window, u = layout.window, layout.unit
    surface.fill(palette.INK)
    left = max(0.07 * window.w, 0.06 * u)  # room for the mark before a row
    area = Box(left, 0.05 * window.h, 0.95 * window.w - left, 0.90 * window.h)
    cap = pen.shrunk(KINDS_TITLE, 0.055 * u, area.w)
    pen.write(surface, KINDS_TITLE, (area.x, area.y), cap, palette.TARGET)
    choices = kinds_choices(None if view is None else view.practice)
    foot_cap = pen.shrunk(KINDS_KEYS, 0.028 * u, area.w)
    pen.write(surface, KINDS_KEYS, (area.x, area.bottom - foot_cap), foot_cap, palette.QUIET_TEXT)
    top = area.y + cap * LEADING
    row_h = (area.bottom - 2 * foot_cap - top) / len(choices)
    # One size for all names; beside each there is room for its key, a tick and "now".
    most = min(0.05 * u, 0.33 * row_h)
    name_cap = min(pen.shrunk(f"{each.name} {NOW}", most, 0.7 * area.w) for each in choices)
    for number, choice in enumerate(choices):
        row = Box(area.x, top + number * row_h, area.w, 0.92 * row_h)
        _draw_choice(surface, pen, row, choice, name_cap, u)
        if number == focus:
            draw_focus(surface, row, u)


def _draw_choice(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    row: Box,
    choice: Choice,
    cap: float,
    unit: float,
) -> None:
    inner = row.inside(0.10 * row.h)
    x, y = inner.x + 1.6 * cap, inner.y + 0.06 * row.h
    pen.write(surface, choice.key, (inner.x, y), cap, palette.TARGET)
    end = pen.write(surface, choice.name, (x, y), cap, palette.TEXT)
    if choice.in_force:
        tick(surface, (end.right + 0.8 * cap, y), cap)
        pen.write(surface, NOW, (end.right + 2.0 * cap, y), cap, palette.TEXT)
    y += 1.4 * cap
    room = Box(x, y, inner.right - x, inner.bottom - y)
    lines, cap = pen.block(choice.what, min(0.028 * unit, 0.8 * cap), room, 2)
    for line in lines:
        pen.write(surface, line, (x, y), cap, palette.QUIET_TEXT)
        y += cap * LEADING
