"""Names printed squares that are none of ours, where a player who should wear tags shows none."""

from __future__ import annotations

from collections import deque
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.adapters.tag_align import family
from trainer.core.tag_roles import BY_NUMBER
from trainer.core.tag_seen import Box

#: So long without a tag of ours before others are looked for; then a family every so often, for a
#: look takes as long as one at ours.
WITHOUT_S: Final = 3.0
EVERY_S: Final = 0.1
#: A family is believed when it is read so often in its last so many looks: the small ones have
#: patterns that a shirt shows now and then.
ENOUGH: Final = 3
OF: Final = 4
#: Words for the families of OpenCV. Ours comes first: its numbers that belong to no place.
OURS: Final = "AprilTag 36h11"
OTHERS: Final = {
    "AprilTag 16h5": "DICT_APRILTAG_16h5",
    "AprilTag 25h9": "DICT_APRILTAG_25h9",
    "AprilTag 36h10": "DICT_APRILTAG_36h10",
    "ArUco 4x4": "DICT_4X4_1000",
    "ArUco 5x5": "DICT_5X5_1000",
    "ArUco 6x6": "DICT_6X6_1000",
    "ArUco 7x7": "DICT_7X7_1000",
    "ArUco original": "DICT_ARUCO_ORIGINAL",
    "ArUco MIP 36h12": "DICT_ARUCO_MIP_36h12",
}
#: The shortest side of a square that is believed, in pixels.
_SIDE_PX: Final = 18.0


class OtherTags:
    """Looks, while no tag of ours is seen, for squares of other families and of other numbers."""

    def __init__(self) -> None:
        self._seen_s: float | None = None
        self._look_s = 0.0
        self._next = 0
        self._read: dict[str, deque[bool]] = {}

    def look(
        self,
        t_s: float,
        image: NDArray[np.uint8],
        box_px: Box | None,
        *,
        ours: bool,
    ) -> str:
        """Return plain words about foreign squares on the player, or an empty string.

        ``image`` is (H, W, 3) RGB, ``box_px`` where the body is, ``ours`` whether a tag of ours
        was seen in it. Times are seconds and never go back.
        """
        if ours or self._seen_s is None or box_px is None:
            self._seen_s = t_s
            self._read.clear()
            return ""
        if t_s - self._seen_s >= WITHOUT_S and t_s - self._look_s >= EVERY_S:
            self._look_s = t_s
            names = (OURS, *OTHERS)
            name = names[self._next % len(names)]
            self._next += 1
            looks = self._read.setdefault(name, deque(maxlen=OF))
            looks.append(_is_read(name, image, box_px))
        for name, looks in self._read.items():
            if sum(looks) >= ENOUGH:
                return _words(name)
        return ""


def _words(name: str) -> str:
    what = "their numbers are of no place" if name == OURS else f"of another family ({name})"
    return (
        f"There are printed squares on the body, but {what}. Sheets of trainer tags ({OURS}) were "
        "wanted: print those and wear them."
    )


def _is_read(name: str, image: NDArray[np.uint8], box: Box) -> bool:
    cv2 = load_cv2()
    height, width = image.shape[:2]
    left, top = (max(0, int(value)) for value in box[:2])
    right, bottom = min(width, int(box[2])), min(height, int(box[3]))
    if right - left < _SIDE_PX or bottom - top < _SIDE_PX:
        return False
    grey = cv2.cvtColor(np.ascontiguousarray(image[top:bottom, left:right]), cv2.COLOR_RGB2GRAY)
    corners, numbers, _ = _detector(name).detectMarkers(grey)
    if numbers is None:
        return False
    for number, found in zip(numbers.ravel(), corners, strict=True):
        square = np.asarray(found, np.float64).reshape(4, 2)
        sides = np.linalg.norm(square - np.roll(square, 1, axis=0), axis=1)
        if sides.min() >= _SIDE_PX and (name != OURS or int(number) not in BY_NUMBER):
            return True
    return False


@cache
def _detector(name: str) -> Any:  # noqa: ANN401 - a type of OpenCV
    cv2 = load_cv2()
    params = cv2.aruco.DetectorParameters()
    params.adaptiveThreshWinSizeMin = params.adaptiveThreshWinSizeMax = 13
    params.errorCorrectionRate = 0.0  # every bit right
    if name == OURS:
        dictionary = family()
    else:
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, OTHERS[name]))
    return cv2.aruco.ArucoDetector(dictionary, params)
