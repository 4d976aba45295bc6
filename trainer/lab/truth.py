"""What is true of a rendered clip: joints, measures and events, frame by frame. Pure numpy.

Joints are named by the player's own left and right. World axes: metres, x to picture right, y
up, z towards the camera, origin on the floor under the stance (trainer.lab.body). The target of
a right-hander is at +x, that of a left-hander at -x. Pixels are (right, down), not mirrored.

Measures, all zero at setup (the mean of the frames from ``setup_s`` to ``takeaway_s`` of the
clip's first rep), positive away from the target or up:

- shoulder turn: the line from the trail to the lead shoulder-joint centre, projected on the
  floor; its angle runs on past 90. Hip turn: the same of the hip-joint centres. Thorax turn: the
  same of the upper thorax's own side axis, free of the shoulder blades.
- head drift: the skull centre between the ears, sideways and up. Hip drift: the middle of the
  hip joints, sideways.
- side tilt is not set to zero: how far the line from mid-hip to mid-shoulder leans, seen square on.
- back gap: the trunk's edge on the target side, clothes included, from the vertical through the
  lead shoulder's joint at setup, in the picture, with the hips' own centimetres a pixel; positive
  away from the target. The edge is the farthest point of the trunk's surface in the band of the
  upper back (``BACK_BAND``). Only clips drawn while the edge was watched have it.
- chest pitch is not set to zero: the angle of the upper thorax's forward axis above the
  horizontal, negative when the chest faces the floor. The forward axis is the body's own front
  when standing upright at rest, where the pitch is 0.

Clips in which tags are worn also have, for every frame:

- side bend of the thorax and of the pelvis, zero at setup: the side axis' angle out of the level
  plane, positive with the lead end up; pelvis turn and pelvis pitch: of the pelvis bone, as the
  thorax turn and the chest pitch are of the thorax bone.
- each tag's middle, facing and up (unit vectors in the world), the corners of its black square
  in the picture, from the printed tag's own top left on clockwise, and the share of the square
  that nothing hides. A pixel's middle lies half a pixel from its corner, so a reader that counts
  pixel middles as whole numbers finds corners half a pixel less.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.lab import rotations as rot
from trainer.lab.body import Body, nose_tip, skull_centre
from trainer.lab.camera import Camera
from trainer.lab.cards import Placed
from trainer.lab.figure import Posed, flip
from trainer.lab.motion import Motion

Floats = NDArray[np.float64]

TagTruth = dict[str, Any]

TRUTH_VERSION = 1
#: The band of the upper back, as shares of the way from mid-hip to mid-shoulder.
BACK_BAND = (0.45, 0.85)
#: Joint name without its side -> the bone whose head it is.
BONES = {
    "shoulder": "upperarm01",
    "elbow": "lowerarm01",
    "wrist": "wrist",
    "hip": "upperleg01",
    "knee": "lowerleg01",
    "ankle": "foot",
    "toe": "toe2-1",
}


def joints(body: Body, posed: Posed) -> dict[str, Floats]:
    """Return the true joints in the scene, each (T, 3) metres, left and right the player's."""
    found: dict[str, Floats] = {}
    sides = {".L": "right", ".R": "left"} if posed.mirrored else {".L": "left", ".R": "right"}
    for name, bone in BONES.items():
        for suffix, side in sides.items():
            found[f"{side}_{name}"] = posed.joints[:, body.bone(f"{bone}{suffix}")]
    ears = body.vertices[body.part_vertices("head")]
    points = {
        "nose": nose_tip(body),
        "head": skull_centre(body),
        f"{sides['.L']}_ear": ears[ears[:, 0].argmax()],
        f"{sides['.R']}_ear": ears[ears[:, 0].argmin()],
    }
    index = body.bone("head")
    for name, rest in points.items():
        offset = rot.apply(posed.rotations[:, index], rest - body.heads[index])
        found[name] = posed.joints[:, index] + offset
    found["neck"] = posed.joints[:, body.bone("neck01")]
    found["club_grip"], found["club_head"] = posed.club[:, 0], posed.club[:, 1]
    return {name: flip(points_m, posed) for name, points_m in found.items()}


def measures(
    joints_m: Mapping[str, Floats], handed: str, setup: NDArray[np.bool_]
) -> dict[str, Floats]:
    """Return the measures that follow from joints alone (see the module), each (T,).

    ``setup`` (T,) marks the frames whose mean is zero.
    """
    lead, trail, away = ("left", "right", -1.0) if handed == "right" else ("right", "left", 1.0)
    hips = (joints_m["left_hip"] + joints_m["right_hip"]) / 2
    return {
        "shoulder_turn_deg": turn_deg(
            joints_m[f"{lead}_shoulder"] - joints_m[f"{trail}_shoulder"], away, setup
        ),
        "hip_turn_deg": turn_deg(joints_m[f"{lead}_hip"] - joints_m[f"{trail}_hip"], away, setup),
        "head_lateral_cm": _from_setup(away * joints_m["head"][:, 0] * 100, setup),
        "head_up_cm": _from_setup(joints_m["head"][:, 1] * 100, setup),
        "hip_drift_cm": _from_setup(away * hips[:, 0] * 100, setup),
    }


def lean(joints_m: Mapping[str, Floats], handed: str) -> dict[str, Floats]:
    """Return the side tilt, (T,) degrees: mid-hip to mid-shoulder against upright, seen square on.

    Positive when the shoulders are further away from the target than the hips; not set to zero.
    """
    away = -1.0 if handed == "right" else 1.0
    hips = (joints_m["left_hip"] + joints_m["right_hip"]) / 2
    chest = (joints_m["left_shoulder"] + joints_m["right_shoulder"]) / 2
    up = chest - hips
    return {"side_tilt_deg": np.degrees(np.arctan2(away * up[:, 0], up[:, 1]))}


def back_edge_px(trunk_px: Floats, hips_px: Floats, chest_px: Floats, handed: str) -> float | None:
    """Return the x of the trunk's edge on the target side in the band of the upper back.

    ``trunk_px`` (P, 2) are points of the trunk's surface, ``hips_px`` and ``chest_px`` (2,) the
    true middles of hip and shoulder joints. None when no point lies in the band.
    """
    up = (hips_px[1] - trunk_px[:, 1]) / (hips_px[1] - chest_px[1])
    band = trunk_px[(up > BACK_BAND[0]) & (up < BACK_BAND[1]), 0]
    if not band.size:
        return None
    return float(band.max() if handed == "right" else band.min())


def cm_per_px(joints_m: Mapping[str, Floats], camera: Camera) -> float:
    """Return how many cm a pixel spans, upright, at mid-hip in the first frame."""
    hips = (joints_m["left_hip"][0] + joints_m["right_hip"][0]) / 2
    ends = camera.project(np.stack([hips, hips + np.array([0.0, 0.1, 0.0])]))
    return float(10.0 / np.linalg.norm(ends[1] - ends[0]))


def turn_deg(line_m: Floats, away: float, setup: NDArray[np.bool_]) -> Floats:
    """Return the turn (T,) of a trail-to-lead line (T, 3) seen from above, from setup."""
    angle = np.unwrap(np.arctan2(line_m[:, 2], -away * line_m[:, 0]))
    return _from_setup(np.degrees(angle), setup)


def thorax_angles(body: Body, posed: Posed, setup: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return thorax turn and chest pitch, each (T,) degrees (see the module)."""
    thorax = posed.rotations[:, body.bone("spine01")]
    turn = turn_deg(thorax[:, :, 0], -1.0, setup)
    return turn, np.degrees(np.arcsin(np.clip(thorax[:, 1, 2], -1, 1)))


def pelvis_angles(body: Body, posed: Posed, setup: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return pelvis turn and pitch, each (T,) degrees (see the module)."""
    pelvis = posed.rotations[:, body.bone("root")]
    turn = turn_deg(pelvis[:, :, 0], -1.0, setup)
    return turn, np.degrees(np.arcsin(np.clip(pelvis[:, 1, 2], -1, 1)))


def side_bend(body: Body, posed: Posed, bone: str, setup: NDArray[np.bool_]) -> Floats:
    """Return how far a bone's lead end has come up since setup, (T,) degrees (see the module)."""
    side = posed.rotations[:, body.bone(bone), 1, 0]
    return _from_setup(np.degrees(np.arcsin(np.clip(side, -1, 1))), setup)


def tags_in(placed: Sequence[Placed], shares: Sequence[float], camera: Camera) -> TagTruth:
    """Return what is true of the tags in one picture, by number, rounded for the file."""
    return {
        str(card.number): {
            "middle_m": [_r(x, 4) for x in card.middle_m],
            "facing": [_r(x, 4) for x in card.facing],
            "up": [_r(-x, 4) for x in card.axes[:, 1]],
            "corners_px": [[_r(x, 2) for x in p] for p in camera.project(card.corners_m)],
            "seen": _r(share, 2),
        }
        for card, share in zip(placed, shares, strict=True)
    }


def record(
    *,
    clip: str,
    body: Body,
    posed: Posed,
    motion: Motion,
    camera: Camera,
    fps: float,
    stature_cm: float,
    about: Mapping[str, Any],
    back_px: Sequence[float | None] | None = None,
    tags: Sequence[TagTruth] | None = None,
) -> dict[str, Any]:
    """Return the whole truth of a clip as plain data, rounded to 0.01 deg, mm and 0.1 px.

    ``back_px`` is ``back_edge_px`` of every frame, known only to who draws them; without it the
    frames say nothing of the back. ``tags`` likewise.
    """
    handed = "left" if posed.mirrored else "right"
    world = joints(body, posed)
    first = motion.reps[0]
    setup = (motion.t_s >= first.setup_s) & (motion.t_s <= first.takeaway_s)
    told = {**measures(world, handed, setup), **lean(world, handed)}
    thorax, pitch = thorax_angles(body, posed, setup)
    pelvis, tilt = pelvis_angles(body, posed, setup)
    bends = [side_bend(body, posed, bone, setup) for bone in ("spine01", "root")]
    pixels = {name: camera.project(points) for name, points in world.items()}
    lead = "left_shoulder" if handed == "right" else "right_shoulder"
    line_px = float(pixels[lead][setup, 0].mean())
    scale = cm_per_px(world, camera) * (-1.0 if handed == "right" else 1.0)
    frames = []
    for k, t_s in enumerate(motion.t_s):
        edge = None if back_px is None else back_px[k]
        back: dict[str, float | None] = {}
        if back_px is not None:
            gap = None if edge is None else _r((edge - line_px) * scale, 2)
            back = {"back_edge_px": None if edge is None else _r(edge, 1), "back_gap_cm": gap}
        worn: TagTruth = {}
        if tags is not None:
            worn = {
                "thorax_side_bend_deg": _r(bends[0][k], 2),
                "pelvis_turn_deg": _r(pelvis[k], 2),
                "pelvis_pitch_deg": _r(tilt[k], 2),
                "pelvis_side_bend_deg": _r(bends[1][k], 2),
                "tags": tags[k],
            }
        frames.append(
            {
                "t_s": round(float(t_s), 4),
                "shoulder_turn_deg": _r(told["shoulder_turn_deg"][k], 2),
                "hip_turn_deg": _r(told["hip_turn_deg"][k], 2),
                "thorax_turn_deg": _r(thorax[k], 2),
                "head_drift_cm": [_r(told["head_lateral_cm"][k], 2), _r(told["head_up_cm"][k], 2)],
                "hip_drift_cm": _r(told["hip_drift_cm"][k], 2),
                "chest_pitch_deg": _r(pitch[k], 2),
                "side_tilt_deg": _r(told["side_tilt_deg"][k], 2),
                **back,
                **worn,
                "joints_m": {n: [_r(x, 3) for x in p[k]] for n, p in world.items()},
                "joints_px": {n: [_r(x, 1) for x in p[k]] for n, p in pixels.items()},
            }
        )
    reps = [{name: round(value, 4) for name, value in asdict(rep).items()} for rep in motion.reps]
    return {
        "truth": TRUTH_VERSION,
        "clip": clip,
        "fps": fps,
        "size_wh": list(camera.size_wh),
        "handed": handed,
        "stature_cm": stature_cm,
        "camera": {k: v for k, v in asdict(camera).items() if k != "size_wh"},
        "events": reps[0],
        "reps": reps,
        "about": dict(about),
        "frames": frames,
    }


def write(path: Path, truth: Mapping[str, Any]) -> None:
    """Write a truth file, one frame a line."""
    head = {name: value for name, value in truth.items() if name != "frames"}
    lines = [json.dumps(frame, separators=(",", ":"), allow_nan=False) for frame in truth["frames"]]
    text = json.dumps(head, separators=(",", ":"))[:-1] + ',"frames":[\n' + ",\n".join(lines)
    path.write_text(text + "\n]}\n", encoding="utf-8")


def _from_setup(values: Floats, setup: NDArray[np.bool_]) -> Floats:
    return values - values[setup].mean()


def _r(value: float, digits: int) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None
