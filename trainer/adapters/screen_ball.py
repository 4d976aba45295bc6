"""Draws the ball line, and the mark where the back's edge is. Main thread only.

At setup, to be moved to the ball; and after a rep, with the edge at its top. Never in a swing:
nothing to steer by lies on the body then.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from trainer.adapters import palette
from trainer.adapters.screen_layout import Box, Layout
from trainer.adapters.screen_pen import Pen
from trainer.adapters.screen_state import at_top
from trainer.adapters.screen_words import BALL_LINE, back_words
from trainer.core.ball_line import STEP_CM, BallLine
from trainer.core.records import Phase
from trainer.ports import View

GRIP: Final = 0.03  #: a press this near to the line takes hold of it; share of the window's height


def line_shown(view: View) -> BallLine | None:
    """Return the line to be drawn now: at setup, and while a rep's verdict stands."""
    line = view.ball_line
    if line is None or view.step is None or view.image_rgb is None or view.rod is not None:
        return None
    if line.at_top:
        return line if view.look.figures and at_top(view) is not None else None
    return line if view.step.phase is Phase.SETUP else None


def window_x(x_px: float, view: View, picture: Box) -> float:
    """Return where in the window's mirrored picture an x of the camera's picture lies."""
    assert view.image_rgb is not None
    return picture.right - x_px * picture.w / view.image_rgb.shape[1]


def draw_ball_line(surface: Any, pen: Pen, layout: Layout, view: View) -> None:  # noqa: ANN401
    """Draw the line from the shoulders to the picture's foot, and the mark of the back."""
    import pygame

    line = line_shown(view)
    if line is None or view.image_rgb is None or not np.isfinite(line.x_px):
        return
    picture, u = layout.picture, layout.unit
    scale = picture.h / view.image_rgb.shape[0]
    x = round(window_x(line.x_px, view, picture))
    top, low = (round(picture.y + row * scale) for row in (line.top_px, line.low_px))
    head_room = round(0.10 * u)
    start, foot = max(top - head_room, round(picture.y)), round(picture.bottom)
    px = max(round(0.004 * u), 1)
    if picture.x <= x <= picture.right:
        _edged(surface, (x, start), (x, foot), px)
        radius = max(round(0.014 * u), 3)
        ball = (x, foot - 2 * radius)
        pygame.draw.circle(surface, palette.BLACK, ball, radius + 2)
        pygame.draw.circle(surface, palette.TEXT, ball, radius)
        _label(surface, pen, BALL_LINE, (x, foot - 5.5 * radius), layout)
    if line.back_px is None or line.gap_cm is None:
        return
    edge = round(window_x(line.back_px, view, picture))
    if not picture.x <= edge <= picture.right:
        return
    middle = (top + low) // 2
    _edged(surface, (edge, middle - (low - top) // 4), (edge, middle + (low - top) // 4), 2 * px)
    if picture.x <= x <= picture.right and abs(edge - x) > 4 * px:
        _edged(surface, (edge, middle), (x, middle), px)
    if line.at_top:
        _label(surface, pen, back_words(line.gap_cm), ((edge + x) / 2, low + 0.045 * u), layout)


def _edged(surface: Any, start: tuple[int, int], end: tuple[int, int], px: int) -> None:  # noqa: ANN401
    """Draw a straight line with a black edge, to be seen on any picture."""
    import pygame

    pygame.draw.line(surface, palette.BLACK, start, end, px + 4)
    pygame.draw.line(surface, palette.TARGET, start, end, px)


def _label(
    surface: Any,  # noqa: ANN401
    pen: Pen,
    words: str,
    middle: tuple[float, float],
    layout: Layout,
) -> None:
    """Write words on a small plate, within the picture."""
    cap, pad = 0.026 * layout.unit, 0.01 * layout.unit
    w = pen.width(words, cap) + 2 * pad
    picture = layout.picture
    x = min(max(middle[0] - w / 2, picture.x), max(picture.right - w, picture.x))
    y = middle[1] - cap / 2 - pad
    size = (max(round(w), 1), max(round(cap * 1.3 + 2 * pad), 1))
    surface.blit(pen.plate(size, layout.unit), (round(x), round(y)))
    pen.write(surface, words, (x + pad, y + pad), cap, palette.TEXT)


class LineDrag:
    """Turns a drag of the ball line with the mouse into steps. Main thread only."""

    def __init__(self) -> None:
        self._from: tuple[float, float, int] | None = None  # window x, cm a pixel, steps so far

    def take(self, at_xy: tuple[int, int], view: View, layout: Layout) -> bool:
        """Take hold of the line if it is shown at setup and ``at_xy`` is on it."""
        line = line_shown(view)
        if line is None or line.at_top or view.image_rgb is None:
            return False
        x = window_x(line.x_px, view, layout.picture)
        if abs(at_xy[0] - x) > GRIP * layout.unit or at_xy[1] > layout.picture.bottom:
            return False
        # The mirror shows "away from the target" on the right for a right-hander.
        sign = -1.0 if view.handed_left else 1.0
        cm_per_px = sign * line.cm_per_px * view.image_rgb.shape[1] / layout.picture.w
        self._from = (float(at_xy[0]), cm_per_px, 0)
        return True

    def move(self, x: int) -> int:
        """Return how many steps the line goes now, + away from the target; 0 when not held."""
        if self._from is None:
            return 0
        start_x, cm_per_px, done = self._from
        wanted = round((x - start_x) * cm_per_px / STEP_CM)
        self._from = (start_x, cm_per_px, wanted)
        return wanted - done

    def drop(self) -> None:
        """Let the line go."""
        self._from = None
