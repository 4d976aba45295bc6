"""Scores of readings against truth: plain functions of arrays, NaN meaning "not read"."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stats:
    """Of errors, said less true: how many, mean size, mean, spread, and 95 % point of the size."""

    count: int
    mae: float
    bias: float
    sd: float
    p95: float


NONE = Stats(count=0, mae=math.nan, bias=math.nan, sd=math.nan, p95=math.nan)


def stats(error: Floats) -> Stats:
    """Return the statistics of errors (N,); NaN are left out. SD with n - 1 (0 for one)."""
    good = error[np.isfinite(error)]
    if not good.size:
        return NONE
    return Stats(
        count=int(good.size),
        mae=float(np.abs(good).mean()),
        bias=float(good.mean()),
        sd=float(good.std(ddof=1)) if good.size > 1 else 0.0,
        p95=float(np.quantile(np.abs(good), 0.95)),
    )


def inside_share(error: Floats, se: Floats) -> float:
    """Return the share of errors smaller than the standard error stated with them."""
    good = np.isfinite(error) & np.isfinite(se)
    return float((np.abs(error[good]) < se[good]).mean()) if good.any() else math.nan


def decisions(said: Floats, true: Floats, target: float, far: float) -> tuple[int, int]:
    """Return (right, all) of "reached the target?", where the truth is over ``far`` away from it.

    A reading not made counts as "not reached", as it does for the tone.
    """
    rows = np.abs(true - target) > far
    right = (np.nan_to_num(said[rows], nan=-np.inf) >= target) == (true[rows] >= target)
    return int(right.sum()), int(rows.sum())


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """How far off instants were, in pictures; ``within_one`` is the share one or less off."""

    count: int
    median: float
    p95: float
    worst: float
    bias: float
    within_one: float


def timing(off_s: Sequence[float], fps: float) -> Timing:
    """Return statistics of (found - true) seconds at a frame rate."""
    if not off_s:
        return Timing(count=0, **dict.fromkeys(("median", "p95", "worst", "bias"), math.nan),
                      within_one=math.nan)  # fmt: skip
    off = np.array(off_s) * fps
    size = np.abs(off)
    return Timing(
        count=len(off),
        median=float(np.median(size)),
        p95=float(np.quantile(size, 0.95)),
        worst=float(size.max()),
        bias=float(off.mean()),
        within_one=float((size <= 1.0 + 1e-9).mean()),
    )


def match(found_s: Sequence[float], true_s: Sequence[float], most_s: float) -> list[int | None]:
    """Return for each true instant the row of the found one nearest to it, each used once.

    None where none lies within ``most_s``. Nearest pairs are taken first.
    """
    pairs = sorted(
        (abs(found - true), row, column)
        for row, found in enumerate(found_s)
        for column, true in enumerate(true_s)
        if abs(found - true) <= most_s
    )
    matched: list[int | None] = [None] * len(true_s)
    used: set[int] = set()
    for _, row, column in pairs:
        if row not in used and matched[column] is None:
            matched[column] = row
            used.add(row)
    return matched


def between_within(error: Floats, person: NDArray[np.int64]) -> tuple[float, float]:
    """Return (SD of the persons' mean errors, mean spread of errors round each one's mean).

    The first is what a person sees in every rep; the second moves about within a clip.
    """
    good = np.isfinite(error)
    means, spreads = [], []
    for one in np.unique(person[good]):
        rows = error[good & (person == one)]
        means.append(rows.mean())
        spreads.append(rows.var())
    if len(means) < 2:
        return math.nan, math.nan
    return float(np.std(means, ddof=1)), float(np.sqrt(np.mean(spreads)))


def lag_s(said: Floats, true: Floats, t_s: Floats, clip: NDArray[np.int64]) -> float:
    """Return how late readings are: least squares of error = c - lag x true speed over clips."""
    errors, speeds = [], []
    for one in np.unique(clip):
        rows = clip == one
        if rows.sum() < 3:
            continue
        errors.append(said[rows] - true[rows])
        speeds.append(np.gradient(true[rows], t_s[rows]))
    if not errors:
        return math.nan
    error, speed = np.concatenate(errors), np.concatenate(speeds)
    good = np.isfinite(error)
    if good.sum() < 3 or np.ptp(speed[good]) < 1e-9:
        return math.nan
    slope = np.polyfit(speed[good], error[good], 1)[0]
    return float(-slope)


def interval(
    error: Floats, person: NDArray[np.int64], *, seed: int = 0, times: int = 2000
) -> tuple[float, float]:
    """Return the 95 % interval of the mean size of error over people drawn anew.

    Percentile bootstrap over whole people (Efron and Tibshirani 1993, An Introduction to the
    Bootstrap, ch. 13), because pictures of one person err alike.
    """
    good = np.isfinite(error)
    people = np.unique(person[good])
    if len(people) < 2:
        return math.nan, math.nan
    sums = np.array([np.abs(error[good & (person == one)]).sum() for one in people])
    counts = np.array([(good & (person == one)).sum() for one in people])
    drawn = np.random.default_rng(seed).integers(len(people), size=(times, len(people)))
    means = sums[drawn].sum(axis=1) / counts[drawn].sum(axis=1)
    low, high = np.quantile(means, (0.025, 0.975))
    return float(low), float(high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """One aim and what came of it; ``at_least`` False means the value must not be larger."""

    name: str
    unit: str
    kind: str  #: "natural" or "decoupled"
    limit: float
    value: float
    at_least: bool = False

    @property
    def reached(self) -> bool:
        """Tell whether the value is on the right side; a value that is NaN is not."""
        if math.isnan(self.value):
            return False
        size = self.value if self.at_least else abs(self.value)
        return size >= self.limit - 1e-9 if self.at_least else size <= self.limit + 1e-9
