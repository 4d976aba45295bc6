"""A coach and three players one after another, as the pose model read them.

A heavy man whose hips go off, a small left-handed woman whose turn is short at full speed, and a
tall man outdoors under a dark sky, dim, grainy and smeared. Each walks in, listens, tees, makes
four reps with talk between, and walks out; the coach presses N and the next one comes.
"""

import pytest
from walked import clear_faults, paired, play, said_faults, session

from trainer.cli import main
from trainer.core.records import Handed
from trainer.players import PlayerRecord, record_path, save
from trainer.ports import KeyAction
from trainer.store.file import open_store

BAY = {"Hal": "session-bay-1", "Mia": "session-bay-2", "Tom": "session-bay-3"}


@pytest.fixture(scope="module", autouse=True)
def plain_reading():
    """Read with the estimator that ships: these are the pose model's own points."""


def truth_of(name):
    return session(BAY[name])


@pytest.fixture(scope="module")
def bay(tmp_path_factory):
    """One run of ``trainer live --player Hal``: N when the next one comes, + on Mia's last rep."""
    folder = tmp_path_factory.mktemp("bay")
    keys = {
        (1, 0.2): [KeyAction.NEXT_PLAYER],
        (1, truth_of("Mia").reps[-1]["top_end_s"] + 3.0): [KeyAction.COACH_GOOD],
        (2, 0.2): [KeyAction.NEXT_PLAYER],
    }
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TRAINER_DATA_DIR", str(folder / "data"))
        for name in BAY:
            truth = truth_of(name).truth
            handed, stature_cm = Handed(truth["handed"]), truth["stature_cm"]
            save(PlayerRecord(name=name, handed=handed, stature_cm=stature_cm))
        played = play(patch, folder / "bay.trace", *BAY.values(), player="Hal", asked=keys)
    return played, folder


@pytest.fixture
def own_record(bay, monkeypatch):
    """The record that was kept in that afternoon."""
    monkeypatch.setenv("TRAINER_DATA_DIR", str(bay[1] / "data"))


def of(bay, name):
    """Return a player's true session, pairs of true and read reps, more reps, and when it began."""
    played, _ = bay
    begin_s = played.starts_s[list(BAY).index(name)]
    (sitting,) = [one for one in played.result.sittings if one.player == name]
    truth = truth_of(name)
    return truth, *paired(sitting.reps, truth.reps, begin_s), begin_s


@pytest.mark.parametrize("name", BAY)
def test_each_players_reps_are_counted_once_as_theirs_and_nothing_else_is(bay, name):
    _, pairs, more, begin_s = of(bay, name)
    assert more == []
    assert [rep.number for _, rep in pairs] == [1, 2, 3, 4]
    for true, rep in pairs:
        assert rep.complete
        assert rep.takeaway_t_s - begin_s == pytest.approx(true["takeaway_s"], abs=0.16)
        assert rep.top_t_s - begin_s > true["top_s"] - 0.15
        assert rep.top_end_t_s - begin_s < true["top_end_s"] + 0.15


@pytest.mark.parametrize("name", BAY)
def test_the_verdict_is_right_wherever_the_truth_is_clear(bay, name):
    for true, rep in of(bay, name)[1]:
        faults = clear_faults(true)
        assert said_faults(rep) == faults, rep.number
        assert rep.verdict.good is (not faults), rep.number


def test_while_the_address_is_taken_no_fault_of_the_setup_is_said(bay):
    played, _ = bay
    said = {view.practice.headline for view in played.views if view.practice is not None}
    assert {words for words in said if words and not words.startswith("Paused")} == set()


@pytest.mark.parametrize("name", BAY)
def test_walking_talking_and_teeing_are_silent_and_walking_out_is_a_pause(bay, name):
    played, _ = bay
    truth, _, _, begin_s = of(bay, name)
    for from_s, to_s in truth.spans("walks in", "talks", "tees", "takes the address", "waggles"):
        assert played.sounds(begin_s + from_s, begin_s + to_s) in ([], ["resumed"])
    ((from_s, to_s),) = truth.spans("walks out")
    assert played.sounds(begin_s + from_s, begin_s + to_s) == ["paused"]


def test_the_record_holds_each_players_reps_apart_and_a_page_can_be_made_of_each(
    bay, own_record, tmp_path
):
    with open_store() as store:
        assert store.players() == tuple(BAY)
        kept = {name: store.all_reps(name) for name in BAY}
    for name in BAY:
        assert tuple(one.rep for one in kept[name]) == tuple(rep for _, rep in of(bay, name)[1])
    assert [one.coach_good for one in kept["Mia"]] == [None, None, None, True]
    assert [one.handed for one in kept["Mia"]] == [Handed.LEFT] * 4
    for name in BAY:
        page = tmp_path / f"{name}.html"
        assert main(["report", "--player", name, "--out", str(page)]) == 0
        text = page.read_text(encoding="utf-8")
        assert f"{name} made 4 whole reps" in text
        assert not any(other in text for other in BAY if other != name)


def test_after_ten_minutes_of_nobody_who_comes_back_begins_another_sitting(monkeypatch, tmp_path):
    played = play(
        monkeypatch,
        tmp_path / "long.trace",
        BAY["Hal"],
        BAY["Hal"],
        settings={"player": {"stature_cm": truth_of("Hal").truth["stature_cm"]}},
        player="Hal",
        gap_s=620.0,
    )
    numbers = [[rep.number for rep in one.reps] for one in played.result.sittings]
    assert numbers == [[1, 2, 3, 4], [1, 2, 3, 4]]
    away_s = played.starts_s[1] - 615.0
    assert played.sounds(away_s, played.starts_s[1]) == []  # the pause was said once, on leaving
    steering = [name for name in played.sounds() if name in ("paused", "resumed", "time")]
    assert steering[0] == steering[-1] == "paused"
    assert "time" not in steering  # nobody practised in that time
    with open_store() as store:
        assert [len(store.reps_of(line.session)) for line in store.sessions("Hal")] == [4, 4]


@pytest.mark.parametrize("stature", ["17", "1800"])
def test_a_stature_that_nobody_has_is_said_set_aside_and_costs_no_rep(
    stature, monkeypatch, tmp_path
):
    """Without a stature the scale comes from the model, so the verdicts stay what they are."""
    written = f'schema = 2\nhanded = "left"\nstature_cm = {stature}\n'
    path = record_path("Mia")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(written, encoding="utf-8")
    handed = {"handed": truth_of("Mia").truth["handed"]}
    played = play(
        monkeypatch, tmp_path / "mia.trace", BAY["Mia"], settings={"player": handed}, player="Mia"
    )
    said = {words for view in played.views for words in view.notices}
    assert any(f"stature_cm is {stature}" in words for words in said)
    pairs, more = paired(played.reps, truth_of("Mia").reps)
    assert more == []
    assert [said_faults(rep) == clear_faults(true) for true, rep in pairs] == [True] * 4
    assert path.with_name("player-mia.toml.damaged").read_text(encoding="utf-8") == written
