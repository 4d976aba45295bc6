"""The record of a lens: angle of view, scaling to another size, and what is refused."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.lens import (
    Lens,
    from_field_of_view,
    is_same_aspect,
    matrix,
    scaled,
    seen_deg,
)

LENS = Lens(
    size_wh=(1280, 720),
    focal_px=(1010.0, 1004.0),
    centre_px=(650.0, 352.0),
    distortion=(-0.12, 0.08, 0.0008, -0.0012, 0.01),
)


@pytest.mark.parametrize(("along", "index"), [("width", 0), ("height", 1)])
@given(deg=st.floats(20.0, 150.0))
def test_the_angle_of_view_is_what_opencv_works_out_from_the_matrix(along, index, deg):
    """OpenCV's calibrationMatrixValues is the reference; an aperture of 1 mm is any aperture."""
    lens = from_field_of_view(deg, (1280, 720), along=along)
    told = cv2.calibrationMatrixValues(matrix(lens), lens.size_wh, 1.0, 1.0)
    # OpenCV measures to the centre, ours lies half a pixel off the middle of the picture.
    assert told[index] == pytest.approx(deg, abs=0.01)
    assert seen_deg(lens)[index] == pytest.approx(deg, abs=1e-9)


def test_a_right_angle_across_is_half_the_width_of_focal_length():
    """tan 45 degrees is 1: half the picture lies as far off the axis as the focal length."""
    lens = from_field_of_view(90.0, (1000, 500))
    assert lens.focal_px == pytest.approx((500.0, 500.0))
    assert lens.centre_px == (499.5, 249.5)


def test_the_diagonal_is_taken_corner_to_corner():
    """A 3-4-5 triangle: 800 by 600 has a diagonal of 1000."""
    assert from_field_of_view(90.0, (800, 600), along="diagonal").focal_px[0] == pytest.approx(500)


@pytest.mark.parametrize("size_wh", [(640, 360), (1920, 1080), (2560, 1440), (320, 180)])
def test_a_scaled_lens_sees_a_point_where_the_scaled_picture_has_it(size_wh):
    """OpenCV's projectPoints is the reference for where a point is seen."""
    points = np.random.default_rng(3).uniform((-0.5, -0.3, 1.0), (0.5, 0.3, 2.0), (50, 3))

    def seen(lens):
        none = np.zeros(3)
        return cv2.projectPoints(points, none, none, matrix(lens), np.array(lens.distortion))[0]

    share = size_wh[0] / 1280
    expected = (seen(LENS) + 0.5) * share - 0.5  # edges stay edges; pixels are counted by middles
    np.testing.assert_allclose(seen(scaled(LENS, size_wh)), expected, atol=1e-8)


@given(width=st.integers(64, 4096))
def test_scaling_there_and_back_changes_nothing(width):
    other = (width * 16, width * 9)
    back = scaled(scaled(LENS, other), LENS.size_wh)
    assert back.focal_px == pytest.approx(LENS.focal_px)
    assert back.centre_px == pytest.approx(LENS.centre_px)
    assert back.distortion == LENS.distortion


def test_a_size_rounded_to_whole_pixels_is_of_the_same_aspect():
    assert is_same_aspect((1280, 720), (854, 480))
    assert scaled(LENS, (854, 480)).size_wh == (854, 480)


@pytest.mark.parametrize("size_wh", [(640, 480), (720, 1280), (1280, 960), (1920, 1200), (0, 0)])
def test_another_aspect_is_refused(size_wh):
    with pytest.raises(ValueError, match="was wanted"):
        scaled(LENS, size_wh)


@pytest.mark.parametrize(
    "wrong",
    [
        {"focal_px": (0.0, 1000.0)},
        {"focal_px": (1000.0, float("nan"))},
        {"centre_px": (float("inf"), 0.0)},
        {"size_wh": (0, 720)},
        {"distortion": (0.0, 0.0)},
    ],
)
def test_numbers_no_lens_can_have_are_refused(wrong):
    good = {"size_wh": (1280, 720), "focal_px": (1000.0, 1000.0), "centre_px": (640.0, 360.0)}
    with pytest.raises(ValueError, match=r"wanted|Give all"):
        Lens(**(good | wrong))


@pytest.mark.parametrize("deg", [0.0, 0.5, 180.0, -60.0, float("nan")])
def test_an_angle_of_view_that_cannot_be_is_refused(deg):
    with pytest.raises(ValueError, match="was wanted"):
        from_field_of_view(deg, (1280, 720))
