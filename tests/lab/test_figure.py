import numpy as np
import pytest

from trainer.lab import truth
from trainer.lab.figure import Figure, Stance, mirrored
from trainer.lab.motion import Curves, Motion, Pose, Swing, backswing, frame_times


def _posed(body, swing, solve=None):
    curves = Curves(Pose())
    rep = backswing(curves, swing, setup_s=0.0, takeaway_s=1.0)
    t_s = frame_times(4.0, 30)
    figure = Figure(body) if solve is None else Figure(body, solve=frozenset(solve))
    motion = Motion(t_s, curves.at(t_s), (rep,), curves.start)
    return figure.pose(motion), t_s, rep


def _told(body, posed, t_s, rep):
    handed = "left" if posed.mirrored else "right"
    return truth.measures(truth.joints(body, posed), handed, t_s <= rep.takeaway_s)


@pytest.mark.parametrize("turn", [45, 90, 105])
@pytest.mark.parametrize(("hips", "drift"), [(20, 0), (50, 9)])
def test_the_measures_are_what_was_asked_for(body, turn, hips, drift):
    swing = Swing(
        shoulder_turn_deg=turn,
        hip_turn_deg=hips,
        head_drift_cm=drift,
        hip_drift_cm=-drift / 3,
        head_rise_cm=-1,
        hold_s=0.5,
    )
    posed, t_s, rep = _posed(body, swing)
    told = _told(body, posed, t_s, rep)
    top = int(np.flatnonzero(t_s >= rep.top_s)[0])
    assert told["shoulder_turn_deg"][top] == pytest.approx(turn, abs=0.05)
    assert told["hip_turn_deg"][top] == pytest.approx(hips, abs=0.05)
    assert told["head_lateral_cm"][top] == pytest.approx(drift, abs=0.02)
    assert told["head_up_cm"][top] == pytest.approx(-1, abs=0.05)
    assert told["hip_drift_cm"][top] == pytest.approx(-drift / 3, abs=0.02)


def test_bones_keep_their_length(body):
    posed, _, _ = _posed(body, Swing())
    for index, parent in enumerate(body.parents):
        if parent >= 0:
            rest = np.linalg.norm(body.heads[index] - body.heads[parent])
            now = np.linalg.norm(posed.joints[:, index] - posed.joints[:, parent], axis=-1)
            assert np.allclose(now, rest), body.bone_names[index]


def test_the_hands_stay_on_the_club_from_address_to_top(body):
    posed, t_s, rep = _posed(body, Swing())
    found = truth.joints(body, posed)
    back = t_s <= rep.top_s
    shaft = found["club_head"] - found["club_grip"]
    length = np.linalg.norm(shaft, axis=-1)
    assert np.allclose(length, Stance().club_m)
    for wrist in ("left_wrist", "right_wrist"):
        off = found[wrist] - found["club_grip"]
        along = np.sum(off * shaft, -1) / length
        away = np.linalg.norm(off - (along / length)[:, None] * shaft, axis=-1)
        assert away[back].max() < 0.11, wrist  # a wrist is a palm's length from the shaft
        assert np.ptp(away[back]) < 0.06, wrist
    apart = np.linalg.norm(found["left_wrist"] - found["right_wrist"], axis=-1)
    assert apart[back].max() < 0.16


@pytest.mark.parametrize("bend", [3.0, 12.0, 35.0])
def test_the_lead_elbow_bends_as_asked(body, bend):
    posed, t_s, rep = _posed(body, Swing(lead_bend_deg=bend, hold_s=0.5))
    found = truth.joints(body, posed)
    top = int(np.flatnonzero(t_s >= rep.top_s)[0])
    upper = (found["left_elbow"] - found["left_shoulder"])[top]
    lower = (found["left_wrist"] - found["left_elbow"])[top]
    cosine = upper @ lower / np.linalg.norm(upper) / np.linalg.norm(lower)
    assert np.degrees(np.arccos(cosine)) == pytest.approx(bend, abs=0.2)


def test_the_feet_stay_put_in_the_backswing(body):
    posed, t_s, rep = _posed(body, Swing(hip_drift_cm=9))
    found = truth.joints(body, posed)
    trail = found["right_ankle"][t_s <= rep.top_s]
    assert np.ptp(trail, axis=0).max() < 1e-3


def test_the_club_lies_on_the_floor_at_address(body):
    posed, _, _ = _posed(body, Swing())
    assert posed.club[0, 1, 1] == pytest.approx(0.03, abs=0.01)


def test_a_left_hander_is_the_exact_mirror_image(body):
    right, t_s, rep = _posed(body, Swing(hip_drift_cm=9, head_drift_cm=3))
    left = mirrored(right)
    one, other = truth.joints(body, right), truth.joints(body, left)
    swap = {"left": "right", "right": "left"}
    for name, points in one.items():
        side, _, rest = name.partition("_")
        twin = f"{swap[side]}_{rest}" if side in swap else name
        assert np.array_equal(other[twin], points * [-1, 1, 1]), name
    told, mirror = _told(body, right, t_s, rep), _told(body, left, t_s, rep)
    for name, values in told.items():
        assert np.allclose(mirror[name], values, atol=1e-9), name


def test_unsolved_degrees_of_freedom_are_free_of_each_other(body):
    figure = Figure(body, solve=frozenset())
    still = figure.pose_one(Pose())
    turned = figure.pose_one(Pose(thorax_turn_deg=60.0), address=Pose())
    leg = body.bone("lowerleg01.L")
    assert np.allclose(still.joints[:, leg], turned.joints[:, leg])
    arm = figure.pose_one(Pose(arm_lift_deg=110.0), address=Pose())
    for bone in ("upperarm01.L", "head", "lowerleg01.R"):
        assert np.allclose(still.joints[:, body.bone(bone)], arm.joints[:, body.bone(bone)]), bone


@pytest.mark.parametrize(
    ("bend", "turn", "seen"),
    [
        (0, 60, 60.0),
        (20, 60, 58.43),
        (30, 45, 40.89),
        (30, 60, 56.31),
        (30, 90, 90.0),
        (40, 60, 53.0),
    ],
)
def test_a_turn_about_a_bent_axis_projects_as_geometry_says(body, bend, turn, seen):
    # seen from above a line turned by t about an axis bent forward by b lies at
    # atan2(cos b sin t, cos t); the values are that formula's, to 0.01 deg
    pose = Pose(trunk_bend_deg=bend, chest_pitch_deg=0, side_bend_deg=0, thorax_turn_deg=turn)
    posed = Figure(body, solve=frozenset()).pose_one(pose)
    side = posed.rotations[0, body.bone("spine01")][:, 0]
    assert np.degrees(np.arctan2(side[2], side[0])) == pytest.approx(seen, abs=0.01)
