"""The pages of the first run and of the placement guide on the glass, and their keys."""

import numpy as np
import pygame
import pytest
from screen_views import drawn, make_image, make_view

from trainer.adapters import palette
from trainer.adapters.screen import open_screen
from trainer.adapters.screen_layout import HEADLINE
from trainer.core import placement as core
from trainer.core.placement import Asked, Check, Finding, Group, PlacementState, Stage, step
from trainer.core.placement_words import GROUP_NAMES, STAGES, finding_words
from trainer.core.records import Handed
from trainer.ports import Guide, GuidePage, KeyAction, Look

SIZES = [(1280, 720), (1920, 1080), (640, 360), (480, 800)]
each_size = pytest.mark.parametrize("size_wh", SIZES)


def guide(page, **changes):
    fields = {"title": "A title to be read", "lines": ("What is meant by it.",), "foot": "keys"}
    return Guide(page=page, **{**fields, **changes})


PAGES = {
    GuidePage.CAMERA: guide(GuidePage.CAMERA, choices=("0: front", "1: side"), chosen=1, number=1),
    GuidePage.HAND: guide(GuidePage.HAND, choices=("right-handed", "left-handed"), number=2),
    GuidePage.STATURE: guide(GuidePage.STATURE, entry="1800", trouble="Your height is 1800."),
    GuidePage.DRIVER: guide(GuidePage.DRIVER, entry=""),
    GuidePage.CAUTION: guide(GuidePage.CAUTION, lines=("Warm up first.", "Clear the space.")),
    GuidePage.PLACEMENT: guide(GuidePage.PLACEMENT, placement=PlacementState()),
}
FINDINGS = {
    **{check: Finding(check=check, badness=0.0, value=1.0) for check in Check},
    Check.HANDS: Finding(check=Check.HANDS, badness=0.1, value=-1.0, aside=True),
    Check.YAW: Finding(check=Check.YAW, badness=12.0, value=12.0, amount=0.5),
}


def placement(stage, finding=None, handed=Handed.RIGHT):
    title, line = STAGES[stage] if finding is None else finding_words(finding, handed)
    state = PlacementState(stage=stage, finding=finding)
    return make_view(
        guide=guide(GuidePage.PLACEMENT, title=title, lines=(line,), placement=state),
        handed_left=handed is Handed.LEFT,
    )


def inside(pen, size_wh):
    """Nothing is written past the window's edge, and nothing too small to read."""
    for text, box, cap, _ in pen.written:
        assert box.x >= -1, text
        assert box.right <= size_wh[0] + 1, text
        assert box.bottom <= size_wh[1] + 1, text
        assert cap >= 5, text


@each_size
@pytest.mark.parametrize("page", list(GuidePage))
def test_every_page_is_whole_at_every_size(page, size_wh):
    _, _, pen = drawn(make_view(guide=PAGES[page]), size_wh)
    inside(pen, size_wh)
    for words in (PAGES[page].title, *PAGES[page].lines, *PAGES[page].choices, PAGES[page].foot):
        for word in words.split():
            assert word in pen.words
    if PAGES[page].trouble:
        assert PAGES[page].trouble.split()[-1] in pen.words


@each_size
def test_every_page_is_whole_in_large_text_too(size_wh):
    for page in PAGES.values():
        _, _, pen = drawn(make_view(guide=page, look=Look(large_text=True)), size_wh)
        inside(pen, size_wh)


@each_size
def test_a_camera_that_was_lost_is_told_of_on_the_placement_page_too(size_wh):
    view = make_view(guide=PAGES[GuidePage.PLACEMENT], notices=("camera 0 was lost. Trying.",))
    _, _, pen = drawn(view, size_wh)
    inside(pen, size_wh)
    assert "lost." in pen.words


@each_size
@pytest.mark.parametrize("check", list(Check))
def test_every_finding_has_words_and_a_figure(check, size_wh):
    pixels, _, pen = drawn(placement(Stage.OFF, FINDINGS[check]), size_wh)
    inside(pen, size_wh)
    others = [drawn(placement(Stage.OFF, FINDINGS[other]), size_wh)[0]
              for other in Check if other is not check]  # fmt: skip
    assert all(np.any(pixels != other) for other in others)
    # What to do is an arrow or a sun, in the colour of targets.
    assert np.all(pixels == palette.TARGET, axis=2).sum() > 20


@pytest.mark.parametrize("stage", [stage for stage in Stage if stage is not Stage.OFF])
def test_the_words_of_each_stage_are_large(stage):
    _, _, pen = drawn(placement(stage))
    caps = {text: cap for text, _, cap, _ in pen.written}
    assert caps[STAGES[stage][0]] >= HEADLINE * 720


def test_ready_is_a_word_and_a_shape_and_not_a_colour_alone():
    pixels, _, pen = drawn(placement(Stage.READY))
    assert "Ready" in pen.words
    looking = drawn(placement(Stage.LOOKING))[0]
    # The same in shades of grey: the shape alone tells them apart.
    grey, other = (image.mean(axis=2) for image in (pixels, looking))
    figure = (slice(250, 560), slice(760, 1230))
    assert np.abs(grey[figure] - other[figure]).mean() > 3.0
    ticked = np.all(pixels[figure] == palette.REACHED, axis=2)
    assert ticked.sum() > 1500
    assert not np.all(looking[figure] == palette.REACHED, axis=2).any()


def test_the_figure_of_a_left_hander_is_the_other_way_round():
    """Hands out: a right-hander's go out to the right in a mirror, and the arrow to the left."""
    hands = FINDINGS[Check.HANDS]

    def figure(handed):
        pixels = drawn(placement(Stage.OFF, hands, handed))[0]
        part = pixels[250:600, 760:1232]
        return np.all(part == palette.WARNING, axis=2)

    right, left = figure(Handed.RIGHT), figure(Handed.LEFT)
    assert np.nonzero(right)[1].mean() > 260
    assert np.nonzero(left)[1].mean() < 210


@pytest.mark.parametrize("value", [5.0, -5.0])
def test_the_low_end_of_a_leaning_camera_is_on_the_players_own_side_in_the_mirror(value):
    finding = Finding(check=Check.ROLL, badness=5.0, value=value)
    side = finding_words(finding, Handed.RIGHT)[1].split("your ")[1].split(",")[0]
    part = drawn(placement(Stage.OFF, finding))[0][250:600, 760:1232]
    arrow = np.nonzero(np.all(part == palette.TARGET, axis=2))[1].mean()
    assert bool(arrow < 236) is (side == "left")


@pytest.mark.parametrize("value", [12.0, -12.0])
def test_the_arrow_of_a_camera_not_square_points_to_where_the_words_say(value):
    finding = Finding(check=Check.YAW, badness=12.0, value=value, amount=0.5)
    title, line = finding_words(finding, Handed.RIGHT)
    assert title == "Camera not square"
    part = drawn(placement(Stage.OFF, finding))[0][250:600, 760:1232]
    tall = np.all(part == palette.TARGET, axis=2).sum(axis=0)
    shaft_or_tip = tall[np.nonzero(tall)[0][[0, -1]]]
    points_right = bool(shaft_or_tip[0] > shaft_or_tip[1])  # a tip is thinner than a shaft
    assert points_right is ("your right" in line)


def test_the_picture_is_shown_as_in_a_mirror():
    image = make_image()
    image[:, :320] = (200, 40, 40)  # the camera's left
    for page in (GuidePage.CAMERA, GuidePage.PLACEMENT):
        pixels = drawn(make_view(image_rgb=image, guide=PAGES[page]))[0]
        xs = np.nonzero(np.all(pixels == (200, 40, 40), axis=2))[1]
        greys = np.nonzero(np.all(pixels == (128, 128, 128), axis=2))[1]
        assert xs.min() > greys.min()


def test_the_marks_are_shapes_each_with_its_word():
    pose_free = step(
        PlacementState(), core.Look(t_s=0.0, pose=None, image_rgb=None, fps=None), Asked()
    )
    pixels, _, pen = drawn(make_view(guide=guide(GuidePage.PLACEMENT, placement=pose_free)))
    for group in Group:
        assert GROUP_NAMES[group] in pen.words
    assert not np.all(pixels[560:650] == palette.REACHED, axis=2).any()  # rings: not read yet


def test_under_the_page_the_mirror_is_not_seen():
    pixels = drawn(make_view(guide=PAGES[GuidePage.HAND]))[0]
    assert not np.all(pixels == (128, 128, 128), axis=2).any()


@pytest.fixture
def window():
    made = open_screen("window")
    pygame.event.clear()
    yield made
    made.close()


def pressed(window, key, letter="", mod=0):
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod, unicode=letter))
    return window.actions()


def test_keys_of_a_page_with_choices(window):
    window.show(make_view(guide=PAGES[GuidePage.HAND]))
    assert pressed(window, pygame.K_RETURN) == (KeyAction.GUIDE_ON,)
    assert pressed(window, pygame.K_PAGEDOWN) == (KeyAction.GUIDE_ON,)  # a clicker's
    assert pressed(window, pygame.K_PAGEUP) == (KeyAction.GUIDE_BACK,)
    assert pressed(window, pygame.K_DOWN) == (KeyAction.GUIDE_NEXT,)
    assert pressed(window, pygame.K_LEFT) == (KeyAction.GUIDE_PREVIOUS,)
    assert pressed(window, pygame.K_ESCAPE) == (KeyAction.GUIDE_LEAVE,)
    assert pressed(window, pygame.K_q, "q") == (KeyAction.QUIT,)
    assert pressed(window, pygame.K_t, "t") == ()  # the mirror's keys mean nothing here
    assert window.typed() == ""


def test_letters_are_typed_where_something_is_to_be_typed(window):
    window.show(make_view(guide=PAGES[GuidePage.STATURE]))
    for letter in "5 ft 9q'":
        assert pressed(window, ord(letter), letter) == ()
    assert pressed(window, pygame.K_BACKSPACE) == ()
    assert pressed(window, pygame.K_LSHIFT, "") == ()
    assert window.typed() == "5 ft 9q'\b"
    assert window.typed() == ""
    assert pressed(window, pygame.K_ESCAPE) == (KeyAction.GUIDE_LEAVE,)


def test_on_the_placement_page_the_mirrors_keys_keep_their_jobs(window):
    window.show(make_view(guide=PAGES[GuidePage.PLACEMENT]))
    assert pressed(window, pygame.K_p, "p") == (KeyAction.PAIN,)
    assert pressed(window, pygame.K_F2) == (KeyAction.PLACEMENT,)
    assert pressed(window, pygame.K_RETURN) == (KeyAction.GUIDE_ON,)
    assert pressed(window, pygame.K_ESCAPE) == (KeyAction.GUIDE_LEAVE,)
    assert pressed(window, pygame.K_h, "h") == (KeyAction.SWITCH_HANDED,)


def test_the_caution_comes_and_goes_with_its_key(window):
    view = make_view()
    window.show(view)
    assert pressed(window, pygame.K_F4) == (KeyAction.CAUTION,)
    window.show(view)
    assert window._page == "caution"
    pressed(window, pygame.K_F4)
    window.show(view)
    assert window._page == ""
    pressed(window, pygame.K_F4)
    window.show(view)
    pressed(window, pygame.K_SPACE, " ")
    assert window._page == ""


def test_the_caution_over_a_page_takes_its_keys(window):
    view = make_view(guide=PAGES[GuidePage.PLACEMENT])
    window.show(view)
    pressed(window, pygame.K_F4)
    assert pressed(window, pygame.K_RETURN) == ()  # takes the caution away, and no more
    assert pressed(window, pygame.K_RETURN) == (KeyAction.GUIDE_ON,)
