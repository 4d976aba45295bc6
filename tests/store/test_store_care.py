"""Backup, restore and forget: whole or not at all, and what is forgotten is gone."""

import os
import sqlite3
from contextlib import closing
from datetime import date

import kept_reps
import pytest

from trainer.cli import main
from trainer.core.records import Handed
from trainer.errors import DamagedStoreError, StoreError
from trainer.players import PlayerRecord, RodCheck, record_path, save
from trainer.store import schema
from trainer.store.care import backup, forget, held, restore
from trainer.store.file import open_store, store_path


def keep(player="Ann", number=1, reps=3, note=None):
    of = kept_reps.session(number, player=player)
    with open_store(create=True) as store:
        for rep in range(1, reps + 1):
            kept = kept_reps.rep(rep, of=of, note=note)
            store.save(kept, kept_reps.motion(seed=rep))


def reps_in(path=None):
    with open_store(path, read_only=path is not None) as store:
        return [(one.session.player, one.rep.number) for one in store.all_reps()]


def everything_in(folder):
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


def test_a_backup_is_one_whole_file_that_plain_sqlite_reads(tmp_path, capsys):
    keep()
    target = tmp_path / "copy.sqlite"
    assert main(["backup", str(target)]) == 0
    assert capsys.readouterr().out == f"Written: {target}, 3 reps of 1 session by 1 player.\n"
    assert os.listdir(tmp_path) == ["copy.sqlite"]
    with closing(sqlite3.connect(target)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert db.execute("SELECT count(*) FROM reps").fetchone() == (3,)


def test_a_backup_is_made_while_a_mirror_keeps_reps(tmp_path):
    keep()
    with open_store() as mirror:
        mirror.save(kept_reps.rep(4))
        assert backup(tmp_path / "copy.sqlite").reps == 4
        mirror.save(kept_reps.rep(5))
    assert len(reps_in(tmp_path / "copy.sqlite")) == 4


@pytest.mark.parametrize(
    ("target", "words"),
    [("there.sqlite", "not written over"), ("none/copy.sqlite", "could not be")],
)
def test_a_backup_that_cannot_be_written_changes_nothing(tmp_path, target, words):
    keep()
    (tmp_path / "there.sqlite").write_text("precious")
    with pytest.raises(StoreError, match=words):
        backup(tmp_path / target)
    assert os.listdir(tmp_path) == ["there.sqlite"]
    assert (tmp_path / "there.sqlite").read_text() == "precious"


def test_a_damaged_record_gives_no_backup(tmp_path):
    keep(reps=40)
    whole = bytearray(store_path().read_bytes())
    for page in range(5, len(whole) // 4096):
        whole[page * 4096 + 8 : page * 4096 + 600] = b"\xa5" * 592
    store_path().write_bytes(whole)
    with pytest.raises(DamagedStoreError):
        backup(tmp_path / "copy.sqlite")
    assert os.listdir(tmp_path) == []


def test_a_restored_backup_is_what_was_kept_and_the_rest_is_set_by(tmp_path, capsys):
    keep()
    backup(tmp_path / "copy.sqlite")
    keep("Bo", 2, reps=5)
    assert main(["restore", str(tmp_path / "copy.sqlite")]) == 0
    before = store_path().with_name("reps.sqlite.before")
    assert capsys.readouterr().out == (
        f"Back from {tmp_path / 'copy.sqlite'}: 3 reps of 1 session by 1 player.\n"
        f"What was there before is kept as {before}.\n"
    )
    assert reps_in() == [("Ann", 1), ("Ann", 2), ("Ann", 3)]
    assert len(reps_in(before)) == 8
    with open_store() as store:
        assert store.check() == "ok"
        assert store.motion(kept_reps.rep(1)).curves.t_s.size == 40
        store.save(kept_reps.rep(4))  # and it is written into as before


def test_a_mirror_that_runs_meanwhile_keeps_its_next_rep_in_what_was_restored(tmp_path):
    keep()
    backup(tmp_path / "copy.sqlite")
    with open_store() as mirror:
        mirror.save(kept_reps.rep(4))
        restore(tmp_path / "copy.sqlite")
        mirror.save(kept_reps.rep(5))
    assert [number for _, number in reps_in()] == [1, 2, 3, 5]


def test_a_backup_takes_a_damaged_records_place(tmp_path):
    keep()
    backup(tmp_path / "copy.sqlite")
    store_path().write_bytes(b"damage. " * 3000)
    _, before = restore(tmp_path / "copy.sqlite")
    assert before.name == "reps.sqlite.damaged"
    assert len(reps_in()) == 3


def test_a_backup_is_restored_on_a_new_machine(tmp_path, monkeypatch):
    keep()
    backup(tmp_path / "copy.sqlite")
    monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path / "new"))
    now, before = restore(tmp_path / "copy.sqlite")
    assert (now.reps, before) == (3, None)


def other_database(path):
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE songs (name TEXT)")


def newer(path):
    with open_store(path, create=True) as store:
        store._db.execute(f"PRAGMA user_version = {schema.VERSION + 1}")


def cut_short(path):
    with open_store(path, create=True) as store:
        for number in range(1, 30):
            store.save(kept_reps.rep(number), kept_reps.motion())
    path.write_bytes(path.read_bytes()[:-9000])


@pytest.mark.parametrize(
    "make", [lambda path: path.write_text("no backup"), other_database, newer, cut_short]
)
def test_what_is_no_whole_backup_is_refused_and_nothing_is_changed(tmp_path, make):
    keep()
    make(tmp_path / "copy.sqlite")
    files = set(os.listdir(store_path().parent))
    with pytest.raises(StoreError, match="wanted") as refused:
        restore(tmp_path / "copy.sqlite")
    # Who has just tried to restore is not told to restore.
    assert "copy.sqlite" in str(refused.value)
    assert "trainer restore" not in str(refused.value)
    assert set(os.listdir(store_path().parent)) <= files
    assert len(reps_in()) == 3


def test_a_backup_that_is_not_there_or_is_the_record_itself_is_refused(tmp_path):
    keep()
    with pytest.raises(StoreError, match="there is no file"):
        restore(tmp_path / "none.sqlite")
    with pytest.raises(StoreError, match="the record of reps itself"):
        restore(store_path())
    assert len(reps_in()) == 3


def test_what_is_forgotten_is_gone_from_every_byte(monkeypatch, capsys):
    """Not only from the lists: the file's bytes do not hold the name or the note any more."""
    keep("Quillon", 1, reps=20, note="a note of Quillon's own")
    keep("Bo", 2, reps=4)
    day = date(2026, 5, 31)
    check = RodCheck(date=day, camera="camera 0", read_deg=84.0)
    save(PlayerRecord(name="Quillon", handed=Handed.LEFT, rod_checks=(check,)))
    save(PlayerRecord(name="Bo"))
    record_path("Quillon").with_name("player-quillon.toml.damaged").write_text("Quillon")
    folder = store_path().parent
    assert b"Quillon" in everything_in(folder)
    asked = []
    monkeypatch.setattr("builtins.input", lambda words: asked.append(words) or "y")
    assert main(["forget", "quillon"]) == 0
    assert asked == [
        "Delete 20 reps of 1 session and the player's own record of quillon for good? y or n: "
    ]
    assert "Deleted: 20 reps of 1 session" in capsys.readouterr().out
    assert b"uillon" not in everything_in(folder)
    assert reps_in() == [("Bo", number) for number in (1, 2, 3, 4)]
    assert record_path("Bo").exists()
    with open_store() as store:
        assert store.players() == ("Bo",)
        assert store.check() == "ok"


@pytest.mark.parametrize("answer", ["n", "", "yess"])
def test_nothing_is_forgotten_without_a_clear_yes(monkeypatch, capsys, answer):
    keep()
    monkeypatch.setattr("builtins.input", lambda words: answer)
    assert main(["forget", "Ann"]) == 1
    assert capsys.readouterr().out == "Nothing was deleted.\n"
    assert len(reps_in()) == 3


def test_nobody_to_ask_is_no_yes(monkeypatch, capsys):
    keep()

    def nobody(words):
        raise EOFError

    monkeypatch.setattr("builtins.input", nobody)
    assert main(["forget", "Ann"]) == 1
    assert main(["forget", "Ann", "--yes"]) == 0
    assert reps_in() == []


def test_a_player_of_whom_nothing_is_kept_is_said_with_those_there_are(capsys):
    keep()
    assert main(["forget", "Anne", "--yes"]) == 1
    assert "nothing is kept of Anne. " in capsys.readouterr().err
    assert len(reps_in()) == 3


def test_forgetting_while_a_mirror_runs_says_when_the_last_traces_go():
    keep("Quillon")
    keep("Bo", 2)
    with open_store() as mirror:
        mirror._db.execute("BEGIN")
        mirror._db.execute("SELECT count(*) FROM reps").fetchone()  # a reader of the old state
        assert forget("Quillon") is False
        mirror._db.execute("COMMIT")
    assert reps_in() == [("Bo", 1), ("Bo", 2), ("Bo", 3)]
    assert b"Quillon" not in everything_in(store_path().parent)


def test_earlier_copies_that_still_hold_a_player_are_named(tmp_path, capsys):
    keep()
    backup(tmp_path / "copy.sqlite")
    restore(tmp_path / "copy.sqlite")
    capsys.readouterr()
    assert main(["forget", "Ann", "--yes"]) == 0
    assert f"may still hold Ann: {store_path()}.before" in capsys.readouterr().out


def test_how_much_is_held_is_counted_by_player():
    keep("Ann", 1, reps=3)
    keep("Ann", 2, reps=2)
    keep("Bo", 3, reps=1)
    with open_store() as store:
        counts = [held(store), held(store, "ANN"), held(store, "nobody")]
    assert [(h.players, h.sessions, h.reps) for h in counts] == [(2, 3, 6), (1, 2, 5), (0, 0, 0)]
