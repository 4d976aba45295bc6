import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.lab.clothes import Shell, cut, vertex_normals

#: A unit square of two triangles.
SQUARE = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
FACES = np.array([[0, 1, 2], [0, 2, 3]])


def _kept(field):
    first, second, mix, faces = cut(FACES, field)
    points = (1 - mix)[:, None] * SQUARE[first] + mix[:, None] * SQUARE[second]
    return points, faces


def _area(points, faces):
    a, b, c = (points[faces[:, k]] for k in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=-1).sum() / 2


@given(st.floats(0.01, 0.99))
def test_a_cut_keeps_exactly_the_part_below_a_straight_hem(hem):
    points, faces = _kept(hem - SQUARE[:, 1])
    # plain geometry: a strip of height h of the unit square has area h
    assert _area(points, faces) == pytest.approx(hem)
    assert points[:, 1].max() == pytest.approx(hem)


def test_a_cut_leaves_the_faces_looking_the_same_way():
    points, faces = _kept(0.4 - SQUARE[:, 0])
    a, b, c = (points[faces[:, k]] for k in range(3))
    assert np.all(np.cross(b - a, c - a)[:, 2] > 0)


def test_a_field_that_is_positive_everywhere_cuts_nothing():
    points, faces = _kept(np.ones(4))
    assert len(faces) == 2
    assert _area(points, faces) == pytest.approx(1.0)


def test_a_field_that_is_negative_everywhere_leaves_nothing():
    _, faces = _kept(-np.ones(4))
    assert faces.shape == (0, 3)


def test_a_shell_stands_off_the_body_by_its_thickness():
    first, second, mix, faces = cut(FACES, 0.5 - SQUARE[:, 1])
    shell = Shell(first, second, mix, np.full(len(first), 0.02), faces, (0, 0, 0))
    points = shell.place(SQUARE, vertex_normals(SQUARE, FACES))
    assert np.allclose(points[:, 2], 0.02)
