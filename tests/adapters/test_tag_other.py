"""Printed squares that are none of ours, named where a player's tags should be."""

import cv2
import numpy as np
import pytest
from tag_pictures import background

from trainer.adapters.tag_other import OTHERS, WITHOUT_S, OtherTags

BOX = (400.0, 100.0, 900.0, 700.0)


def rgb(grey):
    return np.repeat(np.asarray(grey)[:, :, None], 3, axis=2).astype(np.uint8)


def room_with(dictionary, number, side_px=90, at_px=(600, 300)):
    """Return a grained room with a square of that family on a white sheet."""
    marker = cv2.aruco.generateImageMarker(dictionary, number, side_px)
    sheet = cv2.copyMakeBorder(marker, 12, 12, 12, 12, cv2.BORDER_CONSTANT, value=255)
    shown = background()
    x, y = at_px
    shown[y : y + sheet.shape[0], x : x + sheet.shape[1]] = 25 + sheet / 255 * 190
    shown = cv2.GaussianBlur(shown, (0, 0), 0.7)
    shown = shown + np.random.default_rng(1).normal(0, 4, shown.shape)
    return rgb(np.clip(shown, 0, 255))


def said_after(image, seconds, *, ours=lambda t_s: False):
    others = OtherTags()
    said = [others.look(t_s, image, BOX, ours=ours(t_s)) for t_s in np.arange(0, seconds, 1 / 30)]
    return said[-1]


@pytest.mark.parametrize("name", OTHERS)
def test_a_sheet_of_another_family_is_named(name):
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, OTHERS[name]))
    said = said_after(room_with(dictionary, 7), 10.0)
    assert f"of another family ({name})" in said
    assert "Sheets of trainer tags (AprilTag 36h11) were wanted" in said


def test_a_number_of_our_family_that_belongs_to_no_place_is_said():
    ours = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    assert "their numbers are of no place" in said_after(room_with(ours, 300), 10.0)


def test_a_room_without_squares_and_squares_beside_the_body_are_no_other_family():
    assert said_after(rgb(np.clip(background(), 0, 255)), 15.0) == ""
    aruco = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    assert said_after(room_with(aruco, 7, at_px=(1000, 300)), 15.0) == ""


def test_a_check_shirt_is_no_family():
    squares = np.kron(np.indices((40, 71)).sum(axis=0) % 2, np.ones((18, 18))) * 150 + 40
    assert said_after(rgb(squares[:720, :1278]), 15.0) == ""


def test_nothing_is_looked_for_while_ours_are_seen_and_ours_take_the_words_back():
    aruco = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_1000)
    image = room_with(aruco, 7)
    assert said_after(image, 20.0, ours=lambda t_s: t_s % (WITHOUT_S - 1) < 0.04) == ""
    assert said_after(image, 20.0, ours=lambda t_s: t_s > 19.9) == ""
    assert said_after(image, 20.0) != ""
