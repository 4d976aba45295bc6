"""Which sessions and reps a page is made of."""

import datetime as dt
from dataclasses import replace

import pytest

from tests.report.practice import AIM, practice, rep, save, session, unfinished
from trainer.core.rules import OwnRep
from trainer.errors import ReportError
from trainer.report.chosen import gather, off_by
from trainer.report.measured import ASKED, CHEST, TURN, Place, place_of, shown

DAYS = [dt.date(2026, 5, day) for day in (1, 4, 4, 9)]


@pytest.fixture
def four(store):
    for number, day in enumerate(DAYS, start=1):
        of = session(number, day=day)
        of = replace(of, began=of.began + dt.timedelta(minutes=number))
        save(store, *practice(of, 4, seed=number))
    save(store, rep(1, session(9, player="Bo")))
    return store


@pytest.mark.parametrize(
    ("wanted", "numbers"),
    [
        ("last", (4,)),
        ("1", (1,)),
        ("2..3", (2, 3)),
        ("3..", (3, 4)),
        ("..2", (1, 2)),
        ("2026-05-04..2026-05-04", (2, 3)),
        ("2026-05-02..", (2, 3, 4)),
        ("2026-05-09", (4,)),
    ],
)
def test_sessions_are_named_by_number_or_day(four, wanted, numbers):
    found = gather(four, "Ann", wanted)
    assert found.numbers == numbers
    assert [one.session.uid for one in found.sessions] == [f"{n:032x}" for n in numbers]


@pytest.mark.parametrize("wanted", ["0", "5", "7..9", "3..2", "2027-01-01.."])
def test_a_session_that_is_not_there_is_said_with_those_that_are(four, wanted):
    with pytest.raises(ReportError, match=r"One of 1 to 4 \(2026-05-01 to 2026-05-09\)"):
        gather(four, "Ann", wanted)


@pytest.mark.parametrize("wanted", ["", "first", "1.5", "-1", "2026-13-01", "1..2..3"])
def test_what_is_no_session_is_refused_with_what_was_wanted(four, wanted):
    with pytest.raises(ReportError, match="was wanted"):
        gather(four, "Ann", wanted)


def test_a_player_without_reps_is_told_who_has_some(four):
    with pytest.raises(ReportError, match=r"Give --player one of: Ann, Bo"):
        gather(four, "Cy", "last")


def test_one_session_is_compared_with_and_not_several(four):
    assert gather(four, "Ann", "last", "1").against.session.uid == f"{1:032x}"
    with pytest.raises(ReportError, match="2 sessions"):
        gather(four, "Ann", "last", "1..2")


def test_the_trend_ends_with_the_session_asked_for(four):
    assert [one.session.uid for one in gather(four, "Ann", "3").trend] == [
        f"{n:032x}" for n in (1, 2, 3)
    ]


def test_best_and_worst_are_nearest_to_and_furthest_from_what_was_asked(store):
    of = session()
    fine = rep(2, of, turn=86.0, head=0.2, hips=-0.1)
    far = rep(3, of, turn=70.0, head=6.0, hips=5.0)
    save(store, rep(1, of, turn=83.0, head=2.0), fine, far)
    found = {one.name: one.kept.rep.number for one in gather(store, "Ann", "last").closer}
    assert found == {"best": 2, "worst": 3}
    # by hand: 15 short in bands of 5; 6 of 5 cm; 5 of 4 cm
    assert off_by(far) == pytest.approx((3.0**2 + 1.2**2 + 1.25**2) ** 0.5)


def test_a_rep_of_which_something_was_not_measured_is_neither_best_nor_worst(store):
    of = session()
    save(store, rep(1, of, turn=None), rep(2, of), rep(3, of, hips=None), unfinished(4, of))
    assert [(c.name, c.kept.rep.number) for c in gather(store, "Ann", "last").closer] == [
        ("best", 2)
    ]


def test_what_the_coach_said_comes_before_the_figures(store):
    of = session()
    save(
        store,
        rep(1, of, turn=90.0),
        rep(2, of, turn=75.0, coach_good=True),
        rep(3, of, turn=89.0, coach_good=False),
        rep(4, of, turn=60.0),
    )
    found = {one.name: one.kept.rep.number for one in gather(store, "Ann", "last").closer}
    assert found == {"best": 2, "worst": 3}


def test_after_pain_a_short_turn_makes_no_rep_worse(store):
    of = session()
    hurt = replace(AIM, pain=True)
    save(store, rep(1, of, turn=40.0, aim=hurt), rep(2, of, turn=90.0, head=3.0, aim=hurt))
    found = {one.name: one.kept.rep.number for one in gather(store, "Ann", "last").closer}
    assert found == {"best": 1, "worst": 2}


def test_the_reference_is_the_rep_its_figures_were_taken_from_also_of_earlier_that_day(store):
    first, second = session(1), session(2)
    second = replace(second, began=second.began + dt.timedelta(hours=1))
    marked = rep(2, first, turn=88.0, head=2.5, hips=1.5)
    own = OwnRep(turn_deg=88.0, head_lateral_cm=2.5, hip_lateral_cm=1.5)
    save(store, rep(1, first), marked, rep(1, second, aim=replace(AIM, own=own)))
    found = {one.name: one.kept for one in gather(store, "Ann", "last").closer}
    assert found["reference"].rep.number == 2
    assert found["reference"].session.uid == first.uid


def test_the_next_day_check_is_the_first_silent_reps_against_an_earlier_day(store):
    save(store, *practice(session(1, day=dt.date(2026, 5, 1)), 6))
    of = session(2, day=dt.date(2026, 5, 2))
    heard = [False, False, True, False]
    save(store, *(rep(n, of, cues_heard=h) for n, h in enumerate(heard, start=1)))
    found = gather(store, "Ann", "last").next_day
    assert [kept.rep.number for kept in found.now] == [1, 2]
    assert found.before.day == dt.date(2026, 5, 1)
    assert gather(store, "Ann", "1").next_day is None


def test_a_silent_check_is_the_next_day_check_wherever_it_lies(store):
    save(store, *practice(session(1, day=dt.date(2026, 5, 1)), 6))
    of = session(2, day=dt.date(2026, 5, 2))
    save(
        store,
        rep(1, of, cues_heard=True),
        *(rep(n, of, cues_heard=False, practice_kind="silent_check") for n in range(2, 9)),
    )
    found = gather(store, "Ann", "last").next_day
    assert found.asked
    assert [kept.rep.number for kept in found.now] == [2, 3, 4, 5, 6]


def test_another_session_of_the_same_day_is_no_next_day(store):
    save(store, rep(1, session(1), cues_heard=True))
    later = replace(session(2), began=session(2).began + dt.timedelta(hours=2))
    save(store, rep(1, later, cues_heard=False))
    assert gather(store, "Ann", "last").next_day is None


def by_tags(kept, chest_deg, asked=85.0):
    """Return the rep as made with tags and a target about the chest."""
    top = replace(kept.rep.at_top, thorax_turn_deg=chest_deg, thorax_turn_se_deg=2.0)
    aim = replace(kept.aim, turn_of="chest", target_deg=asked)
    return replace(kept, rep=replace(kept.rep, at_top=top), aim=aim)


def test_a_target_about_the_chest_judges_the_chest_and_not_the_shoulders():
    kept = by_tags(rep(1, session(), turn=110.0), 70.0)
    assert place_of(CHEST, kept, pain=False) is Place.BEYOND
    assert place_of(TURN, kept, pain=False) is Place.UNJUDGED
    plain = rep(1, session(), turn=110.0)
    assert place_of(TURN, plain, pain=False) is Place.INSIDE
    assert off_by(kept) > off_by(plain)


def test_what_tags_alone_tell_is_not_shown_of_reps_made_without():
    plain = [rep(1, session()), rep(2, session())]
    assert CHEST not in shown(ASKED, plain)
    assert shown(ASKED, [*plain, by_tags(plain[0], 80.0)]) == ASKED
