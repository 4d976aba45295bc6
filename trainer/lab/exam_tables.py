"""The accuracy report's tables as Markdown. Every figure comes from the results."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from trainer.lab.exam import ALONE, FPS
from trainer.lab.exam_cues import TARGETS
from trainer.lab.exam_groups import groups, in_group
from trainer.lab.exam_marks import NAMES, digits_of, number, of_all, share, sized, table
from trainer.lab.exam_read import SE_FIELDS
from trainer.lab.exam_results import (
    BANDS,
    HIPS,
    KINDS,
    TURN,
    Pool,
    Results,
    instants,
    parts_of_error,
    picture_decisions,
    told_at_top,
    worst,
)
from trainer.lab.exam_scores import Floats, Goal, Stats, inside_share, lag_s, stats, timing


def goals_table(goals: Sequence[Goal]) -> str:
    """Return the aims, what was measured and whether they were reached."""
    names = list(dict.fromkeys(goal.name for goal in goals))
    rows = []
    for name in names:
        cells = [name]
        for kind in KINDS:
            found = [goal for goal in goals if goal.name == name and goal.kind == kind]
            cells += _goal_cells(found[0]) if found else ["–", "–", ""]
        rows.append(cells)
    head = ["goal", "natural: wanted", "measured", "", "decoupled: wanted", "measured", ""]
    return table(head, rows)


def _goal_cells(goal: Goal) -> list[str]:
    digits = 0 if not goal.unit else (2 if goal.unit == " cm" else 1)
    signed = "bias" in goal.name
    sign = "±" if signed else ("≥ " if goal.at_least else "≤ ")
    wanted = f"{sign}{goal.limit:g}{goal.unit}"
    value = number(goal.value, digits, sign=signed)
    return [wanted, f"{value}{goal.unit}", "reached" if goal.reached else "**missed**"]


def measures_table(done: Results) -> str:
    """Return mean error, bias, spread and honesty of every measure by kind of movement."""
    rows = []
    for kind in KINDS:
        part = done.pools[kind]
        for column, (name, unit) in enumerate(NAMES):
            digits = digits_of(unit)
            got = stats(part.error[:, column])
            points = stats(part.points[:, column] - part.true[:, column])
            bare = stats(part.no_picture[:, column] - part.true[:, column])
            straight = stats(part.straight[:, column] - part.true[:, column])
            rows.append(
                [
                    f"{name}, {kind}",
                    sized(got.mae, unit, digits),
                    number(got.bias, digits, sign=True),
                    number(got.sd, digits),
                    number(got.p95, digits),
                    share(inside_share(part.error[:, column], part.se[:, column])),
                    number(bare.mae, digits),
                    number(points.mae, digits),
                    number(straight.mae, digits),
                ]
            )
    head = ["measure", "mean error", "bias", "SD", "95 % within", "inside its ±"]
    head += ["no picture", "no outline", "no regression"]
    return table(head, rows)


def bands_table(part: Pool) -> str:
    """Return the shoulder turn's error by how far it truly is, beside simpler readings."""
    rows = []
    for low, high in BANDS:
        here = (part.true[:, TURN] >= low) & (part.true[:, TURN] < high)
        rows.append(_turn_row(f"{low}–{high}°", part, here))
    rows.append(_turn_row("all of these", part, part.turned))
    return table(_TURN_HEAD, rows)


_TURN_HEAD: Final = (
    "",
    "pictures",
    "mean error",
    "bias",
    "inside its ±",
    "no picture",
    "no outline",
    "width",
    "world points",
)


def _turn_row(name: str, part: Pool, rows: np.ndarray) -> list[str]:
    error = part.error[rows, TURN]
    true = part.true[rows, TURN]
    return [
        name,
        str(int(rows.sum())),
        sized(stats(error).mae, "°"),
        number(stats(error).bias, sign=True),
        share(inside_share(error, part.se[rows, TURN])),
        _both(stats(part.no_picture[rows, TURN] - true)),
        _both(stats(part.points[rows, TURN] - true)),
        _both(stats(part.width_deg[rows] - true)),
        _both(stats(part.straight[rows, TURN] - true)),
    ]


def _both(got: Stats) -> str:
    return f"{number(got.mae)} ({number(got.bias, sign=True)})"


def groups_table(done: Results) -> str:
    """Return the shoulder turn's error (15 to 117 degrees) by place, clothes, body and speed."""
    rows = []
    natural, apart = done.pools["natural"], done.pools["decoupled"]
    for group in groups(natural.clips):
        cells = [f"{group.heading}: {group.name}"]
        for part in (natural, apart):
            here = part.turned & in_group(part, group)
            people = len(np.unique(part.clip[here]))
            got = stats(part.error[here, TURN])
            cells += [str(people), number(got.mae), number(got.bias, sign=True)]
        here = natural.turned & in_group(natural, group)
        true = natural.true[here, TURN]
        cells += [
            number(stats(natural.no_picture[here, TURN] - true).mae),
            number(stats(natural.points[here, TURN] - true).mae),
            number(stats(natural.width_deg[here] - true).mae),
            number(stats(natural.straight[here, TURN] - true).mae),
        ]
        rows.append(cells)
    head = ["", "people", "natural", "bias", "people", "decoupled", "bias"]
    head += ["no picture", "no outline", "width", "world points"]
    return table(head, rows)


def top_table(done: Results) -> str:
    """Return the errors of what is told after the rep: the readings at the top."""
    errors = np.array([told_at_top(one) - one.true_top for one in done.reps])
    spread = np.array([_se_at_top(one) for one in done.reps])
    rows = []
    for column, (name, unit) in enumerate(NAMES):
        got, digits = stats(errors[:, column]), digits_of(unit)
        size = np.abs(errors[:, column])
        worst = float(np.nanmax(size)) if got.count else math.nan
        rows.append(
            [
                name,
                str(got.count),
                sized(got.mae, unit, digits),
                number(got.bias, digits, sign=True),
                number(got.sd, digits),
                number(worst, digits),
                share(inside_share(errors[:, column], spread[:, column])),
            ]
        )
    return table(("at the top", "reps", "mean error", "bias", "SD", "worst", "inside its ±"), rows)


def _se_at_top(one: object) -> Floats:
    rep = getattr(one, "rep", None)
    top = None if rep is None else rep.at_top
    values = [None if top is None else getattr(top, name) for name in SE_FIELDS]
    return np.array([math.nan if value is None else value for value in values])


def decisions_table(done: Results) -> str:
    """Return how often "reached the target?" is answered rightly."""
    rows = []
    for target in TARGETS:
        cells = [f"{target:.0f}°"]
        for kind in KINDS:
            for far in (5, 10):
                cells.append(of_all(*picture_decisions(done.pools[kind], far, target)))
        rows.append(cells)
    head = ("target", "natural, > 5° away", "> 10° away", "decoupled, > 5° away", "> 10° away")
    return table(head, rows)


def apart_table(part: Pool) -> str:
    """Return turn errors by which part of the body moves."""
    rows = []
    for name in (*dict.fromkeys(ALONE), "everything apart"):
        here = part.spans == name
        turn, hips = stats(part.error[here, TURN]), stats(part.error[here, HIPS])
        rows.append(
            [
                name,
                str(len(np.unique(part.clip[here]))),
                number(turn.mae),
                number(turn.bias, sign=True),
                number(hips.mae),
                number(hips.bias, sign=True),
            ]
        )
    head = ("what moves", "clips", "shoulder turn, °", "bias", "hip turn, °", "bias")
    return table(head, rows)


def phases_table(done: Results) -> str:
    """Return how far off the instants are, in pictures at 30 a second."""
    rows = []
    names = {"takeaway": "takeaway", "top": "top", "top_end": "end of the top"}
    for key, off in instants(done.reps).items():
        got = timing(off, FPS)
        rows.append(
            [
                names[key],
                number(got.median),
                number(got.p95),
                number(got.worst),
                number(got.bias, sign=True),
                share(got.within_one),
            ]
        )
    return table(("instant", "median", "95 % within", "worst", "bias", "one or less"), rows)


def scale_table(done: Results) -> str:
    """Return the error of the ruler, and what it does to the drifts."""
    clips = done.pools["natural"].clips
    scale = np.array([one.scale for one in clips])
    natural = done.pools["natural"]
    rows = []
    for name, column, drift in (
        ("with `stature_cm`", 1, natural.said),
        ("without", 2, natural.no_stature),
    ):
        off = 10.0 * (scale[:, column] / scale[:, 0] - 1.0)
        got = stats(off)
        error = drift - natural.true
        rows.append(
            [
                name,
                f"{number(got.mae, 2)} cm",
                number(got.bias, 2, sign=True),
                number(got.sd, 2),
                *(number(stats(error[:, k]).mae, 2) for k in (3, 4, 5)),
            ]
        )
    head = (
        "ruler", "error of 10 cm", "bias", "SD", "head sideways", "head up and down", "hip drift"
    )  # fmt: skip
    return table(head, rows)


def made_of_table(done: Results) -> str:
    """Return what errors are made of: between clips, within a clip, smoothing and lateness."""
    rows = []
    for kind in KINDS:
        part = done.pools[kind]
        for column, (name, unit) in enumerate(NAMES):
            digits = digits_of(unit)
            between, within = parts_of_error(part, column)
            late = lag_s(part.said[:, column], part.true[:, column], part.t_s, part.clip)
            rows.append(
                [
                    f"{name}, {kind}",
                    sized(stats(part.error[:, column]).mae, unit, digits),
                    number(stats(part.unsmoothed[:, column] - part.true[:, column]).mae, digits),
                    number(between, digits),
                    number(within, digits),
                    f"{number(1000 * late, 0)} ms" if name in _LATE else "–",
                ]
            )
    head = ("", "mean error", "unsmoothed", "SD between clips", "within a clip", "as if late by")
    return table(head, rows)


#: Lateness is read from how the error goes with speed; only the turns move enough for that.
_LATE: Final = ("shoulder turn", "hip turn")


def worst_reps(done: Results) -> str:
    """Return the reps whose shoulder turn at the top was furthest off."""
    rows = []
    for one, off in worst(done.reps):
        scene = one.clip.scene
        rows.append(
            [
                one.clip.name,
                f"{one.true_top[TURN]:.0f}°",
                f"{one.true_top[TURN] + off:.0f}°",
                f"±{_se_at_top(one)[TURN]:.0f}",
                sized(scene["yaw_deg"], "°", 0),
                f"{scene['distance_m']:.1f} m",
                f"{scene['light']:.2f}",
                f"{scene['loose_cm']:.1f} cm",
                ", ".join(name for name in ("jacket", "skirt") if scene.get(name)) or "–",
            ]
        )
    head = ["clip", "true", "said", "stated", "camera round", "distance", "light", "shirt loose"]
    return table([*head, "also worn"], rows)
