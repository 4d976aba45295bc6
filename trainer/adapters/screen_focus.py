"""Which row of a page of choices the keyboard is on, and how that is seen. Main thread only.

The row has a frame and a mark before it, so that it is seen without colour: WCAG 2.x success
criteria 2.4.7 (focus visible) and 1.4.11 (3:1 against what it lies on).
"""

from __future__ import annotations

from typing import Any, Final

from trainer.adapters import palette
from trainer.adapters.screen_layout import Box

FRAME: Final = 0.005  #: thickness of the frame, as a share of the window's height


class Focus:
    """The row the keyboard is on; begun anew each time a page opens."""

    def __init__(self) -> None:
        self.row = 0

    def take(self, pygame: Any, key: int, rows: int) -> bool:  # noqa: ANN401
        """Follow a key that moves; return False for one that does not. The ends are joined."""
        step = {
            pygame.K_UP: -1,
            pygame.K_DOWN: 1,
            pygame.K_TAB: 1,
            pygame.K_HOME: -self.row,
            pygame.K_END: rows - 1 - self.row,
        }.get(key)
        if step is None:
            return False
        self.row = (self.row + step) % max(rows, 1)
        return True


def chooses(pygame: Any, key: int) -> bool:  # noqa: ANN401
    """Return True for a key that takes the row the keyboard is on."""
    return key in (pygame.K_RETURN, pygame.K_KP_ENTER, pygame.K_SPACE)


def draw_focus(surface: Any, box: Box, unit: float) -> None:  # noqa: ANN401
    """Draw the frame of the row the keyboard is on, and an arrowhead that points at it."""
    import pygame

    px = max(round(FRAME * unit), 2)
    rect = pygame.Rect(round(box.x), round(box.y), round(box.w), round(box.h))
    pygame.draw.rect(surface, palette.TARGET, rect, px, border_radius=2 * px)
    size = min(0.3 * box.h, 0.03 * unit)
    x, y = box.x - 0.6 * size, box.y + box.h / 2
    pygame.draw.polygon(
        surface, palette.TARGET, [(x, y), (x - size, y - size), (x - size, y + size)]
    )
