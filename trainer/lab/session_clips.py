"""Who makes each whole session, where, and what films them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from trainer.lab.body import BodyShape
from trainer.lab.camera import Camera
from trainer.lab.clothes import Outfit
from trainer.lab.figure import SOLVE_ALL
from trainer.lab.scenarios import Clip
from trainer.lab.scene import Room
from trainer.lab.sessions import (
    GOOD,
    HEAD_OFF,
    HIPS_OFF,
    SHORT,
    Session,
    golfer_at_home,
    half_speed,
    player_in_the_bay,
    slow_motion,
)
from trainer.lab.video import Film

#: Half the size of an ordinary camera's picture: the pose model shrinks it further anyway.
_CAMERA = Camera(size_wh=(640, 360), distance_m=3.3, height_m=0.95, pitch_deg=1.5)
_BAY = Room(
    place="bay",
    wall=(58, 62, 70),
    floor=(70, 108, 62),
    floor_kind="turf",
    wall_kind="net",
    wall_m=2.4,
    light_from=(1.6, 3.0, 2.2),
)


def _clip(name: str, what: str, session: Session, fps: float) -> Clip:
    return Clip(
        name=name,
        what=what,
        motion=session.motion(fps),
        others=tuple(session.spans),
        solve=SOLVE_ALL - {"height"},  # walking and teeing bend as they are told to
        camera=_CAMERA,
        fps=fps,
    )


def at_home(seed: int, fps: float) -> Clip:
    """A golfer alone at home: eleven reps and a pause by hand."""
    clip = _clip("session-home", "golfer at home, eleven reps", golfer_at_home(seed), fps)
    return replace(
        clip,
        shape=BodyShape(stature_cm=179, weight=0.5, muscle=0.55),
        outfit=Outfit(shirt=(54, 112, 84), trousers=(62, 62, 70), hat=(232, 232, 228)),
        room=Room(seed=seed),
    )


def bay_first(seed: int, fps: float) -> Clip:
    """A heavy man in the coach's bay, most of whose hips go off."""
    swings = (HIPS_OFF, GOOD, half_speed(HIPS_OFF), GOOD)
    clip = _clip("session-bay-1", "heavy man, four reps", player_in_the_bay(seed, swings), fps)
    return replace(
        clip,
        shape=BodyShape(stature_cm=174, weight=0.82, muscle=0.5, age=0.9),
        outfit=Outfit(
            skin=(228, 180, 148), shirt=(44, 46, 52), trousers=(176, 164, 140), hair=(128, 124, 120)
        ),
        room=replace(_BAY, seed=seed),
    )


def bay_second(seed: int, fps: float) -> Clip:
    """A small left-handed woman whose turn is short when she swings fast."""
    swings = (SHORT, half_speed(GOOD), SHORT, GOOD)
    clip = _clip("session-bay-2", "left-hander, four reps", player_in_the_bay(seed, swings), fps)
    return replace(
        clip,
        handed="left",
        shape=BodyShape(stature_cm=160, female=0.95, weight=0.45, muscle=0.45, age=0.7),
        outfit=Outfit(
            skin=(132, 88, 62), shirt=(214, 140, 128), trousers=(220, 218, 210), hair=(24, 20, 18)
        ),
        room=replace(_BAY, seed=seed),
    )


def bay_third(seed: int, fps: float) -> Clip:
    """A tall man outdoors under a dark sky; the picture is dim, grainy and smeared."""
    swings = (GOOD, half_speed(HEAD_OFF), SHORT, half_speed(GOOD))
    clip = _clip("session-bay-3", "outdoors, poor light", player_in_the_bay(seed, swings), fps)
    return replace(
        clip,
        shape=BodyShape(stature_cm=191, weight=0.4, muscle=0.6, age=0.68),
        outfit=Outfit(skin=(92, 60, 44), shirt=(126, 164, 196), trousers=(40, 48, 78)),
        room=Room(
            place="range",
            floor=(70, 108, 62),
            floor_kind="turf",
            light_from=(-3.0, 4.0, -1.0),
            key=0.2,
            fill=0.12,
            ambient=0.34,
            shadow=0.1,
            fill_warm=(0.85, 0.93, 1.0),
            seed=seed,
        ),
        camera=replace(_CAMERA, distance_m=3.5),
        film=Film(grain=7.0, blur_px=0.9, gain=0.62, exposure_s=1 / 40),
    )


def slowly(seed: int, fps: float) -> Clip:
    """A golfer in slow motion: ten reps through the checkpoints, some of them skipped."""
    clip = _clip("session-slow", "slow motion, ten reps", slow_motion(seed), fps)
    return replace(
        clip,
        shape=BodyShape(stature_cm=168, female=0.9, weight=0.5, muscle=0.5, age=0.74),
        outfit=Outfit(skin=(205, 152, 118), shirt=(166, 52, 56), hair=(104, 70, 42)),
        room=Room(wall=(126, 146, 150), floor=(96, 100, 104), floor_kind="carpet", seed=seed),
    )


SESSIONS: dict[str, Callable[[int, float], Clip]] = {
    "session-home": at_home,
    "session-bay-1": bay_first,
    "session-bay-2": bay_second,
    "session-bay-3": bay_third,
    "session-slow": slowly,
}
