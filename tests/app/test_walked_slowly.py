"""A golfer in slow motion through the checkpoints, as the pose model read her.

Ten slow reps, each 7 to 12 seconds: in five every checkpoint is held; one goes past lead arm level
without a stop, one past hip height, one past lead arm level and back to it; in one the turn at the
top is 23 degrees under the target, and in one the head goes off. One stops at lead arm level for
half a second only, between slow moves.
"""

import pytest
from walked import paired, play, session

from trainer.ports import KeyAction
from trainer.store.file import open_store

SLOW = "session-slow"
HELD = [1, 3, 6, 10]
LADDER = ["check_1", "check_2", "check_3", "check_4"]


@pytest.fixture(scope="module", autouse=True)
def plain_reading():
    """Read with the estimator that ships: these are the pose model's own points."""


def settings():
    return {
        "player": {"stature_cm": session(SLOW).truth["stature_cm"]},
        "practice": {"kind": "checkpoints"},
    }


@pytest.fixture(scope="module")
def slowly(tmp_path_factory):
    folder = tmp_path_factory.mktemp("slow")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TRAINER_DATA_DIR", str(folder / "data"))
        played = play(patch, folder / "slow.trace", SLOW, settings=settings(), player="Ada")
        with open_store() as store:
            kept = store.all_reps("Ada")
    return played, session(SLOW), kept


def ladder_of(played, true):
    """Return the tones of a true rep from its setup to where the hands have come down."""
    heard = played.sounds(true["setup_s"] - 1.0, true["top_end_s"] + 0.5)
    return [name for name in heard if name.startswith("check_")]


def test_every_slow_rep_is_counted_once_and_no_stop_on_the_way_is_a_top(slowly):
    played, truth, kept = slowly
    pairs, more = paired(played.reps, truth.reps)
    assert more == []
    assert [rep.number for _, rep in pairs] == list(range(1, 11))
    for true, rep in pairs:
        assert rep.complete
        assert rep.takeaway_t_s == pytest.approx(true["takeaway_s"], abs=0.25)
        assert rep.top_t_s == pytest.approx(true["top_s"], abs=0.35)
    assert tuple(one.rep for one in kept) == played.reps
    assert all(rep.verdict.kind == "checkpoints" for rep in played.reps)


def test_checkpoints_held_in_order_climb_the_ladder_and_make_a_good_rep(slowly):
    played, truth, _ = slowly
    for number in HELD:
        true, rep = truth.reps[number - 1], played.reps[number - 1]
        assert ladder_of(played, true) == LADDER, number
        assert rep.verdict.lines == ("All four checkpoints held",), number
        assert rep.verdict.good is True


def test_a_checkpoint_sounds_within_its_pause_and_no_sooner_than_a_hold_can_be(slowly):
    played, truth, _ = slowly
    pauses = truth.spans("pause at")
    for number in HELD:
        true = truth.reps[number - 1]
        at_s = {
            name: t_s
            for t_s, result in played.results(true["setup_s"] - 1.0, true["top_end_s"] + 0.5)
            for name in result.get("signals", ())
        }
        inside = [p for p in pauses if true["takeaway_s"] < p[0] < true["top_s"]]
        for name, (from_s, to_s) in zip(("check_2", "check_3"), inside, strict=True):
            # The last centimetres of a slow move are as good as a stop.
            assert from_s + 0.3 < at_s[name] < to_s + 0.2, (number, name)
        assert true["top_s"] < at_s["check_4"] < true["top_end_s"] + 0.2, number


@pytest.mark.parametrize(
    ("number", "held", "name"), [(2, 2, "lead arm level"), (4, 1, "hands at hip height")]
)
def test_one_that_is_passed_without_a_stop_is_said_to_be_skipped(slowly, number, held, name):
    played, truth, _ = slowly
    true, rep = truth.reps[number - 1], played.reps[number - 1]
    assert ladder_of(played, true) == [*LADDER[:held], "check_skipped"]
    assert rep.verdict.good is False
    assert rep.verdict.lines[:2] == (f"Not held: {name}", f"{held} of 4 held")
    middle_s = (true["top_s"] + true["top_end_s"]) / 2
    # The picture says it too, until the hands come down.
    assert played.phases(middle_s - 0.2, middle_s + 0.2) == {"top"}


def test_one_that_was_passed_and_gone_back_to_counts(slowly):
    played, truth, _ = slowly
    true, rep = truth.reps[6], played.reps[6]
    heard = [name for name in ladder_of(played, true) if name != "check_left"]
    assert heard == ["check_1", "check_2", "check_skipped", "check_3", "check_4"]
    assert rep.verdict.good is True


def test_a_top_short_of_the_turn_is_not_held_and_says_what_to_do(slowly):
    played, truth, _ = slowly
    assert ladder_of(played, truth.reps[4]) == LADDER[:3]
    assert played.reps[4].verdict.good is False
    assert played.reps[4].verdict.lines == (
        "Not held: top",
        "3 of 4 held",
        "out of reach? X takes a comfortable maximum",
    )


def test_a_head_that_goes_off_holds_nothing_from_where_it_is_out(slowly):
    played, truth, _ = slowly
    true, rep = truth.reps[7], played.reps[7]
    assert abs(true["max_head_lateral_cm"]) > 9.0
    assert rep.verdict.good is False
    assert "check_4" not in ladder_of(played, true)


def test_no_cue_sounds_into_the_ladder_and_walking_in_and_out_is_silent(slowly):
    played, truth, _ = slowly
    assert played.sounder.played == []
    for from_s, to_s in truth.spans("walks in"):
        assert played.sounds(from_s, to_s) == []
    ((from_s, to_s),) = truth.spans("walks out")
    assert played.sounds(from_s, to_s) == ["paused"]


def test_a_comfortable_maximum_taken_after_a_top_out_of_reach_lets_it_be_held(
    monkeypatch, tmp_path
):
    """The fifth rep's 62 degrees, taken with X at its end, become the most that is asked for."""
    end_s = session(SLOW).reps[4]["top_end_s"] + 1.8
    played = play(
        monkeypatch,
        tmp_path / "x.trace",
        SLOW,
        settings=settings(),
        player="Ada",
        asked={(0, end_s): [KeyAction.COMFORT]},
    )
    comfort_deg = played.result.rules.comfort_deg
    assert comfort_deg == pytest.approx(62.0, abs=10.0)
    assert played.views[-1].target_deg == comfort_deg + 5.0
    assert [rep.verdict.good for rep in played.reps[5:7]] == [True, True]
