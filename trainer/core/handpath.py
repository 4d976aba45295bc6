"""The path of the hands since setup, and the instants read from it.

The path keeps unsmoothed readings: every instant found here is back-dated, so it can look at
both sides of the moment and needs no filter that lags.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
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


def distance_cm(a: HandPoint, b: HandPoint) -> float:
    """Return the distance between two places of the hands in the picture plane."""
    return math.hypot(a.lateral_cm - b.lateral_cm, a.height_cm - b.height_cm)


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


#: Near the ends of a minimum-jerk move the distance goes as the third power of time (Flash &
#: Hogan 1985, from memory). Seen by the pose model it does not quite: wrists that come out from
#: behind the head settle late. These powers gave the least error on rendered clips other than
#: those of docs/accuracy.md.
LEAVING_POWER: Final = 3.5
ARRIVING_POWER: Final = 2.6


def ease_instant_s(
    path: tuple[HandPoint, ...], place: tuple[float, float], *, arriving: bool, reach_cm: float
) -> float | None:
    """Return when the hands left ``place`` (or, arriving, when they came to rest there).

    A movement that starts or ends smoothly covers its first and last centimetres so slowly that
    noise hides them. Near its ends the distance goes as a power of time, so that root of the
    distance is a straight line in time; it is fitted where the distance is well above the
    noise, up to ``reach_cm``, and read where it meets zero. ``path`` is searched backwards from
    its end when leaving and forwards from its start when arriving. None when too few readings
    lie there.
    """
    places = np.array([(p.lateral_cm, p.height_cm) for p in path])
    times = np.array([p.t_s for p in path])
    if len(times) < 3:
        return None
    away = np.hypot(places[:, 0] - place[0], places[:, 1] - place[1])
    low = reach_cm / (6 if arriving else 10)
    if arriving:
        inside = np.nonzero(away <= low)[0]
        near = int(inside[0]) if inside.size else len(away)
        before = np.nonzero(away[:near] > reach_cm)[0]
        chosen = slice(int(before[-1]) if before.size else 0, min(near + 1, len(away)))
    else:
        inside = np.nonzero(away <= low)[0]
        near = int(inside[-1]) if inside.size else -1
        beyond = np.nonzero(away[near + 1 :] > reach_cm)[0]
        last = near + 2 + int(beyond[0]) if beyond.size else len(away)
        chosen = slice(max(near, 0), last)
    power = ARRIVING_POWER if arriving else LEAVING_POWER
    times, root = times[chosen], away[chosen] ** (1 / power)
    if len(times) < 2 or np.ptp(root) < 1e-6:
        return None
    centred = root - root.mean()
    # Time as a straight line of the root, read at root = 0.
    slope = float(centred @ (times - times.mean()) / (centred @ centred))
    instant = float(times.mean() - slope * root.mean())
    # Never further from the first clear reading than the fitted stretch is long.
    stretch = float(times[-1] - times[0])
    if arriving:
        return float(np.clip(instant, times[-1] - stretch, times[-1] + stretch))
    return float(np.clip(instant, times[0] - stretch, times[0] + stretch))


def turning_instant_s(path: tuple[HandPoint, ...]) -> tuple[int, float]:
    """Return (row, instant) at which the arc was largest.

    The instant is where a parabola through the readings within 0.07 s has its top, so it falls
    between frames when the hands turned between frames.
    """
    arcs = np.array([p.arc_deg for p in path])
    times = np.array([p.t_s for p in path])
    row = int(np.argmax(arcs))
    near = np.abs(times - times[row]) <= 0.07
    if near.sum() < 3:
        near = np.zeros(len(times), dtype=bool)
        near[max(0, row - 1) : row + 2] = True
    if near.sum() < 3:
        return row, float(times[row])
    dt = times[near] - times[row]
    a, b, _ = np.polyfit(dt, arcs[near], 2)
    if a >= -1e-9:
        return row, float(times[row])
    return row, float(times[row] + np.clip(-b / (2 * a), dt[0], dt[-1]))
