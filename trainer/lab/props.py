"""The club, the shoes' surface and the room's textures, as arrays. cv2 and vtk come on use."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.lab.clothes import Colour
from trainer.lab.on_floor import Mat, Rod

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Image = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """The place and its light. Colours are sRGB 0..255."""

    wall: Colour = (196, 190, 178)
    floor: Colour = (150, 112, 78)
    floor_kind: str = "boards"  #: "boards", "carpet", "turf" or "tiles"
    wall_kind: str = "plain"  #: "plain", "panels" or "net"
    wall_m: float = 1.7  #: wall behind the player
    light_from: tuple[float, float, float] = (-1.6, 3.0, 2.4)
    key: float = 0.72  #: strength of the main light
    fill: float = 0.38  #: strength of the light from the camera's side
    ambient: float = 0.22
    shadow: float = 0.45  #: darkness of the shadow on the floor, 0..1
    furniture: bool = True
    seed: int = 0  #: of the textures
    place: str = "room"  #: "room", or one of trainer.lab.places.PLACES
    style: str = "soft"  #: how surfaces are shaded, one of trainer.lab.places.STYLES
    key_warm: tuple[float, float, float] = (1.0, 0.97, 0.92)  #: colour of the main light
    fill_warm: tuple[float, float, float] = (0.92, 0.96, 1.0)
    weave: float = 0.0  #: strength of the speckle on every cloth
    loose: bool = True  #: whether chance may lay mats, rods and balls about
    lying: tuple[Rod | Mat, ...] = ()  #: what lies there beside them


def floor_texture(room: Room, rng: np.random.Generator) -> Image:
    """Return the floor (H, W, 3), its first row at the wall."""
    import cv2

    height, width = 768, 1024
    base = np.tile(np.array(room.floor, dtype=float), (height, width, 1))
    grain = rng.normal(0, 1, (height, width))
    if room.floor_kind == "boards":
        rows = np.arange(height) // 20
        shade = rng.normal(0, 9, rows.max() + 1)[rows]
        fibre = cv2.GaussianBlur(grain, (0, 0), sigmaX=14, sigmaY=0.8) * 26
        base += (shade[:, None] + fibre)[..., None]
        base[np.arange(height) % 20 == 0] *= 0.72
    elif room.floor_kind == "tiles":
        side = 30 + room.seed % 31  # of 8 mm in depth and about 10 across: 25 to 60 cm
        rows, columns = np.arange(height) // side, np.arange(width) // side
        tone = rng.normal(0, 5, (rows.max() + 1, columns.max() + 1))
        base += (tone[rows][:, columns] + cv2.GaussianBlur(grain, (0, 0), 3) * 20)[..., None]
        joint = (np.arange(height) % side == 0)[:, None] | (np.arange(width) % side == 0)[None]
        base[joint] *= 0.7 if room.seed % 2 else 1.25
    elif room.floor_kind == "turf":
        base += (cv2.GaussianBlur(grain, (0, 0), 1.0) * 26)[..., None]
        base += (cv2.GaussianBlur(grain, (0, 0), 18) * 150)[..., None]
    else:
        base += (cv2.GaussianBlur(grain, (0, 0), 1.4) * 16)[..., None]
    # darker towards the wall, as far from the lamp
    base *= (brightness(room) * np.linspace(0.86, 1.06, height))[:, None, None]
    return np.clip(base, 0, 255).astype(np.uint8)


def brightness(room: Room) -> float:
    """Return how bright floor and walls are, 1 in ordinary light."""
    return 0.4 + 0.6 * (room.key + room.fill + room.ambient) / 1.32


def wall_texture(room: Room, rng: np.random.Generator) -> Image:
    """Return the wall (H, W, 3), its first row at the floor."""
    import cv2

    height, width = 512, 1536
    base = np.tile(np.array(room.wall, dtype=float), (height, width, 1))
    blotch = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 60) * 180
    base += blotch[..., None]
    fall = np.linspace(-10, 8, height)[:, None, None]
    base += fall
    if room.wall_kind == "panels":
        columns = np.arange(width) % 120
        base[:, columns < 3] *= 0.85
        base[:, (columns >= 3) & (columns < 5)] *= 1.05
    elif room.wall_kind == "net":
        base[np.arange(height) % 9 == 0] *= 0.86
        base[:, np.arange(width) % 9 == 0] *= 0.86
    side = np.sign(room.light_from[0]) * np.linspace(-0.07, 0.07, width)
    base *= brightness(room) * (0.97 + side)[None, :, None]
    return np.clip(base, 0, 255).astype(np.uint8)


def shaft(sides: int = 10) -> tuple[Floats, Ints]:
    """Return a unit-long tube along +y, grip at the top: points and faces."""
    stations = [
        (0.0, 0.0),
        (0.0, 0.0135),
        (0.22, 0.0105),
        (0.235, 0.0062),
        (1.0, 0.0046),
        (1.0, 0.0),
    ]
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    rings = [
        np.stack([r * np.cos(angle), y + 0 * angle, r * np.sin(angle)], -1) for y, r in stations
    ]
    faces = []
    for ring in range(len(stations) - 1):
        for i in range(sides):
            a, b = ring * sides + i, ring * sides + (i + 1) % sides
            faces += [(a, b, a + sides), (b, b + sides, a + sides)]
    return np.concatenate(rings), np.array(faces)


def shaft_colours(points: Floats) -> NDArray[np.uint8]:
    """Return the colour of every point of the shaft (P, 3)."""
    grip = points[:, 1:2] < 0.23
    return np.where(grip, [28, 28, 30], [120, 124, 130]).astype(np.uint8)


def club_head(rings: int = 9, sides: int = 16) -> tuple[Floats, Ints]:
    """Return a driver head: heel at the origin, x away from the face, y up, z to the toe."""
    polar = np.linspace(0, np.pi, rings)
    around = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    p, a = np.meshgrid(polar, around, indexing="ij")
    points = np.stack(
        [-0.052 * np.sin(p) * np.cos(a), 0.031 * np.sin(p) * np.sin(a), 0.058 * np.cos(p)], axis=-1
    ).reshape(-1, 3) + np.array([-0.03, 0.0, 0.045])
    points[:, 0] = np.minimum(points[:, 0], 0.0)  # a flat face
    faces = []
    for i in range(rings - 1):
        for j in range(sides):
            m, n = i * sides + j, i * sides + (j + 1) % sides
            faces += [(m, m + sides, n), (n, m + sides, n + sides)]
    return points, np.array(faces)


def hull(points: Floats) -> tuple[Floats, Ints]:
    """Return the convex hull of points as (P, 3) and faces (F, 3), pointing outwards."""
    import vtk
    from vtk.util import numpy_support

    cloud = vtk.vtkPoints()
    cloud.SetData(numpy_support.numpy_to_vtk(np.ascontiguousarray(points), deep=True))
    data = vtk.vtkPolyData()
    data.SetPoints(cloud)
    fill = vtk.vtkDelaunay3D()
    fill.SetInputData(data)
    skin_of = vtk.vtkGeometryFilter()
    skin_of.SetInputConnection(fill.GetOutputPort())
    fine = vtk.vtkLoopSubdivisionFilter()
    clean = vtk.vtkCleanPolyData()
    clean.SetInputConnection(skin_of.GetOutputPort())
    triangles = vtk.vtkTriangleFilter()
    triangles.SetInputConnection(clean.GetOutputPort())
    fine.SetInputConnection(triangles.GetOutputPort())
    fine.SetNumberOfSubdivisions(1)
    fine.Update()
    out = fine.GetOutput()
    vertices = numpy_support.vtk_to_numpy(out.GetPoints().GetData()).astype(float)
    corners = numpy_support.vtk_to_numpy(out.GetPolys().GetConnectivityArray())
    return vertices, corners.reshape(-1, 3).astype(np.int64)
