"""Draws the beams of head and hips. Main thread only."""

from __future__ import annotations

from typing import Any

from trainer.adapters import palette
from trainer.adapters.screen_calm import Calm
from trainer.adapters.screen_layout import SMALL, Box, DriftBox, Layout, drift_x
from trainer.adapters.screen_marks import (
    draw_plate,
    settled_colour,
    write_figure,
    write_not_measured,
)
from trainer.adapters.screen_pen import Pen
from trainer.adapters.screen_state import (
    at_top,
    drift_band,
    drift_state,
    head_way,
    hips_judged,
    judged,
    off_own,
)
from trainer.adapters.screen_words import (
    AT_THE_TOP,
    CM,
    DRIFT_NAMES,
    HEAD_WAYS,
    OUT,
    TARGET_SIDE,
    centimetres,
)
from trainer.core.records import Measures
from trainer.ports import View


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
        _, way = head_way(off.head_lateral_cm, off.head_vertical_cm, tol_cm, counts=counts)
        figure = centimetres(lateral), HEAD_WAYS[way]
        if way in ("up", "down"):
            state = way
            figure = centimetres(measures.head_vertical_cm or 0.0), HEAD_WAYS[way]
    settled = settled_colour(calm, "head", state, now_s)
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
        figure = centimetres(lateral), OUT if state == "out" else ""
    settled = settled_colour(calm, "hips", state, now_s)
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
    end = pen.write(surface, DRIFT_NAMES[name], (box.title.x, box.title.y), title_cap, palette.TEXT)
    if at_top(view) is not None:
        room = box.title.right - end.right - 0.02 * unit
        cap = pen.shrunk(AT_THE_TOP, 0.03 * unit, room)
        at = (box.title.right, box.title.y + title_cap - cap)
        pen.write(surface, AT_THE_TOP, at, cap, palette.QUIET_TEXT, align=1.0)
    if figure is None:
        write_not_measured(surface, pen, box.figure)
    else:
        write_figure(surface, pen, box.figure, figure[0], CM, unit, word=figure[1])
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
        aside_px = x_of(lateral_cm) - x_of(0)
        _marker(surface, (x_of(lateral_cm), middle), beam, settled, aside_px, unit)


def _marker(
    surface: Any,  # noqa: ANN401
    at: tuple[float, float],
    beam: Box,
    settled: tuple[str, palette.Colour],
    aside_px: float,
    unit: float,
) -> None:
    """Draw where the drift stands: round inside the bracket, an arrowhead outside it."""
    import pygame

    (x, y), (state, colour) = at, settled
    # A low beam, as with large text, still has a mark that is seen from afar.
    radius = max(0.3 * beam.h, min(0.022 * unit, 0.45 * beam.h), 3)
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
    # Light edges set it off from the round mark whatever colours an eye tells apart.
    edge = palette.TEXT if state in ("out", "up", "down") else palette.BLACK
    pygame.draw.polygon(surface, edge, points, max(round(0.08 * radius), 1))


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
    pen.write(surface, TARGET_SIDE, at, cap, palette.QUIET_TEXT, align=float(to_right))
