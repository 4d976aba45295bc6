"""Charts as SVG, drawn by matplotlib for a page: readable in grey, with words for who cannot see.

What a point means is told by its shape, never by its colour alone.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.svg_sheet import BAND, BLUE, GREY, INK, ORANGE, sheet, svg_of

FloatArray = NDArray[np.float64]

#: Inches: over the whole page, and two beside each other on it.
WIDE_IN: Final = 7.2
HALF_IN: Final = 3.5
#: One body of the three beside each other.
BODY_IN: Final = (2.4, 3.9)
#: What is asked for at the top alone is drawn over so much of the curves' end.
_TOP_FROM_PCT: Final = 92.0

#: Kind of a point -> its marker, edge, fill and words; shapes and fills differ, not only colours.
MARKS: Final = {
    "inside": ("o", BLUE, BLUE, "in its band"),
    "near": ("o", BLUE, "white", "near the limit"),
    "beyond": ("v", ORANGE, ORANGE, "beyond the limit"),
    "unjudged": ("D", GREY, "white", "nothing asked"),
}
#: Of very many reps these kinds are drawn as the ends of lines without length, all in one path:
#: round for a circle, square for a diamond.
DOTS: Final = {"inside": "round", "unjudged": "projecting"}
#: best, worst, reference: dash and shade.
LINES: Final = {"best": ("-", BLUE), "worst": ((0, (5, 2)), ORANGE), "reference": (":", INK)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RepChart:
    """One measure over the reps, N of them in their order. NaN: not measured, or not asked."""

    unit: str
    values: FloatArray  #: (N,)
    pm: FloatArray  #: (N,) one standard error
    kinds: tuple[str, ...]  #: (N,) keys of ``MARKS``, or "unread"
    low: FloatArray  #: (N,) lower limit
    high: FloatArray  #: (N,) upper limit
    target: FloatArray  #: (N,)
    starts: tuple[int, ...]  #: places at which a further session begins


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """One rep's measures over its backswing; 0 is the takeaway, 100 the top."""

    name: str  #: a key of ``LINES``
    words: str
    share_pct: FloatArray  #: (N,)
    columns: dict[str, FloatArray]  #: (N,) each, NaN where not read


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """Points to draw a figure from, in the unmirrored picture, and the lines beside it."""

    words: str
    setup_px: FloatArray | None  #: (33, 2)
    top_px: FloatArray | None
    bones: tuple[tuple[int, int], ...]
    head: tuple[int, ...]  #: rows whose middle is the head
    shoulders: tuple[int, int]
    ball_line_px: float | None  #: x
    trail_hip_px: float | None  #: x at setup
    back_px: float | None  #: x of the upper back's edge at the top
    target_right: bool  #: which way the target is in the picture


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrendChart:
    """The average of one measure over N sessions."""

    unit: str
    words: tuple[str, ...]  #: (N,)
    means: FloatArray  #: (N,) NaN: not measured
    pm: FloatArray  #: (N,) NaN: not known
    low: FloatArray  #: (N,) lower limit; NaN: none, or it changed within the session
    high: FloatArray  #: (N,) upper limit
    target: FloatArray  #: (N,)


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRow:
    """One measure over the backswing, and what was asked of it. No limit on a side: None."""

    column: str
    words: str  #: with its unit
    low: float | None = None
    high: float | None = None
    target: float | None = None
    at_top: bool = False  #: True: asked for at the top alone


def rep_chart(
    chart: RepChart, *, name: str, title: str, desc: str, half: bool = False
) -> ET.Element:
    """Draw every rep against target and band, with its ±; ``half``: for half a page's width."""
    with sheet((HALF_IN if half else WIDE_IN, 2.1)) as (figure, plots):
        axes = plots(1)[0]
        count = chart.values.size
        number = np.arange(1, count + 1)
        few = count <= 150
        size = 5.0 if few else 2.5
        edges = np.concatenate([[0.5], number + 0.5])
        low, high, pad = _room(chart.values, chart.pm, chart.low, chart.high, chart.target)
        floor, roof = low - 2.2 * pad, high + pad
        _band(axes, edges, chart, floor, roof)
        if np.isfinite(chart.values + chart.pm).any():
            axes.plot(*_bars(number, chart.values, chart.pm), color=GREY, lw=0.9 if few else 0.4)
        for kind, (marker, edge, fill, words) in MARKS.items():
            at = np.array([one == kind for one in chart.kinds], dtype=bool)
            if not at.any():
                continue
            style = {"marker": marker, "ls": "", "ms": size, "mec": edge, "mfc": fill, "mew": 1.0}
            if not few and kind in DOTS:
                cap = DOTS[kind]
                x, y = _dots(number[at], chart.values[at])
                axes.plot(x, y, color=edge, lw=size, solid_capstyle=cap, dash_capstyle=cap)
                axes.plot([], [], label=words, **(style | {"mfc": edge}))
            else:
                axes.plot(number[at], chart.values[at], label=words, **style)
        unread = np.array([one == "unread" for one in chart.kinds], dtype=bool)
        if unread.any():
            at_floor = np.full(int(unread.sum()), floor + 0.6 * pad)
            axes.plot(number[unread], at_floor, "x", ms=size, mec=INK, label="not measured")
        for start in chart.starts:
            axes.axvline(start + 0.5, color=INK, lw=0.8, ls=(0, (1, 2)))
        axes.set(xlim=(0.5, max(count, 1) + 0.5), ylim=(floor, roof), xlabel="rep")
        axes.set_ylabel(chart.unit)
        axes.ticklabel_format(axis="y", useOffset=False)
        axes.xaxis.get_major_locator().set_params(integer=True)
        _legend(axes, columns=2 if half else 6)
        return svg_of(figure, name=name, title=title, desc=desc)


def curves_chart(
    curves: Sequence[Curve],
    rows: Sequence[CurveRow],
    *,
    name: str,
    title: str,
    desc: str,
) -> ET.Element:
    """Draw each of ``rows`` over the backswing: what was asked for, and all curves over it."""
    with sheet((WIDE_IN, 1.5 * len(rows) + 0.5)) as (figure, plots):
        for place, (row, axes) in enumerate(zip(rows, plots(len(rows)), strict=True)):
            shown = [curve for curve in curves if row.column in curve.columns]
            values = np.concatenate([curve.columns[row.column] for curve in shown] + [np.zeros(1)])
            asked = [
                np.array([np.nan if v is None else v]) for v in (row.low, row.high, row.target)
            ]
            low, high, pad = _room(values, np.full(values.size, np.nan), *asked)
            _asked(axes, row, low - pad, high + pad)
            for curve in shown:
                dash, shade = LINES[curve.name]
                axes.plot(
                    curve.share_pct,
                    curve.columns[row.column],
                    ls=dash,
                    color=shade,
                    lw=1.8,
                    label=curve.words,
                )
            axes.axhline(0.0, color=GREY, lw=0.6)
            axes.set(xlim=(0.0, 100.0), ylim=(low - pad, high + pad), ylabel=row.words)
            if place == len(rows) - 1:
                axes.set_xlabel("share of the backswing, % (0 takeaway, 100 top)")
        _legend(*figure.axes)  # what is asked for may not be in the first
        return svg_of(figure, name=name, title=title, desc=desc)


def body_figure(body: Body, *, name: str, title: str, desc: str) -> ET.Element:
    """Draw a body at setup (thin, dashed) and at the top (thick)."""
    with sheet(BODY_IN, bare=True) as (figure, plots):
        _body(figure, plots(1)[0], body)
        return svg_of(figure, name=name, title=title, desc=desc)


def trend_chart(chart: TrendChart, *, name: str, title: str, desc: str) -> ET.Element:
    """Draw the average of each session with its ±, for half a page's width."""
    with sheet((HALF_IN, 2.1)) as (figure, plots):
        axes = plots(1)[0]
        at = np.arange(1, chart.means.size + 1)
        low, high, pad = _room(chart.means, chart.pm, chart.low, chart.high, chart.target)
        _band(axes, np.concatenate([[0.5], at + 0.5]), chart, low - pad, high + pad)
        if np.isfinite(chart.means + chart.pm).any():
            axes.plot(*_bars(at, chart.means, chart.pm), color=GREY, lw=1.2)
        axes.plot(at, chart.means, "o-", color=BLUE, lw=0.8, ms=5, label="average")
        # The first and the last, and what stands between them with room for its words.
        between = {2} if at.size == 3 else {1 + at.size // 2} if at.size > 4 else set()
        shown = sorted({1, at.size, *between})
        axes.set_xticks(shown, [chart.words[place - 1].replace(" ", "\n") for place in shown])
        axes.set(xlim=(0.5, at.size + 0.5), ylim=(low - pad, high + pad), ylabel=chart.unit)
        _legend(axes)
        return svg_of(figure, name=name, title=title, desc=desc)


def _room(
    values: FloatArray, pm: FloatArray, low: FloatArray, high: FloatArray, target: FloatArray
) -> tuple[float, float, float]:
    """Return the lowest and the highest of what is to be seen, and some room beside them."""
    seen = np.concatenate([values - _or(pm), values + _or(pm), low, high, target])
    seen = seen[np.isfinite(seen)]
    least, most = (float(seen.min()), float(seen.max())) if seen.size else (0.0, 1.0)
    return least, most, 0.08 * max(most - least, 0.05 * max(abs(least), abs(most)), 0.1)


def _asked(axes: Any, row: CurveRow, floor: float, roof: float) -> None:  # noqa: ANN401
    """Fill what was asked for of a curve, over the backswing or at the top alone."""
    from_pct = _TOP_FROM_PCT if row.at_top else 0.0
    if row.low is not None or row.high is not None:
        low = floor if row.low is None else row.low
        high = roof if row.high is None else row.high
        axes.fill_between([from_pct, 100.0], low, high, color=BAND, lw=0, label="asked for")
    if row.target is not None:
        line = [row.target, row.target]
        axes.plot([from_pct, 100.0], line, color=INK, lw=1.2, ls="--", label="target")


def _band(
    axes: Any,  # noqa: ANN401
    edges: FloatArray,
    chart: RepChart | TrendChart,
    floor: float,
    roof: float,
) -> None:
    """Fill what was asked for, and draw its target, as steps: both may change between reps."""
    asked = np.isfinite(chart.low) | np.isfinite(chart.high)
    if asked.any():
        low = np.where(np.isfinite(chart.low), chart.low, floor)
        high = np.where(np.isfinite(chart.high), chart.high, roof)
        low[~asked] = high[~asked] = np.nan
        axes.fill_between(
            edges, _stepped(low), _stepped(high), step="post", color=BAND, lw=0, label="asked for"
        )
    if np.isfinite(chart.target).any():
        axes.step(
            edges, _stepped(chart.target), where="post", color=INK, lw=1.2, ls="--", label="target"
        )


def _stepped(values: FloatArray) -> FloatArray:
    return np.append(values, values[-1:] if values.size else [np.nan])


def _or(pm: FloatArray) -> FloatArray:
    return np.where(np.isfinite(pm), pm, 0.0)


def _bars(x: FloatArray, values: FloatArray, pm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return all ± bars as one line with gaps: one path in place of thousands."""
    gap = np.full(x.size, np.nan)
    return (
        np.stack([x, x, gap], axis=1).ravel(),
        np.stack([values - pm, values + pm, gap], axis=1).ravel(),
    )


def _dots(x: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return points as lines so short that only their ends are seen, with gaps between."""
    gap = np.full(x.size, np.nan)
    return (
        np.stack([x, x + 1e-3, gap], axis=1).ravel(),
        np.stack([values, values, gap], axis=1).ravel(),
    )


def _legend(first: Any, *others: Any, columns: int = 6) -> None:  # noqa: ANN401
    """Say over the ``first`` axes what is drawn in all of them, each thing once."""
    told: dict[str, Any] = {}
    for axes in (first, *others):
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            told.setdefault(label, handle)
    if told:
        first.legend(
            told.values(), told.keys(), loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=columns,
            frameon=False, fontsize=8.5, handlelength=1.3, handletextpad=0.4, columnspacing=0.9,
            borderaxespad=0.2,
        )  # fmt: skip


def _body(figure: Any, axes: Any, body: Body) -> None:  # noqa: ANN401
    figure.subplots_adjust(left=0.02, right=0.98)
    spots: list[FloatArray] = []
    for points, shade, width, dash in (
        (body.setup_px, GREY, 1.4, (0, (4, 2))),
        (body.top_px, INK, 2.6, "-"),
    ):
        if points is None:
            continue
        for start, end in body.bones:
            axes.plot(*points[[start, end]].T, color=shade, lw=width, ls=dash)
        head = points[list(body.head)].mean(axis=0)
        across = np.linalg.norm(np.diff(points[list(body.shoulders)], axis=0))
        if body.setup_px is not None:  # a head keeps its size while the shoulders turn
            across = np.linalg.norm(np.diff(body.setup_px[list(body.shoulders)], axis=0))
        turn = np.linspace(0.0, 2.0 * np.pi, 25)
        ring = head + 0.3 * across * np.stack([np.cos(turn), 1.2 * np.sin(turn)], axis=1)
        axes.plot(*ring.T, color=shade, lw=width, ls=dash)
        used = sorted({row for bone in body.bones for row in bone})
        spots += [points[used], ring]
    axes.set(aspect="equal")
    axes.axis("off")
    axes.set_title(body.words, fontsize=10)
    every = np.concatenate(spots) if spots else np.zeros((1, 2))
    every = every[np.isfinite(every).all(axis=1)]
    if not every.size:
        return
    (left, top), (right, foot) = every.min(axis=0), every.max(axis=0)
    tall = max(foot - top, 1.0)
    for x, dash, words, row in (
        (body.ball_line_px, "-.", "ball line", 0.03),
        (body.trail_hip_px, (0, (1, 1.5)), "trail hip at setup", 0.09),
    ):
        if x is not None and np.isfinite(x):
            axes.plot([x, x], [top, foot + 0.02 * tall], color=BLUE, lw=1.2, ls=dash)
            axes.text(x, foot + row * tall, words, ha="center", va="top", fontsize=8)
            left, right = min(left, x), max(right, x)
    if body.back_px is not None and body.top_px is not None:
        hips, shoulders = top + 0.5 * tall, top + 0.25 * tall
        axes.plot([body.back_px] * 2, [shoulders, hips], color=ORANGE, lw=3.0)
        side = " back" if body.target_right else "back "
        across = "left" if body.target_right else "right"
        axes.text(body.back_px, shoulders, side, ha=across, va="top", fontsize=8)
        left, right = min(left, body.back_px), max(right, body.back_px)
    side = 1.0 if body.target_right else -1.0
    middle = (left + right) / 2.0
    axes.annotate(
        "target", (middle + side * 0.3 * tall, foot + 0.2 * tall), (middle, foot + 0.2 * tall),
        arrowprops={"arrowstyle": "->"}, ha="center", va="center", fontsize=9,
    )  # fmt: skip
    axes.set(
        xlim=(left - 0.14 * tall, right + 0.14 * tall), ylim=(foot + 0.24 * tall, top - 0.02 * tall)
    )
