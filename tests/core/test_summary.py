"""What is said of the turn after a rep, and where it stays open."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from told_reps import rep_of

from trainer.core.rules import CueRules, Rules
from trainer.core.summary import words_for

TARGET_85 = Rules()  # and a band of 5: enough from 80 on


@pytest.mark.parametrize(
    ("turn_deg", "good", "headline", "detail"),
    [
        (88.0, True, "Good rep", "turn about 88°, ±7"),
        (85.0, True, "Good rep", "turn about 85°, ±7"),
        (84.0, True, "Good rep", "turn about 84°, ±7: near the target"),
        (80.0, True, "Good rep", "turn about 80°, ±7: near the target"),
        (78.0, None, "Turn near the target", "turn about 78°, ±7: near the target"),
        # 80 - 0.674 x 7 = 75.28: a truth of 80 or more still has one chance in four
        (75.3, None, "Turn near the target", "turn about 75°, ±7: near the target"),
        (75.2, False, "Turn about 10° short", "turn about 75°, ±7"),
        (60.0, False, "Turn about 25° short", "turn about 60°, ±7"),
    ],
)
def test_a_turn_is_called_short_only_where_that_is_likely(turn_deg, good, headline, detail):
    words = words_for(rep_of(turn_deg, 7.0), TARGET_85)
    assert (words.good, words.headline) == (good, headline)
    assert detail in words.details


def test_the_surer_the_reading_the_harder_the_verdict():
    assert words_for(rep_of(78.0, 2.0), TARGET_85).good is False
    assert words_for(rep_of(78.0, 7.0), TARGET_85).good is None
    assert words_for(rep_of(68.0, 20.0), TARGET_85).good is not False


def test_without_a_standard_error_none_is_said_but_a_wide_one_is_reckoned_with():
    words = words_for(rep_of(72.0), TARGET_85)
    assert words.good is None
    assert "turn about 72°: near the target" in words.details
    assert words_for(rep_of(69.0), TARGET_85).headline == "Turn about 16° short"


def test_a_turn_that_is_not_as_sure_as_its_tone_asks_is_near_the_target():
    surely = Rules(cues=CueRules(turn_confidence=95.0))
    words = words_for(rep_of(90.0, 7.0), surely)
    assert words.good is True
    assert "turn about 90°, ±7: near the target" in words.details
    assert "turn about 97°, ±7" in words_for(rep_of(97.0, 7.0), surely).details


def test_another_fault_has_the_headline_and_the_turn_stays_open_beside_it():
    words = words_for(rep_of(78.0, 7.0, max_head_lateral_cm=9.0), TARGET_85)
    assert words.good is False
    assert words.headline == "Head 9 cm away from the target"
    assert "turn about 78°, ±7: near the target" in words.details


def test_a_turn_not_measured_is_neither_short_nor_near():
    words = words_for(rep_of(None, 7.0), TARGET_85)
    assert words.good is None
    assert words.headline == "Not everything was measured"
    assert "turn not measured" in words.details


@given(turn_deg=st.floats(-20, 130), se_deg=st.none() | st.floats(0.0, 30.0))
def test_after_pain_the_turn_is_told_and_never_asked_for(turn_deg, se_deg):
    words = words_for(rep_of(turn_deg, se_deg), Rules(pain=True))
    assert words.good is True
    assert not any("short" in line or "near" in line for line in words.lines)
    assert any(line.startswith("turn about") for line in words.lines)


@given(turn_deg=st.floats(-20, 130), se_deg=st.floats(0.0, 30.0), more=st.floats(0.0, 30.0))
def test_a_larger_standard_error_never_makes_a_turn_short(turn_deg, se_deg, more):
    narrow = words_for(rep_of(turn_deg, se_deg), TARGET_85)
    wide = words_for(rep_of(turn_deg, se_deg + more), TARGET_85)
    assert wide.good is not False or narrow.good is False


@given(turn_deg=st.floats(-20, 130), se_deg=st.none() | st.floats(0.0, 30.0))
def test_no_turn_is_short_inside_the_band_and_none_is_good_under_it(turn_deg, se_deg):
    words = words_for(rep_of(turn_deg, se_deg), TARGET_85)
    if turn_deg >= 80.0:
        assert words.good is True
    else:
        assert words.good is not True
