"""What the rendered pictures give of each tag alone: finder and solver against the truth.

Nothing is remembered from picture to picture but what the finder itself follows, and nobody
tells the solver how the body stands: of a tag's two attitudes the likelier by its corners alone
is taken, and where that is ambiguous no angle is scored.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import LANDMARK_COUNT, Landmark
from trainer.core.tag_seen import Trunk, trunk_of

Floats = NDArray[np.float64]

#: How obliquely a tag is seen, degrees: lower and upper end.
BANDS: Final = ((0, 20), (20, 40), (40, 60), (60, 70), (70, 80))
#: From this share of the black square on a tag counts as in view.
IN_VIEW: Final = 0.97


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """One tag in one picture in which all of it shows."""

    number: int
    oblique_deg: float  #: between where it faces and the camera
    found: bool
    turn_off_deg: float  #: of its reading about the upright, NaN without one
    pitch_off_deg: float


def sights(video: Path) -> list[Sight]:
    """Return every sight of a tag in a clip."""
    import cv2

    from trainer.adapters.tag_finder import TagFinder
    from trainer.adapters.tag_solver import TagSolver
    from trainer.core.lens import from_field_of_view
    from trainer.lab.camera import Camera

    told = json.loads(video.with_suffix(".truth.json").read_text("utf-8"))
    size_wh = (told["size_wh"][0], told["size_wh"][1])
    camera = Camera(size_wh=size_wh, **told["camera"])
    worn = told["about"]["worn"]
    solver = TagSolver(
        from_field_of_view(camera.hfov_deg, size_wh), worn["size_cm"] / 100 * worn["print_scale"]
    )
    finder, reader, out = TagFinder(), cv2.VideoCapture(str(video)), list[Sight]()
    for frame in told["frames"]:
        read, picture = reader.read()
        if not read:
            break
        box = _box(frame["joints_px"], size_wh)
        trunk = _trunk(frame["joints_px"], solver.size_m(0) or 0.0)
        seen = {tag.number: tag for tag in finder.find(picture[:, :, ::-1], box, trunk=trunk)}
        for name, tag in frame["tags"].items():
            towards = camera.place_m - np.array(tag["middle_m"])
            facing = np.array(tag["facing"])
            cosine = float(facing @ towards / np.linalg.norm(towards))
            if tag["seen"] < IN_VIEW or cosine <= 0:
                continue
            pose = solver.pose(seen[int(name)]) if int(name) in seen else None
            off = (np.nan, np.nan)
            if pose is not None and not pose.ambiguous:
                off = _off(camera.axes.T @ -pose.rotation[:, 2], facing)
            out.append(
                Sight(
                    number=int(name),
                    oblique_deg=float(np.degrees(np.arccos(min(cosine, 1.0)))),
                    found=int(name) in seen,
                    turn_off_deg=off[0],
                    pitch_off_deg=off[1],
                )
            )
    reader.release()
    return out


def _off(read: Floats, true: Floats) -> tuple[float, float]:
    """Return by how much a facing (3,) is turned and pitched beside the true one, degrees."""
    turns = [np.degrees(np.arctan2(way[0], way[2])) for way in (read, true)]
    pitches = [np.degrees(np.arcsin(np.clip(way[1], -1, 1))) for way in (read, true)]
    return float((turns[0] - turns[1] + 180) % 360 - 180), float(pitches[0] - pitches[1])


def _trunk(joints: dict[str, Any], size_m: float) -> Trunk:
    """Return the trunk, as the pose would tell it."""
    points = np.full((LANDMARK_COUNT, 2), np.nan)
    for point in (
        Landmark.LEFT_SHOULDER,
        Landmark.RIGHT_SHOULDER,
        Landmark.LEFT_HIP,
        Landmark.RIGHT_HIP,
    ):
        points[point] = joints[point.name.lower()]
    return trunk_of(points, size_m)


def _box(joints: dict[str, Any], size_wh: tuple[int, int]) -> tuple[int, int, int, int]:
    """Return where the body is, as the pose would tell it."""
    names = ("left_shoulder", "right_shoulder", "left_hip", "right_hip", "nose")
    points = np.array([joints[name] for name in names])
    room = 0.45 * float(np.linalg.norm(points[:2].mean(axis=0) - points[2:4].mean(axis=0)))
    low, high = points.min(axis=0) - room, points.max(axis=0) + room
    left, top = (int(max(0.0, value)) for value in low)
    right, bottom = (int(min(side, value)) for side, value in zip(size_wh, high, strict=True))
    return left, top, right, bottom
