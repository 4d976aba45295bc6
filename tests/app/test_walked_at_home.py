"""A golfer alone at home, from walking in to walking out, as the pose model read it.

Eleven reps at full and half speed, four times a turn 21 degrees under the target or a head or
hips that go off, and in the middle a pause by hand with a practice swing in it. The golfer, the
room and the swings are rendered, so what is true of each rep is known.
"""

import json

import pytest
from walked import clear_faults, paired, play, said_faults, session

from trainer.cli import main
from trainer.core.records import CueKind
from trainer.replay import replay
from trainer.store.file import open_store

HOME = "session-home"


@pytest.fixture(scope="module", autouse=True)
def plain_reading():
    """Read with the estimator that ships: these are the pose model's own points."""


@pytest.fixture(scope="module")
def at_home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TRAINER_DATA_DIR", str(folder / "data"))
        settings = {"player": {"stature_cm": session(HOME).truth["stature_cm"]}}
        played = play(patch, folder / "home.trace", HOME, settings=settings, player="Jo")
    return played, session(HOME), folder


@pytest.fixture
def own_record(at_home, monkeypatch):
    """The record that was kept in that session."""
    monkeypatch.setenv("TRAINER_DATA_DIR", str(at_home[2] / "data"))


def test_every_rep_is_counted_once_and_nothing_else_is(at_home):
    played, truth, _ = at_home
    pairs, more = paired(played.reps, truth.reps)
    assert more == []
    assert [rep.number for _, rep in pairs] == list(range(1, 12))
    assert all(rep.complete for _, rep in pairs)
    counts = [name for name in played.sounds() if name.startswith("count_")]
    assert counts == [f"count_{n}" for n in (*range(1, 11), 1)]


def test_takeaway_and_top_are_found_within_two_pictures_and_a_slow_shutters_worth(at_home):
    played, truth, _ = at_home
    for true, rep in paired(played.reps, truth.reps)[0]:
        assert rep.takeaway_t_s == pytest.approx(true["takeaway_s"], abs=0.10)
        assert true["top_s"] - 0.12 < rep.top_t_s <= rep.top_end_t_s < true["top_end_s"] + 0.12


def test_the_verdict_is_right_wherever_the_truth_is_clear(at_home):
    played, truth, _ = at_home
    unsure = []
    for true, rep in paired(played.reps, truth.reps)[0]:
        faults = clear_faults(true)
        if rep.verdict.good is None:  # "near the target": neither right nor wrong
            assert faults == {"turn"}
            unsure.append(rep.number)
            continue
        assert said_faults(rep) == faults, rep.number
        assert rep.verdict.good is (not faults), rep.number
    # This golfer's turn reads some 9 degrees too far, and is told to within 9 to 10: of the three
    # that fall 21 short, one at full speed is called near the target and none is called good.
    assert len(unsure) <= 1


def test_the_tones_are_those_of_the_true_faults_and_of_no_other(at_home):
    played, truth, _ = at_home
    for true, rep in paired(played.reps, truth.reps)[0]:
        faults, kinds = clear_faults(true), [cue.kind for cue in rep.cues]
        assert (CueKind.TURN_REACHED in kinds) is ("turn" not in faults), rep.number
        assert (CueKind.HEAD_OUT in kinds) is ("head" in faults), rep.number
        assert (CueKind.HIPS_OUT in kinds) is ("hips" in faults), rep.number
        assert len(set(kinds)) == len(kinds)
    heard = [cue.kind for cue, _ in played.sounder.played]
    assert heard == [cue.kind for rep in played.reps for cue in rep.cues]


def test_walking_in_teeing_waggling_and_talking_are_silent_and_no_swing(at_home):
    played, truth, _ = at_home
    quiet = ("walks in", "tees", "takes the address", "waggles", "practice half-turn", "talks")
    for from_s, to_s in truth.spans(*quiet):
        assert played.sounds(from_s, to_s) == []
        assert "top" not in played.phases(from_s, to_s)


def test_a_hand_above_the_head_pauses_and_the_same_again_goes_on(at_home):
    played, truth, _ = at_home
    (down_s, rest_s), (up_s, on_s) = truth.spans("hand above")
    assert played.sounds(down_s, rest_s) == ["paused"]
    assert played.sounds(up_s, on_s) == ["resumed"]
    assert played.sounds(rest_s, up_s) == []
    # The practice half-turn at the address in between: nothing is looked for.
    assert played.phases(rest_s, up_s) == {"nobody"}


def test_walking_out_is_a_pause_that_says_so(at_home):
    played, truth, _ = at_home
    ((from_s, to_s),) = truth.spans("walks out")
    assert played.sounds(from_s, to_s) == ["paused"]
    assert played.sounds().count("paused") == 2
    assert played.views[-1].practice.headline == "Paused: nobody here"


def test_every_rep_is_kept_with_its_verdict_and_a_page_is_made_of_them(
    at_home, own_record, tmp_path
):
    played, _, _ = at_home
    with open_store() as store:
        (line,) = store.sessions("Jo")
        kept = store.reps_of(line.session)
    assert tuple(one.rep for one in kept) == played.reps
    assert [one.good for one in kept] == [rep.verdict.good for rep in played.reps]
    assert all(one.cues_heard for one in kept)
    page = tmp_path / "jo.html"
    assert main(["report", "--player", "Jo", "--out", str(page)]) == 0
    verdicts = [rep.verdict.good for rep in played.reps]
    good, bad, open_ = (verdicts.count(one) for one in (True, False, None))
    assert good + bad + open_ == 11
    told = f"Jo made 11 whole reps: {good} good, {bad} not"
    assert told in page.read_text(encoding="utf-8")


def test_the_recorded_trace_plays_to_the_very_same_end(at_home):
    played, _, folder = at_home
    again = replay(folder / "home.trace", lambda step, rules: None)
    assert again.whole
    assert again.first_difference_s is None
    assert json.dumps([rep.number for rep in again.reps]) == json.dumps(list(range(1, 12)))
    assert again.reps == played.reps
