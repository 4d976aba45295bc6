"""Where the keyboard is on a page of choices: it is seen, it moves, and it chooses."""

import numpy as np
import pygame
import pytest
from screen_views import drawn, make_view

from trainer.adapters import palette
from trainer.adapters.screen import open_screen
from trainer.adapters.screen_kinds import ROWS
from trainer.core.practice_rules import PracticeKind
from trainer.core.practice_shown import PracticeShown
from trainer.ports import KeyAction

VIEW = make_view(practice=PracticeShown(kind=PracticeKind.TURN_ONLY))


@pytest.fixture
def window():
    screen = open_screen("window", size_wh=(640, 360))
    screen.show(VIEW)
    screen.actions()
    yield screen
    screen.close()


def press(window, *keys):
    for key in keys:
        pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, unicode="", mod=0))
    return window.actions()


@pytest.mark.parametrize("size_wh", [(1280, 720), (640, 360), (420, 760)])
@pytest.mark.parametrize("row", range(len(ROWS)))
def test_the_row_the_keyboard_is_on_has_a_frame_and_a_mark(size_wh, row):
    # WCAG 2.x success criterion 2.4.7: keyboard focus is visible
    on = drawn(VIEW, size_wh, page="kinds", focus=row)[0].astype(int)
    off = drawn(VIEW, size_wh, page="kinds", focus=None)[0].astype(int)
    ys, xs = np.nonzero((on != off).any(axis=2))
    assert len(ys) > 0.5 * size_wh[0]  # at least a frame's worth
    middle = (ys.min() + ys.max()) / 2
    _, _, pen = drawn(VIEW, size_wh, page="kinds", focus=row)
    keys = [box for text, box, *_ in pen.written if text in ("1", "2", "3", "4", "5", "S", "G")]
    nearest = min(range(len(keys)), key=lambda n: abs(keys[n].y + keys[n].h - middle))
    assert nearest == row
    assert xs.min() < keys[row].x  # the mark stands before the row
    assert (on[ys, xs] == palette.TARGET).all(axis=1).mean() > 0.5


def test_arrows_move_the_row_round_and_enter_takes_it(window):
    assert press(window, pygame.K_k) == (KeyAction.KINDS,)
    assert press(window, pygame.K_RETURN) == (KeyAction.TURN_ONLY,)  # it opens on what is in force
    press(window, pygame.K_k)
    assert press(window, pygame.K_DOWN, pygame.K_RETURN) == (KeyAction.CENTRED,)
    press(window, pygame.K_k)
    assert press(window, pygame.K_UP, pygame.K_UP, pygame.K_UP, pygame.K_SPACE) == (
        KeyAction.GUESS_FIRST,
    )
    assert press(window, pygame.K_HOME, pygame.K_RETURN) == (KeyAction.FREE,)  # it stayed open


def test_choosing_which_reps_are_told_leaves_the_page_and_its_row(window):
    press(window, pygame.K_k, pygame.K_END, pygame.K_UP)
    assert press(window, pygame.K_RETURN, pygame.K_RETURN) == (KeyAction.NEXT_CUES,) * 2


def test_on_the_mirror_the_arrows_keep_their_meaning(window):
    assert press(window, pygame.K_RETURN, pygame.K_UP) == (KeyAction.MORE,)
    assert press(window, pygame.K_k, pygame.K_ESCAPE) == (KeyAction.KINDS,)
    assert press(window, pygame.K_RETURN) == ()
