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
#: From the shoulders' middle to the hips' of a grown-up at address, as it is seen from the front.
#: By eye.
_TRUNK_CM: Final = 43.0


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trunk:
    """Where a player's trunk is in the picture, and how large a tag on it is."""

    shoulders_px: FloatArray  #: (2,) middle of both shoulders
    hips_px: FloatArray  #: (2,) middle of both hips
    tag_px: float  #: side of a tag that faces the camera, to a tenth or so

    @property
    def middle_px(self) -> FloatArray:
        """Its middle, (2,)."""
        return (self.shoulders_px + self.hips_px) / 2


def trunk_of(image_px: FloatArray, size_m: float, cm_per_px: float | None = None) -> Trunk:
    """Return the trunk in a pose's (33, 2) points, for tags ``size_m`` large.

    ``cm_per_px`` is what a pixel spans at the player; None: as the trunk's length tells it.
    """
    points = image_px[list(_TRUNK)]
    shoulders, hips = points[:2].mean(axis=0), points[2:].mean(axis=0)
    if cm_per_px is None:
        cm_per_px = _TRUNK_CM / max(float(np.hypot(*(shoulders - hips))), 1.0)
    return Trunk(shoulders_px=shoulders, hips_px=hips, tag_px=100.0 * size_m / cm_per_px)
