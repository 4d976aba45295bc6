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
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.opencv import load_cv2
from trainer.adapters.tag_align import CELLS, family
from trainer.core.tag_seen import Trunk

FloatArray = NDArray[np.float64]
Image = NDArray[np.uint8]

#: Correlation from which on a find is worth polishing, and then the alignment. Tags in full view in
#: rendered pictures, laid where they are, had 0.85 to 0.95 up to 70 degrees.
_WORTH: Final = 0.55
_LEAST: Final = 0.7
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
    #: in sides of a tag. A trunk is some four long.
    beside: tuple[float, float]
    below: tuple[float, float]
    #: Degrees round the trunk (to that side of the picture on which it is looked for), how far the
    #: trunk leans to the camera, and how it rolls in the picture.
    round_deg: tuple[float, ...]
    lean_deg: tuple[float, ...]
    roll_deg: tuple[float, ...]

    def ways(self) -> list[tuple[float, float, float]]:
        """Return (round, lean, roll) of every look, in an order that leaps about."""
        every = list(itertools.product(self.round_deg, self.lean_deg, self.roll_deg))
        step = next(n for n in range(max(len(every) * 5 // 13, 1), len(every) + 2)
                    if np.gcd(n, len(every)) == 1)  # fmt: skip
        return [every[k * step % len(every)] for k in range(len(every))]


_WORN: Final = {
    0: _Worn(
        beside=(-1.6, 1.6),
        below=(-0.6, 2.6),
        round_deg=(0.0, 22.0),
        lean_deg=(8.0, 30.0),
        roll_deg=(-12.0, -4.0, 4.0, 12.0),
    ),
    1: _Worn(
        beside=(-0.2, 3.0),
        below=(0.4, 4.2),
        round_deg=(20.0, 37.0, 50.0, 60.0, 68.0),
        lean_deg=(10.0, 25.0, 40.0),
        roll_deg=(-9.0, 6.0),
    ),
    10: _Worn(
        beside=(-1.6, 1.6),
        below=(2.0, 5.6),
        round_deg=(0.0, 25.0),
        lean_deg=(5.0, 25.0, 40.0),
        roll_deg=(-8.0, 4.0),
    ),
    11: _Worn(
        beside=(-0.2, 3.2),
        below=(2.4, 5.8),
        round_deg=(20.0, 37.0, 50.0, 60.0, 68.0),
        lean_deg=(5.0, 20.0, 35.0),
        roll_deg=(-9.0, 6.0),
    ),
}
_WAYS: Final = {number: worn.ways() for number, worn in _WORN.items()}
#: The tags that are sought so: those that every player is told to wear.
SOUGHT: Final = tuple(_WORN)


def coarse(
    grey: Image, corner: FloatArray, trunk: Trunk, number: int, look: int, side_px: float | None
) -> list[FloatArray]:
    """Return the corners (4, 2) that a tag may have in the whole picture, by one look for it.

    ``grey`` is the part of the picture from ``corner`` (2,) on. ``look`` counts the looks for
    this ``number``; each tries another angle. ``side_px`` is how large other tags are now, seen
    squarely; None: none is seen.
    """
    ways = _WAYS[number]
    size = 1.0
    if side_px is None:
        side_px = trunk.tag_px
        size = _SIZES[look // len(ways) % len(_SIZES)]
    found = []
    worn = _WORN[number]
    turned, lean, roll = ways[look % len(ways)]
    both = (1,) if worn.beside[0] == -worn.beside[1] and turned == 0 else (1, -1)
    for sign in both:
        shape = _shape(sign * turned, lean, sign * roll) * side_px * size
        beside = sorted(sign * np.array(worn.beside)) if len(both) > 1 else worn.beside
        low = trunk.shoulders_px + np.array([beside[0], worn.below[0]]) * side_px - corner
        high = trunk.shoulders_px + np.array([beside[1], worn.below[1]]) * side_px - corner
        match = _matched(grey, number, shape, low, high)
        if match is not None and match[0] >= _WORTH:
            shape, (likeness, middle) = _polished(grey, number, shape, match)
            if likeness >= _LEAST:
                found.append(middle + _CORNERS @ shape.T / 2 + corner)
    return found


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
    cv2 = load_cv2()
    height, width = grey.shape
    low, high = np.maximum(low, 0.0), np.minimum(high, [width - 1.0, height - 1.0])
    if not (high > low).all():
        return None
    # From sheet (in pixels of the inside as it is kept) to picture, and back.
    there = shape / (CELLS * _CELL_PX)
    back = np.linalg.inv(there)
    ends = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    on_sheet = ends @ back.T
    inside = _inside(number)
    room = inside.shape[0] // 2 + 1
    least, most = np.floor(on_sheet.min(axis=0)) - room, np.ceil(on_sheet.max(axis=0)) + room
    size = (most - least).astype(int) + 1
    if size.max() > _MOST_PX:
        return None
    to_picture = np.column_stack([there, there @ least])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    square = cv2.warpAffine(
        grey, to_picture, (int(size[0]), int(size[1])), flags=flags, borderMode=cv2.BORDER_REPLICATE
    )
    likeness = cv2.matchTemplate(square, inside, cv2.TM_CCOEFF_NORMED)
    _, best, _, place = cv2.minMaxLoc(likeness)
    middle: FloatArray = there @ (np.array(place) + (inside.shape[0] - 1) / 2 + least)
    return float(best), middle


#: No larger part of a picture is undone: a body that fills it is no golfer's whole one.
_MOST_PX: Final = 600


@lru_cache(maxsize=16)
def _inside(number: int) -> Image:
    """Return the tag's inside as a lens shows it, ``_CELL_PX`` a cell."""
    cv2 = load_cv2()
    fine = 4
    flat = cv2.aruco.generateImageMarker(family(), number, CELLS * _CELL_PX * fine)
    blurred = cv2.GaussianBlur(flat, (0, 0), 0.6 * _CELL_PX * fine / 2)
    small = cv2.resize(blurred, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    edge = round((1.0 - _BORDER) * _CELL_PX)
    inside: Image = small[edge:-edge, edge:-edge]
    return inside


def side_px(corners: Sequence[FloatArray]) -> float | None:
    """Return how large tags of these corners are where they face the camera; None: no tag."""
    sides = [
        np.linalg.norm(one - one[[3, 0, 1, 2]], axis=1).reshape(2, 2).mean(axis=0).max()
        for one in corners
    ]
    return float(np.median(sides)) if sides else None
