"""Draws the turn bar. Main thread only."""

from __future__ import annotations

from typing import Any

from trainer.adapters import palette
from trainer.adapters.screen_calm import Calm
from trainer.adapters.screen_layout import WORD, Box, Layout, bar_top_deg, turn_y
from trainer.adapters.screen_marks import (
    draw_plate,
    settled_colour,
    tick,
    write_figure,
    write_not_measured,
)
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_state import turn_state
from trainer.adapters.screen_words import (
    NO_TARGET,
    OWN,
    TURN_WORDS,
    turn_caption,
    turn_title,
    whole,
)
from trainer.core.records import Measures
from trainer.ports import View


def draw_turn(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    measures: Measures,
    view: View,
    calm: Calm,
    now_s: float,
) -> None:
    """Draw title, figure and upright bar of the shoulder turn, soft by its standard error."""
    import pygame

    box, u = layout.turn, layout.unit
    turn_deg = measures.shoulder_turn_deg
    draw_plate(surface, pen, box.plate, u)
    cap = pen.shrunk(turn_title(view), box.title.h * 0.72, box.title.w)
    pen.write(surface, turn_title(view), (box.title.x, box.title.y), cap, palette.TEXT)
    if turn_deg is None:
        write_not_measured(surface, pen, box.figure)
    else:
        write_figure(surface, pen, box.figure, whole(turn_deg), "°", u)
        caption = turn_caption(measures, view)
        cap = pen.shrunk(caption, box.caption.h, box.caption.w)
        pen.write(surface, caption, (box.caption.x, box.caption.y), cap, palette.QUIET_TEXT)
    wanted = turn_state(measures, view, calm.shown("turn"))
    state, colour = settled_colour(calm, "turn", wanted, now_s)
    bar = box.bar
    top_deg = bar_top_deg(view.target_deg, view.turn_band_deg)
    line_px = max(round(0.004 * u), 1)
    rect = pygame.Rect(round(bar.x), round(bar.y), round(bar.w), round(bar.h))
    pygame.draw.rect(surface, palette.BLACK, rect)
    _fill(surface, pen, rect, view, measures, colour, past=state == "past")
    pygame.draw.rect(surface, palette.LINE, rect, line_px)
    if not view.pain:
        _target(surface, pen, layout, view, top_deg, line_px)
    _turn_words(surface, pen, layout, view, state, top_deg)


def _fill(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    rect: Any,  # noqa: ANN401
    view: View,
    measures: Measures,
    colour: palette.Colour,
    *,
    past: bool,
) -> None:
    """Fill the bar up to the turn, its end fading over one standard error down and up.

    At the reading it is half as bright; where no standard error is known the end is plain, for
    there is nothing to fade over. ``past``: what is over the band has a colour of its own.
    """
    import pygame

    turn_deg = measures.shoulder_turn_deg
    if turn_deg is None:
        return
    se_deg = measures.shoulder_turn_se_deg or 0.0
    top_deg = bar_top_deg(view.target_deg, view.turn_band_deg)
    per_deg = rect.h / max(top_deg, view.target_deg, 1.0)

    def row(deg: float) -> int:
        return round(min(max(rect.bottom - deg * per_deg, rect.top), rect.bottom))

    top = row(turn_deg + se_deg)
    change = max(row(view.target_deg + view.turn_band_deg), top) if past else top
    surface.fill(palette.BEYOND, (rect.x, top, rect.w, change - top))
    surface.fill(colour, (rect.x, change, rect.w, rect.bottom - change))
    fade_px = round(2 * se_deg * per_deg)
    if fade_px < 1:
        return
    y = round(rect.bottom - (turn_deg + se_deg) * per_deg)  # above the bar, where it is cut off
    fade = pygame.transform.scale(pen.fade(), (rect.w, fade_px))
    seen = pygame.Rect(rect.x, y, rect.w, fade_px).clip(rect)
    surface.blit(fade, seen, (0, seen.y - y, seen.w, seen.h))


def _target(surface: Any, pen: Pen, layout: Layout, view: View, top_deg: float, px: int) -> None:  # noqa: ANN401
    """Draw the target: a bracket over the band beside the bar, a line across at the target."""
    import pygame

    box, u = layout.turn, layout.unit
    bar = box.bar

    def height(turn_deg: float) -> int:
        return round(turn_y(bar, turn_deg, view.target_deg, top_deg))

    low, mid, high = (
        height(view.target_deg - view.turn_band_deg),
        height(view.target_deg),
        height(view.target_deg + view.turn_band_deg),
    )
    x, reach = round(bar.right), round(0.022 * u)
    thick = max(px + 1, round(0.007 * u))
    for y in (low, high):
        pygame.draw.line(surface, palette.TARGET, (x, y), (x + reach, y), thick)
    pygame.draw.line(surface, palette.TARGET, (x + reach, low), (x + reach, high), thick)
    # NB: black edges keep the line 3:1 apart from the green fill it may cross.
    left = round(bar.x)
    pygame.draw.line(surface, palette.BLACK, (left, mid), (x, mid), 2 * thick)
    pygame.draw.line(surface, palette.TARGET, (left, mid), (x + reach, mid), thick)
    cap = 0.042 * u
    text_x = x + reach + 0.018 * u
    cap = pen.shrunk(whole(view.target_deg), cap, max(box.side.right - text_x, 1))
    pen.write(surface, whole(view.target_deg), (text_x, mid - cap / 2), cap, palette.TARGET)
    if view.own is not None:  # whose target it is
        own_cap = pen.shrunk(OWN, 0.6 * cap, max(box.side.right - text_x, 1))
        pen.write(surface, OWN, (text_x, mid - cap / 2 - 1.5 * own_cap), own_cap, palette.TARGET)


def _turn_words(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    view: View,
    state: str,
    top_deg: float,
) -> None:
    box, u = layout.turn, layout.unit
    side = box.side
    words = NO_TARGET if view.pain else TURN_WORDS.get(state, "")
    if not words:
        return
    x = side.x + 0.04 * u
    room = max(side.right - x, 1)
    low = turn_y(box.bar, view.target_deg - view.turn_band_deg, view.target_deg, top_deg)
    lines, cap = pen.block(words, WORD * u, Box(x, 0, room, 0.2 * u), 2)
    y = min(low + 0.035 * u, side.bottom - 0.14 * u) if not view.pain else side.y
    if not view.pain and state != "maybe" and side.bottom - y >= 0.12 * u:
        tick(surface, (x, y), min(0.07 * u, room))
        y += 0.08 * u
    for line in lines:
        pen.write(surface, line, (x, y), cap, palette.TEXT)
        y += cap * LEADING
