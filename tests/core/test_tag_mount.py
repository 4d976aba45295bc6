"""How a tag sits on its part: the two attitudes a square's picture allows."""

import cv2
import numpy as np
import pytest
from tag_pictures import turned

from trainer.core import rotation as rot
from trainer.core.tag_mount import at_setup, gives_deg, mirrored
from trainer.core.tag_pose import TagPose, projected, square

PLACE_M = np.array([0.25, -0.1, 3.0])


def pose_of(rotation, *, ambiguous, se_deg=2.0):
    spread = np.diag([np.radians(se_deg) ** 2] * 3 + [0.002**2] * 3)
    return TagPose(number=0, rotation=rotation, place_m=PLACE_M, spread=spread, ambiguous=ambiguous)


@pytest.mark.parametrize("angles", [(10, 8, 0), (-25, 5, 12), (4, -18, -30)])
def test_the_mirror_image_is_the_other_attitude_that_opencv_finds(angles):
    # Outside reference: cv2.solvePnPGeneric, SOLVEPNP_IPPE. 3 m away perspective is slight.
    true = turned(*angles)
    flat = projected(true, PLACE_M, 0.12)
    corners = square(0.12)
    _, turns, _, _ = cv2.solvePnPGeneric(corners, flat, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    found = [cv2.Rodrigues(turn)[0] for turn in turns]
    other = max(found, key=lambda rotation: rot.angle_deg(rotation, true))
    assert rot.angle_deg(other, true) > 8.0
    assert rot.angle_deg(mirrored(true, PLACE_M), other) < 1.5


def test_mirrored_twice_is_the_same_again():
    true = turned(12, -7, 3)
    assert mirrored(mirrored(true, PLACE_M), PLACE_M) == pytest.approx(true)


def test_a_setup_that_leaves_the_attitude_open_takes_the_middle_and_says_so():
    true = turned(3, 9, 0)
    other = mirrored(true, PLACE_M)
    poses = [pose_of(true if k % 3 else other, ambiguous=True) for k in range(12)]
    mount = at_setup(poses, np.zeros(3))
    half = rot.angle_deg(true, other) / 2
    assert rot.angle_deg(mount.rotation, true) == pytest.approx(half, abs=0.1)
    assert rot.angle_deg(mount.rotation, other) == pytest.approx(half, abs=0.1)
    # However many pictures say it, it stays open.
    widest = np.degrees(np.sqrt(np.linalg.eigvalsh(mount.spread).max()))
    assert widest == pytest.approx(half, rel=0.05)


def test_a_setup_whose_attitude_is_sure_is_the_mean():
    true = turned(3, 9, 0)
    mount = at_setup([pose_of(true, ambiguous=False)] * 12, np.zeros(3))
    assert rot.angle_deg(mount.rotation, true) < 1e-6
    assert np.degrees(np.sqrt(mount.spread[0, 0])) < 2.0


def test_a_card_gives_more_the_further_its_part_has_turned():
    degrees = [gives_deg(0, turned(turn, 0, 0)) for turn in (0, 30, 60, 90)]
    assert degrees == sorted(degrees)
    assert degrees[0] > 0.0
    assert gives_deg(10, turned(40, 0, 0)) > gives_deg(11, turned(40, 0, 0))
