"""Pages of text over the mirror: caution, pain, help. Main thread only."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from trainer import caution
from trainer.adapters import palette
from trainer.adapters.screen_layout import Box, Layout
from trainer.adapters.screen_pen import LEADING, Pen
from trainer.adapters.screen_words import (
    GO_ON,
    HELP_TITLE,
    MIRROR_KEYS,
    SIGNS_TITLE,
)
from trainer.core.gestures import Sign
from trainer.core.practice_words import SIGN_CARD


def page_text(page: str) -> tuple[str, tuple[str, ...]]:
    """Return title and lines of a page: "caution", "pain", "help", "signs"."""
    if page == "pain":
        return caution.PAIN_TITLE, caution.PAIN_LINES
    if page == "signs":
        return SIGNS_TITLE, tuple(words for _, words in SIGN_CARD)
    if page == "help":
        keys = tuple(f"{key}:  {what}" for key, what in MIRROR_KEYS)
        return HELP_TITLE, keys
    return caution.CAUTION_TITLE, caution.CAUTION_LINES


def draw_page(surface: Any, pen: Pen, layout: Layout, page: str) -> None:  # noqa: ANN401
    """Draw a page of text as large as it fits the window."""
    window, u = layout.window, layout.unit
    surface.fill(palette.INK)
    title, lines = page_text(page)
    area = Box(0.06 * window.w, 0.05 * window.h, 0.88 * window.w, 0.90 * window.h)
    shape = WITH_FIGURES if page == "signs" else WITH_DOTS
    # Remembered as one: trying the columns measures more words than the pen keeps.
    cap, columns = pen.remember(
        ("page", lines, area, u, shape),
        lambda: max(
            (_fit(pen, lines, area, 0.045 * u, columns, shape) for columns in (1, 2)),
            key=lambda fit: fit[0],
        ),
    )
    width = area.w / columns
    title_cap = pen.shrunk(title, 1.7 * cap, area.w)
    pen.write(surface, title, (area.x, area.y), title_cap, palette.TARGET)
    signs = [sign for sign, _ in SIGN_CARD] if page == "signs" else []
    per_column = -(-len(lines) // columns)
    for number, line in enumerate(lines):
        column, place = divmod(number, per_column)
        x = area.x + column * width
        if place == 0:
            y = area.y + 1.7 * cap * LEADING + 0.5 * shape.gap * cap
        sign = signs[number] if number < len(signs) else None
        if sign is None:
            _bullet(surface, (x + (shape.indent - 1.15) * cap, y + 0.5 * cap), 0.22 * cap)
        else:
            draw_sign(surface, sign, Box(x, y - 1.1 * cap, 3.4 * cap, 3.8 * cap))
        for row in pen.wrap(line, cap, width - (shape.indent + 1.0) * cap):
            pen.write(surface, row, (x + shape.indent * cap, y), cap, palette.TEXT)
            y += cap * LEADING
        y += shape.gap * cap
    pen.write(surface, GO_ON, (area.x, area.bottom - 1.2 * cap), cap, palette.QUIET_TEXT)


class _Shape(NamedTuple):
    """What stands before a line and between two, in ink heights."""

    indent: float
    gap: float


LEAST_PX: Final = 5  #: ink height below which a page is only a smudge
WITH_DOTS: Final = _Shape(1.5, 0.5)
WITH_FIGURES: Final = _Shape(3.9, 2.0)


def _fit(
    pen: Pen, lines: tuple[str, ...], area: Box, cap: float, columns: int, shape: _Shape
) -> tuple[float, int]:
    """Return the largest ink height, at most ``cap``, at which the lines fit; and the columns.

    Found by halves among heights 6 % apart: measuring is what a new page costs.
    """
    per_column = -(-len(lines) // columns)

    def fits(height: float) -> bool:
        width = area.w / columns - (shape.indent + 1.0) * height
        rows = [len(pen.wrap(line, height, width)) for line in lines]
        tall = max(
            sum(rows[first : first + per_column]) * LEADING + shape.gap * per_column
            for first in range(0, len(rows), per_column)
        )
        return (tall + 6.0 + shape.gap) * height <= area.h

    heights = [cap]
    while heights[-1] > LEAST_PX:
        heights.append(heights[-1] * 0.94)
    low, high = 0, len(heights) - 1  # the smallest is taken whether it fits or not
    while low < high:
        middle = (low + high) // 2
        if fits(heights[middle]):
            high = middle
        else:
            low = middle + 1
    return heights[low], columns


#: Left and right elbow and hand of each sign, as seen in the mirror; a figure 2 wide and 2 high.
_ARMS = {
    Sign.HAND_UP: (((-0.45, 0.0), (-0.4, 0.5)), ((0.4, -0.75), (0.3, -1.3))),
    Sign.HANDS_OUT: (((-0.7, -0.3), (-1.2, -0.3)), ((0.7, -0.3), (1.2, -0.3))),
    Sign.ON_HEAD: (((-0.75, -0.5), (-0.25, -0.8)), ((0.75, -0.5), (0.25, -0.8))),
    Sign.OUT_LOW: (((-0.4, 0.0), (-0.35, 0.45)), ((0.65, 0.0), (1.05, 0.3))),
    Sign.OUT_LEVEL: (((-0.4, 0.0), (-0.35, 0.45)), ((0.7, -0.3), (1.2, -0.3))),
}


def draw_sign(surface: Any, sign: Sign, box: Box) -> None:  # noqa: ANN401
    """Draw a figure that shows a sign."""
    import pygame

    unit = min(box.w, box.h) / 2.6
    x, y = box.x + box.w / 2, box.y + box.h / 2
    thick = max(round(0.12 * unit), 1)

    def at(point: tuple[float, float]) -> tuple[int, int]:
        return round(x + unit * point[0]), round(y + unit * point[1])

    pygame.draw.circle(surface, palette.TEXT, at((0.0, -0.75)), max(0.22 * unit, 2), thick)
    for first, second in (((0.0, -0.5), (0.0, 0.4)), ((0.0, 0.4), (-0.3, 1.2)),
                          ((0.0, 0.4), (0.3, 1.2)), ((-0.3, -0.35), (0.3, -0.35))):  # fmt: skip
        pygame.draw.line(surface, palette.TEXT, at(first), at(second), thick)
    for side, (elbow, hand) in zip((-0.3, 0.3), _ARMS[sign], strict=True):
        pygame.draw.lines(
            surface, palette.TARGET, False, [at((side, -0.35)), at(elbow), at(hand)], thick
        )


def _bullet(surface: Any, middle: tuple[float, float], radius: float) -> None:  # noqa: ANN401
    import pygame

    pygame.draw.circle(surface, palette.TARGET, middle, max(radius, 2))
