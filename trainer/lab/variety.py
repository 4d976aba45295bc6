"""The wide draw of random people: more clothes, bodies, places, light and cameras than crowd's.

Everything is drawn from one generator, so a seed gives the same person for good. Pure numpy.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from trainer.lab.body import LimbShape
from trainer.lab.camera import Camera
from trainer.lab.cloth import PATTERNS
from trainer.lab.clothes import Colour, Outfit
from trainer.lab.figure import Stance
from trainer.lab.motion import Pose
from trainer.lab.scene import Room
from trainer.lab.video import Film

#: Picture sizes and how often each is drawn; the second is a phone held upright.
SIZES_WH: Final = ((800, 450), (450, 800), (640, 480))
_SIZE_SHARES: Final = (0.78, 0.12, 0.10)
STATURE_CM: Final = (145.0, 202.0)
DISTANCE_M: Final = (2.2, 4.0)
HEIGHT_M: Final = (0.6, 1.5)
YAW_DEG: Final = 15.0
ROLL_DEG: Final = 3.0
#: Field of view along the longer side of the picture.
VIEW_DEG: Final = (50.0, 85.0)
#: What must be in the picture, in statures from the floor under the stance: feet, knees and
#: elbows to both sides, and the hands over the head at the top.
_REACH: Final = np.array(
    [(x, y, z) for z in (-0.15, 0.2) for x in (-0.34, 0.34) for y in (0.0, 0.5, 1.12)]
)

#: Skins from light to dark; any tone between two neighbours is drawn.
_TONES: Final = (
    (242, 204, 180),
    (224, 172, 140),
    (198, 142, 108),
    (160, 108, 78),
    (112, 74, 54),
    (70, 46, 36),
)


def draw(
    rng: np.random.Generator,
) -> tuple[LimbShape, Outfit, Room, Camera, Film, Stance, Pose, int]:
    """Return body, outfit, place, camera, film, stance, address and quality of compression."""
    shape = _shape(rng)
    room = _room(rng)
    outfit = _outfit(rng, female=shape.female > 0.5)
    camera = _camera(rng, shape.stature_cm / 100)
    film = _film(rng, room)
    stance = Stance(
        width_sw=float(rng.uniform(0.9, 1.6)),
        lead_out_deg=float(rng.uniform(5, 38)),
        trail_out_deg=float(rng.uniform(0, 28)),
        club_m=float(rng.uniform(1.02, 1.18)),
        club_away_cm=float(rng.uniform(-24, -4)),
    )
    address = Pose(
        hip_tilt_deg=float(rng.uniform(10, 30)),
        trunk_bend_deg=float(rng.uniform(18, 42)),
        side_bend_deg=float(rng.uniform(-1, 12)),
        knee_flex_deg=float(rng.uniform(10, 32)),
        head_pitch_deg=float(rng.uniform(22, 50)),
        chest_pitch_deg=float(rng.uniform(-1, 9)),
        arm_lift_deg=float(rng.uniform(42, 55)),
        lead_bend_deg=float(rng.uniform(2, 14)),
    )
    quality = int(rng.integers(30, 97))
    return shape, outfit, room, camera, film, stance, address, quality


def _near(rng: np.random.Generator, sd: float, most: float) -> float:
    return float(np.clip(rng.normal(0, sd), -most, most))


def _shape(rng: np.random.Generator) -> LimbShape:
    """Return a body from slight to heavy, both sexes with all between, limbs drawn apart."""
    woman = rng.random() < 0.5
    female = float(np.clip(woman + rng.normal(0, 0.18), 0, 1))
    # Statures: men 175.6 (6.9), women 162.9 (6.4) cm, ANSUR II (Gordon et al. 2014); drawn a
    # little wider, and sometimes anywhere in the range.
    stature = rng.normal(162.9, 7.5) if woman else rng.normal(175.6, 8.0)
    if rng.random() < 0.15:
        stature = rng.uniform(*STATURE_CM)
    return LimbShape(
        stature_cm=float(np.clip(stature, *STATURE_CM)),
        female=female,
        age=float(rng.uniform(0.45, 1.0)),
        muscle=float(rng.uniform(0.15, 0.95)),
        weight=float(rng.uniform(0.15, 1.0)),
        height=float(rng.uniform(0.3, 0.7)),
        proportions=float(rng.uniform(0.1, 1.0)),
        # Shoulder breadth varies by 3.9 % beside what goes with stature (the same survey). The
        # body model's joints vary by more than that already, so only a little is added.
        arm=1.0 + _near(rng, 0.02, 0.05),
        leg=1.0 + _near(rng, 0.02, 0.05),
        shoulders=1.0 + _near(rng, 0.02, 0.05),
    )


def _colour(rng: np.random.Generator) -> Colour:
    kind = rng.random()
    if kind < 0.15:
        values = np.full(3, rng.uniform(205, 248)) + rng.normal(0, 4, 3)
    elif kind < 0.4:
        values = np.full(3, rng.uniform(12, 55)) + rng.normal(0, 8, 3)
    elif kind < 0.7:
        values = rng.uniform(20, 235) + rng.normal(0, 45, 3)
    else:  # a strong colour
        values = np.array([rng.uniform(150, 245), rng.uniform(10, 210), rng.uniform(5, 70)])
        values = rng.permutation(values)
    held = np.clip(values, 8, 248)
    return int(held[0]), int(held[1]), int(held[2])


def _mixed(first: Colour, second: Colour, share: float) -> Colour:
    values = [int(a + (b - a) * share) for a, b in zip(first, second, strict=True)]
    return values[0], values[1], values[2]


def _skin(rng: np.random.Generator) -> Colour:
    """Return a skin from light to dark, reddish to yellowish."""
    tones = np.array(_TONES, dtype=float)
    at = float(rng.uniform(0, len(tones) - 1))
    low = min(int(at), len(tones) - 2)
    tone = tones[low] + (tones[low + 1] - tones[low]) * (at - low)
    held = np.clip(tone + rng.normal(0, 6) + rng.normal(0, [5, 4, 5], 3), 25, 250)
    return int(held[0]), int(held[1]), int(held[2])


def _outfit(rng: np.random.Generator, *, female: bool) -> Outfit:
    hair = [(24, 20, 18), (58, 40, 28), (110, 76, 46), (188, 152, 98), (150, 146, 142)]
    hair += [(212, 208, 202), (120, 60, 36)]
    shirt, trousers = _colour(rng), _colour(rng)
    if rng.random() < 0.12:
        trousers = shirt
    skin = _skin(rng)
    if rng.random() < 0.04:  # cloth hardly told from skin
        shirt = _mixed(skin, shirt, 0.15)
    loose = float(rng.choice([rng.uniform(0.3, 1.0), rng.uniform(1, 3), rng.uniform(3, 5)]))
    jacket = _colour(rng) if rng.random() < 0.28 else None
    skirted = rng.random() < (0.32 if female else 0.04)
    skirt = (shirt if rng.random() < 0.35 else _colour(rng)) if skirted else None
    style = str(rng.choice(["short", "short", "long", "ponytail", "bun"])) if female else "short"
    if not female and rng.random() < 0.22:
        style = "bald" if rng.random() < 0.6 else str(rng.choice(["long", "ponytail", "bun"]))
    return Outfit(
        skin=skin,
        shirt=shirt,
        collar=shirt if rng.random() < 0.5 else _colour(rng),
        trousers=trousers,
        shoes=_colour(rng),
        hair=hair[int(rng.integers(len(hair)))],
        hat=_colour(rng) if rng.random() < 0.5 else None,
        glove=_glove(rng),
        sleeve=float(rng.choice([0.05, 0.35, 0.6, 0.75, 0.9, 1.3, 1.9])),
        shorts=bool(rng.random() < 0.3),
        loose_cm=loose,
        stripe=_colour(rng) if rng.random() < 0.15 else None,
        placket=_colour(rng) if rng.random() < 0.25 else None,
        pattern=str(rng.choice(PATTERNS[1:])) if rng.random() < 0.45 else "plain",
        pattern_colour=_colour(rng),
        legs_pattern=str(rng.choice(PATTERNS[1:])) if rng.random() < 0.15 else "plain",
        relief_cm=float(rng.uniform(0.2, 1.0)) * min(1.0, loose / 1.5),
        leg_loose=float(rng.choice([0.15, rng.uniform(0.5, 1.2), rng.uniform(1.2, 1.8)])),
        belt=_colour(rng) if rng.random() < 0.3 and skirt != shirt else None,
        skirt=skirt,
        skirt_reach=float(rng.uniform(0.5, 1.2)),
        skirt_flare=float(rng.uniform(0.01, 0.10)),
        jacket=jacket,
        jacket_cm=float(rng.uniform(3.0, 7.0)),
        jacket_open=bool(rng.random() < 0.5),
        jacket_sleeve=float(rng.choice([0.12, 1.8, 1.9])),
        hood=bool(rng.random() < 0.4),
        hair_style=style,
        hat_kind=str(rng.choice(["cap", "cap", "visor", "bucket", "back", "beanie"])),
        seed=int(rng.integers(1 << 30)),
    )


def _glove(rng: np.random.Generator) -> Colour | None:
    if rng.random() < 0.35:
        return None
    return (245, 245, 245) if rng.random() < 0.7 else _colour(rng)


def _grey(rng: np.random.Generator, low: float, high: float) -> Colour:
    held = np.clip(rng.uniform(low, high) + rng.normal(0, 18, 3), 8, 248)
    return int(held[0]), int(held[1]), int(held[2])


def _warm(rng: np.random.Generator, sd: float) -> tuple[float, float, float]:
    """Return a light's colour, from lamp yellow to sky blue, of about the same brightness."""
    shift = _near(rng, sd, 0.22)
    return (float(min(1.0, 1 + shift)), 1.0 - 0.25 * abs(shift), float(min(1.0, 1 - shift)))


def _room(rng: np.random.Generator) -> Room:
    place = str(rng.choice(["indoor", "bay", "range"], p=[0.38, 0.25, 0.37]))
    style = str(rng.choice(["soft", "flat", "glossy", "noisy"], p=[0.4, 0.2, 0.2, 0.2]))
    weave = float(rng.uniform(0.10, 0.25)) if style == "noisy" else 0.0
    if style != "noisy" and rng.random() < 0.5:
        weave = float(rng.uniform(0.0, 0.06))
    around = np.radians(rng.uniform(-180, 180))
    seed = int(rng.integers(1 << 30))
    if place == "range":
        # a sun from any side, often low; overcast days have little of it
        high, clear = np.radians(rng.uniform(10, 75)), rng.random() < 0.7
        far = 6.0 * np.cos(high)
        green = np.array([92, 128, 66]) * rng.uniform(0.55, 1.25) + rng.normal(0, 12, 3)
        if rng.random() < 0.2:  # dry grass, sand or hard ground
            green = np.array([176, 158, 112]) * rng.uniform(0.6, 1.15) + rng.normal(0, 8, 3)
        grass = np.clip(green, 8, 245)
        blue = np.array([120, 165, 225]) if clear else np.array([190, 196, 204])
        sky = np.clip(blue * rng.uniform(0.55, 1.15) + rng.normal(0, 10, 3), 10, 250)
        return Room(
            place=place,
            style=style,
            weave=weave,
            seed=seed,
            wall=(int(sky[0]), int(sky[1]), int(sky[2])),
            floor=(int(grass[0]), int(grass[1]), int(grass[2])),
            light_from=(
                float(far * np.sin(around)),
                float(6.0 * np.sin(high)),
                float(far * np.cos(around)),
            ),
            key=float(rng.uniform(0.6, 1.1) if clear else rng.uniform(0.1, 0.3)),
            fill=float(rng.uniform(0.08, 0.25)),
            ambient=float(rng.uniform(0.14, 0.3) if clear else rng.uniform(0.3, 0.5)),
            shadow=float(rng.uniform(0.4, 0.75) if clear else rng.uniform(0.05, 0.25)),
            key_warm=_warm(rng, 0.08),
            fill_warm=(0.85, 0.93, 1.0),
        )
    bay = place == "bay"
    return Room(
        place=place,
        style=style,
        weave=weave,
        seed=seed,
        wall=_grey(rng, 15, 120) if bay and rng.random() < 0.7 else _grey(rng, 60, 240),
        floor=(70, int(rng.uniform(75, 130)), 62) if bay else _grey(rng, 40, 200),
        floor_kind="turf" if bay else str(rng.choice(["boards", "carpet"])),
        wall_kind=str(rng.choice(["plain", "panels", "net"], p=[0.2, 0.3, 0.5] if bay else None)),
        wall_m=float(rng.uniform(1.2, 4.0)),
        light_from=(
            float(3 * np.sin(around)),
            float(rng.uniform(1.6, 3.5)),
            float(np.clip(3 * np.cos(around), -1.6, 3)),
        ),
        key=float(rng.uniform(0.2, 0.95)),
        fill=float(rng.uniform(0.08, 0.5)),
        ambient=float(rng.uniform(0.12, 0.35)),
        shadow=float(rng.uniform(0.1, 0.6)),
        key_warm=_warm(rng, 0.10),
        fill_warm=_warm(rng, 0.06),
    )


def _film(rng: np.random.Generator, room: Room) -> Film:
    """Return grain, blur, tones; the brightness is that of the light times a wrong exposure."""
    from_front = 0.55 + 0.45 * np.tanh(room.light_from[2])
    reach = room.key * from_front + 0.7 * room.fill + 1.3 * room.ambient
    right = np.clip(0.95 / reach, 0.75, 1.7)
    off = np.exp(rng.normal(0, 0.22))
    return Film(
        grain=float(rng.uniform(0.5, 4.0) if rng.random() < 0.75 else rng.uniform(4, 11)),
        blur_px=float(rng.uniform(0.3, 1.0) if rng.random() < 0.8 else rng.uniform(1.0, 1.7)),
        vignette=float(rng.uniform(0, 0.35)),
        gain=float(np.clip(right * off, 0.42, 1.9)),
        gamma=float(np.exp(rng.normal(0, 0.14))),
        contrast=float(np.clip(rng.normal(1.0, 0.13), 0.7, 1.3)),
        tint=(
            float(np.exp(_near(rng, 0.07, 0.18))),
            float(np.exp(_near(rng, 0.025, 0.06))),
            float(np.exp(_near(rng, 0.07, 0.18))),
        ),
        motion_px=float(rng.uniform(1.5, 5.0)) if rng.random() < 0.12 else 0.0,
        motion_deg=float(rng.uniform(0, 180)),
    )


def _camera(rng: np.random.Generator, stature_m: float) -> Camera:
    """Return a camera that has the whole player in its picture, hands at the top included."""
    size_wh = SIZES_WH[int(rng.choice(len(SIZES_WH), p=_SIZE_SHARES))]
    mixed = rng.random() < 0.5
    yaw = float(rng.uniform(-YAW_DEG, YAW_DEG)) if mixed else _near(rng, 6.0, YAW_DEG)
    roll = float(rng.uniform(-ROLL_DEG, ROLL_DEG)) if mixed else _near(rng, 1.2, ROLL_DEG)
    height = float(rng.uniform(*HEIGHT_M))
    for _ in range(400):
        view = float(rng.uniform(*VIEW_DEG))
        hfov = view
        if size_wh[1] > size_wh[0]:
            half = np.tan(np.radians(view / 2)) * size_wh[0] / size_wh[1]
            hfov = float(np.degrees(2 * np.arctan(half)))
        distance = float(rng.uniform(*DISTANCE_M))
        # Aimed about at the middle of what must be seen, a little off.
        aim = np.degrees(np.arctan2(height - 0.56 * stature_m, distance))
        camera = Camera(
            size_wh=size_wh,
            hfov_deg=hfov,
            distance_m=distance,
            height_m=height,
            yaw_deg=yaw,
            pitch_deg=float(aim + rng.normal(0, 2.0)),
            roll_deg=roll,
        )
        if has_all(camera, stature_m) and fills(camera, stature_m) > 0.46:
            break
    return camera


def has_all(camera: Camera, stature_m: float) -> bool:
    """Return whether a player of that stature is in the picture, hands at the top included."""
    pixels = camera.project(_REACH * stature_m)
    return bool(np.all((pixels > 2) & (pixels < np.array(camera.size_wh) - 2)))


def fills(camera: Camera, stature_m: float) -> float:
    """Return which share of the picture's height an upright player of that stature fills."""
    ends = camera.project(np.array([[0, 0, 0], [0, stature_m, 0]]))
    return float(np.ptp(ends[:, 1]) / camera.size_wh[1])
