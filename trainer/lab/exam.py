"""The clips of the accuracy report: people the estimator has never met, and how they move.

Two clips a person. "natural" is one backswing, where everything goes with the turn: at full speed
with a swing through the ball, at the pace of practice, or slow. "decoupled" stands still at the
address first and then moves parts of the body without the others, each degree of freedom on a
minimum-jerk path of its own. What the pose model says of a clip is kept beside it
(``exam_poses``), so that readings can be scored again in seconds when the estimator has changed.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from trainer.lab import crowd
from trainer.lab.camera import Camera
from trainer.lab.crowd import Sitter
from trainer.lab.exam_poses import read_poses
from trainer.lab.motion import Curves, Events, Motion, Swing, backswing, frame_times, sway_a_little
from trainer.lab.scenarios import Clip
from trainer.lab.sequences import Span

#: The estimator is fitted on lower seeds (``python -m trainer.lab films``).
LOWEST_SEED: Final = 100_000
#: From here on people are drawn widely (``crowd.is_wide``).
FIRST_SEED: Final = 300_000
#: Pictures are this long on their longer side, in the shape of the person's own camera.
LONG_PX: Final = 960
FPS: Final = 30.0
#: How fast a natural clip's backswing is, person after person, and how long each takes in
#: seconds. Slow ones cost the most pictures, so they are the fewest.
SPEEDS: Final = (
    "full",
    "normal",
    "slow",
    "full",
    "normal",
    "normal",
    "full",
    "normal",
    "slow",
    "full",
    "normal",
    "slow",
)
BACKSWING_S: Final = {"full": (0.65, 1.0), "normal": (1.0, 2.0), "slow": (2.0, 4.0)}
#: Degrees of freedom the arms may use while the trunk keeps still.
_ARMS: Final = (
    "arm_lift_deg",
    "arm_across_deg",
    "lead_bend_deg",
    "forearm_roll_deg",
    "elbow_drop_deg",
    "cock_deg",
    "flat_wrist",
)
_TILTS: Final = ("trunk_bend_deg", "chest_pitch_deg", "head_drift_cm", "head_rise_cm")
_SHOULDERS: Final = ("shoulder_turn_deg", "thorax_turn_deg")
#: What the first part of a decoupled clip does, person after person.
ALONE: Final = (
    "arms alone",
    "turn without hips",
    "arms alone",
    "hips without turn",
    "arms alone",
    "tilt alone",
)


def clips_of(seed: int, *, unseen_style: bool = False) -> tuple[Clip, Clip]:
    """Return a person's natural and decoupled clip."""
    one = crowd.sitter(seed, unseen_style=unseen_style)
    return (
        clip_of(one, f"natural-{seed}", "one backswing", *_natural(one)),
        clip_of(one, f"decoupled-{seed}", "parts of the body without the others", *_decoupled(one)),
    )


def clip_of(one: Sitter, name: str, what: str, motion: Motion, spans: tuple[Span, ...]) -> Clip:
    """Return a clip of that person, filmed by their own camera."""
    # The films of the fit went through JPEG; a worse one there is a coarser video here.
    crf = round(30 - 10 * (one.jpeg - 45) / 50)
    return Clip(
        name=name,
        what=what,
        motion=motion,
        handed=one.handed,
        shape=one.shape,
        outfit=one.outfit,
        room=one.room,
        camera=replace(one.camera, size_wh=size_wh(one.camera)),
        film=replace(one.film, crf=crf),
        stance=one.stance,
        others=spans,
        fps=FPS,
    )


def size_wh(camera: Camera) -> tuple[int, int]:
    """Return the clip's size in the camera's own shape, both sides even as video wants it."""
    scale = LONG_PX / max(camera.size_wh)
    width, height = (2 * round(side * scale / 2) for side in camera.size_wh)
    return width, height


def speed_of(seed: int) -> str:
    """Return how fast that person's backswing is: a key of ``BACKSWING_S``."""
    return SPEEDS[seed % len(SPEEDS)]


def natural_swing(rng: np.random.Generator, speed: str | None = None) -> Swing:
    """Return a random backswing of that speed; without one, of any speed in the exam's shares.

    At full speed it turns at once and swings through to a finish; the others mostly hold a
    little, and go back to the address.
    """
    speed = str(rng.choice(SPEEDS)) if speed is None else speed
    drawn = replace(crowd.random_swing(rng), backswing_s=float(rng.uniform(*BACKSWING_S[speed])))
    if speed == "full":
        down_s = float(rng.uniform(0.25, 0.32))
        return replace(drawn, hold_s=0.0, finish="through", downswing_s=down_s, follow_s=0.6)
    hold_s = float(rng.choice([0.0, rng.uniform(0.2, 0.5)]))
    return replace(drawn, hold_s=hold_s, finish="return", downswing_s=0.5)


def swing_motion(one: Sitter, swing: Swing, rng: np.random.Generator, fps: float = FPS) -> Motion:
    """Return a still address and one swing, to just after it."""
    curves = Curves(one.address)
    sway_a_little(curves, rng)
    rep = backswing(curves, swing, setup_s=0.0, takeaway_s=float(rng.uniform(1.35, 1.5)))
    through_s = swing.follow_s if swing.finish == "through" else 0.0
    t_s = frame_times(rep.top_end_s + swing.downswing_s + through_s, fps)
    return Motion(t_s, curves.at(t_s), (rep,), curves.start)


def _natural(one: Sitter) -> tuple[Motion, tuple[Span, ...]]:
    rng = np.random.default_rng([one.seed, 81])
    return swing_motion(one, natural_swing(rng, speed_of(one.seed)), rng), ()


def _decoupled(one: Sitter) -> tuple[Motion, tuple[Span, ...]]:
    rng = np.random.default_rng([one.seed, 82])
    curves = Curves(one.address)
    sway_a_little(curves, rng)
    still_s = float(rng.uniform(1.25, 1.4))
    first_s = still_s + float(rng.uniform(0.9, 1.2))
    end_s = first_s + float(rng.uniform(1.1, 1.5))
    kind = ALONE[one.seed % len(ALONE)]
    alone, free = ({n: v[0] for n, v in crowd.free_poses(one, 1, rng).items()} for _ in range(2))
    move_apart(curves, rng, still_s, first_s, only(kind, alone, rng))
    move_apart(curves, rng, first_s, end_s - 0.1, free)
    t_s = frame_times(end_s, FPS)
    # No rep is meant: the record's first instants say where the still address ends.
    rep = Events(setup_s=0.0, takeaway_s=still_s, top_s=first_s, top_end_s=end_s)
    spans = (Span(kind, still_s, first_s), Span("everything apart", first_s, end_s))
    return Motion(t_s, curves.at(t_s), (rep,), curves.start), spans


def only(kind: str, drawn: dict[str, float], rng: np.random.Generator) -> dict[str, float]:
    """Return the part of a drawn pose that moves in this kind of movement."""
    if kind == "turn without hips":
        turn = float(rng.uniform(35, 70))
        return {"shoulder_turn_deg": turn, "thorax_turn_deg": turn - 6.0}
    if kind == "hips without turn":
        return {"hip_turn_deg": float(rng.uniform(15, 40)), "hip_drift_cm": drawn["hip_drift_cm"]}
    if kind == "tilt alone":
        return {name: drawn[name] for name in _TILTS}
    arms = {name: drawn[name] for name in _ARMS}
    return arms | {
        "arm_lift_deg": float(rng.uniform(85, 122)),
        "arm_across_deg": float(rng.uniform(40, 60)),
        "forearm_roll_deg": 72.0,
        "elbow_drop_deg": 70.0,
        "flat_wrist": 1.0,
    }


def move_apart(
    curves: Curves,
    rng: np.random.Generator,
    from_s: float,
    to_s: float,
    targets: dict[str, float],
) -> None:
    """Add moves to ``targets``, each in its own part of the time, at least 0.6 of it."""
    length = to_s - from_s
    times: dict[str, tuple[float, float]] = {}
    for name in targets:
        begin = from_s + float(rng.uniform(0, 0.4)) * length
        end = begin + float(rng.uniform(0.6, 1.0)) * length
        times[name] = (begin, min(end, to_s))
    for name, target in targets.items():
        # Two ways of saying the same turn must say it together.
        when = times["shoulder_turn_deg"] if name in _SHOULDERS else times[name]
        curves.move(*when, **{name: float(target)})


def scene_of(one: Sitter) -> dict[str, Any]:
    """Return what the report sorts by, as plain data."""
    outfit, camera = one.outfit, replace(one.camera, size_wh=size_wh(one.camera))
    return {
        "seed": one.seed,
        "handed": one.handed,
        "stature_cm": one.shape.stature_cm,
        "female": one.shape.female,
        "weight": one.shape.weight,
        "yaw_deg": camera.yaw_deg,
        "distance_m": camera.distance_m,
        "height_m": camera.height_m,
        "size_wh": list(camera.size_wh),
        "light": one.film.gain * one.room.key,
        "place": one.room.place,
        "style": one.room.style,
        "loose_cm": outfit.loose_cm,
        "sleeve": max(outfit.sleeve, outfit.jacket_sleeve if outfit.jacket is not None else 0.0),
        "jacket": outfit.jacket is not None,
        "skirt": outfit.skirt is not None,
        "camera": {k: v for k, v in asdict(camera).items() if k != "size_wh"},
    }


def make_person(seed: int, out_dir: Path, model: Path, *, unseen_style: bool = False) -> int:
    """Render a person's clips and read them with the pose model, as far as not yet there."""
    for clip in clips_of(seed, unseen_style=unseen_style):
        make_clip(clip, crowd.sitter(seed, unseen_style=unseen_style), out_dir, model)
    return seed


def make_clip(clip: Clip, one: Sitter, out_dir: Path, model: Path) -> None:
    """Render one clip with its truth and its scene, and read it, as far as not yet there."""
    os.environ.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
    video = out_dir / f"{clip.name}.mp4"
    if not (video.exists() and is_of(out_dir / f"{clip.name}.truth.json", clip)):
        from trainer.lab.render import render

        render(clip, out_dir, one.seed, again=True)
    scene = out_dir / f"{clip.name}.scene.json"
    scene.write_text(json.dumps(scene_of(one)) + "\n", encoding="utf-8")
    read_poses(video, model)


def is_of(truth_file: Path, clip: Clip) -> bool:
    """Tell whether a truth file is that of this very clip and says all that is scored.

    A folder may hold clips that an older version of the exam drew under the same names.
    """
    if not truth_file.exists():
        return False
    told = json.loads(truth_file.read_text(encoding="utf-8"))
    events = {name: round(value, 4) for name, value in asdict(clip.motion.reps[0]).items()}
    frames = told["frames"]
    return (
        told["events"] == events
        and tuple(told["size_wh"]) == clip.camera.size_wh
        and len(frames) == len(clip.motion.t_s)
        and "back_gap_cm" in frames[0]
    )
