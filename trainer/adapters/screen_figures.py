"""Simple figures of what to change about camera, player or light. Main thread only.

As in a mirror: what is to the player's right is to the right. What is there is light, what to do
is yellow and an arrow, what is wrong is orange.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

from trainer.adapters import palette
from trainer.adapters.screen_layout import Box
from trainer.core.placement import Check, Finding, Stage
from trainer.core.records import Handed

Point = tuple[float, float]


class Sketch:
    """Lines on a field 2 wide and 1.75 high; (0, 0) is the middle of the box, y down."""

    def __init__(self, surface: Any, box: Box) -> None:  # noqa: ANN401 (pygame is loaded late)
        import pygame

        self._pygame, self._surface = pygame, surface
        self.unit = min(box.w / 2.0, box.h / 1.75)
        self._x, self._y = box.x + box.w / 2, box.y + box.h / 2
        self.thick = max(round(0.035 * self.unit), 2)

    def at(self, point: Point) -> tuple[int, int]:
        """Return the pixel of a point."""
        return round(self._x + self.unit * point[0]), round(self._y + self.unit * point[1])

    def line(
        self, points: Sequence[Point], colour: palette.Colour = palette.TEXT, *, wide: float = 1.0
    ) -> None:
        """Draw a line through all points."""
        thick = max(round(wide * self.thick), 1)
        self._pygame.draw.lines(self._surface, colour, False, [self.at(p) for p in points], thick)

    def ring(
        self,
        middle: Point,
        radius: float,
        colour: palette.Colour = palette.TEXT,
        *,
        full: bool = False,
    ) -> None:
        """Draw a circle, or a full disc."""
        thick = 0 if full else self.thick
        size = max(radius * self.unit, 2)
        self._pygame.draw.circle(self._surface, colour, self.at(middle), size, thick)

    def shape(self, points: Sequence[Point], colour: palette.Colour = palette.TEXT) -> None:
        """Draw a full polygon."""
        self._pygame.draw.polygon(self._surface, colour, [self.at(p) for p in points])

    def arrow(self, start: Point, end: Point) -> None:
        """Draw what to do."""
        dx, dy = end[0] - start[0], end[1] - start[1]
        long = math.hypot(dx, dy) or 1.0
        ux, uy = dx / long, dy / long
        neck = (end[0] - 0.2 * ux, end[1] - 0.2 * uy)
        self.line((start, neck), palette.TARGET, wide=1.6)
        sides = [(neck[0] - 0.12 * s * uy, neck[1] + 0.12 * s * ux) for s in (1, -1)]
        self.shape((end, *sides), palette.TARGET)

    def dashes(self, start: Point, end: Point, colour: palette.Colour = palette.LINE) -> None:
        """Draw a broken line."""
        for n in range(0, 12, 2):
            a, b = n / 11, (n + 1) / 11
            ends = [
                (start[0] + (end[0] - start[0]) * s, start[1] + (end[1] - start[1]) * s)
                for s in (a, b)
            ]
            self.line(ends, colour, wide=0.6)

    def player(self, foot: Point, tall: float, *, colour: palette.Colour = palette.TEXT) -> None:
        """Draw a player from the front, standing on ``foot``."""
        x, y = foot
        hip, chest, head = (y - share * tall for share in (0.5, 0.8, 0.9))
        self.ring((x, head), 0.085 * tall, colour, full=True)
        self.line(((x, chest), (x, hip)), colour)
        for side in (-1, 1):
            self.line(((x, hip), (x + side * 0.13 * tall, y)), colour)
            self.line(((x, chest), (x + side * 0.15 * tall, y - 0.62 * tall)), colour)
            self.line(((x + side * 0.15 * tall, y - 0.62 * tall), (x, y - 0.47 * tall)), colour)

    def camera(self, middle: Point, tip_deg: float = 0.0) -> None:
        """Draw a camera from the side, looking to the right; tipped down by ``tip_deg``."""
        angle = math.radians(tip_deg)
        cos, sin = math.cos(angle), math.sin(angle)

        def turned(x: float, y: float) -> Point:
            return middle[0] + cos * x - sin * y, middle[1] + sin * x + cos * y

        self.shape([turned(*p) for p in ((-0.2, -0.12), (0.08, -0.12), (0.08, 0.12), (-0.2, 0.12))])
        self.shape([turned(*p) for p in ((0.08, 0.0), (0.2, -0.1), (0.2, 0.1))])

    def stand(self, camera: Point, floor: float) -> None:
        """Draw what the camera stands on."""
        x, y = camera[0] - 0.06, camera[1] + 0.12
        for foot in (x - 0.16, x, x + 0.16):
            self.line(((x, y), (foot, floor)), palette.LINE)

    def frame(self, turned_deg: float = 0.0) -> None:
        """Draw the picture's edge."""
        angle = math.radians(turned_deg)
        cos, sin = math.cos(angle), math.sin(angle)
        corners = [(-0.9, -0.6), (0.9, -0.6), (0.9, 0.6), (-0.9, 0.6), (-0.9, -0.6)]
        self.line([(cos * x - sin * y, sin * x + cos * y) for x, y in corners], palette.LINE)


FLOOR: Final = 0.75


def draw_figure(
    surface: Any,  # noqa: ANN401
    box: Box,
    stage: Stage,
    finding: Finding | None,
    handed: Handed,
) -> None:
    """Draw the figure of a finding, or of where things stand."""
    sketch = Sketch(surface, box)
    if stage is Stage.READY:
        sketch.ring((0.0, 0.0), 0.8, palette.REACHED)
        sketch.line(((-0.38, 0.02), (-0.1, 0.32), (0.42, -0.32)), palette.REACHED, wide=3.0)
    elif finding is not None:
        _FIGURES[finding.check](sketch, finding, handed)
    else:
        sketch.frame()
        if stage is Stage.NOBODY:
            sketch.player((0.0, 0.5), 0.95, colour=palette.LINE)
            sketch.arrow((-0.85, 0.75), (-0.15, 0.75))
        else:
            sketch.player((0.0, 0.5), 0.95)


def _distance(sketch: Sketch, finding: Finding, handed: Handed) -> None:
    near = finding.check is Check.NEAR
    camera = (-0.35, 0.0) if near else (-0.7, 0.0)
    sketch.line(((-0.95, FLOOR), (0.95, FLOOR)), palette.LINE)
    sketch.camera(camera)
    sketch.stand(camera, FLOOR)
    sketch.player((0.6, FLOOR), 1.25)
    if near:
        sketch.arrow((-0.35, -0.4), (-0.95, -0.4))
    else:
        sketch.arrow((-0.7, -0.4), (0.1, -0.4))


def _cut(sketch: Sketch, finding: Finding, handed: Handed) -> None:
    feet = finding.check is Check.FEET
    sketch.frame()
    sketch.player((0.0, 0.85 if feet else 0.45), 1.25)
    edge = 0.6 if feet else -0.6
    sketch.line(((-0.35, edge), (0.35, edge)), palette.WARNING, wide=2.0)
    sketch.arrow((0.62, 0.2 if feet else -0.2), (0.62, 0.85 if feet else -0.85))


def _hands(sketch: Sketch, finding: Finding, handed: Handed) -> None:
    trail = 1 if handed is Handed.RIGHT else -1
    side = finding.value < 0
    x, y, tall = (0.42 * trail, 0.5, 0.95) if side else (0.0, 0.45, 1.15)
    sketch.frame()
    sketch.ring((x, y - 0.9 * tall), 0.085 * tall, full=True)
    sketch.line(((x, y - 0.8 * tall), (x, y - 0.5 * tall)))
    for foot in (-1, 1):
        sketch.line(((x, y - 0.5 * tall), (x + foot * 0.13 * tall, y)))
    chest = (x, y - 0.75 * tall)
    hands = (1.0 * trail, chest[1] - 0.12) if side else (0.3 * trail, -0.75)
    sketch.line((chest, hands))
    sketch.ring(hands, 0.08, palette.WARNING, full=True)
    if side and finding.aside:
        sketch.arrow((x, 0.75), (x - 0.75 * trail, 0.75))
    elif side:
        _distance_arrow(sketch)
    else:
        sketch.arrow((-0.62 * trail, -0.2), (-0.62 * trail, -0.85))


def _distance_arrow(sketch: Sketch) -> None:
    """Draw the picture's edges going outward: what going back does."""
    for way in (-1, 1):
        sketch.arrow((way * 0.5, 0.75), (way * 0.98, 0.75))


def _roll(sketch: Sketch, finding: Finding, handed: Handed) -> None:
    low = -1 if finding.value > 0 else 1  # the low end, as in a mirror
    angle = math.radians(14.0 * low)
    cos, sin = math.cos(angle), math.sin(angle)

    def turned(x: float, y: float) -> Point:
        return cos * x - sin * y, sin * x + cos * y

    sketch.dashes((-0.95, 0.0), (0.95, 0.0))
    corners = ((-0.6, -0.3), (0.6, -0.3), (0.6, 0.3), (-0.6, 0.3), (-0.6, -0.3))
    sketch.line([turned(*corner) for corner in corners])
    sketch.ring((0.0, 0.0), 0.16)
    sketch.ring((0.0, 0.0), 0.06, full=True)
    sketch.arrow((low * 0.82, 0.55), (low * 0.82, -0.15))


def _pitch(sketch: Sketch, finding: Finding, handed: Handed) -> None:
    down = finding.value > 0
    camera = (-0.6, -0.15 if down else 0.15)
    sketch.line(((-0.95, FLOOR), (0.95, FLOOR)), palette.LINE)
    sketch.stand(camera, FLOOR)
    sketch.camera(camera, 20.0 if down else -20.0)
    sketch.player((0.65, FLOOR), 1.2)
    end = camera[1] + (0.4 if down else -0.4)
    sketch.dashes((-0.38, camera[1] + (0.08 if down else -0.08)), (0.5, end), palette.WARNING)
    sketch.dashes((-0.38, camera[1]), (0.5, camera[1]))
    sketch.arrow((0.15, end), (0.15, camera[1] - (0.05 if down else -0.05)))


def draw_rests_on(surface: Any, box: Box, *, by_rod: bool) -> None:  # noqa: ANN401
    """Draw two shoes from above, with a rod before them where it is a rod that tells."""
    sketch = Sketch(surface, box)
    colour = palette.LINE if by_rod else palette.TEXT
    for foot in (-0.45, 0.45):
        sketch.shape([(foot - 0.2, -0.75), (foot + 0.2, -0.75), (foot + 0.16, 0.25),
                      (foot - 0.16, 0.25)], colour)  # fmt: skip
    if by_rod:
        sketch.line(((-1.0, 0.6), (1.0, 0.6)), palette.TARGET, wide=3.0)


def _yaw(sketch: Sketch, finding: Finding, handed: Handed) -> None:
    side = -1 if finding.value > 0 else 1
    sketch.line(((-0.95, -0.55), (0.95, -0.55)), palette.LINE)
    target = -0.95 if handed is Handed.RIGHT else 0.95  # the player's left is left in a mirror
    sketch.ring((target * 0.97, -0.55), 0.07, palette.LINE, full=True)
    for foot in (-0.16, 0.16):
        sketch.shape([(foot - 0.06, -0.5), (foot + 0.06, -0.5), (foot + 0.05, -0.25),
                      (foot - 0.05, -0.25)])  # fmt: skip
    sketch.ring((0.0, -0.6), 0.13, full=True)
    sketch.dashes((0.0, -0.2), (0.0, 0.85))
    x = 0.6 * side
    sketch.line(((x - 0.14, 0.62), (x + 0.14, 0.62), (x + 0.14, 0.85), (x - 0.14, 0.85),
                 (x - 0.14, 0.62)))  # fmt: skip
    sketch.dashes((x, 0.6), (0.1 * side, -0.2), palette.WARNING)
    sketch.arrow((x - 0.2 * side, 0.74), (0.0, 0.74))


def _light(sketch: Sketch, finding: Finding, handed: Handed) -> None:
    behind = finding.check is Check.BACKLIT
    sketch.line(((-0.95, FLOOR), (0.95, FLOOR)), palette.LINE)
    sketch.camera((-0.6, 0.15))
    sketch.stand((-0.6, 0.15), FLOOR)
    sketch.player((0.35, FLOOR), 1.1)
    if behind:
        _sun(sketch, (0.78, -0.55), palette.WARNING)
        sketch.arrow((0.5, -0.65), (-0.5, -0.65))
    else:
        _sun(sketch, (-0.65, -0.5), palette.TARGET)
        sketch.arrow((-0.42, -0.4), (0.1, -0.1))


def _sun(sketch: Sketch, middle: Point, colour: palette.Colour) -> None:
    sketch.ring(middle, 0.11, colour, full=True)
    for n in range(8):
        angle = n * math.pi / 4
        ray = [(middle[0] + r * math.cos(angle), middle[1] + r * math.sin(angle))
               for r in (0.15, 0.22)]  # fmt: skip
        sketch.line(ray, colour)


def _pictures(sketch: Sketch, finding: Finding, handed: Handed) -> None:
    smear = finding.check is Check.SMEAR
    chest, way = (-0.1, 0.1), 1 if handed is Handed.RIGHT else -1
    ends = []
    for n in range(5 if smear else 3):
        angle = math.radians(-10 - n * (11 if smear else 45))
        ends.append((chest[0] + way * 0.8 * math.cos(angle), chest[1] + 0.8 * math.sin(angle)))
    for n, end in enumerate(ends):
        colour = palette.WARNING if smear and n < len(ends) - 1 else palette.TEXT
        sketch.line((chest, end), colour, wide=0.7)
        sketch.ring(end, 0.09, colour, full=True)
    if not smear:
        for n in range(len(ends) - 1):
            sketch.dashes(ends[n], ends[n + 1], palette.WARNING)
    _sun(sketch, (-0.65 * way, -0.6), palette.TARGET)


_FIGURES: Final[dict[Check, Callable[[Sketch, Finding, Handed], None]]] = {
    Check.NEAR: _distance,
    Check.FAR: _distance,
    Check.FEET: _cut,
    Check.HEAD: _cut,
    Check.HANDS: _hands,
    Check.BACKLIT: _light,
    Check.DARK: _light,
    Check.ROLL: _roll,
    Check.PITCH: _pitch,
    Check.YAW: _yaw,
    Check.PACE: _pictures,
    Check.SMEAR: _pictures,
}
