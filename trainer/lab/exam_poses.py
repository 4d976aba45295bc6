"""What the pose model says of the exam's clips, kept beside them value for value."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.records import Outline
from trainer.core.records import Pose as BodyPoints
from trainer.core.trunk_network import Network

#: Grows when more of a pose is kept, so that older files are made anew. 2: the outline too; 3: what
#: the trunk's picture said; 4: how the picture moved round the hands; 5: read with the mirrored
#: picture tried where a front is taken for a back.
LAYOUT: Final = 5


@dataclass(frozen=True, slots=True)
class Seen:
    """What the pose model said of every frame of a clip; None where it gave nobody."""

    t_s: tuple[float, ...]
    poses: tuple[BodyPoints | None, ...]

    def without_outlines(self) -> Seen:
        """Return the same as if the silhouette had not been asked for."""
        bare = tuple(None if p is None else replace(p, outline=None) for p in self.poses)
        return Seen(self.t_s, bare)

    def without_trunks(self) -> Seen:
        """Return the same as if nobody had looked at the trunk's picture."""
        bare = tuple(None if p is None else replace(p, trunk_deg=None) for p in self.poses)
        return Seen(self.t_s, bare)


def read_poses(video: Path, model: Path) -> Path:
    """Read a clip by the program's own reader and pose model; return the file of its poses.

    A file made from these very bytes by this pose model and trunk network is left as it is.
    """
    import mediapipe

    from trainer.estimator_file import shipped

    key = (
        f"layout {LAYOUT} {_digest(video)} {model.name} mediapipe {mediapipe.__version__} "
        f"trunk {_weights_digest(shipped().network)}"
    )
    target = video.with_suffix(".poses.npz")
    if target.exists():
        with np.load(target) as data:
            if str(data["key"]) == key:
                return target
    from trainer.adapters.clips import ClipReader
    from trainer.adapters.pose import MediapipePose

    times: list[float] = []
    rows: list[BodyPoints | None] = []
    estimator = MediapipePose(model, synchronous=True, trunk=shipped().network)
    try:
        with ClipReader(video) as reader:
            for frame in reader:
                times.append(frame.t_s)
                rows.append(estimator.estimate(frame))
            size_wh = reader.facts.size_wh
    finally:
        estimator.close()
    save_poses(target, Seen(tuple(times), tuple(rows)), size_wh, key)
    return target


def save_poses(target: Path, seen: Seen, size_wh: tuple[int, int], key: str) -> None:
    """Write what was seen of a clip; the file is whole or not there."""
    outlines = [None if pose is None else pose.outline for pose in seen.poses]
    row_px = next((one.row_px for one in outlines if one is not None), np.empty(0))
    no_ends = np.full((len(row_px), 2), np.nan)
    no_points = np.full((33, 7), np.nan)
    part = target.with_suffix(".part.npz")
    np.savez_compressed(
        part,
        key=key,
        size_wh=size_wh,
        t_s=np.array(seen.t_s),
        points=np.array([no_points if pose is None else _packed(pose) for pose in seen.poses]),
        row_px=row_px,
        ends_px=np.array([no_ends if one is None else _ends(one) for one in outlines]),
        outlined=np.array([one is not None for one in outlines]),
        trunk_deg=np.array([_trunk(pose) for pose in seen.poses]),
        hand_motion=np.array([_motion(pose) for pose in seen.poses]),
    )
    os.replace(part, target)


def load_poses(path: Path) -> Seen:
    """Return what was kept of a clip, value for value. Older files hold less of a pose."""
    with np.load(path) as data:
        size = (int(data["size_wh"][0]), int(data["size_wh"][1]))
        times = tuple(float(t) for t in data["t_s"])
        points = data["points"]
        row_px, ends_px, outlined = np.empty(0), None, np.zeros(len(times), dtype=bool)
        if "outlined" in data.files:
            row_px, ends_px, outlined = data["row_px"], data["ends_px"], data["outlined"]
        trunk_deg = np.full((len(times), 2, 3), np.nan)
        if "trunk_deg" in data.files:
            trunk_deg = data["trunk_deg"]
        motion = np.full(len(times), np.nan)
        if "hand_motion" in data.files:
            motion = data["hand_motion"]

    def outline(index: int) -> Outline | None:
        if ends_px is None or not outlined[index]:
            return None
        left, right = ends_px[index].T
        return Outline(row_px=row_px.copy(), left_px=left.copy(), right_px=right.copy())

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
            outline=outline(index),
            trunk_deg=None if np.isnan(trunk_deg[index]).any() else trunk_deg[index].copy(),
            hand_motion=None if np.isnan(motion[index]) else float(motion[index]),
        )
        for index, (t_s, row) in enumerate(zip(times, points, strict=True))
    )
    return Seen(times, poses)


def _packed(pose: BodyPoints) -> Any:
    return np.column_stack([pose.image_px, pose.depth_px, pose.world_m, pose.visibility])


def _trunk(pose: BodyPoints | None) -> NDArray[np.float64]:
    if pose is None or pose.trunk_deg is None:
        return np.full((2, 3), np.nan)
    return pose.trunk_deg


def _motion(pose: BodyPoints | None) -> float:
    return np.nan if pose is None or pose.hand_motion is None else pose.hand_motion


def _ends(outline: Outline) -> NDArray[np.float64]:
    return np.column_stack([outline.left_px, outline.right_px])


def _weights_digest(network: Network | None) -> str:
    digest = hashlib.sha256()
    for layer in network or ():
        digest.update(layer.weights.tobytes() + layer.bias.tobytes())
    return digest.hexdigest()


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
