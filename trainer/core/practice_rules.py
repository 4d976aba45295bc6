"""What is practised and how it is told: the kinds of practice, the cue schedules, their limits.

Each value is a design choice of ours unless a source stands beside it; docs/how-to/practise.md
says which rule rests on which study, and how sure it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class TurnOf(str, Enum):
    """Which turn the target, its tone, bar and verdict are about."""

    SHOULDERS = "shoulders"  #: the shoulder line's
    CHEST = "chest"  #: the rib cage's, as printed tags tell it


class PracticeKind(str, Enum):
    """What is practised; each has a rule of its own for a good rep."""

    FREE = "free"  #: whole backswings at any speed
    CHECKPOINTS = "checkpoints"  #: slow, held at four places on the way
    TURN_ONLY = "turn_only"  #: hands on the chest, no club
    CENTRED = "centred"  #: head and hips alone count
    LADDER = "ladder"  #: slow, half, full, with the same bands


class CueSchedule(str, Enum):
    """Which reps are told."""

    EVERY = "every"
    ALTERNATE = "alternate"
    FADING = "fading"
    BANDWIDTH = "bandwidth"  #: only what left its band
    SILENT = "silent"


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeRules:
    """How practice goes on, and what of it is told."""

    kind: PracticeKind = PracticeKind.FREE
    cues: CueSchedule = CueSchedule.EVERY
    seed: int = 1  #: of the fading reps' order: the same seed, the same reps
    fade_reps: int = 5  #: so many judged reps in a row decide whether fewer are told
    fade_down_pct: float = 80.0  #: as many good, in per cent, and fewer reps are told
    fade_up_pct: float = 20.0  #: as few, and more are told again
    guess_first: bool = False  #: the player says short, there or past before the figure shows
    guess_wait_s: float = 8.0  #: unanswered for so long, the figure shows
    check_reps: int = 5  #: reps of a silent check
    hold_s: float = 1.0  #: a checkpoint is held for so long
    ladder_reps: int = 2  #: good reps on a rung before the next
    ladder_slow_s: float = 2.4  #: a slow backswing lasts so long or longer
    ladder_full_s: float = 1.4  #: a full one no longer than this; half lies between
    count_sounds: bool = True  #: the rep's number is sounded after it
    time_every_min: float = 5.0  #: and the time, so often; 0: never
    gestures: bool = True  #: signs by hand are answered, and walking off is a pause
