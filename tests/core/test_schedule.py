"""Cue schedules: which reps are told."""

from hypothesis import given
from hypothesis import strategies as st

from trainer.core.practice_rules import CueSchedule, PracticeRules
from trainer.core.schedule import (
    FADE_PCT,
    RUN_REPS,
    ScheduleState,
    Telling,
    counted,
    telling,
    told_pct,
    told_places,
)


def told(reps, goods=True, **rules):
    """Return how much of each of ``reps`` reps is told; ``goods`` says how each one went."""
    rules = PracticeRules(**rules)
    state, found = ScheduleState(), []
    for n in range(reps):
        found.append(telling(state, rules))
        good = goods(n) if callable(goods) else goods
        state = counted(state, good, rules)
    return found, state


def test_every_rep_is_told_by_default():
    assert set(told(12)[0]) == {Telling.ALL}


def test_alternate_tells_one_rep_and_then_none():
    # Park, Shea and Wright 2000, J Mot Behav: told on one trial, then not on the next.
    found, _ = told(6, cues=CueSchedule.ALTERNATE)
    assert found == [Telling.ALL, Telling.NOTHING] * 3


def test_silent_tells_nothing_and_bandwidth_only_faults():
    assert set(told(5, cues=CueSchedule.SILENT)[0]) == {Telling.NOTHING}
    assert set(told(5, cues=CueSchedule.BANDWIDTH)[0]) == {Telling.FAULTS}


def test_fading_goes_from_100_to_50_to_25_per_cent_as_reps_are_good():
    # Winstein & Schmidt 1990, JEP:LMC 16:677 (from memory), faded about 100 to 25 %.
    assert FADE_PCT == (100, 50, 25)
    found, state = told(5 + 5 + 8, cues=CueSchedule.FADING)
    assert found[:5] == [Telling.ALL] * 5
    assert found[5:9].count(Telling.ALL) == 2
    assert found[10:14].count(Telling.ALL) == 1
    assert found[14:18].count(Telling.ALL) == 1
    assert state.level == 2


def test_fading_stays_where_half_the_reps_are_good():
    _, state = told(30, goods=lambda n: n % 2 == 0, cues=CueSchedule.FADING)
    assert state.level == 0
    assert told_pct(state, PracticeRules(cues=CueSchedule.FADING)) == 100


def test_fading_tells_more_again_when_hardly_a_rep_is_good():
    _, state = told(15, goods=lambda n: n < 10, cues=CueSchedule.FADING)
    assert state.level == 1


def test_a_rep_that_could_not_be_judged_moves_no_level():
    _, state = told(40, goods=None, cues=CueSchedule.FADING)
    assert state.level == 0
    assert state.recent == ()


@given(seed=st.integers(0, 10**9), level=st.integers(0, 2), run=st.integers(0, 500))
def test_each_run_tells_exactly_its_share(seed, level, run):
    places = told_places(seed, level, run)
    assert len(places) == RUN_REPS * FADE_PCT[level] // 100
    assert places <= set(range(RUN_REPS))
    assert places == told_places(seed, level, run)


def test_another_seed_tells_other_reps_of_the_same_share():
    orders = {str([sorted(told_places(seed, 2, run)) for run in range(8)]) for seed in range(20)}
    assert len(orders) == 20


@given(st.lists(st.sampled_from([True, False, None]), max_size=60), st.sampled_from(CueSchedule))
def test_a_schedule_always_knows_what_to_tell(goods, cues):
    rules = PracticeRules(cues=cues)
    state = ScheduleState()
    for good in goods:
        assert telling(state, rules) in Telling
        assert 0 <= told_pct(state, rules) <= 100
        state = counted(state, good, rules)
    assert state.reps == len(goods)
    assert 0 <= state.level < len(FADE_PCT)
    assert len(state.recent) <= rules.fade_reps
