"""What lies on the floor about the player's feet: rods, clubs and mats. vtk is imported on use.

In the lab's world axes: x picture right, y up, z toward the camera; metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Colour = tuple[int, int, int]

#: A club that lies: the grip's length and radius, and how high its axis is at the head's end.
GRIP_M: Final = 0.26
GRIP_R_M: Final = 0.0125
HEAD_UP_M: Final = 0.022


@dataclass(frozen=True, slots=True, kw_only=True)
class Rod:
    """A straight stick on the floor, or with ``club`` a golf club."""

    middle_m: tuple[float, float]  #: (x, z)
    turn_deg: float = 0.0  #: + its picture-right end is further from the camera
    length_m: float = 1.2
    thick_m: float = 0.009
    colour: Colour = (240, 240, 235)
    club: bool = False

    def ends_m(self) -> Floats:
        """Return both ends of its axis (2, 3), the one on the picture's left first."""
        turn = np.radians(self.turn_deg)
        along = np.array([np.cos(turn), 0.0, -np.sin(turn)]) * self.length_m / 2
        middle = np.array([self.middle_m[0], 0.0, self.middle_m[1]])
        ends = np.stack([middle - along, middle + along])
        ends[:, 1] = (GRIP_R_M, HEAD_UP_M) if self.club else (self.thick_m / 2, self.thick_m / 2)
        return ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Mat:
    """A flat rectangle on the floor, with a rim and with stripes along it."""

    half_m: float  #: across, to both sides of the stance
    from_m: float  #: z of its far edge
    to_m: float  #: z of its near edge
    colour: Colour
    rim: Colour | None = None
    rim_m: float = 0.03
    stripes_m: tuple[float, ...] = ()  #: z of lines across the whole mat
    stripe_m: float = 0.02  #: how wide each is
    turn_deg: float = 0.0


def lay(renderer: Any, lying: tuple[Rod | Mat, ...], light: float) -> None:
    """Add everything that lies there to the scene."""
    for number, one in enumerate(lying):
        if isinstance(one, Mat):
            _mat(renderer, one, light, 0.0015 + 0.0004 * number)
        elif one.club:
            grip_end, head_end = one.ends_m()
            split = grip_end + (head_end - grip_end) * GRIP_M / one.length_m
            _tube(renderer, grip_end, split, GRIP_R_M, (30, 30, 32), 0.1)
            _tube(renderer, split, head_end, one.thick_m / 2, one.colour, 0.5)
            _head(renderer, head_end)
        else:
            _tube(renderer, *one.ends_m(), one.thick_m / 2, one.colour, 0.2)


def _tube(
    renderer: Any, first: Floats, last: Floats, radius: float, colour: Colour, shine: float
) -> None:
    import vtk

    line = vtk.vtkLineSource()
    line.SetPoint1(*first)
    line.SetPoint2(*last)
    tube = vtk.vtkTubeFilter()
    tube.SetInputConnection(line.GetOutputPort())
    tube.SetRadius(radius)
    tube.SetNumberOfSides(16)
    tube.CappingOn()
    _add(renderer, tube, colour, shine)


def _head(renderer: Any, end: Floats) -> None:
    import vtk

    ball = vtk.vtkSphereSource()
    ball.SetRadius(1.0)
    actor = _add(renderer, ball, (40, 40, 46), 0.4)
    actor.SetScale(0.045, 0.03, 0.055)
    actor.SetPosition(end[0], 0.03, end[2] + 0.035)


def _add(renderer: Any, source: Any, colour: Colour, shine: float) -> Any:
    import vtk

    mapper = vtk.vtkPolyDataMapper()
    mapper.SetInputConnection(source.GetOutputPort())
    actor = vtk.vtkActor()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.SetColor(*(c / 255 for c in colour))
    look.SetSpecular(shine)
    look.SetSpecularPower(20)
    renderer.AddActor(actor)
    return actor


def _mat(renderer: Any, mat: Mat, light: float, up_m: float) -> None:
    from trainer.lab.places import board

    high, wide = 512, 512
    deep = mat.to_m - mat.from_m
    rng = np.random.default_rng(round(1000 * (mat.half_m + mat.to_m)))
    image = np.tile(np.array(mat.colour, dtype=float), (high, wide, 1))
    # The first row lies furthest away; boards take the first row at the bottom, which is ``near``.
    z = mat.from_m + (np.arange(high) + 0.5) / high * deep
    x = np.abs((np.arange(wide) + 0.5) / wide * 2 - 1) * mat.half_m
    ink = mat.rim if mat.rim is not None else (230, 230, 225)
    for at in mat.stripes_m:
        image[np.abs(z - at) < mat.stripe_m / 2] = ink
    if mat.rim is not None:
        image[(z < mat.from_m + mat.rim_m) | (z > mat.to_m - mat.rim_m)] = mat.rim
        image[:, x > mat.half_m - mat.rim_m] = mat.rim
    image += rng.normal(0, 7, (high, wide))[..., None]
    turn = np.radians(mat.turn_deg)
    across = np.array([np.cos(turn), 0.0, -np.sin(turn)]) * mat.half_m
    toward = np.array([np.sin(turn), 0.0, np.cos(turn)])
    far, near = toward * mat.from_m, toward * mat.to_m
    lift = np.array([0.0, up_m, 0.0])
    texture = np.clip(image * light, 0, 255).astype(np.uint8)
    board(renderer, far - across + lift, far + across + lift, near - across + lift, texture)
