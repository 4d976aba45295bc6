"""Garments and hair that hang: jackets, skirts, long hair, hats, prints and folds. Numpy only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from trainer.lab import clothes
from trainer.lab.body import Body, skull_centre
from trainer.lab.cloth import cloth_print, folds, print_place
from trainer.lab.clothes import Colour, Floats, Image, Ints, Outfit, Shell

#: What each garment is printed with and how strongly it folds.
_FOLDED: Final = {"shirt": 1.0, "jacket": 1.2, "trousers": 0.9}


@dataclass(frozen=True, slots=True, eq=False)
class Drape:
    """A surface of its own, carried by a few bones of the body."""

    points: Floats  #: (P, 3) at rest
    faces: Ints  #: (F, 3)
    bones: tuple[str, ...]  #: B names
    weights: Floats  #: (P, B), rows sum to 1
    colour: Colour
    shine: float = 0.05
    across_down: Floats | None = None  #: as in Shell
    print_of: Image | None = None

    def place(self, body: Body, turns: Floats, joints: Floats) -> Floats:
        """Return the points (P, 3) for a posed body: bones' turns (B, 3, 3) and joints (B, 3)."""
        placed = np.zeros_like(self.points)
        for column, name in enumerate(self.bones):
            bone = body.bone(name)
            moved = joints[bone] + (self.points - body.heads[bone]) @ turns[bone].T
            placed += self.weights[:, column, None] * moved
        return placed


def dress(body: Body, outfit: Outfit, weave: float = 0.0) -> tuple[list[Shell], list[Drape], Ints]:
    """Return the shells and drapes of an outfit and the body faces (F, 3) that still show.

    ``weave`` is the strength of the speckle on every cloth.
    """
    shells, bare = clothes.dress(body, outfit)
    if outfit.jacket is not None:
        # under a jacket cloth would poke through where the body folds
        gone = ("cuff",) if outfit.jacket_open else ("cuff", "shirt", "trim")
        if outfit.jacket_sleeve < outfit.sleeve:
            gone = ()
        shells = [shell for shell in shells if shell.part not in gone]
        shells.append(_jacket(body, outfit, outfit.jacket))
    drapes: list[Drape] = []
    if outfit.skirt is not None:
        drapes.append(_skirt(body, outfit, outfit.skirt))
    if outfit.hood and outfit.jacket is not None:
        drapes.append(_hood(body, outfit, outfit.jacket))
    drapes += _long_hair(body, outfit)
    drapes += _hat(body, outfit)
    rng = np.random.default_rng([outfit.seed, 17])
    shells = [_printed(body, shell, outfit, weave, rng) for shell in shells]
    return shells, [_draped(drape, outfit, weave, rng) for drape in drapes], bare


def _printed(
    body: Body, shell: Shell, outfit: Outfit, weave: float, rng: np.random.Generator
) -> Shell:
    """Return the shell with its print and folds, if it has any."""
    share = _FOLDED.get(shell.part, 0.0)
    relief_cm = outfit.relief_cm * share
    pattern = {"shirt": outfit.pattern, "trousers": outfit.legs_pattern}.get(shell.part, "plain")
    if len(shell.faces) == 0 or (pattern == "plain" and weave == 0.0 and relief_cm == 0.0):
        return shell
    if shell.part in ("glove", "hair") and weave == 0.0:
        return shell
    mix = shell.mix[:, None]
    rest = (1 - mix) * body.vertices[shell.first] + mix * body.vertices[shell.second]
    return replace(
        shell,
        relief_m=folds(rest, relief_cm / 100, rng) if relief_cm > 0 else None,
        across_down=print_place(rest),
        print_of=cloth_print(
            pattern,
            shell.colour,
            outfit.pattern_colour,
            rng,
            weave=weave,
            folds=min(0.12 * relief_cm, 0.12),
        ),
    )


def _draped(drape: Drape, outfit: Outfit, weave: float, rng: np.random.Generator) -> Drape:
    if drape.bones[0] != "root" and weave == 0.0:
        return drape
    dress_of_shirt = drape.bones[0] == "root" and drape.colour == outfit.shirt
    pattern = outfit.pattern if dress_of_shirt else outfit.legs_pattern
    pattern = pattern if drape.bones[0] == "root" else "plain"
    if pattern == "plain" and weave == 0.0:
        return drape
    return replace(
        drape,
        across_down=print_place(drape.points),
        print_of=cloth_print(pattern, drape.colour, outfit.pattern_colour, rng, weave=weave),
    )


def _jacket(body: Body, outfit: Outfit, colour: Colour) -> Shell:
    v, k = body.vertices, body.vertices[:, 1].max() / 1.78
    arms = clothes.share(body, ("upperarm", "lowerarm", "wrist", "finger", "metacarpal"))
    neck, hips = body.head_of("neck01"), body.head_of("upperleg01.L")
    sleeve = outfit.jacket_sleeve - clothes.along_arm(body) + 4.0 * np.maximum(0.9 - arms, 0.0)
    collar = neck[1] + 0.045 * k - v[:, 1] - 0.45 * (v[:, 2] - neck[2])
    hem = v[:, 1] - (hips[1] - 0.04 * k)
    field = np.minimum.reduce(
        [sleeve * 0.3, np.where(arms > 0.3, 1.0, collar), np.where(arms > 0.3, 1.0, hem)]
    )
    if outfit.jacket_open:
        front = (v[:, 2] > neck[2] + 0.005) & (arms < 0.3)
        gap = 0.055 * k + 0.12 * np.maximum(neck[1] - v[:, 1], 0) * 0.6
        field = np.where(front, np.minimum(field, np.abs(v[:, 0]) - gap), field)
    thick = outfit.jacket_cm / 100 * k
    # thin at the neck and down the arms, so that neither chin nor hands sink into it
    high = np.interp(v[:, 1], [neck[1] - 0.12 * k, neck[1] + 0.02 * k], [1.0, 0.35])
    limb = np.interp(arms, [0.3, 0.9], [1.0, 0.5]) * np.interp(
        clothes.along_arm(body) * arms, [1.2, 1.8], [1.0, 0.6]
    )
    under = outfit.loose_cm / 100 * k * np.where(arms > 0.3, 1.0, 0.9) + 0.014 * k
    out = np.maximum(thick * high * limb, under)
    return replace(
        clothes.make_shell(body, field, out, colour, smooth=7), part="jacket", shine=0.08
    )


def _skirt(body: Body, outfit: Outfit, colour: Colour) -> Drape:
    """Return a tube round hips and thighs, following the pelvis above and both thighs below."""
    v, k = body.vertices, body.vertices[:, 1].max() / 1.78
    arms = clothes.share(body, ("upperarm", "lowerarm", "wrist", "finger", "metacarpal", "hand"))
    hip, knee = body.head_of("upperleg01.L"), body.head_of("lowerleg01.L")
    whole = colour == outfit.shirt
    top = hip[1] + (0.11 if whole else 0.06) * k
    bottom = hip[1] + (knee[1] - hip[1]) * outfit.skirt_reach
    levels = np.linspace(top, bottom, 13)
    around = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ways = np.stack([np.sin(around), np.cos(around)], axis=1)
    centre = np.array([0.0, hip[2]])
    flat = v[arms < 0.2]
    rings, last = [], np.zeros(len(around))
    off = (outfit.loose_cm / 100 + 0.012) if whole else 0.016
    for level in levels:
        near = flat[np.abs(flat[:, 1] - level) < 0.025 * k][:, [0, 2]] - centre
        reach = (near @ ways.T).max(axis=0) if len(near) else last
        if level < hip[1]:
            reach = np.maximum(reach, last)
        last = reach
        rings.append(reach)
    radii = np.stack(rings)
    down = np.linspace(0, 1, len(levels))[:, None]
    pleats = 1 + 0.5 * np.sin(9 * around) * down
    radii = radii + off * k + outfit.skirt_flare * k * down * pleats
    points = np.stack(
        [
            radii * ways[:, 0],
            np.repeat(levels[:, None], len(around), axis=1),
            centre[1] + radii * ways[:, 1],
        ],
        axis=-1,
    ).reshape(-1, 3)
    below = _ease((hip[1] + 0.04 * k - points[:, 1]) / (0.13 * k))
    left = _ease(points[:, 0] / (0.2 * k) + 0.5)
    weights = np.stack([1 - below, below * left, below * (1 - left)], axis=1)
    faces = _tube(len(levels), len(around))
    return Drape(points, faces, ("root", "upperleg01.L", "upperleg01.R"), weights, colour)


def _hood(body: Body, outfit: Outfit, colour: Colour) -> Drape:
    """Return a hood lying on the shoulders: a bent roll behind the neck."""
    k = body.vertices[:, 1].max() / 1.78
    neck = body.head_of("neck01")
    along = np.linspace(-1, 1, 17)
    bend = along * np.radians(118)
    middle = np.stack(
        [
            0.105 * k * np.sin(bend),
            0.012 * k - 0.035 * k * np.abs(along) ** 2,
            -0.01 * k - 0.095 * k * np.cos(bend),
        ],
        axis=1,
    )
    thick = 0.045 * k * np.sqrt(np.maximum(1 - along**4, 0.02))
    points, faces = _roll(middle + neck, thick)
    weights = np.ones((len(points), 1))
    return Drape(points, faces, ("spine01",), weights, colour)


def _long_hair(body: Body, outfit: Outfit) -> list[Drape]:
    k, centre = body.vertices[:, 1].max() / 1.78, skull_centre(body)
    rng = np.random.default_rng([outfit.seed, 23])
    if outfit.hair_style == "bun":
        size = float(rng.uniform(0.036, 0.055)) * k
        high = float(rng.uniform(-0.02, 0.10)) * k
        along = np.linspace(-1, 1, 9)
        middle = centre + np.array([0, high, -0.115 * k + max(high, 0) * 0.35])
        line = middle + np.stack([0 * along, 0.9 * size * along, 0 * along], axis=1)
        points, faces = _roll(line, size * np.sqrt(np.maximum(1 - along**2, 0.003)))
        return [Drape(points, faces, ("head",), np.ones((len(points), 1)), outfit.hair)]
    if outfit.hair_style == "ponytail":
        along = np.linspace(0, 1, 12)
        length = float(rng.uniform(0.2, 0.36)) * k
        line = centre + np.stack(
            [
                0 * along,
                0.05 * k - length * along**1.3 + 0.03 * k * np.sin(np.pi * along),
                -0.095 * k - 0.06 * k * np.sin(np.pi * np.minimum(along * 1.4, 1) * 0.6),
            ],
            axis=1,
        )
        thick = 0.032 * k * np.sqrt(np.maximum(np.sin(np.pi * (0.12 + 0.86 * along)), 0.02))
        points, faces = _roll(line, thick)
        low = _ease(np.repeat(along, len(points) // len(along)) * 1.2 - 0.25) * 0.7
        weights = np.stack([1 - low, low], axis=1)
        return [Drape(points, faces, ("head", "spine01"), weights, outfit.hair)]
    if outfit.hair_style == "long":
        return [_curtain(body, outfit, float(rng.uniform(0.16, 0.36)) * k, k)]
    return []


def _curtain(body: Body, outfit: Outfit, length: float, k: float) -> Drape:
    """Return hair that falls from ear to ear behind the head on to the back."""
    centre = skull_centre(body)
    arms = clothes.share(body, ("upperarm", "lowerarm", "wrist", "finger", "metacarpal"))
    solid = body.vertices[(arms < 0.1) & (np.abs(body.vertices[:, 0]) < 0.12 * k)]
    levels = np.linspace(centre[1] + 0.045 * k, centre[1] - length, 12)
    around = np.linspace(-100, 100, 25)
    ways = np.stack([np.sin(np.radians(around)), -np.cos(np.radians(around))], axis=1)
    rows = []
    for level in levels:
        near = solid[np.abs(solid[:, 1] - level) < 0.02 * k][:, [0, 2]] - centre[[0, 2]]
        reach = (near @ ways.T).max(axis=0)
        rows.append(np.clip(reach, 0.075 * k, 0.13 * k) + 0.014 * k)
    radii = np.maximum.accumulate(np.stack(rows) * 0.98, axis=0)
    deep = np.linspace(0, 1, len(levels))[:, None]
    side = np.abs(np.sin(np.radians(around)))[None]
    radii = radii * (1 - 0.18 * deep * side)
    # away from the cheeks: the ends of the curtain stay behind the ears
    z = centre[2] - 0.012 * k + radii * np.minimum(ways[:, 1], 0.12)
    points = np.stack(
        [radii * ways[:, 0], np.repeat(levels[:, None], len(around), 1), z], axis=-1
    ).reshape(-1, 3)
    low = _ease(np.repeat(deep.ravel(), len(around)) * 1.5 - 0.45)
    weights = np.stack([1 - low, low], axis=1)
    faces = _sheet(len(levels), len(around))
    return Drape(points, faces, ("head", "spine01"), weights, outfit.hair)


def _hat(body: Body, outfit: Outfit) -> list[Drape]:
    """Return the brim of a hat, if it has one."""
    if outfit.hat is None or outfit.hat_kind == "beanie":
        return []
    points, faces = clothes.brim(body)
    if outfit.hat_kind == "back":
        centre = skull_centre(body)
        points = points * [1, 1, -1] + [0, 0, 2 * centre[2]]
        faces = faces[:, ::-1]
    elif outfit.hat_kind == "bucket":
        k, centre = body.vertices[:, 1].max() / 1.78, skull_centre(body)
        around = np.linspace(0, 2 * np.pi, 32, endpoint=False)
        out = np.linspace(0, 1, 4)[:, None]
        points = np.stack(
            [
                (0.088 + 0.055 * out) * k * np.sin(around),
                centre[1] + (0.052 - 0.034 * out) * k + 0 * around,
                centre[2] + (0.108 + 0.055 * out) * k * np.cos(around),
            ],
            axis=-1,
        ).reshape(-1, 3)
        faces = _tube(4, 32)
    return [Drape(points, faces, ("head",), np.ones((len(points), 1)), outfit.hat)]


def _ease(value: Floats) -> Floats:
    """Return a smooth step from 0 at 0 to 1 at 1."""
    held = np.clip(value, 0, 1)
    return held * held * (3 - 2 * held)


def _sheet(rows: int, columns: int) -> Ints:
    """Return the faces of a grid of points, row after row."""
    first = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    a, b, c, d = first, first + 1, first + columns, first + columns + 1
    return np.concatenate([np.stack([a, c, b], 1), np.stack([b, c, d], 1)]).astype(np.int64)


def _tube(rings: int, sides: int) -> Ints:
    """Return the faces of rings of points, the first on top, seen from outside."""
    down, across = np.meshgrid(np.arange(rings - 1), np.arange(sides), indexing="ij")
    a, b = down * sides + across, down * sides + (across + 1) % sides
    c, d = a + sides, b + sides
    faces = np.concatenate([np.stack([a, c, b], -1), np.stack([b, c, d], -1)])
    return faces.reshape(-1, 3).astype(np.int64)


def _roll(line: Floats, thick: Floats, sides: int = 12) -> tuple[Floats, Ints]:
    """Return a tube of varying thickness (L,) along a line (L, 3): points and faces."""
    way = np.gradient(line, axis=0)
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    up = np.array([0.0, 0.0, 1.0]) if abs(way[0, 1]) > 0.7 else np.array([0.0, 1.0, 0.0])
    first = np.cross(way, up)
    first /= np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-9)
    second = np.cross(first, way)
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    ring = np.cos(angle)[:, None] * first[:, None] + np.sin(angle)[:, None] * second[:, None]
    points = (line[:, None] + thick[:, None, None] * ring).reshape(-1, 3)
    return points, _tube(len(line), sides)
