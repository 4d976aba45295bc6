"""Who the player is when several people are about."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import SETUP, TOP, Body, View, pose_of
from hypothesis import given
from hypothesis import strategies as st

from trainer.core import following as f
from trainer.core.records import Handed

SIZE = (1280, 720)


def someone(x=640.0, height=550.0, foot=640.0):
    return f.Person(hips_px=(x, foot - height / 2), top_px=foot - height, bottom_px=foot)


GOLFER = someone()
COACH = someone(x=1000.0)
PASSER = someone(x=1000.0, height=620.0, foot=690.0)


def settled(home=GOLFER, t_s=0.0):
    return f.see_people(f.looked(f.Following(), t_s), [home], t_s, SIZE)


def track(state, places, start_s, hz=30):
    """Feed tracked poses; return the state and the time after the last."""
    for i, who in enumerate(places):
        state = f.see_pose(state, who, start_s + i / hz)
    return state, start_s + len(places) / hz


def test_a_pose_gives_where_its_person_stands():
    pose = pose_of(SETUP, View(), 0.0)
    who = f.person(pose.image_px)
    assert who.hips_px == pytest.approx(pose.image_px[[23, 24]].mean(axis=0))
    assert who.top_px == pose.image_px[:11, 1].min()
    assert who.bottom_px == pose.image_px[27:, 1].max()


def test_the_player_alone_sees_the_whole_picture_and_no_notice():
    state, _ = track(settled(), [GOLFER] * 30, 0.0)
    assert f.visible_box(state, SIZE) is None
    assert f.notice(state, SIZE) == ""


def test_nobody_yet_needs_no_box_and_no_notice():
    state = f.see_people(f.Following(), [], 0.0, SIZE)
    assert f.visible_box(state, SIZE) is None
    assert f.notice(state, SIZE) == ""


@pytest.mark.parametrize("order", [(GOLFER, COACH), (COACH, GOLFER)])
def test_of_two_the_one_in_the_middle_is_followed(order):
    state = f.see_people(f.Following(), order, 0.0, SIZE)
    assert state.home == GOLFER
    assert f.notice(state, SIZE) == "two people in view: following the one in the middle"


def test_of_two_in_the_middle_the_larger_is_followed():
    small = someone(x=560.0, height=300.0)
    state = f.see_people(f.Following(), [small, someone(x=720.0)], 0.0, SIZE)
    assert state.home == someone(x=720.0)


def test_two_alike_are_called_ambiguous():
    state = f.see_people(f.Following(), [someone(x=500.0), someone(x=780.0)], 0.0, SIZE)
    assert f.notice(state, SIZE).endswith("if that is wrong, the other steps out")


def test_three_people_are_counted():
    state = f.see_people(settled(), [GOLFER, COACH, someone(x=250.0)], 1.0, SIZE)
    assert f.notice(state, SIZE).startswith("three people in view")


def test_one_person_detected_twice_is_one_person():
    double = someone(x=650.0, height=560.0)
    assert f.notice(f.see_people(settled(), [GOLFER, double], 1.0, SIZE), SIZE) == ""


def test_a_far_off_figure_is_nobody():
    tiny = someone(x=200.0, height=90.0)
    assert f.notice(f.see_people(settled(), [GOLFER, tiny], 1.0, SIZE), SIZE) == ""


def test_the_one_already_followed_stays_followed_when_another_comes_as_near():
    state = settled(someone(x=560.0))
    rival = someone(x=760.0, height=580.0)
    for second in range(1, 6):
        state = f.see_people(state, [rival, someone(x=560.0)], float(second), SIZE)
    assert state.home.hips_px[0] == 560.0


def test_a_next_player_in_the_middle_takes_over_from_a_coach_at_the_side():
    coach = someone(x=1050.0, height=520.0)
    state = settled(coach)
    state = f.see_people(state, [coach, GOLFER], 1.0, SIZE)
    assert state.home == coach  # one look may be a passer-by
    state = f.see_people(state, [coach, GOLFER], 2.0, SIZE)
    assert state.home == GOLFER


def test_a_coach_who_steps_in_front_takes_nothing_from_who_stands_at_address():
    """Much larger and in the middle, for as long as they like, but with the arms hanging."""
    player, coach = someone(x=900.0, height=420.0), someone(x=640.0, height=690.0)
    for address, followed in ((True, 900.0), (False, 640.0)):
        state = settled(replace(player, address=address))
        for second in range(1, 6):
            state = f.see_people(state, [coach, replace(player, address=address)], second, SIZE)
        assert state.home.hips_px[0] == followed


def test_in_a_swing_nobody_takes_over_and_afterwards_they_may():
    """The hands have left the body's front, so it is the lock that keeps the player."""
    player, coach = someone(x=900.0, height=420.0), someone(x=640.0, height=690.0)
    state = settled(player)
    for second in range(1, 6):
        state = f.see_people(state, [coach, player], float(second), SIZE, locked=True)
    assert state.home == player
    for second in range(6, 9):
        state = f.see_people(state, [coach, player], float(second), SIZE)
    assert state.home == coach


def test_of_two_alike_the_one_at_address_is_the_player():
    standing, player = someone(x=560.0), replace(someone(x=740.0), address=True)
    for people in ([standing, player], [player, standing]):
        state = f.see_people(f.Following(), people, 0.0, SIZE)
        assert state.home == player
        assert not state.ambiguous


def test_the_next_player_at_address_takes_over_from_a_coach_with_folded_hands():
    coach = replace(someone(x=1050.0, height=520.0), address=True)
    player = replace(GOLFER, address=True)
    state = settled(coach)
    for second in (1.0, 2.0, 3.0):
        state = f.see_people(state, [coach, player], second, SIZE)
    assert state.home == player


@pytest.mark.parametrize("handed", list(Handed))
def test_a_golfer_counts_as_at_address_at_setup_and_at_no_other_time_of_the_swing(handed):
    view = View(handed=handed)
    assert f.person(pose_of(SETUP, view, 0.0).image_px).address
    for body in (TOP, Body(arc_deg=60.0, turn_deg=30.0), Body(hand_up_cm=40.0)):
        assert not f.person(pose_of(body, view, 0.0).image_px).address


def test_a_passer_by_in_front_never_becomes_the_player():
    """Both seen, then only the passer-by, then both again; the tracker is carried off."""
    state = settled()
    state = f.see_people(state, [GOLFER, PASSER], 1.0, SIZE)
    box = f.visible_box(state, SIZE)
    state = f.see_people(state, [replace(PASSER, hips_px=(660.0, 380.0))], 2.0, SIZE)
    assert f.visible_box(state, SIZE) == box
    carried = [replace(PASSER, hips_px=(660.0 - 12 * i, 380.0)) for i in range(30)]
    state, t_s = track(state, carried, 2.0)
    assert state.astray
    assert f.wants_look(f.looked(state, t_s - 0.41), t_s)
    state = f.see_people(state, [carried[-1], GOLFER], t_s, SIZE)
    assert state.home == GOLFER
    assert not state.astray


def test_a_tracker_carried_off_unseen_is_found_out_by_the_next_look():
    state, t_s = track(settled(), [GOLFER] * 30, 0.0)
    state, t_s = track(state, [someone(x=640.0 + 15 * i) for i in range(20)], t_s)
    assert state.astray
    assert state.home.hips_px[0] < 700
    assert f.wants_look(f.looked(state, t_s - 0.41), t_s)
    state = f.see_people(state, [someone(x=930.0), GOLFER], t_s, SIZE)
    assert state.home == GOLFER
    left, _, right, _ = f.visible_box(state, SIZE)
    assert left < 640 < right < 930


def test_the_crowd_is_over_some_seconds_after_the_last_look_that_saw_it():
    state = f.see_people(settled(), [GOLFER, COACH], 1.0, SIZE)
    state = f.see_people(state, [GOLFER], 2.0, SIZE)
    assert f.visible_box(state, SIZE) is not None
    state = f.see_people(state, [GOLFER], 3.6, SIZE)
    assert f.visible_box(state, SIZE) is None
    assert f.notice(state, SIZE) == ""


@pytest.mark.parametrize("hz", [15, 30, 60])
def test_a_player_who_walks_to_another_place_is_followed_there(hz):
    state, t_s = settled(), 0.0
    for i in range(4 * hz):
        t_s = i / hz
        x = min(640.0 + 300.0 * t_s, 900.0)
        if f.wants_look(state, t_s):
            state = f.see_people(f.looked(state, t_s), [someone(x=x)], t_s, SIZE)
        state = f.see_pose(state, someone(x=x), t_s)
    assert state.home.hips_px[0] == pytest.approx(900.0, abs=15.0)
    assert not state.astray


def test_when_the_player_has_left_and_two_others_stay_one_of_them_is_chosen():
    state = f.see_people(settled(), [GOLFER, COACH], 1.0, SIZE)
    others = [someone(x=1100.0), someone(x=150.0, height=600.0)]
    state = f.see_people(state, others, 2.0, SIZE)
    assert state.home == GOLFER  # may be hidden for a moment
    state = f.see_people(state, others, 3.0, SIZE)
    assert state.home in others


def test_a_swing_never_looks_like_leaving_home():
    """Hip drift toward the target in the downswing: up to 15 cm of a 175 cm golfer
    (common practice, no source)."""
    drift = 550.0 * 15 / 175
    places = [someone(x=640.0 + drift * np.sin(i / 5)) for i in range(90)]
    for first in ([GOLFER], [GOLFER, COACH]):
        state = f.see_people(settled(), first, 1.0, SIZE)
        for i, place in enumerate(places):
            state = f.see_pose(state, place, 1.0 + i / 30)
            assert not state.astray


@given(x=st.floats(100, 1180), height=st.floats(200, 640), other_x=st.floats(0, 1280))
def test_the_box_keeps_the_player_s_arms_and_stays_in_the_picture(x, height, other_x):
    home = someone(x=x, height=height)
    other = someone(x=other_x, height=height)
    state = f.Following(home=home, others=(other,), crowd_t_s=0.0, settled=True)
    left, top, right, bottom = f.visible_box(state, SIZE)
    assert 0 <= left < right <= 1279
    assert 0 <= top < bottom <= 719
    # Winter's shares of stature (from memory): half of a 0.259 breadth, and arm and hand 0.44,
    # are 0.57 if stretched straight out; less the hand, the wrist is at 0.46.
    wrist = (0.259 / 2 + 0.186 + 0.146) * height
    assert left <= max(x - wrist, 0.0)
    assert right >= min(x + wrist, 1279.0)
    assert top <= max(home.top_px - 0.3 * height, 0.0)


def test_looks_come_once_a_second_and_at_once_after_a_clock_that_went_back():
    state = f.looked(f.Following(), 5.0)
    assert not f.wants_look(state, 5.9)
    assert f.wants_look(state, 6.0)
    assert f.wants_look(state, 0.0)
