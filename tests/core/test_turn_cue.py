"""When the turn sounds: its target, how sure it must be, and what one wild reading does."""

from dataclasses import replace

import pytest
from golfer import TOP, Script, View, play
from hearing import series, sounded, turning
from hypothesis import given
from hypothesis import strategies as st
from situations import swing

from trainer.core import cues
from trainer.core.records import CueKind, Handed, Phase
from trainer.core.rules import CONFIDENCE, CueRules, Rules


def test_the_turn_sounds_once_a_rep_at_its_crossing_between_two_readings():
    heard, state = sounded(series("shoulder_turn_deg", [70, 80, 90, 80, 90, 95]))
    assert [(c.kind, c.side, c.strength) for c in heard] == [(CueKind.TURN_REACHED, None, 1.0)]
    # 85 lies half way from 80 to 90
    assert heard[0].t_s == pytest.approx(0.15)
    assert heard[0].decided_t_s == pytest.approx(0.2)
    again, state = sounded([(1.0, {})], phase=Phase.AFTER, state=state)
    assert again == []
    heard, _ = sounded(series("shoulder_turn_deg", [80, 90]), state=state)
    assert len(heard) == 1


def test_the_turn_sounds_at_the_target_itself_and_not_a_hair_below():
    assert sounded(series("shoulder_turn_deg", [80, 84.999, 84.999]))[0] == []
    (cue,) = sounded(series("shoulder_turn_deg", [80, 85.0]))[0]
    assert cue.t_s == cue.decided_t_s == pytest.approx(0.1)


def test_a_target_of_the_players_own_is_kept():
    (cue,) = sounded(series("shoulder_turn_deg", [60, 71]), CueRules(target_deg=70))[0]
    assert cue.t_s == pytest.approx(0.1 * 10 / 11)


def test_a_turn_first_read_beyond_the_target_after_a_gap_has_no_invented_crossing():
    (cue,) = sounded(series("shoulder_turn_deg", [80, None, 90]))[0]
    assert cue.t_s == cue.decided_t_s == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("confidence", "z"),
    # Table of the standard normal distribution, upper tail 0.25, 0.10, 0.05 and 0.01: 0.674,
    # 1.282, 1.645 and 2.326 (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1;
    # written down from memory).
    [(50, 0.0), (75, 0.674), (90, 1.282), (95, 1.645), (99, 2.326)],
)
def test_a_turn_is_there_with_a_confidence_by_the_normal_table(confidence, z):
    assert cues.least_turn_deg(90.0, 10.0, confidence) == pytest.approx(90.0 - 10.0 * z, abs=0.01)


def test_more_confidence_waits_for_a_turn_past_the_target():
    slow = turning(list(range(70, 111)), se=10.0)
    decided = {}
    for name, per_cent in CONFIDENCE.items():
        (cue,) = sounded(slow, CueRules(turn_confidence=per_cent))[0]
        decided[name] = 70 + cue.decided_t_s * 30
        # The crossing is found between two readings: target and z standard errors more.
        assert 70 + cue.t_s * 30 == pytest.approx(
            85 + {50: 0, 75: 6.745, 95: 16.449}[per_cent], abs=0.001
        )
    assert decided == {
        "even odds": pytest.approx(85),
        "likely": pytest.approx(92),
        "surely": pytest.approx(102),
    }


def test_at_even_odds_the_standard_error_does_not_matter():
    values = [70, 80, 84, 86, 95]
    plain = sounded(turning(values))[0]
    assert plain
    for se in (0.0, 5.0, 30.0):
        assert sounded(turning(values, se))[0] == plain


def test_an_unknown_standard_error_is_taken_as_a_wide_one_and_never_as_none():
    likely = CueRules(turn_confidence=75)
    values = [80, 85, 90, 95, 96]
    assert sounded(turning(values, 0.0), likely)[0]
    unknown = sounded(turning(values), likely)[0]
    assert unknown == sounded(turning(values, cues.UNKNOWN_TURN_SE_DEG), likely)[0]
    # 85 + 0.674 x 15 = 95.1
    assert [cue.decided_t_s for cue in unknown] == [pytest.approx(4 / 30)]


def test_a_single_reading_no_body_could_reach_does_not_sound_the_turn():
    # 40 degrees within a thirtieth of a second are 1200 a second.
    assert sounded(turning([44, 47, 87, 50, 53, 90, 56]))[0] == []
    assert sounded(turning([47, None, 87, 50]))[0] == []
    assert sounded(turning([87, 47, 50]))[0] == [], "the first of a swing has nothing before it"


def test_a_jump_that_lasts_sounds_one_reading_later_and_tells_when_it_was():
    (cue,) = sounded(turning([44, 47, 87, 88]))[0]
    assert cue.decided_t_s == pytest.approx(3 / 30)
    assert cue.t_s == pytest.approx((1 + 38 / 40) / 30)


@pytest.mark.parametrize("hz", [15, 30, 60])
def test_a_quick_backswing_sounds_with_the_first_reading_at_its_target(hz):
    # 90 degrees in half a second, the whole of it faster than any of ours: 1.875 x 90 / 0.5 s is
    # 338 degrees a second at most on a path of least jerk (Flash and Hogan 1985, Journal of
    # Neuroscience 5:1688: x = 10 s^3 - 15 s^4 + 6 s^5).
    shares = [min(i / hz / 0.5, 1.0) for i in range(hz)]
    path = [95.0 * (10 * s**3 - 15 * s**4 + 6 * s**5) for s in shares]
    (cue,) = sounded(turning(path, step_s=1 / hz))[0]
    first = next(i for i, turn in enumerate(path) if turn >= 85)
    assert cue.decided_t_s == pytest.approx(first / hz)


def test_a_turn_can_be_asked_to_last_before_it_sounds():
    held = CueRules(turn_hold_s=0.1)
    assert sounded(turning([80, 84, 86, 84, 86, 84]), held)[0] == []
    (cue,) = sounded(turning([80, 84, 86, 86, 86, 86, 86]), held)[0]
    # Passed at 1.5 pictures; 0.1 s are three pictures more
    assert cue.t_s == pytest.approx(1.5 / 30)
    assert cue.decided_t_s == pytest.approx(5 / 30)
    broken = [80, 84, 86, None, 86, 86, 86]
    assert sounded(turning(broken), held)[0] == [], "what was not read breaks the hold"


#: A turn as a camera might tell it: readings and gaps, whatever they are, each with its error.
TOLD = st.lists(
    st.tuples(st.none() | st.floats(-40, 130), st.none() | st.floats(0.0, 30.0)),
    min_size=1,
    max_size=30,
)
RULES_OF_TURN = st.builds(
    CueRules,
    target_deg=st.floats(45, 110),
    turn_confidence=st.floats(50, 99),
    turn_hold_s=st.sampled_from([0.0, 0.0, 0.05, 0.2]),
)


def told(pairs):
    return turning([turn for turn, _ in pairs], [se for _, se in pairs])


def not_earlier(later, earlier):
    """Assert that what sounded ``later`` did so no earlier, or not at all."""
    assert len(later) <= len(earlier) <= 1
    for one, other in zip(later, earlier, strict=False):
        assert one.decided_t_s >= other.decided_t_s
        assert one.t_s >= other.t_s - 1e-9


@given(pairs=TOLD, rules=RULES_OF_TURN, more=st.floats(0, 1))
def test_more_confidence_never_sounds_earlier(pairs, rules, more):
    surer = replace(
        rules, turn_confidence=rules.turn_confidence + more * (99 - rules.turn_confidence)
    )
    not_earlier(sounded(told(pairs), surer)[0], sounded(told(pairs), rules)[0])


@given(pairs=TOLD, rules=RULES_OF_TURN, more=st.floats(0, 20))
def test_a_larger_standard_error_never_sounds_earlier(pairs, rules, more):
    known = [(turn, 10.0 if se is None else se) for turn, se in pairs]
    wider = [(turn, se + more) for turn, se in known]
    not_earlier(sounded(told(wider), rules)[0], sounded(told(known), rules)[0])


@given(pairs=TOLD, rules=RULES_OF_TURN)
def test_after_pain_no_turn_ever_sounds(pairs, rules):
    assert sounded(told(pairs), rules, pain=True)[0] == []


@given(pairs=TOLD, rules=RULES_OF_TURN)
def test_the_turn_never_sounds_twice_nor_under_its_target(pairs, rules):
    heard, _ = sounded(told(pairs), rules)
    assert len(heard) <= 1
    for cue in heard:
        turn, se = pairs[round(cue.decided_t_s * 30)]
        assert cues.least_turn_deg(turn, se, rules.turn_confidence) >= rules.target_deg


@pytest.mark.parametrize("per_cent", [50.0, 75.0, 95.0])
@pytest.mark.parametrize("turn_deg", [80.0, 100.0])
def test_left_and_right_are_cued_alike_with_every_confidence(per_cent, turn_deg):
    rules = Rules(cues=CueRules(turn_confidence=per_cent))
    script = swing(Script(), top=replace(TOP, turn_deg=turn_deg)).hold(0.3)
    told_of = [
        [(cue.kind, round(cue.t_s, 6), cue.decided_t_s) for cue in played.cues]
        for handed in Handed
        for played in [play(script, View(handed=handed), rules=replace(rules, handed=handed))]
    ]
    assert told_of[0] == told_of[1]
