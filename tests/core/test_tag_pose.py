"""A tag's attitude from its corners: projection and errors, against SciPy and closed forms."""

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.spatial.transform import Rotation
from tag_pictures import turned

from trainer.core import rotation as rot
from trainer.core.tag_pose import (
    Attitude,
    Hint,
    chosen,
    derivative,
    misfit_of,
    projected,
    refined,
)

SIZE_M = 0.16
PLACE_M = np.array([0.2, -0.1, 3.0])
NOISE = 0.1 / 914


def test_a_tag_square_to_the_camera_is_as_wide_as_its_size_over_its_distance():
    corners = projected(np.eye(3), np.array([0.0, 0.0, 3.0]), SIZE_M)
    half = SIZE_M / 2 / 3
    want = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    assert corners == pytest.approx(want)


def test_the_derivative_is_that_of_scipys_rotations():
    rotation = turned(40, -20, 10)

    def seen(vector):
        small = Rotation.from_rotvec(vector[:3]).as_matrix()
        return projected(small @ rotation, PLACE_M + vector[3:], SIZE_M).ravel()

    want = approx_fprime(np.zeros(6), seen, 1e-7)
    assert derivative(rotation, PLACE_M, SIZE_M) == pytest.approx(want, abs=1e-6)


def exact(rotation, corners):
    misfit = misfit_of(rotation, PLACE_M, corners, size_m=SIZE_M, noise=NOISE)
    return Attitude(rotation=rotation, place_m=PLACE_M, misfit=misfit)


def test_errors_are_those_of_many_noisy_corners():
    rng = np.random.default_rng(2)
    rotation = turned(50, -20, 5)
    corners = projected(rotation, PLACE_M, SIZE_M)
    off = []
    for _ in range(250):
        noisy = corners + rng.normal(0, NOISE, (4, 2))
        found = refined(exact(rotation, noisy), noisy, size_m=SIZE_M, noise=NOISE)
        off.append(
            [*np.degrees(rot.to_vector(found.rotation @ rotation.T)), *(found.place_m - PLACE_M)]
        )
    x, y, z, *place = np.std(off, axis=0)
    pose = chosen(0, [exact(rotation, corners)], size_m=SIZE_M, noise=NOISE)
    assert pose.se_deg == pytest.approx((y, x, z), rel=0.2)
    assert pose.place_se_m == pytest.approx(place, rel=0.2)


def test_a_tag_nearly_square_to_the_camera_tells_its_turn_less_surely():
    def turn_error(yaw_deg):
        rotation = turned(yaw_deg)
        return chosen(
            0, [exact(rotation, projected(rotation, PLACE_M, SIZE_M))], size_m=SIZE_M, noise=NOISE
        ).se_deg[0]

    assert turn_error(5) > 3 * turn_error(45)


def two_attitudes(misfit_other=0.5):
    near = Attitude(rotation=turned(8), place_m=PLACE_M, misfit=0.5)
    far = Attitude(rotation=turned(-8), place_m=PLACE_M, misfit=misfit_other)
    return near, far


def test_two_attitudes_that_fit_alike_are_ambiguous_and_the_error_says_so():
    pose = chosen(0, two_attitudes(), size_m=SIZE_M, noise=NOISE)
    alone = chosen(0, two_attitudes()[:1], size_m=SIZE_M, noise=NOISE)
    assert pose.ambiguous
    assert not alone.ambiguous
    assert pose.se_deg[0] ** 2 == pytest.approx(alone.se_deg[0] ** 2 + 0.5 * 16**2, rel=1e-6)


def test_the_corners_decide_where_they_can():
    pose = chosen(0, two_attitudes(misfit_other=40), size_m=SIZE_M, noise=NOISE)
    assert not pose.ambiguous
    assert pose.rotation == pytest.approx(turned(8))


@pytest.mark.parametrize("true_deg", [-8, 8])
def test_what_was_known_before_decides_where_the_corners_cannot(true_deg):
    hint = Hint(rotation=turned(true_deg + 2), se_deg=5.0)
    pose = chosen(0, two_attitudes(), size_m=SIZE_M, noise=NOISE, hints=(hint,))
    assert pose.rotation == pytest.approx(turned(true_deg))
    assert not pose.ambiguous


def test_corners_that_tell_clearly_put_right_what_was_taken_for_its_mirror_image():
    """The tag's last pose and its part's rest on the same mistake, and are both far off."""
    attitudes = two_attitudes(misfit_other=30)
    wrong = Hint(rotation=turned(-40), se_deg=4.0), Hint(rotation=turned(-41), se_deg=6.0)
    pose = chosen(0, attitudes, size_m=SIZE_M, noise=NOISE, hints=wrong)
    assert pose.rotation == pytest.approx(turned(8))
    near = Hint(rotation=turned(-8), se_deg=4.0), Hint(rotation=turned(-8), se_deg=6.0)
    attitudes = two_attitudes(misfit_other=20)
    assert chosen(0, attitudes, size_m=SIZE_M, noise=NOISE, hints=near).rotation == pytest.approx(
        turned(8)
    )


def test_no_attitude_is_no_pose():
    assert chosen(0, (), size_m=SIZE_M, noise=NOISE) is None
