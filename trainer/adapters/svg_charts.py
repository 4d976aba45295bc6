"""Charts as SVG, drawn by matplotlib for a page: readable in grey, with words for who cannot see.

What a point means is told by its shape, never by its colour alone. matplotlib is loaded when a
chart is first drawn, for the page alone and for nothing live.
"""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

INK: Final = "#1a1a1a"
BLUE: Final = "#0b4f7d"
ORANGE: Final = "#c65300"
GREY: Final = "#707070"
BAND: Final = "#dfe6ea"
#: Kind of a point -> its marker, edge, fill and words; shapes and fills differ, not only colours.
MARKS: Final = {
    "inside": ("o", BLUE, BLUE, "in its band"),
    "near": ("o", BLUE, "white", "near the limit"),
    "beyond": ("v", ORANGE, ORANGE, "beyond the limit"),
    "unjudged": ("D", GREY, "white", "measured, nothing asked"),
}
#: Of very many reps these kinds are drawn as the ends of lines without length, all in one path:
#: round for a circle, square for a diamond.
DOTS: Final = {"inside": "round", "unjudged": "projecting"}
#: best, worst, reference: dash and shade.
LINES: Final = {"best": ("-", BLUE), "worst": ((0, (5, 2)), ORANGE), "reference": (":", INK)}
_SVG: Final = "{http://www.w3.org/2000/svg}"
_HREF: Final = "{http://www.w3.org/1999/xlink}href"
_REFERS: Final = re.compile(r"#([A-Za-z_][\w.-]*)")


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
    """The average of one measure over sessions."""

    unit: str
    words: tuple[str, ...]  #: a session each
    means: FloatArray  #: NaN: not measured
    pm: FloatArray  #: NaN: not known


def rep_chart(chart: RepChart, *, name: str, title: str, desc: str) -> ET.Element:
    """Draw every rep against target and band, with its ±."""
    with _figure((7.2, 2.1)) as (figure, plots):
        axes = plots(1)[0]
        count = chart.values.size
        number = np.arange(1, count + 1)
        few = count <= 150
        size = 5.0 if few else 2.5
        edges = np.concatenate([[0.5], number + 0.5])
        seen = np.concatenate([chart.values - _or(chart.pm), chart.values + _or(chart.pm)])
        limits = np.concatenate([seen, chart.low, chart.high, chart.target])
        limits = limits[np.isfinite(limits)]
        low, high = (float(limits.min()), float(limits.max())) if limits.size else (0.0, 1.0)
        pad = 0.08 * max(high - low, 0.05 * max(abs(low), abs(high)), 0.1)
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
        _legend(axes)
        return _svg(figure, name=name, title=title, desc=desc)


def curves_chart(
    curves: Sequence[Curve],
    rows: Sequence[tuple[str, str]],
    *,
    name: str,
    title: str,
    desc: str,
) -> ET.Element:
    """Draw each of ``rows`` (column, words with unit) over the backswing, all curves in each."""
    with _figure((7.2, 1.5 * len(rows) + 0.5)) as (figure, plots):
        for row, ((column, words), axes) in enumerate(zip(rows, plots(len(rows)), strict=True)):
            for curve in curves:
                if column in curve.columns:
                    dash, shade = LINES[curve.name]
                    values = curve.columns[column]
                    axes.plot(
                        curve.share_pct, values, ls=dash, color=shade, lw=1.8, label=curve.words
                    )
            axes.axhline(0.0, color=GREY, lw=0.6)
            axes.set(xlim=(0.0, 100.0), ylabel=words)
            if row == 0:
                _legend(axes)
            if row == len(rows) - 1:
                axes.set_xlabel("share of the backswing, % (0 takeaway, 100 top)")
        return _svg(figure, name=name, title=title, desc=desc)


def body_figure(bodies: Sequence[Body], *, name: str, title: str, desc: str) -> ET.Element:
    """Draw each body at setup (thin, dashed) and at the top (thick), side by side."""
    with _figure((7.2, 4.2)) as (figure, plots):
        for body, axes in zip(bodies, plots(1, len(bodies)), strict=True):
            _body(axes, body)
        return _svg(figure, name=name, title=title, desc=desc)


def trend_chart(chart: TrendChart, *, name: str, title: str, desc: str) -> ET.Element:
    """Draw the average of each session with its ±."""
    with _figure((7.2, 2.1)) as (figure, plots):
        axes = plots(1)[0]
        at = np.arange(1, chart.means.size + 1)
        if np.isfinite(chart.means + chart.pm).any():
            axes.plot(*_bars(at, chart.means, chart.pm), color=GREY, lw=1.2)
        axes.plot(at, chart.means, "o-", color=BLUE, lw=0.8, ms=5)
        step = max(1, -(-at.size // 8))
        axes.set_xticks(at[::step], chart.words[::step])
        axes.set(xlim=(0.5, at.size + 0.5), ylabel=chart.unit)
        return _svg(figure, name=name, title=title, desc=desc)


def _band(axes: Any, edges: FloatArray, chart: RepChart, floor: float, roof: float) -> None:  # noqa: ANN401
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


def _legend(axes: Any) -> None:  # noqa: ANN401
    handles, labels = axes.get_legend_handles_labels()
    if handles:
        axes.legend(
            handles, labels, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=6, frameon=False,
            fontsize=8.5, handlelength=1.3, handletextpad=0.4, columnspacing=0.9, borderaxespad=0.2,
        )  # fmt: skip


def _body(axes: Any, body: Body) -> None:  # noqa: ANN401
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


@contextmanager
def _figure(size_in: tuple[float, float]) -> Iterator[tuple[Any, Any]]:
    """Give a figure and a function that makes its axes, free of the user's own settings."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(
            {
                "svg.fonttype": "none",  # words stay words: they can be read out and searched
                "svg.hashsalt": "report",
                "font.family": ["sans-serif"],
                "font.sans-serif": ["DejaVu Sans", "sans-serif"],
                "font.size": 9.5,
                "axes.spines.top": False,
                "axes.spines.right": False,
                "axes.unicode_minus": True,
            }
        )
        figure = Figure(figsize=size_in)

        def plots(rows: int, columns: int = 1) -> list[Any]:
            width, height = size_in
            figure.subplots_adjust(
                left=0.62 / width, right=1.0 - 0.18 / width,
                bottom=0.48 / height, top=1.0 - 0.32 / height, hspace=0.12, wspace=0.05,
            )  # fmt: skip
            found = figure.subplots(rows, columns, squeeze=False, sharex=columns == 1)
            return [axes for row in found for axes in row]

        yield figure, plots


def _svg(figure: Any, *, name: str, title: str, desc: str) -> ET.Element:  # noqa: ANN401
    """Return the figure as an element to be put in a page.

    ``name`` goes before every id that is referred to, because ids count for the whole page; the
    others are left out.
    """
    file = io.StringIO()
    figure.savefig(
        file, format="svg", metadata=dict.fromkeys(("Date", "Creator", "Format", "Type"))
    )
    root = ET.fromstring(file.getvalue())
    _strip(root, name)
    for place, (tag, words) in enumerate((("title", title), ("desc", desc))):
        told = ET.Element(tag, {"id": f"{name}-{tag}"})
        told.text = words
        root.insert(place, told)
    view = root.get("viewBox", "")
    root.attrib.clear()
    root.attrib.update(
        {
            "viewBox": view,
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-desc",
        }
    )
    return root


def _strip(root: ET.Element, name: str) -> None:
    """Take out what a page does not need, and make ids the chart's own."""
    wanted = set(_REFERS.findall(" ".join(v for e in root.iter() for v in e.attrib.values())))
    for parent in root.iter():
        for child in list(parent):
            kept = child.tag.removeprefix(_SVG)
            if kept in ("metadata", "style") or (kept == "defs" and _only_style(child)):
                parent.remove(child)
    for item in root.iter():
        item.tag = item.tag.removeprefix(_SVG)
        item.text = (item.text or "").strip() or None
        item.tail = None
        target = item.attrib.pop(_HREF, None)
        if target is not None:
            item.set("href", target)
        for key, value in list(item.attrib.items()):
            if key == "id":
                if value in wanted:
                    item.set(key, f"{name}-{value}")
                else:
                    del item.attrib[key]
            elif "#" in value and ("url(" in value or key == "href"):
                item.set(key, _REFERS.sub(rf"#{name}-\1", value))
        uses = [child for child in item if child.tag.removeprefix(_SVG) == "use"]
        styles = {child.get("style") for child in uses}
        if (
            len(uses) > 1
            and len(uses) == len(item)
            and len(styles) == 1
            and "style" not in item.attrib
        ):
            style = styles.pop()
            if style:
                item.set("style", style)
                for child in uses:
                    del child.attrib["style"]


def _only_style(defs: ET.Element) -> bool:
    return all(child.tag.removeprefix(_SVG) == "style" for child in defs)
