"""From the readings of all clips to the numbers of the accuracy report."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.records import Rep
from trainer.lab.exam import FPS
from trainer.lab.exam_cues import TARGETS, NoTurn, Quality
from trainer.lab.exam_read import FIELDS, Readings
from trainer.lab.exam_scores import Floats, Goal, between_within, decisions, interval, match

if TYPE_CHECKING:
    from trainer.lab.exam_rod_scores import RodResults

KINDS: Final = ("natural", "decoupled")
BANDS: Final = ((15, 60), (60, 80), (80, 100), (100, 117))
TURN, HIPS, PITCH, HEAD, HEAD_UP, DRIFT, SEPARATION, TILT, BACK = range(9)
#: A found top this near a true one is that rep's.
MATCH_S: Final = 0.5
#: Two hands on a club are about a hand's breadth apart: a middle this far off is no jitter.
LOST_CM: Final = 8.0


@dataclass(slots=True)
class Pool:
    """The scored pictures of all clips of one kind, one row each."""

    clips: list[Readings]
    true: Floats
    said: Floats
    se: Floats
    points: Floats
    no_picture: Floats
    straight: Floats
    width_deg: Floats
    no_stature: Floats
    unsmoothed: Floats
    unsmoothed_se: Floats
    t_s: Floats
    clip: NDArray[np.int64]  #: row of the clip each picture is of
    spans: NDArray[np.str_]  #: which part of a decoupled clip it is of

    @property
    def error(self) -> Floats:
        """Said less true, (N, K)."""
        return self.said - self.true

    @property
    def turned(self) -> NDArray[np.bool_]:
        """Pictures with a true shoulder turn of 15 to 117 degrees."""
        return (self.true[:, TURN] >= BANDS[0][0]) & (self.true[:, TURN] < BANDS[-1][1])


def pool(clips: list[Readings]) -> Pool:
    """Join the scored pictures of clips. Raises ValueError when there is no clip."""
    if not clips:
        raise ValueError("no clips to score")

    def joined(name: str) -> Any:
        return np.concatenate([getattr(one, name)[one.scored] for one in clips])

    return Pool(
        clips=clips,
        true=joined("true"),
        said=joined("said"),
        se=joined("se"),
        points=joined("points"),
        no_picture=joined("no_picture"),
        straight=joined("straight"),
        width_deg=joined("width_deg"),
        no_stature=joined("no_stature"),
        unsmoothed=joined("unsmoothed"),
        unsmoothed_se=joined("unsmoothed_se"),
        t_s=joined("t_s"),
        clip=np.concatenate([np.full(int(c.scored.sum()), k) for k, c in enumerate(clips)]),
        spans=np.concatenate([_span_names(one)[one.scored] for one in clips]),
    )


def _span_names(one: Readings) -> NDArray[np.str_]:
    names = np.full(len(one.t_s), "", dtype="<U32")
    for span in one.spans:
        names[(one.t_s > span["from_s"]) & (one.t_s <= span["to_s"] + 1e-6)] = span["what"]
    return names


@dataclass(slots=True, kw_only=True)
class Matched:
    """A true rep and what the program made of it."""

    clip: Readings
    rep: Rep | None  #: None: missed
    true_top: Floats  #: (K,) mean of the truth over the top
    true_most_deg: float  #: largest true shoulder turn of the rep
    hands_off_cm: float  #: what 95 % of the backswing's pictures stay under

    @property
    def hands_lost(self) -> bool:
        """Tell whether the pose model saw the hands clearly elsewhere than they were."""
        return not self.hands_off_cm <= LOST_CM

    @property
    def off_s(self) -> float:
        """Found top less true top; infinite for a rep missed."""
        found = None if self.rep is None else self.rep.top_t_s
        return math.inf if found is None else found - self.clip.events["top_s"]


def matched_reps(clips: list[Readings]) -> tuple[list[Matched], int]:
    """Return one row for each natural clip's rep, and how many found reps belong to none."""
    out, extra = [], 0
    for one in clips:
        whole = [rep for rep in one.reps if rep.complete and rep.top_t_s is not None]
        tops = [rep.top_t_s for rep in whole if rep.top_t_s is not None]
        (row,) = match(tops, [one.events["top_s"]], MATCH_S)
        extra += len(whole) - int(row is not None)
        half = 0.5 / FPS
        at_top = (one.t_s >= one.events["top_s"] - half) & (
            one.t_s <= one.events["top_end_s"] + half
        )
        most = np.nanmax(one.true[one.scored, TURN])
        out.append(
            Matched(
                clip=one,
                rep=None if row is None else whole[row],
                true_top=one.true[at_top].mean(axis=0),
                true_most_deg=float(most),
                hands_off_cm=_most(one.hands_off_cm[one.scored]),
            )
        )
    return out, extra


def _most(values: Floats) -> float:
    return float(np.nanquantile(values, 0.95)) if np.isfinite(values).any() else math.nan


def told_at_top(one: Matched) -> Floats:
    """Return what the program tells of a rep's top, (K,), NaN where nothing."""
    top = None if one.rep is None else one.rep.at_top
    values = [None if top is None else getattr(top, name) for name in FIELDS]
    return np.array([math.nan if value is None else value for value in values])


def worst(reps: list[Matched], count: int = 8) -> list[tuple[Matched, float]]:
    """Return the reps furthest off at the top with the turn's (said less true), the worst first."""
    off = [(one, float(told_at_top(one)[TURN] - one.true_top[TURN])) for one in reps]
    known = [pair for pair in off if math.isfinite(pair[1])]
    return sorted(known, key=lambda pair: -abs(pair[1]))[:count]


def instants(reps: list[Matched]) -> dict[str, list[float]]:
    """Return (found - true) seconds of takeaway, top and top's end, for the reps found."""
    off: dict[str, list[float]] = {"takeaway": [], "top": [], "top_end": []}
    for one in reps:
        if one.rep is None or one.rep.top_t_s is None or one.rep.top_end_t_s is None:
            continue
        off["takeaway"].append(one.rep.takeaway_t_s - one.clip.events["takeaway_s"])
        off["top"].append(one.rep.top_t_s - one.clip.events["top_s"])
        off["top_end"].append(one.rep.top_end_t_s - one.clip.events["top_end_s"])
    return off


def rep_decisions(reps: list[Matched], far: float) -> tuple[int, int]:
    """Return (right, all) of the reps' own "reached?" over all targets; a missed rep is wrong."""
    right = count = 0
    for target in TARGETS:
        for one in reps:
            if abs(one.true_most_deg - target) <= far:
                continue
            count += 1
            said = None if one.rep is None else one.rep.max_shoulder_turn_deg
            right += said is not None and (said >= target) == (one.true_most_deg >= target)
    return right, count


def picture_decisions(part: Pool, far: float, target: float | None = None) -> tuple[int, int]:
    """Return (right, all) over pictures of 15 degrees of turn and more, all targets or one."""
    rows = part.true[:, TURN] >= BANDS[0][0]
    wanted = TARGETS if target is None else (target,)
    each = [decisions(part.said[rows, TURN], part.true[rows, TURN], t, far) for t in wanted]
    return sum(r for r, _ in each), sum(n for _, n in each)


def _mean(values: Floats) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class Unseen:
    """The same people and movements, shaded as usual and in a style no fit has met."""

    people: int
    usual: dict[str, Pool]
    unseen: dict[str, Pool]


@dataclass(slots=True, kw_only=True)
class Results:
    """Everything the page is written from."""

    pools: dict[str, Pool]
    reps: list[Matched]
    extra: int
    goals: list[Goal]
    still: dict[str, NoTurn]  #: by what moves while the shoulders do not, in the order of NO_TURN
    tones: list[Quality]
    no_setup: list[str]  #: clips in which no setup was found by the end of the still address
    rod: RodResults | None = None
    unseen: Unseen | None = None


def turn_interval(part: Pool) -> tuple[float, float]:
    """Return the 95 % interval of the shoulder turn's mean error over people."""
    return interval(part.error[part.turned, TURN], part.clip[part.turned])


def parts_of_error(part: Pool, column: int) -> tuple[float, float]:
    """Return (SD between clips, spread within a clip) of one measure's error."""
    return between_within(part.error[:, column], part.clip)


def person_correlation(done: Results) -> float:
    """Return how the mean turn errors (15 to 117 degrees) of a person's two clips go together."""
    means: dict[int, dict[str, float]] = {}
    for kind, part in done.pools.items():
        for number, one in enumerate(part.clips):
            error = part.error[part.turned & (part.clip == number), TURN]
            means.setdefault(one.scene["seed"], {})[kind] = _mean(error)
    pairs = np.array([[both.get(kind, math.nan) for kind in KINDS] for both in means.values()])
    pairs = pairs[np.isfinite(pairs).all(axis=1)]
    if len(pairs) < 3 or np.any(np.ptp(pairs, axis=0) < 1e-9):
        return math.nan
    return float(np.corrcoef(pairs.T)[0, 1])


def percent(right: int, count: int) -> float:
    """Return a percentage, NaN of nothing."""
    return 100.0 * right / count if count else math.nan
