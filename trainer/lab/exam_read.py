"""Reads the exam's clips as the program does and lays the readings beside the truth.

Natural clips go through ``trainer.measure.run_frames``, poses kept from the pose model in place
of the model. In decoupled clips the program's phases may rightly see no swing and drop the
setup, so there the still address is taken as the reference and ``core.measures.measure`` is
called for every later picture, with the program's own smoothing.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import estimate as est
from trainer.core import geometry as geo
from trainer.core import session
from trainer.core.measures import measure
from trainer.core.records import CueKind, Handed, Measures, Pose, Rep
from trainer.core.rules import CueRules, Rules
from trainer.core.setup import Reference, scale_cm_per_px
from trainer.core.trace import quantise
from trainer.estimator_file import shipped
from trainer.lab.camera import Camera
from trainer.lab.exam import Seen, load_poses
from trainer.measure import run_frames

Floats = NDArray[np.float64]
#: In the order of ``est.OUTPUTS``: the fields of Measures and their standard errors.
FIELDS: Final = (
    "shoulder_turn_deg",
    "hip_turn_deg",
    "chest_pitch_deg",
    "head_lateral_cm",
    "head_vertical_cm",
    "hip_lateral_cm",
)
SE_FIELDS: Final = tuple(
    name.replace("_deg", "_se_deg").replace("_cm", "_se_cm") for name in FIELDS
)
ARMS_TARGET_DEG: Final = 70.0


@dataclass(slots=True, kw_only=True)
class Readings:
    """One clip: N pictures, K measures in the order of FIELDS; NaN is a reading not made."""

    name: str
    kind: str  #: "natural" or "decoupled"
    scene: dict[str, Any]
    t_s: Floats  #: (N,)
    true: Floats  #: (N, K)
    said: Floats  #: (N, K) by the program
    se: Floats  #: (N, K) as it states them
    straight: Floats  #: (N, K) the equations on the points alone: turns from world points
    width_deg: Floats  #: (N,) shoulder turn as the arc cosine of the width's ratio
    no_stature: Floats  #: (N, K) by the program, stature unknown
    unsmoothed: Floats  #: (N, K) by the estimator on each picture's own points
    scored: NDArray[np.bool_]  #: (N,) takeaway to top's end, or all after the still address
    events: dict[str, float]
    spans: list[dict[str, Any]]
    reps: list[Rep]
    turn_cues_s: list[float]  #: when "turn reached" sounded at a target of 70
    scale: tuple[float, float, float]  #: cm a pixel at the hips: true, with stature, without
    hands_off_cm: Floats  #: (N,) the seen middle of the wrists from the true one, in the picture


def read_clip(video: Path) -> Readings:
    """Return a clip's readings beside its truth."""
    told = json.loads(video.with_suffix(".truth.json").read_text(encoding="utf-8"))
    scene = json.loads(video.with_suffix(".scene.json").read_text(encoding="utf-8"))
    seen = load_poses(video.with_suffix(".poses.npz"))
    true = truth_rows(told["frames"])
    count = min(len(true), len(seen.t_s))
    seen, true = Seen(seen.t_s[:count], seen.poses[:count]), true[:count]
    rules = Rules(
        handed=Handed(told["handed"]),
        stature_cm=told["stature_cm"],
        cues=CueRules(target_deg=ARMS_TARGET_DEG),
    )
    kind, events, t_s = video.stem.split("-")[0], told["events"], np.array(seen.t_s)
    passed = _straight_pass(seen, rules)
    reference = _reference_at(passed, events["takeaway_s"])
    steps, reps = _run(seen, rules)
    if kind == "natural":
        said, se = _rows(s.measures for s in steps)
        unknown, _ = _rows(s.measures for s in _run(seen, replace(rules, stature_cm=None))[0])
        straight, _ = _rows(step.measures for step, _ in passed)
        width = np.array([_width_deg(step.pose, held) for step, held in passed])
        scored = (t_s >= events["takeaway_s"]) & (t_s <= events["top_end_s"] + 1e-6)
    else:
        said, se, straight, width = _against(passed, reference, t_s)
        unknown = np.full_like(said, np.nan)
        scored = t_s > events["takeaway_s"]
    return Readings(
        name=video.stem,
        kind=kind,
        scene=scene,
        t_s=t_s,
        true=true,
        said=said,
        se=se,
        straight=straight,
        width_deg=width,
        no_stature=unknown,
        unsmoothed=_unsmoothed(seen, reference),
        scored=scored,
        events=events,
        spans=told["about"]["others"],
        reps=reps,
        turn_cues_s=[c.t_s for s in steps for c in s.cues if c.kind is CueKind.TURN_REACHED],
        scale=_scales(told, reference, scene),
        hands_off_cm=hands_off_cm(seen, told, true_cm_per_px(told, _camera(told, scene))),
    )


def truth_rows(frames: list[dict[str, Any]]) -> Floats:
    """Return a truth file's frames as (N, K), in the order of FIELDS."""
    return np.array(
        [
            [
                frame["shoulder_turn_deg"],
                frame["hip_turn_deg"],
                frame["chest_pitch_deg"],
                *frame["head_drift_cm"],
                frame["hip_drift_cm"],
            ]
            for frame in frames
        ],
        dtype=np.float64,
    )


def true_cm_per_px(told: dict[str, Any], camera: Camera) -> float:
    """Return how many cm a pixel spans, upright, at the middle of the hips at the address."""
    joints = told["frames"][0]["joints_m"]
    hips = (np.array(joints["left_hip"]) + np.array(joints["right_hip"])) / 2
    ends = camera.project(np.array([hips, hips + np.array([0.0, 0.01, 0.0])]))
    return 1.0 / float(np.linalg.norm(ends[1] - ends[0]))


def hands_off_cm(seen: Seen, told: dict[str, Any], cm_per_px: float) -> Floats:
    """Return how far (N,) the seen middle of the wrists is from the true one; NaN unseen."""
    off = np.full(len(seen.t_s), np.nan)
    for row, (pose, frame) in enumerate(zip(seen.poses, told["frames"], strict=False)):
        if pose is not None:
            joints = frame["joints_px"]
            true = (np.array(joints["left_wrist"]) + np.array(joints["right_wrist"])) / 2
            off[row] = cm_per_px * np.linalg.norm(geo.middle(pose.image_px, "wrist") - true)
    return off


def _camera(told: dict[str, Any], scene: dict[str, Any]) -> Camera:
    width, height = told["size_wh"]
    return Camera(size_wh=(width, height), **scene["camera"])


def _scales(
    told: dict[str, Any], reference: Reference | None, scene: dict[str, Any]
) -> tuple[float, float, float]:
    true = true_cm_per_px(told, _camera(told, scene))
    if reference is None:
        return true, np.nan, np.nan
    without, _ = scale_cm_per_px(reference.image_px, reference.world_m, None)
    return true, reference.cm_per_px, np.nan if without is None else without


class _Kept:
    """The poses that were kept, in place of the pose model."""

    def __init__(self, seen: Seen) -> None:
        self._seen = seen

    def estimate(self, frame: Any) -> Pose | None:
        return self._seen.poses[frame.index]

    def notice(self) -> str:
        return ""

    def close(self) -> None:
        pass


def _run(seen: Seen, rules: Rules) -> tuple[list[Any], list[Rep]]:
    frames = [SimpleNamespace(t_s=t_s, index=k) for k, t_s in enumerate(seen.t_s)]
    return run_frames(frames, _Kept(seen), rules)


def _straight_pass(seen: Seen, rules: Rules) -> list[tuple[Any, Reference | None]]:
    """Return each step without the estimator, and the reference held at it."""
    state, out = session.SessionState(), []
    for t_s, pose in zip(seen.t_s, seen.poses, strict=True):
        read = None if pose is None else quantise(pose)
        state, step = session.step(state, t_s, read, rules)
        out.append((step, state.reference))
    return out


def _reference_at(passed: list[tuple[Any, Reference | None]], until_s: float) -> Reference | None:
    held = [reference for step, reference in passed if step.t_s <= until_s]
    return held[-1] if held else None


def _against(
    passed: list[tuple[Any, Reference | None]], reference: Reference | None, t_s: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return said, standard errors, straight and width, all against one reference."""
    ready = None if reference is None else est.prepare(shipped(), reference)
    said, se = _rows(
        measure(step.pose, at, reference, ready)
        for (step, _), at in zip(passed, t_s.tolist(), strict=True)
    )
    straight, _ = _rows(
        measure(step.pose, at, reference)
        for (step, _), at in zip(passed, t_s.tolist(), strict=True)
    )
    width = np.array([_width_deg(step.pose, reference) for step, _ in passed])
    return said, se, straight, width


def _unsmoothed(seen: Seen, reference: Reference | None) -> Floats:
    ready = None if reference is None else est.prepare(shipped(), reference)
    pairs = zip(seen.poses, seen.t_s, strict=True)
    return _rows(measure(pose, t_s, reference, ready) for pose, t_s in pairs)[0]


def _rows(readings: Iterable[Measures]) -> tuple[Floats, Floats]:
    """Return values and standard errors, each (N, K), NaN for None."""
    values, errors = [], []
    for now in readings:
        values.append([_number(getattr(now, name)) for name in FIELDS])
        errors.append([_number(getattr(now, name)) for name in SE_FIELDS])
    return np.array(values), np.array(errors)


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def _width_deg(pose: Pose | None, reference: Reference | None) -> float:
    """Return the turn by the shoulders' width alone, what a first attempt would take."""
    if pose is None or reference is None:
        return float("nan")
    lead, trail = geo.lead_trail(reference.handed, "shoulder")
    away = geo.away_sign(reference.handed)
    now = float(pose.image_px[trail, 0] - pose.image_px[lead, 0]) * away
    then = float(reference.image_px[trail, 0] - reference.image_px[lead, 0]) * away
    return geo.turn_from_width_deg(now, then) if then > 0 else float("nan")
