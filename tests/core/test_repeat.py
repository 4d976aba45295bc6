"""How alike the reps are: the spread of the turn at the top."""

import pytest

from trainer.core.records import Measures, Rep
from trainer.core.repeat import turn_spread
from trainer.core.summary import spread_words


def rep(turn, complete=True):
    top = None if turn == "no top" else Measures(t_s=0.0, shoulder_turn_deg=turn)
    return Rep(number=1, setup_t_s=0.0, takeaway_t_s=0.0, complete=complete, at_top=top)


def test_the_spread_is_the_sample_standard_deviation():
    # NIST Statistical Reference Datasets, univariate "NumAcc1": certified standard deviation 1
    # (exact); the set and its value from memory.
    spread = turn_spread([rep(10000001.0), rep(10000003.0), rep(10000002.0)])
    assert spread.turn_sd_deg == 1.0
    assert spread.reps == 3


def test_two_reps_say_nothing_about_a_spread():
    assert turn_spread([rep(80.0), rep(90.0)]) is None
    assert turn_spread([]) is None
    assert spread_words(None) == ""


def test_only_complete_reps_with_a_turn_count():
    known = [rep(80.0), rep(82.0), rep(84.0)]
    others = [rep(10.0, complete=False), rep(None), rep("no top")]
    assert turn_spread(known + others) == turn_spread(known)
    assert turn_spread(known[:2] + others) is None


def test_the_spread_is_told_in_words():
    spread = turn_spread([rep(80.0), rep(84.0), rep(88.0)])
    assert spread.turn_sd_deg == pytest.approx(4.0)
    assert spread_words(spread) == "3 reps: turn spread ±4°"
