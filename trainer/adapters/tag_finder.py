"""Finds the printed tags on the player: OpenCV's detector for which, the alignment for where.

Called from the pose thread only. A tag once found is followed from frame to frame by laying the
known tag over the picture where it is expected; OpenCV's detector looks over the body's box when
one got lost, and else in every third frame, for new ones; one whose outline an arm or another
card takes is sought by its inside where it is worn (``tag_coarse``). Following goes on to angles,
and under a hand that covers a corner, where the detector finds nothing.
"""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.tag_align import Aligned, align, align_on, family, opencv, sides
from trainer.adapters.tag_coarse import SOUGHT, coarse, paint, side_px
from trainer.core.tag_roles import BY_NUMBER
from trainer.core.tag_seen import Box, TagSeen, Trunk

FloatArray = NDArray[np.float64]

#: Frames from one look over the whole box to the next while nothing was lost.
SEARCH_EVERY: Final = 3
#: Looks taken in turn: the detector's window in pixels of a picture so many times enlarged, and by
#: how many grey levels black must be darker than the window's mean. A near tag needs a larger
#: window, a small or oblique one more pixels, a dim one less of a difference. Of tags that lay bare
#: in rendered pictures the plain look found 54 to 92 %, by where they are worn, enlarged 71 to 96.
_LOOKS: Final = ((9, 1, 7), (13, 2, 7), (19, 1, 7), (13, 2, 3))
#: A crop longer than this shows tags large enough, and would take long to look over enlarged.
_LONG_PX: Final = 640
#: Wrong bits put right, of those that the family allows: a tag is then laid over the picture, and
#: one that is not there does not fit.
_MEND: Final = 1.0
#: How far from straight the sides of a small square may be, and the edge of each cell that is left
#: out, both as shares.
_CROOKED: Final = 0.06
_EDGE: Final = 0.3
_CELL_PX: Final = 8
#: The shortest way round a tag that can be read, in pixels: 1.25 a cell.
_LEAST_ROUND_PX: Final = 40.0
#: Room round the last corners when nobody says where the body is, in sides of the tag.
_ROOM: Final = 1.0
#: Looks a picture for tags not seen, by their insides; and how many in vain, since a tag was last
#: lost, make one likely not worn, or covered: for such there is one every second picture.
_SEEK: Final = 4
_PATIENCE: Final = 180
#: From this share of fitting samples on a tag is looked for as a whole one.
_WHOLE: Final = 0.985


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Track:
    corners_px: FloatArray
    laid: Aligned
    #: (2,) how its middle moved from the frame before
    step_px: FloatArray = field(default_factory=lambda: np.zeros(2))


class TagFinder:
    """Finds tags of ``numbers`` (default: every role's) in one camera's pictures, in order."""

    def __init__(self, numbers: tuple[int, ...] = tuple(BY_NUMBER)) -> None:
        self._numbers = frozenset(numbers)
        self._tracks: dict[int, _Track] = {}
        self._detectors = _detectors()
        self._frame = 0
        self._looks = 0
        self._sought: dict[int, int] = {}  # by number, looks so far
        self._vain: dict[int, int] = {}  # by number, those since the last tag was lost
        self._turn = 0  # whose the next look is
        self._notice = ""

    def find(
        self,
        image: NDArray[np.uint8],
        box_px: Box | None,
        *,
        trunk: Trunk | None = None,
        expected_px: Mapping[int, FloatArray] | None = None,
        attitudes: Mapping[int, FloatArray] | None = None,
    ) -> tuple[TagSeen, ...]:
        """Return the player's tags in ``image``, (H, W) grey or (H, W, 3) RGB, by number.

        ``box_px`` is where the player's body is (``tag_seen.search_box``); None: only where tags
        were in the last frame. ``trunk``: where the body is more exactly; None: not known. Of two
        tags of one number the one nearest to its middle, or the box', is the player's, and tags
        whose outline is lost are sought where they are worn. ``expected_px`` are corners
        (4, 2) of tags not now followed, where the body's other tags say that they must be.
        ``attitudes`` (3, 3), from a tag's axes to the camera's, is how tags may be turned now.
        """
        self._notice = ""
        room = self._room(box_px, image.shape[:2])
        if room is None:
            return ()
        left, top, right, bottom = room
        grey = _grey(image[top:bottom, left:right])
        corner = np.array([left, top], np.float64)
        starts = {n: t.corners_px + t.step_px for n, t in self._tracks.items()}
        followed = set(starts)
        for number, corners in (expected_px or {}).items():
            if number in self._numbers:
                starts.setdefault(number, corners)
        seen: dict[int, _Track] = {}
        for number, start in starts.items():
            self._keep(seen, number, self._followed(grey, number, start, corner))
        lost = not followed <= set(seen)
        if lost:
            self._vain.clear()  # something moves: what was not there may come in now
        # Where a trunk is known the two ways of looking take turns: together they would be long.
        every = SEARCH_EVERY if seen or trunk is None else 2
        if box_px is not None and (lost or self._frame % every == 0):
            middle = _middle(box_px) if trunk is None else trunk.middle_px
            self._search(grey, corner, box_px, middle, seen)
        elif trunk is not None:
            self._seek(grey, corner, trunk, seen, attitudes or {})
        self._frame += 1
        self._follow(seen)
        return tuple(
            TagSeen(number=n, corners_px=seen[n].corners_px, noise_px=seen[n].laid.noise_px)
            for n in sorted(seen)
        )

    def notice(self) -> str:
        """Return plain words about what the last ``find`` met, or an empty string."""
        return self._notice

    def reset(self) -> None:
        """Forget every tag followed: a new player, or another camera."""
        self._tracks.clear()
        self._sought.clear()
        self._vain.clear()
        self._frame = self._looks = self._turn = 0
        self._notice = ""

    def _room(self, box: Box | None, shape: tuple[int, ...]) -> Box | None:
        parts = [] if box is None else [box]
        for track in self._tracks.values():
            (x0, y0), (x1, y1) = _ends(track.corners_px)
            room = _ROOM * max(x1 - x0, y1 - y0)
            parts.append((x0 - room, y0 - room, x1 + room, y1 + room))
        if not parts:
            return None
        left, top = (int(max(0.0, math.floor(min(part[k] for part in parts)))) for k in (0, 1))
        right, bottom = (
            int(min(side, math.ceil(max(part[k] for part in parts))))
            for side, k in ((shape[1], 2), (shape[0], 3))
        )
        return (left, top, right, bottom) if right - left > 16 and bottom - top > 16 else None

    def _search(
        self,
        grey: NDArray[np.uint8],
        corner: FloatArray,
        box: Box,
        middle: FloatArray,
        seen: dict[int, _Track],
    ) -> None:
        """Look over the crop with the detector; what it says of a number overrules following."""
        detector = self._detectors[self._looks % len(_LOOKS)]
        self._looks += 1
        found: dict[int, list[FloatArray]] = {}
        for number, corners in _detected(*detector, grey):
            if _inside(corners.mean(axis=0) + corner, box):
                found.setdefault(number, []).append(corners + corner)
        for number in [n for n, tag in seen.items() if _is_another(n, tag, found)]:
            del seen[number]  # the detector reads another number there
        for number in sorted(self._numbers & set(found)):
            places = sorted(found[number], key=lambda c: _apart(c.mean(axis=0), middle))
            if len(places) > 1:
                self._notice = (
                    f"{len(places)} tags with the number {number} ({BY_NUMBER[number].name}): "
                    "the one nearest to the player's middle counts"
                    if number in BY_NUMBER
                    else f"{len(places)} tags with the number {number}"
                )
            if number in seen and _same_place(seen[number].corners_px, places[0]):
                continue
            self._keep(seen, number, _aligned(grey, number, places[0], corner))

    def _seek(
        self,
        grey: NDArray[np.uint8],
        corner: FloatArray,
        trunk: Trunk,
        seen: dict[int, _Track],
        attitudes: Mapping[int, FloatArray],
    ) -> None:
        """Look for the tags not seen where they are worn, by their insides, in turn."""
        for number in seen:
            self._vain.pop(number, None)
        missing = [n for n in SOUGHT if n in self._numbers and n not in seen]
        if not missing:
            return
        side = side_px([tag.corners_px for tag in seen.values()])
        eager = [n for n in missing if self._vain.get(n, 0) < _PATIENCE]
        turns, count = (eager, _SEEK) if eager else (missing, 1 - self._frame % 2)
        if not count:
            return
        bare = grey.copy()
        for tag in seen.values():
            paint(bare, tag.corners_px - corner)
        for _ in range(count):
            number = turns[self._turn % len(turns)]
            self._turn += 1
            if number in seen:
                continue
            look = self._sought.get(number, 0)
            self._sought[number] = look + 1
            self._vain[number] = self._vain.get(number, 0) + 1
            start = coarse(bare, corner, trunk, number, look, side, attitudes.get(number))
            if start is not None:
                self._keep(seen, number, _aligned(grey, number, start, corner))
                paint(bare, start - corner)  # right or wrong, the next look is for elsewhere

    def _followed(
        self, grey: NDArray[np.uint8], number: int, start: FloatArray, corner: FloatArray
    ) -> _Track | None:
        """Look where a tag is expected; one that was read last time may since be half hidden."""
        before = self._tracks.get(number)
        if before is None:
            return _aligned(grey, number, start, corner)
        # Whole tags are laid without regard to what was before, so that no error is dragged along.
        ways = (None, before.laid) if before.laid.share > _WHOLE else (before.laid, None)
        for way in ways:
            found = _aligned(grey, number, start, corner, way)
            if found is not None:
                return found
        return None

    @staticmethod
    def _keep(seen: dict[int, _Track], number: int, tag: _Track | None) -> None:
        if tag is not None:
            seen[number] = tag

    def _follow(self, seen: dict[int, _Track]) -> None:
        for number, tag in seen.items():
            if number in self._tracks:
                before = self._tracks[number].corners_px
                if _same_place(before, tag.corners_px):
                    step = (tag.corners_px - before).sum(axis=0) / 4
                    seen[number] = replace(tag, step_px=step)
        self._tracks = seen


def bench(
    images: list[NDArray[np.uint8]], box_px: Box, trunk: Trunk | None = None, *, rounds: int = 5
) -> tuple[float, float, float]:
    """Return (median ms, worst ms, mean tags seen) of ``find`` over ``images``.

    Times are this process' processor time. The first two frames, which build the tables, do not
    count.
    """
    finder = TagFinder()
    finder.find(images[0], box_px, trunk=trunk)
    finder.find(images[0], box_px, trunk=trunk)
    spent_ms, tags = [], 0
    for _ in range(rounds):
        # To and fro, so that no tag jumps from the last picture to the first.
        for image in [*images, *reversed(images)]:
            begin_s = time.process_time()
            tags += len(finder.find(image, box_px, trunk=trunk))
            spent_ms.append((time.process_time() - begin_s) * 1e3)
    return float(np.median(spent_ms)), max(spent_ms), tags / len(spent_ms)


def _detectors() -> tuple[tuple[Any, int], ...]:
    cv2 = opencv()
    detectors = []
    for window, times, darker in _LOOKS:
        params = cv2.aruco.DetectorParameters()
        params.adaptiveThreshWinSizeMin = params.adaptiveThreshWinSizeMax = window
        params.adaptiveThreshConstant = darker
        params.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
        params.errorCorrectionRate = _MEND
        params.polygonalApproxAccuracyRate = _CROOKED
        params.perspectiveRemoveIgnoredMarginPerCell = _EDGE
        params.perspectiveRemovePixelPerCell = _CELL_PX
        detectors.append((cv2.aruco.ArucoDetector(family(), params), times))
    return tuple(detectors)


def _detected(
    detector: Any,  # noqa: ANN401 - a type of OpenCV
    times: int,
    grey: NDArray[np.uint8],
) -> list[tuple[int, FloatArray]]:
    """Return (number, corners (4, 2)) of every tag in the crop, of any number."""
    if max(grey.shape) > _LONG_PX:
        times = 1
    if times > 1:
        cv2 = opencv()
        grey = cv2.resize(grey, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)
    params = detector.getDetectorParameters()
    params.minMarkerPerimeterRate = times * _LEAST_ROUND_PX / max(grey.shape)
    detector.setDetectorParameters(params)
    corners, numbers, _ = detector.detectMarkers(grey)
    if numbers is None:
        return []
    return [
        (int(number), (np.asarray(found, np.float64).reshape(4, 2) + 0.5) / times - 0.5)
        for number, found in zip(numbers.ravel(), corners, strict=True)
    ]


def _aligned(
    grey: NDArray[np.uint8],
    number: int,
    start_px: FloatArray,
    corner: FloatArray,
    before: Aligned | None = None,
) -> _Track | None:
    start = start_px - corner
    found = align(grey, start, number) if before is None else align_on(grey, start, number, before)
    if found is None:
        return None
    height, width = grey.shape
    # Beyond the crop the picture's edge repeats: a tag cut off there would be read crooked.
    low, high = _ends(found.corners_px)
    if min(low) < 0 or high[0] > width - 1 or high[1] > height - 1:
        return None
    return _Track(corners_px=found.corners_px + corner, laid=found)


def _grey(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    if image.ndim == 2:
        return np.ascontiguousarray(image)
    cv2 = opencv()
    grey: NDArray[np.uint8] = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    return grey


def _ends(corners: FloatArray) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the least and the greatest x and y."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners.tolist()
    return (min(ax, bx, cx, dx), min(ay, by, cy, dy)), (max(ax, bx, cx, dx), max(ay, by, cy, dy))


def _middle(box: Box) -> FloatArray:
    return np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])


def _apart(one: FloatArray, other: FloatArray) -> float:
    return math.dist(one.tolist(), other.tolist())


def _inside(point: FloatArray, box: Box) -> bool:
    return bool(box[0] <= point[0] < box[2] and box[1] <= point[1] < box[3])


def _same_place(one: FloatArray, other: FloatArray) -> bool:
    """Tell whether two tags' middles lie closer than half a tag's side."""
    x, y = ((one - other).sum(axis=0) / 4).tolist()
    return math.hypot(x, y) < max(sides(one)) / 2


def _is_another(number: int, tag: _Track, found: Mapping[int, list[FloatArray]]) -> bool:
    return any(
        _same_place(tag.corners_px, corners)
        for other, places in found.items()
        if other != number
        for corners in places
    )
