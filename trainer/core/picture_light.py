"""How light and how sharp the player is in the picture, read from the picture itself.

Limits were chosen by eye; a picture tells neither lux nor the time the shutter is open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.landmarks import Landmark
from trainer.core.records import Pose

FloatArray = NDArray[np.float64]

#: Weights of red, green and blue in luma: ITU-R BT.601.
LUMA: Final = np.array([0.299, 0.587, 0.114])
COARSE: Final = 8  #: every eighth pixel each way is enough for light
#: Places well inside the body, each between two points: face, forearms, trunk, thighs.
_INSIDE: Final = (
    (Landmark.NOSE, Landmark.MOUTH_LEFT),
    (Landmark.LEFT_ELBOW, Landmark.LEFT_WRIST),
    (Landmark.RIGHT_ELBOW, Landmark.RIGHT_WRIST),
    (Landmark.LEFT_SHOULDER, Landmark.RIGHT_HIP),
    (Landmark.RIGHT_SHOULDER, Landmark.LEFT_HIP),
    (Landmark.LEFT_HIP, Landmark.LEFT_KNEE),
    (Landmark.RIGHT_HIP, Landmark.RIGHT_KNEE),
)
#: Half the side of the patch round the hands, in body heights.
HANDS_BH: Final = 0.08
#: Least mean step from pixel to pixel across a movement for a patch to show anything.
LEAST_STEP: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Luma, 0 black to 255 white."""

    subject: float  #: of the lighter parts of the player; of the middle of the picture without
    surround: float  #: median of the picture outside the player


def light_of(image_rgb: NDArray[np.uint8], pose: Pose | None) -> Light:
    """Return how light the player and the rest of an unmirrored picture (H, W, 3) are.

    The lighter half of several places on the body counts: dark trousers are no lack of light.
    """
    coarse = np.asarray(image_rgb[::COARSE, ::COARSE] @ LUMA)
    h, w = coarse.shape
    rest = np.ones((h, w), dtype=bool)
    if pose is None:
        middle = coarse[h // 4 : 3 * h // 4, w // 3 : 2 * w // 3]
        rest[:, w // 4 : 3 * w // 4] = False
        return Light(subject=float(middle.mean()), surround=_median(coarse[rest], coarse))
    points = pose.image_px / COARSE
    patches = []
    for first, second in _INSIDE:
        x, y = (points[first] + points[second]) * 0.5
        if 1 <= x < w - 1 and 1 <= y < h - 1:
            row, column = int(y), int(x)
            patches.append(float(coarse[row - 1 : row + 2, column - 1 : column + 2].mean()))
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    wide = 0.1 * (y1 - y0)
    left, right = max(int(x0 - wide), 0), max(int(x1 + wide), 0)
    rest[max(int(y0 - wide), 0) :, left:right] = False
    lighter = sorted(patches)[len(patches) // 2 :] or [float(coarse.mean())]
    return Light(subject=sum(lighter) / len(lighter), surround=_median(coarse[rest], coarse))


def _median(part: FloatArray, whole: FloatArray) -> float:
    return float(np.median(part if part.size else whole))


def sharpness_of_hands(
    image_rgb: NDArray[np.uint8], pose: Pose, moving_px: FloatArray
) -> float | None:
    """Return how steep the picture is along the hands' movement, over how steep across it.

    ``moving_px`` (2,) points where the hands go. An open shutter smears along the movement and
    leaves what lies across it; a sharp forearm and shaft have their edges along it. About 1 and
    more is sharp, well under 1 smeared. None where there is nothing to see, or the hands are at
    the picture's edge.
    """
    h, w = image_rgb.shape[:2]
    tall = float(np.ptp(pose.image_px[:, 1]))
    half = int(HANDS_BH * tall)
    x, y = (pose.image_px[Landmark.LEFT_WRIST] + pose.image_px[Landmark.RIGHT_WRIST]) * 0.5
    length = float(np.hypot(*moving_px))
    if half < 6 or length <= 0 or not (half <= x < w - half and half <= y < h - half):
        return None
    row, column = int(y), int(x)
    patch = image_rgb[row - half : row + half, column - half : column + half] @ LUMA
    down, right = np.gradient(np.asarray(patch))
    ux, uy = moving_px / length
    along = float(np.abs(right * ux + down * uy).mean())
    across = float(np.abs(-right * uy + down * ux).mean())
    return along / across if across >= LEAST_STEP else None
