"""The coach's bay on the glass: large enough across the room, mirrored bodies, letters as typed."""

import math

import numpy as np
import pygame
import pytest
from golfer import SETUP, TOP, Body, View, pose_of
from screen_views import ListeningPen, drawn, make_measures, make_pose, make_step, make_view

from trainer.adapters import palette
from trainer.adapters.screen_bay import draw_figure
from trainer.adapters.screen_keys import action_of, letter_of, look_action
from trainer.adapters.screen_layout import Box
from trainer.core import look_back
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed, Phase, Rep
from trainer.ports import Announced, KeyAction, Writing

TV_MM = 40 * 25.4 * 9 / math.hypot(16, 9)  # height of a 40-inch screen of 16:9


def arcmin(height_mm, distance_mm):
    """Visual angle of a height, in minutes of arc (geometry)."""
    return 60 * math.degrees(2 * math.atan(height_mm / (2 * distance_mm)))


def far(turn=76.0, *, words=("Turn about 9° short",), phase=Phase.AFTER, **changes):
    step = make_step(phase, make_measures(turn, 9.0, 7.0, turn_se=8.0), pose=make_pose())
    return make_view(far=True, step=step, reps=12, last_rep_words=words, **changes)


def cap_of(pen, text):
    return max(cap for words, _, cap, _ in pen.written if words == text)


@pytest.mark.parametrize("size_wh", [(1280, 720), (1920, 1080), (1024, 768)])
def test_across_the_room_turn_verdict_and_reps_are_large_and_the_rest_is_gone(size_wh):
    words = "Turn about 9° short"
    _, _, pen = drawn(far(words=(words,)), size_wh)
    per_px_mm = TV_MM / size_wh[1]
    # From 5 m; ISO 9241-3: at least 16 minutes of arc, 20 to 22 preferred.
    assert arcmin(cap_of(pen, "76") * per_px_mm, 5000) > 100
    assert arcmin(cap_of(pen, "12") * per_px_mm, 5000) > 60
    verdict = [text for text, *_ in pen.written if text.strip("° ") and text in words]
    assert arcmin(min(cap_of(pen, text) for text in verdict) * per_px_mm, 5000) > 22
    assert "head" not in pen.words
    assert "hips" not in pen.words
    long = "Head 9 cm up at the top, hips off as well"
    _, _, pen = drawn(far(words=(long,)), size_wh)
    caps = [cap for text, _, cap, _ in pen.written if text.strip("° ") and text in long]
    assert arcmin(min(caps) * per_px_mm, 5000) > 22


def test_across_the_room_the_target_is_where_it_is_on_the_bar_and_the_end_is_soft():
    pixels, _, pen = drawn(far(60.0, phase=Phase.BACKSWING, target_deg=80.0))
    assert "target 80°" in pen.words
    rows = np.flatnonzero((pixels == palette.BELOW).all(axis=2).any(axis=1))
    row = pixels[int(np.median(rows))].astype(int)
    blue = row[:, 2]
    full = np.flatnonzero((row == palette.BELOW).all(axis=1))
    target = np.flatnonzero((row == palette.TARGET).all(axis=1)).mean()
    per_deg = (target - full[0]) / 80.0
    assert full[-1] - full[0] == pytest.approx(52.0 * per_deg, abs=3)  # turn less its error
    at_reading = blue[round(full[0] + 60.0 * per_deg)]
    assert at_reading == pytest.approx(palette.BELOW[2] / 2, abs=25)
    assert blue[round(full[0] + 69.0 * per_deg)] < 20


def test_across_the_room_what_the_practice_keeps_back_and_pain_stay_as_in_the_mirror():
    _, _, pen = drawn(far(pain=True, phase=Phase.BACKSWING))
    assert "no target" in pen.words
    assert "Pain marked" in pen.words
    from trainer.core.practice_shown import PracticeShown

    silent = far(practice=PracticeShown(turn=False, drifts=False), words=(), last_rep=None)
    _, _, pen = drawn(silent)
    assert "76" not in pen.words
    assert "on your own" in pen.words
    from dataclasses import replace

    from trainer.ports import Look

    _, _, pen = drawn(replace(far(), look=Look(figures=False)))
    assert "76" not in pen.words
    assert "short" not in pen.words


@pytest.mark.parametrize("size_wh", [(1280, 720), (720, 1280), (640, 480)])
def test_the_next_players_name_is_large_and_all_told_of_them_is_in_the_window(size_wh):
    told = Announced(
        name="Maximiliane Oberhuber-Lindqvist",
        lines=("left-hander  ·  target 85°", "The record of it was damaged " * 6),
    )
    _, _, pen = drawn(make_view(announced=told), size_wh)
    assert told.name in pen.words
    for text, box, *_ in pen.written:
        assert box.x >= 0, text
        assert box.right <= size_wh[0], text
        assert box.bottom <= size_wh[1], text
    assert cap_of(drawn(make_view(announced=Announced(name="Bo", lines=())))[2], "Bo") > 0.15 * 720


def test_a_note_longer_than_the_line_shows_its_end():
    writing = Writing(title="Note on Ann, rep 3", text="word " * 39 + "last", foot="Enter")
    _, _, pen = drawn(make_view(writing=writing))
    assert "last_" in pen.words
    assert "Note on Ann, rep 3" in pen.words
    assert all(box.right <= 1280 for _, box, *_ in pen.written)


def figure_of(handed, body=TOP):
    pose = pose_of(body, View(handed=handed), 0.0)
    setup = pose_of(SETUP, View(handed=handed), 0.0)
    return look_back.figure_of("t", pose.image_px, setup.image_px)


def ink(figure, colour, box=None):
    surface = pygame.Surface((400, 500), 0, 32)
    draw_figure(surface, ListeningPen(), box or Box(0, 0, 400, 500), figure, 500)
    return np.argwhere((pygame.surfarray.array3d(surface) == colour).all(axis=2))


def test_the_body_is_mirrored_as_the_picture_is():
    """A right-hander's hands go away from the target: to the right in a mirror."""
    for handed, way in ((Handed.RIGHT, 1), (Handed.LEFT, -1)):
        figure = figure_of(handed, Body(arc_deg=90.0, turn_deg=60.0))
        arms = ink(figure, palette.TARGET)
        legs = ink(figure, palette.LINE)
        assert way * (arms[:, 0].mean() - legs[:, 0].mean()) > 20


def test_two_players_before_different_cameras_are_drawn_equally_tall():
    near = pose_of(SETUP, View(), 0.0).image_px
    away = pose_of(SETUP, View(distance_m=5.0), 0.0).image_px
    heads = [
        ink(look_back.figure_of("t", points, points), palette.TEXT)[:, 1].min()
        for points in (near, away)
    ]
    assert abs(heads[0] - heads[1]) <= 6


def test_points_that_were_not_read_are_left_out_and_nothing_fails():
    figure = figure_of(Handed.RIGHT)
    figure.image_px[L.LEFT_WRIST] = np.nan
    assert len(ink(figure, palette.TARGET))
    figure.image_px[:] = np.nan
    assert not len(ink(figure, palette.TARGET))


def test_the_rep_standing_still_shows_its_rows_and_where_it_is_in_time():
    readings = [
        (make_measures(4.0 * n, 1.0, 0.0), pose_of(TOP if n > 5 else SETUP, View(), n / 10))
        for n in range(12)
    ]
    rep = Rep(number=2, setup_t_s=0.0, takeaway_t_s=1.0)
    track = look_back.track_of(
        rep, [(m.__class__(t_s=p.t_s, shoulder_turn_deg=m.shoulder_turn_deg), p)
              for m, p in readings], None,
    )  # fmt: skip
    places = []
    for row in (0, 6, 11):
        view = make_view(looked=look_back.standing(track, row, "Ann, rep 2", "keys"))
        pixels, _, pen = drawn(view)
        assert f"{4 * row}°" in pen.words
        assert {"Ann, rep 2", "shoulder turn", "keys", "takeaway"} <= {w for w, *_ in pen.written}
        low = pixels[590:680]
        places.append(np.argwhere((low == palette.TARGET).all(axis=2))[:, 1].mean())
    assert places[0] < places[1] < places[2]


def key(name, letter="", mod=0):
    return pygame.event.Event(
        pygame.KEYDOWN, key=getattr(pygame, f"K_{name}"), unicode=letter, mod=mod
    )


@pytest.mark.parametrize(
    ("event", "action"),
    [
        (key("n", "n"), KeyAction.NEXT_PLAYER),
        (key("n", "N", pygame.KMOD_LSHIFT), KeyAction.PREVIOUS_PLAYER),
        (key("EQUALS", "+", pygame.KMOD_LSHIFT), KeyAction.COACH_GOOD),
        (key("KP_PLUS", "+"), KeyAction.COACH_GOOD),
        (key("EQUALS", "="), None),
        (key("MINUS", "-"), KeyAction.COACH_NOT_GOOD),
        (key("w", "w"), KeyAction.NOTE),
        (key("SPACE", " "), KeyAction.LOOK_BACK),
        (key("u", "u"), KeyAction.TOPS),
        (key("UP"), KeyAction.MORE),
        (key("DOWN"), KeyAction.LESS),
        (key("a", "a"), KeyAction.ADJUST),
        (key("d", "d"), KeyAction.FAR),
        (key("n", "\x0e", pygame.KMOD_LCTRL), None),
    ],
)
def test_each_key_of_the_bay_means_one_thing(event, action):
    assert action_of(pygame, event, page="", handed_left=False) is action


def test_space_takes_a_page_away_and_does_nothing_else():
    assert action_of(pygame, key("SPACE", " "), page="pain", handed_left=False) is None


def test_while_a_rep_stands_still_arrows_step_and_esc_goes_back():
    assert look_action(pygame, pygame.K_LEFT, two=False) is KeyAction.LOOK_EARLIER
    assert look_action(pygame, pygame.K_DOWN, two=False) is KeyAction.LOOK_AFTER
    assert look_action(pygame, pygame.K_ESCAPE, two=False) is KeyAction.LOOK_BACK
    assert look_action(pygame, pygame.K_ESCAPE, two=True) is KeyAction.TOPS
    assert look_action(pygame, pygame.K_p, two=False) is None  # pain is never covered


@pytest.mark.parametrize(
    ("event", "letter"),
    [
        (key("p", "p"), "p"),
        (key("o", "ö"), "ö"),
        (key("SPACE", " "), " "),
        (key("BACKSPACE", "\x08"), "\b"),
        (key("RETURN", "\r"), "\n"),
        (key("ESCAPE", "\x1b"), "\x1b"),
        (key("F1"), ""),
        (key("TAB", "\t"), ""),
    ],
)
def test_a_key_pressed_while_writing_is_its_letter(event, letter):
    assert letter_of(pygame, event) == letter
