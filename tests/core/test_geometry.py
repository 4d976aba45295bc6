"""Angles, axes and signs, against tables worked out elsewhere and outside libraries."""

import cv2
import numpy as np
import pytest
from golfer import SETUP, TOP, View, blend, pose_of
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from trainer.core import geometry as geo
from trainer.core.landmarks import LANDMARK_COUNT
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed

# A unit line turned by `turn` about a trunk leaning `lean` to the camera, seen orthographically.
# Own arithmetic from W (cos t, sin p sin t, -cos p sin t), by hand to the digits shown.
# lean, turn, dx, 2D length, acos(dx), acos(length), horizontal-plane angle, tilt in the picture
TURNED = [
    (0, 60, 0.5000, 0.5000, 60.0, 60.0, 60.00, 0.00),
    (20, 60, 0.5000, 0.5811, 60.0, 54.5, 58.43, 30.64),
    (30, 45, 0.7071, 0.7906, 45.0, 37.8, 40.89, 26.57),
    (30, 60, 0.5000, 0.6614, 60.0, 48.6, 56.31, 40.89),
    (30, 90, 0.0000, 0.5000, 90.0, 60.0, 90.00, 90.00),
    (40, 60, 0.5000, 0.7483, 60.0, 41.6, 53.00, 48.07),
]


@pytest.mark.parametrize(
    ("lean", "turn", "dx", "length", "from_dx", "from_length", "horizontal", "tilt"), TURNED
)
def test_a_turned_line_looks_as_the_table_says(
    lean, turn, dx, length, from_dx, from_length, horizontal, tilt
):
    x, y, z = geo.turned_line(1.0, lean, turn)
    seen = np.hypot(x, y)
    assert x == pytest.approx(dx, abs=5e-5)
    assert seen == pytest.approx(length, abs=5e-5)
    assert geo.turn_from_width_deg(x, 1.0) == pytest.approx(from_dx, abs=0.05)
    assert geo.turn_from_width_deg(seen, 1.0) == pytest.approx(from_length, abs=0.05)
    assert np.degrees(np.arctan2(-z, x)) == pytest.approx(horizontal, abs=0.005)
    assert np.degrees(np.arctan2(y, x)) == pytest.approx(tilt, abs=0.005)


@given(width=st.floats(1, 80), lean=st.floats(0, 60), turn=st.floats(-180, 180))
def test_a_turned_line_is_what_scipy_turns(width, lean, turn):
    # SciPy's Rotation: turn the line about an upright axis, then lean that axis to the camera.
    about_trunk = Rotation.from_euler("y", turn, degrees=True)
    lean_forward = Rotation.from_euler("x", lean, degrees=True)
    expected = (lean_forward * about_trunk).apply([width, 0.0, 0.0])
    np.testing.assert_allclose(geo.turned_line(width, lean, turn), expected, atol=1e-9)


def test_the_signed_width_tells_more_than_90_degrees_apart():
    # cos 95 degrees = -0.0872 (any table of cosines)
    assert geo.turn_from_width_deg(-0.0872, 1.0) == pytest.approx(95.0, abs=0.01)
    assert geo.turn_from_width_deg(0.0872, 1.0) == pytest.approx(85.0, abs=0.01)


@given(turn=st.floats(0, 180), lean=st.floats(0, 60), width=st.floats(1, 80))
def test_the_turn_comes_back_from_the_signed_width_at_any_lean(turn, lean, width):
    dx = geo.turned_line(width, lean, turn)[0]
    # arccos near 1 loses half the digits: 1e-5 degrees is what doubles allow
    assert geo.turn_from_width_deg(dx, width) == pytest.approx(turn, abs=1e-5)


@pytest.mark.parametrize(("turn", "error"), [(10, 9.9), (30, 3.4), (60, 2.0), (90, 1.7)])
def test_a_width_wrong_by_3_percent_costs_most_near_zero(turn, error):
    # To first order 0.03 / sin(turn), in degrees: own arithmetic
    cosine, small = np.cos(np.radians(turn)), 1e-6
    slope = (geo.turn_from_width_deg(cosine - small, 1.0) - turn) / small
    assert 0.03 * slope == pytest.approx(error, abs=0.05)


@pytest.mark.parametrize(
    ("turn", "narrow", "wide"), [(45, -3.1, 2.7), (60, -1.8, 1.6), (80, -0.5, 0.5), (90, 0, 0)]
)
def test_a_reference_width_wrong_by_5_percent_costs_nothing_at_90(turn, narrow, wide):
    # Own arithmetic: acos(cos(turn) / 0.95) and acos(cos(turn) / 1.05), less the turn
    cosine = np.cos(np.radians(turn))
    assert geo.turn_from_width_deg(cosine, 0.95) - turn == pytest.approx(narrow, abs=0.06)
    assert geo.turn_from_width_deg(cosine, 1.05) - turn == pytest.approx(wide, abs=0.06)


def test_noise_beyond_the_width_is_clipped_and_no_width_is_refused():
    assert geo.turn_from_width_deg(1.2, 1.0) == 0.0
    assert geo.turn_from_width_deg(-1.2, 1.0) == 180.0
    for width in (0.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="must be positive"):
            geo.turn_from_width_deg(0.1, width)


@pytest.mark.parametrize(
    ("width_px", "hfov", "f_px"),
    [(1280, 60, 1108.51), (1280, 70, 914.01), (1280, 78, 790.33), (1920, 70, 1371.02)],
)
def test_the_focal_length_is_that_of_a_pinhole(width_px, hfov, f_px):
    # (W / 2) / tan(HFOV / 2), worked out with a pocket calculator
    assert geo.focal_px(width_px, hfov) == pytest.approx(f_px, abs=0.005)
    # OpenCV's own relation of focal length and field of view
    matrix = np.array([[f_px, 0, width_px / 2], [0, f_px, 360], [0, 0, 1.0]])
    seen_hfov = cv2.calibrationMatrixValues(matrix, (width_px, 720), 1.0, 1.0)[0]
    assert seen_hfov == pytest.approx(hfov, abs=0.001)


@pytest.mark.parametrize(
    ("distance", "cm_per_px"), [(2.0, 0.2188), (2.5, 0.2735), (3.0, 0.3282), (3.5, 0.3829)]
)
def test_a_pixel_spans_more_the_farther_the_player_stands(distance, cm_per_px):
    # 1280 px wide, 70 degrees: distance / 914.01, worked out with a pocket calculator
    assert geo.cm_per_px(distance, 1280, 70) == pytest.approx(cm_per_px, abs=5e-5)
    # OpenCV's pinhole: two points 1 cm apart, square to the axis
    f_px = geo.focal_px(1280, 70)
    matrix = np.array([[f_px, 0, 640], [0, f_px, 360], [0, 0, 1.0]])
    points = np.array([[0.0, 0.0, distance], [0.01, 0.0, distance]])
    pixels, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), matrix, None)
    assert 1 / np.ptp(pixels[:, 0, 0]) == pytest.approx(geo.cm_per_px(distance, 1280, 70), rel=1e-6)


@pytest.mark.parametrize(
    ("turn", "width_px"),
    [(0, 115.78), (30, 100.36), (45, 82.03), (60, 58.06), (80, 20.18), (90, 0.00)],
)
def test_perspective_changes_the_turn_by_less_than_an_eighth_of_a_degree(turn, width_px):
    # A line of 0.38 m at 3 m, 1280 px at 70 degrees; widths by own arithmetic, and by OpenCV
    f_px = geo.focal_px(1280, 70)
    half = geo.turned_line(0.19, 0.0, turn)
    ends = np.array([half, -half]) * [1, -1, -1] + [0, 0, 3.0]  # OpenCV: y down, z from camera
    matrix = np.array([[f_px, 0, 640], [0, f_px, 360], [0, 0, 1.0]])
    pixels, _ = cv2.projectPoints(ends, np.zeros(3), np.zeros(3), matrix, None)
    seen = pixels[0, 0, 0] - pixels[1, 0, 0]
    assert seen == pytest.approx(width_px, abs=0.006)
    assert abs(geo.turn_from_width_deg(seen, 0.38 * f_px / 3.0) - turn) <= 0.12


def test_the_stick_golfer_is_seen_as_opencv_sees_him():
    view = View(distance_m=2.7)
    pose = pose_of(blend(SETUP, TOP, 0.4), view, 0.0)
    f_px = geo.focal_px(1280, 70)
    matrix = np.array([[f_px, 0, 640], [0, f_px, 360], [0, 0, 1.0]])
    # World points from mid-hip; the golfer's hips are 0.52 of his stature up, the lens at 0.95 m.
    shift = np.array([0.0, 0.95 - 0.52 * view.stature_m, view.distance_m])
    pixels, _ = cv2.projectPoints(pose.world_m + shift, np.zeros(3), np.zeros(3), matrix, None)
    np.testing.assert_allclose(pose.image_px, pixels[:, 0], atol=1e-6)


def test_left_mirrors_right_in_every_pair():
    assert geo.away_sign(Handed.RIGHT) == -1
    assert geo.away_sign(Handed.LEFT) == 1
    for part in ("shoulder", "hip", "wrist", "elbow", "knee", "ankle", "ear"):
        lead, trail = geo.lead_trail(Handed.RIGHT, part)
        assert (trail, lead) == geo.lead_trail(Handed.LEFT, part)
        assert L(lead).name == f"LEFT_{part.upper()}"
        assert L(trail).name == f"RIGHT_{part.upper()}"


def test_the_body_points_are_numbered_as_the_pose_model_numbers_them():
    # MediaPipe Pose documentation, landmark list: 0 nose, 7/8 ears, 11/12 shoulders,
    # 13/14 elbows, 15/16 wrists, 23/24 hips, 25/26 knees, 27/28 ankles, 31/32 foot index
    assert LANDMARK_COUNT == 33
    assert (L.NOSE, L.LEFT_EAR, L.RIGHT_EAR) == (0, 7, 8)
    for first, part in ((11, "SHOULDER"), (13, "ELBOW"), (15, "WRIST"), (23, "HIP")):
        assert (L[f"LEFT_{part}"], L[f"RIGHT_{part}"]) == (first, first + 1)
    for first, part in ((25, "KNEE"), (27, "ANKLE"), (29, "HEEL"), (31, "FOOT_INDEX")):
        assert (L[f"LEFT_{part}"], L[f"RIGHT_{part}"]) == (first, first + 1)


def test_the_head_point_is_three_parts_ears_to_one_part_nose():
    points = np.zeros((33, 2))
    points[L.LEFT_EAR], points[L.RIGHT_EAR] = (10.0, 4.0), (20.0, 8.0)
    points[L.NOSE] = (100.0, 40.0)
    np.testing.assert_allclose(geo.head_point(points), [0.75 * 15 + 25, 0.75 * 6 + 10])


def test_a_head_that_only_turns_moves_the_head_point_far_less_than_the_nose():
    # A nose 9.5 cm ahead of the axis moves 9.5 sin(30 degrees) = 4.75 cm; own arithmetic.
    turned = Rotation.from_euler("y", 30, degrees=True).apply(
        [[0.0, 0.0, 9.5], [7.0, 0.0, 0.0], [-7.0, 0.0, 0.0]]
    )
    points = np.zeros((33, 3))
    points[[L.NOSE, L.LEFT_EAR, L.RIGHT_EAR]] = turned
    assert points[L.NOSE, 0] == pytest.approx(4.75)
    assert geo.head_point(points)[0] == pytest.approx(4.75 / 4)


@given(angle=st.floats(-1000, 1000))
def test_wrapping_changes_an_angle_by_whole_turns_only(angle):
    wrapped = geo.wrap_deg(angle)
    assert -180 <= wrapped <= 180
    turns = (angle - wrapped) / 360
    assert turns == pytest.approx(round(turns), abs=1e-9)
