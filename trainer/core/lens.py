"""What a camera's lens does to a picture: focal length, centre, distortion.

The model is OpenCV's (docs.opencv.org, module calib3d, "Detailed Description"): a point at
(x, y, z) in the camera's frame (x right, y down, z forward) is seen at::

    a = x / z,  b = y / z,  r2 = a * a + b * b
    radial = 1 + k1 * r2 + k2 * r2**2 + k3 * r2**3
    a' = a * radial + 2 * p1 * a * b + p2 * (r2 + 2 * a * a)
    b' = b * radial + p1 * (r2 + 2 * b * b) + 2 * p2 * a * b
    column = fx * a' + cx,  row = fy * b' + cy

Columns and rows are those of the upright, unmirrored picture; (0, 0) is the middle of its first
pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: Two sizes are of one aspect when their scales across and down differ by no more than this
#: share. Sizes are whole pixels, so 1280 by 720 becomes 854 by 480 (0.08 %) on the way.
SAME_ASPECT: Final = 0.003

_ROUNDS: Final = 20  #: of taking a distortion off
_SIDES: Final = ("width", "height", "diagonal")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A camera's lens at one picture size. Raises ValueError for what no lens can have."""

    size_wh: tuple[int, int]  #: of the picture it holds for
    focal_px: tuple[float, float]  #: (fx, fy)
    centre_px: tuple[float, float]  #: (cx, cy), where the optical axis meets the picture
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)
    """(k1, k2, p1, p2, k3) in OpenCV's order; all 0 for a lens that bends nothing."""

    def __post_init__(self) -> None:
        numbers = (*self.focal_px, *self.centre_px, *self.distortion)
        if not all(math.isfinite(number) for number in numbers):
            raise ValueError(
                f"a lens cannot have the numbers {numbers}. Finite ones were wanted. "
                "Calibrate the camera again."
            )
        if len(self.focal_px) != 2 or len(self.centre_px) != 2 or len(self.distortion) != 5:
            raise ValueError(
                "a lens has two focal lengths, two of the centre and five of the distortion. "
                f"{len(self.focal_px)}, {len(self.centre_px)} and {len(self.distortion)} were "
                "given. Give all of them."
            )
        if min(self.focal_px) <= 0.0 or min(self.size_wh) < 1:
            raise ValueError(
                f"a lens cannot have focal lengths {self.focal_px} and picture size "
                f"{self.size_wh}. Numbers above 0 were wanted. Calibrate the camera again."
            )


def from_field_of_view(deg: float, size_wh: tuple[int, int], *, along: str = "width") -> Lens:
    """Return a lens of this angle of view with its centre in the middle and no distortion.

    ``deg`` is the full angle across the picture's ``along``: "width", "height" or "diagonal"
    (makers mostly state the diagonal). Square pixels. Raises ValueError outside 1 to 179.
    Half the side over the focal length is the tangent of half the angle: plain pinhole geometry.
    """
    if along not in _SIDES:
        raise ValueError(f"{along!r} is no side. One of {', '.join(_SIDES)} was wanted. Give one.")
    if not 1.0 <= deg <= 179.0:
        raise ValueError(
            f"an angle of view of {deg} degrees cannot be used. 1 to 179 was wanted. "
            "Look it up in the camera's data sheet."
        )
    width, height = size_wh
    side_px = {"width": width, "height": height, "diagonal": math.hypot(width, height)}[along]
    focal_px = side_px / 2.0 / math.tan(math.radians(deg) / 2.0)
    return Lens(
        size_wh=size_wh,
        focal_px=(focal_px, focal_px),
        centre_px=((width - 1) / 2.0, (height - 1) / 2.0),
    )


def is_same_aspect(size_wh: tuple[int, int], other_wh: tuple[int, int]) -> bool:
    """Tell whether one size is the other made larger or smaller, to whole pixels."""
    across, down = other_wh[0] / size_wh[0], other_wh[1] / size_wh[1]
    return abs(across / down - 1.0) <= SAME_ASPECT


def scaled(lens: Lens, size_wh: tuple[int, int]) -> Lens:
    """Return the lens for the same picture in another resolution. Distortion stays as it is.

    Holds where the camera makes the smaller picture out of the whole of the larger one. One that
    crops instead shows another angle of view; nothing here can tell.
    Raises ValueError for another aspect: there the camera did crop, and nobody knows where.
    """
    if min(size_wh) < 1 or not is_same_aspect(lens.size_wh, size_wh):
        raise ValueError(
            f"a lens known at {lens.size_wh[0]} by {lens.size_wh[1]} says nothing of "
            f"{size_wh[0]} by {size_wh[1]}. The same shape of picture was wanted. "
            "Calibrate the camera at that size."
        )
    across, down = size_wh[0] / lens.size_wh[0], size_wh[1] / lens.size_wh[1]
    (fx, fy), (cx, cy) = lens.focal_px, lens.centre_px
    return Lens(
        size_wh=size_wh,
        focal_px=(fx * across, fy * down),
        # Edges of the picture stay edges, and they lie half a pixel outside the first middle.
        centre_px=((cx + 0.5) * across - 0.5, (cy + 0.5) * down - 0.5),
        distortion=lens.distortion,
    )


def matrix(lens: Lens) -> NDArray[np.float64]:
    """Return the lens as OpenCV's (3, 3) camera matrix, in pixels."""
    (fx, fy), (cx, cy) = lens.focal_px, lens.centre_px
    return np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])


def seen_deg(lens: Lens) -> tuple[float, float]:
    """Return the angles of view across and down, in degrees, without the distortion's part."""
    (width, height), (fx, fy) = lens.size_wh, lens.focal_px
    return (
        2.0 * math.degrees(math.atan(width / 2.0 / fx)),
        2.0 * math.degrees(math.atan(height / 2.0 / fy)),
    )


def undistorted(lens: Lens, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return where points (N, 2) would be seen at depth 1 through no lens: (N, 2) of a, b.

    The distortion has no inverse in closed form; it is taken off by going round, which for the
    lenses of webcams settles to well under a thousandth of a pixel.
    """
    k1, k2, p1, p2, k3 = lens.distortion
    seen = (points_px - np.array(lens.centre_px)) / np.array(lens.focal_px)
    flat: NDArray[np.float64] = seen.copy()
    for _ in range(_ROUNDS):
        a, b = flat[:, 0], flat[:, 1]
        r2 = a * a + b * b
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        aside = np.column_stack(
            [
                2 * p1 * a * b + p2 * (r2 + 2 * a * a),
                p1 * (r2 + 2 * b * b) + 2 * p2 * a * b,
            ]
        )
        flat = (seen - aside) / radial[:, None]
    return flat
