"""How alike the reps of a session are."""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from trainer.core.records import Rep

#: Fewer reps say nothing about a spread.
FEWEST_REPS: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """The spread of the turn at the top over complete reps in which it was read."""

    reps: int
    turn_sd_deg: float  #: sample standard deviation (divisor n - 1), >= 0


def turn_spread(reps: Iterable[Rep]) -> Spread | None:
    """Return the spread of the shoulder turn at the top; None for fewer than three readings.

    The spread is that of player and camera together: a player as exact as a machine would still
    show the camera's own scatter.
    """
    turns = [
        rep.at_top.shoulder_turn_deg
        for rep in reps
        if rep.complete and rep.at_top is not None and rep.at_top.shoulder_turn_deg is not None
    ]
    if len(turns) < FEWEST_REPS:
        return None
    return Spread(reps=len(turns), turn_sd_deg=statistics.stdev(turns))
