"""Clips made over for the benchmark: as a webcam sends them, or shortened."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from trainer.bench_runs import CAMERA_HZ


def as_webcam(clip: Path, target: Path) -> None:
    """Write ``clip`` to ``target`` as the single JPEG pictures that a webcam sends.

    A film's decoder keeps some twenty earlier pictures, which no camera makes a mirror do.
    """
    short_copy(clip, target, sys.maxsize, kind="MJPG")


def short_copy(clip: Path, target: Path, frames: int, kind: str = "mp4v") -> None:
    """Write the first ``frames`` pictures of ``clip`` to ``target``, coded as ``kind``."""
    from trainer.adapters.opencv import load_cv2

    cv2 = load_cv2()
    capture = cv2.VideoCapture(str(clip))
    writer: Any = None
    for _ in range(frames):
        ok, picture = capture.read()
        if not ok:
            break
        if writer is None:
            size_wh = (picture.shape[1], picture.shape[0])
            code = cv2.VideoWriter_fourcc(*kind)
            writer = cv2.VideoWriter(str(target), code, CAMERA_HZ, size_wh)
        writer.write(picture)
    capture.release()
    writer.release()
