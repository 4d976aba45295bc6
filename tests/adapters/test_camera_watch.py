"""A camera that was moved is said; a player who moves, light and noise are not."""

import cv2
import numpy as np
import pytest
from golfer import Body, View
from tag_pictures import picture
from tag_swing import Dressed

from trainer.adapters.camera_watch import MOVED_NOTICE, CameraWatch

STEP_S = 0.5


def room(seed=0, shift=(0.0, 0.0), light=1.0, size_wh=(1280, 720)):
    """Return a room with furniture, seen by a camera shifted by so many pixels, with grain."""
    rng = np.random.default_rng(4)
    shown = np.full((size_wh[1], size_wh[0]), 120, np.float32)
    for _ in range(60):
        x, y = rng.integers(0, size_wh[0]), rng.integers(0, size_wh[1])
        w, h = rng.integers(20, 200, 2)
        shown[y : y + h, x : x + w] = rng.uniform(30, 220)
    move = np.float32([[1, 0, shift[0]], [0, 1, shift[1]]])
    shown = cv2.warpAffine(shown, move, size_wh, borderMode=cv2.BORDER_REFLECT)
    grain = np.random.default_rng(seed).normal(0, 4, shown.shape)
    return np.clip(shown * light + grain, 0, 255).astype(np.uint8)


def said(pictures):
    watch = CameraWatch()
    return [watch.look(i * STEP_S, shown) for i, shown in enumerate(pictures)]


@pytest.mark.parametrize("shift", [(25, 0), (0, -20), (-60, 30)])
def test_a_camera_that_is_pushed_is_said_for_a_while(shift):
    words = said([room(i) for i in range(4)] + [room(i, shift) for i in range(4, 30)])
    assert words[:4] == [""] * 4
    assert words[6] == MOVED_NOTICE
    assert words[-1] == ""


def test_a_still_camera_in_changing_light_says_nothing():
    assert not any(said([room(i, light=1.0 + 0.02 * i) for i in range(10)]))


def test_a_picture_that_trembles_and_comes_back_says_nothing():
    shifts = [(0, 0), (0, 0), (30, 0), (0, 0), (0, 0), (0, 30), (0, 0), (0, 0)]
    assert not any(said([room(i, shift) for i, shift in enumerate(shifts)]))


def test_a_player_who_walks_through_says_nothing():
    pictures = []
    for i in range(8):
        shown = room(i)
        shown[100:, 150 * i : 150 * i + 300] = 60
        pictures.append(shown)
    assert not any(said(pictures))


def test_an_even_wall_holds_nothing_to_tell_by():
    flat = [np.full((720, 1280), 128 + i % 2, np.uint8) for i in range(6)]
    assert not any(said(flat))


def test_a_golfer_with_tags_in_front_of_a_soft_background_says_nothing():
    pictures = [
        picture(Dressed().sheets(Body(turn_deg=12.0 * i), View()), seed=i) for i in range(6)
    ]
    assert not any(said(pictures))
