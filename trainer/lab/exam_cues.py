"""The tone itself judged: whether "turn reached" sounds when it should, and how late.

The program's own cue logic (``core.cues``) runs over the readings of each clip, for several
targets and for each word the settings have for how sure the turn must be.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import cues
from trainer.core.records import Cue, CueKind, Measures, Phase
from trainer.core.rules import CONFIDENCE, CueRules
from trainer.lab.exam_read import Readings

Floats = NDArray[np.float64]

TARGETS: Final = (70.0, 80.0, 90.0)
#: How far the truth's largest turn was from the target: groups of (from, to) degrees.
FAR: Final = ((-math.inf, -10.0), (-10.0, -5.0), (-5.0, 5.0), (5.0, 10.0), (10.0, math.inf))
ARMS_TARGET_DEG: Final = 70.0
STILL_TARGET_DEG: Final = 80.0
#: Movements in which the shoulders do not turn.
NO_TURN: Final = ("arms alone", "hips without turn", "tilt alone")


def tones(
    t_s: Floats,
    turn_deg: Floats,
    se_deg: Floats,
    swinging: NDArray[np.bool_],
    *,
    target_deg: float,
    confidence: float = CONFIDENCE["even odds"],
) -> list[Cue]:
    """Return every "turn reached" the program would give for these readings (N,).

    NaN is a reading not made. ``swinging`` tells where a swing is under way; without one nothing
    sounds and the cue is armed again.
    """
    rules = CueRules(target_deg=target_deg, turn_confidence=confidence)
    state, out = cues.CueState(), []
    for at, turn, se, swings in zip(
        t_s.tolist(), turn_deg.tolist(), se_deg.tolist(), swinging.tolist(), strict=True
    ):
        now = Measures(t_s=at, shoulder_turn_deg=_known(turn), shoulder_turn_se_deg=_known(se))
        phase = Phase.BACKSWING if swings else Phase.WAITING
        state, given = cues.step(state, now, phase, rules, pain=False)
        out += [cue for cue in given if cue.kind is CueKind.TURN_REACHED]
    return out


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def reached_s(t_s: Floats, true_deg: Floats, target_deg: float) -> float | None:
    """Return when the truth (N,) first came to the target, between two pictures; None if never."""
    there = np.nonzero(true_deg >= target_deg)[0]
    if not there.size:
        return None
    row = int(there[0])
    if row == 0:
        return float(t_s[0])
    low, high = true_deg[row - 1], true_deg[row]
    return float(t_s[row - 1] + (t_s[row] - t_s[row - 1]) * (target_deg - low) / (high - low))


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One clip, one target: was the tone due, did it come, and how late."""

    past_deg: float  #: the truth's largest turn less the target
    sounded: bool
    late_s: float | None  #: decided less truly reached; negative early; None where not both

    @property
    def due(self) -> bool:
        """Tell whether the truth reached the target."""
        return self.past_deg >= 0


def heard(
    clips: list[Readings],
    said: Callable[[Readings], tuple[Floats, Floats]],
    target_deg: float,
    confidence: float,
) -> list[Heard]:
    """Return what was heard in each clip; ``said`` gives a clip's turns and standard errors."""
    out = []
    for one in clips:
        turn, se = said(one)
        given = tones(one.t_s, turn, se, one.swinging, target_deg=target_deg, confidence=confidence)
        rows = one.scored
        # A tone after the top's end says the player got there in the backswing: it counts.
        true_s = reached_s(one.t_s[rows], one.true[rows, 0], target_deg)
        late_s = given[0].decided_t_s - true_s if given and true_s is not None else None
        most = float(np.nanmax(one.true[rows, 0])) if rows.any() else math.nan
        out.append(Heard(past_deg=most - target_deg, sounded=bool(given), late_s=late_s))
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """The tones of many clips at one confidence, over all targets."""

    word: str  #: the setting's word for the confidence
    kind: str
    right: tuple[int, ...]  #: clips answered rightly, one entry for each of FAR
    false: tuple[int, ...]  #: sounded and should not have
    missed: tuple[int, ...]  #: should have sounded and did not
    late_s: tuple[float, ...]  #: of every tone that was due

    def count(self, group: int) -> int:
        """Return how many answers there were in that group of FAR."""
        return self.right[group] + self.false[group] + self.missed[group]


def quality(clips: list[Readings], kind: str, word: str) -> Quality:
    """Return the tones of all clips over all targets at the confidence of ``word``."""
    every = [
        one
        for target in TARGETS
        for one in heard(clips, said_turn, target, CONFIDENCE[word])
        if math.isfinite(one.past_deg)
    ]
    groups = [[one for one in every if low <= one.past_deg < high] for low, high in FAR]
    return Quality(
        word=word,
        kind=kind,
        right=tuple(sum(one.sounded == one.due for one in group) for group in groups),
        false=tuple(sum(one.sounded and not one.due for one in group) for group in groups),
        missed=tuple(sum(one.due and not one.sounded for one in group) for group in groups),
        late_s=tuple(one.late_s for one in every if one.due and one.late_s is not None),
    )


def said_turn(one: Readings) -> tuple[Floats, Floats]:
    """Return the program's shoulder turn and its standard error, (N,) each."""
    return one.said[:, 0], one.se[:, 0]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoTurn:
    """A movement in which the shoulders keep still: what is said and what sounds."""

    what: str
    clips: int
    pictures: int  #: in the movement's later half, with a true turn under 6 degrees
    said_deg: float
    said_most_deg: float
    straight_deg: float
    width_deg: float
    cues_at_70: int  #: clips in which "turn reached" sounds while nothing else moves
    cues_at_80: int
    width_cues: int  #: clips in which it would at 70 if the width's reading were used


def no_turn(clips: list[Readings], what: str) -> NoTurn:
    """Score the first part of decoupled clips in which ``what`` moves.

    The cue logic runs as if a swing were under way the whole time, which the program's phases
    mostly rule out: a tone would be the readings' fault alone.
    """
    said, straight, width = [], [], []
    count = at_70 = at_80 = width_cues = 0
    for one in clips:
        for span in one.spans:
            if span["what"] != what:
                continue
            count += 1
            inside = (one.t_s > span["from_s"]) & (one.t_s <= span["to_s"] + 1e-6)
            at_70 += _sounds(one, inside, ARMS_TARGET_DEG)
            at_80 += _sounds(one, inside, STILL_TARGET_DEG)
            middle_s = (span["from_s"] + span["to_s"]) / 2
            rows = inside & (one.t_s >= middle_s) & (np.abs(one.true[:, 0]) < 6)
            said.append(one.said[rows, 0])
            straight.append(one.straight[rows, 0])
            width.append(one.width_deg[rows])
            width_cues += bool(np.any(one.width_deg[rows] >= ARMS_TARGET_DEG))
    joined = [np.concatenate(part) if part else np.empty(0) for part in (said, straight, width)]
    return NoTurn(
        what=what,
        clips=count,
        pictures=joined[0].size,
        said_deg=_mean(joined[0]),
        said_most_deg=float(np.nanmax(joined[0])) if np.isfinite(joined[0]).any() else math.nan,
        straight_deg=_mean(joined[1]),
        width_deg=_mean(joined[2]),
        cues_at_70=at_70,
        cues_at_80=at_80,
        width_cues=width_cues,
    )


def _sounds(one: Readings, inside: NDArray[np.bool_], target_deg: float) -> bool:
    turn, se = said_turn(one)
    # The picture before is the one the first is judged against.
    swinging = inside | np.append(inside[1:], False)
    return bool(tones(one.t_s, turn, se, swinging, target_deg=target_deg))


def _mean(values: Floats) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else math.nan
