"""The clips of the tag report: people the estimator has never met, wearing printed tags.

Three kinds: slow backswings, and swings at full speed filmed at 30 and at 60 pictures a second.
Before each the player makes one slow backswing, as the instructions ask, from which the program
learns how the tags sit; it is not scored.

The people are the accuracy report's draw (bodies, skins, clothes, places, light, grain,
compression), dressed and filmed as the tags' page of instructions asks: no jacket, a shirt that
lies close, the camera about level and square, the whole player large in a wide picture. Cards are
put on a little wrong, bend, slip with the cloth and shine; the shutter smears what moves.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from trainer.lab import crowd, variety
from trainer.lab.camera import Camera
from trainer.lab.cards import Worn
from trainer.lab.crowd import Sitter
from trainer.lab.exam import is_of, natural_swing
from trainer.lab.motion import Curves, Motion, Swing, backswing, frame_times, sway_a_little
from trainer.lab.scenarios import Clip

#: Kind -> speed of the backswing (``exam.BACKSWING_S``) and pictures a second.
KINDS: Final = {"slow": ("slow", 30.0), "full30": ("full", 30.0), "full60": ("full", 60.0)}
#: People of other kinds are other people: each kind has its own thousand seeds.
SEED_STEP: Final = 1000
FIRST_SEED: Final = 750_000
SIZE_WH: Final = (1280, 720)
#: The player fills more than this of the picture's height; with room for the hands at most 0.85.
FILLS: Final = 0.58
#: Closest fitting to loosest that "close-fitting" was taken to allow, how far the shirt stands off.
LOOSE_CM: Final = 2.0


def seeds_of(kind: str, first: int, count: int) -> range:
    """Return the people of a kind."""
    start = first + SEED_STEP * list(KINDS).index(kind)
    return range(start, start + count)


def clip_of(seed: int, kind: str, size_wh: tuple[int, int] = SIZE_WH) -> Clip:
    """Return that person's clip; the same seed, kind and size give the same one."""
    one = crowd.sitter(seed)
    rng = np.random.default_rng([seed, 91])
    speed, fps = KINDS[kind]
    motion = taught_motion(one, natural_swing(rng, speed), rng, fps)
    outfit = replace(
        one.outfit, jacket=None, hood=False, loose_cm=min(one.outfit.loose_cm, LOOSE_CM)
    )
    shiny = rng.random() < 0.25
    worn = Worn(
        bend_mm=float(rng.uniform(0, 2.5)),
        slip=0.4 + 0.4 * outfit.loose_cm,
        gloss=float(rng.uniform(0.25, 0.6) if shiny else rng.uniform(0.02, 0.12)),
        seed=seed,
    )
    # An indoor camera's shutter is open for up to a sixtieth; outdoors it is far faster.
    shortest = 1 / 1000 if one.room.place == "range" else 1 / 250
    exposure_s = float(np.exp(rng.uniform(np.log(shortest), np.log(min(1 / 60, 0.9 / fps)))))
    film = replace(
        one.film, motion_px=0.0, exposure_s=exposure_s, crf=round(30 - 10 * (one.jpeg - 45) / 50)
    )
    return Clip(
        name=f"{kind}-{seed}",
        what="one backswing with printed tags",
        motion=motion,
        handed=one.handed,
        shape=one.shape,
        outfit=outfit,
        room=one.room,
        camera=camera_of(rng, one, size_wh),
        film=film,
        stance=one.stance,
        fps=fps,
        worn=worn,
    )


def taught_motion(one: Sitter, swing: Swing, rng: np.random.Generator, fps: float) -> Motion:
    """Return a slow backswing with its return, a new address, and then the swing."""
    curves = Curves(one.address)
    sway_a_little(curves, rng)
    slow = replace(
        natural_swing(rng, "normal"),
        shoulder_turn_deg=float(rng.uniform(75, 95)),
        backswing_s=float(rng.uniform(1.6, 2.2)),
        hold_s=0.2,
        downswing_s=0.9,
    )
    first = backswing(curves, slow, setup_s=0.0, takeaway_s=float(rng.uniform(1.35, 1.5)))
    again_s = first.top_end_s + slow.downswing_s + 0.1
    still_s = float(rng.uniform(1.5, 1.7))
    rep = backswing(curves, swing, setup_s=again_s, takeaway_s=again_s + still_s)
    t_s = frame_times(rep.top_end_s + swing.downswing_s + swing.follow_s, fps)
    return Motion(t_s, curves.at(t_s), (first, rep), curves.start)


def camera_of(rng: np.random.Generator, one: Sitter, size_wh: tuple[int, int]) -> Camera:
    """Return a camera about square on that has the whole player in its picture."""
    stature_m = one.shape.stature_cm / 100
    low, high = variety.DISTANCE_M
    for _ in range(400):
        distance, height = float(rng.uniform(low, high)), float(rng.uniform(0.8, 1.3))
        camera = Camera(
            size_wh=size_wh,
            hfov_deg=float(rng.uniform(58, 85)),
            distance_m=distance,
            height_m=height,
            yaw_deg=float(np.clip(rng.normal(0, 4), -10, 10)),
            pitch_deg=float(np.degrees(np.arctan2(height - 0.56 * stature_m, distance)))
            + float(rng.normal(0, 1.0)),
            roll_deg=float(np.clip(rng.normal(0, 0.7), -2, 2)),
        )
        if variety.has_all(camera, stature_m) and variety.fills(camera, stature_m) > FILLS:
            break
    return camera


def make_clip(seed: int, kind: str, out_dir: Path, size_wh: tuple[int, int] = SIZE_WH) -> Path:
    """Render a person's clip with its truth as far as not yet there; return the video."""
    os.environ.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
    from trainer.lab.render import render

    clip = clip_of(seed, kind, size_wh)
    video = out_dir / f"{clip.name}.mp4"
    if not (video.exists() and is_of(out_dir / f"{clip.name}.truth.json", clip)):
        render(clip, out_dir, seed, again=True)
    return video
