"""What a badly placed camera does to the numbers: worked examples of a pinhole's geometry.

All values are own arithmetic from the pinhole equations (pixel = focal length x across / depth),
1280 px wide at 70 degrees from 3 m unless said otherwise; each is given to the digits shown.
"""

import numpy as np
import pytest

from trainer.core import geometry as geo
from trainer.lab.camera import Camera

CM_PER_PX = geo.cm_per_px(3.0, 1280, 70.0)


def level(**changes):
    """A camera 3 m away, at the height of what it looks at."""
    return Camera(distance_m=3.0, height_m=1.0, hfov_deg=70.0, **changes)


def seen_cm(camera, before, after):
    """How far a point seems to move: (right, down) in cm at the player's distance."""
    points = np.array([before, after], dtype=float)
    first, then = camera.project(points)
    return (then - first) * CM_PER_PX


def test_4_cm_of_sway_are_12_pixels():
    first, then = level().project(np.array([[0.0, 1.0, 0.0], [0.04, 1.0, 0.0]]))
    assert then[0] - first[0] == pytest.approx(12.2, abs=0.05)
    assert (then[0] - first[0]) * CM_PER_PX == pytest.approx(4.0, abs=1e-9)
    assert pytest.approx(3.047, abs=5e-4) == 1 / CM_PER_PX


@pytest.mark.parametrize(("width_m", "px"), [(0.3653, 111.3), (0.4157, 126.7), (0.38, 115.78)])
def test_shoulders_are_as_wide_in_the_picture_as_their_breadth_says(width_m, px):
    # 0.3653 and 0.4157 m: mean biacromial breadth of women and men, ANSUR II (Gordon et al. 2014)
    ends = level().project(np.array([[width_m / 2, 1.0, 0.0], [-width_m / 2, 1.0, 0.0]]))
    assert ends[0, 0] - ends[1, 0] == pytest.approx(px, abs=0.05)


@pytest.mark.parametrize(
    ("yaw", "lost_percent", "leak_cm"), [(5, 0.4, 0.87), (10, 1.5, 1.74), (15, 3.4, 2.59)]
)
def test_a_camera_off_to_the_side_takes_depth_for_sway(yaw, lost_percent, leak_cm):
    # Far away and narrow, so that only the direction counts: x cos yaw, and depth x sin yaw.
    camera = Camera(distance_m=300.0, height_m=1.0, hfov_deg=1.0, yaw_deg=yaw)
    cm_per_px = geo.cm_per_px(300.0, 1280, 1.0)
    origin, beside, nearer = camera.project(
        np.array([[0.0, 1.0, 0.0], [0.1, 1.0, 0.0], [0.0, 1.0, 0.1]])
    )
    shrunk = (beside - origin)[0] * cm_per_px / 10.0
    assert 100 * (1 - shrunk) == pytest.approx(lost_percent, abs=0.06)
    assert abs((nearer - origin)[0]) * cm_per_px == pytest.approx(leak_cm, abs=0.01)


@pytest.mark.parametrize(
    ("dz_cm", "scale", "slip_cm"), [(5, 1.0169, 0.51), (10, 1.0345, 1.03), (15, 1.0526, 1.58)]
)
def test_stepping_nearer_makes_things_larger_and_moves_them_outwards(dz_cm, scale, slip_cm):
    dz = dz_cm / 100
    camera = level()
    far = camera.project(np.array([[0.15, 1.0, 0.0], [-0.15, 1.0, 0.0]]))
    near = camera.project(np.array([[0.15, 1.0, dz], [-0.15, 1.0, dz]]))
    assert (near[0, 0] - near[1, 0]) / (far[0, 0] - far[1, 0]) == pytest.approx(scale, abs=5e-5)
    right, _ = seen_cm(camera, [0.3, 1.0, 0.0], [0.3, 1.0, dz])
    assert right == pytest.approx(slip_cm, abs=0.006)


@pytest.mark.parametrize(("pitch", "leak_cm"), [(5, 0.87), (10, 1.74), (15, 2.59)])
def test_a_camera_tipped_down_takes_depth_for_height(pitch, leak_cm):
    rise = 300.0 * np.tan(np.radians(pitch))  # so high that its axis still meets the player
    length = np.hypot(300.0, rise)
    camera = Camera(distance_m=300.0, height_m=1.0 + rise, hfov_deg=1.0, pitch_deg=pitch)
    cm_per_px = geo.cm_per_px(length, 1280, 1.0)
    first, then = camera.project(np.array([[0.0, 1.0, 0.0], [0.0, 1.0, 0.1]]))
    assert (then - first)[1] * cm_per_px == pytest.approx(leak_cm, abs=0.01)


@pytest.mark.parametrize(("roll", "lean_cm"), [(1, 1.05), (2, 2.09), (3, 3.14)])
def test_a_camera_that_leans_makes_an_upright_trunk_lean(roll, lean_cm):
    camera = level(roll_deg=roll)
    right, down = seen_cm(camera, [0.0, 1.0, 0.0], [0.0, 1.6, 0.0])
    assert abs(right) == pytest.approx(lean_cm, abs=0.006)
    assert np.degrees(np.arctan2(abs(right), -down)) == pytest.approx(roll, abs=1e-6)


@pytest.mark.parametrize(("head_turn", "nose_cm"), [(20, 3.2), (30, 4.7), (45, 6.7)])
def test_a_head_that_turns_in_place_moves_its_nose_and_hardly_the_head_point(head_turn, nose_cm):
    # A nose 9.5 cm ahead of the axis and ears beside it.
    camera = Camera(distance_m=300.0, height_m=1.6, hfov_deg=1.0)
    cm_per_px = geo.cm_per_px(300.0, 1280, 1.0)
    places = []
    for angle in np.radians([0.0, head_turn]):
        points = np.zeros((33, 3))
        points[:, 1] = 1.6
        for row, ahead, beside in ((0, 0.095, 0.0), (7, 0.0, 0.07), (8, 0.0, -0.07)):
            points[row, 0] = np.sin(angle) * ahead + np.cos(angle) * beside
            points[row, 2] = np.cos(angle) * ahead - np.sin(angle) * beside
        pixels = camera.project(points)
        places.append((pixels[0, 0] * cm_per_px, geo.head_point(pixels)[0] * cm_per_px))
    (nose, head), (nose_then, head_then) = places
    assert nose_then - nose == pytest.approx(nose_cm, abs=0.06)
    assert head_then - head == pytest.approx((nose_then - nose) / 4, abs=0.01)


@pytest.mark.parametrize(("fps", "step_deg"), [(15, 10.0), (30, 5.0), (60, 2.5)])
def test_a_quick_turn_passes_several_degrees_between_two_pictures(fps, step_deg):
    # 150 degrees a second; the projected width of 0.38 m tells the same steps back.
    turns = [60.0, 60.0 + 150.0 / fps]
    told = [geo.turn_from_width_deg(geo.turned_line(0.38, 30.0, turn)[0], 0.38) for turn in turns]
    assert told[1] - told[0] == pytest.approx(step_deg, abs=1e-6)
