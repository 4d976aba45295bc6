"""The path of the hands since setup, and the instants read from it.

The path keeps unsmoothed readings: every instant found here is back-dated, so it can look at
both sides of the moment and needs no filter that lags.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: Speed is read over at least this much time, so that it does not depend on the frame rate.
SPEED_SPAN_S: Final = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class HandPoint:
    """The hands at one reading, against their place at setup."""

    t_s: float
    lateral_cm: float
    height_cm: float
    arc_deg: float
    level: float  #: 0 hip line, 1 shoulder line at setup
    arms_cm: tuple[float, ...] = ()  #: lateral, height of each point of both arms, as the hands
    motion: float | None = None  #: how fast the picture moves there, as ``Pose.hand_motion``


#: Where the wrists stand in ``HandPoint.arms_cm``.
_WRISTS: Final = (slice(4, 6), slice(6, 8))


def distance_cm(a: HandPoint, b: HandPoint) -> float:
    """Return the distance between two places of the hands in the picture plane."""
    return math.hypot(a.lateral_cm - b.lateral_cm, a.height_cm - b.height_cm)


def both_away_cm(a: HandPoint, b: HandPoint) -> float:
    """Return how far the hands are from another place of theirs, going by the nearer wrist.

    Both hands hold one club, so hands that have moved have moved both wrists; a wrist that is
    hidden may jump alone. Without arms it is the distance of the hands.
    """
    if not (a.arms_cm and b.arms_cm):
        return distance_cm(a, b)
    return min(math.dist(a.arms_cm[wrist], b.arms_cm[wrist]) for wrist in _WRISTS)


#: No hand leaves the other faster than this before a backswing is under way: a quick takeaway is
#: at 3 m/s by then. What does has been put elsewhere by the pose model.
JUMP_CM_S: Final = 600.0
JUMP_CM: Final = 15.0
#: Wrists this near each other are on one club, whatever was seen before.
TOGETHER_CM: Final = 27.0


def one_strayed(path: Sequence[HandPoint], lost: int | None = None) -> bool:
    """Tell whether one wrist of the newest reading is not where it is seen.

    It jumped away from the other at a speed no hand has, and has not come back to it since.
    ``lost``: the pose model could not find that wrist (0 left, 1 right) at the address already.
    """
    strayed = {lost} - {None}
    for before, now in pairwise(path):
        if not (before.arms_cm and now.arms_cm):
            continue
        wrists = [(before.arms_cm[wrist], now.arms_cm[wrist]) for wrist in _WRISTS]
        apart_cm = math.dist(wrists[0][1], wrists[1][1])
        if apart_cm < TOGETHER_CM:
            strayed.clear()
            continue
        steps = [math.dist(*pair) for pair in wrists]
        far = max(JUMP_CM, JUMP_CM_S * (now.t_s - before.t_s))
        wider = apart_cm > math.dist(wrists[0][0], wrists[1][0])
        for side, step in enumerate(steps):
            if wider and step > far and steps[1 - side] < step / 2:
                strayed.add(side)
    return len(strayed) == 1


def median_point(points: Sequence[HandPoint]) -> HandPoint:
    """Return the middle of each value of one or more points, for itself."""
    values = np.median([(p.t_s, p.lateral_cm, p.height_cm, p.arc_deg, p.level) for p in points], 0)
    t_s, lateral_cm, height_cm, arc_deg, level = values.tolist()
    arms_cm: tuple[float, ...] = ()
    if all(p.arms_cm for p in points):
        arms_cm = tuple(np.median([p.arms_cm for p in points], axis=0).tolist())
    return HandPoint(
        t_s=t_s,
        lateral_cm=lateral_cm,
        height_cm=height_cm,
        arc_deg=arc_deg,
        level=level,
        arms_cm=arms_cm,
    )


def speed_cm_s(path: tuple[HandPoint, ...]) -> float | None:
    """Return the hands' speed over the newest ``SPEED_SPAN_S``; None from too few readings.

    The length of the straight line through the newest readings (least squares), so single
    noisy readings count little.
    """
    if len(path) < 2:
        return None
    newest = path[-1]
    start = len(path) - 1
    while start > 0 and newest.t_s - path[start].t_s < SPEED_SPAN_S - 1e-9:
        start -= 1
    part = path[start:]
    span = newest.t_s - part[0].t_s
    if span < SPEED_SPAN_S * 0.6 or span > 0.5:
        return None
    # Plain sums: this runs several times a picture over a handful of points.
    middle_s = sum(p.t_s for p in part) / len(part)
    over = sum((p.t_s - middle_s) ** 2 for p in part)
    lateral = sum((p.t_s - middle_s) * p.lateral_cm for p in part) / over
    height = sum((p.t_s - middle_s) * p.height_cm for p in part) / over
    return math.hypot(lateral, height)


#: At the takeaway only the first centimetres are known. Hands that leave a place smoothly go as
#: a power of time, a minimum-jerk move as the third; the pose model's own smoothing holds back
#: hands that begin to move, for which this power makes up. It gave the least error on rendered
#: clips other than those of docs/accuracy.md.
TAKEAWAY_POWER: Final = 3.5
#: Lengths tried for a minimum-jerk move (Flash & Hogan 1985, J Neurosci 5:1688, from memory) of
#: which only the first part is known.
MOVE_LENGTHS_S: Final = (0.25, 0.35, 0.5, 0.7, 1.0, 1.5, 2.2)
#: The hands count as still at a place within this distance of it.
AT_PLACE_CM: Final = 1.5
#: Added to each point's mean square distance from a curve, so that no point counts without end.
FLOOR_CM2: Final = 0.1
#: Of the last stretch to a place, the part that is fitted to find when they arrived.
ARRIVING_SHARE: Final = 0.5
#: The arrival is a minimum-jerk move about as long as the stretch really took, by this share.
LENGTH_SHARE: Final = 0.25
#: Slower than this the hands stop on the way; what comes after is a move of its own.
STOP_CM_S: Final = 8.0
#: A stop is looked for from this far before the place: nearer, hands that arrive are slow too.
ON_THE_WAY_CM: Final = 8.0
#: Over a longer time without readings no curve is fitted.
LONGEST_GAP_S: Final = 0.2
#: More readings than this in a fit only cost time.
MOST_ROWS: Final = 48


def left_instant_s(
    path: tuple[HandPoint, ...], place: HandPoint, power: float | None = None
) -> float | None:
    """Return when the hands left ``place``, from a path that ends on the way from there.

    A movement that starts smoothly covers its first centimetres so slowly that noise hides
    them, so a curve is fitted: still or slowly arriving, then away as a minimum-jerk move does,
    or as a power of time. None when too few readings lie there.
    """
    times = _times(path)
    if len(times) < 4:
        return None
    away = np.array([both_away_cm(point, place) for point in path])
    at_place = np.nonzero(away[:-1] < AT_PLACE_CM)[0]
    near = int(at_place[-1]) if at_place.size else int(np.argmin(away[:-1]))
    # The slower they leave, the longer the start that is hidden.
    begin_s = times[near] - 0.15 - 1.5 * (times[-1] - times[near])
    elsewhere = np.nonzero(away[:near] > 2 * AT_PLACE_CM)[0]
    first = max(int(np.searchsorted(times, begin_s)), int(elsewhere[-1]) if elsewhere.size else 0)
    first = min(first, len(times) - 4)
    rows = _thinned(np.arange(first, len(times)))
    times, points = times[rows], _points(path)[rows]

    def best(begun_s: FloatArray) -> float:
        begun = begun_s if power is not None else np.repeat(begun_s, len(MOVE_LENGTHS_S))
        since = times[None, :] - begun[:, None]
        ahead, before = np.maximum(since, 0.0), np.maximum(-since, 0.0)
        if power is None:
            ahead = _minimum_jerk(ahead / np.tile(MOVE_LENGTHS_S, len(begun_s))[:, None])
        else:
            ahead = ahead**power
        curves = np.stack([np.ones_like(since), ahead, before**2], axis=2)
        return float(begun[int(np.argmin(_misfit(curves, points)))])

    low, high = float(times[1]), float(times[-1]) - 0.02
    if high <= low:
        return None
    step_s = 1 / 45
    near_s = best(np.arange(low, high, step_s))
    fine = near_s + step_s * np.arange(-4, 5) / 4
    return best(fine[(fine >= low) & (fine <= high)])


def arrived_instant_s(path: tuple[HandPoint, ...], start_s: float, left_s: float) -> float | None:
    """Return when the hands arrived where they were until ``left_s``.

    The last stretch of the way, from ``start_s`` or from the last stop on it, is taken for a
    minimum-jerk move. Its end is found by fitting where the points of the arms are in its later
    part: each as a parabola of the share of the move that is left, whatever bend the picture
    gives their way. None when too few readings lie there.
    """
    path = tuple(point for point in path if start_s - 1e-9 <= point.t_s <= left_s + 0.01)
    if len(path) < 6:
        return None
    times = _times(path)
    place = median_point([p for p in path if p.t_s >= left_s - 0.15] or path[-1:])
    away = np.array([distance_cm(point, place) for point in path])
    start = _last_stop(path, away)
    far = np.nonzero(away[start:] > ARRIVING_SHARE * away[start:].max())[0]
    first = start + int(far[-1])
    near = np.nonzero(away[first:] < 2 * AT_PLACE_CM)[0]
    near_s = float(times[first + near[0]]) if near.size else left_s
    rows = _thinned(np.arange(first, len(times)))
    fitted, points = times[rows], _points(path)[rows]
    if len(rows) < 5 or np.diff(times[first:]).max() > LONGEST_GAP_S:
        return near_s
    begun_s = float(times[start])

    def best(ends_s: FloatArray, lengths: FloatArray) -> tuple[float, float]:
        end, share = (a.ravel() for a in np.meshgrid(ends_s, lengths, indexing="ij"))
        length = (end - begun_s) * share
        left = 1 - _minimum_jerk(1 - (end[:, None] - fitted[None, :]) / length[:, None])
        cost = _misfit(np.stack([np.ones_like(left), left, left**2], axis=2), points)
        cost += points.shape[1] / 2 * ((share - 1) / LENGTH_SHARE) ** 2
        row = int(np.argmin(cost))
        return float(end[row]), float(share[row])

    # A minimum-jerk move comes within 3 of 150 cm an eighth of its time before its end.
    longest_s = max(0.5, 0.25 * (near_s - begun_s))
    low, high = max(near_s - 0.1, float(fitted[1])), min(near_s + longest_s, left_s + 0.03)
    ends = np.arange(low, max(high, low + 0.1), longest_s / 50)
    end, share = best(ends, np.linspace(0.6, 1.5, 10))
    end, _ = best(end + np.arange(-3, 4) * longest_s / 180, share + np.array([-0.05, 0.0, 0.05]))
    return end


def _last_stop(path: tuple[HandPoint, ...], away: FloatArray) -> int:
    """Return the row from which on the hands did not stop until they arrived."""
    on_the_way = np.nonzero(away > min(ON_THE_WAY_CM, 0.5 * away.max()))[0]
    for row in range(int(on_the_way[-1]), 0, -1):
        speed = speed_cm_s(path[max(0, row - 40) : row + 1])
        if speed is not None and speed < STOP_CM_S:
            return row
    return 0


def _minimum_jerk(share: FloatArray) -> FloatArray:
    """Return the share of a minimum-jerk move done at a share of its time."""
    share = np.clip(share, 0.0, 1.0)
    done: FloatArray = share**3 * (10 - 15 * share + 6 * share**2)
    return done


def _misfit(curves: FloatArray, points: FloatArray) -> FloatArray:
    """Return how badly each of G curves of K columns, (G, N, K), fits points (N, 2 C).

    Each of the C points has noise of its own that nobody knows, so by maximum likelihood its
    readings count by the logarithm of their mean square distance: a wrist that is hidden and
    jumps about says little.
    """
    base, _ = np.linalg.qr(curves)
    off = points - base @ (base.transpose(0, 2, 1) @ points)
    square = off[:, :, 0::2] ** 2 + off[:, :, 1::2] ** 2
    cost: FloatArray = len(points) * np.log(square.mean(axis=1) + FLOOR_CM2).sum(axis=1)
    return cost


def _thinned(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return at most ``MOST_ROWS`` of the rows, evenly, the last one always among them."""
    step = -(-len(rows) // MOST_ROWS)
    return rows[::-1][::step][::-1]


def _times(path: tuple[HandPoint, ...]) -> FloatArray:
    return np.array([p.t_s for p in path])


def _places(path: tuple[HandPoint, ...]) -> FloatArray:
    return np.array([(p.lateral_cm, p.height_cm) for p in path])


def _points(path: tuple[HandPoint, ...]) -> FloatArray:
    """Return the points of the arms (N, 2 C); the hands alone where those are not known."""
    if all(p.arms_cm for p in path):
        return np.array([p.arms_cm for p in path])
    return _places(path)
