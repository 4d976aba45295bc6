"""Thin stripes in a picture that run nearly level: where they are, how long and how clear.

A part of the picture is sheared so that a line of each slope in turn lies level, and taken
together over short blocks along it. A stripe is lighter, or darker, than the ground on both its
sides; an edge is not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Grey = NDArray[np.float32]

BLOCK_CM: Final = 3.0
PARTS: Final = 3  #: of a block, within which rows are not sheared
SLOPE: Final = 0.26  #: of a line in the picture, at most
SLOPE_STEP: Final = 0.02
FINE_STEPS: Final = 3  #: between two slopes
WIDTHS_PX: Final = (2, 3, 5, 7)
GAP_CM: Final = 18.0  #: a shaft, a shoe or a deep shadow may hide so much
LEAST_STEP: Final = 3.0  #: levels of 255 by which a stripe differs from the ground
NOISE_STEP: Final = 3.0  #: and so many times the ground's own scatter
MOST_LINES: Final = 6  #: so many are looked at closely
STRETCH_CM: Final = 50.0  #: a shorter one is no stripe
STRETCH_SEEN: Final = 0.65  #: share of its blocks in which it must be seen
SAME_SHARE: Final = 0.35  #: of its own strength, below which a stripe has ended

#: Rows (at the strip's middle column) to keep of lines of one slope, from how many rows there are.
Rows = Callable[[float, int], NDArray[np.int64]]


class Strip:
    """One channel of a part of a picture, (rows, columns); all columns are those of the part."""

    def __init__(self, cv2: Any, grey: Grey, at_x: float, px_per_cm: float) -> None:  # noqa: ANN401
        """``at_x`` is the column at which a line's row is told."""
        self._cv2, self.at_x, self.px_per_cm = cv2, at_x, px_per_cm
        self._part_px = max(round(BLOCK_CM * px_per_cm / PARTS), 1)
        self.block_px = PARTS * self._part_px
        count = grey.shape[1] // self.block_px
        cut = np.ascontiguousarray(grey[:, : count * self.block_px])
        size = (count * PARTS, grey.shape[0])
        self._narrow = cv2.resize(cut, size, interpolation=cv2.INTER_AREA)
        self.block_x: FloatArray = (np.arange(count) + 0.5) * self.block_px - 0.5

    def level(self, slope: float) -> Grey:
        """Return the strip by blocks (rows, blocks), with lines of that slope level."""
        cv2 = self._cv2
        per_column = slope * self._part_px
        at = (self.at_x + 0.5) / self._part_px - 0.5
        matrix = np.array([[1.0, 0.0, 0.0], [per_column, 1.0, -per_column * at]])
        height, width = self._narrow.shape
        level = cv2.warpAffine(
            self._narrow,
            matrix,
            (width, height),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        blocks: Grey = level.reshape(height, -1, PARTS).mean(axis=2)
        return blocks


@dataclass(frozen=True, slots=True)
class Line:
    """One line that may be a stripe."""

    score: float
    slope: float
    row_px: float  #: at the strip's middle column


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """The part of a line along which a stripe is seen."""

    strip: Strip
    line: Line
    blocks: Grey  #: the strip with the line level
    first: int  #: block
    last: int
    strength: FloatArray  #: of each block, over the least that counts; 0 where less
    typical: float  #: middle strength, in levels of 255
    clear: float  #: the same over the least that counts
    seen: float  #: share of its blocks in which it is seen
    fades: float  #: how strong the line still is beyond its ends, as a share

    @property
    def long_cm(self) -> float:
        """Return its length."""
        strip = self.strip
        return (self.last - self.first + 1) * strip.block_px / strip.px_per_cm

    @property
    def weight(self) -> float:
        """Return the strength of all its blocks together."""
        return float(self.strength[self.first : self.last + 1].sum())

    def rows_at(self, x: FloatArray) -> FloatArray:
        """Return its rows at columns of the strip."""
        return self.line.row_px + self.line.slope * (x - self.strip.at_x)


def stripes(blocks: Grey) -> Grey:
    """Return how much lighter each place of (rows, blocks) is than both sides; - darker.

    The smaller difference counts, so an edge says nothing. Of the widths the strongest.
    """
    rows = blocks.shape[0]
    total = np.vstack([np.zeros((1, blocks.shape[1]), np.float32), np.cumsum(blocks, axis=0)])
    out = np.zeros_like(blocks)
    for wide in WIDTHS_PX:
        half, side, gap = wide // 2, max(wide, 3), max(wide // 2, 1)
        first, last = half + gap + side, rows - (wide - half) - gap - side
        if last <= first:
            continue
        row = np.arange(first, last)
        middle = (total[row - half + wide] - total[row - half]) / wide
        above = (total[row - half - gap] - total[row - half - gap - side]) / side
        low = row - half + wide + gap
        below = (total[low + side] - total[low]) / side
        light = np.maximum(middle - np.maximum(above, below), 0)
        dark = np.maximum(np.minimum(above, below) - middle, 0)
        told, kept = light - dark, out[first:last]
        out[first:last] = np.where(np.abs(told) > np.abs(kept), told, kept)
    return out


def lines_of(strip: Strip, wanted: Rows) -> list[Line]:
    """Return the strongest lines, no two of them at one place, over all slopes."""
    best: dict[int, Line] = {}
    apart_px = max(1.5 * strip.px_per_cm, 3.0)
    for slope in np.arange(-SLOPE, SLOPE + 1e-9, SLOPE_STEP):
        told = stripes(strip.level(float(slope)))
        height = told.shape[0]
        least = max(LEAST_STEP, NOISE_STEP * _scatter(told))
        # Both signs add up, because a club is dark at its grip and often light at its shaft.
        clipped = np.minimum(np.abs(told) / least, 2.0)
        clipped[clipped < 0.7] = 0.0
        for fine in (np.arange(FINE_STEPS) / FINE_STEPS - 1 / 3) * SLOPE_STEP:
            kept = wanted(float(slope + fine), height)
            if len(kept) == 0:
                continue
            shift = np.round(fine * (strip.block_x - strip.at_x)).astype(int)
            rows = np.clip(kept[:, None] + shift, 0, height - 1)
            score = np.take_along_axis(clipped, rows, axis=0).sum(axis=1)
            for row, value in zip(kept, score, strict=True):
                key = int(row / apart_px)
                if value > 0 and (key not in best or value > best[key].score):
                    best[key] = Line(float(value), float(slope + fine), float(row))
    picked: list[Line] = []
    for line in sorted(best.values(), key=lambda line: -line.score):
        if all(abs(line.row_px - other.row_px) > apart_px for other in picked):
            picked.append(line)
        if len(picked) == MOST_LINES:
            break
    return picked


def _scatter(told: Grey) -> float:
    """Return one standard deviation of the ground's own stripes, from the middle of them all."""
    return 1.4826 * float(np.median(np.abs(told)))


def stretch_of(strip: Strip, line: Line) -> Stretch | None:
    """Return where along the line a stripe is seen; None for nothing long or whole enough."""
    blocks = strip.level(line.slope)
    told = stripes(blocks)
    row, cm = round(line.row_px), strip.px_per_cm
    near = told[max(row - 1, 0) : row + 2]
    if near.shape[0] < 3:
        return None
    at = np.abs(near).max(axis=0)
    apart = round(4 * cm)
    above, below = told[max(row - 5 * apart, 0) : max(row - apart, 0)], told[row + apart :]
    away = np.vstack([above, below[: 4 * apart]])
    least = max(LEAST_STEP, NOISE_STEP * _scatter(away if len(away) else told))
    run = _run(at, least, strip)
    if run is None:
        return None
    # A joint in whose line a rod lies goes on beyond it, but not as strongly.
    least_here = max(least, SAME_SHARE * float(np.median(at[run[0] : run[1] + 1])))
    run = _run(at, least_here, strip)
    if run is None:
        return None
    first, last = run
    typical = float(np.median(at[first : last + 1]))
    beyond = (at[max(first - 6, 0) : max(first - 1, 0)], at[last + 2 : last + 7])
    found = Stretch(
        strip=strip,
        line=line,
        blocks=blocks,
        first=first,
        last=last,
        strength=np.where(at > least_here, at / least, 0.0).astype(float),
        typical=typical,
        clear=typical / least,
        seen=float((at[first : last + 1] > least_here).mean()),
        fades=max((float(np.median(part)) for part in beyond if len(part)), default=0.0) / typical,
    )
    return found if found.long_cm >= STRETCH_CM and found.seen >= STRETCH_SEEN else None


def _run(at: Grey, least: float, strip: Strip) -> tuple[int, int] | None:
    """Return first and last block of the longest stretch above ``least`` without a long gap.

    It begins and ends with blocks that are seen together: one alone is the ground's own.
    """
    seen = at > least
    together = seen & (np.convolve(seen, np.ones(5), mode="same") >= 3)
    on = np.flatnonzero(together)
    if len(on) == 0:
        return None
    gap = round(GAP_CM * strip.px_per_cm / strip.block_px)
    breaks = np.flatnonzero(np.diff(on) > gap + 1)
    starts, ends = np.r_[0, breaks + 1], np.r_[breaks, len(on) - 1]
    longest = int(np.argmax(on[ends] - on[starts]))
    return int(on[starts[longest]]), int(on[ends[longest]])
