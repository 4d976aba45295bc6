"""Ways to use time: the same single-picture readings put through different filters, offline.

Plain functions of (N,) arrays, NaN meaning "not read". All look backwards only, so all could run
live. They are here to be compared on the exam's clips; the program itself smooths the body points
(``core.smoothing``) before it reads them.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MEDIAN_S: Final = 0.3
#: A backswing of 90 degrees in one second on a minimum-jerk path is accelerated by up to 520
#: degrees a second squared (5.77 x way / time squared, Flash & Hogan 1985), 370 in the mean square.
ACCELERATION_DEG_S2: Final = 370.0
#: Taken where a reading states no standard error.
UNKNOWN_SE_DEG: Final = 14.0
#: Nothing read for longer: begin anew.
GAP_S: Final = 0.25


def trailing_median(t_s: Floats, value: Floats, window_s: float = MEDIAN_S) -> Floats:
    """Return at each instant the median of what was read in the ``window_s`` up to it."""
    out = np.full(len(t_s), math.nan)
    for row, now in enumerate(t_s):
        inside = (t_s > now - window_s - 1e-9) & (t_s <= now + 1e-9) & np.isfinite(value)
        if np.isfinite(value[row]):
            out[row] = float(np.median(value[inside]))
    return out


def kalman(
    t_s: Floats, value: Floats, se: Floats, acceleration: float = ACCELERATION_DEG_S2
) -> tuple[Floats, Floats]:
    """Return the filtered turn and its standard error, (N,) each, from state (turn, rate).

    Constant rate with white acceleration noise (Bar-Shalom, Li, Kirubarajan 2001, Estimation with
    Applications to Tracking and Navigation, section 6.3.2: the discrete model, whose noise is
    [dt^4/4, dt^3/2; dt^3/2, dt^2] times the acceleration's variance). Each reading comes with the
    variance stated with it. That takes errors of neighbouring pictures for independent, which
    they are not, so the standard error given back is too small.
    """
    filtered, spread = np.full(len(t_s), math.nan), np.full(len(t_s), math.nan)
    state, cover, last_s = np.zeros(2), np.eye(2), -math.inf
    for row, now in enumerate(t_s):
        if not math.isfinite(value[row]):
            continue
        noise = (se[row] if math.isfinite(se[row]) else UNKNOWN_SE_DEG) ** 2
        step_s = float(now - last_s)
        if step_s > GAP_S:
            state, cover = np.array([value[row], 0.0]), np.diag([noise, 200.0**2])
        else:
            move = np.array([[1.0, step_s], [0.0, 1.0]])
            push = np.array([step_s**2 / 2, step_s]) * acceleration
            state = move @ state
            cover = move @ cover @ move.T + np.outer(push, push)
            gain = cover[:, 0] / (cover[0, 0] + noise)
            state = state + gain * (value[row] - state[0])
            cover = cover - np.outer(gain, cover[0])
        filtered[row], spread[row], last_s = state[0], math.sqrt(cover[0, 0]), float(now)
    return filtered, spread


def unsteadiness(error: Floats, clip: NDArray[np.int64]) -> float:
    """Return the mean size of the change of error from one picture to the next, within clips."""
    same = np.diff(clip) == 0
    change = np.abs(np.diff(error))[same]
    change = change[np.isfinite(change)]
    return float(change.mean()) if change.size else math.nan
