"""One figure from a printed tag and from the body points, on one timeline without jumps.

While the tag is seen both are weighted by their variances. What that makes of the body points is
kept as a correction; while the tag is hidden it goes on correcting them, worth the less the
further the body has turned and the longer it lasts, and the error told grows with it. Where one
source takes over from another, what they differ by is not jumped but made up at a limited rate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from trainer.core.records import Source

#: How far the body turns until a correction is worth 1/e. Errors of body points are of the pose,
#: so they change with it: on 42 swings of rendered people that nobody had fitted on, a turn put
#: right once was 3.6 degrees off after 5 more, 4.4 after 10, 5.4 after 20, 6.6 after 30 (root mean
#: square; 6.7 never put right), and this length says 3.0, 4.0, 5.1, 5.8.
KEEP_DEG: Final = 45.0
#: The same for a body that stays as it is; chosen.
KEEP_S: Final = 5.0
#: From this share of the weight on, the body points are named beside the tag; below this share of
#: what it was, a correction no longer is.
_NAMED: Final = 0.2
_WORN_OFF: Final = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A value and its standard error."""

    value: float
    se: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """What is remembered of one figure from one picture to the next."""

    t_s: float
    value: float
    se: float
    source: Source
    points: float  #: what the body points alone said
    offset: float  #: the correction of the body points
    variance: float  #: of ``value`` before ``lag``
    lag: float  #: still to be made up: ``value`` less what the sources say
    kept: float  #: 1 at the tag's last reading, falling as its correction wears off; 0: never seen
    numbers: tuple[int, ...]  #: the tags it was read from

    @property
    def told(self) -> Told:
        """The value and its standard error."""
        return Told(value=self.value, se=self.se)


def join(
    before: Joined | None,
    t_s: float,
    points: Told,
    tag: Told | None,
    numbers: tuple[int, ...],
    *,
    turned_deg: float,
    rate: float,
) -> Joined:
    """Return the figure at ``t_s``, after ``before``; None: the first of a setup.

    ``points`` is what the body points say, ``tag`` what the tags ``numbers`` do; None: hidden.
    ``turned_deg`` is how far the body has turned since ``before``. ``rate`` is the most, in units
    a second, that a change of sources may add to a step.
    """
    if tag is not None:
        weight = tag.se**2 / (tag.se**2 + points.se**2)  # of the points
        offset = (tag.value - points.value) * (1.0 - weight)
        variance = tag.se**2 * (1.0 - weight)
        source = Source.TAG_AND_POSE if weight >= _NAMED else Source.TAG
        kept = 1.0
    else:
        numbers, source = (), Source.POSE
        offset, variance, kept = 0.0, points.se**2, 0.0
        if before is not None and before.kept > 0.0:
            stays = math.exp(-turned_deg / KEEP_DEG - (t_s - before.t_s) / KEEP_S)
            kept, offset = before.kept * stays, before.offset * stays
            variance = stays**2 * before.variance + (1.0 - stays**2) * points.se**2
            source = Source.BRIDGED if kept >= _WORN_OFF else Source.POSE
    lag = 0.0
    if before is not None:
        passed_s = t_s - before.t_s
        lag = before.lag
        if numbers != before.numbers:
            # The body points go on through the change of sources: what they moved by is the step.
            lag = before.value + points.value - before.points - (points.value + offset)
        lag = math.copysign(max(abs(lag) - rate * passed_s, 0.0), lag)
    return Joined(
        t_s=t_s,
        value=points.value + offset + lag,
        se=math.sqrt(variance + lag**2),
        source=source,
        points=points.value,
        offset=offset,
        variance=variance,
        lag=lag,
        kept=kept,
        numbers=numbers,
    )
