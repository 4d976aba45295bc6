"""Draws the marks of the setup check beside the body; nothing where all is fine."""

from __future__ import annotations

from typing import Any, Final

from trainer.adapters import palette
from trainer.adapters.screen_layout import Box, Layout
from trainer.adapters.screen_pen import Pen
from trainer.adapters.screen_place import body_box
from trainer.core.records import Phase
from trainer.ports import View

CAPS: Final = (0.03, 0.024, 0.019)  #: ink heights of the word, as shares of the window's


def draw_setup_marks(surface: Any, pen: Pen, layout: Layout, view: View) -> None:  # noqa: ANN401
    """Draw an arrowhead and a word at the height of each part that is out of its band.

    On the side of the body with more room, or the other, smaller where it must be; a word that
    finds no place there is left to the headline.
    """
    import pygame

    practice, step = view.practice, view.step
    if practice is None or step is None or step.pose is None or view.image_rgb is None:
        return
    if step.phase is not Phase.SETUP:
        return
    off = [finding for finding in practice.setup if not finding.fine]
    body = body_box(step.pose, layout.picture)
    if not off or body is None:
        return
    picture = layout.picture
    scale = picture.h / view.image_rgb.shape[0]
    more_right = picture.right - body.right >= body.x - picture.x
    for finding in off:
        y = picture.y + finding.y_px * scale
        places = [
            (to_right, share * layout.unit)
            for share in CAPS
            for to_right in (more_right, not more_right)
        ]
        for to_right, cap in places:
            mark = _Mark(pen, finding.word, body, y, cap, to_right=to_right)
            room = mark.room
            inside = picture.x <= room.x and room.right <= picture.right
            if not inside or any(plate.overlaps(room) for plate in layout.plates):
                continue
            surface.fill(palette.INK, tuple(round(v) for v in room))
            pygame.draw.polygon(surface, palette.WARNING, mark.corners)
            pen.write(surface, finding.word, (mark.x, y - 0.5 * cap), cap, palette.TEXT)
            break


class _Mark:
    """Where a mark and its word go at one side of the body."""

    def __init__(
        self, pen: Pen, word: str, body: Box, y: float, cap: float, *, to_right: bool
    ) -> None:
        width, back = pen.width(word, cap), cap if to_right else -cap
        tip = body.right + 0.5 * cap if to_right else body.x - 0.5 * cap
        self.x = tip + 1.4 * back - (0.0 if to_right else width)
        self.corners = [(tip, y), (tip + back, y - 0.6 * cap), (tip + back, y + 0.6 * cap)]
        self.room = Box(min(tip, self.x) - 0.3 * cap, y - cap, width + 2.2 * cap, 2 * cap)
