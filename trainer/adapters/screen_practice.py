"""Draws what a practice adds: what is kept back, and the checkpoints. Main thread only.

The checkpoints' ghost stands in the turn's column, beside the player and never over: a template
laid on the movement makes it lean on the template (Buchanan and Wang 2012, Experimental Brain
Research 222:305).
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from trainer.adapters import palette
from trainer.adapters.screen_layout import Box, Layout
from trainer.adapters.screen_marks import draw_plate, tick
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_words import GHOST_NEXT, GHOST_OWN, POINTS_LISTED
from trainer.core.landmarks import Landmark as L
from trainer.core.practice_shown import PointsShown, PracticeShown
from trainer.ports import View

#: Joint to joint: the body but for its arms, and the arms.
_BODY: Final = (
    (L.LEFT_SHOULDER, L.RIGHT_SHOULDER),
    (L.LEFT_SHOULDER, L.LEFT_HIP),
    (L.RIGHT_SHOULDER, L.RIGHT_HIP),
    (L.LEFT_HIP, L.RIGHT_HIP),
    (L.LEFT_HIP, L.LEFT_KNEE),
    (L.LEFT_KNEE, L.LEFT_ANKLE),
    (L.RIGHT_HIP, L.RIGHT_KNEE),
    (L.RIGHT_KNEE, L.RIGHT_ANKLE),
)
_ARMS: Final = (
    (L.LEFT_SHOULDER, L.LEFT_ELBOW),
    (L.LEFT_ELBOW, L.LEFT_WRIST),
    (L.RIGHT_SHOULDER, L.RIGHT_ELBOW),
    (L.RIGHT_ELBOW, L.RIGHT_WRIST),
)


def draw_kept_back(surface: Any, pen: Pen, plate: Box, words: str, unit: float) -> None:  # noqa: ANN401
    """Draw an empty plate that says why nothing stands on it."""
    draw_plate(surface, pen, plate, unit)
    inner = plate.inside(0.02 * unit)
    lines, cap = pen.block(words, 0.042 * unit, inner, 3)
    y = inner.y + (inner.h - cap * (1 + LEADING * (len(lines) - 1))) / 2
    for line in lines:
        at = (inner.x + inner.w / 2, y)
        pen.write(surface, line, at, cap, palette.QUIET_TEXT, align=0.5)
        y += cap * LEADING


def draw_points(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    layout: Layout,
    view: View,
    practice: PracticeShown,
) -> None:
    """Draw the four checkpoints as a list, and the next one as a ghost with the player in it."""
    points = practice.points
    if points is None:
        return
    u, plate = layout.unit, layout.turn.plate
    draw_plate(surface, pen, plate, u)
    inner = plate.inside(0.02 * u)
    cap = min(pen.shrunk(name, 0.042 * u, inner.w - 0.07 * u) for name in POINTS_LISTED)
    wide = inner.w >= 0.6 * u  # the columns under the picture: list and figure side by side
    y = inner.y
    for row, name in enumerate(POINTS_LISTED):
        _mark(surface, (inner.x, y), cap, row, points)
        colour = palette.TEXT if row == points.next else palette.QUIET_TEXT
        pen.write(surface, name, (inner.x + 0.06 * u, y), cap, colour)
        if row == points.next:
            room = (0.5 if wide else 1.0) * inner.w - 0.07 * u
            _hold_bar(surface, Box(inner.x + 0.06 * u, y + 1.5 * cap, room, 0.5 * cap), points)
            y += 0.8 * cap
        y += 1.9 * cap
    room = Box(inner.x, y, inner.w, max(inner.bottom - y, 1))
    if wide:
        room = Box(inner.x + 0.5 * inner.w, inner.y, 0.5 * inner.w, inner.h)
    _ghost(surface, pen, room, points, view, u)


def _mark(
    surface: Any,  # noqa: ANN401
    at: tuple[float, float],
    cap: float,
    row: int,
    points: PointsShown,
) -> None:
    """Draw a tick for what is held, an arrowhead for what is next, a ring for what is to come."""
    import pygame

    x, y = at
    if row < points.next:
        tick(surface, (x, y), cap)
    elif row == points.next:
        corners = [(x, y), (x + cap, y + 0.5 * cap), (x, y + cap)]
        pygame.draw.polygon(surface, palette.BEYOND if points.skipped else palette.TARGET, corners)
    else:
        middle = (x + 0.5 * cap, y + 0.5 * cap)
        pygame.draw.circle(surface, palette.LINE, middle, 0.4 * cap, max(round(0.1 * cap), 1))


def _hold_bar(surface: Any, box: Box, points: PointsShown) -> None:  # noqa: ANN401
    import pygame

    rect = pygame.Rect(round(box.x), round(box.y), round(box.w), max(round(box.h), 3))
    pygame.draw.rect(surface, palette.BLACK, rect)
    surface.fill(palette.REACHED, (rect.x, rect.y, round(rect.w * points.held_share), rect.h))
    pygame.draw.rect(surface, palette.LINE, rect, 1)


def _ghost(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    room: Box,
    points: PointsShown,
    view: View,
    unit: float,
) -> None:
    """Draw the ghost, mirrored as the picture is, and over it the player's arms now."""
    import pygame

    ghost = points.ghost_px
    if ghost is None or room.h < 0.08 * unit or not np.all(np.isfinite(ghost)):
        return
    own = points.from_own and points.next == len(POINTS_LISTED) - 1
    label = GHOST_OWN if own else GHOST_NEXT
    cap = pen.shrunk(label, 0.024 * unit, room.w)
    pen.write(surface, label, (room.x, room.bottom - cap), cap, palette.QUIET_TEXT)
    shown = ghost[L.LEFT_SHOULDER :]
    reach = float(np.ptp(shown[:, 1]))  # room for hands at the top, over the head
    foot, middle = float(shown[:, 1].max()), float(ghost[[L.LEFT_HIP, L.RIGHT_HIP], 0].mean())
    scale = min((room.h - 2 * cap) / max(1.4 * reach, 1.0), room.w / max(1.1 * reach, 1.0))
    base = room.bottom - 2 * cap

    def at(point: Any) -> tuple[int, int]:  # noqa: ANN401
        x = room.x + room.w / 2 - (float(point[0]) - middle) * scale
        y = base - (foot - float(point[1])) * scale
        held_y = min(max(y, room.y), room.bottom)
        return round(min(max(x, room.x), room.right)), round(held_y)

    thick = max(round(0.008 * unit), 2)
    for first, second in _BODY:
        pygame.draw.line(surface, palette.LINE, at(ghost[first]), at(ghost[second]), thick)
    for first, second in _ARMS:
        pygame.draw.line(surface, palette.TARGET, at(ghost[first]), at(ghost[second]), thick)
    head = at((ghost[L.NOSE] + ghost[[L.LEFT_EAR, L.RIGHT_EAR]].mean(axis=0)) / 2)
    pygame.draw.circle(surface, palette.LINE, head, max(0.07 * reach * scale, 3), thick)
    hands = ghost[[L.LEFT_WRIST, L.RIGHT_WRIST]].mean(axis=0)
    pygame.draw.circle(surface, palette.TARGET, at(hands), 2.2 * thick, max(thick // 2, 1))
    if points.now_px is None:
        return
    mine = points.now_px[[L.LEFT_WRIST, L.RIGHT_WRIST]].mean(axis=0)
    if np.all(np.isfinite(mine)):
        pygame.draw.circle(surface, palette.BLACK, at(mine), 1.6 * thick)
        pygame.draw.circle(surface, palette.TEXT, at(mine), 1.3 * thick)
