"""Where everything goes in the window: rectangles from sizes, nothing drawn.

The bars stand beside the body and never on it. Feedback laid over a body or template makes the
movement lean on the feedback; beside it, it did not (Buchanan and Wang 2012, Experimental Brain
Research 222:305). Two columns stand at the sides of the mirror; where the body comes under one,
both move to the other side; where there is no room at all the picture is made smaller.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from typing import Final, NamedTuple

#: Ink height of the figures that must be read at 3 m, as a share of the window's height. On a
#: 15.6-inch laptop it is about 24 minutes of arc at 3 m; 20 to 22 are preferred (ISO 9241-3).
FIGURE: Final = 0.11
HEADLINE: Final = 0.075  #: what to do, or how it was; a long one takes smaller letters
TITLE: Final = 0.05
WORD: Final = 0.045  #: beside a figure: out, up, down
NOTICE: Final = 0.04
LINE: Final = 0.032  #: how things run; read close by
SMALL: Final = 0.024
COLUMN_W: Final = 0.36  #: three figures and a degree sign at full height, and a margin
STRIP_H: Final = 0.20  #: the strip under the mirror: phase word, reps, notices
GAP: Final = 0.012
PAD: Final = 0.02
LARGE_TEXT: Final = 1.3  #: how much larger everything written is when the player asks for it
NARROWEST: Final = 0.5625  #: width over height below which text shrinks with the width


class Box(NamedTuple):
    """A rectangle in window pixels; x right, y down."""

    x: float
    y: float
    w: float
    h: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.x + self.w

    @property
    def bottom(self) -> float:
        """Lower edge."""
        return self.y + self.h

    def overlaps(self, other: Box) -> bool:
        """Return True where the two share any area."""
        return (
            self.x < other.right
            and other.x < self.right
            and self.y < other.bottom
            and other.y < self.bottom
        )

    def inside(self, pad: float) -> Box:
        """Return the box made smaller by ``pad`` on every side."""
        return Box(self.x + pad, self.y + pad, max(self.w - 2 * pad, 1), max(self.h - 2 * pad, 1))


class Placement(str, Enum):
    """Where the two columns stand."""

    SPLIT = "split"  #: one at each side of the mirror
    BOTH_LEFT = "both_left"
    BOTH_RIGHT = "both_right"
    BETWEEN = "between"  #: the picture made smaller, between the columns
    BELOW = "below"  #: the picture made smaller, the columns under it


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnBox:
    """The shoulder turn: title, figure, caption and the upright bar."""

    plate: Box
    title: Box
    figure: Box
    caption: Box
    bar: Box
    side: Box  #: beside the bar: target figure, tick


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftBox:
    """A sideways drift: title, figure and the lying beam, zero in its middle."""

    plate: Box
    title: Box
    figure: Box
    beam: Box
    caption: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """All rectangles of one drawing."""

    window: Box
    placement: Placement
    unit: float  #: pixels that shares of the height count in; the height unless very narrow
    picture: Box  #: the whole picture, never cropped
    strip: Box
    headline: Box
    line: Box
    reps: Box
    turn: TurnBox
    head: DriftBox
    hips: DriftBox

    @property
    def plates(self) -> tuple[Box, Box, Box]:
        """The three plates that must stay off the body."""
        return self.turn.plate, self.head.plate, self.hips.plate


def fit(area: Box, size_wh: tuple[int, int]) -> Box:
    """Return the largest box of the picture's shape inside ``area``, in its middle."""
    scale = min(area.w / size_wh[0], area.h / size_wh[1])
    w, h = max(size_wh[0] * scale, 1.0), max(size_wh[1] * scale, 1.0)
    return Box(area.x + (area.w - w) / 2, area.y + (area.h - h) / 2, w, h)


def unit_px(window_wh: tuple[int, int]) -> float:
    """Return the pixels that text heights are shares of."""
    return min(window_wh[1], window_wh[0] / NARROWEST)


@lru_cache(maxsize=32)
def lay_out(
    window_wh: tuple[int, int],
    picture_wh: tuple[int, int],
    placement: Placement,
    *,
    handed_left: bool = False,
    large_text: bool = False,
) -> Layout:
    """Return every rectangle for a window and picture of these sizes.

    ``large_text`` is left out where picture and columns stand one under the other: larger columns
    would leave nothing of the picture.

    Asked for the same several times a drawing, so what was worked out is kept.

    In ``SPLIT`` the turn stands on the player's lead side as seen in the mirror (left for a
    right-hander), because the hands swing to the other one.
    """
    w, h = max(window_wh[0], 1), max(window_wh[1], 1)
    if placement is Placement.BELOW:
        return _below((w, h), picture_wh)
    u = unit_px((w, h)) * (LARGE_TEXT if large_text else 1.0)
    # The reasons of a verdict take two lines of large text.
    line_h = 0.10 if large_text else 0.06
    strip_h = STRIP_H - 0.06 + line_h
    strip = Box(0, h - strip_h * u, w, strip_h * u)
    top = Box(0, 0, w, strip.y)
    # NB: a window too narrow for two full columns gets thinner ones; best_fallback then prefers
    # BELOW, so this only keeps the arithmetic sound.
    column_w = min(COLUMN_W * u, 0.45 * w)
    gap = GAP * u
    left = Box(gap, gap, column_w - gap, top.h - 2 * gap)
    xs = {
        Placement.SPLIT: (left.x, w - column_w),
        Placement.BETWEEN: (left.x, w - column_w),
        Placement.BOTH_LEFT: (left.x, column_w + gap),
        Placement.BOTH_RIGHT: (w - 2 * column_w, w - column_w),
    }[placement]
    first, second = (left._replace(x=x) for x in xs)
    turn_plate, drift = (second, first) if handed_left else (first, second)
    area = top
    if placement is Placement.BETWEEN:
        area = Box(column_w + gap, 0, max(w - 2 * column_w - 2 * gap, 1), top.h)
    half = (drift.h - gap) / 2
    reps_w = 0.34 * u
    return Layout(
        window=Box(0, 0, w, h),
        placement=placement,
        unit=u,
        picture=fit(area, picture_wh),
        strip=strip,
        headline=Box(PAD * u, strip.y + PAD * u, w - reps_w - 2 * PAD * u, 0.105 * u),
        line=Box(PAD * u, strip.y + 0.13 * u, w - reps_w - 2 * PAD * u, line_h * u),
        reps=Box(w - reps_w, strip.y + PAD * u, reps_w - PAD * u, strip_h * u - 2 * PAD * u),
        turn=_turn_box(turn_plate, u),
        head=_drift_box(drift._replace(h=half), u),
        hips=_drift_box(Box(drift.x, drift.y + half + gap, drift.w, half), u),
    )


def _below(window_wh: tuple[int, int], picture_wh: tuple[int, int]) -> Layout:
    """Return the layout with picture, columns and strip one under the other."""
    w, h = window_wh
    u = unit_px(window_wh)
    gap = GAP * u
    strip = Box(0, h - 0.22 * u, w, 0.22 * u)
    blocks = Box(gap, strip.y - 0.5 * u, w - 2 * gap, 0.5 * u - gap)
    drift_w = max(0.255 * u, min(0.34 * u, 0.4 * blocks.w))
    half = (blocks.h - gap) / 2
    drift = Box(blocks.right - drift_w, blocks.y, drift_w, half)
    reps_w = 0.27 * u
    return Layout(
        window=Box(0, 0, w, h),
        placement=Placement.BELOW,
        unit=u,
        picture=fit(Box(0, 0, w, max(blocks.y - gap, 1)), picture_wh),
        strip=strip,
        headline=Box(PAD * u, strip.y + 0.005 * u, w - 2 * PAD * u, 0.085 * u),
        line=Box(PAD * u, strip.y + 0.095 * u, w - reps_w - 2 * PAD * u, 0.115 * u),
        reps=Box(w - reps_w, strip.y + 0.095 * u, reps_w - PAD * u, 0.115 * u),
        turn=_turn_box(Box(blocks.x, blocks.y, blocks.w - drift_w - gap, blocks.h), u),
        head=_drift_box(drift, u),
        hips=_drift_box(drift._replace(y=drift.y + half + gap), u),
    )


def _turn_box(plate: Box, u: float) -> TurnBox:
    inner = plate.inside(PAD * u)
    text_w = inner.w
    wide = inner.w >= 0.30 * u + 0.26 * u
    if wide:  # room for the bar beside the words
        text_w = 0.30 * u
    title = Box(inner.x, inner.y, text_w, TITLE * u)
    figure = Box(inner.x, title.bottom + 0.025 * u, text_w, FIGURE * u)
    caption = Box(inner.x, figure.bottom + 0.015 * u, text_w, SMALL * u)
    if wide:
        bars = Box(inner.x + text_w + PAD * u, inner.y, inner.w - text_w - PAD * u, inner.h)
    else:
        y = caption.bottom + 0.025 * u
        bars = Box(inner.x, y, inner.w, max(inner.bottom - y, 1))
    bar_w = 0.4 * min(bars.w, 0.3 * u)
    bar = Box(bars.x, bars.y, bar_w, bars.h)
    side = Box(bar.right, bars.y, bars.right - bar.right, bars.h)
    return TurnBox(plate=plate, title=title, figure=figure, caption=caption, bar=bar, side=side)


def _drift_box(plate: Box, u: float) -> DriftBox:
    inner = plate.inside(min(PAD * u, 0.01 * u + 0.02 * plate.h))
    roomy = plate.h >= 0.3 * u
    title_h = TITLE * u if roomy else 0.04 * u
    title = Box(inner.x, inner.y, inner.w, title_h)
    figure = Box(inner.x, title.bottom + (0.025 if roomy else 0.01) * u, inner.w, FIGURE * u)
    y = figure.bottom + (0.03 if roomy else 0.008) * u
    caption_h = SMALL * u if roomy else 0.0
    beam_h = max(inner.bottom - caption_h - (0.01 * u if roomy else 0) - y, 1)
    beam = Box(inner.x, y, inner.w, min(beam_h, 0.09 * u))
    caption = Box(inner.x, inner.bottom - caption_h, inner.w, caption_h)
    return DriftBox(plate=plate, title=title, figure=figure, beam=beam, caption=caption)


def best_fallback(
    window_wh: tuple[int, int], picture_wh: tuple[int, int], *, large_text: bool = False
) -> Placement:
    """Return the placement without any overlap that shows the larger picture."""
    between = lay_out(window_wh, picture_wh, Placement.BETWEEN, large_text=large_text).picture
    below = lay_out(window_wh, picture_wh, Placement.BELOW).picture
    return Placement.BETWEEN if between.w >= below.w else Placement.BELOW


def may_overlay(window_wh: tuple[int, int]) -> bool:
    """Return True where the window is wide enough for columns over the picture's edges."""
    return window_wh[0] >= 1.3 * window_wh[1]


def turn_y(bar: Box, turn_deg: float, target_deg: float, top_deg: float) -> float:
    """Return the height in the window at which a turn stands; 0 is the bar's foot."""
    share = min(max(turn_deg / max(top_deg, target_deg, 1.0), 0.0), 1.0)
    return bar.bottom - share * bar.h


def bar_top_deg(target_deg: float, band_deg: float) -> float:
    """Return the turn at the bar's upper end: room above the target for its band and more."""
    return max(target_deg + 2.0 * band_deg, target_deg * 1.25, 10.0)


#: Half the beam shows this many tolerances; beyond it the marker rests at the end.
BEAM_SPAN: Final = 2.5


def drift_x(beam: Box, away_cm: float, tol_cm: float, *, handed_left: bool) -> float:
    """Return where in the window a drift stands; the beam's middle is zero.

    Away from the target is to the right in the mirror for a right-hander (whose target is on the
    player's left, which a mirror shows on the left), to the left for a left-hander.
    """
    share = away_cm / (BEAM_SPAN * tol_cm) if tol_cm > 0 else math.copysign(1.0, away_cm)
    share = min(max(share, -1.0), 1.0)
    return beam.x + beam.w / 2 + (-share if handed_left else share) * beam.w / 2
