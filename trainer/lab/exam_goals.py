"""The goals of the accuracy report, and what came of each."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from trainer.core.rules import CONFIDENCE
from trainer.lab.exam import FPS
from trainer.lab.exam_cues import NO_TURN, NoTurn, no_turn, quality
from trainer.lab.exam_read import Readings
from trainer.lab.exam_results import (
    BACK,
    DRIFT,
    HEAD,
    HEAD_UP,
    HIPS,
    KINDS,
    PITCH,
    TURN,
    Matched,
    Pool,
    Results,
    instants,
    matched_reps,
    percent,
    picture_decisions,
    pool,
    rep_decisions,
    told_at_top,
)
from trainer.lab.exam_scores import Goal, stats


def results(clips: list[Readings]) -> Results:
    """Score all clips. Raises ValueError when a kind has none."""
    pools = pools_of(clips)
    reps, extra = matched_reps(pools["natural"].clips)
    still = {what: no_turn(pools["decoupled"].clips, what) for what in NO_TURN}
    return Results(
        pools=pools,
        reps=reps,
        extra=extra,
        goals=goals(pools, reps, extra, still),
        still=still,
        tones=[quality(pools[kind].clips, kind, word) for kind in KINDS for word in CONFIDENCE],
        no_setup=[one.name for one in clips if not np.isfinite(one.scale[1])],
    )


def pools_of(clips: list[Readings]) -> dict[str, Pool]:
    """Return the pictures of each kind. Raises ValueError when a kind has no clip."""
    return {kind: pool([one for one in clips if one.kind == kind]) for kind in KINDS}


def goals(
    pools: dict[str, Pool], reps: list[Matched], extra: int, still: dict[str, NoTurn]
) -> list[Goal]:
    """Return every goal with its value, natural before decoupled."""
    out: list[Goal] = []

    def both(name: str, unit: str, limits: tuple[float, float], value: Any, **more: bool) -> None:
        for kind, limit in zip(KINDS, limits, strict=True):
            got = float(value(pools[kind]))
            out.append(Goal(name=name, unit=unit, kind=kind, limit=limit, value=got, **more))

    def mae(column: int) -> Callable[[Pool], float]:
        return lambda part: stats(part.error[:, column]).mae

    both("shoulder turn, 15–117°, mean error", "°", (5, 9), _turn_mae)
    both("shoulder turn, bias in 80–100°", "°", (2, 4), _full_bias)
    for far, limits in ((5, (95, 90)), (10, (99, 95))):
        name = f"“reached?” right, over {far}° away"
        both(
            f"{name}, of pictures",
            " %",
            limits,
            lambda part, far=far: percent(*picture_decisions(part, far)),
            at_least=True,
        )
        out.append(
            Goal(
                name=f"{name}, of reps",
                unit=" %",
                kind="natural",
                limit=limits[0],
                value=percent(*rep_decisions(reps, far)),
                at_least=True,
            )
        )
    both("hip turn, mean error", "°", (4, 6), mae(HIPS))
    both("hip drift, mean error", " cm", (0.7, 1.0), mae(DRIFT))
    both("head sideways, mean error", " cm", (0.6, 0.8), mae(HEAD))
    both("head up and down, mean error", " cm", (1.0, 1.3), mae(HEAD_UP))
    tops = np.array([told_at_top(one)[PITCH] - one.true_top[PITCH] for one in reps])
    pitch = "chest pitch, mean error (natural: at the top)"
    out += [
        Goal(name=pitch, unit="°", kind="natural", limit=4, value=stats(tops).mae),
        Goal(name=pitch, unit="°", kind="decoupled", limit=6, value=mae(PITCH)(pools["decoupled"])),
    ]
    backs = np.array([told_at_top(one)[BACK] - one.true_top[BACK] for one in reps])
    out.append(
        Goal(
            name="back to the ball line at the top, mean error",
            unit=" cm",
            kind="natural",
            limit=2,
            value=stats(backs).mae,
        )
    )
    out += _still_goals(still)
    top = instants(reps)["top"]
    within = sum(abs(off) * FPS <= 1 + 1e-9 for off in top)
    found = sum(one.rep is not None for one in reps)
    for name, value, limit in (
        ("top within one picture at 30 a second", percent(within, len(reps)), 95),
        ("reps found", percent(found, len(reps)), 100),
    ):
        out.append(
            Goal(name=name, unit=" %", kind="natural", limit=limit, value=value, at_least=True)
        )
    out.append(
        Goal(name="reps found that were none", unit="", kind="natural", limit=0, value=extra)
    )
    return out


def _still_goals(still: dict[str, NoTurn]) -> list[Goal]:
    """Return what is wanted while the shoulders keep still."""
    arms = still["arms alone"]
    at_80 = sum(one.cues_at_80 for one in still.values()) if _all_there(still) else np.nan
    at_70 = arms.cues_at_70 if arms.clips else np.nan
    return [
        Goal(
            name="arms alone, true turn under 6°: mean reading",
            unit="°",
            kind="decoupled",
            limit=6,
            value=arms.said_deg,
        ),
        Goal(
            name="arms alone: tones at a target of 70°",
            unit="",
            kind="decoupled",
            limit=0,
            value=at_70,
        ),
        Goal(
            name="arms, hips or tilt alone: tones at a target of 80°",
            unit="",
            kind="decoupled",
            limit=0,
            value=at_80,
        ),
    ]


def _all_there(still: dict[str, NoTurn]) -> bool:
    return all(one.clips for one in still.values())


def _turn_mae(part: Pool) -> float:
    return stats(part.error[part.turned, TURN]).mae


def _full_bias(part: Pool) -> float:
    rows = (part.true[:, TURN] >= 80) & (part.true[:, TURN] < 100)
    return stats(part.error[rows, TURN]).bias
