"""Pictures that lie where the pose model reads them."""

import numpy as np
import pytest

from trainer.adapters.mediapipe_load import load_vision
from trainer.adapters.opencv import Upright
from trainer.adapters.picture_memory import PictureMemory, image_of


@pytest.fixture
def to_image():
    load_vision()
    from mediapipe.tasks.python.vision.core.image import Image, ImageFormat

    return lambda picture: Image(ImageFormat.SRGB, picture)


@pytest.fixture
def memory(to_image):
    made = PictureMemory()
    made.open(to_image)
    return made


def place_of(picture):
    return picture.ctypes.data


def drawn(height=48, width=64):
    return np.random.default_rng(2).integers(0, 256, (height, width, 3), dtype=np.uint8)


def test_what_is_written_into_a_lent_picture_is_what_the_library_reads(memory):
    lent = memory.lend(48, 64)
    lent[:] = drawn()
    image = image_of(lent)
    assert (image.height, image.width) == (48, 64)
    np.testing.assert_array_equal(image.numpy_view(), drawn())


def test_a_picture_that_nobody_holds_is_lent_again_and_a_held_one_is_not(memory):
    first = memory.lend(48, 64)
    place = place_of(first)
    other = memory.lend(48, 64)
    assert place_of(other) != place
    part = first[10:20, 5:9]
    del first
    assert place_of(memory.lend(48, 64)) != place
    del part
    assert place_of(memory.lend(48, 64)) == place


def test_a_picture_of_another_size_is_not_lent_in_its_place(memory):
    lent = memory.lend(48, 64)
    del lent
    assert memory.lend(64, 48).shape == (64, 48, 3)
    assert memory.lend(48, 64).shape == (48, 64, 3)


def test_a_part_of_a_lent_picture_is_not_taken_for_the_whole(memory):
    assert image_of(memory.lend(48, 64)[:24]) is None
    assert image_of(memory.lend(48, 64)[:, ::-1]) is None  # nor one seen in a mirror
    assert image_of(drawn()) is None


def test_no_picture_is_lent_where_the_library_leaves_gaps_between_rows(memory, to_image):
    # 1366 is a common width of laptop screens; its rows are no multiple of 16 bytes.
    assert not to_image(drawn(8, 1366)).is_contiguous()
    assert memory.lend(8, 1366) is None


def test_nothing_is_lent_where_the_library_would_not_see_what_is_written():
    class Copying:
        def __init__(self, picture):
            self.height, self.width = picture.shape[:2]
            self.numpy_view = picture.copy

        def is_contiguous(self):
            return True

    memory = PictureMemory()
    memory.open(Copying)
    assert memory.lend(48, 64) is None


def test_nothing_is_lent_before_the_library_is_there():
    assert PictureMemory().lend(48, 64) is None


def test_a_source_gives_the_same_picture_with_memory_and_without(memory):
    for upright in (Upright(), Upright(mirrored=True), Upright(rotate_deg=90)):
        wanted = upright.rgb(drawn())
        lying = Upright(rotate_deg=upright.rotate_deg, mirrored=upright.mirrored, memory=memory)
        got = lying.rgb(drawn())
        np.testing.assert_array_equal(got, wanted)
        is_lent = image_of(got) is not None
        assert is_lent == (upright == Upright())
