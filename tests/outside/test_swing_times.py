"""How long the lab's swings take, and what the core makes of real ones' times.

Two sources. GolfDB (McNally, Vats, Wong, McPhee 2019, a labelled set of swing videos): our own
count over the labels of its 178 driver swings seen face-on at real speed, mostly of tour players;
the pictures' rate is not stored and taken as 30 a second. Grober & Cholewicki, a preprint on
tempo, who give 21 and 7 to 30 and 10 pictures at 30 a second for tour players' backswing and
downswing.
"""

from dataclasses import replace

import numpy as np
import pytest
from golfer import View, play, rep_script

from trainer.lab import crowd, exam
from trainer.lab.motion import Curves, Pose, backswing
from trainer.lab.scenarios import SCENARIOS

#: GolfDB, pictures from address to top and from top to impact, by the share of swings below.
BACK_PICTURES = {0.05: 21, 0.25: 25, 0.50: 29, 0.75: 35, 0.95: 51}
DOWN_PICTURES = {0.05: 6, 0.50: 8, 0.95: 10}
#: GolfDB, backswing over downswing: 5, 50 and 95 in a hundred.
RATIO = (2.6, 3.8, 6.3)
#: Grober & Cholewicki: the quickest and the slowest they quote.
TOUR_BACK_S, TOUR_DOWN_S = (21 / 30, 30 / 30), (7 / 30, 10 / 30)


def share_below(seconds):
    """Return the share of GolfDB's backswings that are quicker, between its percentiles."""
    return float(np.interp(seconds * 30, list(BACK_PICTURES.values()), list(BACK_PICTURES)))


def test_the_full_speed_swing_takes_a_tour_players_time():
    (rep,) = SCENARIOS["practice-then-fast"](3, 30.0, {}).motion.reps
    back_s = rep.top_s - rep.takeaway_s
    assert TOUR_BACK_S[0] <= back_s <= TOUR_BACK_S[1]
    assert BACK_PICTURES[0.25] <= back_s * 30 <= BACK_PICTURES[0.75]
    assert rep.top_end_s == rep.top_s  # no hold at full speed


def test_the_full_speed_swing_comes_down_in_a_tour_players_time():
    clip = SCENARIOS["practice-then-fast"](3, 1000.0, {})
    (rep,) = clip.motion.reps
    t_s, turn = clip.motion.t_s, clip.motion.dofs["hip_turn_deg"]
    after = t_s >= rep.top_end_s
    # The hips' move from the top ends where the ball would be: they pass 28 degrees open there.
    down_s = float(t_s[after][turn[after] <= -27.0][0] - rep.top_end_s)
    assert TOUR_DOWN_S[0] <= down_s <= TOUR_DOWN_S[1]
    assert DOWN_PICTURES[0.05] <= down_s * 30 <= DOWN_PICTURES[0.95]
    assert RATIO[0] <= (rep.top_s - rep.takeaway_s) / down_s <= RATIO[2]


def drawn(speed, count=300):
    return [exam.natural_swing(np.random.default_rng(seed), speed) for seed in range(count)]


def test_the_exams_full_speed_swings_take_the_time_of_tour_players():
    swings = drawn("full")
    back_s = np.array([swing.backswing_s for swing in swings])
    down_s = np.array([swing.downswing_s for swing in swings])
    # A twentieth of GolfDB's are quicker than the quickest that Grober & Cholewicki quote.
    assert TOUR_BACK_S[0] - 0.1 <= back_s.min()
    assert back_s.max() <= TOUR_BACK_S[1] + 0.1
    assert 0.05 <= share_below(np.median(back_s)) <= 0.60
    assert TOUR_DOWN_S[0] <= down_s.min()
    assert down_s.max() <= TOUR_DOWN_S[1]
    assert RATIO[0] <= np.median(back_s / down_s) <= RATIO[1]
    assert all(swing.hold_s == 0.0 for swing in swings)


def test_the_exams_other_swings_are_slower_than_real_ones_on_purpose():
    # A player who trains with the program looks and listens on the way back; most of the exam is
    # therefore slower than the middle of real swings at full speed.
    for speed in ("normal", "slow"):
        assert min(share_below(swing.backswing_s) for swing in drawn(speed)) > 0.50


def test_the_exam_covers_nine_in_ten_real_backswings_and_a_quarter_of_it_is_at_full_speed():
    lengths = [swing.backswing_s for swing in drawn(None)]
    assert share_below(max(lengths)) - share_below(min(lengths)) >= 0.85
    at_full = [exam.speed_of(seed) == "full" for seed in range(240)]
    assert np.mean(at_full) >= 0.25


def test_a_randomly_drawn_clip_covers_seven_in_ten_real_backswings_too():
    lengths = []
    for seed in range(150):
        (rep,) = SCENARIOS["anybody"](seed, 30.0, {}).motion.reps
        lengths.append(rep.top_s - rep.takeaway_s)
    assert share_below(max(lengths)) - share_below(min(lengths)) >= 0.70


def test_a_still_poses_backswing_lasts_as_long_as_the_middle_of_real_ones():
    swing = crowd.random_swing(np.random.default_rng(0))
    assert 0.25 <= share_below(swing.backswing_s) <= 0.75


@pytest.mark.parametrize(("back_s", "turn", "peak"), [(0.9, 90.0, 187.5), (3.0, 90.0, 56.25)])
def test_the_shoulders_turn_as_fast_as_a_minimum_jerk_move_must(back_s, turn, peak):
    # 30/16 of the mean speed at half time (Flash & Hogan 1985, from memory): own arithmetic
    curves = Curves(Pose())
    drawn = crowd.random_swing(np.random.default_rng(1))
    swing = replace(drawn, shoulder_turn_deg=turn, backswing_s=back_s)
    backswing(curves, swing, setup_s=0.0, takeaway_s=0.0)
    t_s = np.linspace(0, back_s, 20_001)
    speed = np.gradient(curves.at(t_s)["shoulder_turn_deg"], t_s)
    assert speed.max() == pytest.approx(peak, rel=1e-3)


@pytest.mark.parametrize("down", DOWN_PICTURES.values())
@pytest.mark.parametrize("back", BACK_PICTURES.values())
def test_a_swing_of_real_times_is_one_rep_with_its_top_in_the_right_picture(back, down):
    script, (takeaway_s, top_s, _) = rep_script(back_s=back / 30, down_s=down / 30)
    rep = play(script, View(hz=30.0)).rep
    assert rep.complete
    assert rep.top_t_s == pytest.approx(top_s, abs=2 / 30)
    assert rep.takeaway_t_s == pytest.approx(takeaway_s, abs=3 / 30)
