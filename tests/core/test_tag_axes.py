"""Turn, pitch and side bend, against SciPy's Euler angles."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from trainer.core import tag_axes as ax
from trainer.core.records import Handed

SPREAD = np.diag([0.01, 0.02, 0.03]) ** 2
RIGHT = ax.axes_of(Handed.RIGHT)
MIRROR = np.diag([-1.0, 1.0, 1.0])


def in_axes(turn, bend, nod):
    """The part's rotation in the camera's axes: nod about the side axis, side bend, then turn.

    SciPy's intrinsic Euler angles, in the axes lead (x), near (y) and up (z).
    """
    basis = np.column_stack([-RIGHT.away, RIGHT.near, RIGHT.up])
    inner = Rotation.from_euler("ZYX", [turn, -bend, nod], degrees=True).as_matrix()
    return basis @ inner @ basis.T


@given(turn=st.floats(-170, 170), bend=st.floats(-60, 60), nod=st.floats(-60, 60))
def test_turn_and_side_bend_are_the_side_axis_euler_angles(turn, bend, nod):
    rotation = in_axes(turn, bend, nod)
    assert ax.turn(rotation, SPREAD, RIGHT).deg == pytest.approx(turn, abs=1e-6)
    assert ax.side_bend(rotation, SPREAD, RIGHT).deg == pytest.approx(bend, abs=1e-6)


def test_facing_up_is_a_positive_pitch():
    rotation = in_axes(0, 0, 20)
    assert ax.pitch(RIGHT.near, rotation, SPREAD, RIGHT).deg == pytest.approx(20)


def test_a_chest_bent_to_the_ball_faces_level_once_turned_square_about_its_spine():
    # Closed form: a facing 30 below the level, turned by t about the spine it is square to, lies
    # asin(-sin 30 cos t) above the level.
    lean = np.radians(30)
    facing = np.cos(lean) * RIGHT.near - np.sin(lean) * RIGHT.up
    spine = np.cos(lean) * RIGHT.up + np.sin(lean) * RIGHT.near
    for degrees in (0, 30, 60, 90):
        turned = Rotation.from_rotvec(-np.radians(degrees) * spine).as_matrix()
        if ax.turn(turned, SPREAD, RIGHT).deg < -1:
            turned = turned.T
        want = np.degrees(np.arcsin(-np.sin(lean) * np.cos(np.radians(degrees))))
        assert ax.pitch(facing, turned, SPREAD, RIGHT).deg == pytest.approx(want, abs=1e-6)


@given(turn=st.floats(-80, 80), bend=st.floats(-40, 40), nod=st.floats(-40, 40))
def test_a_left_hander_is_the_mirror(turn, bend, nod):
    rotation = in_axes(turn, bend, nod)
    mirrored = MIRROR @ rotation @ MIRROR
    left = ax.axes_of(Handed.LEFT)
    for measure in (ax.turn, ax.side_bend):
        assert measure(mirrored, SPREAD, left).deg == pytest.approx(
            measure(rotation, SPREAD, RIGHT).deg, abs=1e-9
        )


def test_errors_are_those_of_many_drawn_rotations():
    rng = np.random.default_rng(3)
    rotation = in_axes(50, 10, -20)
    drawn = rng.multivariate_normal(np.zeros(3), SPREAD, 1500)
    many = [Rotation.from_rotvec(vector).as_matrix() @ rotation for vector in drawn]
    for measure in (ax.turn, ax.side_bend, lambda r, s, a: ax.pitch(a.near, r, s, a)):
        scatter = np.std([measure(one, SPREAD, RIGHT).deg for one in many])
        assert measure(rotation, SPREAD, RIGHT).se_deg == pytest.approx(scatter, rel=0.08)


def test_a_camera_that_looks_down_is_made_up_for_by_the_told_upright():
    tilt = Rotation.from_euler("x", 12, degrees=True).as_matrix()
    axes = ax.axes_of(Handed.RIGHT, tilt @ np.array([0.0, -1.0, 0.0]))
    rotation = tilt @ in_axes(60, 5, 0) @ tilt.T
    assert ax.turn(rotation, SPREAD, axes).deg == pytest.approx(60)
    assert ax.side_bend(rotation, SPREAD, axes).deg == pytest.approx(5)


def test_an_upright_along_the_line_of_sight_is_refused():
    with pytest.raises(ValueError, match="roughly level"):
        ax.axes_of(Handed.RIGHT, np.array([0.0, 0.0, 1.0]))
