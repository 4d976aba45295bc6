"""One Euro filter for arrays and uneven time steps.

Source: Casiez, Roussel, Vogel 2012, "1 euro Filter: A Simple Speed-based Low-pass Filter for
Noisy Input in Interactive Systems", CHI 2012, 2527-2530, and the authors' code, which
differentiates against the previous filtered value.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class OneEuroRules:
    """How hard to smooth.

    ``beta`` is in hertz per (unit per second): it must be chosen for the unit of the values.
    """

    min_cutoff_hz: float = 1.0
    beta: float = 0.0
    d_cutoff_hz: float = 1.0
    gap_s: float = 0.25  #: after a longer gap the filter starts anew


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OneEuroState:
    """The last filtered value and speed, each shaped like the input."""

    t_s: float
    value: FloatArray
    speed: FloatArray


def smoothing_factor(cutoff_hz: FloatArray | float, step_s: float) -> FloatArray:
    """Return alpha = 1 / (1 + tau / Te), tau = 1 / (2 pi fc) (paper, equations 4 and 5)."""
    return np.asarray(1.0 / (1.0 + 1.0 / (2.0 * pi * cutoff_hz * step_s)))


def one_euro(
    state: OneEuroState | None,
    t_s: float,
    value: FloatArray,
    rules: OneEuroRules,
    *,
    unit: FloatArray | float = 1.0,
) -> tuple[OneEuroState, FloatArray]:
    """Filter ``value`` (any shape) read at ``t_s``; return the new state and filtered value.

    ``unit`` is the size of one unit of ``value`` in the unit ``rules.beta`` was chosen for; it
    may differ along ``value`` and from call to call, and touches the speed term only.
    The first value, and the first after a gap longer than ``rules.gap_s``, passes unchanged.
    Raises ValueError when time does not increase.
    """
    if state is not None and t_s <= state.t_s:
        raise ValueError(f"time must increase: {t_s} s after {state.t_s} s")
    if state is None or t_s - state.t_s > rules.gap_s:
        return OneEuroState(t_s=t_s, value=value, speed=np.zeros_like(value)), value
    step_s = t_s - state.t_s
    change = value - state.value
    speed = state.speed + float(smoothing_factor(rules.d_cutoff_hz, step_s)) * (
        change / step_s - state.speed
    )
    alpha = smoothing_factor(rules.min_cutoff_hz + rules.beta * np.abs(speed * unit), step_s)
    filtered = state.value + alpha * change
    return OneEuroState(t_s=t_s, value=filtered, speed=speed), filtered
