"""The window for a screen across the room: turn, verdict and reps very large, nothing else.

Main thread only. Digits of the turn are a third of the window's height: on a 40-inch screen (50 cm
high) 17 cm, which from 5 m is 114 minutes of arc. A verdict of up to some 40 letters has 0.08 or
more, 28 minutes, where 20 to 22 are preferred (ISO 9241-3).
"""

from __future__ import annotations

from typing import Any, Final

from trainer.adapters import palette, screen_words
from trainer.adapters.screen_calm import Calm
from trainer.adapters.screen_layout import Box, Layout, bar_top_deg
from trainer.adapters.screen_marks import settled_colour, tick, warning_mark
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_state import SWINGING, turn_state
from trainer.core.records import Measures
from trainer.ports import View

TURN: Final = 0.34  #: ink height of the turn's digits, as a share of the window's height
REPS: Final = 0.25
VERDICT: Final = 0.13  #: ink height of the verdict's words at most


def draw_far(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    view: View,
    measures: Measures,
    calm: Calm,
    now_s: float,
    *,
    stale: bool,
) -> None:
    """Draw verdict, turn and reps over the whole window."""
    u = layout.unit
    surface.fill(palette.INK)
    verdict, middle, line = _parts(layout)
    big, small = far_words(view, stale=stale)
    _words(surface, pen, verdict, big, VERDICT * u, palette.TEXT, lines=2)
    reps = far_reps(layout)
    turn = Box(middle.x, middle.y, middle.w - reps.w, middle.h)
    _turn(surface, pen, turn, view, measures, calm, now_s, u)
    _reps(surface, pen, reps, view, u)
    notices = screen_words.notices(view, stale=stale)
    if notices:
        mark = 0.06 * u
        warning_mark(surface, (line.x + 0.5 * mark, line.y + 0.5 * mark), 0.8 * mark)
        line = Box(line.x + 1.4 * mark, line.y, line.w - 1.4 * mark, line.h)
        small = "  ·  ".join(notices)
    colour = palette.TEXT if notices else palette.QUIET_TEXT
    _words(surface, pen, line, small, 0.045 * u, colour, lines=2)


def _parts(layout: Layout) -> tuple[Box, Box, Box]:
    """Return the boxes of the verdict, of the figures and of the line under them."""
    area = layout.window.inside(0.03 * layout.unit)
    verdict = Box(area.x, area.y, area.w, 0.28 * area.h)
    line = Box(area.x, area.bottom - 0.11 * area.h, area.w, 0.11 * area.h)
    return verdict, Box(area.x, verdict.bottom, area.w, line.y - verdict.bottom), line


def far_reps(layout: Layout) -> Box:
    """Return the column of the reps; its lower part is free."""
    _, middle, _ = _parts(layout)
    wide = min(0.3 * middle.w, 0.5 * layout.unit)
    return Box(middle.right - wide, middle.y, wide, middle.h)


def far_words(view: View, *, stale: bool) -> tuple[str, str]:
    """Return the large line and the small one.

    The verdict stays the large one until the next swing, unless there is something to do.
    """
    now = screen_words.headline(view, stale=stale)
    swinging = view.step is not None and view.step.phase in SWINGING
    asked = view.practice is not None and (view.practice.headline or view.practice.sign)
    if view.answer:
        return now, view.answer
    told = screen_words.verdict_words(view)
    if not told or swinging or asked or stale or view.rod is not None:
        return now, screen_words.quiet_line(view, stale=stale) if view.rod is not None else ""
    verdict, *details = told
    if view.step is None or now == verdict:
        return verdict, "  ·  ".join(details)
    return verdict, now


def _turn(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    box: Box,
    view: View,
    measures: Measures,
    calm: Calm,
    now_s: float,
    unit: float,
) -> None:
    """Draw the turn with its word, and under it how far it is to the target."""
    why = screen_words.kept_back(view, "turn")
    if not view.look.figures:
        why = screen_words.TONES_ONLY
    if why or view.rod is not None:
        _words(surface, pen, box, why, 0.1 * unit, palette.QUIET_TEXT, lines=2)
        return
    title = screen_words.turn_title(view)
    cap = pen.shrunk(title, 0.04 * unit, box.w)
    pen.write(surface, title, (box.x, box.y), cap, palette.QUIET_TEXT)
    y = box.y + cap * LEADING
    turn_deg = measures.shoulder_turn_deg
    wanted = turn_state(measures, view, calm.shown("turn"))
    state, colour = settled_colour(calm, "turn", wanted, now_s)
    if turn_deg is None:
        room = Box(box.x, y, 0.7 * box.w, TURN * unit)
        _words(surface, pen, room, screen_words.NOT_MEASURED, 0.1 * unit, palette.TEXT, lines=2)
    else:
        digits = screen_words.whole(turn_deg)
        figure_cap = pen.shrunk(digits, min(TURN * unit, 0.58 * box.h), 0.6 * box.w)
        end = pen.write(surface, digits, (box.x, y), figure_cap, palette.TEXT)
        x = end.right + 0.02 * unit
        pen.write(surface, "°", (x, y), 0.5 * figure_cap, palette.TEXT)
        caption = screen_words.turn_caption(measures, view)
        caption_cap = pen.shrunk(caption, 0.04 * unit, max(box.right - x - 0.04 * unit, 1))
        below = y + figure_cap - caption_cap
        pen.write(surface, caption, (x, below), caption_cap, palette.QUIET_TEXT)
        words = screen_words.TURN_WORDS.get(state, "")
        if words:
            size = 0.1 * unit
            at = (x + 0.11 * unit, y + 0.3 * figure_cap)
            if state != "maybe":
                tick(surface, at, size)
                at = (at[0] + 1.25 * size, at[1])
            words_cap = pen.shrunk(words, 0.08 * unit, max(box.right - at[0] - 0.02 * unit, 1))
            pen.write(surface, words, at, words_cap, palette.TEXT)
    bar = Box(box.x, box.bottom - 0.15 * unit, 0.94 * box.w, 0.05 * unit)
    _bar(surface, pen, bar, view, measures, colour, unit)


def _bar(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    bar: Box,
    view: View,
    measures: Measures,
    colour: palette.Colour,
    unit: float,
) -> None:
    """Draw the turn as a lying bar, its end soft by its standard error, with the target on it."""
    import pygame

    top_deg = bar_top_deg(view.target_deg, view.turn_band_deg)
    rect = pygame.Rect(round(bar.x), round(bar.y), round(bar.w), round(bar.h))
    pygame.draw.rect(surface, palette.BLACK, rect)
    turn_deg, se_deg = measures.shoulder_turn_deg, measures.shoulder_turn_se_deg or 0.0
    if turn_deg is not None:
        end = round(min(max((turn_deg + se_deg) / top_deg, 0.0), 1.0) * rect.w)
        surface.fill(colour, (rect.x, rect.y, end, rect.h))
        fade_px = round(2 * se_deg / top_deg * rect.w)
        if fade_px >= 1:
            lying = pygame.transform.rotate(pen.fade(), -90)  # clears from right to left
            fade = pygame.transform.scale(lying, (fade_px, rect.h))
            x = round(rect.x + (turn_deg - se_deg) / top_deg * rect.w)
            seen = pygame.Rect(x, rect.y, fade_px, rect.h).clip(rect)
            surface.blit(fade, seen, (seen.x - x, 0, seen.w, seen.h))
    pygame.draw.rect(surface, palette.LINE, rect, max(round(0.004 * unit), 1))
    if view.pain:
        pen.write(
            surface,
            screen_words.NO_TARGET,
            (bar.x, bar.bottom + 0.015 * unit),
            0.04 * unit,
            palette.TEXT,
        )
        return
    x = round(bar.x + bar.w * view.target_deg / top_deg)
    thick = max(round(0.01 * unit), 2)
    over = round(0.012 * unit)
    ends = ((x, rect.y - over), (x, rect.bottom + over))
    pygame.draw.line(surface, palette.BLACK, *ends, 2 * thick)
    pygame.draw.line(surface, palette.TARGET, *ends, thick)
    words = screen_words.FAR_OWN if view.own else screen_words.FAR_TARGET
    words = words.format(screen_words.whole(view.target_deg))
    cap = 0.04 * unit
    half = pen.width(words, cap) / 2
    at_x = min(max(x, bar.x + half), bar.right - half)
    pen.write(surface, words, (at_x, bar.bottom + 0.022 * unit), cap, palette.TARGET, align=0.5)


def _reps(surface: Any, pen: Pen, box: Box, view: View, unit: float) -> None:  # noqa: ANN401
    cap = pen.shrunk(screen_words.REPS, 0.05 * unit, box.w)
    pen.write(surface, screen_words.REPS, (box.right, box.y), cap, palette.QUIET_TEXT, align=1.0)
    figure_cap = pen.shrunk(str(view.reps), min(REPS * unit, 0.6 * box.h), 0.95 * box.w)
    at = (box.right, box.y + cap * LEADING)
    pen.write(surface, str(view.reps), at, figure_cap, palette.TEXT, align=1.0)


def _words(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    box: Box,
    words: str,
    cap: float,
    colour: palette.Colour,
    *,
    lines: int,
) -> None:
    if not words:
        return
    some, cap = pen.block(words, cap, box, lines)
    y = box.y
    for line in some:
        pen.write(surface, line, (box.x, y), cap, colour)
        y += cap * LEADING
