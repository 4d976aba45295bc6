"""The clips of the accuracy report: people the estimator has never met, and how they move.

Two clips a person. "natural" is one backswing, where everything goes with the turn. "decoupled"
stands still at the address first and then moves parts of the body without the others, each
degree of freedom on a minimum-jerk path of its own. What the pose model says of a clip is kept
beside it, so that readings can be scored again in seconds when the estimator has changed.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from trainer.core.records import Pose as BodyPoints
from trainer.lab import crowd
from trainer.lab.crowd import Sitter
from trainer.lab.motion import Curves, Events, Motion, Swing, backswing, frame_times, sway_a_little
from trainer.lab.scenarios import Clip
from trainer.lab.sequences import Span

#: The estimator is fitted on lower seeds (``python -m trainer.lab stills``).
FIRST_SEED: Final = 100_000
SIZE_WH: Final = (960, 540)
FPS: Final = 30.0
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


@dataclass(frozen=True, slots=True)
class Seen:
    """What the pose model said of every frame of a clip; None where it gave nobody."""

    t_s: tuple[float, ...]
    poses: tuple[BodyPoints | None, ...]


def clips_of(seed: int) -> tuple[Clip, Clip]:
    """Return a person's natural and decoupled clip."""
    one = crowd.sitter(seed)
    return (
        _clip(one, f"natural-{seed}", "one backswing", *_natural(one)),
        _clip(one, f"decoupled-{seed}", "parts of the body without the others", *_decoupled(one)),
    )


def _clip(one: Sitter, name: str, what: str, motion: Motion, spans: tuple[Span, ...]) -> Clip:
    # The stills went through JPEG; a worse one there is a coarser video here.
    crf = round(30 - 10 * (one.jpeg - 45) / 50)
    return Clip(
        name=name,
        what=what,
        motion=motion,
        handed=one.handed,
        shape=one.shape,
        outfit=one.outfit,
        room=one.room,
        camera=replace(one.camera, size_wh=SIZE_WH),
        film=replace(one.film, crf=crf),
        stance=one.stance,
        others=spans,
        fps=FPS,
    )


def natural_swing(rng: np.random.Generator) -> Swing:
    """Return a random backswing of 0.8 to 2.0 s that goes back to the address."""
    drawn = crowd.random_swing(rng)
    return replace(
        drawn,
        backswing_s=float(rng.uniform(0.8, 2.0)),
        hold_s=float(rng.choice([0.0, rng.uniform(0.3, 0.6)])),
        downswing_s=0.5,
        finish="return",
    )


def _natural(one: Sitter) -> tuple[Motion, tuple[Span, ...]]:
    rng = np.random.default_rng([one.seed, 81])
    curves = Curves(one.address)
    sway_a_little(curves, rng)
    swing = natural_swing(rng)
    rep = backswing(curves, swing, setup_s=0.0, takeaway_s=float(rng.uniform(1.6, 1.8)))
    t_s = frame_times(rep.top_end_s + swing.downswing_s, FPS)
    return Motion(t_s, curves.at(t_s), (rep,), curves.start), ()


def _decoupled(one: Sitter) -> tuple[Motion, tuple[Span, ...]]:
    rng = np.random.default_rng([one.seed, 82])
    curves = Curves(one.address)
    sway_a_little(curves, rng)
    still_s = float(rng.uniform(1.4, 1.6))
    first_s = still_s + float(rng.uniform(1.0, 1.4))
    end_s = first_s + float(rng.uniform(1.4, 1.8))
    kind = ALONE[one.seed % len(ALONE)]
    alone, free = ({n: v[0] for n, v in crowd.free_poses(one, 1, rng).items()} for _ in range(2))
    _move_apart(curves, rng, still_s, first_s, _only(kind, alone, rng))
    _move_apart(curves, rng, first_s, end_s - 0.1, free)
    t_s = frame_times(end_s, FPS)
    # No rep is meant: the record's first instants say where the still address ends.
    rep = Events(setup_s=0.0, takeaway_s=still_s, top_s=first_s, top_end_s=end_s)
    spans = (Span(kind, still_s, first_s), Span("everything apart", first_s, end_s))
    return Motion(t_s, curves.at(t_s), (rep,), curves.start), spans


def _only(kind: str, drawn: dict[str, float], rng: np.random.Generator) -> dict[str, float]:
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


def _move_apart(
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
    return {
        "seed": one.seed,
        "handed": one.handed,
        "stature_cm": one.shape.stature_cm,
        "female": one.shape.female,
        "yaw_deg": one.camera.yaw_deg,
        "distance_m": one.camera.distance_m,
        "light": one.film.gain * one.room.key,
        "loose_cm": one.outfit.loose_cm,
        "sleeve": one.outfit.sleeve,
        "camera": {k: v for k, v in asdict(one.camera).items() if k != "size_wh"},
    }


def make_person(seed: int, out_dir: Path, model: Path) -> int:
    """Render a person's clips and read them with the pose model, as far as not yet there."""
    os.environ.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
    for clip in clips_of(seed):
        video = out_dir / f"{clip.name}.mp4"
        if not (video.exists() and (out_dir / f"{clip.name}.truth.json").exists()):
            from trainer.lab.render import render

            render(clip, out_dir, seed)
        scene = out_dir / f"{clip.name}.scene.json"
        scene.write_text(json.dumps(scene_of(crowd.sitter(seed))) + "\n", encoding="utf-8")
        read_poses(video, model)
    return seed


def read_poses(video: Path, model: Path) -> Path:
    """Read a clip by the program's own reader and pose model; return the file of its poses.

    A file made from these very bytes by this pose model is left as it is.
    """
    import mediapipe

    key = f"{_digest(video)} {model.name} mediapipe {mediapipe.__version__}"
    target = video.with_suffix(".poses.npz")
    if target.exists():
        with np.load(target) as data:
            if str(data["key"]) == key:
                return target
    from trainer.adapters.clips import ClipReader
    from trainer.adapters.pose import MediapipePose

    times: list[float] = []
    rows: list[BodyPoints | None] = []
    estimator = MediapipePose(model, synchronous=True)
    try:
        with ClipReader(video) as reader:
            for frame in reader:
                times.append(frame.t_s)
                rows.append(estimator.estimate(frame))
            size_wh = reader.facts.size_wh
    finally:
        estimator.close()
    none = np.full((33, 7), np.nan)
    part = target.with_suffix(".part.npz")
    np.savez_compressed(
        part,
        key=key,
        size_wh=size_wh,
        t_s=np.array(times),
        points=np.array([none if pose is None else _packed(pose) for pose in rows]),
    )
    os.replace(part, target)
    return target


def load_poses(path: Path) -> Seen:
    """Return what was kept of a clip, value for value."""
    with np.load(path) as data:
        size = (int(data["size_wh"][0]), int(data["size_wh"][1]))
        times = tuple(float(t) for t in data["t_s"])
        points = data["points"]
    poses = tuple(
        None
        if np.isnan(row[0, 0])
        else BodyPoints(
            t_s=t_s,
            size_wh=size,
            image_px=row[:, :2].copy(),
            depth_px=row[:, 2].copy(),
            world_m=row[:, 3:6].copy(),
            visibility=row[:, 6].copy(),
        )
        for t_s, row in zip(times, points, strict=True)
    )
    return Seen(times, poses)


def _packed(pose: BodyPoints) -> Any:
    return np.column_stack([pose.image_px, pose.depth_px, pose.world_m, pose.visibility])


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
