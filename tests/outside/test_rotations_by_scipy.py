"""The lab's rotations, function by function, against ``scipy.spatial.transform``."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation, Slerp

from trainer.lab import rotations as rot

seeds = st.integers(0, 2**32 - 1)
angles = st.floats(-720, 720)


def directions(rng, count):
    drawn = rng.normal(size=(count, 3))
    return drawn / np.linalg.norm(drawn, axis=1, keepdims=True)


def any_rotations(rng, count):
    return Rotation.from_quat(rng.normal(size=(count, 4)))


@pytest.mark.parametrize(
    ("letter", "turned"), [("x", rot.about_x), ("y", rot.about_y), ("z", rot.about_z)]
)
@settings(deadline=None)
@given(angle=angles)
def test_a_turn_about_a_main_axis_is_scipys(letter, turned, angle):
    expected = Rotation.from_euler(letter, angle, degrees=True).as_matrix()
    np.testing.assert_allclose(turned(angle), expected, atol=1e-12)


@settings(deadline=None)
@given(seed=seeds)
def test_turns_about_any_axes_many_at_once_are_scipys(seed):
    rng = np.random.default_rng(seed)
    axes, angle = directions(rng, 8), rng.uniform(-400, 400, 8)
    expected = Rotation.from_rotvec(axes * np.radians(angle)[:, None]).as_matrix()
    np.testing.assert_allclose(rot.about(axes, angle), expected, atol=1e-12)
    one_axis = Rotation.from_rotvec(np.outer(np.radians(angle), axes[0])).as_matrix()
    np.testing.assert_allclose(rot.about(axes[0], angle), one_axis, atol=1e-12)


def test_frames_by_people_keep_their_shape():
    angle = np.linspace(-90, 90, 6).reshape(2, 3)
    expected = Rotation.from_euler("y", angle.reshape(-1, 1), degrees=True).as_matrix()
    np.testing.assert_allclose(rot.about_y(angle), expected.reshape(2, 3, 3, 3), atol=1e-12)


@settings(deadline=None)
@given(seed=seeds, part=st.floats(0, 1))
def test_a_share_of_a_rotation_is_scipys_rotation_to_that_power(seed, part):
    rng = np.random.default_rng(seed)
    # Below 180 degrees, as the function asks: at 180 the axis has two right answers.
    whole = Rotation.from_rotvec(directions(rng, 6) * rng.uniform(0, np.radians(179), (6, 1)))
    np.testing.assert_allclose(
        rot.share(whole.as_matrix(), part), (whole**part).as_matrix(), atol=1e-6
    )


def test_a_share_of_no_rotation_is_none():
    still = np.tile(np.eye(3), (3, 1, 1))
    np.testing.assert_allclose(rot.share(still, 0.3), still, atol=1e-12)


@settings(deadline=None)
@given(seed=seeds, part=st.floats(0, 1))
def test_a_rotation_between_two_is_scipys_slerp(seed, part):
    rng = np.random.default_rng(seed)
    first = any_rotations(rng, 1)[0]
    step = Rotation.from_rotvec(directions(rng, 1)[0] * rng.uniform(0, np.radians(179)))
    both = Rotation.concatenate([first, first * step])
    expected = Slerp([0.0, 1.0], both)(part).as_matrix()
    got = rot.between(both[0].as_matrix()[None], both[1].as_matrix()[None], part)[0]
    np.testing.assert_allclose(got, expected, atol=1e-6)


@settings(deadline=None)
@given(seed=seeds)
def test_turning_vectors_is_scipys_apply(seed):
    rng = np.random.default_rng(seed)
    turns, vectors = any_rotations(rng, 5), rng.normal(size=(5, 3))
    np.testing.assert_allclose(
        rot.apply(turns.as_matrix(), vectors), turns.apply(vectors), atol=1e-12
    )
    one = rot.apply(turns.as_matrix(), vectors[0])
    np.testing.assert_allclose(one, turns.apply(vectors[0]), atol=1e-12)


@settings(deadline=None)
@given(seed=seeds)
def test_a_frame_is_the_rotation_that_scipy_aligns(seed):
    rng = np.random.default_rng(seed)
    direction, normal = 3.0 * directions(rng, 1), 0.2 * directions(rng, 1)
    # Nearly parallel, the third direction would be open.
    assume(np.linalg.norm(np.cross(direction[0], normal[0])) > 1e-3)
    got = rot.frame(direction, normal)[0]
    # align_vectors with an infinite weight on the first pair turns x onto the direction exactly
    # and then z as near to the normal as that leaves.
    expected, _ = Rotation.align_vectors(
        np.concatenate([direction, normal]), [[1.0, 0, 0], [0, 0, 1.0]], weights=[np.inf, 1.0]
    )
    np.testing.assert_allclose(got, expected.as_matrix(), atol=1e-6)


@settings(deadline=None)
@given(seed=seeds)
def test_the_part_across_is_what_is_left_after_scipys_turn_onto_the_axis(seed):
    rng = np.random.default_rng(seed)
    vectors, along = rng.normal(size=(4, 3)), directions(rng, 4)
    got = rot.across(vectors, along)
    for vector, axis, found in zip(vectors, along, got, strict=True):
        to_x, _ = Rotation.align_vectors([[1.0, 0, 0]], [axis])
        flat = to_x.apply(vector) * [0.0, 1.0, 1.0]
        expected = to_x.inv().apply(flat / np.linalg.norm(flat))
        np.testing.assert_allclose(found, expected, atol=1e-8)


def test_unit_vectors_have_length_one_and_no_vector_stays_none():
    vectors = np.array([[3.0, 0.0, 4.0], [0.0, 0.0, 0.0]])
    np.testing.assert_allclose(rot.unit(vectors), [[0.6, 0.0, 0.8], [0.0, 0.0, 0.0]])
