"""The accuracy report's tables of tones and of ways to use time, as Markdown."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np

from trainer.core.rules import CONFIDENCE
from trainer.lab import exam_time
from trainer.lab.exam_marks import number, sized, table
from trainer.lab.exam_read import Readings
from trainer.lab.exam_results import KINDS, TURN, Pool, Results, picture_decisions
from trainer.lab.exam_scores import Floats, lag_s, stats

_FAR_WORDS: Final = (
    "over 10° short",
    "5–10° short",
    "within 5°",
    "5–10° past",
    "over 10° past",
)


def tones_table(done: Results, kind: str) -> str:
    """Return, by how far the truth's largest turn was from the target, how tones came out."""
    rows = []
    for one in (tone for tone in done.tones if tone.kind == kind):
        for group, words in enumerate(_FAR_WORDS):
            count = one.count(group)
            cells = [f"{one.word} ({CONFIDENCE[one.word]:.0f} %): {words}", str(count)]
            for part in (one.right, one.false, one.missed):
                cells.append(_percent(part[group], count))
            rows.append(cells)
    return table(("how sure: truth's largest turn", "answers", "right", "false", "missed"), rows)


def late_table(done: Results) -> str:
    """Return how late the tone came after the truth reached the target."""
    rows = []
    for one in done.tones:
        late = np.array(one.late_s) * 1000
        rows.append(
            [
                f"{one.kind}, {one.word}",
                str(late.size),
                _ms(late, 50),
                _ms(late, 5),
                _ms(late, 95),
                _percent(int((np.abs(late) <= 100).sum()), late.size),
            ]
        )
    head = ("", "tones due and given", "median", "5 % earlier than", "5 % later than", "in 0.1 s")
    return table(head, rows)


def _ms(late: Floats, at: float) -> str:
    return f"{number(float(np.percentile(late, at)), 0, sign=True)} ms" if late.size else "–"


def _percent(part: int, count: int) -> str:
    return f"{100 * part / count:.0f} %" if count else "–"


def still_table(done: Results) -> str:
    """Return what is said, and what sounds, while the shoulders keep still."""
    rows = [
        [
            one.what,
            str(one.clips),
            str(one.pictures),
            sized(one.said_deg, "°"),
            sized(one.said_most_deg, "°"),
            sized(one.width_deg, "°"),
            sized(one.straight_deg, "°"),
            str(one.cues_at_70),
            str(one.cues_at_80),
            str(one.width_cues),
        ]
        for one in done.still.values()
    ]
    head = ["what moves", "clips", "pictures", "mean", "most", "width", "world points"]
    head += ["tones at 70°", "at 80°", "at 70° by width"]
    return table(head, rows)


def _kalman(one: Readings, share: float) -> Floats:
    se = one.unsmoothed_se[:, TURN] * share
    return exam_time.kalman(one.t_s, one.unsmoothed[:, TURN], se)[0]


#: Name, and the turn (N,) a filter gives for one clip.
_FILTERS: Final[tuple[tuple[str, Callable[[Readings], Floats]], ...]] = (
    ("each picture on its own", lambda one: one.unsmoothed[:, TURN]),
    ("the program's (points smoothed first)", lambda one: one.said[:, TURN]),
    (
        f"median of the last {exam_time.MEDIAN_S:g} s",
        lambda one: exam_time.trailing_median(one.t_s, one.unsmoothed[:, TURN]),
    ),
    ("Kalman filter, the stated ±", lambda one: _kalman(one, 1.0)),
    ("Kalman filter, a tenth of the ±", lambda one: _kalman(one, 0.1)),
)


def filters_table(done: Results) -> str:
    """Return the shoulder turn's error by what is done over time."""
    rows = []
    for kind in KINDS:
        part = done.pools[kind]
        for name, turn_of in _FILTERS:
            turn = np.concatenate([turn_of(one)[one.scored] for one in part.clips])
            rows.append([f"{kind}: {name}", *_filtered(part, turn)])
    head = ["", "mean error 15–117°", "bias 80–100°", "bias at its most", "as if late by"]
    head += ["change a picture", "reached? over 5° away"]
    return table(head, rows)


def _filtered(part: Pool, turn: Floats) -> list[str]:
    true = part.true[:, TURN]
    error = turn - true
    full = (true >= 80) & (true < 100)
    near_top = np.zeros(len(true), dtype=bool)
    for number_of in np.unique(part.clip):
        mine = part.clip == number_of
        near_top |= mine & (true >= true[mine].max() - 2.0)
    late_s = lag_s(turn, true, part.t_s, part.clip)
    right, count = _decided(part, turn)
    return [
        sized(stats(error[part.turned]).mae, "°"),
        number(stats(error[full]).bias, sign=True),
        number(stats(error[near_top]).bias, sign=True),
        "–" if math.isnan(late_s) else f"{number(1000 * late_s, 0)} ms",
        sized(exam_time.unsteadiness(error, part.clip), "°", 2),
        _percent(right, count),
    ]


def _decided(part: Pool, turn: Floats) -> tuple[int, int]:
    said = part.said.copy()
    said[:, TURN] = turn
    return picture_decisions(replace(part, said=said), 5)
