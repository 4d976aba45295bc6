"""Draws the turn bar and the drift beams. Main thread only."""

from __future__ import annotations

from typing import Any

from trainer.adapters import palette
from trainer.adapters.screen_calm import Calm
from trainer.adapters.screen_layout import (
    FIGURE,
    SMALL,
    Box,
    DriftBox,
    Layout,
    bar_top_deg,
    drift_x,
    turn_y,
)
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_words import (
    NOT_MEASURED,
    at_top,
    centimetres,
    drift_band,
    drift_state,
    head_words,
    hips_judged,
    judged,
    off_own,
    turn_state,
    whole,
)
from trainer.core.records import Measures
from trainer.ports import View

_COLOURS = {
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
_TURN_WORDS = {"maybe": "maybe", "reached": "there", "past": "enough"}


def draw_plate(surface: Any, pen: Pen, box: Box, unit: float) -> None:  # noqa: ANN401
    """Draw the dark plate that text and bars stand on."""
    size = (max(round(box.w), 1), max(round(box.h), 1))
    surface.blit(pen.plate(size, unit), (round(box.x), round(box.y)))


def _settled(calm: Calm, name: str, wanted: str, now_s: float) -> tuple[str, palette.Colour]:
    before, state, share = calm.settle(name, wanted, now_s)
    return state, palette.mix(_COLOURS[before], _COLOURS[state], share)


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
    turn_deg, se_deg = measures.shoulder_turn_deg, measures.shoulder_turn_se_deg
    draw_plate(surface, pen, box.plate, u)
    title = "shoulder turn" if at_top(view) is None else "turn at the top"
    cap = pen.shrunk(title, box.title.h * 0.72, box.title.w)
    pen.write(surface, title, (box.title.x, box.title.y), cap, palette.TEXT)
    if turn_deg is None:
        _not_measured(surface, pen, box.figure)
    else:
        _figure(surface, pen, box.figure, whole(turn_deg), "°", u)
        caption = "camera estimate" if se_deg is None else f"estimate ±{whole(se_deg)}°"
        cap = pen.shrunk(caption, box.caption.h, box.caption.w)
        pen.write(surface, caption, (box.caption.x, box.caption.y), cap, palette.QUIET_TEXT)
    wanted = turn_state(measures, view, calm.shown("turn"))
    state, colour = _settled(calm, "turn", wanted, now_s)
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
        own_cap = pen.shrunk("own", 0.6 * cap, max(box.side.right - text_x, 1))
        pen.write(surface, "own", (text_x, mid - cap / 2 - 1.5 * own_cap), own_cap, palette.TARGET)


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
    words = "no target" if view.pain else _TURN_WORDS.get(state, "")
    if not words:
        return
    x = side.x + 0.04 * u
    room = max(side.right - x, 1)
    low = turn_y(box.bar, view.target_deg - view.turn_band_deg, view.target_deg, top_deg)
    lines, cap = pen.block(words, 0.04 * u, Box(x, 0, room, 0.2 * u), 2)
    y = min(low + 0.035 * u, side.bottom - 0.14 * u) if not view.pain else side.y
    if not view.pain and state != "maybe" and side.bottom - y >= 0.12 * u:
        tick(surface, (x, y), min(0.07 * u, room))
        y += 0.08 * u
    for line in lines:
        pen.write(surface, line, (x, y), cap, palette.TEXT)
        y += cap * LEADING


def draw_head(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    measures: Measures,
    view: View,
    calm: Calm,
    now_s: float,
) -> None:
    """Draw the head's drift: sideways on the beam, and its height in words where it is out."""
    lateral, tol_cm, counts = measures.head_lateral_cm, view.head_tol_cm, judged(view)
    off = off_own(measures, view)  # the figures themselves where no reference is in use
    state, figure = drift_state(off.head_lateral_cm, tol_cm, counts=counts), None
    if lateral is not None and off.head_lateral_cm is not None:
        _, word = head_words(off.head_lateral_cm, off.head_vertical_cm, tol_cm, counts=counts)
        figure = centimetres(lateral), word
        if word in ("up", "down"):
            state, figure = word, (centimetres(measures.head_vertical_cm or 0.0), word)
    settled = _settled(calm, "head", state, now_s)
    _draw_drift(surface, pen, layout.head, "head", lateral, tol_cm, figure, settled, view, layout)


def draw_hips(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    measures: Measures,
    view: View,
    calm: Calm,
    now_s: float,
) -> None:
    """Draw the hips' drift. Before the top it does not count, and no word says so."""
    lateral, tol_cm = measures.hip_lateral_cm, view.hip_tol_cm
    off_cm = off_own(measures, view).hip_lateral_cm
    state, figure = drift_state(off_cm, tol_cm, counts=hips_judged(view)), None
    if lateral is not None:
        figure = centimetres(lateral), "out" if state == "out" else ""
    settled = _settled(calm, "hips", state, now_s)
    _draw_drift(surface, pen, layout.hips, "hips", lateral, tol_cm, figure, settled, view, layout)


def _draw_drift(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    box: DriftBox,
    name: str,
    lateral_cm: float | None,
    tol_cm: float,
    figure: tuple[str, str] | None,
    settled: tuple[str, palette.Colour],
    view: View,
    layout: Layout,
) -> None:
    """Draw plate, title, figure (digits and word) and beam of one drift."""
    import pygame

    unit = layout.unit
    draw_plate(surface, pen, box.plate, unit)
    title_cap = box.title.h * 0.9
    end = pen.write(surface, name, (box.title.x, box.title.y), title_cap, palette.TEXT)
    if at_top(view) is not None:
        room = box.title.right - end.right - 0.02 * unit
        cap = pen.shrunk("at the top", 0.03 * unit, room)
        at = (box.title.right, box.title.y + title_cap - cap)
        pen.write(surface, "at the top", at, cap, palette.QUIET_TEXT, align=1.0)
    if figure is None:
        _not_measured(surface, pen, box.figure)
    else:
        _figure(surface, pen, box.figure, figure[0], "cm", unit, word=figure[1])
    beam = box.beam
    thick = max(round(0.006 * unit), 2)
    middle = beam.y + beam.h / 2

    def x_of(away_cm: float) -> int:
        return round(drift_x(beam, away_cm, tol_cm, handed_left=view.handed_left))

    pygame.draw.line(
        surface, palette.LINE, (round(beam.x), middle), (round(beam.right), middle), thick
    )
    pygame.draw.line(
        surface,
        palette.LINE,
        (x_of(0), round(middle - beam.h / 4)),
        (x_of(0), round(middle + beam.h / 4)),
        thick,
    )
    lip = round(0.02 * unit)
    low_cm, high_cm = drift_band(view, name)
    left, right = sorted((x_of(low_cm), x_of(high_cm)))
    for edge, inward in ((left, lip), (right, -lip)):
        top, low = round(beam.y), round(beam.bottom - 1)
        pygame.draw.line(surface, palette.TARGET, (edge, top), (edge, low), thick)
        for y in (top, low):
            pygame.draw.line(surface, palette.TARGET, (edge, y), (edge + inward, y), thick)
    _target_side(surface, pen, box, view, unit)
    if lateral_cm is not None:
        _marker(surface, (x_of(lateral_cm), middle), beam, settled, x_of(lateral_cm) - x_of(0))


def _marker(
    surface: Any,  # noqa: ANN401
    at: tuple[float, float],
    beam: Box,
    settled: tuple[str, palette.Colour],
    aside_px: float,
) -> None:
    """Draw where the drift stands: round inside the bracket, an arrowhead outside it."""
    import pygame

    (x, y), (state, colour) = at, settled
    radius = max(0.3 * beam.h, 3)
    if state == "in":
        pygame.draw.circle(surface, palette.BLACK, (x, y), radius + 1)
        pygame.draw.circle(surface, colour, (x, y), radius)
        return
    x = min(max(x, beam.x + radius), beam.right - radius)
    if state in ("up", "down"):
        tip = -radius if state == "up" else radius
        points = [(x, y + tip), (x - radius, y - tip), (x + radius, y - tip)]
    else:
        tip = radius if aside_px > 0 else -radius
        points = [(x + tip, y), (x - tip, y - radius), (x - tip, y + radius)]
    pygame.draw.polygon(surface, colour, points)
    pygame.draw.polygon(surface, palette.BLACK, points, 1)


def _target_side(surface: Any, pen: Pen, box: DriftBox, view: View, unit: float) -> None:  # noqa: ANN401
    """Write "target" with an arrow at the beam's end that points to it."""
    import pygame

    if box.caption.h < 1:
        return
    cap = SMALL * unit
    to_right = view.handed_left
    tip = box.caption.right if to_right else box.caption.x
    back = -cap if to_right else cap
    y = box.caption.y + cap / 2
    points = [(tip, y), (tip + back, y - cap / 2), (tip + back, y + cap / 2)]
    pygame.draw.polygon(surface, palette.QUIET_TEXT, points)
    at = (tip + 1.6 * back, box.caption.y)
    pen.write(surface, "target", at, cap, palette.QUIET_TEXT, align=float(to_right))


def _figure(
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
    word_cap = 0.036 * unit
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


def _not_measured(surface: Any, pen: Pen, box: Box) -> None:  # noqa: ANN401
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
