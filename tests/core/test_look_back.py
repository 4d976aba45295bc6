"""The last rep standing still, and two tops beside each other: which reading, which words."""

import math

import numpy as np
import pytest
from golfer import SETUP, TOP, View, pose_of

from trainer.core import look_back
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Measures, Rep


def measures(t_s, turn, **more):
    return Measures(t_s=t_s, shoulder_turn_deg=turn, **more)


def track(count=21, hz=10.0, unread=()):
    """Readings from 1 s before the takeaway at 1.0 s on: the top is from 2.0 to 2.5 s."""
    readings = []
    for row in range(count):
        t_s = row / hz
        share = min(max(t_s - 1.0, 0.0), 1.0)
        pose = None if row in unread else pose_of(TOP if share else SETUP, View(), t_s)
        readings.append((measures(t_s, 90.0 * share), pose))
    top = measures(2.0, 90.0, head_lateral_cm=2.0)
    rep = Rep(number=3, setup_t_s=0.2, takeaway_t_s=1.0, top_t_s=1.9, at_top=top, complete=True)
    return look_back.track_of(rep, readings, None)


def test_without_a_pose_there_is_no_track():
    rep = Rep(number=1, setup_t_s=0.0, takeaway_t_s=1.0)
    assert look_back.track_of(rep, [(measures(0.0, 1.0), None)], None) is None
    assert look_back.track_of(rep, [], None) is None


def test_readings_without_a_pose_are_left_out():
    assert track(unread=(3, 4)).t_s[3] == pytest.approx(0.5)


def test_the_instants_are_gone_through_in_order_and_end_at_the_ends():
    made = track()
    assert look_back.instants(made) == ((0, "setup"), (10, "takeaway"), (20, "top"))
    row, seen = 20, []
    for _ in range(4):
        row = look_back.jumped(made, row, -1)
        seen.append(row)
    assert seen == [10, 0, 0, 0]
    assert look_back.jumped(made, 5, 1) == 10
    assert look_back.jumped(made, made.last, 1) == made.last


def test_a_rep_without_a_top_stands_at_its_largest_turn():
    rep = Rep(number=1, setup_t_s=0.0, takeaway_t_s=0.2)
    turns = [0.0, 20.0, None, 50.0, 30.0]
    readings = [(measures(0.1 * n, t), pose_of(TOP, View(), 0.1 * n)) for n, t in enumerate(turns)]
    made = look_back.track_of(rep, readings, None)
    assert look_back.top_row(made) == 3
    assert look_back.top_figure(made, "t") is None
    assert "top" not in [name for _, name in look_back.instants(made)]


def test_what_stands_still_is_that_reading_and_the_way_of_the_hands_up_to_it():
    made = track()
    shown = look_back.standing(made, 15, "Ann, rep 3", "keys")
    (figure,) = shown.figures
    assert figure.title == "0.50 s after the takeaway"
    assert dict(shown.rows)["shoulder turn"] == "45°"
    assert dict(shown.rows)["head"] == "not measured"
    assert figure.image_px is made.readings[15][1].image_px
    hands = made.readings[15][1].image_px[[L.LEFT_WRIST, L.RIGHT_WRIST]].mean(axis=0)
    assert len(figure.hands_px) == 16
    assert np.allclose(figure.hands_px[-1], hands)
    assert shown.share == pytest.approx(15 / 20)
    assert look_back.standing(made, 4, "", "").figures[0].title == "0.60 s before the takeaway"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"head_lateral_cm": 3.4, "head_lateral_se_cm": 1.2}, "3 cm ±1 away"),
        ({"head_lateral_cm": -3.4}, "3 cm toward"),
        ({"head_lateral_cm": 3.4, "head_lateral_se_cm": 0.42}, "3 cm ±0.4 away"),
        ({"head_lateral_cm": -0.3}, "0 cm"),
    ],
)
def test_a_drift_is_told_with_its_side_and_its_standard_error(given, said):
    made = look_back.track_of(
        Rep(number=1, setup_t_s=0.0, takeaway_t_s=0.0),
        [(measures(0.0, -0.4, **given), pose_of(SETUP, View(), 0.0))],
        None,
    )
    rows = dict(look_back.standing(made, 0, "", "").rows)
    assert rows["head"] == said
    assert rows["shoulder turn"] == "0°"  # never "-0"


def beside(mine, other):
    figure = look_back.top_figure(track(), "t")
    shown = look_back.side_by_side(figure, mine, figure, other, title="", foot="")
    return {row[0]: row[1:] for row in shown.rows}


def test_two_tops_differ_only_where_the_readings_are_sure_enough_to_say_so():
    """The standard error of a difference of two independent readings is the root of the sum of
    their squares (GUM, JCGM 100:2008, 5.1.2)."""
    mine = measures(0.0, 84.0, shoulder_turn_se_deg=3.0, hip_turn_deg=40.0, head_vertical_cm=1.0)
    near = measures(0.0, 88.0, shoulder_turn_se_deg=4.0, hip_turn_deg=41.0)
    far = measures(0.0, 90.0, shoulder_turn_se_deg=4.0)
    assert math.hypot(3.0, 4.0) == 5.0
    rows = beside(mine, near)
    assert rows["shoulder turn"] == ("84° ±3", "88° ±4", "alike")
    assert rows["hip turn"] == ("40°", "41°", "−1°")
    assert rows["head height"] == ("1 cm up", "not measured", "–")
    assert "hips" not in rows
    assert beside(mine, far)["shoulder turn"][2] == "−6°"


def test_both_bodies_are_measured_by_how_tall_they_stood_at_setup():
    setup = pose_of(SETUP, View(), 0.0).image_px
    far = pose_of(SETUP, View(distance_m=4.5), 0.0).image_px
    assert look_back.tall_px(setup) / look_back.tall_px(far) == pytest.approx(1.5, rel=0.05)
    crouched = look_back.figure_of("t", pose_of(TOP, View(), 0.0).image_px, setup)
    assert crouched.tall_px == look_back.tall_px(setup)
