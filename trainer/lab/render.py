"""Renders one clip: pictures, video and truth file."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trainer.lab import truth
from trainer.lab.body import Body, load_body
from trainer.lab.figure import Figure, Posed, at_frames, mirrored
from trainer.lab.scenarios import Clip
from trainer.lab.scene import Stage
from trainer.lab.video import filmed, write_mp4

Floats = NDArray[np.float64]
Image = NDArray[np.uint8]

#: While the shutter is open the trunk may move so many pixels from one drawing to the next.
_STEP_PX = 0.8
_MOST_STEPS = 7


def posed_clip(clip: Clip) -> tuple[Body, Posed]:
    """Return the body and its pose in every frame of a clip."""
    body = load_body(clip.shape)
    posed = Figure(body, clip.stance, clip.solve).pose(clip.motion)
    return body, mirrored(posed) if clip.handed == "left" else posed


def pictures(
    clip: Clip,
    seed: int,
    body: Body,
    posed: Posed,
    back_px: list[float | None],
    tags: list[truth.TagTruth] | None = None,
) -> Iterator[Image]:
    """Draw and film every frame, (H, W, 3) uint8 RGB.

    Adds the back's true edge to ``back_px`` and, if asked, each frame's tags to ``tags``.
    """
    stage = Stage(body, clip.outfit, clip.room, clip.camera, mirror=posed.mirrored, worn=clip.worn)
    joints = truth.joints(body, posed)
    hips, chest = (
        clip.camera.project((joints[f"left_{part}"] + joints[f"right_{part}"]) / 2)
        for part in ("hip", "shoulder")
    )
    for frame, steps in enumerate(shutter_steps(clip, joints)):
        moments = at_frames(posed, frame + steps) if len(steps) > 1 else posed
        drawn, middle = [], len(steps) // 2
        for step in range(len(steps)):
            drawn.append(stage.draw(moments, step if len(steps) > 1 else frame))
            if step == middle:
                trunk_px = clip.camera.project(stage.trunk_m)
                back_px.append(truth.back_edge_px(trunk_px, hips[frame], chest[frame], clip.handed))
                if tags is not None:
                    tags.append(truth.tags_in(stage.placed, stage.seen(), clip.camera))
        image = drawn[0] if len(drawn) == 1 else _mean(drawn)
        yield filmed(image, clip.film, np.random.default_rng([seed, frame]))


def shutter_steps(clip: Clip, joints: Mapping[str, Floats]) -> list[Floats]:
    """Return for every frame when to draw it, in frames from its own time, (K,) about 0.

    K is odd, and more the farther the trunk moves in the picture while the shutter is open.
    """
    count = len(clip.motion.t_s)
    open_frames = clip.film.exposure_s * clip.fps
    if open_frames == 0 or count < 2:
        return [np.zeros(1)] * count
    names = [f"{side}_{part}" for side in ("left", "right") for part in ("shoulder", "hip")]
    pixels = np.stack([clip.camera.project(joints[name]) for name in names])
    speed_px = np.linalg.norm(np.gradient(pixels, axis=1), axis=2).max(axis=0)
    wanted = np.ceil(speed_px * open_frames / _STEP_PX).astype(int) // 2 * 2 + 1
    out = []
    for steps in np.minimum(wanted, _MOST_STEPS).tolist():
        out.append((np.arange(steps) - steps // 2) / steps * open_frames)
    return out


def _mean(drawn: list[Image]) -> Image:
    total = np.sum([image.astype(np.uint16) for image in drawn], axis=0)
    return np.asarray((total + len(drawn) // 2) // len(drawn), dtype=np.uint8)


def render(
    clip: Clip,
    out_dir: Path,
    seed: int,
    *,
    tick: Callable[[], object] = lambda: None,
    again: bool = False,
) -> Path:
    """Write ``<name>.mp4`` and ``<name>.truth.json``; return the video's path.

    The truth is written last, so a clip that has it is whole and is not rendered again.
    """
    os.environ.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
    out_dir.mkdir(parents=True, exist_ok=True)
    video, told = out_dir / f"{clip.name}.mp4", out_dir / f"{clip.name}.truth.json"
    if video.exists() and told.exists() and not again:
        return video

    body, posed = posed_clip(clip)
    back_px: list[float | None] = []
    tags: list[truth.TagTruth] | None = None if clip.worn is None else []

    def counted() -> Iterator[Image]:
        for image in pictures(clip, seed, body, posed, back_px, tags):
            tick()
            yield image

    write_mp4(video, counted(), clip.fps, clip.film)
    about = {"what": clip.what, "seed": seed, "body": asdict(clip.shape)}
    if clip.worn is not None:
        about["worn"] = asdict(clip.worn)
    about["others"] = [asdict(span) for span in clip.others]
    truth.write(
        told,
        truth.record(
            clip=video.name,
            body=body,
            posed=posed,
            motion=clip.motion,
            camera=clip.camera,
            fps=clip.fps,
            stature_cm=clip.shape.stature_cm,
            about=about,
            back_px=back_px,
            tags=tags,
        ),
    )
    return video
