"""Looks for a tag whose outline is lost: an arm or another card over its white, a sleeve beside it.

OpenCV's detector begins with the outline, so such a tag is not found though all of it shows, and
one seen at an angle is small enough to be missed without that. Here the picture is undone about
where the tag is worn, as if the tag were seen squarely, and its inside laid over by normalised
correlation. At which angle it may be seen is tried by turns, few a picture, so that a round of all
takes less than a second and no picture long. What that gives is a start for the alignment, which
believes nothing that is not the tag.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.tag_align import CELLS, family, opencv, sides
from trainer.core.tag_seen import Trunk

FloatArray = NDArray[np.float64]
Image = NDArray[np.uint8]

#: Correlation from which on a find is worth polishing, and then the alignment. Tags in full view in
#: rendered pictures, laid where they are, had 0.85 to 0.95 up to 70 degrees.
_WORTH: Final = 0.55
_LEAST: Final = 0.7
_DULL: Final = 110  #: a grey level
#: Nothing is laid over narrower than this share of its length.
_NARROW: Final = 0.3
#: Polishing: so much wider, taller, askew and rolled is tried, so often, and how far to each side.
_BY: Final = 0.09
_ROUNDS: Final = 3
_NEAR_PX: Final = 2.0
_CELL_PX: Final = 3
#: Of the black border this share of a cell is used: beside it the arm begins.
_BORDER: Final = 0.25
#: Sizes tried where no other tag tells how large one is, in sizes told by the body.
_SIZES: Final = (1.0, 0.88, 1.13)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Worn:
    """Where a tag is worn, and how it is turned while the detector is likeliest to miss it."""

    #: Least and greatest distance of its middle beside the trunk's line, and below the shoulders,
    #: in sides of a tag. A trunk is some four long. Of rendered people 98 in 100 lay well within.
    beside: tuple[float, float]
    below: tuple[float, float]
    #: Degrees round the trunk (to that side of the picture on which it is looked for), how far the
    #: trunk leans to the camera, and how it rolls in the picture.
    round_deg: tuple[float, ...]
    lean_deg: tuple[float, ...]
    roll_deg: tuple[float, ...]
    #: Round, lean and roll tried besides: a card under heavy ribs looks down more than the trunk.
    steep_deg: tuple[tuple[float, float, float], ...] = ()

    @property
    def one_side(self) -> bool:
        """Whether it is worn to one side; which is not known, so both are tried."""
        return self.beside[0] != -self.beside[1]

    def ways(self) -> list[tuple[int, float, float, float]]:
        """Return (side, round, lean, roll) of every look, in an order that leaps about."""
        lies = [*itertools.product(self.round_deg, self.lean_deg, self.roll_deg), *self.steep_deg]
        every = [
            (side, turned, lean, roll)
            for side, (turned, lean, roll) in itertools.product((1, -1), lies)
            if side > 0 or self.one_side or turned > 0
        ]
        step = next(
            n for n in range(len(every) * 5 // 13, len(every)) if math.gcd(n, len(every)) < 2
        )
        return [every[k * step % len(every)] for k in range(len(every))]


_WORN: Final = {
    0: _Worn(
        beside=(-1.2, 1.2),
        below=(-0.5, 1.9),
        round_deg=(0.0, 22.0),
        lean_deg=(8.0, 30.0),
        roll_deg=(-12.0, -4.0, 4.0, 12.0),
    ),
    1: _Worn(
        beside=(-0.4, 2.0),
        below=(0.8, 3.2),
        round_deg=(20.0, 37.0, 50.0, 60.0, 68.0),
        lean_deg=(10.0, 25.0, 40.0),
        roll_deg=(-9.0, 6.0),
        steep_deg=((8.0, 58.0, -10.0), (8.0, 58.0, 5.0), (28.0, 58.0, -18.0), (28.0, 58.0, -3.0)),
    ),
    10: _Worn(
        beside=(-1.6, 1.6),
        below=(2.1, 4.8),
        round_deg=(0.0, 25.0),
        lean_deg=(5.0, 25.0, 40.0),
        roll_deg=(-8.0, 4.0),
    ),
    11: _Worn(
        beside=(0.6, 2.7),
        below=(1.8, 4.2),
        round_deg=(20.0, 37.0, 50.0, 60.0, 68.0),
        lean_deg=(5.0, 20.0, 35.0),
        roll_deg=(-9.0, 6.0),
    ),
}
_WAYS: Final = {number: worn.ways() for number, worn in _WORN.items()}
#: The tags that are sought so: those that every player is told to wear.
SOUGHT: Final = tuple(_WORN)


def coarse(
    grey: Image,
    corner: FloatArray,
    trunk: Trunk,
    number: int,
    look: int,
    side_px: float | None,
    attitude: FloatArray | None = None,
) -> FloatArray | None:
    """Return the corners (4, 2) that a tag may have in the whole picture, or None: one look for it.

    ``grey`` is the part of the picture from ``corner`` (2,) on. ``look`` counts the looks for
    this ``number``; each tries another angle. ``side_px`` is how large other tags are now, seen
    squarely; None: none is seen. ``attitude`` (3, 3) is how the tag is thought to be turned, from
    its axes to the camera's: every second look tries that.
    """
    ways, worn = _WAYS[number], _WORN[number]
    size = 1.0
    if side_px is None:
        side_px = trunk.tag_px
        size = _SIZES[look // len(ways) % len(_SIZES)]
    if attitude is not None and look % 2 == 0:
        shape = attitude[:2, :2] * side_px * size
        reach = max(worn.beside)
        ends = [-reach, reach]
    else:
        side, turned, lean, roll = ways[(look if attitude is None else look // 2) % len(ways)]
        shape = _shape(side * turned, lean, side * roll) * side_px * size
        ends = sorted(side * end for end in worn.beside)
    origin = trunk.shoulders_px - corner
    low = origin + np.array([ends[0], worn.below[0]]) * side_px
    high = origin + np.array([ends[1], worn.below[1]]) * side_px
    match = _matched(grey, number, shape, low, high)
    if match is None or match[0] < _WORTH:
        return None
    shape, (likeness, middle) = _polished(grey, number, shape, match)
    if likeness < _LEAST:
        return None
    found: FloatArray = middle + _CORNERS @ shape.T / 2 + corner
    return found


def paint(grey: Image, corners: FloatArray) -> None:
    """Paint over in place what is no tag, or is read already: it likes to look like another."""
    opencv().fillConvexPoly(grey, np.round(corners).astype(np.int32), _DULL)


def _polished(
    grey: Image, number: int, shape: FloatArray, match: tuple[float, FloatArray]
) -> tuple[FloatArray, tuple[float, FloatArray]]:
    """Return shape and match after those small changes that make it likelier."""
    for _ in range(_ROUNDS):
        best, better = shape, match
        for change in _CHANGES:
            tried = change @ shape
            now = _matched(grey, number, tried, match[1] - _NEAR_PX, match[1] + _NEAR_PX)
            if now is not None and now[0] > better[0]:
                best, better = tried, now
        if better is match:
            break
        shape, match = best, better
    return shape, match


#: Wider or narrower, taller or shorter, askew, and rolled.
_CHANGES: Final = tuple(
    np.eye(2) + way * _BY * np.array(change)
    for change in ([[1, 0], [0, 0]], [[0, 0], [0, 1]], [[0, 0], [1, 0]], [[0, 1], [-1, 0]])
    for way in (1, -1)
)
#: Corners from a tag's middle, in halves of its sides.
_CORNERS: Final = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def _shape(round_deg: float, lean_deg: float, roll_deg: float) -> FloatArray:
    """Return (2, 2): columns, the tag's right and down sides in the picture, 1 long squarely.

    From far away. ``round_deg`` about the trunk's axis, + to the right in the picture; the trunk
    leans to the camera by ``lean_deg``; then it rolls anticlockwise in the picture.
    """
    turned, lean, roll = np.radians([round_deg, lean_deg, roll_deg])
    flat = np.array([[np.cos(turned), 0.0], [-np.sin(turned) * np.sin(lean), np.cos(lean)]])
    way = np.array([[np.cos(roll), np.sin(roll)], [-np.sin(roll), np.cos(roll)]])
    return way @ flat


def _matched(
    grey: Image, number: int, shape: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[float, FloatArray] | None:
    """Return how like the tag the likeliest place between ``low`` and ``high`` is, and it (2,)."""
    cv2 = opencv()
    height, width = grey.shape
    left, top = max(float(low[0]), 0.0), max(float(low[1]), 0.0)
    right, bottom = min(float(high[0]), width - 1.0), min(float(high[1]), height - 1.0)
    if not (right > left and bottom > top):
        return None
    # Undone is only what is askew: stretched to a square, a tag seen at an angle would cost more
    # and show no more.
    (a, b), (c, d) = shape.tolist()
    long = math.hypot(a, c), math.hypot(b, d)
    most = max(long)
    across, down = (round(CELLS * _CELL_PX * max(one / most, _NARROW)) for one in long)
    inside = _inside(number, across, down)
    # From sheet (in pixels of the inside as it is kept) to picture, and back.
    a, b, c, d = a / across, b / down, c / across, d / down
    area = a * d - b * c
    if not area > 0:
        return None
    ends = [(x, y) for x in (left, right) for y in (top, bottom)]
    on_x = [(d * x - b * y) / area for x, y in ends]
    on_y = [(a * y - c * x) / area for x, y in ends]
    high_px, wide_px = inside.shape
    begin_x = math.floor(min(on_x)) - wide_px // 2 - 1
    begin_y = math.floor(min(on_y)) - high_px // 2 - 1
    size = (
        math.ceil(max(on_x)) + wide_px // 2 + 2 - begin_x,
        math.ceil(max(on_y)) + high_px // 2 + 2 - begin_y,
    )
    if max(size) > _MOST_PX:
        return None
    to_picture = np.array(
        [[a, b, a * begin_x + b * begin_y], [c, d, c * begin_x + d * begin_y]], np.float64
    )
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    undone = cv2.warpAffine(grey, to_picture, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    likeness = cv2.matchTemplate(undone, inside, cv2.TM_CCOEFF_NORMED)
    _, best, _, place = cv2.minMaxLoc(likeness)
    x = place[0] + (wide_px - 1) / 2 + begin_x
    y = place[1] + (high_px - 1) / 2 + begin_y
    return float(best), np.array([a * x + b * y, c * x + d * y])


#: No larger part of a picture is undone: a body that fills it is no golfer's whole one.
_MOST_PX: Final = 600


@lru_cache(maxsize=256)
def _inside(number: int, across: int, down: int) -> Image:
    """Return the tag's inside as a lens shows it, the whole tag so many pixels large."""
    cv2 = opencv()
    fine = 4 * CELLS * _CELL_PX
    flat = cv2.aruco.generateImageMarker(family(), number, fine)
    blurred = cv2.GaussianBlur(flat, (0, 0), 1.2 * _CELL_PX)
    edge = round((1.0 - _BORDER) * fine / CELLS)
    cut = blurred[edge:-edge, edge:-edge]
    share = cut.shape[0] / fine
    size = (max(round(across * share), 4), max(round(down * share), 4))
    inside: Image = cv2.resize(cut, size, interpolation=cv2.INTER_AREA)
    return inside


def side_px(corners: Sequence[FloatArray]) -> float | None:
    """Return how large tags of these corners are where they face the camera; None: no tag."""
    found = []
    for one in corners:
        left, upper, right, lower = sides(one)
        found.append(max(left + right, upper + lower) / 2)
    return sorted(found)[len(found) // 2] if found else None
