"""Where the lab's camera puts points, against OpenCV's, for cameras and points of all kinds.

The camera's place and turning are worked out here a second time, with SciPy's rotations from the
words of its description, so that a wrong axis in the lab cannot cancel out.
"""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from trainer.lab import crowd
from trainer.lab.camera import Camera

cameras = st.builds(
    Camera,
    size_wh=st.sampled_from([(640, 480), (800, 450), (1280, 720), (720, 1280), (1920, 1080)]),
    hfov_deg=st.floats(35, 100),
    distance_m=st.floats(1.5, 6),
    height_m=st.floats(0, 2.5),
    yaw_deg=st.floats(-60, 60),
    pitch_deg=st.floats(-30, 30),
    roll_deg=st.floats(-30, 30),
)


def seen_by_opencv(camera, points):
    """Return the pixels by cv2.projectPoints; its axes: x right, y down, z ahead."""
    # Walked round the upright, then tipped down about its own right, then rolled clockwise as
    # seen from behind about its own view: intrinsic turns, in that order.
    walked = Rotation.from_euler("y", camera.yaw_deg, degrees=True)
    tipped = walked * Rotation.from_rotvec([-np.radians(camera.pitch_deg), 0, 0])
    rolled = tipped * Rotation.from_rotvec([0, 0, -np.radians(camera.roll_deg)])
    to_world = rolled * Rotation.from_euler("x", 180, degrees=True)  # y up, z back -> OpenCV's
    place = walked.apply([0.0, 0.0, camera.distance_m]) + [0.0, camera.height_m, 0.0]
    rotation = to_world.inv().as_matrix()
    width, height = camera.size_wh
    focal = (width / 2) / np.tan(np.radians(camera.hfov_deg) / 2)
    lens = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1.0]])
    # SciPy's turning vector: OpenCV's own of a matrix near half a turn is 1e-5 off.
    turn = to_world.inv().as_rotvec()
    pixels, _ = cv2.projectPoints(points, turn, -rotation @ place, lens, None)
    return pixels[:, 0], (points - place) @ rotation.T


@settings(deadline=None)
@given(camera=cameras, seed=st.integers(0, 2**32 - 1))
def test_any_camera_sees_any_point_within_a_hundredth_of_a_pixel_of_opencv(camera, seed):
    points = np.random.default_rng(seed).uniform([-1.2, 0, -1.2], [1.2, 2.3, 1.2], (50, 3))
    expected, by_camera = seen_by_opencv(camera, points)
    ahead = by_camera[:, 2] > 0.1  # OpenCV mirrors what is behind; the lab says NaN
    off = np.abs(camera.project(points) - expected)[ahead]
    assert off.size == 0 or off.max() < 0.01


@pytest.mark.parametrize("seed", range(40))
def test_the_random_players_cameras_see_them_as_opencv_does(seed):
    camera = crowd.sitter(seed).camera
    points = np.random.default_rng(seed).uniform([-0.8, 0, -0.5], [0.8, 2, 0.5], (60, 3))
    expected, _ = seen_by_opencv(camera, points)
    assert np.abs(camera.project(points) - expected).max() < 0.01


def test_the_field_of_view_is_the_one_opencv_reads_from_the_focal_length():
    camera = Camera(size_wh=(1280, 720), hfov_deg=63.0)
    lens = np.array([[camera.focal_px, 0, 640], [0, camera.focal_px, 360], [0, 0, 1.0]])
    assert cv2.calibrationMatrixValues(lens, (1280, 720), 1.0, 1.0)[0] == pytest.approx(63.0)
