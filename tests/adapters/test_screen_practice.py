"""What a practice keeps back and adds on the glass."""

import numpy as np
import pygame
import pytest
from screen_views import drawn, make_measures, make_pose, make_step, make_view

from trainer.adapters import palette
from trainer.adapters.screen_keys import action_of
from trainer.adapters.screen_place import body_box
from trainer.adapters.screen_words import headline, quiet_line
from trainer.core.landmarks import Landmark as L
from trainer.core.practice_rules import CueSchedule, PracticeKind
from trainer.core.practice_shown import PointsShown, PracticeShown
from trainer.core.records import Phase
from trainer.core.setup_check import SetupFinding
from trainer.ports import KeyAction

SIZES = [(1280, 720), (1920, 1080), (640, 360), (480, 800)]
READ = make_measures(turn=83.0, head=2.0, hips=1.0)


def practising(**changes):
    return make_view(
        step=make_step(measures=READ, pose=make_pose()), practice=PracticeShown(**changes)
    )


def points(next_one=1, held=0.5, skipped=False, own=False):
    ghost = make_pose().image_px
    return PointsShown(
        next=next_one,
        held_share=held,
        skipped=skipped,
        ghost_px=ghost,
        now_px=ghost + 3.0,
        from_own=own,
    )


@pytest.mark.parametrize("size_wh", SIZES)
def test_on_your_own_no_figure_stands_anywhere(size_wh):
    _, _, pen = drawn(practising(turn=False, drifts=False, verdict=True), size_wh)
    assert not any(word in pen.words for word in ("83", "shoulder turn", "head", "cm"))
    assert "on your own" in pen.words


def test_without_a_practice_all_is_shown():
    _, _, pen = drawn(make_view(step=make_step(measures=READ)))
    assert "83" in pen.words
    assert "head" in pen.words


def test_what_is_kept_back_says_why():
    words = drawn(practising(turn=False, kind=PracticeKind.CENTRED))[2].words
    assert "head and hips only" in words
    assert "cm" in words
    words = drawn(practising(drifts=False, kind=PracticeKind.TURN_ONLY))[2].words
    assert "turn only" in words
    assert "83" in words
    assert "your guess first" in drawn(practising(turn=False, verdict=False))[2].words


@pytest.mark.parametrize("size_wh", SIZES)
@pytest.mark.parametrize("next_one", [0, 1, 2, 3, 4])
def test_the_checkpoints_stand_in_the_turns_column_beside_the_body(size_wh, next_one):
    view = practising(points=points(next_one))
    pixels, layout, pen = drawn(view, size_wh)
    plain = drawn(practising(points=None, turn=False), size_wh)[0]
    plate = layout.turn.plate
    differs = np.any(pixels != plain, axis=2)
    ys, xs = np.nonzero(differs)
    assert len(xs)
    assert xs.min() >= plate.x - 2
    assert xs.max() <= plate.right + 2
    assert ys.min() >= plate.y - 2
    assert ys.max() <= plate.bottom + 2
    for words in ("setup", "hip height", "arm level", "top"):
        assert words in pen.words


def test_the_bar_of_a_hold_fills_as_it_is_held():
    def green(held):
        pixels, _, _ = drawn(practising(points=points(0, held)))
        return int(np.all(pixels == palette.REACHED, axis=2).sum())

    empty, half, full = green(0.0), green(0.5), green(1.0)
    assert half - empty == pytest.approx((full - empty) / 2, rel=0.05)


def test_the_ghost_is_mirrored_like_the_picture():
    ghost = make_pose().image_px.copy()
    ghost[[L.LEFT_WRIST, L.RIGHT_WRIST]] += [-60.0, -60.0]  # to the camera's left
    shown = PointsShown(
        next=2, held_share=0.0, skipped=False, ghost_px=ghost, now_px=None, from_own=False
    )
    pixels, layout, _ = drawn(practising(points=shown))
    inner = layout.turn.plate
    ys, xs = np.nonzero(np.all(pixels == palette.TARGET, axis=2))
    low = ys > inner.y + inner.h / 2
    assert xs[low].mean() > inner.x + inner.w / 2  # to the mirror's right


def test_a_ghost_that_could_not_be_worked_out_is_left_away():
    broken = points().ghost_px * np.nan
    shown = PointsShown(
        next=1, held_share=0.0, skipped=True, ghost_px=broken, now_px=broken, from_own=False
    )
    assert "hip height" in drawn(practising(points=shown))[2].words


def test_the_practices_headline_and_line_come_first():
    view = practising(headline="How far was it?", line="speed ladder: slow")
    assert headline(view) == "How far was it?"
    assert quiet_line(view) == "speed ladder: slow"


def test_the_schedule_stays_to_be_seen_beside_a_notice():
    view = make_view(notices=("No sound.",), practice=PracticeShown(line="free reps: alternate"))
    assert "free reps: alternate" in " ".join(drawn(view)[2].words.split())


def test_the_page_of_kinds_marks_what_is_in_force():
    view = practising(kind=PracticeKind.LADDER, cues=CueSchedule.FADING, guess_first=True)
    pen = drawn(view, page="kinds")[2]
    words = pen.words
    assert "5 speed ladder now" in words
    assert "now: fewer reps are told" in words
    assert "now on: say short" in words
    assert [text for text, *_ in pen.written].count("now") == 1


def key(code, unicode="", mod=0):
    return pygame.event.Event(pygame.KEYDOWN, key=code, unicode=unicode, mod=mod)


def asked(code, page=""):
    return action_of(pygame, key(code), page=page, handed_left=False)


def test_a_presenters_clicker_goes_through_the_kinds_and_pauses():
    # What clickers send: Page Up, Page Down, Esc or F5, and B or a full stop for a dark screen:
    # common practice, no source.
    assert asked(pygame.K_PAGEDOWN) is KeyAction.NEXT_KIND
    assert asked(pygame.K_PAGEUP) is KeyAction.PREVIOUS_KIND
    assert asked(pygame.K_b) is KeyAction.PAUSE
    assert asked(pygame.K_PERIOD) is KeyAction.PAUSE


def test_escape_takes_a_page_away_before_it_quits():
    assert asked(pygame.K_ESCAPE, page="kinds") is None
    assert asked(pygame.K_ESCAPE, page="caution") is None
    assert asked(pygame.K_ESCAPE) is KeyAction.QUIT


def test_numbers_guess_and_on_the_page_of_kinds_they_choose():
    codes = (pygame.K_1, pygame.K_2, pygame.K_3, pygame.K_4, pygame.K_5)
    guesses = [asked(code) for code in codes]
    assert guesses == [
        KeyAction.GUESS_SHORT, KeyAction.GUESS_THERE, KeyAction.GUESS_PAST, None, None
    ]  # fmt: skip
    kinds = [asked(code, page="kinds").value for code in codes]
    assert kinds == [kind.value for kind in PracticeKind]


def finding(word="stance narrow", part="stance", y_px=320.0):
    return SetupFinding(part=part, value=0.8, low=1.0, high=1.7, y_px=y_px, word=word)


def at_setup(*found, headline=""):
    step = make_step(phase=Phase.SETUP, measures=READ, pose=make_pose())
    return make_view(step=step, practice=PracticeShown(setup=found, headline=headline))


@pytest.mark.parametrize("size_wh", SIZES)
def test_a_setup_that_is_off_has_a_word_and_a_mark_beside_the_body(size_wh):
    view = at_setup(finding(), finding("head over the ball", "head", 70.0))
    pixels, layout, pen = drawn(view, size_wh)
    body = body_box(view.step.pose, layout.picture)
    marks = [
        box for text, box, *_ in pen.written if text in ("stance narrow", "head over the ball")
    ]
    assert all(not box.overlaps(body) for box in marks)
    if size_wh[0] > size_wh[1]:
        assert len(marks) == 2
        assert np.any(np.all(pixels == palette.WARNING, axis=2))


def test_a_fine_setup_is_left_in_peace():
    plain, _, _ = drawn(at_setup())
    fine, _, _ = drawn(at_setup(finding(word="")))
    assert np.array_equal(plain, fine)


def test_the_marks_are_gone_in_the_swing():
    view = at_setup(finding())
    swing = make_view(
        step=make_step(phase=Phase.BACKSWING, measures=READ, pose=make_pose()),
        practice=view.practice,
    )
    assert "stance narrow" not in drawn(swing)[2].words
