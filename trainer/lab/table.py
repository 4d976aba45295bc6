"""Filmed people as rows to fit on: the estimator's features and what is true, pose by pose.

As in the program, poses that are not plausible and people without an address are left out.
Points go through the program's own smoothing, movement by movement, and the setup is the median
over the still address, as in the program.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import estimate as est
from trainer.core import geometry as geo
from trainer.core import plausible
from trainer.core.ball_line import back_edge_px
from trainer.core.measures import head_drift_cm, hip_drift_cm, side_tilt_deg
from trainer.core.records import Handed, Outline, Pose
from trainer.core.rules import Rules
from trainer.core.setup import (
    Reference,
    looks_like_address,
    median_trunk,
    scale_cm_per_px,
)
from trainer.core.silhouette import median_outline
from trainer.core.smoothing import one_euro
from trainer.core.turn import shoulder_turn_deg
from trainer.lab.films import FPS
from trainer.lab.naive import width_turn_deg

Floats = NDArray[np.float64]

#: The tracker settles on the address over the first pictures.
_SETTLED: Final = 3
_SETUP: Final = Rules().setup


@dataclass(slots=True)
class Table:
    """N poses of people; K outputs in the order of ``est.OUTLINE_OUTPUTS``."""

    features: Floats  #: (N, F) as ``est.features``; what is not known is NaN
    targets: Floats  #: (N, K) what the regression should give; NaN where it cannot be known
    truth: Floats  #: (N, K) what is true
    person: NDArray[np.int64]
    kind: NDArray[np.str_]  #: "address", "natural" or what moves without the rest
    naive: Floats  #: (N, 2) shoulder turn by width and by world points

    def where(self, rows: NDArray[np.bool_]) -> Table:
        """Return those rows."""
        return Table(*(getattr(self, item.name)[rows] for item in fields(self)))


def load(paths: list[Path]) -> Table:
    """Read people's files into one table; poses in which nobody was found are left out.

    Beside a person's film may lie what a network that has not seen that person says of the
    trunk's pictures (``trunk_path``).
    """
    parts = []
    for path in paths:
        with np.load(path) as film:
            data = {name: film[name] for name in film.files if name not in ("chips", "mask")}
        said = trunk_path(path)
        if said.exists():
            with np.load(said) as trunk:
                data["trunk_deg"] = trunk["trunk_deg"]
        part = person_table(data)
        if part is not None:
            parts.append(part)
    if not parts:
        raise ValueError("no person with a readable address was found; films were wanted")
    return Table(
        *(np.concatenate([getattr(part, item.name) for part in parts]) for item in fields(Table))
    )


def trunk_path(film: Path) -> Path:
    """Return where what is said of the trunk's pictures of a film is kept."""
    return film.with_name(film.name.replace("film-", "trunk-"))


def person_table(data: dict[str, Any]) -> Table | None:
    """Return the rows of one person's film; None without a readable address.

    Where ``data`` says that its points are "smooth" already they are taken as they are.
    """
    reference = _reference(data)
    if reference is None:
        return None
    size = (int(data["size_wh"][0]), int(data["size_wh"][1]))
    rows: list[tuple[Floats, Floats, Floats, Floats]] = []
    kept: list[int] = []
    for index, pose in _smoothed(data, reference, size):
        rows.append((_features(pose, reference), *_targets(pose, reference, data, index)))
        kept.append(index)
    features, targets, truth, naive = (np.array(part) for part in zip(*rows, strict=True))
    person = np.full(len(kept), int(data["seed"]))
    return Table(features, targets, truth, person, data["kind"][kept], naive)


def _reference(data: dict[str, Any]) -> Reference | None:
    still = np.nonzero((data["piece"] == 0) & data["found"])[0][_SETTLED:]
    if len(still) < _SETTLED:
        return None
    image_px, depth_px, world_m = (
        np.median(data[name][still].astype(np.float64), axis=0)
        for name in ("image_px", "depth_px", "world_m")
    )
    scale, known = scale_cm_per_px(image_px, world_m, float(data["stature_cm"]))
    size = (int(data["size_wh"][0]), int(data["size_wh"][1]))
    if scale is None or not looks_like_address(_pose(data, int(still[-1]), 0.0, size), _SETUP):
        return None
    return Reference(
        t_s=0.0,
        handed=Handed(str(data["handed"])),
        image_px=image_px,
        depth_px=depth_px,
        world_m=world_m,
        cm_per_px=scale,
        scale_from_stature=known,
        outline=median_outline([_outline(data, index) for index in still]),
        trunk_deg=median_trunk([_trunk(data, index) for index in still]),
    )


def _outline(data: dict[str, Any], index: int) -> Outline:
    ends = data["rows_px"][index].astype(np.float64)
    return Outline(row_px=data["row_px"], left_px=ends[:, 0], right_px=ends[:, 1])


def _trunk(data: dict[str, Any], index: int) -> Floats | None:
    """Return it for either hand: the film's pictures were mirrored to a right-hander's."""
    if "trunk_deg" not in data or np.isnan(data["trunk_deg"][index]).any():
        return None
    return np.tile(data["trunk_deg"][index].astype(np.float64), (2, 1))


def _smoothed(
    data: dict[str, Any], reference: Reference, size_wh: tuple[int, int]
) -> Iterator[tuple[int, Pose]]:
    """Yield each picture's number and its pose, smoothed from the address on in each piece."""
    if "smooth" in data:
        yield from ((i, _pose(data, i, i / FPS, size_wh)) for i in range(len(data["found"])))
        return
    rules = Rules().smoothing
    unit = np.array([reference.cm_per_px] * 3 + [100.0] * 3)
    still = np.hstack([reference.image_px, reference.depth_px[:, None], reference.world_m])
    for piece in np.unique(data["piece"]):
        state, _ = one_euro(None, 0.0, still, rules, unit=unit)
        trust = plausible.Trust()
        for turn, index in enumerate(np.nonzero(data["piece"] == piece)[0], start=1):
            if not data["found"][index]:
                continue
            t_s = turn / FPS
            pose = _pose(data, int(index), t_s, size_wh)
            trust, doubt = plausible.judge(trust, pose)
            if doubt is not None:
                continue
            packed = np.hstack([pose.image_px, pose.depth_px[:, None], pose.world_m])
            state, packed = one_euro(state, t_s, packed, rules, unit=unit)
            smooth = replace(
                pose, image_px=packed[:, :2], depth_px=packed[:, 2], world_m=packed[:, 3:]
            )
            yield int(index), smooth


def _pose(data: dict[str, Any], index: int, t_s: float, size_wh: tuple[int, int]) -> Pose:
    return Pose(
        t_s=t_s,
        size_wh=size_wh,
        image_px=data["image_px"][index].astype(np.float64),
        depth_px=data["depth_px"][index].astype(np.float64),
        world_m=data["world_m"][index].astype(np.float64),
        visibility=np.ones(33),
        outline=_outline(data, index),
        trunk_deg=_trunk(data, index),
    )


def _features(pose: Pose, reference: Reference) -> Floats:
    row = est.features(pose, reference)
    return np.concatenate([row, np.full(est.WITH_TRUNK - len(row), np.nan)])


def _targets(
    pose: Pose, reference: Reference, data: dict[str, Any], index: int
) -> tuple[Floats, Floats, Floats]:
    """Return what the regression should give, what is true, and the simpler readings."""
    shoulders, hips = (float(data[f"{part}_turn_deg"][index]) for part in ("shoulder", "hip"))
    head = head_drift_cm(pose, reference)
    edge_cm, back_cm = _back(pose, reference, data, index)
    truth = np.array(
        [
            shoulders,
            hips,
            shoulders - hips,
            data["chest_pitch_deg"][index],
            data["side_tilt_deg"][index],
            data["head_lateral_cm"][index],
            data["head_up_cm"][index],
            data["hip_drift_cm"][index],
            back_cm,
        ]
    )
    seen = np.array(
        [
            *(0.0, 0.0, 0.0, 0.0),
            side_tilt_deg(pose, reference),
            *head,
            hip_drift_cm(pose, reference),
            edge_cm,
        ]
    )
    return truth - seen, truth, _naive(pose, reference)


def _back(
    pose: Pose, reference: Reference, data: dict[str, Any], index: int
) -> tuple[float, float]:
    """Return the silhouette's edge and the back's true one, in cm from the lead shoulder."""
    lead, _ = geo.lead_trail(reference.handed, "shoulder")
    sign = geo.away_sign(reference.handed)
    joint = list(data["joint_names"]).index("left_shoulder" if sign < 0 else "right_shoulder")
    true_from = float(data["joints_px"][0, joint, 0])
    true_cm = (float(data["back_px"][index]) - true_from) * sign * float(data["true_cm_per_px"])
    edge = None if pose.outline is None else back_edge_px(pose.outline, pose, reference)
    if edge is None:
        return np.nan, true_cm
    return (edge - reference.image_px[lead, 0]) * sign * reference.cm_per_px, true_cm


def _naive(pose: Pose, reference: Reference) -> Floats:
    by_world = shoulder_turn_deg(pose, reference)
    world = np.nan if by_world is None else by_world
    return np.array([width_turn_deg(pose, reference), world])
