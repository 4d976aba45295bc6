"""Rendered pictures as a camera delivers them, and what the tracker that ships says of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.lab.crowd import Sitter
from trainer.lab.video import filmed

Image = NDArray[np.uint8]


def shot(image: Image, person: Sitter, rng: np.random.Generator) -> Image:
    """Return the picture as a camera would deliver it: grain, blur, compression."""
    import cv2

    taken = filmed(image, person.film, rng)
    _, packed = cv2.imencode(".jpg", taken[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, person.jpeg])
    return np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])


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
        """Return landmarks in pixels and metres and the mask, or None if nobody is found."""
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
        mask = np.squeeze(found.segmentation_masks[0].numpy_view()).copy()
        return {
            "image_px": pose.image_px,
            "depth_px": pose.depth_px,
            "world_m": pose.world_m,
            "mask": mask,
        }

    def close(self) -> None:
        """Free the model."""
        self._tracker.close()
