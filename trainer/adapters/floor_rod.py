"""Looks for a rod on the floor just before both toes: one thin stripe, alone, with two ends.

What is found must stand the checks of ``_one_rod``, chosen on rendered people, boards, tiles and
mats (docs/how-to/place-the-camera.md). In doubt nothing is said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.floor_stripes import SLOPE, Line, Stretch, Strip, lines_of, stretch_of
from trainer.adapters.opencv import load_cv2
from trainer.core.landmarks import Landmark
from trainer.core.placement_rod import RodLine

FloatArray = NDArray[np.float64]
Image = NDArray[np.uint8]

#: All centimetres are those of the picture at the player's distance, so that depth on the floor
#: counts by the sine of how steeply the floor is seen: a third to a half.
ASIDE_CM: Final = 110.0  #: looked at so far to both sides of mid-stance
OVER_CM: Final = 3.0  #: the rod's middle line lies so far above a toe's point at most
UNDER_CM: Final = 12.0  #: and so far below
LENGTH_CM: Final = (55.0, 172.0)  #: a rod before the toes is nearer than the player, and larger
#: Of stance the rod must cover, and of its blocks those in which it must be seen.
STANCE_SHARE: Final = 0.7
SEEN_SHARE: Final = 0.75
CLEAR: Final = 2.0  #: times the least strength that counts
FADES: Final = 0.4  #: of its strength at most goes on beyond an end
WIDE_CM: Final = 2.6  #: beyond this to both sides there is floor
WIDEST_CM: Final = 3.2  #: of a grip, and of a blurred stick
RIVAL: Final = 0.5  #: another stripe of that share of the rod's weight makes it doubtful
ON_IT_CM: Final = 2.0  #: stripes no further apart are one
SHOE_CM: Final = 10.0  #: to both sides of a toe's point is shoe
SIDES_DIFFER: Final = 0.6  #: the floor on its two sides differs by at most this share of it
ENDS_DIFFER: Final = 0.6  #: and beyond an end from that beside it
COLOUR_STEP: Final = 8.0  #: and there by no more levels of colour, of 255
CROOKED_CM: Final = 0.35  #: scatter of its middle about a straight line


@dataclass(frozen=True, slots=True, kw_only=True)
class _Feet:
    """Where to look."""

    toes_px: FloatArray  #: (2, 2), the one on the picture's left first
    px_per_cm: float

    @property
    def middle_x(self) -> float:
        return float(self.toes_px[:, 0].mean())

    def rows(self, slope: float, height: int) -> NDArray[np.int64]:
        """Return the rows, at mid-stance, of lines of that slope just before both toes."""
        at_middle = self.toes_px[:, 1] - slope * (self.toes_px[:, 0] - self.middle_x)
        low = max(int(np.ceil(at_middle.max() - OVER_CM * self.px_per_cm)), 0)
        high = min(int(at_middle.min() + UNDER_CM * self.px_per_cm), height - 1)
        return np.arange(low, high + 1)


def find_rod(
    image_rgb: Image, points_px: FloatArray, px_per_cm: float
) -> tuple[RodLine | None, str]:
    """Return the rod before the toes of a body (33, 2) in an unmirrored picture, or why not.

    ``px_per_cm`` is the picture's scale at the player. The reason is for those who improve this.
    """
    toes = points_px[[Landmark.LEFT_FOOT_INDEX, Landmark.RIGHT_FOOT_INDEX]]
    if not np.isfinite(toes).all() or px_per_cm < 1.0:
        return None, "feet"
    toes = toes[np.argsort(toes[:, 0])]
    if np.ptp(toes[:, 0]) < 8 * px_per_cm:
        return None, "feet"
    h, w = image_rgb.shape[:2]
    reach = ASIDE_CM * px_per_cm
    middle = float(toes[:, 0].mean())
    left, right = max(int(middle - reach), 0), min(int(middle + reach), w)
    spread = SLOPE * reach + 12 * px_per_cm
    top = max(int(toes[:, 1].min() - spread), 0)
    bottom = min(int(toes[:, 1].max() + spread + UNDER_CM * px_per_cm), h)
    if right - left < LENGTH_CM[0] * px_per_cm or bottom - top < 10 * px_per_cm:
        return None, "picture"
    cv2 = load_cv2()
    # Lightness and two channels of colour: a red rod on grass may be as light as the grass.
    part = np.ascontiguousarray(image_rgb[top:bottom, left:right])
    channels = cv2.split(cv2.cvtColor(part, cv2.COLOR_RGB2YCrCb).astype(np.float32))
    feet = _Feet(toes_px=toes - [left, top], px_per_cm=px_per_cm)
    strips = [Strip(cv2, grey, feet.middle_x, px_per_cm) for grey in channels]
    found = [
        one
        for strip in strips
        for line in lines_of(strip, feet.rows)
        if (one := stretch_of(strip, line)) is not None
    ]
    if not found:
        return None, "none"
    best = max(found, key=lambda one: one.weight)
    rival = max(_apart(other, best, feet) for other in found) / best.weight
    if rival > RIVAL:
        return None, f"rival {rival:.2f}"
    rod, why = _one_rod(best, strips, feet)
    if rod is not None:
        rod = replace(rod, ends_px=rod.ends_px + np.array([left, top]))
    return rod, why


def _apart(other: Stretch, best: Stretch, feet: _Feet) -> float:
    """Return the weight of a stripe where it is neither on the better one, nor on a shoe."""
    cm = feet.px_per_cm
    blocks = np.arange(other.first, other.last + 1)
    x = other.strip.block_x[blocks]
    rows = other.rows_at(x)
    counts = np.abs(rows - best.rows_at(x)) > ON_IT_CM * cm
    for toe_x, toe_y in feet.toes_px:
        counts &= (np.abs(x - toe_x) > SHOE_CM * cm) | (rows > toe_y + ON_IT_CM * cm)
    return float(other.strength[blocks][counts].sum())


def _one_rod(one: Stretch, strips: list[Strip], feet: _Feet) -> tuple[RodLine | None, str]:
    """Return the stretch as a rod if it is thin and straight and has a rod's length and ends."""
    for _ in range(2):  # a slope of the grid is not quite the stripe's own
        middles = _middles(one)
        if middles is None:
            return None, "edge"
        slope, row = np.polyfit(middles.x - one.strip.at_x, middles.rows, 1)
        line = Line(one.line.score, one.line.slope + float(slope), float(row))
        again = stretch_of(one.strip, line)
        if again is None:
            return None, "lost"
        one = again
    middles = _middles(one)
    if middles is None:
        return None, "edge"
    why = _unlike(one, middles, strips, feet)
    if why:
        return None, why
    x, rows = middles.x, middles.rows
    sd_px = max(1.4826 * float(np.median(np.abs(rows - np.median(rows)))), 0.05)
    for _ in range(3):
        fit = np.polyfit(x - one.strip.at_x, rows, 1)
        off = rows - np.polyval(fit, x - one.strip.at_x)
        sd_px = max(1.4826 * float(np.median(np.abs(off))), 0.05)
        x, rows = x[np.abs(off) < 3 * sd_px], rows[np.abs(off) < 3 * sd_px]
    if sd_px > CROOKED_CM * feet.px_per_cm:
        return None, "crooked"
    ends_x = np.array([x.min(), x.max()])
    ends_y = np.polyval(fit, ends_x - one.strip.at_x) + one.line.slope * (ends_x - one.strip.at_x)
    # Either end of a straight line is as sure as two of the points it was laid through, by count.
    se_px = max(2.0 * sd_px / float(np.sqrt(len(x))), 0.1)
    return RodLine(ends_px=np.column_stack([ends_x, ends_y]), se_px=se_px), "found"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Middles:
    """A stripe's middle, block for block, and its profile."""

    x: FloatArray  #: columns
    rows: FloatArray  #: of the levelled strip
    wide_cm: float  #: at half its height
    step: float  #: how much lighter the floor is below it than above


def _middles(one: Stretch) -> _Middles | None:
    """Return where the stripe's middle is; None at the picture's edge, or where it is too weak."""
    cm, row = one.strip.px_per_cm, round(one.line.row_px)
    reach = max(round(WIDE_CM * cm), 6)
    if row - reach < 0 or row + reach >= one.blocks.shape[0]:
        return None
    inside = one.blocks[row - reach : row + reach + 1, one.first : one.last + 1].astype(float)
    away = np.arange(-reach, reach + 1, dtype=float)
    above, below = inside[:3].mean(axis=0), inside[-3:].mean(axis=0)
    stripe = inside - above - (below - above) * ((away + reach) / (2 * reach))[:, None]
    signed = stripe * np.sign(stripe[reach - 1 : reach + 2].sum(axis=0))
    shape = np.median(signed, axis=1)
    peak = float(shape.max())
    mass = np.clip(signed - 0.25 * peak, 0, None) * (np.abs(away) < reach)[:, None]
    weight = mass.sum(axis=0)
    good = weight > 0.3 * np.median(weight)
    if peak <= 0 or good.sum() < 8:
        return None
    return _Middles(
        x=one.strip.block_x[one.first : one.last + 1][good],
        rows=row + (mass * away[:, None]).sum(axis=0)[good] / weight[good],
        wide_cm=float((shape > 0.5 * peak).sum()) / cm,
        step=float(np.median(below - above)),
    )


def _unlike(one: Stretch, middles: _Middles, strips: list[Strip], feet: _Feet) -> str:
    """Return what of a stretch is unlike a rod before the toes; "" where nothing is."""
    left, right = feet.toes_px[:, 0]
    block_x = one.strip.block_x
    covered = min(block_x[one.last], right) - max(block_x[one.first], left)
    for wrong, why in (
        (not LENGTH_CM[0] <= one.long_cm <= LENGTH_CM[1], f"length {one.long_cm:.0f}"),
        (one.first < 2 or one.last > len(block_x) - 3, "no end"),
        (one.seen < SEEN_SHARE, f"seen {one.seen:.2f}"),
        (one.clear < CLEAR, f"clear {one.clear:.1f}"),
        (one.fades > FADES, f"fades {one.fades:.2f}"),
        (covered < STANCE_SHARE * (right - left), "beside the stance"),
        (middles.wide_cm > WIDEST_CM, f"wide {middles.wide_cm:.1f}"),
        (abs(middles.step) > SIDES_DIFFER * one.typical, f"sides {middles.step:.0f}"),
    ):
        if wrong:
            return why
    for number, strip in enumerate(strips):
        most = ENDS_DIFFER * one.typical if strip is one.strip else np.inf
        change = _other_floor(one, strip)
        if change > (most if number == 0 else min(most, COLOUR_STEP)):
            return f"end {change:.0f}"
    return ""


def _other_floor(one: Stretch, strip: Strip) -> float:
    """Return by how much the floor beyond an end differs from that beside it, in one channel."""
    blocks, row = strip.level(one.line.slope), round(one.line.row_px)
    reach = max(round(WIDE_CM * strip.px_per_cm), 6)
    first, last = one.first, one.last
    worst = 0.0
    for rows in (
        slice(max(row - reach - 2, 0), row - reach + 2),
        slice(row + reach - 1, row + reach + 3),
    ):
        if len(blocks[rows]) == 0:
            continue
        ground = np.median(blocks[rows], axis=0)
        for beyond, beside in (
            (ground[max(first - 4, 0) : max(first - 1, 0)], ground[first : first + 4]),
            (ground[last + 2 : last + 5], ground[max(last - 3, 0) : last + 1]),
        ):
            if len(beyond):
                worst = max(worst, abs(float(np.median(beyond) - np.median(beside))))
    return worst
