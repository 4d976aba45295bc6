import cv2
import numpy as np
import pytest

from trainer.lab.camera import Camera

POINTS = np.random.default_rng(3).uniform([-1, 0, -1], [1, 2, 1], (40, 3))


@pytest.mark.parametrize(
    "camera",
    [
        Camera(),
        Camera(distance_m=2.5, height_m=1.3, hfov_deg=60, yaw_deg=12, pitch_deg=7, roll_deg=3),
        Camera(size_wh=(720, 1280), hfov_deg=45, distance_m=3.5, yaw_deg=-20, roll_deg=-5),
    ],
)
def test_points_fall_where_opencv_puts_them(camera):
    # cv2.projectPoints is the reference; its camera looks along +z with y down, so the world is
    # handed over through the camera's axes
    rotation, _ = cv2.Rodrigues(camera.axes)
    shift = -camera.axes @ camera.place_m
    middle = (camera.size_wh[0] / 2, camera.size_wh[1] / 2)
    lens = np.array([[camera.focal_px, 0, middle[0]], [0, camera.focal_px, middle[1]], [0, 0, 1]])
    seen, _ = cv2.projectPoints(POINTS, rotation, shift, lens, None)
    assert np.allclose(camera.project(POINTS), seen[:, 0], atol=1e-6)


@pytest.mark.parametrize(("hfov", "focal"), [(60, 1108.51), (70, 914.01), (78, 790.33)])
def test_focal_length_follows_from_the_field_of_view(hfov, focal):
    # (W / 2) / tan(hfov / 2) for 1280 px, worked by hand to 0.01 px
    assert Camera(hfov_deg=hfov).focal_px == pytest.approx(focal, abs=0.005)


def test_axes_are_a_right_handed_frame():
    axes = Camera(yaw_deg=20, pitch_deg=9, roll_deg=4).axes
    assert np.allclose(axes @ axes.T, np.eye(3))
    assert np.linalg.det(axes) == pytest.approx(1.0)


def test_a_level_camera_sees_its_own_height_at_half_height():
    camera = Camera(height_m=0.95)
    pixel = camera.project(np.array([0.0, 0.95, 0.0]))
    assert np.allclose(pixel, [640, 360])


def test_picture_right_is_plus_x_and_down_is_down():
    camera = Camera()
    middle = camera.project(np.array([0.0, 0.95, 0.0]))
    assert camera.project(np.array([0.3, 0.95, 0.0]))[0] > middle[0]
    assert camera.project(np.array([0.0, 0.5, 0.0]))[1] > middle[1]


def test_a_camera_tipped_down_lifts_the_scene():
    pixel = Camera(pitch_deg=5).project(np.array([0.0, 0.95, 0.0]))
    assert pixel[1] < 360
    assert pixel[1] == pytest.approx(360 - Camera().focal_px * np.tan(np.radians(5)))


def test_a_camera_turned_clockwise_turns_the_scene_the_other_way():
    up = Camera(roll_deg=10).project(np.array([0.0, 1.5, 0.0]))
    assert up[0] < 640


def test_a_camera_walked_to_the_right_sees_near_things_move_left():
    near = Camera(yaw_deg=10).project(np.array([0.0, 0.95, 0.5]))
    assert near[0] < 640


def test_points_behind_the_camera_are_not_seen():
    assert np.isnan(Camera().project(np.array([0.0, 1.0, 5.0]))).all()
