"""Rotations, against SciPy's."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from trainer.core import rotation as rot

part = st.floats(-3.0, 3.0)


@given(x=part, y=part, z=part)
def test_vectors_and_matrices_agree_with_scipy(x, y, z):
    vector = np.array([x, y, z])
    matrix = rot.from_vector(vector)
    assert matrix == pytest.approx(Rotation.from_rotvec(vector).as_matrix(), abs=1e-9)
    assert rot.from_vector(rot.to_vector(matrix)) == pytest.approx(matrix, abs=1e-6)
    assert np.linalg.norm(rot.to_vector(matrix)) == pytest.approx(
        Rotation.from_matrix(matrix).magnitude(), abs=1e-6
    )


@pytest.mark.parametrize("axis", np.eye(3))
def test_half_a_turn_has_an_axis_too(axis):
    half = Rotation.from_rotvec(np.pi * axis).as_matrix()
    assert np.abs(rot.to_vector(half)) == pytest.approx(np.pi * axis, abs=1e-6)


def test_a_mean_of_equally_sure_rotations_is_scipys_mean():
    rng = np.random.default_rng(1)
    near = [Rotation.from_rotvec(rng.normal(0, 0.1, 3)) for _ in range(6)]
    mean, spread = rot.weighted_mean([r.as_matrix() for r in near], [np.eye(3) * 0.01] * 6)
    theirs = Rotation.concatenate(near).mean().as_matrix()
    assert rot.angle_deg(mean, theirs) < 0.05  # two definitions of a mean, alike to third order
    assert spread == pytest.approx(np.eye(3) * 0.01 / 6)


def test_a_mean_leans_to_the_surer_one_by_the_weights():
    one, other = np.eye(3), Rotation.from_euler("y", 10, degrees=True).as_matrix()
    mean, _ = rot.weighted_mean([one, other], [np.eye(3) * 0.01, np.eye(3) * 0.04])
    # Weights 4 to 1: a fifth of the way.
    assert rot.angle_deg(one, mean) == pytest.approx(2.0, abs=1e-6)


def test_a_mean_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one"):
        rot.weighted_mean([], [])
