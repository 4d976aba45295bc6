"""A tag's corners and the camera's lens -> the attitudes they allow, by OpenCV.

The two attitudes of a square are OpenCV's ``SOLVEPNP_IPPE_SQUARE`` (T. Collins and A. Bartoli,
"Infinitesimal plane-based pose estimation", IJCV 109, 2014), each then brought to the least
squared distance from the corners.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.core import rotation as rot
from trainer.core.lens import Lens
from trainer.core.tag_pose import Attitude, Hint, TagPose, chosen, misfit_of, refined
from trainer.core.tag_seen import TagSeen

FloatArray = NDArray[np.float64]


class TagSolver:
    """Solves tags seen through one lens.

    ``size_m`` is the black square's side as it was measured: one for all, or by number.
    """

    def __init__(self, lens: Lens, size_m: float | Mapping[int, float]) -> None:
        self._size_m = size_m
        self._focal_px = float(np.sqrt(lens.focal_px[0] * lens.focal_px[1]))
        self._camera = np.array(
            [
                [lens.focal_px[0], 0.0, lens.centre_px[0]],
                [0.0, lens.focal_px[1], lens.centre_px[1]],
                [0.0, 0.0, 1.0],
            ]
        )
        self._distortion = np.array(lens.distortion, np.float64)

    def size_m(self, number: int) -> float | None:
        """Return the side told for a tag; None when none was."""
        if isinstance(self._size_m, Mapping):
            return self._size_m.get(number)
        return self._size_m

    def attitudes(self, tag: TagSeen) -> tuple[Attitude, ...]:
        """Return the one or two attitudes of a tag before the camera; () where none solves."""
        size_m = self.size_m(tag.number)
        if size_m is None:
            return ()
        cv2 = load_cv2()
        corners = self._flat(tag.corners_px)
        noise = tag.noise_px / self._focal_px
        # OpenCV counts y up and z out of the sheet and loses its way at half a turn, so also for
        # an upright sheet square to the camera. Bottom row first makes it y down and z into the
        # sheet; and the sheet is rolled upright by quarter turns beforehand, and back after.
        quarters = _quarters(corners)
        rolled = np.roll(corners, quarters, axis=0)
        count, turns, places, _ = cv2.solvePnPGeneric(
            _upwards(size_m), rolled[::-1].copy(), np.eye(3), None, flags=cv2.SOLVEPNP_IPPE_SQUARE
        )
        back = np.round(rot.from_vector(np.array([0.0, 0.0, np.pi / 2 * quarters])))
        found = []
        for turn, place in zip(turns[:count], places[:count], strict=True):
            place_m = np.asarray(place, np.float64).ravel()
            rotation = np.asarray(cv2.Rodrigues(turn)[0], np.float64) @ back
            if not np.all(np.isfinite(rotation)) or place_m[2] <= 0:
                continue
            misfit = misfit_of(rotation, place_m, corners, size_m=size_m, noise=noise)
            rough = Attitude(rotation=rotation, place_m=place_m, misfit=misfit)
            found.append(refined(rough, corners, size_m=size_m, noise=noise))
        return tuple(found)

    def pose(self, tag: TagSeen, hints: Sequence[Hint] = ()) -> TagPose | None:
        """Return the likeliest pose of a tag seen; None without a told size or a solution."""
        size_m = self.size_m(tag.number)
        if size_m is None:
            return None
        noise = tag.noise_px / self._focal_px
        return chosen(tag.number, self.attitudes(tag), size_m=size_m, noise=noise, hints=hints)

    def _flat(self, corners_px: FloatArray) -> FloatArray:
        """Return the corners (4, 2) as a lens without distortion one unit away has them."""
        cv2 = load_cv2()
        flat = cv2.undistortPoints(corners_px.reshape(-1, 1, 2), self._camera, self._distortion)
        return np.asarray(flat, np.float64).reshape(4, 2)


def _quarters(corners: FloatArray) -> int:
    """Return by how many quarter turns, clockwise in the picture, the tag is rolled."""
    right, down = corners[1] - corners[0]
    return round(float(np.arctan2(down, right)) / (np.pi / 2)) % 4


def _upwards(size_m: float) -> FloatArray:
    """Return the corners (4, 3) in the order and axes that OpenCV wants: y up, top left first."""
    flat = np.array([[-1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [1.0, -1.0, 0.0], [-1.0, -1.0, 0.0]])
    return flat * (size_m / 2)
