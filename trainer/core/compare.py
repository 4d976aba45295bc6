"""Averages of readings, and whether two of them differ by more than they can be off.

An average of n readings has the standard error s / √n, s their sample standard deviation; the
difference of two has the root of the sum of squares, with the degrees of freedom of Welch 1947
(Biometrika 34:28). The two-sided 95 % factor is Student's t, from the table in the NIST/SEMATECH
e-Handbook of Statistical Methods, section 1.3.6.7.2.

Part of a reading's error is common to all reps of a person before a camera, so that averaging does
not take it away (docs/accuracy.md measures it). So a difference also has to be larger than the
standard error one reading states of itself before it is called one.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

#: Fewer readings on either side are not compared: a spread of two says next to nothing.
FEWEST: Final = 3

#: Student's t at 0.975 for 1, 2, ... 30 degrees of freedom.
_T: Final = (
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228,
    2.201, 2.179, 2.160, 2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086,
    2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Average:
    """Some readings of one measure, taken together."""

    count: int  #: at least 1
    mean: float
    sd: float | None  #: sample standard deviation (divisor n - 1); None for one reading
    reading_se: float | None  #: root mean square of the standard errors stated; None: none stated

    @property
    def se(self) -> float | None:
        """Standard error of the mean by the spread alone; None for one reading."""
        return None if self.sd is None else self.sd / math.sqrt(self.count)


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One average less another."""

    value: float
    pm: float  #: a size of ``value`` up to this is not called a change; >= 0

    @property
    def changed(self) -> bool:
        """True where the difference is larger than what it may be off."""
        return abs(self.value) > self.pm


def average(readings: Iterable[tuple[float | None, float | None]]) -> Average | None:
    """Return the average of (value, standard error) pairs; a value of None was not read.

    None when nothing was read.
    """
    read = [(value, se) for value, se in readings if value is not None]
    if not read:
        return None
    values = [value for value, _ in read]
    stated = [se for _, se in read if se is not None]
    return Average(
        count=len(values),
        mean=statistics.fmean(values),
        sd=statistics.stdev(values) if len(values) > 1 else None,
        reading_se=math.sqrt(statistics.fmean(se * se for se in stated)) if stated else None,
    )


def difference(before: Average | None, after: Average | None) -> Difference | None:
    """Return ``after`` less ``before`` with its 95 % ±; None with too few readings to say.

    The ± is t times the standard error of the difference, and never less than one reading's own
    standard error on either side.
    """
    if before is None or after is None or before.count < FEWEST or after.count < FEWEST:
        return None
    assert before.sd is not None
    assert after.sd is not None
    first, second = before.sd**2 / before.count, after.sd**2 / after.count
    both = first + second
    pm = 0.0
    if both > 0.0:
        freedom = both**2 / (first**2 / (before.count - 1) + second**2 / (after.count - 1))
        pm = t_975(freedom) * math.sqrt(both)
    own = max(before.reading_se or 0.0, after.reading_se or 0.0)
    return Difference(value=after.mean - before.mean, pm=max(pm, own))


def t_975(freedom: float) -> float:
    """Return Student's t at 0.975 for so many degrees of freedom, rounded down to a table's row.

    Above 30 the value of 30 is kept: it is larger than the true one by 4 % at most. Raises
    ValueError below 1.
    """
    if freedom < 1.0:
        raise ValueError(f"{freedom} degrees of freedom; 1 or more were wanted")
    return _T[min(int(freedom), len(_T)) - 1]
