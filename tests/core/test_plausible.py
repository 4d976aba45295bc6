"""Which poses are believed: never a body that cannot be, always a golfer at full speed."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import SETUP, TOP, Body, Script, View, pose_of, poses
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.landmarks import Landmark as L
from trainer.core.plausible import Rules, Trust, judge
from trainer.core.records import Handed


def run(sequence):
    """Return the reasons, one for each pose; None where it is trusted."""
    trust, reasons = Trust(), []
    for pose in sequence:
        trust, reason = judge(trust, pose)
        reasons.append(reason)
    return reasons


def moved(pose, by_px, rows=slice(None)):
    image = pose.image_px.copy()
    image[rows] += by_px
    return replace(pose, image_px=image)


def standing(t_s=0.0):
    return pose_of(SETUP, View(), t_s)


@pytest.mark.parametrize("hz", [15, 30, 60])
@pytest.mark.parametrize("handed", list(Handed))
def test_a_swing_at_full_speed_is_believed_from_end_to_end(hz, handed):
    # Down in 0.15 s: the hands go 150 degrees of arc, faster than any golfer's.
    script = Script().hold(1.0).move(TOP, 0.5).move(Body(arc_deg=-20.0), 0.15)
    script.move(Body(arc_deg=-150.0, turn_deg=-80.0, hip_turn_deg=-60.0, hips_cm=-15.0), 0.2)
    seen = [pose for _, pose in poses(script, View(hz=hz, handed=handed, noise_px=3.0))]
    hands = np.array([pose.image_px[L.LEFT_WRIST] for pose in seen])
    fastest_px_s = np.linalg.norm(np.diff(hands, axis=0), axis=1).max() * hz
    assert fastest_px_s > 2500  # the test is worth nothing with slow hands
    assert set(run(seen)) == {None}


@given(hz=st.integers(15, 60), speed_px_s=st.floats(3000, 6000), seed=st.integers(0, 99))
def test_hands_alone_are_believed_at_any_speed_and_direction(hz, speed_px_s, seed):
    rng = np.random.default_rng(seed)
    sequence = [standing(i / hz) for i in range(10)]
    for i in range(10, 20):
        step = rng.normal(size=2)
        step *= speed_px_s / hz / np.linalg.norm(step) / 2
        # wrists and hands only, kept inside the picture
        sequence.append(moved(standing(i / hz), np.clip(step, -150, 150), slice(15, 23)))
    assert set(run(sequence)) == {None}


@pytest.mark.parametrize("hz", [15, 30])
@pytest.mark.parametrize("walk_m_s", [-2.0, 1.4, 2.0])
def test_a_person_walking_in_is_believed(hz, walk_m_s):
    script = Script(Body(walk_cm=-100 * np.sign(walk_m_s)))
    script.move(Body(walk_cm=100 * np.sign(walk_m_s)), 2.0 / abs(walk_m_s))
    assert set(run([pose for _, pose in poses(script, View(hz=hz, noise_px=3.0))])) == {None}


def test_a_walker_is_believed_though_frames_are_dropped():
    script = Script(Body(walk_cm=-100)).move(Body(walk_cm=100), 1.0)
    seen = [pose for _, pose in poses(script, View(hz=30, noise_px=3.0))]
    assert set(run(seen[::6])) == {None}  # five a second


def test_a_person_walking_up_to_the_camera_is_believed():
    sequence = [
        pose_of(SETUP, View(distance_m=5.0 - 1.5 * i / 15), i / 15)
        for i in range(25)  # 5.0 to 2.6 m at 1.5 m/s
    ]
    assert set(run(sequence)) == {None}


def test_bending_down_to_the_ball_is_believed():
    script = Script().hold(0.5).move(Body(bend_cm=25.0), 0.5).move(SETUP, 0.5)
    assert set(run([pose for _, pose in poses(script, View(hz=30))])) == {None}


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_point_that_is_no_number_is_refused(value):
    image = standing().image_px.copy()
    image[L.LEFT_HEEL, 0] = value
    assert judge(Trust(), replace(standing(), image_px=image))[1] == "a point is not a number"


@pytest.mark.parametrize("joint", ["SHOULDER", "HIP", "WRIST"])
@pytest.mark.parametrize("side", ["LEFT", "RIGHT"])
@pytest.mark.parametrize("place", [(0.0, None), (1279.0, None), (None, 0.0), (None, 719.0)])
def test_a_joint_at_the_edge_of_the_picture_is_refused(joint, side, place):
    pose = standing()
    image = pose.image_px.copy()
    for axis, value in enumerate(place):
        if value is not None:
            image[L[f"{side}_{joint}"], axis] = value
    _, reason = judge(Trust(), replace(pose, image_px=image))
    assert reason == f"{side.lower()} {joint.lower()} outside the picture"


def test_feet_below_the_picture_are_no_reason_to_refuse():
    pose = standing()
    image = pose.image_px.copy()
    image[L.LEFT_ANKLE :, 1] = 760.0
    assert judge(Trust(), replace(pose, image_px=image))[1] is None


def test_a_joint_outside_the_part_the_model_was_shown_is_refused():
    pose = standing()
    x = float(pose.image_px[L.LEFT_SHOULDER, 0])
    assert judge(Trust(), pose, bounds=(0.0, 0.0, x + 1, 719.0))[1] is None
    reason = judge(Trust(), pose, bounds=(0.0, 0.0, x - 1, 719.0))[1]
    assert reason is not None
    assert "outside" in reason


def test_an_upside_down_body_is_refused():
    pose = standing()
    image = pose.image_px.copy()
    image[:, 1] = 720 - image[:, 1]
    assert judge(Trust(), replace(pose, image_px=image))[1] == "hips above shoulders"


def test_a_tiny_body_is_refused_and_one_just_large_enough_is_not():
    pose = standing()
    span = pose.image_px[L.LEFT_ANKLE, 1] - pose.image_px[L.NOSE, 1]
    for height_share, verdict in ((0.14, "too small"), (0.16, None)):
        image = (pose.image_px - [640, 360]) * (height_share * 720 / span) + [640, 360]
        assert judge(Trust(), replace(pose, image_px=image))[1] == verdict


@pytest.mark.parametrize(
    ("moved_row", "anchor_row", "words"),
    [
        (L.LEFT_ELBOW, L.LEFT_SHOULDER, "left upper arm"),
        (L.RIGHT_ELBOW, L.RIGHT_SHOULDER, "right upper arm"),
        (L.RIGHT_KNEE, L.RIGHT_HIP, "right thigh"),
        (L.LEFT_SHOULDER, L.RIGHT_SHOULDER, "the two sides"),
    ],
)
def test_a_limb_too_long_for_the_trunk_is_refused(moved_row, anchor_row, words):
    pose = standing()
    image = pose.image_px.copy()
    image[moved_row] = image[anchor_row] + [500.0, 0.0]
    reason = judge(Trust(), replace(pose, image_px=image))[1]
    assert reason is not None
    assert reason.startswith(words)


def test_shoulders_too_broad_for_the_trunk_are_refused():
    pose = standing()
    image = pose.image_px.copy()
    image[L.LEFT_SHOULDER, 0] += 250.0
    image[L.RIGHT_SHOULDER, 0] -= 250.0
    reason = judge(Trust(), replace(pose, image_px=image), Rules(shoulder_trunks=1.5))[1]
    assert reason == "shoulders too broad for the trunk"


def test_a_body_of_textbook_proportions_has_room_to_every_limit():
    """Shares of stature: Drillis and Contini 1966, drawn in Winter, Biomechanics and Motor
    Control of Human Movement, fig. 4.1 (values from memory)."""
    trunk, arm, thigh, breadth = 0.288, 0.186, 0.245, 0.259
    rules = Rules()
    assert arm / trunk * 1.15 / np.cos(np.radians(45)) < rules.upper_arm_trunks
    assert thigh / trunk * 1.15 / np.cos(np.radians(45)) < rules.thigh_trunks
    assert breadth / trunk * 1.15 / np.cos(np.radians(45)) < rules.shoulder_trunks


@pytest.mark.parametrize("hz", [15, 30])
def test_one_frame_on_somebody_else_is_refused_and_the_player_stays_trusted(hz):
    sequence = [standing(i / hz) for i in range(20)]
    sequence[10] = moved(sequence[10], [400.0, 0.0])
    reasons = run(sequence)
    assert reasons[10] == "the body jumped"
    assert reasons[:10] + reasons[11:] == [None] * 19


def test_a_trunk_that_grows_at_once_is_refused():
    before = [standing(i / 30) for i in range(10)]
    close = pose_of(SETUP, View(distance_m=2.0), 10 / 30)
    middle = [np.mean(p.image_px[[11, 12, 23, 24]], axis=0) for p in (before[-1], close)]
    assert run([*before, moved(close, middle[0] - middle[1])])[-1] == "the trunk grew at once"


def test_a_trunk_that_shrinks_at_once_is_believed():
    before = [standing(i / 30) for i in range(10)]
    shorter = before[-1].image_px.copy()
    hips_y = shorter[L.LEFT_HIP, 1]
    above = shorter[:, 1] < hips_y
    shorter[above, 1] = hips_y - (hips_y - shorter[above, 1]) * 0.7
    assert run([*before, replace(before[-1], t_s=10 / 30, image_px=shorter)])[-1] is None


@pytest.mark.parametrize("hz", [15, 30, 60])
def test_another_player_is_trusted_within_half_a_second(hz):
    sequence = [standing(i / hz) for i in range(hz)]
    other = [moved(standing(1.0 + i / hz), [350.0, 0.0]) for i in range(hz)]
    reasons = run(sequence + other)[hz:]
    assert reasons[0] == "the body jumped"
    waited_s = reasons.index(None) / hz
    assert waited_s <= Rules().recover_s + 1 / hz  # under 0.5 s from 15 frames a second up
    assert reasons[reasons.index(None) :] == [None] * (hz - reasons.index(None))


def test_a_pose_that_jumps_about_is_never_trusted():
    sequence = [standing(i / 30) for i in range(10)]
    for i in range(10, 24):  # nearly half a second, never twice in one place
        sequence.append(moved(standing(i / 30), [350.0 if i % 2 else -350.0, 0.0]))
    assert None not in run(sequence)[10:]


def test_after_an_empty_while_anybody_may_appear_anywhere():
    sequence = [standing(0.0), moved(standing(0.6), [350.0, 0.0])]
    assert run(sequence) == [None, None]


def test_time_that_starts_at_zero_or_late_makes_no_difference():
    early = [standing(i / 30) for i in range(30)]
    early[15] = moved(early[15], [350.0, 0.0])
    late = [replace(pose, t_s=pose.t_s + 86_400.0) for pose in early]
    assert run(early) == run(late)


def test_the_model_s_visibility_changes_nothing():
    pose = standing()
    for value in (0.0, 1.0):
        assert judge(Trust(), replace(pose, visibility=np.full(33, value)))[1] is None
