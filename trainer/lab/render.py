"""Renders one clip: pictures, video and truth file."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trainer.lab import truth
from trainer.lab.body import Body, load_body
from trainer.lab.figure import Figure, Posed, mirrored
from trainer.lab.scenarios import Clip
from trainer.lab.scene import Stage
from trainer.lab.video import filmed, write_mp4

Image = NDArray[np.uint8]


def posed_clip(clip: Clip) -> tuple[Body, Posed]:
    """Return the body and its pose in every frame of a clip."""
    body = load_body(clip.shape)
    posed = Figure(body, clip.stance, clip.solve).pose(clip.motion)
    return body, mirrored(posed) if clip.handed == "left" else posed


def pictures(
    clip: Clip, seed: int, body: Body, posed: Posed, back_px: list[float | None]
) -> Iterator[Image]:
    """Draw and film every frame, (H, W, 3) uint8 RGB; add the back's true edge to ``back_px``."""
    stage = Stage(body, clip.outfit, clip.room, clip.camera, mirror=posed.mirrored)
    joints = truth.joints(body, posed)
    hips, chest = (
        clip.camera.project((joints[f"left_{part}"] + joints[f"right_{part}"]) / 2)
        for part in ("hip", "shoulder")
    )
    for frame in range(len(clip.motion.t_s)):
        drawn = stage.draw(posed, frame)
        trunk_px = clip.camera.project(stage.trunk_m)
        back_px.append(truth.back_edge_px(trunk_px, hips[frame], chest[frame], clip.handed))
        yield filmed(drawn, clip.film, np.random.default_rng([seed, frame]))


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

    def counted() -> Iterator[Image]:
        for image in pictures(clip, seed, body, posed, back_px):
            tick()
            yield image

    write_mp4(video, counted(), clip.fps, clip.film)
    about = {"what": clip.what, "seed": seed, "body": asdict(clip.shape)}
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
        ),
    )
    return video
