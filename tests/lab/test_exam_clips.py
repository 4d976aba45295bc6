"""The accuracy report's clips, what is kept of them and how they are read."""

import argparse
import dataclasses
import json
import math

import numpy as np
import pytest

from trainer.core.measures import measure
from trainer.core.records import Outline, Pose
from trainer.lab import accuracy, crowd, exam, exam_poses, exam_read, exam_rod
from trainer.lab.camera import Camera
from trainer.lab.exam_read import FIELDS
from trainer.lab.motion import DOFS

NAN = float("nan")


@pytest.mark.parametrize("seed", range(exam.FIRST_SEED, exam.FIRST_SEED + 12))
def test_clips_are_short_and_still_first(seed):
    for clip in exam.clips_of(seed):
        rep = clip.motion.reps[0]
        assert rep.takeaway_s - rep.setup_s >= 1.25
        assert clip.motion.t_s[-1] <= 6.6
        assert max(clip.camera.size_wh) == exam.LONG_PX
        assert all(side % 2 == 0 for side in clip.camera.size_wh)
        still = clip.motion.t_s < rep.takeaway_s
        assert np.ptp(clip.motion.dofs["shoulder_turn_deg"][still]) == 0.0
        assert np.ptp(clip.motion.dofs["arm_lift_deg"][still]) < 2.0


def test_in_a_part_of_the_body_alone_nothing_else_moves():
    seen = set()
    for seed in range(exam.FIRST_SEED, exam.FIRST_SEED + 6):
        clip = exam.clips_of(seed)[1]
        span = clip.others[0]
        part = (clip.motion.t_s > span.from_s) & (clip.motion.t_s <= span.to_s)
        moved = {name for name in DOFS if np.ptp(clip.motion.dofs[name][part]) > 3.0}
        turns = moved & {"shoulder_turn_deg", "hip_turn_deg"}
        seen.add(span.what)
        assert (
            turns
            == {
                "arms alone": set(),
                "tilt alone": set(),
                "turn without hips": {"shoulder_turn_deg"},
                "hips without turn": {"hip_turn_deg"},
            }[span.what]
        )
    assert seen == set(exam.ALONE)


def test_people_of_the_report_are_not_those_of_the_fit(capsys):
    options = argparse.Namespace(seed=1, people=10, unseen_people=0, rod_people=0)
    assert accuracy.run(options) == 2
    said = capsys.readouterr().err
    assert "100000 up were wanted" in said
    assert "Leave --seed out" in said


def test_a_person_and_their_clips_are_the_same_every_time():
    first, again = exam.clips_of(exam.FIRST_SEED), exam.clips_of(exam.FIRST_SEED)
    for one, other in zip(first, again, strict=True):
        np.testing.assert_array_equal(
            one.motion.dofs["shoulder_turn_deg"], other.motion.dofs["shoulder_turn_deg"]
        )
    assert exam.scene_of(crowd.sitter(exam.FIRST_SEED))["seed"] == exam.FIRST_SEED


def test_kept_poses_come_back_value_for_value_with_outline_and_trunk(tmp_path):
    rng = np.random.default_rng(0)
    outline = Outline(row_px=np.arange(6) * 90.0, left_px=rng.normal(size=6), right_px=np.ones(6))
    outline.left_px[2] = NAN
    first, second = (pose_of(rng.normal(size=(33, 7))) for _ in range(2))
    first = dataclasses.replace(
        first, outline=outline, trunk_deg=rng.normal(size=(2, 3)), hand_motion=0.37
    )
    seen = exam_poses.Seen((0.0, 0.04, 0.08), (first, None, second))
    path = tmp_path / "a.poses.npz"
    exam_poses.save_poses(path, seen, (960, 540), "key")
    again = exam_poses.load_poses(path)
    assert again.t_s == seen.t_s
    assert again.poses[1] is None
    assert again.poses[2].outline is None
    assert again.poses[2].trunk_deg is None
    assert (again.poses[0].hand_motion, again.poses[2].hand_motion) == (0.37, None)
    for name in ("image_px", "depth_px", "world_m", "visibility", "trunk_deg"):
        np.testing.assert_array_equal(getattr(again.poses[0], name), getattr(first, name))
    for name in ("row_px", "left_px", "right_px"):
        np.testing.assert_array_equal(getattr(again.poses[0].outline, name), getattr(outline, name))
    assert all(p is None or p.outline is None for p in again.without_outlines().poses)
    assert all(p is None or p.trunk_deg is None for p in again.without_trunks().poses)
    assert again.without_trunks().poses[0].outline is not None


def test_poses_kept_before_outlines_were_still_load(tmp_path):
    points = np.random.default_rng(0).normal(size=(2, 33, 7))
    points[1] = NAN
    path = tmp_path / "a.poses.npz"
    np.savez_compressed(path, key="k", size_wh=(960, 540), t_s=np.array([0.0, 0.04]), points=points)
    seen = exam_poses.load_poses(path)
    assert seen.t_s == (0.0, 0.04)
    assert seen.poses[1] is None
    assert seen.poses[0].size_wh == (960, 540)
    assert seen.poses[0].outline is None
    assert seen.poses[0].trunk_deg is None
    np.testing.assert_array_equal(seen.poses[0].image_px, points[0, :, :2])


def test_a_reading_that_was_not_made_is_nan_in_every_column():
    values, errors = exam_read._rows([measure(None, 0.0, None)])
    assert np.isnan(values).all()
    assert np.isnan(errors).all()
    assert values.shape == errors.shape == (1, len(FIELDS))


def test_the_true_scale_is_that_of_a_pinhole_camera():
    camera = Camera(size_wh=(960, 540), hfov_deg=70.0, distance_m=3.0, height_m=1.0)
    told = {"frames": [{"joints_m": {"left_hip": [0.1, 1.0, 0.0], "right_hip": [-0.1, 1.0, 0.0]}}]}
    # similar triangles: pixels = focal length x size / distance, here 300 cm on the axis
    wanted = 300.0 / (480.0 / math.tan(math.radians(35.0)))
    assert exam_read.true_cm_per_px(told, camera) == pytest.approx(wanted, rel=1e-6)


def test_hands_are_as_far_off_as_the_picture_shows():
    points = np.zeros((1, 33, 7))
    points[0, 15, :2], points[0, 16, :2] = (110.0, 200.0), (104.0, 208.0)
    frame = {"joints_px": {"left_wrist": [100.0, 200.0], "right_wrist": [108.0, 200.0]}}
    pose = pose_of(points[0])
    seen = exam_poses.Seen((0.0, 0.1), (pose, None))
    off = exam_read.hands_off_cm(seen, {"frames": [frame, frame]}, 0.5)
    # middles (107, 204) and (104, 200): a 3-4-5 triangle of pixels, half a centimetre each
    assert off[0] == pytest.approx(2.5)
    assert math.isnan(off[1])


def pose_of(row):
    return Pose(
        t_s=0.0,
        size_wh=(960, 540),
        image_px=row[:, :2],
        depth_px=row[:, 2],
        world_m=row[:, 3:6],
        visibility=row[:, 6],
    )


def test_pictures_are_in_the_shape_of_the_persons_own_camera():
    shapes = set()
    for seed in range(exam.FIRST_SEED, exam.FIRST_SEED + 60):
        camera = crowd.sitter(seed).camera
        width, height = exam.size_wh(camera)
        assert width / height == pytest.approx(camera.size_wh[0] / camera.size_wh[1], rel=0.01)
        shapes.add(width > height)
    assert shapes == {True, False}


def test_natural_clips_are_a_third_at_full_speed_and_a_quarter_slow():
    speeds = [exam.speed_of(seed) for seed in range(12)]
    assert (speeds.count("full"), speeds.count("slow")) == (4, 3)
    for seed in range(exam.FIRST_SEED, exam.FIRST_SEED + 12):
        rep = exam.clips_of(seed)[0].motion.reps[0]
        low, high = exam.BACKSWING_S[exam.speed_of(seed)]
        assert low <= rep.top_s - rep.takeaway_s <= high
        swung_through = exam.clips_of(seed)[0].motion.dofs["hip_turn_deg"][-1] < -20
        assert swung_through == (exam.speed_of(seed) == "full")


def test_in_another_style_only_the_shading_differs():
    (usual, _), (other, _) = (
        exam.clips_of(exam.FIRST_SEED, unseen_style=style) for style in (False, True)
    )
    assert other.room.style == "unseen" != usual.room.style
    assert other.camera == usual.camera
    assert other.outfit == usual.outfit
    for name in DOFS:
        np.testing.assert_array_equal(other.motion.dofs[name], usual.motion.dofs[name])


def test_a_rod_check_turns_to_ninety_and_holds_it_for_the_programs_second():
    for seed in range(exam.FIRST_SEED, exam.FIRST_SEED + 4):
        rod = exam_rod.clips_of(seed)[0]
        turn, t_s = rod.motion.dofs["shoulder_turn_deg"], rod.motion.t_s
        held = turn > 89.9
        assert np.ptp(t_s[held]) >= 1.2
        assert turn.max() == pytest.approx(90.0)
        assert np.all(rod.motion.dofs["trail_free"] == 1.0)


def test_the_same_swing_again_is_nearly_the_same():
    first, again = exam.clips_of(300_003)[0], exam_rod.clips_of(300_003)[1:]
    assert len(again) == exam_rod.AGAIN
    turns = [clip.motion.dofs["shoulder_turn_deg"].max() for clip in (first, *again)]
    assert len({round(turn, 6) for turn in turns}) == 3
    assert np.ptp(turns) < 20
    assert {clip.camera for clip in again} == {first.camera}


def test_a_truth_without_tilt_and_back_is_read_from_its_joints():
    joints = {
        "left_hip": [0.1, 0.9, 0.0],
        "right_hip": [-0.1, 0.9, 0.0],
        "left_shoulder": [0.1, 1.4, 0.0],
        "right_shoulder": [-0.3, 1.4, 0.0],
    }
    frame = {
        "shoulder_turn_deg": 50.0,
        "hip_turn_deg": 20.0,
        "chest_pitch_deg": 1.0,
        "head_drift_cm": [2.0, 3.0],
        "hip_drift_cm": 4.0,
        "joints_m": joints,
    }
    (row,) = exam_read.truth_rows([frame], "right")
    named = dict(zip(FIELDS, row, strict=True))
    assert named["separation_deg"] == 30.0
    # mid-shoulder is 0.1 m further from the target (at +x) and 0.5 m higher than mid-hip
    assert named["side_tilt_deg"] == pytest.approx(math.degrees(math.atan(0.1 / 0.5)))
    assert math.isnan(named["back_gap_cm"])
    (row,) = exam_read.truth_rows([frame | {"side_tilt_deg": 7.0, "back_gap_cm": -1.5}], "right")
    assert row[-2:].tolist() == [7.0, -1.5]


def test_a_clip_of_an_older_exam_is_not_taken_for_todays(tmp_path):
    clip = exam.clips_of(exam.FIRST_SEED)[0]
    events = {n: round(v, 4) for n, v in dataclasses.asdict(clip.motion.reps[0]).items()}
    frames = [{"t_s": 0.0, "back_gap_cm": 1.0}] * len(clip.motion.t_s)
    told = {"events": events, "size_wh": list(clip.camera.size_wh), "frames": frames}
    path = tmp_path / "a.truth.json"
    assert not exam.is_of(path, clip)
    path.write_text(json.dumps(told), encoding="utf-8")
    assert exam.is_of(path, clip)
    for wrong in (
        {"frames": [{"t_s": 0.0}] * len(frames)},
        {"frames": frames[:-1]},
        {"size_wh": [1280, 720]},
        {"events": events | {"top_s": 9.0}},
    ):
        path.write_text(json.dumps(told | wrong), encoding="utf-8")
        assert not exam.is_of(path, clip)


def test_more_people_in_another_style_than_there_are_is_refused(capsys):
    options = argparse.Namespace(seed=exam.FIRST_SEED, people=4, unseen_people=5, rod_people=0)
    assert accuracy.run(options) == 2
    said = capsys.readouterr().err
    assert "At most 4 were wanted" in said


def test_a_front_taken_for_a_back_is_told_by_the_side_of_the_left_shoulder():
    points = np.zeros((33, 2))
    points[11, 0], points[12, 0] = 500.0, 460.0  # facing: the player's left is at picture right
    assert not exam_read.seen_from_behind(points)
    assert exam_read.seen_from_behind(points * [-1.0, 1.0])
