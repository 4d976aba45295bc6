"""The last rep standing still: its readings one by one, and its top beside the reference's.

Everything is drawn from the body points that were read; no picture is kept for it. What a figure
says is the reading of that instant, with its standard error where one is known.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.bay_words import (
    ALIKE,
    END,
    NOT_READ,
    ROWS,
    SETUP,
    STILL_HEAD,
    TAKEAWAY,
    TOP,
    TOPS_HEAD,
    UNKNOWN,
    when_words,
)
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Measures, Pose, Rep

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Figure:
    """A body at one instant, to be drawn."""

    title: str
    image_px: FloatArray  #: (33, 2) x right, y down, in the unmirrored picture
    tall_px: float  #: nose to ankles at setup: what two figures are made alike by
    middle_px: float  #: the x that is drawn in the middle
    hands_px: FloatArray | None = None  #: (N, 2) the way of the hands up to here


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LookBack:
    """What is shown of the last rep in the mirror's place."""

    title: str
    figures: tuple[Figure, ...]  #: one, or this rep's top and the reference's
    head: tuple[str, ...]  #: words over the columns
    rows: tuple[tuple[str, ...], ...]  #: name and reading, or name, two readings, difference
    foot: str  #: what the keys do
    share: float | None = None  #: how far into the rep, 0..1; None: no time line
    marks: tuple[tuple[float, str], ...] = ()  #: setup, takeaway and top on the time line


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Track:
    """A rep's readings with their poses, in order of time; at least one."""

    rep: Rep
    readings: tuple[tuple[Measures, Pose], ...]
    tall_px: float  #: nose to ankles at setup
    middle_px: float  #: x midway between the farthest points to either side
    t_s: tuple[float, ...]  #: times of the readings

    @property
    def last(self) -> int:
        """Return the row of the last reading."""
        return len(self.readings) - 1


def track_of(
    rep: Rep, readings: Iterable[tuple[Measures, Pose | None]], setup_px: FloatArray | None
) -> Track | None:
    """Return the track of a rep; None where no pose was read. ``setup_px``: (33, 2) at setup."""
    seen = tuple((now, pose) for now, pose in readings if pose is not None)
    if not seen:
        return None
    first = seen[0][1].image_px if setup_px is None else setup_px
    return Track(
        rep=rep,
        readings=seen,
        tall_px=tall_px(first),
        middle_px=_middle_px([pose.image_px for _, pose in seen]),
        t_s=tuple(now.t_s for now, _ in seen),
    )


def tall_px(image_px: FloatArray) -> float:
    """Return how far the ankles lie under the nose, in pixels; at least 1."""
    ankles = image_px[[L.LEFT_ANKLE, L.RIGHT_ANKLE], 1]
    tall = float(ankles.mean() - image_px[L.NOSE, 1])
    return tall if math.isfinite(tall) and tall > 1.0 else 1.0


def figure_of(title: str, image_px: FloatArray, setup_px: FloatArray | None) -> Figure:
    """Return a body to be drawn; without its setup it is made as tall as it stands here."""
    return Figure(
        title=title,
        image_px=image_px,
        tall_px=tall_px(image_px if setup_px is None else setup_px),
        middle_px=_middle_px([image_px]),
    )


def top_figure(track: Track, title: str) -> Figure | None:
    """Return the body at the middle of the top; None where no top was seen."""
    if track.rep.at_top is None:
        return None
    pose = track.readings[top_row(track)][1]
    return Figure(
        title=title,
        image_px=pose.image_px,
        tall_px=track.tall_px,
        middle_px=_middle_px([pose.image_px]),
    )


def top_row(track: Track) -> int:
    """Return the row nearest the middle of the top; of the largest turn where no top was seen."""
    if track.rep.at_top is not None:
        return _nearest(track, track.rep.at_top.t_s)
    turns = [now.shoulder_turn_deg for now, _ in track.readings]
    read = [(turn, row) for row, turn in enumerate(turns) if turn is not None]
    return max(read)[1] if read else track.last


def instants(track: Track) -> tuple[tuple[int, str], ...]:
    """Return the rows of setup, takeaway, top and the top's end that are in the track, in order."""
    rep = track.rep
    found = [(0, SETUP), (_nearest(track, rep.takeaway_t_s), TAKEAWAY)]
    if rep.top_t_s is not None:
        found.append((top_row(track), TOP))
    found.append((track.last, END))
    rows: dict[int, str] = {}
    for row, name in found:
        rows.setdefault(row, name)
    return tuple(sorted(rows.items()))


def jumped(track: Track, row: int, way: int) -> int:
    """Return the row of the next instant (+1) or the one before (-1); the row itself at the end."""
    rows = [at for at, _ in instants(track)]
    ahead = [at for at in rows if at > row] if way > 0 else [at for at in rows if at < row][::-1]
    return ahead[0] if ahead else row


def standing(track: Track, row: int, title: str, foot: str) -> LookBack:
    """Return reading ``row`` of the track, standing still."""
    now, pose = track.readings[row]
    began_s, ended_s = track.t_s[0], track.t_s[-1]
    long_s = max(ended_s - began_s, 1e-9)
    when = when_words(now.t_s - track.rep.takeaway_t_s, dict(instants(track)).get(row, ""))
    wrists = [L.LEFT_WRIST, L.RIGHT_WRIST]
    hands = [pose.image_px[wrists].mean(axis=0) for _, pose in track.readings[: row + 1]]
    return LookBack(
        title=title,
        figures=(
            Figure(
                title=when,
                image_px=pose.image_px,
                tall_px=track.tall_px,
                middle_px=track.middle_px,
                hands_px=np.array(hands),
            ),
        ),
        head=STILL_HEAD,
        rows=tuple((name, said) for name, said in _told(now)),
        foot=foot,
        share=(now.t_s - began_s) / long_s,
        marks=tuple(((track.t_s[at] - began_s) / long_s, name) for at, name in instants(track)),
    )


def side_by_side(
    mine: Figure,
    top: Measures,
    other: Figure,
    other_top: Measures,
    *,
    title: str,
    foot: str,
) -> LookBack:
    """Return two tops beside each other, with what they read and how they differ."""
    rows = []
    for name, words, unit, plus, minus in ROWS:
        one, two = (_value(at, name) for at in (top, other_top))
        if one is None and two is None:
            continue
        rows.append(
            (
                words,
                _said(top, name, unit, plus, minus),
                _said(other_top, name, unit, plus, minus),
                _apart(top, other_top, name, unit),
            )
        )
    return LookBack(
        title=title,
        figures=(mine, other),
        head=TOPS_HEAD,
        rows=tuple(rows),
        foot=foot,
    )


def _told(now: Measures) -> Iterable[tuple[str, str]]:
    for name, words, unit, plus, minus in ROWS:
        if _value(now, name) is not None or name in ("shoulder_turn_deg", "head_lateral_cm"):
            yield (
                words,
                _said(now, name, unit, plus, minus),
            )


def _value(now: Measures, name: str) -> float | None:
    value: float | None = getattr(now, name)
    return value


def _se(now: Measures, name: str) -> float | None:
    stem, unit = name.rsplit("_", 1)
    value: float | None = getattr(now, f"{stem}_se_{unit}")
    return value


def _said(now: Measures, name: str, unit: str, plus: str, minus: str) -> str:
    """Return a reading in words: "62° ±4", "3 cm away"."""
    value, se = _value(now, name), _se(now, name)
    if value is None:
        return NOT_READ
    whole = round(abs(value)) if plus else round(value)
    said = f"{'−' if whole < 0 else ''}{abs(whole)}{unit}"
    if se is not None:
        said += f" ±{se:.0f}" if se >= 0.95 else f" ±{se:.1f}"  # never "±0"
    way = plus if value > 0 else minus
    return f"{said} {way}" if way and whole else said


def _apart(one: Measures, two: Measures, name: str, unit: str) -> str:
    """Return how far the first reading lies over the second, or that they may well be alike.

    Alike: nearer than one standard error of the difference (chosen); its square is the sum of both
    squares where the errors are independent. Those of one player before one camera are not
    wholly, which makes the true one smaller.
    """
    a, b = _value(one, name), _value(two, name)
    if a is None or b is None:
        return UNKNOWN
    se_a, se_b = _se(one, name), _se(two, name)
    if se_a is not None and se_b is not None and abs(a - b) < math.hypot(se_a, se_b):
        return ALIKE
    apart = round(a - b)
    if apart == 0:
        return ALIKE
    return f"{'+' if apart > 0 else '−'}{abs(apart)}{unit}"


def _middle_px(bodies: list[FloatArray]) -> float:
    found = np.concatenate([image_px[:, 0] for image_px in bodies])
    found = found[np.isfinite(found)]
    return float((found.min() + found.max()) / 2) if found.size else 0.0


def _nearest(track: Track, t_s: float) -> int:
    after = bisect_left(track.t_s, t_s)
    rows = [row for row in (after - 1, after) if 0 <= row < len(track.t_s)]
    return min(rows, key=lambda row: abs(track.t_s[row] - t_s))
