"""Fits the estimator on rendered people, and scores it on people it has not seen."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core import estimate as est
from trainer.core import geometry as geo
from trainer.core.measures import head_drift_cm, hip_drift_cm
from trainer.core.records import Handed, Pose
from trainer.core.setup import Reference, scale_cm_per_px
from trainer.core.turn import shoulder_turn_deg

Floats = NDArray[np.float64]


@dataclass(slots=True)
class Table:
    """One row a pose: features, targets, picture's own drifts, and whose pose it is."""

    features: Floats
    targets: Floats  #: (N, K) what the network should give (drifts as corrections)
    truth: Floats  #: (N, K) what is true
    person: NDArray[np.int64]
    free: NDArray[np.bool_]
    naive: Floats  #: (N, 2) shoulder turn by width and by world points


def load(paths: list[Path]) -> Table:
    """Read persons' files into one table; poses in which nobody was found are left out."""
    rows: list[tuple[Floats, Floats, Floats, int, bool, Floats]] = []
    for path in paths:
        with np.load(path) as data:
            rows.extend(_person_rows({name: data[name] for name in data.files}))
    parts = list(zip(*rows, strict=True))
    return Table(
        np.array(parts[0]),
        np.array(parts[1]),
        np.array(parts[2]),
        np.array(parts[3]),
        np.array(parts[4]),
        np.array(parts[5]),
    )


def _person_rows(data: dict[str, Any]) -> list[tuple[Floats, Floats, Floats, int, bool, Floats]]:
    if not data["found"][0]:
        return []
    handed = Handed(str(data["handed"]))
    size = tuple(int(v) for v in data["size_wh"])
    image, depth, world = (data[n].astype(float) for n in ("image_px", "depth_px", "world_m"))
    scale, known = scale_cm_per_px(image[0], world[0], float(data["stature_cm"]))
    if scale is None:
        return []
    reference = Reference(
        t_s=0.0,
        handed=handed,
        image_px=image[0],
        depth_px=depth[0],
        world_m=world[0],
        cm_per_px=scale,
        scale_from_stature=known,
    )
    rows = []
    for index in np.nonzero(data["found"])[0]:
        pose = Pose(
            t_s=0.0,
            size_wh=(size[0], size[1]),
            image_px=image[index],
            depth_px=depth[index],
            world_m=world[index],
            visibility=np.ones(33),
        )
        seen_head = head_drift_cm(pose, reference)
        seen = np.array([0.0, 0.0, 0.0, seen_head[0], seen_head[1], hip_drift_cm(pose, reference)])
        truth = np.array(
            [
                data["shoulder_turn_deg"][index],
                data["hip_turn_deg"][index],
                data["chest_pitch_deg"][index],
                data["head_lateral_cm"][index],
                data["head_up_cm"][index],
                data["hip_drift_cm"][index],
            ]
        )
        rows.append(
            (
                est.features(pose, reference),
                truth - seen,
                truth,
                int(data["seed"]),
                str(data["kind"][index]) == "free",
                _naive(pose, reference),
            )
        )
    return rows


def _naive(pose: Pose, reference: Reference) -> Floats:
    lead, trail = geo.lead_trail(reference.handed, "shoulder")
    away = geo.away_sign(reference.handed)
    now = (pose.image_px[trail, 0] - pose.image_px[lead, 0]) * away
    then = (reference.image_px[trail, 0] - reference.image_px[lead, 0]) * away
    by_width = geo.turn_from_width_deg(float(now), float(then)) if then > 0 else np.nan
    by_world = shoulder_turn_deg(pose, reference)
    return np.array([by_width, np.nan if by_world is None else by_world])


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What the fit is free to choose."""

    ridge: float = 0.1
    width: float = 0.3
    centres: int = 1500
    folds: int = 5


def fit(train: Table, choice: Choice, *, seed: int = 0, name: str = "unnamed") -> est.Estimator:
    """Fit values on all people; fit standard errors on how wrong folds of people were.

    A fold's people are predicted by a fit without them, so the standard errors are those on
    people not seen; the last scale makes 68 % of those errors lie inside.
    """
    rng = np.random.default_rng(seed)
    residual = np.full_like(train.targets, np.nan)
    folds = np.array_split(rng.permutation(np.unique(train.person)), choice.folds)
    for fold in folds:
        out = np.isin(train.person, fold)
        part = _values(train, ~out, choice, rng)
        residual[out] = est.predict(part, train.features[out])[0] - train.targets[out]
    fitted = _values(train, np.ones(len(train.person), dtype=bool), choice, rng)
    # The mean of log |error| of a bell curve lies 0.635 below the log of its spread.
    log_error = np.log(np.abs(residual) + 0.1) + 0.635
    mean_log = log_error.mean(axis=0)
    rows = np.clip((train.features - fitted.mean) / fitted.scale, -est.LIMIT, est.LIMIT)
    spread = _solve(rows, fitted.centres, log_error - mean_log, choice.width, 30 * choice.ridge)
    log_se = est.kernel(rows, fitted.centres, fitted.width) @ spread + mean_log
    mean_log = mean_log + np.log(np.quantile(np.abs(residual) / np.exp(log_se), 0.683, axis=0))
    count = len(est.OUTPUTS)
    return est.Estimator(
        name=name,
        mean=fitted.mean,
        scale=fitted.scale,
        centres=fitted.centres,
        width=choice.width,
        weights=np.concatenate([fitted.weights[:, :count], spread], axis=1),
        offset=np.concatenate([fitted.offset[:count], mean_log]),
    )


def _values(
    table: Table, rows: NDArray[np.bool_], choice: Choice, rng: np.random.Generator
) -> est.Estimator:
    chosen, targets = table.features[rows], table.targets[rows]
    mean, scale = chosen.mean(axis=0), chosen.std(axis=0) + 1e-3
    scaled = np.clip((chosen - mean) / scale, -est.LIMIT, est.LIMIT)
    picked = rng.permutation(len(scaled))[: choice.centres]
    centres = scaled[np.sort(picked)].astype(np.float16).astype(np.float64)
    offset = targets.mean(axis=0)
    weights = _solve(scaled, centres, targets - offset, choice.width, choice.ridge)
    none = np.zeros_like(weights)
    return est.Estimator(
        name="part",
        mean=mean,
        scale=scale,
        centres=centres,
        width=choice.width,
        weights=np.concatenate([weights, none], axis=1),
        offset=np.concatenate([offset, np.zeros(len(est.OUTPUTS))]),
    )


def _solve(rows: Floats, centres: Floats, wanted: Floats, width: float, ridge: float) -> Floats:
    """Return weights (M, K): least squares on the centres' kernels with a ridge in their space."""
    across = est.kernel(rows, centres, width)
    among = est.kernel(centres, centres, width)
    left = across.T @ across + ridge * among + 1e-6 * np.eye(len(centres))
    weights: Floats = np.linalg.solve(left, across.T @ wanted)
    return weights


def scores(table: Table, value: Floats, se: Floats) -> dict[str, Any]:
    """Return errors by kind of pose and by true turn, decisions, and how honest the errors are."""
    error = value - table.targets
    turn = table.truth[:, 0]
    said = turn + error[:, 0]
    out: dict[str, Any] = {}
    for label, kind in (("natural", ~table.free & (turn != 0)), ("free", table.free)):
        part: dict[str, Any] = {"poses": int(kind.sum())}
        for column, name in enumerate(est.OUTPUTS):
            part[name] = {
                "mae": round(float(np.abs(error[kind, column]).mean()), 2),
                "bias": round(float(error[kind, column].mean()), 2),
                "inside_se_share": round(
                    float((np.abs(error[kind, column]) < se[kind, column]).mean()), 3
                ),
            }
        for low, high in ((15, 60), (60, 80), (80, 100), (100, 117)):
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
                right = (said[rows] >= target) == (turn[rows] >= target)
                part[f"reached {target}, over {far} away"] = round(float(right.mean()), 3)
        out[label] = part
    return out


def save(fitted: est.Estimator, path: Path, notes: dict[str, Any]) -> None:
    """Write the coefficients as one npz with notes on data, pose model and scores."""
    about = json.dumps({"name": fitted.name, **notes}, sort_keys=True)
    np.savez_compressed(
        path,
        about=np.array(about),
        mean=fitted.mean.astype(np.float32),
        scale=fitted.scale.astype(np.float32),
        centres=fitted.centres.astype(np.float16),
        width=np.float64(fitted.width),
        weights=fitted.weights.astype(np.float32),
        offset=fitted.offset.astype(np.float32),
    )
