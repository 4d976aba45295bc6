"""The mark that pictures are being kept: a shape and a word, over everything, on nobody."""

from dataclasses import replace

import pygame
import pytest
from screen_views import make_image, make_view

from trainer.adapters import palette
from trainer.adapters.screen_bay import above_note
from trainer.adapters.screen_draw import draw
from trainer.adapters.screen_filming import beside_mark, mark_box
from trainer.adapters.screen_keys import action_of
from trainer.adapters.screen_layout import Placement, lay_out
from trainer.adapters.screen_words import FILMING, MIRROR_KEYS
from trainer.pages.shots import SHOTS
from trainer.ports import Announced, KeyAction, Listed, Writing

SIZES = [(1280, 720), (800, 600), (640, 480), (1920, 1080), (500, 900), (360, 640)]


def drawn(size_wh, page="", **given):
    surface = pygame.Surface(size_wh, 0, 32)
    return surface, draw(surface, make_view(image_rgb=make_image(grey=255), **given), page=page)


def count(surface, box, colour):
    part = surface.subsurface(pygame.Rect(*(round(v) for v in box)).clip(surface.get_rect()))
    return sum(
        part.get_at((x, y))[:3] == colour
        for x in range(part.get_width())
        for y in range(part.get_height())
    )


@pytest.mark.parametrize("size_wh", SIZES)
def test_the_mark_is_a_shape_and_a_word_while_filming_and_gone_otherwise(size_wh):
    on, layout = drawn(size_wh, filming=True)
    off, _ = drawn(size_wh)
    box = mark_box(layout)
    assert count(on, box, palette.WARNING) > 20  # the ring and its disc
    assert count(on, box, palette.TEXT) > 20  # the word
    assert count(off, box, palette.WARNING) == 0


@pytest.mark.parametrize(
    ("size_wh", "placement"),
    [(size, Placement.BELOW) for size in SIZES]
    + [(size, place) for size in SIZES if size[0] > size[1] for place in Placement],
)
def test_the_mark_is_inside_the_window_and_on_nothing_else(size_wh, placement):
    layout = lay_out(size_wh, (640, 360), placement)
    box, line = mark_box(layout), beside_mark(layout).line
    assert box.x >= 0
    assert box.right <= layout.window.right
    assert box.bottom <= layout.window.bottom
    others = (layout.headline, layout.reps, layout.picture, line, *layout.plates)
    assert not [other for other in others if box.overlaps(other)]


@pytest.mark.parametrize("size_wh", SIZES)
def test_pages_and_lists_do_not_hide_it_nor_does_it_hide_their_words(size_wh):
    listed = Listed(
        title="Sessions", head=("", "when"), rows=(("", "2026"),), chosen=0, foot="L: close"
    )
    for page, given in (("help", {}), ("caution", {}), ("kinds", {}), ("", {"listed": listed})):
        on, layout = drawn(size_wh, page=page, filming=True, **given)
        off, _ = drawn(size_wh, page=page, **given)
        box = mark_box(layout, "page")
        assert count(on, box, palette.WARNING) > 10
        assert count(off, box, palette.TEXT) == count(off, box, palette.TARGET) == 0


@pytest.mark.parametrize("size_wh", SIZES)
def test_it_is_larger_across_the_room_and_over_a_note_and_a_name(size_wh):
    on, layout = drawn(size_wh, filming=True, far=True, reps=12)
    off, _ = drawn(size_wh, far=True, reps=12)
    box = mark_box(layout, "far")
    assert count(on, box, palette.WARNING) > 10
    assert count(off, box, palette.TEXT) == count(off, box, palette.TARGET) == 0
    for over, given in (
        ("note", {"writing": Writing(title="Note on rep 3", text="knee", foot="Enter")}),
        ("page", {"announced": Announced(name="Bob", lines=("left-hander",))}),
    ):
        on, layout = drawn(size_wh, filming=True, **given)
        off, _ = drawn(size_wh, **given)
        box = mark_box(layout, over)
        assert count(on, box, palette.WARNING) > 10
        assert count(off, box, palette.TEXT) == count(off, box, palette.TARGET) == 0


@pytest.mark.parametrize("size_wh", SIZES)
def test_a_note_written_across_the_room_and_the_mark_do_not_cover_each_other(size_wh):
    note = Writing(title="Note", text="knee", foot="Enter")
    on, layout = drawn(size_wh, filming=True, far=True, writing=note)
    box = mark_box(above_note(layout), "far")
    assert count(on, box, palette.WARNING) > 10
    off, _ = drawn(size_wh, far=True, writing=note)
    assert count(off, box, palette.TEXT) == 0


def over_the_mirror(name, view):
    """Return what the window shows in place of the strip's lower line."""
    instead = (view.listed, view.guide, view.announced, view.looked)
    if SHOTS[name].page or any(one is not None for one in instead):
        return "page"
    if view.far:
        return "far"
    return "strip" if view.writing is None else "note"


@pytest.mark.parametrize("name", SHOTS)
def test_on_no_page_of_the_window_does_the_mark_cover_a_word(name):
    shot = SHOTS[name]
    view = replace(shot.make(), filming=True)
    over = over_the_mirror(name, view)
    surface = pygame.Surface((1280, 720), 0, 32)
    layout = draw(surface, replace(view, filming=False), page=shot.page)
    box = mark_box(layout, over)
    if over != "strip":  # whose lower line makes room for it
        for colour in palette.TEXT_COLOURS:
            assert count(surface, box, colour) == 0
    draw(surface, view, page=shot.page)
    assert count(surface, box, palette.WARNING) > 10


def test_a_key_switches_it_and_the_page_of_keys_says_so():
    pygame.display.init()
    event = pygame.event.Event(pygame.KEYDOWN, key=pygame.K_i, mod=0, unicode="i")
    assert action_of(pygame, event, page="", handed_left=False) is KeyAction.FILM
    (words,) = [what for key, what in MIRROR_KEYS if key == "I"]
    assert "film" in words
    assert FILMING == "filming"
