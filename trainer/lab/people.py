"""Random players, rooms and cameras. Pure numpy; the same generator gives the same player."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.lab.body import BodyShape
from trainer.lab.camera import Camera
from trainer.lab.clothes import Colour, Outfit
from trainer.lab.figure import Stance
from trainer.lab.scene import Room
from trainer.lab.video import Film

#: Skin tones from light to dark, chosen by eye.
SKIN: tuple[Colour, ...] = (
    (240, 200, 174),
    (228, 180, 148),
    (205, 152, 118),
    (172, 120, 88),
    (132, 88, 62),
    (92, 60, 44),
)
HAIR: tuple[Colour, ...] = (
    (24, 20, 18),
    (58, 40, 28),
    (104, 70, 42),
    (168, 132, 82),
    (128, 124, 120),
    (206, 204, 200),
)
CLOTH: tuple[Colour, ...] = (
    (232, 232, 228),
    (44, 46, 52),
    (40, 84, 140),
    (166, 52, 56),
    (54, 112, 84),
    (212, 176, 72),
    (126, 164, 196),
    (214, 140, 128),
    (92, 74, 120),
    (150, 152, 156),
)
LEGS: tuple[Colour, ...] = (
    (46, 48, 56),
    (176, 164, 140),
    (40, 48, 78),
    (110, 112, 116),
    (220, 218, 210),
    (84, 72, 58),
)
WALLS: tuple[Colour, ...] = (
    (196, 190, 178),
    (126, 146, 150),
    (214, 214, 216),
    (150, 160, 150),
    (94, 100, 112),
    (206, 184, 150),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """A player, where they stand and what films them."""

    handed: str
    shape: BodyShape
    outfit: Outfit
    room: Room
    camera: Camera
    film: Film
    stance: Stance


def random_person(rng: np.random.Generator) -> Person:
    """Draw an adult player, an outfit, a room and a camera, each independent of the others."""
    female = float(rng.choice([rng.uniform(0, 0.12), rng.uniform(0.88, 1.0)]))
    tall = rng.normal(164 if female > 0.5 else 177, 6.5)
    shape = BodyShape(
        stature_cm=round(float(np.clip(tall, 150, 198)), 1),
        female=female,
        age=float(rng.uniform(0.66, 0.98)),
        muscle=float(rng.uniform(0.35, 0.75)),
        weight=float(rng.uniform(0.35, 0.8)),
        height=float(rng.uniform(0.4, 0.6)),
        proportions=float(rng.uniform(0.4, 0.8)),
    )
    return Person(
        handed="left" if rng.random() < 0.3 else "right",
        shape=shape,
        outfit=_outfit(rng),
        room=_room(rng),
        camera=Camera(
            hfov_deg=float(rng.uniform(62, 76)),
            distance_m=float(rng.uniform(2.9, 3.4)),
            height_m=float(rng.uniform(0.85, 1.1)),
            yaw_deg=float(rng.normal(0, 3)),
            pitch_deg=float(rng.uniform(0, 3)),
            roll_deg=float(rng.normal(0, 0.7)),
        ),
        film=Film(
            grain=float(rng.uniform(1.5, 5.0)),
            blur_px=float(rng.uniform(0.5, 1.1)),
            gain=float(rng.uniform(0.7, 1.1)),
            vignette=float(rng.uniform(0.0, 0.25)),
        ),
        stance=Stance(
            width_sw=float(rng.uniform(1.1, 1.45)),
            lead_out_deg=float(rng.uniform(10, 32)),
            trail_out_deg=float(rng.uniform(0, 20)),
        ),
    )


def _pick(rng: np.random.Generator, colours: tuple[Colour, ...]) -> Colour:
    return colours[int(rng.integers(len(colours)))]


def _outfit(rng: np.random.Generator) -> Outfit:
    shirt = _pick(rng, CLOTH)
    return Outfit(
        skin=_pick(rng, SKIN),
        shirt=shirt,
        collar=_pick(rng, CLOTH) if rng.random() < 0.6 else shirt,
        trousers=_pick(rng, LEGS),
        shoes=_pick(rng, ((240, 240, 240), (52, 40, 34), (60, 60, 66))),
        hair=_pick(rng, HAIR),
        hat=_pick(rng, CLOTH) if rng.random() < 0.4 else None,
        glove=(245, 245, 245) if rng.random() < 0.7 else None,
        sleeve=float(rng.choice([0.6, 0.75, 0.85])),
        shorts=bool(rng.random() < 0.25),
        loose_cm=float(rng.uniform(1.4, 3.2)),
        stripe=_pick(rng, CLOTH) if rng.random() < 0.35 else None,
        placket=_pick(rng, CLOTH) if rng.random() < 0.4 else None,
    )


def _room(rng: np.random.Generator) -> Room:
    side = 1.0 if rng.random() < 0.5 else -1.0
    kind = str(rng.choice(["boards", "carpet", "turf"]))
    floors: dict[str, tuple[Colour, ...]] = {
        "boards": ((150, 112, 78), (112, 80, 56), (176, 148, 112)),
        "carpet": ((96, 100, 104), (136, 122, 110), (72, 84, 100)),
        "turf": ((84, 122, 74), (70, 104, 66)),
    }
    return Room(
        wall=_pick(rng, WALLS),
        floor=_pick(rng, floors[kind]),
        floor_kind=kind,
        wall_kind="net" if kind == "turf" else str(rng.choice(["plain", "panels"])),
        wall_m=float(rng.uniform(1.2, 2.6)),
        light_from=(side * float(rng.uniform(0.8, 2.4)), 3.0, float(rng.uniform(1.2, 2.8))),
        key=float(rng.uniform(0.5, 0.85)),
        fill=float(rng.uniform(0.2, 0.45)),
        ambient=float(rng.uniform(0.15, 0.28)),
        shadow=float(rng.uniform(0.2, 0.55)),
        furniture=kind != "turf" and bool(rng.random() < 0.7),
        seed=int(rng.integers(1_000_000)),
    )
