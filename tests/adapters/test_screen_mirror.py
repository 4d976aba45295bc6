"""The camera's picture on the glass, written straight into the surface's memory or drawn."""

import numpy as np
import pygame
import pytest

from trainer.adapters.screen_layout import Box
from trainer.adapters.screen_mirror import _written, draw_mirror

GLASS_WH = (320, 180)


def glass(bits=32):
    surface = pygame.Surface(GLASS_WH, 0, bits)
    surface.fill((10, 20, 30))
    return surface


def picture(width=160, height=90):
    return np.random.default_rng(4).integers(0, 256, (height, width, 3), dtype=np.uint8)


def shown(surface):
    """Return the colours (H, W, 3) on a surface."""
    return pygame.surfarray.array3d(surface).transpose(1, 0, 2)


def test_a_picture_of_the_right_size_is_shown_flipped_and_nothing_else_is_touched():
    surface = glass()
    draw_mirror(surface, picture(), Box(40, 30, 160, 90))
    seen = shown(surface)
    np.testing.assert_array_equal(seen[30:120, 40:200], picture()[:, ::-1])
    seen[30:120, 40:200] = (10, 20, 30)
    assert (seen == (10, 20, 30)).all()


@pytest.mark.parametrize("box", [Box(0, 0, 320, 180), Box(32, 0, 256, 144), Box(7, 3, 113, 63)])
def test_written_or_drawn_by_pygame_the_picture_is_the_same(box):
    written, drawn = glass(32), glass(24)  # pygame draws where pixels are not of four bytes
    assert _written(written, picture(), (0, 0), (160, 90))
    assert not _written(drawn, picture(), (0, 0), (160, 90))
    for surface in (written, drawn):
        surface.fill((0, 0, 0))
        draw_mirror(surface, picture(), box)
    np.testing.assert_array_equal(shown(written), shown(drawn))


@pytest.mark.parametrize("at", [(-20, 0), (200, 100)])
def test_a_picture_that_sticks_out_is_cut_off_and_never_written_beyond_the_glass(at):
    surface = glass()
    draw_mirror(surface, picture(), Box(*at, 160, 90))
    whole = np.full((400, 600, 3), (10, 20, 30), dtype=np.uint8)
    left, top = 100 + at[0], 100 + at[1]
    whole[top : top + 90, left : left + 160] = picture()[:, ::-1]
    np.testing.assert_array_equal(shown(surface), whole[100:280, 100:420])


def test_the_surface_can_be_drawn_on_afterwards():
    surface = glass()
    draw_mirror(surface, picture(), Box(0, 0, 160, 90))
    assert not surface.get_locked()
