"""Cue schedules: which reps are told, and which are left to the player.

Told all the time, a player comes to lean on being told (Park, Shea and Wright 2000, Journal of
Motor Behavior: reps told by turns with reps that were not were kept best). Which schedule suits
a whole swing best is not settled, so every one can be chosen (docs/how-to/practise.md).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from trainer.core.practice_rules import CueSchedule, PracticeRules

#: Per cent of the reps told, from the first level of a fading session to its last.
FADE_PCT: Final = (100, 50, 25)
#: The share is kept in every run of so many reps, so that no long silence comes by chance.
RUN_REPS: Final = 4


class Telling(str, Enum):
    """How much of a rep is told."""

    ALL = "all"
    FAULTS = "faults"  #: only what left its band
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduleState:
    """What a schedule remembers from rep to rep."""

    reps: int = 0  #: reps counted since the schedule was chosen
    level: int = 0  #: row of ``FADE_PCT``
    at_level: int = 0  #: reps counted at this level
    recent: tuple[bool, ...] = ()  #: good or not, the newest last, judged at this level


def telling(state: ScheduleState, rules: PracticeRules) -> Telling:
    """Return how much of the rep to come is told."""
    if rules.cues is CueSchedule.SILENT:
        return Telling.NOTHING
    if rules.cues is CueSchedule.BANDWIDTH:
        return Telling.FAULTS
    told = True
    if rules.cues is CueSchedule.ALTERNATE:
        told = state.reps % 2 == 0
    elif rules.cues is CueSchedule.FADING:
        run, place = divmod(state.at_level, RUN_REPS)
        told = place in told_places(rules.seed, state.level, run)
    return Telling.ALL if told else Telling.NOTHING


def told_places(seed: int, level: int, run: int) -> frozenset[int]:
    """Return which of the ``RUN_REPS`` reps of a run are told; which ones, the seed decides.

    Drawn by a hash and not by a generator of random numbers, so that every version of Python
    draws the same and a recorded practice plays back the same.
    """
    count = round(RUN_REPS * FADE_PCT[level] / 100)

    def lot(place: int) -> bytes:
        return hashlib.sha256(f"{seed}/{level}/{run}/{place}".encode()).digest()

    return frozenset(sorted(range(RUN_REPS), key=lot)[:count])


def counted(state: ScheduleState, good: bool | None, rules: PracticeRules) -> ScheduleState:
    """Return the state after a rep; ``good`` is None where it could not be judged.

    Fading goes by performance: as soon as ``fade_reps`` judged reps in a row are mostly good,
    fewer are told, and more again when hardly any is.
    """
    state = replace(state, reps=state.reps + 1, at_level=state.at_level + 1)
    if rules.cues is not CueSchedule.FADING or good is None:
        return state
    recent = (*state.recent, good)[-rules.fade_reps :]
    state = replace(state, recent=recent)
    if len(recent) < rules.fade_reps:
        return state
    good_pct = 100.0 * sum(recent) / len(recent)
    level = state.level
    if good_pct >= rules.fade_down_pct:
        level = min(level + 1, len(FADE_PCT) - 1)
    elif good_pct <= rules.fade_up_pct:
        level = max(level - 1, 0)
    if level == state.level:
        return state
    return replace(state, level=level, at_level=0, recent=())


def told_pct(state: ScheduleState, rules: PracticeRules) -> int:
    """Return the per cent of the reps told now; with bandwidth, of those that have a fault."""
    return {
        CueSchedule.EVERY: 100,
        CueSchedule.ALTERNATE: 50,
        CueSchedule.FADING: FADE_PCT[state.level],
        CueSchedule.BANDWIDTH: 100,
        CueSchedule.SILENT: 0,
    }[rules.cues]
