"""A record made by an earlier version of the program is brought up, whole or not at all."""

import sqlite3
from contextlib import closing
from dataclasses import fields
from pathlib import Path

import kept_reps
import numpy as np
import pytest

from trainer.errors import StoreError
from trainer.store import schema
from trainer.store.care import restore
from trainer.store.file import open_store

#: Written down when version 1 was the newest, by the program of that day.
VERSION_1 = Path(__file__).with_name("reps-version-1.sql")
#: Read then; what was added to the measures later is not known of those reps.
VERSION_1_MEASURES = ("shoulder_turn_deg", "hip_turn_deg", "head_lateral_cm", "back_gap_cm")


@pytest.fixture
def old(tmp_path):
    path = tmp_path / "old" / "reps.sqlite"
    path.parent.mkdir()
    with closing(sqlite3.connect(path)) as db:
        db.executescript(VERSION_1.read_text(encoding="utf-8"))
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
    return path


def tables(path):
    with closing(sqlite3.connect(path)) as db:
        return db.execute(
            "SELECT sql FROM sqlite_master WHERE sql NOTNULL ORDER BY name"
        ).fetchall()


def test_every_rep_of_version_1_is_there_with_all_its_figures(old):
    with open_store(old) as store:
        assert schema.version_of(store._db) == schema.VERSION
        first, second, third = store.all_reps()
        for back, told in ((first, kept_reps.rep(1)), (second, kept_reps.bare(2))):
            for field in fields(told):
                if field.name not in ("rep", "schedule"):
                    assert getattr(back, field.name) == getattr(told, field.name), field.name
        told = kept_reps.rep(1).rep
        assert first.schedule == '{"kind": "every"}'  # as it was; it names no state known now
        assert first.rep.verdict is None
        assert (first.rep.cues, first.rep.top_t_s) == (told.cues, told.top_t_s)
        for name in VERSION_1_MEASURES:
            assert getattr(first.rep.at_top, name) == getattr(told.at_top, name), name
        assert first.rep.at_top.thorax_turn_deg is None  # nothing of the kind was read then
        assert third.session.player == "Bo"
        turn = store.motion(first).curves.columns["shoulder_turn_deg"]
        wanted = kept_reps.motion(12, seed=1).curves.columns["shoulder_turn_deg"]
        np.testing.assert_allclose(turn, wanted, atol=1e-9)
        assert store.check() == "ok"
        assert store.save(kept_reps.rep(4))


def test_an_old_record_gets_the_very_tables_of_a_new_one(old, tmp_path):
    open_store(old).close()
    new = tmp_path / "new.sqlite"
    open_store(new, create=True).close()
    assert [sql for (sql,) in tables(old)] == [sql for (sql,) in tables(new)]


def test_a_step_that_fails_leaves_the_old_version_as_it_was(old, monkeypatch):
    before = tables(old)
    broken = (*schema.STEPS[:1], "ALTER TABLE sessions ADD COLUMN x TEXT;\nno statement;\n")
    with closing(sqlite3.connect(old, isolation_level=None)) as db:
        with pytest.raises(sqlite3.OperationalError):
            schema.bring_up(db, broken)
        assert schema.version_of(db) == 1
    assert tables(old) == before
    with open_store(old) as store:
        assert len(store.all_reps()) == 3


def test_a_backup_of_an_old_version_is_restored_and_brought_up(old):
    with open_store(create=True) as store:
        store.save(kept_reps.rep(1, of=kept_reps.session(7)))
    now, before = restore(old)
    assert (now.reps, before.name) == (3, "reps.sqlite.before")
    with open_store() as store:
        assert schema.version_of(store._db) == schema.VERSION
        assert len(store.all_reps()) == 3


def test_a_file_of_version_1_that_may_not_be_written_is_said_so(old):
    """Locked by another program meanwhile: no half of a step is ever seen."""
    with closing(sqlite3.connect(old, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreError, match="in use by another program"):
            open_store(old)
        other.execute("COMMIT")
    assert len(open_store(old).all_reps()) == 3


def test_steps_that_were_released_are_never_changed():
    """The text of version 1 as its file was written down; later steps add to it only."""
    db = sqlite3.connect(":memory:", isolation_level=None)
    schema.bring_up(db, schema.STEPS[:1])
    now = {sql for (sql,) in db.execute("SELECT sql FROM sqlite_master WHERE sql NOTNULL")}
    then = VERSION_1.read_text(encoding="utf-8")
    for sql in now:
        assert f"{sql};" in then
