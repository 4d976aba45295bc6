"""Tag against body points: how far off a player's figures were, and the errors that follow.

The readings of one rep go wrong together, so a rep is one observation, however many pictures it
has. Signs: an error is what the body points said less what the tags did.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.own_errors import LINE_SHARE

Floats = NDArray[np.float64]

#: Turn, degrees: from, below. The first is all of them.
BANDS: Final = ((15.0, 117.0), (15.0, 60.0), (60.0, 80.0), (80.0, 100.0), (100.0, 117.0))
TARGETS_DEG: Final = (70.0, 80.0, 90.0)
#: Nearer to the target than this a decision is a matter of luck, and of the tags' own errors.
FAR_DEG: Final = 5.0
#: Reps with tags wanted before anything is judged.
FEWEST_REPS: Final = 5
#: What is known of people in general counts as so many reps of this player. Where 0.7 of the
#: squared error is one person's own (docs/estimator.md), people's mean squares differ by about
#: their mean, which a scaled inverse chi-squared with 4 + 2 = 6 degrees of freedom does; two more
#: to be on the safe side.
PRIOR_REPS: Final = 8.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairs:
    """N pictures of one measure in which both sides told it."""

    rep: NDArray[np.int64]  #: (N,) which rep each belongs to
    angle_deg: Floats  #: (N,) shoulder turn: of the tags where they told it
    points: Floats  #: (N,) by the body points
    se: Floats  #: (N,) their standard error, as told of people in general
    tag: Floats  #: (N,) by the tags
    tag_se: Floats  #: (N,) how sure the tags were of what they themselves show

    def where(self, rows: NDArray[np.bool_]) -> Pairs:
        """Return those pictures."""
        return Pairs(**{item.name: getattr(self, item.name)[rows] for item in fields(self)})

    def each_rep(self, values: Floats) -> list[Floats]:
        """Return ``values`` (N,) rep by rep."""
        return [values[self.rep == number] for number in np.unique(self.rep)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What one measure came to in one band of turn."""

    low_deg: float
    high_deg: float
    reps: int
    poses: int
    bias: float  #: mean error; each rep weighs the same
    bias_se: float  #: by the reps' scatter and how sure the tags were; never by the pictures
    spread: float  #: standard deviation of the errors about ``bias``
    mean_error: float  #: mean size of the errors
    told_se: float  #: root mean square of the errors told
    tag_se: float  #: root mean square of the tags' own, the spread between two definitions in it
    inside: float  #: share of errors smaller than the one told


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """How often "reached the target?" was answered as the tags answer it."""

    target_deg: float
    reps: int
    poses: int  #: with the tags' turn more than ``FAR_DEG`` from the target
    right: float  #: share


def score(pairs: Pairs, low_deg: float, high_deg: float, *, line: bool) -> Score | None:
    """Return the score of one band; None for fewer than two reps, which show no scatter.

    ``line``: the tags' turn was made of the chest's, so its definition's spread is added.
    """
    part = pairs.where((pairs.angle_deg >= low_deg) & (pairs.angle_deg < high_deg))
    error = part.points - part.tag
    by_rep = part.each_rep(error)
    count = len(by_rep)
    if count < 2:
        return None
    means = np.array([one.mean() for one in by_rep])
    bias = float(means.mean())
    between = float(means.var(ddof=1))
    within = float(np.mean([one.var() for one in by_rep]))
    tag_se = _true_se(part, line)
    by_tag = float(np.mean([np.sqrt(np.mean(one**2)) for one in part.each_rep(tag_se)]))

    def mean(values: Floats) -> float:
        return float(np.mean([one.mean() for one in part.each_rep(values)]))

    return Score(
        low_deg=low_deg,
        high_deg=high_deg,
        reps=count,
        poses=len(error),
        bias=bias,
        # What the tags have wrong they may have wrong all session: more reps do not help there.
        bias_se=math.hypot(math.sqrt(between / count), by_tag),
        spread=math.sqrt(between + within),
        mean_error=mean(np.abs(error)),
        told_se=math.sqrt(mean(part.se**2)),
        tag_se=math.sqrt(mean(tag_se**2)),
        inside=mean((np.abs(error) < part.se).astype(np.float64)),
    )


def factor(pairs: Pairs, *, line: bool = False) -> float:
    """Return by how much this player's standard errors differ from people's in general.

    The mean square of error over standard error is one observation of a variance for each rep; at
    1 the errors told are right. It is joined with ``PRIOR_REPS`` observations of 1, as the variance
    of a normal distribution with known mean is joined with a scaled inverse chi-squared prior:
    (v0 s0^2 + n v) / (v0 + n), Gelman and others 2013, Bayesian Data Analysis, 3rd edition,
    section 2.6. The bias is in it, for nothing takes the bias off the figures.

    The tags err too. Where that would make errors smaller it is left in, which is on the safe
    side; larger they become only by what the tags' own errors (``line`` as in ``score``) do not
    explain.
    """
    error2, true2 = (pairs.points - pairs.tag) ** 2, _true_se(pairs, line) ** 2

    def mean(ratio: Floats) -> float:
        return float(np.mean([one.mean() for one in pairs.each_rep(ratio)]))

    seen = mean(error2 / pairs.se**2)
    if seen > 1.0:
        seen = max(mean((error2 - true2) / pairs.se**2), 1.0)
    count = len(np.unique(pairs.rep))
    return math.sqrt((PRIOR_REPS + count * seen) / (PRIOR_REPS + count))


def floor(pairs: Pairs) -> float:
    """Return how sure the tags were, root mean square, without the spread of definitions."""
    return math.sqrt(float(np.mean([np.mean(one**2) for one in pairs.each_rep(pairs.tag_se)])))


def decisions(turn: Pairs) -> Iterator[Decision]:
    """Yield how "reached?" was decided on shoulder turns, target by target; none without any."""
    for target in TARGETS_DEG:
        part = turn.where(np.abs(turn.tag - target) > FAR_DEG)
        if len(part.rep):
            right = (part.points >= target) == (part.tag >= target)
            yield Decision(
                target_deg=target,
                reps=len(np.unique(part.rep)),
                poses=len(part.rep),
                right=float(right.mean()),
            )


def _true_se(pairs: Pairs, line: bool) -> Floats:
    return np.hypot(pairs.tag_se, LINE_SHARE * pairs.tag) if line else pairs.tag_se
