"""The stick golfer before a camera that stands anywhere, seen through OpenCV's own projection."""

import cv2
import numpy as np
from golfer import SETUP, View, pose_of

from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed, Pose


def turned(axis, deg):
    """A rotation about one of the world's axes, by OpenCV's own Rodrigues formula."""
    vector = np.zeros(3)
    vector[axis] = np.radians(deg)
    return cv2.Rodrigues(vector)[0]


def placed(
    body=SETUP,
    *,
    distance_m=3.0,
    height_m=0.95,
    yaw_deg=0.0,
    pitch_deg=0.0,
    roll_deg=0.0,
    aside_m=0.0,
    size_wh=(1280, 720),
    view_deg=70.0,
    handed=Handed.RIGHT,
    stature_m=1.756,
    t_s=0.0,
):
    """Return the pose of ``body`` before the camera.

    ``yaw_deg`` walks the camera round the player toward the player's left while it goes on
    looking at the stance; ``pitch_deg`` tips it down; ``roll_deg`` leans it clockwise as seen
    from behind it; ``aside_m`` shifts the player toward the picture's right.
    """
    plain = pose_of(body, View(handed=handed, stature_m=stature_m), t_s)
    # The world: x picture right, y up, z toward the camera; from mid-hip to the floor.
    points = plain.world_m * [1.0, -1.0, -1.0]
    points = points + [aside_m, 0.52 * stature_m, 0.0]
    # The pose model puts heels, which a front view hides, higher than they are.
    points[[L.LEFT_HEEL, L.RIGHT_HEEL], 1] += 0.03
    points[[L.LEFT_FOOT_INDEX, L.RIGHT_FOOT_INDEX], 2] += 0.05
    yaw = np.radians(yaw_deg)
    place = np.array([distance_m * np.sin(yaw), height_m, distance_m * np.cos(yaw)])
    # A camera at rest has x right, y down and z away from itself, toward the player.
    world_to_camera = np.diag([1.0, -1.0, -1.0]) @ turned(1, -yaw_deg)
    world_to_camera = turned(2, -roll_deg) @ turned(0, pitch_deg) @ world_to_camera
    w, h = size_wh
    focal = w / 2 / np.tan(np.radians(view_deg) / 2)
    matrix = np.array([[focal, 0, w / 2], [0, focal, h / 2], [0, 0, 1.0]])
    rotation = cv2.Rodrigues(world_to_camera)[0]
    image, _ = cv2.projectPoints(points, rotation, -world_to_camera @ place, matrix, None)
    hips = (points[L.LEFT_HIP] + points[L.RIGHT_HIP]) / 2
    world_m = (points - hips) @ world_to_camera.T
    return Pose(
        t_s=t_s,
        size_wh=size_wh,
        image_px=image[:, 0, :],
        depth_px=world_m[:, 2] * focal / distance_m,
        world_m=world_m,
        visibility=np.ones(33),
    )
