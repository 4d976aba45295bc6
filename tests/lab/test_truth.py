import json
import math

import numpy as np
import pytest

from trainer.lab import truth
from trainer.lab.camera import Camera
from trainer.lab.figure import Figure, mirrored
from trainer.lab.motion import DOFS, Curves, Events, Motion, Pose, Swing, backswing, frame_times

SETUP = np.array([True, True, False, False])


def _line(angle_deg, width=0.38):
    angle = np.radians(angle_deg)
    return np.stack([width * np.cos(angle), 0 * angle, width * np.sin(angle)], axis=-1)


def test_turn_is_the_angle_seen_from_above_and_runs_on_past_ninety():
    line = _line(np.array([4.0, 4.0, 94.0, 124.0]))
    assert np.allclose(truth.turn_deg(line, -1.0, SETUP), [0, 0, 90, 120])


def test_turn_ignores_how_the_line_tilts():
    line = _line(np.array([0.0, 0.0, 45.0, 80.0]))
    line[:, 1] = [0.0, 0.05, -0.2, -0.3]
    assert np.allclose(truth.turn_deg(line, -1.0, SETUP), [0, 0, 45, 80])


@pytest.mark.parametrize(("handed", "side"), [("right", -1), ("left", 1)])
def test_drift_is_positive_away_from_the_target_and_up(handed, side):
    # away from the target is picture left (-x) for a right-hander, picture right for a left-hander
    base = np.zeros((4, 3))
    names = ("left_hip", "right_hip", "left_shoulder", "right_shoulder", "head")
    joints = {name: base.copy() for name in names}
    for name in ("left_hip", "left_shoulder"):
        joints[name][:, 0] += 0.19
    for name in ("right_hip", "right_shoulder"):
        joints[name][:, 0] -= 0.19
    for name in ("left_hip", "right_hip"):
        joints[name][3, 0] += side * 0.09
    joints["head"][3] += [side * 0.05, 0.02, 0.3]
    told = truth.measures(joints, handed, SETUP)
    assert told["hip_drift_cm"][3] == pytest.approx(9.0)
    assert told["head_lateral_cm"][3] == pytest.approx(5.0)
    assert told["head_up_cm"][3] == pytest.approx(2.0)
    assert told["hip_turn_deg"][3] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("bend", "pitch"), [(0.0, 0.0), (30.0, -30.0), (-10.0, 10.0)])
def test_chest_pitch_is_the_forward_axis_above_the_horizontal(body, bend, pitch):
    pose = Pose(trunk_bend_deg=bend, chest_pitch_deg=0.0, side_bend_deg=0.0)
    posed = Figure(body, solve=frozenset()).pose_one(pose)
    _, told = truth.thorax_angles(body, posed, np.array([True]))
    assert told[0] == pytest.approx(pitch)


def test_a_truth_file_reads_back_whole(body, tmp_path):
    curves = Curves(Pose())
    rep = backswing(curves, Swing(), setup_s=0.0, takeaway_s=0.5)
    t_s = frame_times(2.5, 30)
    motion = Motion(t_s, curves.at(t_s), (rep,), curves.start)
    told = truth.record(
        clip="a.mp4",
        body=body,
        posed=Figure(body).pose(motion),
        motion=motion,
        camera=Camera(),
        fps=30.0,
        stature_cm=178.0,
        about={"what": "a test"},
    )
    path = tmp_path / "a.truth.json"
    truth.write(path, told)
    back = json.loads(path.read_text(encoding="utf-8"))
    assert back["truth"] == 1
    assert back["handed"] == "right"
    assert back["size_wh"] == [1280, 720]
    assert len(back["frames"]) == 75
    assert back["reps"] == [back["events"]]
    frame = back["frames"][60]
    assert set(frame) == {
        "t_s",
        "shoulder_turn_deg",
        "hip_turn_deg",
        "thorax_turn_deg",
        "head_drift_cm",
        "hip_drift_cm",
        "chest_pitch_deg",
        "side_tilt_deg",
        "joints_m",
        "joints_px",
    }
    seen = Camera().project(np.array(frame["joints_m"]["head"]))
    assert math.dist(seen, frame["joints_px"]["head"]) < 0.5  # joints are rounded to a millimetre


@pytest.mark.parametrize(("handed", "edge"), [("right", 300.0), ("left", 180.0)])
def test_the_backs_edge_is_the_farthest_point_on_the_target_side_within_the_band(handed, edge):
    hips, chest = np.array([240.0, 400.0]), np.array([240.0, 200.0])
    # rows between 0.45 and 0.85 of the way up from 400 to 200: from 310 to 230
    trunk = np.array([[300.0, 300.0], [180.0, 240.0], [500.0, 205.0], [20.0, 390.0]])
    assert truth.back_edge_px(trunk, hips, chest, handed) == edge
    assert truth.back_edge_px(trunk[2:], hips, chest, handed) is None


@pytest.mark.parametrize(("handed", "sign"), [("right", -1.0), ("left", 1.0)])
def test_the_back_gap_is_counted_from_the_lead_shoulder_away_from_the_target(body, handed, sign):
    pose = Pose()
    dofs = {name: np.full(3, getattr(pose, name)) for name in DOFS}
    motion = Motion(np.arange(3) / 30, dofs, (Events(
        setup_s=0.0, takeaway_s=0.05, top_s=0.1, top_end_s=0.1),), pose)  # fmt: skip
    posed = Figure(body).pose(motion)
    if handed == "left":
        posed = mirrored(posed)
    camera = Camera(size_wh=(960, 540), hfov_deg=70.0, distance_m=3.0, height_m=1.0)
    joints = truth.joints(body, posed)
    lead = "left_shoulder" if handed == "right" else "right_shoulder"
    line = camera.project(joints[lead])[0, 0]
    told = truth.record(
        clip="a.mp4", body=body, posed=posed, motion=motion, camera=camera, fps=30.0,
        stature_cm=178.0, about={}, back_px=[line + sign * 20, None, line],
    )  # fmt: skip
    gaps = [frame["back_gap_cm"] for frame in told["frames"]]
    # a pinhole: at the hips' distance d a pixel spans d / f, f = 480 / tan 35 degrees
    hips = (joints["left_hip"][0] + joints["right_hip"][0]) / 2
    pixel_cm = 100 * (3.0 - hips[2]) * math.tan(math.radians(35)) / 480
    assert gaps[0] == pytest.approx(20 * pixel_cm, abs=0.05)
    assert gaps[1] is None
    assert gaps[2] == pytest.approx(0.0, abs=0.01)
