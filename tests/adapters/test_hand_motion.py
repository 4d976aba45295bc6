"""The motion of the picture round the hands: its size, and when there is none to tell."""

import cv2
import numpy as np
import pytest
from golfer import SETUP, TOP, View, pose_of

from trainer.adapters.hand_motion import HALF_LENGTHS, HandMotion
from trainer.core import geometry as geo
from trainer.core.records import Frame

SIZE_WH = (1280, 720)
POINTS = pose_of(TOP, View(), 0.0).image_px
LENGTH_PX = float(np.linalg.norm(geo.middle(POINTS, "shoulder") - geo.middle(POINTS, "ankle")))
SIDE_PX = 2 * HALF_LENGTHS * LENGTH_PX


def picture(seed=0):
    """Return a picture of blobs, as wide as cloth and hands are."""
    small = np.random.default_rng(seed).integers(0, 255, (36, 64, 3), dtype=np.uint8)
    return cv2.resize(small, SIZE_WH, interpolation=cv2.INTER_CUBIC)


def moved(image, right_px, down_px=0.0):
    shift = np.float32([[1, 0, right_px], [0, 1, down_px]])
    return cv2.warpAffine(image, shift, SIZE_WH, borderMode=cv2.BORDER_REFLECT)


def frames(*pictures, each_s=1 / 30):
    return [Frame(t_s=i * each_s, index=i, image_rgb=one) for i, one in enumerate(pictures)]


@pytest.mark.parametrize("way_px", [2.0, 4.0, 8.0])
def test_a_picture_that_moves_as_a_whole_is_read_as_fast_as_it_goes(way_px):
    # The way is known by construction: the whole picture was shifted by cv2.warpAffine.
    one = picture()
    motion = HandMotion()
    first, second = frames(one, moved(one, 0.6 * way_px, 0.8 * way_px))
    assert motion.read(first, POINTS) is None
    assert motion.read(second, POINTS) == pytest.approx(way_px / SIDE_PX * 30, rel=0.15)


def test_the_speed_is_by_the_second_and_not_by_the_picture():
    one = picture()
    slow, fast = HandMotion(), HandMotion()
    for frame in frames(one, moved(one, 6.0), each_s=0.06):
        slowly = slow.read(frame, POINTS)
    for frame in frames(one, moved(one, 6.0), each_s=0.03):
        quickly = fast.read(frame, POINTS)
    assert quickly == pytest.approx(2 * slowly)


def test_a_still_picture_does_not_move_and_grain_hardly():
    rng = np.random.default_rng(4)
    still = [np.clip(picture() + rng.normal(0, 3, (720, 1280, 3)), 0, 255) for _ in range(2)]
    motion = HandMotion()
    for frame in frames(*(one.astype(np.uint8) for one in still)):
        grainy = motion.read(frame, POINTS)
    calm = HandMotion()
    for frame in frames(picture(), picture()):
        nothing = calm.read(frame, POINTS)
    assert nothing == pytest.approx(0.0, abs=5e-3)
    assert grainy < 0.1


def test_what_moves_far_from_the_hands_does_not_count():
    one = picture()
    other = picture(7)
    x, y = geo.middle(POINTS, "wrist").astype(int)
    half = int(SIDE_PX / 2) + 2
    rows, columns = slice(max(0, y - half), y + half), slice(x - half, x + half)
    other[rows, columns] = one[rows, columns]
    motion = HandMotion()
    for frame in frames(one, other):
        read = motion.read(frame, POINTS)
    assert read == pytest.approx(0.0, abs=5e-3)


def test_hands_below_the_hips_out_of_the_picture_or_after_a_gap_are_not_read():
    one, two = frames(picture(), moved(picture(), 4.0))
    low = pose_of(SETUP, View(), 0.0).image_px
    for points in (low, POINTS + np.array([5000.0, 0.0])):
        motion = HandMotion()
        motion.read(one, points)
        assert motion.read(two, points) is None
    late = Frame(t_s=1.0, index=9, image_rgb=two.image_rgb)
    motion = HandMotion()
    motion.read(one, POINTS)
    assert motion.read(late, POINTS) is None
    back = Frame(t_s=0.5, index=0, image_rgb=one.image_rgb)
    assert motion.read(back, POINTS) is None


def test_a_camera_that_changes_its_picture_is_not_compared_with_what_it_was():
    motion = HandMotion()
    one, two = frames(picture(), picture())
    motion.read(one, POINTS)
    smaller = Frame(t_s=two.t_s, index=1, image_rgb=two.image_rgb[:700])
    assert motion.read(smaller, POINTS) is None
