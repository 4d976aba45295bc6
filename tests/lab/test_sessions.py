"""Whole rendered sessions: their events, and what is kept of them for the walk-throughs."""

import json

import numpy as np
import pytest

from trainer.core.records import Pose
from trainer.core.trace import TraceLine, parse_header, parse_lines
from trainer.lab import truth, walked
from trainer.lab.exam_poses import Seen
from trainer.lab.figure import Figure
from trainer.lab.session_clips import SESSIONS
from trainer.lab.sessions import HIP_SHARE, OUT_CM, golfer_at_home, slow_motion
from trainer.settings import rules_from_values


@pytest.mark.parametrize("name", SESSIONS)
def test_a_session_goes_on_in_order_from_walking_in_to_walking_out(name):
    clip = SESSIONS[name](1, 5.0)
    reps, spans = clip.motion.reps, clip.others
    times = [t for rep in reps for t in (rep.setup_s, rep.takeaway_s, rep.top_s, rep.top_end_s)]
    assert times == sorted(times)
    assert (spans[0].what, spans[-1].what) == ("walks in", "walks out")
    assert spans[0].to_s < reps[0].setup_s
    assert reps[-1].top_end_s < spans[-1].from_s <= spans[-1].to_s
    assert spans[-1].to_s == pytest.approx(clip.motion.t_s[-1], abs=0.4)
    for span in spans:  # nothing else goes on while a rep is made
        if not span.what.startswith("pause at"):
            for rep in reps:
                assert span.to_s <= rep.setup_s + 1e-6 or span.from_s >= rep.top_end_s


def test_sessions_have_ten_reps_and_more_good_and_bad():
    bay = [SESSIONS[f"session-bay-{n}"](1, 2.0) for n in (1, 2, 3)]
    assert [len(clip.motion.reps) for clip in bay] == [4, 4, 4]
    assert [clip.handed for clip in bay] == ["right", "left", "right"]
    assert len(golfer_at_home(1).reps) == 11
    assert len(slow_motion(1).reps) == 10


def test_the_player_begins_and_ends_out_of_the_picture_and_swings_as_asked(body):
    clip = SESSIONS["session-home"](1, 10.0)
    joints = truth.joints(body, Figure(body, solve=clip.solve).pose(clip.motion))
    chest = (joints["left_shoulder"] + joints["right_shoulder"]) / 2
    width = clip.camera.size_wh[0]
    across = clip.camera.project(chest)[:, 0]
    assert across[0] < 0
    assert across[-1] < 0
    seen = (across > 0) & (across < width)
    inside = (clip.motion.t_s > 2.5) & (clip.motion.t_s < clip.others[-1].from_s)
    assert seen[inside].all()
    hips = (joints["left_hip"] + joints["right_hip"]) / 2
    assert hips[0, 0] == pytest.approx(-OUT_CM / 100, abs=0.05)
    speed = np.linalg.norm(np.diff(hips, axis=0), axis=-1) * 10
    assert speed.max() < 2.0  # metres a second: nobody is thrown about
    for rep in clip.motion.reps:
        setup = (clip.motion.t_s >= rep.setup_s) & (clip.motion.t_s <= rep.takeaway_s)
        turn = truth.measures(joints, "right", setup)["shoulder_turn_deg"]
        asked = 64.0 if rep in (clip.motion.reps[row] for row in (2, 5, 9)) else 92.0
        top = np.searchsorted(clip.motion.t_s, (rep.top_s + rep.top_end_s) / 2)
        # ten pictures a second: the nearest may lie 50 ms off a top that lasts 150
        assert turn[top] == pytest.approx(asked, abs=1.0)


def test_a_checkpoint_rep_pauses_where_it_says():
    session = slow_motion(1)
    motion = session.motion(20.0)
    pauses = [span for span in session.spans if span.what == f"pause at {HIP_SHARE:.2f}"]
    assert len(pauses) == 9  # one rep of the ten goes past it
    for span in pauses:
        inside = (motion.t_s > span.from_s) & (motion.t_s < span.to_s)
        assert np.ptp(motion.dofs["arm_lift_deg"][inside]) < 1.0  # standing sway only


def test_a_kept_trace_gives_back_every_reading_and_nothing_that_was_decided():
    rng = np.random.default_rng(4)
    poses = tuple(
        None
        if row == 1
        else Pose(
            t_s=row / 15,
            size_wh=(640, 360),
            image_px=rng.uniform(0, 640, (33, 2)),
            depth_px=rng.normal(0, 50, 33),
            world_m=rng.normal(0, 0.4, (33, 3)),
            visibility=rng.uniform(0, 1, 33),
            trunk_deg=rng.normal(0, 30, (2, 3)),
        )
        for row in range(3)
    )
    facts = {"handed": "left", "stature_cm": 171.0, "clip": "a.mp4"}
    lines = walked.trace_of(Seen((0.0, 1 / 15, 2 / 15), poses), facts, "model.task")
    header = parse_header(lines[0])
    rules = rules_from_values(header["rules"], "test")
    assert (rules.handed.value, rules.stature_cm) == ("left", 171.0)
    *read, count = parse_lines(lines[1:])
    assert count == 3
    for line, pose in zip(read, poses, strict=True):
        assert isinstance(line, TraceLine)
        assert line.result == {}
        if pose is None:
            assert line.pose is None
            continue
        assert np.abs(line.pose.image_px - pose.image_px).max() <= 0.05 + 1e-9
        assert np.abs(line.pose.world_m - pose.world_m).max() <= 0.0005 + 1e-9
        assert np.abs(line.pose.trunk_deg - pose.trunk_deg).max() <= 0.05 + 1e-9


def test_a_reps_truth_is_counted_from_its_own_setup():
    t_s = [row / 10 for row in range(60)]
    drift = [2.0 if t < 3.0 else 5.0 for t in t_s]  # stands elsewhere for the second rep
    frames = [
        {
            "t_s": t,
            "shoulder_turn_deg": 80.0 if 1.0 <= t < 2.0 or 4.0 <= t < 5.0 else 0.0,
            "thorax_turn_deg": 0.0,
            "hip_turn_deg": 0.0,
            "hip_drift_cm": d,
            "head_drift_cm": [d - (4.0 if 4.0 <= t < 5.0 else 0.0), 1.0],
        }
        for t, d in zip(t_s, drift, strict=True)
    ]
    events = [
        {"setup_s": s, "takeaway_s": s + 0.9, "top_s": s + 1.2, "top_end_s": s + 1.8}
        for s in (0.0, 3.0)
    ]
    facts = {"clip": "a", "fps": 10, "size_wh": [4, 4], "handed": "right", "stature_cm": 170}
    whole = {**facts, "frames": frames, "reps": events, "about": {"what": "w", "others": []}}
    first, second = walked.short_truth(json.loads(json.dumps(whole)))["reps"]
    assert (first["shoulder_turn_deg"], second["shoulder_turn_deg"]) == (80.0, 80.0)
    assert (first["hip_drift_cm"], second["hip_drift_cm"]) == (0.0, 0.0)
    assert (first["max_head_lateral_cm"], second["max_head_lateral_cm"]) == (0.0, -4.0)
