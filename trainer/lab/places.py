"""Where the player stands and how surfaces are shaded: rooms, hitting bays and ranges in VTK.

vtk and cv2 are imported on use. A place is a few painted boards and boxes that carry their own
light; the player is lit by the lamps of the scene.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.lab import on_floor, props
from trainer.lab.cloth import noise
from trainer.lab.clothes import Colour
from trainer.lab.props import Room

Floats = NDArray[np.float64]
Image = NDArray[np.uint8]

PLACES: Final = ("room", "indoor", "bay", "range")
#: "unseen" is never drawn by chance: it is kept to judge what the fit makes of other pictures.
STYLES: Final = ("soft", "flat", "glossy", "noisy", "unseen")
#: How far the scene reaches, metres.
FAR_M: Final = {"room": 20.0, "indoor": 20.0, "bay": 20.0, "range": 70.0}

_CEL = """//VTK::Light::Impl
  float lit = dot(diffuse, vec3(1.0)) / max(dot(diffuseColor, vec3(1.0)), 0.003);
  float band = lit < 0.35 ? 0.38 : (lit < 0.8 ? 0.72 : 1.05);
  fragOutput0.rgb = mix(fragOutput0.rgb, diffuseColor * band, 0.8);
"""


def shade(actor: Any, shine: float, style: str) -> None:
    """Give a surface of the player the look of that style; "soft" changes nothing."""
    look = actor.GetProperty()
    if style == "flat":
        look.SetSpecular(0.0)
        actor.GetShaderProperty().AddFragmentShaderReplacement(
            "//VTK::Light::Impl", True, _CEL, False
        )
    elif style == "glossy":
        look.SetSpecular(min(0.3 + 2.0 * shine, 0.7))
        look.SetSpecularPower(30)
    elif style == "unseen":
        look.SetInterpolationToGouraud()
        look.SetSpecular(0.0)


def toned(image: Image, style: str) -> Image:
    """Return the picture with the style's colour curve: only "unseen" has one."""
    if style != "unseen":
        return image
    import cv2

    level = np.linspace(0, 1, 256)[:, None]
    hard = level + 0.35 * (level * level * (3 - 2 * level) - level)
    table = np.clip(hard * [1.06, 1.0, 0.9] + [0.0, 0.01, 0.05], 0, 1) * 255
    drab = cv2.cvtColor(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), cv2.COLOR_GRAY2RGB)
    mixed = cv2.addWeighted(image, 0.7, drab, 0.3, 0)
    return np.asarray(cv2.LUT(mixed, np.round(table).astype(np.uint8)[None]), dtype=np.uint8)


def lamps(room: Room) -> list[tuple[tuple[float, float, float], float, tuple[float, ...]]]:
    """Return place, strength and colour of the lights."""
    if room.style == "unseen":
        x, y, z = room.light_from
        place = (x, y, max(z, 0.8))
        return [(place, 1.0, (1.0, 1.0, 1.0)), ((0.0, 1.0, 4.0), 0.12, (1.0, 1.0, 1.0))]
    return [
        (room.light_from, room.key, room.key_warm),
        ((-room.light_from[0] * 1.5, 1.6, 2.8), room.fill, room.fill_warm),
        ((0.3, 4.0, -0.6), room.ambient, (1.0, 1.0, 1.0)),
        ((0.0, -2.0, 2.0), room.ambient * 0.5, (1.0, 0.95, 0.9)),
        ((0.0, 1.2, 4.0), room.ambient, (1.0, 1.0, 1.0)),
    ]


def build(renderer: Any, room: Room, rng: np.random.Generator) -> None:
    """Put up the place round the player."""
    on_floor.lay(renderer, room.lying, props.brightness(room))
    if room.place == "room":
        wall_z = -room.wall_m
        floor = props.floor_texture(room, rng)
        board(renderer, (-5, 0, wall_z), (5, 0, wall_z), (-5, 0, 4.5), floor)
        wall = props.wall_texture(room, rng)
        board(renderer, (-5, 0, wall_z), (5, 0, wall_z), (-5, 3.2, wall_z), wall)
        if room.furniture:
            _furnish(renderer, room, rng, wall_z)
        return
    light = props.brightness(room)
    if room.place == "range":
        _range(renderer, room, rng, light)
    else:
        _inside(renderer, room, rng, light)
    if room.loose:
        _golf_things(renderer, room, rng, light)


def surface_of(texture: Image, *, repeat: bool = False, data: Any = None) -> Any:
    """Return a VTK texture of a picture (H, W, 3 or 4), its first row at the bottom."""
    import vtk
    from vtk.util import numpy_support

    if data is None:
        data = vtk.vtkImageData()
        data.SetDimensions(texture.shape[1], texture.shape[0], 1)
    array = numpy_support.numpy_to_vtk(texture.reshape(-1, texture.shape[2]), deep=True)
    data.GetPointData().SetScalars(array)
    surface = vtk.vtkTexture()
    surface.SetInputData(data)
    surface.InterpolateOn()
    surface.MipmapOn()
    if repeat:
        surface.RepeatOn()
    return surface


def board(
    renderer: Any, origin: Any, right: Any, up: Any, texture: Image, data: Any = None
) -> None:
    """Add a flat painted board, given by three of its corners."""
    import vtk

    plane = vtk.vtkPlaneSource()
    plane.SetOrigin(*origin)
    plane.SetPoint1(*right)
    plane.SetPoint2(*up)
    plane.SetResolution(1, 1)
    mapper = vtk.vtkPolyDataMapper()
    mapper.SetInputConnection(plane.GetOutputPort())
    actor = vtk.vtkActor()
    actor.SetMapper(mapper)
    actor.SetTexture(surface_of(texture, data=data))
    actor.GetProperty().SetLighting(False)  # the textures carry their own light
    if texture.shape[2] == 4:
        actor.ForceTranslucentOn()
    renderer.AddActor(actor)


def box(
    renderer: Any,
    middle: tuple[float, float, float],
    size: tuple[float, float, float],
    colour: Any,
    *,
    turn_deg: float = 0.0,
    round_m: float = 0.0,
) -> None:
    """Add a box, or with ``round_m`` a ball of that radius."""
    import vtk

    if round_m > 0:
        source = vtk.vtkSphereSource()
        source.SetRadius(round_m)
        source.SetThetaResolution(14)
        source.SetPhiResolution(10)
    else:
        source = vtk.vtkCubeSource()
        source.SetXLength(size[0])
        source.SetYLength(size[1])
        source.SetZLength(size[2])
    if turn_deg == 0.0:
        source.SetCenter(*middle)
    mapper = vtk.vtkPolyDataMapper()
    mapper.SetInputConnection(source.GetOutputPort())
    actor = vtk.vtkActor()
    actor.SetMapper(mapper)
    if turn_deg != 0.0:
        actor.SetPosition(*middle)
        actor.RotateY(turn_deg)
    actor.GetProperty().SetColor(*(c / 255 for c in colour))
    renderer.AddActor(actor)


def _furnish(renderer: Any, room: Room, rng: np.random.Generator, wall_z: float) -> None:
    side = 1 if rng.random() < 0.5 else -1
    shade_of = tuple(int(c * 0.55) for c in room.floor)
    box(renderer, (side * 1.75, 0.42, wall_z + 0.22), (1.0, 0.84, 0.4), shade_of)
    box(renderer, (side * 1.6, 0.97, wall_z + 0.2), (0.18, 0.26, 0.18), (120, 140, 120))
    box(renderer, (-side * 1.55, 1.55, wall_z + 0.015), (0.7, 0.5, 0.03), (92, 108, 122))
    box(renderer, (-side * 1.55, 1.55, wall_z + 0.02), (0.6, 0.4, 0.03), (178, 190, 186))
    skirting = tuple(min(255, c + 22) for c in room.wall)
    box(renderer, (0, 0.06, wall_z + 0.012), (9.9, 0.12, 0.024), skirting)


def _colour(rng: np.random.Generator, low: float = 10, high: float = 240) -> Colour:
    base = rng.uniform(low, high) + rng.normal(0, 40, 3)
    held = np.clip(base, 5, 250)
    return int(held[0]), int(held[1]), int(held[2])


def _painted(colour: Any, size_hw: tuple[int, int], rng: np.random.Generator, rough: float) -> Any:
    """Return a surface (H, W, 3) of floats: a colour with large and fine unevenness."""
    base = np.tile(np.array(colour, dtype=float), (*size_hw, 1))
    base += (noise(rng, size_hw, 5) * rough)[..., None]
    fine = rng.normal(0, rough * 0.7, (size_hw[0] // 2, size_hw[1] // 2))
    return base + np.kron(fine, np.ones((2, 2)))[..., None]


def _as_image(values: Any) -> Image:
    return np.clip(values, 0, 255).astype(np.uint8)


def _range(renderer: Any, room: Room, rng: np.random.Generator, light: float) -> None:
    """Grass to the horizon, sky, trees, and on some ranges a net or posts."""
    height, width = 384, 768
    sky_top, haze = np.array(room.wall, dtype=float), np.array(room.wall) * 0.35 + 150.0
    up = np.linspace(0, 1, height)[:, None, None]
    sky = np.clip(haze * (1 - up) + sky_top * up, 0, 255) * np.ones((1, width, 1))
    clouds = np.clip(noise(rng, (height, width), 6) * 0.6 + rng.uniform(-0.6, 0.4), 0, 1)
    sky += (clouds * rng.uniform(20, 70))[..., None]
    horizon = rng.uniform(0.05, 0.10)
    row = np.arange(height)[:, None] / height
    trees = noise(rng, (96, width), 6)[40] * 0.02 + noise(rng, (96, width), 16)[50] * 0.008
    if rng.random() < 0.8:
        tall = horizon + rng.uniform(0.02, 0.16) + trees
        green = np.array([50, 70, 40]) * rng.uniform(0.5, 1.5) + rng.normal(0, 10, 3)
        leaves = green + noise(rng, (height, width), 60)[..., None] * 14
        sky = np.where((row < tall)[..., None], leaves, sky)
    far = np.array(room.floor, dtype=float)
    sky = np.where((row < horizon)[..., None], far * 0.9 + 14, sky) * min(light, 1.15)
    back = _as_image(sky)
    board(renderer, (-55, -1.2, -34), (55, -1.2, -34), (-55, 30, -34), back)
    grass = _painted(room.floor, (256, 256), rng, 9)
    stripes = 1 + 0.08 * ((np.arange(256) // 32) % 2)[None, :, None]
    board(renderer, (-55, -0.02, -34), (55, -0.02, -34), (-55, -0.02, 5), _as_image(grass * light))
    near = _painted(room.floor, (512, 512), rng, 13)
    near = near * (stripes.repeat(2, axis=1) if rng.random() < 0.3 else 1.0)
    board(renderer, (-7, 0, -8), (7, 0, -8), (-7, 0, 4.5), _as_image(near * light))
    if rng.random() < 0.45:
        net = np.zeros((256, 512, 4), dtype=np.uint8)
        net[..., :3] = _colour(rng, 10, 90)
        net[..., 3] = int(rng.uniform(10, 60))
        net[::8, :, 3] = net[:, ::8, 3] = int(rng.uniform(90, 200))
        z = -float(rng.uniform(2.5, 9))
        board(renderer, (-12, 0, z), (12, 0, z), (-12, 7, z), net)
        for x in (-6.2, -1.9, 2.6, 6.8):
            box(renderer, (x, 3.5, z), (0.09, 7, 0.09), _colour(rng, 40, 200))
    for _ in range(int(rng.integers(0, 7))):
        x, z = float(rng.uniform(-9, 9)), -float(rng.uniform(3, 20))
        tall = float(rng.uniform(0.2, 1.8))
        box(renderer, (x, tall / 2, z), (rng.uniform(0.05, 1.2), tall, 0.2), _colour(rng))
    if rng.random() < 0.4:
        for side in (-1, 1):
            x = side * float(rng.uniform(1.5, 2.2))
            box(renderer, (x, 0.2, -0.2), (0.08, 0.4, 1.8), _colour(rng, 30, 220))


def _inside(renderer: Any, room: Room, rng: np.random.Generator, light: float) -> None:
    """A room with things in it, or a hitting bay with a screen and nets."""
    bay, wall_z = room.place == "bay", -room.wall_m
    floor = _as_image(_painted(room.floor, (512, 512), rng, 9 if bay else 6) * light)
    if room.floor_kind == "boards":
        rows = (np.arange(512) // 16) % 2
        floor = _as_image(floor * (1 - 0.12 * rows)[:, None, None])
    board(renderer, (-5, 0, wall_z), (5, 0, wall_z), (-5, 0, 4.5), floor)
    wall = _painted(room.wall, (256, 512), rng, 4)
    across = np.arange(512)
    if room.wall_kind == "panels":
        wall[:, across % 64 < 2] *= 0.8
    elif room.wall_kind == "net":
        wall[:, across % 6 == 0] *= 0.8
        wall[np.arange(256) % 6 == 0] *= 0.8
    elif rng.random() < 0.25:
        wall *= (1 + 0.2 * np.sin(across / rng.uniform(2, 9)))[None, :, None]  # a curtain
    wall *= light * np.linspace(rng.uniform(0.7, 1), rng.uniform(0.7, 1), 512)[None, :, None]
    board(renderer, (-5, 0, wall_z), (5, 0, wall_z), (-5, 3.4, wall_z), _as_image(wall))
    for side in (-1, 1):
        if not bay and rng.random() < 0.5:
            continue
        x = side * float(rng.uniform(2.2, 3.6))
        panel = _painted(_colour(rng, 15, 120) if bay else room.wall, (128, 128), rng, 8) * light
        if bay and side == 1:
            panel = _screen(rng)
        board(renderer, (x, 0, wall_z), (x, 0, 2.5), (x, 3.2, wall_z), _as_image(panel))
    for _ in range(int(rng.integers(0, 9))):
        _thing(renderer, rng, wall_z, light)


def _screen(rng: np.random.Generator) -> Any:
    """Return what a hitting screen shows: sky over grass, bright."""
    picture = np.zeros((128, 128, 3))
    edge = int(rng.integers(40, 70))
    picture[:edge] = np.array([70, 130, 60]) * rng.uniform(0.6, 1.4)
    picture[edge:] = np.array([150, 190, 235]) * rng.uniform(0.7, 1.05)
    return picture + (noise(rng, (128, 128), 8) * 10)[..., None]


def _thing(renderer: Any, rng: np.random.Generator, wall_z: float, light: float) -> None:
    """Hang or stand one thing at the wall behind the player."""
    x = float(rng.uniform(-3.2, 3.2))
    kind = rng.choice(["picture", "window", "cupboard", "plant", "stool", "lamp"])
    z = wall_z + 0.012
    if kind == "picture":
        wide, high, y = rng.uniform(0.25, 1.1), rng.uniform(0.25, 0.8), rng.uniform(1.2, 2.2)
        box(renderer, (x, y, z), (wide + 0.06, high + 0.06, 0.03), _colour(rng))
        canvas = _painted(_colour(rng), (32, 32), rng, 40) * min(light, 1.1)
        corners = (x - wide / 2, y - high / 2), (x + wide / 2, y + high / 2)
        _front(renderer, corners, z + 0.02, _as_image(canvas))
    elif kind == "window":
        wide, high, y = rng.uniform(0.6, 1.6), rng.uniform(0.7, 1.4), rng.uniform(1.3, 1.9)
        box(renderer, (x, y, z), (wide + 0.12, high + 0.12, 0.05), (225, 222, 215))
        pane = _painted(_colour(rng, 190, 250), (32, 32), rng, 8)
        pane[: int(rng.integers(0, 16))] *= [0.5, 0.65, 0.45]
        pane[:, 15:17] *= 0.75
        corners = (x - wide / 2, y - high / 2), (x + wide / 2, y + high / 2)
        _front(renderer, corners, z + 0.03, _as_image(pane))
    elif kind == "cupboard":
        wide, high = float(rng.uniform(0.5, 1.6)), float(rng.uniform(0.5, 2.1))
        box(renderer, (x, high / 2, wall_z + 0.2), (wide, high, 0.38), _colour(rng, 20, 200))
        box(renderer, (x, high * 0.6, wall_z + 0.395), (wide, 0.015, 0.01), _colour(rng, 20, 120))
    elif kind == "plant":
        box(renderer, (x, 0.18, wall_z + 0.3), (0.3, 0.36, 0.3), _colour(rng, 60, 200))
        for _ in range(9):
            at = rng.normal(0, 0.16, 3)
            green = (int(rng.uniform(30, 80)), int(rng.uniform(70, 140)), int(rng.uniform(25, 70)))
            spot = (x + at[0], 0.75 + 1.4 * at[1], wall_z + 0.4 + 0.3 * at[2])
            box(renderer, spot, (0, 0, 0), green, round_m=float(rng.uniform(0.06, 0.16)))
    elif kind == "stool":
        far = float(rng.uniform(0.4, max(0.5, -wall_z - 0.7)))
        side = 1.0 if x > 0 else -1.0
        at = (side * max(abs(x), 1.3), 0.25, wall_z + far)
        box(renderer, at, (0.5, 0.5, 0.5), _colour(rng, 20, 200), turn_deg=rng.uniform(0, 90))
    else:
        box(renderer, (x, 0.8, wall_z + 0.25), (0.03, 1.6, 0.03), (60, 60, 62))
        box(renderer, (x, 1.6, wall_z + 0.25), (0, 0, 0), (252, 244, 220), round_m=0.16)


def _front(renderer: Any, corners: Any, z: float, texture: Image) -> None:
    (left, low), (right, high) = corners
    board(renderer, (left, low, z), (right, low, z), (left, high, z), texture)


def _golf_things(renderer: Any, room: Room, rng: np.random.Generator, light: float) -> None:
    """Lay mats, rods and balls about the player's feet."""
    if room.place == "bay" or rng.random() < 0.4:
        half = float(rng.uniform(0.7, 1.0))
        mat = _as_image(_painted((60, 105 + rng.uniform(-25, 30), 58), (96, 96), rng, 9) * light)
        board(renderer, (-half, 0.0015, -0.8), (half, 0.0015, -0.8), (-half, 0.0015, 1.5), mat)
    for _ in range(int(rng.integers(0, 3))):
        at = (float(rng.normal(0, 0.4)), 0.006, float(rng.uniform(0.45, 1.3)))
        turn = float(rng.normal(0, 6)) + (90.0 if rng.random() < 0.3 else 0.0)
        box(renderer, at, (1.2, 0.011, 0.011), _colour(rng, 120, 255), turn_deg=turn)
    for _ in range(int(rng.integers(0, 5))):
        at = (float(rng.normal(0, 0.5)), 0.0214, float(rng.uniform(0.6, 1.4)))
        box(renderer, at, (0, 0, 0), (244, 244, 240), round_m=0.0214)
