"""A player gets another name: record, sessions and reps go with it, and nothing is lost."""

import kept_reps

from trainer.cli import main
from trainer.core.records import Handed
from trainer.players import PlayerRecord, load, record_path, save
from trainer.store.file import open_store


def keep(player, number=1, reps=2):
    session = kept_reps.session(number, player=player)
    with open_store(create=True) as store:
        for n in range(1, reps + 1):
            store.save(kept_reps.rep(n, of=session), None)
    return session


def held():
    with open_store() as store:
        assert store.check() == "ok"
        return {
            name: [(line.session.uid[-1], line.reps) for line in store.sessions(name)]
            for name in store.players()
        }


def test_the_record_and_every_session_go_with_the_name(capsys):
    keep("Ann", 1)
    keep("Ann", 2)
    keep("Bo", 3)
    save(PlayerRecord(name="Ann", handed=Handed.LEFT, target_deg=77.0))
    assert main(["rename", "ann", "Anna"]) == 0
    assert "ann is Anna from now on: the record and 2 sessions." in capsys.readouterr().out
    assert held() == {"Anna": [("2", 2), ("1", 2)], "Bo": [("3", 2)]}
    assert not record_path("Ann").exists()
    assert load("Anna")[0] == PlayerRecord(name="Anna", handed=Handed.LEFT, target_deg=77.0)


def test_capitals_alone_can_be_changed():
    keep("ann")
    save(PlayerRecord(name="ann", target_deg=70.0))
    assert main(["rename", "ann", "ANN"]) == 0
    assert list(held()) == ["ANN"]
    record, trouble = load("ann")
    assert (record.name, record.target_deg, trouble) == ("ANN", 70.0, "")


def test_a_name_of_whom_something_is_kept_is_refused_and_nothing_changes(capsys):
    keep("Ann", 1)
    keep("Bo", 2)
    save(PlayerRecord(name="Ann", target_deg=70.0))
    before = held()
    assert main(["rename", "Ann", "Bo"]) == 1
    assert "Bo is a player of whom something is kept already" in capsys.readouterr().err
    assert held() == before
    assert load("Ann")[0].target_deg == 70.0


def test_two_names_of_one_person_are_joined_when_asked_and_the_old_record_stays_beside():
    keep("Ann", 1)
    keep("Anna", 2)
    save(PlayerRecord(name="Ann", target_deg=70.0))
    save(PlayerRecord(name="Anna", target_deg=80.0))
    assert main(["rename", "Ann", "Anna", "--join"]) == 0
    assert held() == {"Anna": [("2", 2), ("1", 2)]}
    assert load("Anna")[0].target_deg == 80.0
    aside = record_path("Ann").with_name("player-ann.toml.joined")
    assert "70.0" in aside.read_text(encoding="utf-8")


def test_a_record_renamed_by_hand_is_told_of_and_its_reps_are_brought_over(capsys):
    keep("Ann")
    save(PlayerRecord(name="Ann", target_deg=70.0))
    record_path("Ann").rename(record_path("Rea"))
    assert main(["players"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "rea: target 70°",
        "Ann: no record, but reps are kept; trainer rename Ann NAME gives them to NAME",
    ]
    assert main(["rename", "Ann", "Rea"]) == 0
    assert held() == {"Rea": [("1", 2)]}
    assert load("Rea")[0].target_deg == 70.0


def test_nobody_of_that_name_is_said(capsys):
    keep("Ann")
    assert main(["rename", "Bo", "Cy"]) == 1
    assert "nothing is kept of Bo" in capsys.readouterr().err


def test_a_damaged_record_is_set_aside_and_the_name_stays(capsys):
    keep("Ann")
    record_path("Ann").write_text("stature_cm = 17\n", encoding="utf-8")
    assert main(["rename", "Ann", "Bo"]) == 1
    assert "ann was damaged" in capsys.readouterr().err.lower()
    assert held() == {"Ann": [("1", 2)]}


def test_a_mirror_that_runs_meanwhile_goes_on_keeping_under_the_new_name():
    session = keep("Ann", reps=1)
    assert main(["rename", "Ann", "Bo"]) == 0
    with open_store() as store:  # the mirror knows its session by the old name
        store.save(kept_reps.rep(2, of=session), None)
    assert held() == {"Bo": [("1", 2)]}
