"""The short clip of one rep: pictures made small, put into an MP4 file, looked up in it. No sound.

The file is MPEG-4 Part 2 (ISO/IEC 14496-2) in an MP4 box: the one coder every build of OpenCV has,
and the cheapest (tried on the demo clips at 640 by 360: 1.2 ms a picture, VP9 5 ms).
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.errors import PicturesError

#: The longer side of a kept picture is this or less: enough to see a body by, a ninth of the bytes.
MOST_PX: Final = 960
QUALITY: Final = 85  #: of JPEG, 0 to 100


def small_jpeg(image_rgb: NDArray[np.uint8]) -> tuple[bytes, tuple[int, int]]:
    """Return the picture made small, as JPEG, and its width and height (both even).

    It shrinks by a whole number: means over whole blocks are ten times as fast as other sizes.
    """
    cv2 = load_cv2()
    height, width = image_rgb.shape[:2]
    by = -(-max(height, width) // MOST_PX)
    wide, high = max(width // by // 2 * 2, 2), max(height // by // 2 * 2, 2)
    small = image_rgb[: high * by, : wide * by]
    if by > 1 or small.shape[:2] != (high, wide):
        small = cv2.resize(small, (wide, high), interpolation=cv2.INTER_AREA)
    bgr = cv2.cvtColor(small, cv2.COLOR_RGB2BGR)
    _, coded = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    return coded.tobytes(), (wide, high)


def write_clip(
    target: Path, jpegs: Iterable[bytes], size_wh: tuple[int, int], rate_hz: int, likely_bytes: int
) -> int:
    """Write the clip, whole or not at all; return how many pictures are in it.

    ``likely_bytes``: about how long it will be. Raises PicturesError when it cannot be written.
    """
    cv2 = load_cv2()
    half = target.with_name(f".{target.name}.{os.getpid()}.part.mp4")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        # OpenCV does not say why a file could not be written. So the disk is asked first.
        with half.open("wb") as file:
            file.write(bytes(likely_bytes))
            file.flush()
            os.fsync(file.fileno())
        code = cv2.VideoWriter_fourcc(*"mp4v")
        writer = cv2.VideoWriter(str(half), cv2.CAP_FFMPEG, code, float(rate_hz), size_wh)
        count = 0
        try:
            if not writer.isOpened():
                raise _refused(target, "no coder for MP4 was found or the file was not let write")
            for jpeg in jpegs:
                writer.write(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR))
                count += 1
        finally:
            writer.release()
        if _count(half) != count or not count:
            raise _refused(target, "it did not come out whole")
        with half.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(half, target)
    except OSError as error:
        raise _refused(target, error.strerror or str(error)) from None
    finally:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
    return count


def picture_in(clip: Path, frame: int) -> bytes | None:
    """Return picture number ``frame``, from 0, of a clip as JPEG; None when it is not to be had."""
    cv2 = load_cv2()
    capture = cv2.VideoCapture(str(clip), cv2.CAP_FFMPEG)
    try:
        capture.set(cv2.CAP_PROP_POS_FRAMES, frame)
        ok, picture = capture.read()
    finally:
        capture.release()
    if not ok:
        return None
    _, coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    found: bytes = coded.tobytes()
    return found


def _count(clip: Path) -> int:
    cv2 = load_cv2()
    capture = cv2.VideoCapture(str(clip), cv2.CAP_FFMPEG)
    try:
        return int(capture.get(cv2.CAP_PROP_FRAME_COUNT))
    finally:
        capture.release()


def _refused(target: Path, why: str) -> PicturesError:
    return PicturesError(
        f"{target.name} could not be written to {target.parent} ({why}). A folder that can be "
        "written, on a disk with space, was wanted. Make room, or switch filming off (I)."
    )
