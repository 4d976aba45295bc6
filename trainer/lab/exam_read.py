"""Reads the exam's clips as the program does and lays the readings beside the truth.

Natural clips go through ``trainer.measure.run_frames``, poses kept from the pose model in place
of the model. In decoupled clips the program's phases may rightly see no swing and drop the
setup, so there the still address is taken as the reference and ``core.measures.measure`` is
called for every later picture, with the program's own smoothing.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import estimate as est
from trainer.core import geometry as geo
from trainer.core import rod_check, session
from trainer.core.cues import SWINGING
from trainer.core.landmarks import Landmark
from trainer.core.measures import measure
from trainer.core.records import Handed, Measures, Pose, Rep
from trainer.core.rules import Rules
from trainer.core.setup import Reference, scale_cm_per_px
from trainer.core.trace import quantise
from trainer.estimator_file import shipped
from trainer.lab import truth
from trainer.lab.camera import Camera
from trainer.lab.exam_poses import Seen, load_poses
from trainer.lab.naive import width_turn_deg
from trainer.measure import run_frames

Floats = NDArray[np.float64]
#: The fields of Measures that are scored, and their standard errors.
FIELDS: Final = (
    "shoulder_turn_deg",
    "hip_turn_deg",
    "chest_pitch_deg",
    "head_lateral_cm",
    "head_vertical_cm",
    "hip_lateral_cm",
    "separation_deg",
    "side_tilt_deg",
    "back_gap_cm",
)
SE_FIELDS: Final = tuple(
    name.replace("_deg", "_se_deg").replace("_cm", "_se_cm") for name in FIELDS
)


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
    points: Floats  #: (N, K) by the program without the silhouette: the body points alone
    no_picture: Floats  #: (N, K) by the program without the trunk's picture
    straight: Floats  #: (N, K) the equations alone, no regression: turns from world points
    width_deg: Floats  #: (N,) shoulder turn as the arc cosine of the width's ratio
    no_stature: Floats  #: (N, K) by the program, stature unknown
    unsmoothed: Floats  #: (N, K) by the estimator on each picture's own points
    unsmoothed_se: Floats  #: (N, K) as it states them
    scored: NDArray[np.bool_]  #: (N,) takeaway to top's end, or all after the still address
    events: dict[str, float]
    spans: list[dict[str, Any]]
    reps: list[Rep]
    #: (N,) where a cue may sound: the swing's phases as known live; in a decoupled clip, where no
    #: swing is meant, everything after the still address, as if one were under way
    swinging: NDArray[np.bool_]
    scale: tuple[float, float, float]  #: cm a pixel at the hips: true, with stature, without
    from_behind: bool  #: the pose model has left and right swapped at the address
    hands_off_cm: Floats  #: (N,) the seen middle of the wrists from the true one, in the picture


def read_clip(video: Path) -> Readings:
    """Return a clip's readings beside its truth."""
    told, scene, seen = _kept(video)
    true = truth_rows(told["frames"], told["handed"])
    count = min(len(true), len(seen.t_s))
    seen, true = Seen(seen.t_s[:count], seen.poses[:count]), true[:count]
    rules = Rules(handed=Handed(told["handed"]), stature_cm=told["stature_cm"])
    kind, events, t_s = video.stem.split("-")[0], told["events"], np.array(seen.t_s)
    passed = _straight_pass(seen, rules)
    reference = _reference_at(passed, events["takeaway_s"])
    steps, reps = _run(seen, rules)
    if kind == "decoupled":
        said, se, straight, width = _against(passed, reference, t_s)
        points = _bare_against(passed, reference, t_s, outline=None, trunk_deg=None)
        no_picture = _bare_against(passed, reference, t_s, trunk_deg=None)
        unknown = np.full_like(said, np.nan)
        scored = swinging = t_s > events["takeaway_s"]
    else:
        said, se = _rows(s.measures for s in steps)
        points, _ = _rows(s.measures for s in _run(seen.without_outlines(), rules)[0])
        no_picture, _ = _rows(s.measures for s in _run(seen.without_trunks(), rules)[0])
        unknown, _ = _rows(s.measures for s in _run(seen, replace(rules, stature_cm=None))[0])
        straight, _ = _rows(step.measures for step, _ in passed)
        width = np.array([_width_deg(step.pose, held) for step, held in passed])
        scored = (t_s >= events["takeaway_s"]) & (t_s <= events["top_end_s"] + 1e-6)
        swinging = np.array([s.phase in SWINGING for s in steps])
    unsmoothed, unsmoothed_se = _unsmoothed(seen, reference)
    return Readings(
        name=video.stem,
        kind=kind,
        scene=scene,
        t_s=t_s,
        true=true,
        said=said,
        se=se,
        points=points,
        no_picture=no_picture,
        straight=straight,
        width_deg=width,
        no_stature=unknown,
        unsmoothed=unsmoothed,
        unsmoothed_se=unsmoothed_se,
        scored=scored,
        swinging=swinging,
        events=events,
        spans=told["about"]["others"],
        reps=reps,
        scale=_scales(told, reference, scene),
        from_behind=reference is not None and seen_from_behind(reference.image_px),
        hands_off_cm=hands_off_cm(seen, told, true_cm_per_px(told, _camera(told, scene))),
    )


def read_rod(video: Path) -> tuple[float | None, float]:
    """Return what the program's rod check read of a clip, and the mean truth over the hold."""
    told, _, seen = _kept(video)
    rules = Rules(handed=Handed(told["handed"]), stature_cm=told["stature_cm"])
    state = rod_check.RodState()
    for pose, (step, _) in zip(seen.poses, _straight_pass(seen, rules), strict=True):
        read = None if pose is None else quantise(pose)
        state = rod_check.step(state, step.t_s, read, step.pose, rules, shipped())
    held = [f for f in told["frames"] if f["t_s"] >= told["events"]["top_s"]]
    true_deg = float(np.mean([frame["shoulder_turn_deg"] for frame in held]))
    return None if state.reading is None else state.reading.read_deg, true_deg


def _kept(video: Path) -> tuple[dict[str, Any], dict[str, Any], Seen]:
    told = json.loads(video.with_suffix(".truth.json").read_text(encoding="utf-8"))
    scene = json.loads(video.with_suffix(".scene.json").read_text(encoding="utf-8"))
    return told, scene, load_poses(video.with_suffix(".poses.npz"))


def truth_rows(frames: list[dict[str, Any]], handed: str) -> Floats:
    """Return a truth file's frames as (N, K), in the order of FIELDS.

    An older file has no side tilt, which its joints tell, and no back gap, which is then NaN.
    """
    joints = {
        name: np.array([frame["joints_m"][name] for frame in frames])
        for name in ("left_hip", "right_hip", "left_shoulder", "right_shoulder")
    }
    tilt = truth.lean(joints, handed)["side_tilt_deg"]
    return np.array(
        [
            [
                frame["shoulder_turn_deg"],
                frame["hip_turn_deg"],
                frame["chest_pitch_deg"],
                *frame["head_drift_cm"],
                frame["hip_drift_cm"],
                frame["shoulder_turn_deg"] - frame["hip_turn_deg"],
                frame.get("side_tilt_deg", tilt[row]),
                _number(frame.get("back_gap_cm")),
            ]
            for row, frame in enumerate(frames)
        ],
        dtype=np.float64,
    )


def true_cm_per_px(told: dict[str, Any], camera: Camera) -> float:
    """Return how many cm a pixel spans, upright, at the middle of the hips at the address."""
    joints = told["frames"][0]["joints_m"]
    hips = (np.array(joints["left_hip"]) + np.array(joints["right_hip"])) / 2
    ends = camera.project(np.array([hips, hips + np.array([0.0, 0.01, 0.0])]))
    return 1.0 / float(np.linalg.norm(ends[1] - ends[0]))


def seen_from_behind(points_px: Floats) -> bool:
    """Tell whether points (33, 2) put the left shoulder at picture left, as on a turned back."""
    left, right = points_px[Landmark.LEFT_SHOULDER], points_px[Landmark.RIGHT_SHOULDER]
    return bool(left[0] < right[0])


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

    def swings(self, handed: Handed) -> None:
        pass

    def hold(self, locked: bool) -> None:
        pass

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
    poses = [step.pose for step, _ in passed]
    said, se = _rows(_measured(poses, t_s, reference, ready))
    straight, _ = _rows(_measured(poses, t_s, reference, None))
    width = np.array([_width_deg(step.pose, reference) for step, _ in passed])
    return said, se, straight, width


def _bare_against(
    passed: list[tuple[Any, Reference | None]],
    reference: Reference | None,
    t_s: Floats,
    **less: None,
) -> Floats:
    """Return what is said (N, K) when neither pose nor reference has what ``less`` names."""
    bare = None if reference is None else replace(reference, **less)
    ready = None if bare is None else est.prepare(shipped(), bare)
    poses = [None if step.pose is None else replace(step.pose, **less) for step, _ in passed]
    return _rows(_measured(poses, t_s, bare, ready))[0]


def _unsmoothed(seen: Seen, reference: Reference | None) -> tuple[Floats, Floats]:
    ready = None if reference is None else est.prepare(shipped(), reference)
    return _rows(_measured(seen.poses, np.array(seen.t_s), reference, ready))


def _measured(
    poses: Sequence[Pose | None],
    t_s: Floats,
    reference: Reference | None,
    ready: est.Prepared | None,
) -> Iterator[Measures]:
    line_cm = Rules().ball_line_cm
    for pose, at in zip(poses, t_s.tolist(), strict=True):
        yield measure(pose, at, reference, ready, ball_line_cm=line_cm)


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
    if pose is None or reference is None:
        return float("nan")
    return width_turn_deg(pose, reference)
