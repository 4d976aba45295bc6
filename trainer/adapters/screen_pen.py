"""Text and plates for the window, drawn once and kept. Called from the main thread only."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable
from typing import Any, Final

from trainer.adapters import palette
from trainer.adapters.palette import Colour
from trainer.adapters.screen_layout import Box

KEPT: Final = 800  #: renders kept; a session shows some 200 different figures and words
SMALLEST_PX: Final = 5  #: ink height below which text is only a smudge


class Pen:
    """Writes with pygame's own bundled font, sized by the ink height of its digits."""

    def __init__(self) -> None:
        import pygame

        self._pygame = pygame
        pygame.font.init()
        probe = pygame.font.Font(None, 400).render("0", True, (255, 255, 255))
        self._ink_per_size = probe.get_bounding_rect().height / 400
        self._fonts: dict[int, Any] = {}
        self._kept: OrderedDict[tuple[Any, ...], Any] = OrderedDict()

    def _size(self, cap_px: float) -> int:
        """Return the font's size for an ink height; what is kept is kept by it."""
        return max(math.ceil(cap_px / self._ink_per_size), 4)

    def _font(self, cap_px: float) -> Any:  # noqa: ANN401 (pygame is loaded late)
        size = self._size(cap_px)
        if size not in self._fonts:
            self._fonts[size] = self._pygame.font.Font(None, size)
        return self._fonts[size]

    def _keep(self, key: tuple[Any, ...], made: Any) -> Any:  # noqa: ANN401
        self._kept[key] = made
        if len(self._kept) > KEPT:
            self._kept.popitem(last=False)
        return made

    def render(self, text: str, cap_px: float, colour: Colour) -> Any:  # noqa: ANN401
        """Return a surface of the text with digits ``cap_px`` high."""
        key = ("text", text, self._size(cap_px), colour)
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        return self._keep(key, self._font(cap_px).render(text, True, colour))

    def write(
        self,
        surface: Any,  # noqa: ANN401
        text: str,
        at_xy: tuple[float, float],
        cap_px: float,
        colour: Colour,
        *,
        align: float = 0.0,
    ) -> Box:
        """Write one line with the top of its digits at ``y``; return the box it takes.

        ``align`` puts x at the text's left (0), middle (0.5) or right end (1).
        """
        made = self.render(text, cap_px, colour)
        w = made.get_width()
        x = at_xy[0] - align * w
        surface.blit(made, (round(x), round(at_xy[1] - self._rise(cap_px))))
        return Box(x, at_xy[1], w, cap_px)

    def _rise(self, cap_px: float) -> float:
        """Return how far the top of the digits lies under the top of a render."""
        key = ("rise", self._size(cap_px))
        if key not in self._kept:
            ink = self._font(cap_px).render("0", True, (255, 255, 255)).get_bounding_rect()
            self._keep(key, float(ink.y))
        return float(self._kept[key])

    def width(self, text: str, cap_px: float) -> float:
        """Return how wide the text would be."""
        font = self._font(cap_px)
        key = ("width", text, id(font))  # fonts are never dropped, so the id stays its own
        if key not in self._kept:
            self._keep(key, float(font.size(text)[0]))
        return float(self._kept[key])

    def shrunk(self, text: str, cap_px: float, width_px: float) -> float:
        """Return the ink height, at most ``cap_px``, at which the text is within the width."""
        wide = self.width(text, cap_px)
        while wide > width_px and cap_px > SMALLEST_PX:
            cap_px = max(min(cap_px * width_px / wide, cap_px - 0.5), SMALLEST_PX)
            wide = self.width(text, cap_px)
        return cap_px

    def wrap(self, text: str, cap_px: float, width_px: float) -> list[str]:
        """Return the text in lines no wider than the width (single long words excepted)."""
        lines: list[str] = []
        for word in text.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.width(longer, cap_px) <= width_px:
                lines[-1] = longer
            else:
                lines.append(word)
        return lines or [""]

    def block(self, text: str, cap_px: float, box: Box, most_lines: int) -> tuple[list[str], float]:
        """Return the text in at most ``most_lines`` lines and the largest height that fits."""
        key = ("block", text, cap_px, box.w, box.h, most_lines)
        lines, cap = self.remember(key, lambda: self._fitted(text, cap_px, box, most_lines))
        return list(lines), cap

    def remember(self, key: tuple[Any, ...], make: Callable[[], Any]) -> Any:  # noqa: ANN401
        """Return what ``make`` gives, worked out once for each ``key``."""
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        return self._keep(key, make())

    def _fitted(
        self, text: str, cap_px: float, box: Box, most_lines: int
    ) -> tuple[list[str], float]:
        cap = cap_px
        while cap > SMALLEST_PX:
            lines = self.wrap(text, cap, box.w)
            tall = len(lines) * cap * LEADING - (LEADING - 1.3) * cap
            if (
                len(lines) <= most_lines
                and tall <= box.h
                and all(self.width(line, cap) <= box.w for line in lines)
            ):
                return lines, cap
            cap *= 0.94
        return self.wrap(text, SMALLEST_PX, box.w)[:most_lines], SMALLEST_PX

    def plate(self, size_wh: tuple[int, int], unit: float) -> Any:  # noqa: ANN401
        """Return a dark half-opaque plate with rounded corners."""
        key = ("plate", size_wh, round(unit))
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        made = self._pygame.Surface(size_wh, self._pygame.SRCALPHA)
        colour = (*palette.INK, palette.PLATE_ALPHA)
        self._pygame.draw.rect(
            made, colour, made.get_rect(), border_radius=max(round(0.018 * unit), 2)
        )
        return self._keep(key, made)

    def fade(self) -> Any:  # noqa: ANN401
        """Return a column, one pixel wide, of black that clears evenly from top to bottom."""
        key = ("fade",)
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        made = self._pygame.Surface((1, 256), self._pygame.SRCALPHA)
        for y in range(256):
            made.set_at((0, y), (*palette.BLACK, 255 - y))
        return self._keep(key, made)


LEADING: Final = 1.75  #: from line to line, in ink heights
