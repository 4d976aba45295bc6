"""A printed tag seen in a picture, and where in the picture to look for tags."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import Landmark

FloatArray = NDArray[np.float64]
Box = tuple[int, int, int, int]
"""Left, top, right and bottom in whole pixels, right and bottom not included."""

_TRUNK: Final = (
    Landmark.LEFT_SHOULDER,
    Landmark.RIGHT_SHOULDER,
    Landmark.LEFT_HIP,
    Landmark.RIGHT_HIP,
)
_HEAD: Final = (Landmark.NOSE, Landmark.LEFT_EAR, Landmark.RIGHT_EAR)
#: How far beyond trunk and head tags are looked for, in lengths of the trunk. Chosen by eye: half
#: the width of a trunk, and a tag held out from it, and a cap.
_MARGIN: Final = 0.45


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TagSeen:
    """One tag in one picture."""

    number: int  #: of the AprilTag 36h11 family
    #: (4, 2) corners of the black square, from the printed tag's own top left on clockwise;
    #: x right, y down, whole numbers are pixel centres
    corners_px: FloatArray
    noise_px: float  #: one standard error of a corner's x or y; more where the tag is read poorly


def search_box(image_px: FloatArray, size_wh: tuple[int, int]) -> Box | None:
    """Return where tags on trunk, belt and cap can be, from a pose's (33, 2) points.

    None when nothing of it lies in the picture.
    """
    trunk = image_px[list(_TRUNK)]
    shoulders, hips = trunk[:2].mean(axis=0), trunk[2:].mean(axis=0)
    # The trunk's length holds while the shoulders' width shrinks as the body turns.
    room = _MARGIN * float(np.hypot(*(shoulders - hips)))
    points = np.vstack([trunk, image_px[list(_HEAD)]])
    if not np.all(np.isfinite(points)):
        return None
    low, high = points.min(axis=0) - room, points.max(axis=0) + room
    left, top = (int(max(0.0, np.floor(value))) for value in low)
    right, bottom = (int(min(size, np.ceil(v))) for size, v in zip(size_wh, high, strict=True))
    return (left, top, right, bottom) if right > left and bottom > top else None


def trunk_middle(image_px: FloatArray) -> FloatArray:
    """Return the middle of the trunk, (2,), in a pose's (33, 2) points."""
    middle: FloatArray = image_px[list(_TRUNK)].mean(axis=0)
    return middle
