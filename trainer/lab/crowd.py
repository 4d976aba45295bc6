"""People for the fit: random bodies, clothes, places, cameras and single poses from a seed.

Two kinds of pose. "natural" ones lie on a backswing, where tilt, hips and arms go with the
turn. "free" ones have every degree of freedom drawn on its own, so that nothing but the
shoulders themselves tells how far they have turned. Pure numpy: nothing is drawn here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.lab import variety
from trainer.lab.body import BodyShape
from trainer.lab.camera import Camera
from trainer.lab.clothes import Outfit
from trainer.lab.figure import Stance
from trainer.lab.motion import DOFS, Pose, Swing
from trainer.lab.scene import Room
from trainer.lab.video import Film

Floats = NDArray[np.float64]
#: The tracker looks at a crop of 256 by 256; a player half the height of this fills that.
SIZE_WH = (800, 450)

_SKINS = (
    (238, 196, 168),
    (224, 172, 140),
    (198, 142, 108),
    (160, 108, 78),
    (112, 74, 54),
    (78, 52, 40),
)
_HAIRS = (
    (28, 22, 20),
    (60, 40, 28),
    (112, 78, 48),
    (186, 150, 96),
    (150, 146, 142),
    (210, 206, 200),
)


#: The body model's arms are short beside the survey's (ANSUR II, tests/outside): from this seed
#: on they are made as long. The people before keep the arms they were filmed with.
SURVEYED_FROM = 20_200
_ARMS_MEN, _ARMS_WOMEN = 1.07, 1.11


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitter:
    """One random player in one random place."""

    seed: int
    handed: str
    shape: BodyShape
    outfit: Outfit
    room: Room
    camera: Camera
    film: Film
    stance: Stance
    address: Pose
    jpeg: int  #: quality of the compression the picture went through


def is_wide(seed: int) -> bool:
    """Return whether that seed draws from the wide variety (see trainer.lab.variety)."""
    return 20_000 <= seed < 100_000 or seed >= 300_000


def sitter(seed: int, *, unseen_style: bool = False) -> Sitter:
    """Return the player of that seed; the same seed gives the same one.

    ``unseen_style`` shades the same player in the same place in a way that no seed draws, to see
    what a fit makes of pictures unlike those it was fitted on.
    """
    one = _wide(seed) if is_wide(seed) else _narrow(seed)
    if unseen_style:
        one = replace(one, room=replace(one.room, style="unseen"))
    return one


def _wide(seed: int) -> Sitter:
    rng = np.random.default_rng([seed, 74])
    handed = "left" if rng.random() < 0.5 else "right"
    shape, outfit, room, camera, film, stance, address, jpeg = variety.draw(rng)
    if seed >= SURVEYED_FROM:
        longer = _ARMS_WOMEN if shape.female >= 0.5 else _ARMS_MEN
        shape = replace(shape, arm=shape.arm * longer)
    return Sitter(
        seed=seed,
        handed=handed,
        shape=shape,
        outfit=outfit,
        room=room,
        camera=camera,
        film=film,
        stance=stance,
        address=address,
        jpeg=jpeg,
    )


def _narrow(seed: int) -> Sitter:
    rng = np.random.default_rng([seed, 71])
    female = float(rng.random() < 0.5)
    # Statures: men 175.6 (6.9), women 162.9 (6.4) cm, ANSUR II (Gordon et al. 2014).
    stature = rng.normal(162.9, 6.4) if female else rng.normal(175.6, 6.9)
    shape = BodyShape(
        stature_cm=float(np.clip(stature, 148, 196)),
        female=float(np.clip(female + rng.normal(0, 0.12), 0, 1)),
        age=float(rng.uniform(0.5, 1.0)),
        muscle=float(rng.uniform(0.3, 0.8)),
        weight=float(rng.uniform(0.3, 0.85)),
        height=float(rng.uniform(0.4, 0.6)),
        proportions=float(rng.uniform(0.3, 0.9)),
    )
    return Sitter(
        seed=seed,
        handed="left" if rng.random() < 0.5 else "right",
        shape=shape,
        outfit=_outfit(rng),
        room=_room(rng),
        camera=_camera(rng),
        film=Film(
            grain=float(rng.uniform(0.5, 6.0)),
            blur_px=float(rng.uniform(0.3, 1.1)),
            vignette=float(rng.uniform(0, 0.3)),
            gain=float(rng.uniform(0.55, 1.2)),
        ),
        stance=Stance(
            width_sw=float(rng.uniform(1.0, 1.5)),
            lead_out_deg=float(rng.uniform(10, 35)),
            trail_out_deg=float(rng.uniform(0, 25)),
            club_m=float(rng.uniform(1.05, 1.16)),
            club_away_cm=float(rng.uniform(-22, -6)),
        ),
        address=Pose(
            hip_tilt_deg=float(rng.uniform(12, 28)),
            trunk_bend_deg=float(rng.uniform(20, 40)),
            side_bend_deg=float(rng.uniform(0, 10)),
            knee_flex_deg=float(rng.uniform(12, 30)),
            head_pitch_deg=float(rng.uniform(25, 48)),
            chest_pitch_deg=float(rng.uniform(0, 8)),
            arm_lift_deg=float(rng.uniform(44, 54)),
            lead_bend_deg=float(rng.uniform(2, 12)),
        ),
        jpeg=int(rng.integers(45, 96)),
    )


def _outfit(rng: np.random.Generator) -> Outfit:
    def colour() -> tuple[int, int, int]:
        base = rng.uniform(20, 235) if rng.random() < 0.5 else rng.uniform(10, 60)
        values = np.clip(base + rng.normal(0, 45, 3), 8, 245)
        return int(values[0]), int(values[1]), int(values[2])

    shirt = colour()
    return Outfit(
        skin=_SKINS[rng.integers(len(_SKINS))],
        shirt=shirt,
        collar=shirt if rng.random() < 0.5 else colour(),
        trousers=colour(),
        shoes=colour(),
        hair=_HAIRS[rng.integers(len(_HAIRS))],
        hat=colour() if rng.random() < 0.5 else None,
        glove=(245, 245, 245) if rng.random() < 0.7 else None,
        sleeve=float(rng.choice([0.35, 0.6, 0.75, 0.9, 1.9])),
        shorts=bool(rng.random() < 0.3),
        loose_cm=float(rng.uniform(0.8, 4.5)),
    )


def _room(rng: np.random.Generator) -> Room:
    """Return a random room or bay, from bright to gloomy, lit from anywhere in front or above."""

    def grey(low: float, high: float) -> tuple[int, int, int]:
        values = np.clip(rng.uniform(low, high) + rng.normal(0, 18, 3), 10, 245)
        return int(values[0]), int(values[1]), int(values[2])

    return Room(
        wall=grey(50, 230),
        floor=grey(40, 190),
        floor_kind=str(rng.choice(["boards", "carpet", "turf"])),
        wall_kind=str(rng.choice(["plain", "panels", "net"])),
        wall_m=float(rng.uniform(1.3, 3.5)),
        light_from=(
            float(rng.uniform(-3, 3)),
            float(rng.uniform(2.2, 3.5)),
            float(rng.uniform(-0.5, 3.5)),
        ),
        key=float(rng.uniform(0.2, 0.95)),
        fill=float(rng.uniform(0.1, 0.5)),
        ambient=float(rng.uniform(0.12, 0.35)),
        shadow=float(rng.uniform(0.1, 0.6)),
        furniture=bool(rng.random() < 0.6),
        seed=int(rng.integers(1 << 30)),
    )


def _camera(rng: np.random.Generator, size_wh: tuple[int, int] = SIZE_WH) -> Camera:
    """Return a camera that has the whole player in its picture, hands at the top included.

    Distance 2.2 to 4 m as far as the lens allows: 2.25 to 3.2 m of height are seen.
    """
    hfov = float(rng.uniform(58, 85))
    up = np.tan(np.radians(hfov / 2)) * size_wh[1] / size_wh[0]
    nearest = max(2.2, 2.25 / (2 * up))
    farthest = min(4.0, 3.2 / (2 * up))
    distance = float(rng.uniform(nearest, max(nearest + 0.1, farthest)))
    height = float(rng.uniform(0.6, 1.5))
    # Aimed about at the middle of what must be seen, a little off.
    aim = np.degrees(np.arctan2(height - 0.98, distance))
    return Camera(
        size_wh=size_wh,
        hfov_deg=hfov,
        distance_m=distance,
        height_m=height,
        yaw_deg=float(np.clip(rng.normal(0, 6), -15, 15)),
        pitch_deg=float(aim + rng.normal(0, 0.7)),
        roll_deg=float(np.clip(rng.normal(0, 1.2), -3, 3)),
    )


def random_swing(rng: np.random.Generator) -> Swing:
    """Return a random backswing: turns and drifts free of each other."""
    turn = float(rng.uniform(35, 117))
    return Swing(
        shoulder_turn_deg=turn,
        hip_turn_deg=float(np.clip(0.46 * turn + rng.normal(0, 10), 5, 70)),
        head_drift_cm=float(rng.normal(2.0, 4.0)),
        head_rise_cm=float(rng.normal(0, 2.0)),
        hip_drift_cm=float(rng.normal(0.5, 4.0)),
        early_hip_drift_cm=float(rng.choice([0.0, 0.0, 2.0, 4.0])),
        head_turn_deg=float(rng.uniform(0, 30)),
        chest_pitch_deg=float(rng.uniform(-8, 14)),
        arm_lift_deg=float(rng.uniform(85, 132)),
        arm_across_deg=float(rng.uniform(38, 66)),
        lead_bend_deg=float(rng.uniform(3, 40)),
        cock_deg=float(rng.uniform(45, 95)),
        backswing_s=1.0,
        hold_s=0.2,
    )


def free_poses(one: Sitter, count: int, rng: np.random.Generator) -> dict[str, Floats]:
    """Return degrees of freedom of ``count`` poses in which each is drawn on its own."""
    rows: list[dict[str, float]] = []
    start = one.address
    for _ in range(count):
        turn = float(rng.uniform(-15, 115))
        away = float(rng.random())  # how far the arms are on their way, whatever the turn
        row = {name: float(getattr(start, name)) for name in DOFS}
        lag = float(rng.uniform(-30, 70))
        row.update(
            shoulder_turn_deg=turn,
            thorax_turn_deg=turn - 6.0,
            hip_turn_deg=float(np.clip(turn - lag, -20, 60)),
            hip_drift_cm=float(rng.normal(0, 5)),
            hip_tilt_deg=start.hip_tilt_deg + float(rng.normal(0, 6)),
            knee_flex_deg=float(np.clip(start.knee_flex_deg + rng.normal(0, 6), 5, 45)),
            trunk_bend_deg=float(np.clip(start.trunk_bend_deg + rng.normal(0, 9), 0, 55)),
            chest_pitch_deg=float(rng.uniform(-10, 16)),
            head_drift_cm=float(rng.normal(1, 7)),
            head_rise_cm=float(rng.normal(0, 4)),
            head_turn_deg=float(rng.normal(8, 18)),
            head_pitch_deg=start.head_pitch_deg + float(rng.normal(0, 8)),
            lead_protract_deg=float(rng.uniform(0, 26)),
            trail_protract_deg=float(rng.uniform(-14, 16)),
            lead_raise_deg=float(rng.uniform(-6, 8)),
            trail_raise_deg=float(rng.uniform(-8, 12)),
            arm_lift_deg=_between(start.arm_lift_deg, 122.0, away) + float(rng.normal(0, 8)),
            arm_across_deg=_between(start.arm_across_deg, 56.0, away) + float(rng.normal(0, 8)),
            lead_bend_deg=float(np.clip(rng.normal(12, 14), 0, 70)),
            forearm_roll_deg=_between(0.0, 72.0, away) + float(rng.normal(0, 15)),
            elbow_drop_deg=_between(0.0, 70.0, away),
            cock_deg=float(np.clip(_between(0.0, 72.0, away) + rng.normal(0, 15), 0, 100)),
            flat_wrist=away,
        )
        rows.append(row)
    return _columns(rows)


def _between(first: float, last: float, share: float) -> float:
    return first + (last - first) * share


def _columns(rows: list[dict[str, Any]]) -> dict[str, Floats]:
    return {name: np.array([row[name] for row in rows], dtype=np.float64) for name in DOFS}
