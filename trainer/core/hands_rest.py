"""When the hands came to rest, by how the picture moves round them."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.handpath import HandPoint

FloatArray = NDArray[np.float64]

#: Of the way from the takeaway to where the body points see the top: the motion is looked at after.
FROM_SHARE: Final = 0.3
#: And until so long after that.
UNTIL_S: Final = 0.2
#: Of the fastest less the slowest: between these the motion is followed to its end. Below the
#: lower one it is grain and breath.
HIGH_SHARE: Final = 0.5
LOW_SHARE: Final = 0.02
#: Motion to this power falls to nothing about evenly: that of a minimum-jerk move falls as the
#: square of the time that is left, but the flow of hands that are small in the square less so.
#: Together with the shares and lengths below it gave the least error on 122 rendered backswings
#: of other people than those of docs/accuracy.md (seeds from 100000, 200000, 310000 and 320000).
POWER: Final = 0.55
#: The line is drawn on no further than this, or this share of the backswing.
AHEAD_S: Final = 0.12
AHEAD_SHARE: Final = 0.06
#: Body points and picture within this of one another are both right: their middle is taken. Slow
#: hands creep to their place, and neither can tell the end as well.
TOGETHER_S: Final = 0.07
TOGETHER_SHARE: Final = 0.04
_LEAST: Final = 6


def joined_s(path: tuple[HandPoint, ...], start_s: float, points_s: float) -> float:
    """Return when the hands came to rest, by the body points' word and the picture's motion.

    Where both agree, between the two; where they do not, the picture is believed, because the
    points of hidden hands may be anywhere. ``points_s`` itself where no motion was read.
    """
    rested_s = rested_instant_s(path, start_s, points_s)
    if rested_s is None:
        return points_s
    if abs(rested_s - points_s) <= max(TOGETHER_S, TOGETHER_SHARE * (points_s - start_s)):
        return (rested_s + points_s) / 2
    return rested_s


def rested_instant_s(path: tuple[HandPoint, ...], start_s: float, about_s: float) -> float | None:
    """Return when the picture round the hands came to rest; None when too little was read.

    ``start_s`` is the takeaway and ``about_s`` about when they came to rest. From the fastest on,
    the motion's last fall to its least is followed, and drawn on to nothing as a straight line.
    """
    times, motion = _between(path, start_s + FROM_SHARE * (about_s - start_s), about_s + UNTIL_S)
    if len(times) < _LEAST:
        return None
    rest = int(np.argmin(motion))
    if rest < 3:
        return None
    fast = int(np.argmax(motion[:rest]))
    range_ = float(motion[fast] - motion[rest])
    if range_ <= 0:
        return None
    fall = np.maximum((motion - motion[rest]) / range_, 0.0) ** POWER
    low, high = LOW_SHARE**POWER, HIGH_SHARE**POWER
    end = fast
    while end < rest and fall[end] > low:
        end += 1
    begin = end
    while begin > fast and fall[begin - 1] < high:
        begin -= 1
    if end - begin < 2:
        begin = max(fast, end - 3)
    if end - begin < 2:
        return float(times[end])
    slope, at_0 = np.polyfit(times[begin:end] - times[end], fall[begin:end], 1)
    if slope >= 0:
        return float(times[end])
    ahead_s = max(AHEAD_S, AHEAD_SHARE * (about_s - start_s))
    return float(times[end] + np.clip(-at_0 / slope, -0.05, ahead_s))


def _between(
    path: tuple[HandPoint, ...], from_s: float, until_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return (N,) times and motion; a motion is that half way between two readings."""
    rows = [
        ((now.t_s + before.t_s) / 2, now.motion)
        for before, now in pairwise(path)
        if now.motion is not None
    ]
    kept = [row for row in rows if from_s <= row[0] <= until_s]
    return np.array([t_s for t_s, _ in kept]), np.array([motion for _, motion in kept])
