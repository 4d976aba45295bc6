"""Fits the estimator on filmed people, and scores it on people it has not seen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import estimate as est
from trainer.lab.relevance import learn
from trainer.lab.table import Table

Floats = NDArray[np.float64]

#: A person with less turn than this is about at the address.
AWAY_DEG: Final = 15.0
#: The share of a bell curve within one standard deviation.
INSIDE: Final = 0.683
#: Of the usual error: smaller ones are all alike.
LEAST_ERROR: Final = 0.1
#: How much stronger the ridge of the standard errors is than that of the values.
SMOOTHER: Final = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What the fit is free to choose."""

    ridge: float = 0.4
    width: float = 0.4
    centres: int = 2500
    folds: int = 4
    steps: int = 300  #: of learning how much each feature counts; 0: all alike


def fit(
    train: Table,
    choice: Choice,
    *,
    name: str,
    pose_model: str,
    seed: int = 0,
    like: est.Fitted | None = None,
) -> est.Fitted:
    """Fit every set of coefficients: on all poses' points, and on those with more than points.

    None for outline or trunk where the table has none. How much each feature counts is learnt,
    or taken from ``like``, which was fitted on some of the same people.
    """
    machines = []
    for count, outputs, known_from in (
        (est.WITH_POINTS, est.OUTPUTS, like and like.points),
        (est.WITH_OUTLINE, est.OUTLINE_OUTPUTS, like and like.outline),
        (est.WITH_TRUNK, est.OUTLINE_OUTPUTS, like and like.trunk),
    ):
        rows = known(train, count)
        part = train.where(rows)
        machines.append(
            machine(
                part.features[:, :count],
                part.targets[:, : len(outputs)],
                part.person,
                bearing(part),
                outputs,
                choice,
                seed,
                relevance=None if known_from is None else known_from.relevance,
            )
            if rows.any()
            else None
        )
    points, outline, trunk = machines
    if points is None:
        raise ValueError("poses were wanted to fit on; the table is empty")
    return est.Fitted(name=name, pose_model=pose_model, points=points, outline=outline, trunk=trunk)


def known(table: Table, count: int) -> NDArray[np.bool_]:
    """Tell which rows have their first ``count`` features."""
    return ~np.isnan(table.features[:, :count]).any(axis=1)


def bearing(table: Table) -> Floats:
    """Return (N,) how much each pose bears on the standard errors' scale.

    Nothing near the address, where turns and drifts read 0 by definition, whatever they are worth
    elsewhere; backswings as much in all as movements in which parts of the body go their own ways.
    """
    away = (table.kind != "address") & (np.abs(table.truth[:, 0]) >= AWAY_DEG)
    natural = away & (table.kind == "natural")
    out = np.zeros(len(away))
    for rows in (natural, away & ~natural):
        out[rows] = 1.0 / max(1, rows.sum())
    return out


def machine(
    features: Floats,
    targets: Floats,
    person: NDArray[np.int64],
    bears: Floats,
    outputs: tuple[str, ...],
    choice: Choice,
    seed: int,
    *,
    relevance: Floats | None = None,
) -> est.Estimator:
    """Fit values on all people; fit standard errors on how wrong folds of people were.

    A fold's people are predicted by a fit without them, so the standard errors are those on
    people not seen; the last scale makes 68 % of those errors lie inside, each counted as much as
    it ``bears``. A target may be NaN where it cannot be known, if it is of those not 0 at setup.
    """
    rng = np.random.default_rng(seed)
    if relevance is None and choice.steps:
        relevance = learn(features, targets, person, outputs, choice, seed)
    elif relevance is None:
        relevance = np.ones(features.shape[1])
    residual = np.full_like(targets, np.nan)
    # Pictures are shown twice or more, so every other row is as good to fit the folds on.
    some = np.arange(len(person)) % 2 == 0
    for fold in np.array_split(rng.permutation(np.unique(person)), choice.folds):
        out = np.isin(person, fold)
        rows = ~out & some
        part = _values(features[rows], targets[rows], outputs, relevance, choice, rng)
        residual[out] = est.predict(part, features[out])[0] - targets[out]
    fitted = _values(features, targets, outputs, relevance, choice, rng)
    known = np.isfinite(targets).all(axis=1)
    return with_errors(fitted, features[known], residual[known], bears[known], choice)


def with_errors(
    fitted: est.Estimator, features: Floats, residual: Floats, bears: Floats, choice: Choice
) -> est.Estimator:
    """Return ``fitted`` with standard errors fitted on how wrong (N, K) people not seen were read.

    The logarithm of an error's size is regressed on the same features, more smoothly than the
    values, because one error says little of its spread.
    """
    away = bears > 0
    # An error of nothing has no logarithm; what is small beside the usual counts as small.
    least = LEAST_ERROR * np.median(np.abs(residual[away]), axis=0)
    # The mean of log |error| of a bell curve lies 0.635 below the log of its spread.
    log_error = np.log(np.abs(residual) + least) + 0.635
    mean_log = np.average(log_error, axis=0, weights=bears)
    rows = est.weighted(fitted, features)
    spread = solve(
        rows, fitted.centres, log_error - mean_log, choice.width, SMOOTHER * choice.ridge
    )
    log_se = est.kernel(rows[away], fitted.centres, fitted.width) @ spread + mean_log
    times = np.abs(residual[away]) / np.exp(log_se)
    mean_log = mean_log + np.log([_quantile(column, bears[away]) for column in times.T])
    count = len(fitted.outputs)
    return replace(
        fitted,
        weights=np.concatenate([fitted.weights[:, :count], spread], axis=1),
        offset=np.concatenate([fitted.offset[:count], mean_log]),
    )


def _quantile(values: Floats, bears: Floats) -> float:
    """Return what 68.3 % of values, counted as much as they bear, are not above."""
    order = np.argsort(values)
    share = np.cumsum(bears[order]) / bears.sum()
    return float(values[order][np.searchsorted(share, INSIDE)])


def _values(
    features: Floats,
    targets: Floats,
    outputs: tuple[str, ...],
    relevance: Floats,
    choice: Choice,
    rng: np.random.Generator,
) -> est.Estimator:
    count = len(outputs)
    blank = est.Estimator(
        outputs=outputs,
        mean=features.mean(axis=0),
        scale=features.std(axis=0) + 1e-3,
        relevance=relevance,
        centres=np.zeros((1, len(relevance))),
        width=choice.width,
        weights=np.zeros((1, 2 * count)),
        offset=np.zeros(2 * count),
    )
    rows = est.weighted(blank, features)
    picked = rng.permutation(len(rows))[: choice.centres]
    centres = rows[np.sort(picked)].astype(np.float16).astype(np.float64)
    known = np.isfinite(targets).all(axis=1)
    offset = targets[known].mean(axis=0)
    weights = solve(rows[known], centres, targets[known] - offset, choice.width, choice.ridge)
    # What is 0 at setup is fitted as it is told: the reading less that at the setup.
    zeroed = np.array([name not in est.AS_IT_IS for name in outputs])
    still = est.weighted(blank, est.at_setup(features))
    weights[:, zeroed] = solve(
        rows, centres, targets[:, zeroed], choice.width, choice.ridge, less=still
    )
    offset[zeroed] = 0.0
    return replace(
        blank,
        centres=centres,
        weights=np.concatenate([weights, np.zeros_like(weights)], axis=1),
        offset=np.concatenate([offset, np.zeros(count)]),
    )


def solve(
    rows: Floats,
    centres: Floats,
    wanted: Floats,
    width: float,
    ridge: float,
    *,
    less: Floats | None = None,
) -> Floats:
    """Return weights (M, K): least squares on the centres' kernels with a ridge in their space.

    With ``less`` (N, F) the kernels of those rows are taken off first.
    """
    across = est.kernel(rows, centres, width)
    if less is not None:
        across = across - est.kernel(less, centres, width)
    among = est.kernel(centres, centres, width)
    left = across.T @ across + ridge * among + 1e-6 * np.eye(len(centres))
    weights: Floats = np.linalg.solve(left, across.T @ wanted)
    return weights


def read(fitted: est.Fitted, table: Table, most: int) -> tuple[Floats, Floats]:
    """Return values and standard errors (N, K) of the outputs all sets of coefficients have.

    Each row is read as the program would, by as much of it as is known but no more than ``most``
    features.
    """
    count = len(est.OUTPUTS)
    value = np.empty((len(table.person), count))
    se = np.empty_like(value)
    for width in (est.WITH_POINTS, est.WITH_OUTLINE, est.WITH_TRUNK):
        seen = known(table, width)
        if width > most or not seen.any():
            continue
        told = [
            est.predict(machine, table.features[seen, : len(machine.relevance)])
            for machine in fitted.readers(width)
        ]
        value[seen] = np.mean([one[:, :count] for one, _ in told], axis=0)
        se[seen] = np.exp(np.mean([np.log(one[:, :count]) for _, one in told], axis=0))
    return value, se


def scores(table: Table, value: Floats, se: Floats) -> dict[str, Any]:
    """Return errors by kind of pose and by true turn, decisions, and how honest the errors are."""
    error = value - table.targets[:, : value.shape[1]]
    turn = table.truth[:, 0]
    said = turn + error[:, 0]
    natural = table.kind == "natural"
    out: dict[str, Any] = {}
    for label, kind in (("natural", natural), ("apart", ~natural & (table.kind != "address"))):
        part: dict[str, Any] = {"poses": int(kind.sum())}
        for column, name in enumerate(est.OUTPUTS):
            part[name] = {
                "mae": round(float(np.abs(error[kind, column]).mean()), 2),
                "bias": round(float(error[kind, column].mean()), 2),
                "inside_se_share": round(
                    float((np.abs(error[kind, column]) < se[kind, column]).mean()), 3
                ),
            }
        for low, high in ((15, 117), (15, 60), (60, 80), (80, 100), (100, 117)):
            rows = kind & (turn >= low) & (turn < high)
            if rows.any():
                part[f"turn {low}-{high}"] = {
                    "mae": round(float(np.abs(error[rows, 0]).mean()), 2),
                    "bias": round(float(error[rows, 0].mean()), 2),
                    "naive_width_mae": round(
                        float(np.nanmean(np.abs(table.naive[rows, 0] - turn[rows]))), 2
                    ),
                    "naive_world_mae": round(
                        float(np.nanmean(np.abs(table.naive[rows, 1] - turn[rows]))), 2
                    ),
                }
        for target in (70, 80, 90):
            for far in (5, 10):
                rows = kind & (np.abs(turn - target) > far)
                if rows.any():
                    right = (said[rows] >= target) == (turn[rows] >= target)
                    part[f"reached {target}, over {far} away"] = round(float(right.mean()), 3)
        out[label] = part
    return out
