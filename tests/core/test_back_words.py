"""The back's gap to the ball line in words: the three readings the trade uses."""

from dataclasses import replace

import pytest
from told_reps import rep_of

from trainer.core.rules import CueRules, Rules
from trainer.core.summary import back_words, line_words, words_for


@pytest.mark.parametrize(
    ("gap", "words", "good"),
    [
        (12.3, "back 12 cm short of the ball line: too little extension", False),
        (6.0, "back 6 cm short of the ball line: good", True),
        (0.2, "back at the ball line: good", True),
        (-3.4, "back 3 cm past the ball line: too much", False),
        (None, "", True),
    ],
)
def test_a_large_gap_is_too_little_a_small_one_good_and_past_the_line_too_much(gap, words, good):
    assert back_words(gap, Rules()) == (words, good)


@pytest.mark.parametrize(
    ("gap", "words", "good"),
    [
        # 75 % one-sided is 0.674 standard errors (tables of the normal distribution): 2 cm of 3.
        (7.9, "back 8 cm short of the ball line, ±3: near the limit", True),
        (8.1, "back 8 cm short of the ball line, ±3: too little extension", False),
        (-1.9, "back 2 cm past the ball line, ±3: near the limit", True),
        (-2.1, "back 2 cm past the ball line, ±3: too much", False),
        (5.9, "back 6 cm short of the ball line, ±3: good", True),
    ],
)
def test_a_gap_outside_by_less_than_its_own_error_is_near_the_limit(gap, words, good):
    assert back_words(gap, Rules(), 3.0) == (words, good)


def test_the_limits_can_be_set():
    rules = Rules(cues=CueRules(back_gap_low_cm=-4.0, back_gap_high_cm=14.0))
    assert back_words(12.3, rules)[1]
    assert back_words(-3.4, rules) == ("back 3 cm past the ball line: good", True)


def test_after_pain_nobody_is_told_that_more_was_wanted():
    words, good = back_words(12.0, Rules(pain=True))
    assert words == "back 12 cm short of the ball line"
    assert good


def rep(gap):
    return rep_of(90.0, back_gap_cm=gap)


def test_the_gap_is_told_with_every_rep_and_decides_only_where_it_is_to_count():
    told = words_for(rep(15.0), Rules())
    assert told.good
    assert "back 15 cm short of the ball line: too little extension" in told.details
    counts = Rules(cues=CueRules(back_gap_counts=True))
    assert words_for(rep(15.0), counts).headline.startswith("Back 15 cm short")
    assert words_for(rep(-3.0), counts).good is False
    assert words_for(rep(3.0), counts).good
    assert words_for(rep(15.0), replace(counts, pain=True)).good
    assert not any("back" in words for words in words_for(rep(None), counts).lines)


def test_the_lines_place_is_told_from_the_lead_shoulder():
    assert line_words(0.0) == "Ball line in line with the lead shoulder"
    assert line_words(2.5) == "Ball line 2.5 cm from the lead shoulder, away from the target"
    assert line_words(-4.0) == "Ball line 4 cm from the lead shoulder, toward the target"
