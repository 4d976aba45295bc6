"""What a rod check is worth to later readings, and how well readings of one person repeat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import rod_check
from trainer.core.records import Measures
from trainer.lab.exam_read import Readings, read_clip, read_rod
from trainer.lab.exam_results import TURN, Matched, matched_reps, told_at_top
from trainer.lab.exam_rod import AGAIN
from trainer.lab.exam_scores import stats

Floats = NDArray[np.float64]

#: How much of the check's error is taken off: 0 none, 1 all.
SHARES: Final = tuple(round(0.1 * tenth, 1) for tenth in range(11))


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One person: what the check read at a true 90, and the tops of the swings after it."""

    seed: int
    read_deg: float  #: NaN: the check did not come to an end
    true_deg: float  #: the mean truth over the hold
    tops_true: Floats  #: (S,) shoulder turn at the top, swing after swing
    tops_said: Floats  #: (S,) NaN where none was told


@dataclass(frozen=True, slots=True, kw_only=True)
class RodResults:
    """What a rod check is worth, and how well readings of one person repeat."""

    people: int
    ended: int  #: checks that came to an end
    read_bias_deg: float  #: reading less 90
    read_sd_deg: float
    goes_with: float  #: correlation of a person's error in the check and at the tops
    by_ratio: tuple[float, ...]  #: mean error at the top, share by share, as the program corrects
    by_difference: tuple[float, ...]  #: the same with share x (reading - 90) taken off
    tops: int
    within_sd_deg: float  #: of errors of one person's swings round their mean
    between_sd_deg: float  #: of the persons' mean errors
    change_mae_deg: float  #: error of the difference between two swings of one person


def check_of(seed: int, read_deg: float | None, true_deg: float, reps: list[Matched]) -> Checked:
    """Return one person's check beside their swings' tops."""
    return Checked(
        seed=seed,
        read_deg=math.nan if read_deg is None else read_deg,
        true_deg=true_deg,
        tops_true=np.array([one.true_top[TURN] for one in reps]),
        tops_said=np.array([told_at_top(one)[TURN] for one in reps]),
    )


def checked_people(seeds: range, clips_dir: Path, clips: list[Readings]) -> RodResults:
    """Read the rod clips and further swings of those people and score them.

    ``clips`` holds, among others, their natural clips.
    """
    people = []
    for seed in seeds:
        again = [read_clip(clips_dir / f"again{turn}-{seed}.mp4") for turn in range(1, AGAIN + 1)]
        first = [one for one in clips if one.name == f"natural-{seed}"]
        read_deg, true_deg = read_rod(clips_dir / f"rod-{seed}.mp4")
        people.append(check_of(seed, read_deg, true_deg, matched_reps([*first, *again])[0]))
    return scored(people)


def scored(people: list[Checked]) -> RodResults:
    """Score rod checks and repeats. Raises ValueError without anybody."""
    if not people:
        raise ValueError("nobody made a rod check; --rod-people 2 or more was wanted")
    read = np.array([one.read_deg - 90.0 for one in people])
    means = np.array([_mean(one.tops_said - one.tops_true) for one in people])
    checked = [one for one in people if math.isfinite(one.read_deg)]
    got = stats(read)
    within, change = [], []
    for one in people:
        error = one.tops_said - one.tops_true
        error = error[np.isfinite(error)]
        if error.size > 1:
            within.append(float(error.var(ddof=1)))
            change += [abs(b - a) for k, a in enumerate(error) for b in error[k + 1 :]]
    known = means[np.isfinite(means)]
    return RodResults(
        people=len(people),
        ended=len(checked),
        read_bias_deg=got.bias,
        read_sd_deg=got.sd,
        goes_with=_correlation(read, means),
        by_ratio=tuple(_corrected_mae(checked, share, _by_ratio) for share in SHARES),
        by_difference=tuple(_corrected_mae(checked, share, _by_difference) for share in SHARES),
        tops=int(sum(np.isfinite(one.tops_said).sum() for one in people)),
        within_sd_deg=math.sqrt(float(np.mean(within))) if within else math.nan,
        between_sd_deg=float(known.std(ddof=1)) if known.size > 1 else math.nan,
        change_mae_deg=float(np.mean(change)) if change else math.nan,
    )


def _by_ratio(said: float, read: float, share: float) -> float:
    now = Measures(t_s=0.0, shoulder_turn_deg=said)
    turn = rod_check.corrected(now, read, share).shoulder_turn_deg
    return math.nan if turn is None else turn


def _by_difference(said: float, read: float, share: float) -> float:
    return said - share * (read - 90.0)


def _corrected_mae(people: list[Checked], share: float, how: Any) -> float:
    errors = [
        how(float(said), one.read_deg, share) - true
        for one in people
        for said, true in zip(one.tops_said, one.tops_true, strict=True)
        if math.isfinite(said)
    ]
    return stats(np.array(errors)).mae if errors else math.nan


def _mean(values: Floats) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else math.nan


def _correlation(first: Floats, second: Floats) -> float:
    both = np.isfinite(first) & np.isfinite(second)
    if both.sum() < 3 or np.ptp(first[both]) < 1e-9 or np.ptp(second[both]) < 1e-9:
        return math.nan
    return float(np.corrcoef(first[both], second[both])[0, 1])
