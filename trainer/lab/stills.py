"""Renders random people in random poses and reads them with the pose model that ships.

One ``.npz`` a person: what the pose model said of the address and of each pose, the player's
outline, and what was true. Each picture is shown to the tracker several times in a row, with
fresh grain, so that its crop and its smoothing have settled as they have in a slow movement.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.lab import crowd, truth
from trainer.lab.body import load_body
from trainer.lab.crowd import Sitter
from trainer.lab.figure import Figure, mirrored
from trainer.lab.scene import Stage
from trainer.lab.video import filmed

Image = NDArray[np.uint8]
#: How often a pose is shown; the address is shown ``ADDRESS_SHOWN`` times.
SHOWN: Final = 4
ADDRESS_SHOWN: Final = 10
#: The outline is kept this size, whatever the picture's.
OUTLINE_WH: Final = (160, 90)


def render_person(
    seed: int, out_dir: Path, model: Path, *, natural: int = 14, free: int = 10
) -> Path:
    """Render one person's poses, read them and write ``person-<seed>.npz``; return its path.

    A file that is there is left as it is, so an interrupted run goes on where it stopped.
    """
    os.environ.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
    target = out_dir / f"person-{seed:06d}.npz"
    if target.exists():
        return target
    out_dir.mkdir(parents=True, exist_ok=True)
    person = crowd.sitter(seed)
    with tempfile.TemporaryDirectory() as bodies:
        body = load_body(person.shape, Path(bodies))
    motion = crowd.motion_of(person, crowd.still_poses(person, natural, free))
    posed = Figure(body, person.stance).pose(motion)
    if person.handed == "left":
        posed = mirrored(posed)
    stage = Stage(body, person.outfit, person.room, person.camera, mirror=posed.mirrored)
    joints = truth.joints(body, posed)
    setup = np.zeros(len(motion.t_s), dtype=bool)
    setup[0] = True
    told = truth.measures(joints, person.handed, setup)
    thorax, pitch = truth.thorax_angles(body, posed, setup)
    rng = np.random.default_rng([seed, 73])
    reader = Reader(model)
    rows: list[dict[str, Any]] = []
    try:
        for index in range(len(motion.t_s)):
            image = stage.draw(posed, index)
            shown = ADDRESS_SHOWN if index == 0 else SHOWN
            said = [reader.read(_shot(image, person, rng)) for _ in range(shown)]
            rows.append(_settled(said, first=index == 0))
    finally:
        reader.close()
    kinds = ["address"] + ["natural"] * natural + ["free"] * free
    part = target.with_suffix(".part.npz")
    np.savez_compressed(
        part,
        seed=seed,
        handed=person.handed,
        stature_cm=person.shape.stature_cm,
        size_wh=person.camera.size_wh,
        camera=np.array(
            [
                person.camera.hfov_deg,
                person.camera.distance_m,
                person.camera.height_m,
                person.camera.yaw_deg,
                person.camera.pitch_deg,
                person.camera.roll_deg,
            ]
        ),
        kind=np.array(kinds),
        found=np.array([row["found"] for row in rows]),
        image_px=np.array([row["image_px"] for row in rows], dtype=np.float32),
        depth_px=np.array([row["depth_px"] for row in rows], dtype=np.float32),
        world_m=np.array([row["world_m"] for row in rows], dtype=np.float32),
        outline=np.packbits(np.array([row["outline"] for row in rows]), axis=-1),
        shoulder_turn_deg=told["shoulder_turn_deg"],
        hip_turn_deg=told["hip_turn_deg"],
        thorax_turn_deg=thorax,
        chest_pitch_deg=pitch,
        head_lateral_cm=told["head_lateral_cm"],
        head_up_cm=told["head_up_cm"],
        hip_drift_cm=told["hip_drift_cm"],
        joints_px=np.stack(
            [person.camera.project(joints[name]) for name in sorted(joints)], axis=1
        ).astype(np.float32),
        joint_names=np.array(sorted(joints)),
    )
    os.replace(part, target)
    return target


def _shot(image: Image, person: Sitter, rng: np.random.Generator) -> Image:
    """Return the picture as a camera would deliver it: grain, blur, compression."""
    import cv2

    taken = filmed(image, person.film, rng)
    _, packed = cv2.imencode(".jpg", taken[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, person.jpeg])
    return np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])


def _settled(said: list[dict[str, Any] | None], *, first: bool) -> dict[str, Any]:
    """Return the last reading; for the address the median of the later half."""
    good = [one for one in said[len(said) // 2 :] if one is not None]
    if not good:
        width, height = OUTLINE_WH
        return {
            "found": False,
            "image_px": np.zeros((33, 2)),
            "depth_px": np.zeros(33),
            "world_m": np.zeros((33, 3)),
            "outline": np.zeros((height, width), dtype=bool),
        }
    last = dict(good[-1], found=True)
    if first:
        for name in ("image_px", "depth_px", "world_m"):
            last[name] = np.median([one[name] for one in good], axis=0)
    return last


class Reader:
    """The tracker that ships, in VIDEO mode, with the outline switched on."""

    def __init__(self, model: Path) -> None:
        from mediapipe.tasks.python import vision
        from mediapipe.tasks.python.core.base_options import BaseOptions

        from trainer.adapters.quiet import quiet_stderr

        with quiet_stderr():
            self._tracker = vision.PoseLandmarker.create_from_options(
                vision.PoseLandmarkerOptions(
                    base_options=BaseOptions(model_asset_path=str(model)),
                    running_mode=vision.RunningMode.VIDEO,
                    output_segmentation_masks=True,
                )
            )
        self._ms = 0

    def read(self, image: Image) -> dict[str, Any] | None:
        """Return landmarks in pixels and metres and the outline, or None if nobody is found."""
        import cv2
        import mediapipe as mp

        from trainer.adapters.pose import pose_from_landmarks

        self._ms += 33
        height, width = image.shape[:2]
        found = self._tracker.detect_for_video(
            mp.Image(image_format=mp.ImageFormat.SRGB, data=image), self._ms
        )
        if not found.pose_landmarks:
            return None
        pose = pose_from_landmarks(
            self._ms / 1000, (width, height), found.pose_landmarks[0], found.pose_world_landmarks[0]
        )
        mask = np.squeeze(found.segmentation_masks[0].numpy_view())
        outline = cv2.resize(mask, OUTLINE_WH, interpolation=cv2.INTER_AREA) > 0.5
        return {
            "image_px": pose.image_px,
            "depth_px": pose.depth_px,
            "world_m": pose.world_m,
            "outline": outline,
        }

    def close(self) -> None:
        """Free the model."""
        self._tracker.close()
