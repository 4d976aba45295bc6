"""Loads OpenCV late and quietly, and turns its pictures into ours. Imported by adapters only."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.picture_memory import PictureMemory
from trainer.errors import CameraError

#: Set before cv2 is first imported, unless the user has set them: FFmpeg's own log off
#: (AV_LOG_QUIET is -8), a stopped V4L2 camera noticed after 3 s instead of 10, and no search
#: for hardware transforms, which makes opening a camera on Windows take up to half a minute.
_QUIET_AND_QUICK = {
    "OPENCV_FFMPEG_LOGLEVEL": "-8",
    "OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT": "3",
    "OPENCV_VIDEOIO_MSMF_ENABLE_HW_TRANSFORMS": "0",
}


class Capture(Protocol):
    """The part of ``cv2.VideoCapture`` that is used here; one thread at a time."""

    def isOpened(self) -> bool:
        """Return whether reading can begin."""

    def grab(self) -> bool:
        """Wait for the next picture. False when none came."""

    def retrieve(self) -> tuple[bool, Any]:
        """Decode the picture grabbed last: (True, BGR picture) or (False, None)."""

    def get(self, prop: int) -> float:
        """Return a property; 0 when it is not known."""

    def set(self, prop: int, value: float) -> bool:
        """Ask for a property. False when it was refused."""

    def release(self) -> None:
        """Let the device or file go."""


def load_cv2() -> Any:  # noqa: ANN401 - a module without types
    """Return the module ``cv2`` with its log off, so that the user sees our one error only.

    A log level set by the user (``OPENCV_LOG_LEVEL``, ``OPENCV_FFMPEG_LOGLEVEL``) is kept.
    """
    for key, value in _QUIET_AND_QUICK.items():
        os.environ.setdefault(key, value)
    import cv2

    if "OPENCV_LOG_LEVEL" not in os.environ:
        cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    return cv2


@dataclass(frozen=True, slots=True, kw_only=True)
class Upright:
    """How to turn a source's picture into an upright, unmirrored one.

    The flip comes first, in the source's own picture; then the turn. Raises CameraError for a
    turn that is not 0, 90, 180 or 270.
    """

    rotate_deg: int = 0  #: clockwise turn that makes the picture upright
    mirrored: bool = False  #: the source already mirrors its picture left to right
    memory: PictureMemory | None = None  #: where the pictures are to lie; None: anywhere

    def __post_init__(self) -> None:
        if self.rotate_deg not in (0, 90, 180, 270):
            raise CameraError(
                f"the picture cannot be turned by {self.rotate_deg} degrees. "
                "A quarter turn is wanted: 0, 90, 180 or 270, clockwise. Try 90 or 270."
            )

    def rgb(self, image: object) -> NDArray[np.uint8] | None:
        """Return the picture as (H, W, 3) uint8 RGB, C-contiguous; None when it is damaged."""
        if not isinstance(image, np.ndarray) or image.dtype != np.uint8 or image.size == 0:
            return None
        cv2 = load_cv2()
        if image.ndim == 2 or (image.ndim == 3 and image.shape[2] == 1):
            picture = cv2.cvtColor(image, cv2.COLOR_GRAY2RGB)
        elif image.ndim == 3 and image.shape[2] == 3:
            picture = cv2.cvtColor(image, cv2.COLOR_BGR2RGB, dst=self._place(image))
        elif image.ndim == 3 and image.shape[2] == 4:
            picture = cv2.cvtColor(image, cv2.COLOR_BGRA2RGB)
        else:
            return None
        if self.mirrored:
            picture = cv2.flip(picture, 1)
        if self.rotate_deg:
            turns = {
                90: cv2.ROTATE_90_CLOCKWISE,
                180: cv2.ROTATE_180,
                270: cv2.ROTATE_90_COUNTERCLOCKWISE,
            }
            picture = cv2.rotate(picture, turns[self.rotate_deg])
        return np.ascontiguousarray(picture)

    def _place(self, image: NDArray[np.uint8]) -> NDArray[np.uint8] | None:
        """Return where the picture is to be written, if it stays as it comes."""
        if self.memory is None or self.mirrored or self.rotate_deg:
            return None
        return self.memory.lend(*image.shape[:2])
