"""A rod painted before painted shoes is found to a part of a pixel, and no other line is."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from placed import placed

from trainer.adapters.floor_rod import find_rod
from trainer.core.landmarks import Landmark as L

POSE = placed(height_m=1.0)
POINTS = POSE.image_px
TOES = POINTS[[L.LEFT_FOOT_INDEX, L.RIGHT_FOOT_INDEX]]
MIDDLE_X, TOE_Y = TOES[:, 0].mean(), TOES[:, 1].max()
PX_PER_CM = 3.0
FLOOR = (120, 116, 104)
FINE = 8  # bits of a painted point's fraction


def floor(noise=2.0, colour=FLOOR):
    rng = np.random.default_rng(4)
    image = np.full((720, 1280, 3), colour, float)
    image += cv2.GaussianBlur(rng.normal(0, 1, (720, 1280)), (0, 0), 1.2)[..., None] * 3 * noise
    image = image.clip(0, 255).astype(np.uint8)
    for x, y in TOES:
        cv2.ellipse(image, (round(x), round(y) - 8), (16, 12), 0, 0, 360, (60, 50, 48), -1)
    return image


def line(image, *, below=14.0, slope=0.04, length=340, thick=4, colour=(235, 235, 230), aside=20.0):
    """Paint a line before the toes; return its middle line's (row at mid-stance, slope)."""
    ends = [
        (MIDDLE_X + aside + x, TOE_Y + below + slope * (aside + x))
        for x in (-length / 2, length / 2)
    ]
    at = [tuple(round(v * 2**FINE) for v in end) for end in ends]
    big = np.zeros((720, 1280), np.uint8)
    cv2.line(big, *at, 255, thick, cv2.LINE_AA, FINE)
    share = cv2.GaussianBlur(big, (0, 0), 0.7)[..., None] / 255.0
    image[:] = (image * (1 - share) + np.array(colour) * share).astype(np.uint8)
    return TOE_Y + below, slope


def found(image):
    return find_rod(image, POINTS, PX_PER_CM)[0]


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"colour": (20, 20, 22)},
        {"colour": (230, 120, 40), "thick": 3},
        {"colour": (190, 90, 92)},  # as light as the floor, but red
        {"slope": -0.12, "below": 18.0},
        {"slope": 0.12, "below": 14.0, "thick": 5, "length": 260, "aside": 0.0},
        {"length": 250, "aside": -10.0},
    ],
)
def test_a_rod_before_the_toes_is_found_to_a_part_of_a_pixel(how):
    image = floor()
    row, slope = line(image, **how)
    rod = found(image)
    assert rod is not None
    (x0, y0), (x1, y1) = rod.ends_px
    assert (y1 - y0) / (x1 - x0) == pytest.approx(slope, abs=0.003)  # a sixth of a degree
    assert y0 + slope * (MIDDLE_X - x0) == pytest.approx(row, abs=0.7)
    assert x1 - x0 == pytest.approx(how.get("length", 340), abs=40)
    assert 0 < rod.se_px < 1.0


def test_a_shaft_across_it_hides_it_no_more_than_it_must():
    image = floor()
    _, slope = line(image)
    cv2.line(image, (620, 380), (600, 719), (70, 72, 76), 5, cv2.LINE_AA)
    rod = found(image)
    assert rod is not None
    (x0, y0), (x1, y1) = rod.ends_px
    assert (y1 - y0) / (x1 - x0) == pytest.approx(slope, abs=0.004)


def boards(image):
    for row in range(560, 720, 16):
        image[row : row + 3] = (70, 66, 58)


def tiles(image):
    for row in (600, 640, 685):
        image[row : row + 3] = (80, 76, 68)
    for x in range(40, 1280, 130):
        image[560:, x : x + 3] = (80, 76, 68)


def mat(image):
    edge = round(TOE_Y + 14)
    image[500:edge, 380:920] = (60, 120, 66)


def mat_with_a_line(image):
    edge = round(TOE_Y + 60)
    image[500:edge, 460:830] = (60, 120, 66)
    image[round(TOE_Y + 12) : round(TOE_Y + 16), 460:830] = (230, 230, 230)


def shadow(image):
    dark = np.zeros(image.shape[:2], np.float32)
    cv2.ellipse(dark, (640, round(TOE_Y + 14)), (170, 10), 0, 0, 360, 1.0, -1)
    image[:] = (image * (1 - 0.5 * cv2.GaussianBlur(dark, (0, 0), 8))[..., None]).astype(np.uint8)


def two_rods(image):
    line(image, below=10.0)
    line(image, below=24.0)


def a_club_at_an_angle(image):
    line(image, slope=0.5, below=60.0)


def a_line_across_the_room(image):
    line(image, length=1400)


def a_short_stick(image):
    line(image, length=110)


def a_rod_behind_the_heels(image):
    line(image, below=-70.0)


def a_rod_far_before_the_toes(image):
    line(image, below=58.0)


@pytest.mark.parametrize(
    "lay",
    [boards, tiles, mat, mat_with_a_line, shadow, two_rods, a_club_at_an_angle,
     a_line_across_the_room, a_short_stick, a_rod_behind_the_heels, a_rod_far_before_the_toes],
    ids=lambda lay: lay.__name__,
)  # fmt: skip
def test_what_is_no_rod_before_the_toes_is_not_taken_for_one(lay):
    image = floor()
    lay(image)
    assert found(image) is None


@pytest.mark.parametrize("noise", [0.0, 2.0, 8.0])
def test_an_empty_floor_has_no_rod(noise):
    assert found(floor(noise)) is None


def test_a_faint_line_in_a_grainy_picture_is_left_alone():
    image = floor(noise=8.0)
    line(image, colour=(128, 124, 112))
    assert found(image) is None


@settings(max_examples=25, deadline=None)
@given(st.floats(-300, 1600), st.floats(-300, 1000), st.floats(0, 400), st.floats(0.2, 9.0))
def test_feet_anywhere_at_any_scale_are_borne(x, y, apart, px_per_cm):
    points = POINTS.copy()
    points[L.LEFT_FOOT_INDEX], points[L.RIGHT_FOOT_INDEX] = (x + apart, y), (x, y)
    image = floor()
    line(image)
    find_rod(image, points, px_per_cm)


def test_points_that_are_not_known_tell_nothing():
    points = np.full((33, 2), np.nan)
    assert find_rod(floor(), points, PX_PER_CM)[0] is None
