"""The record of reps: kept as told, listed newest first, and never half."""

import os
import sqlite3
from dataclasses import fields, replace
from datetime import timedelta

import kept_reps
import numpy as np
import pytest
from kept_reps import BEGAN

from trainer.core.records import Measures
from trainer.errors import DamagedStoreError, StoreError
from trainer.store import schema
from trainer.store.file import open_store, store_path
from trainer.store.records import Motion


@pytest.fixture
def store():
    with open_store(create=True) as opened:
        yield opened


def same_curves(one, other):
    np.testing.assert_allclose(one.t_s, other.t_s, atol=1e-9)
    assert list(one.columns) == list(other.columns)
    for name, values in one.columns.items():
        np.testing.assert_allclose(values, other.columns[name], atol=1e-9, equal_nan=True)


def same_pose(one, other):
    assert one.size_wh == other.size_wh
    np.testing.assert_array_equal(one.image_px, other.image_px)
    np.testing.assert_array_equal(one.visibility, other.visibility)


def told(kept):
    """Every field of a rep that is compared by identity, for comparing by value."""
    return {f.name: getattr(kept, f.name) for f in fields(kept)}


@pytest.mark.parametrize("make", [kept_reps.rep, kept_reps.bare])
def test_a_rep_is_read_back_as_it_was_told(store, make):
    kept = make()
    assert store.save(kept)
    (back,) = store.last_reps(5)
    assert told(back) == told(kept)
    assert type(back.good) is type(kept.good)  # True is not 1


def test_curves_and_poses_are_read_back_to_their_step(store):
    kept, motion = kept_reps.rep(), kept_reps.motion()
    store.save(kept, motion)
    back = store.motion(kept)
    same_curves(back.curves, motion.curves)
    same_pose(back.setup_pose, motion.setup_pose)
    same_pose(back.top_pose, motion.top_pose)


def test_a_rep_without_curves_and_poses_has_none(store):
    store.save(kept_reps.rep())
    back = store.motion(kept_reps.rep())
    assert (back.curves, back.setup_pose, back.top_pose) == (None, None, None)


def test_a_rep_saved_twice_is_there_once_and_unchanged(store):
    first = kept_reps.rep()
    assert store.save(first, kept_reps.motion())
    assert not store.save(replace(first, note="another"), kept_reps.motion(seed=1))
    (back,) = store.last_reps(5)
    assert back.note == first.note
    same_curves(store.motion(first).curves, kept_reps.motion().curves)


def test_the_newest_reps_come_first_whatever_order_they_were_kept_in(store):
    later = kept_reps.session(2, began=BEGAN + timedelta(days=1))
    for kept in (kept_reps.rep(2, of=later), kept_reps.rep(1), kept_reps.rep(1, of=later)):
        store.save(kept)
    places = [(kept.session.uid, kept.rep.number) for kept in store.last_reps(2)]
    assert places == [(later.uid, 2), (later.uid, 1)]
    assert [kept.rep.number for kept in store.all_reps()] == [1, 1, 2]
    assert [kept.rep.number for kept in store.reps_of(later)] == [1, 2]


def test_sessions_are_in_order_of_time_across_time_zones(store):
    """ISO 8601: 23:30+02:00 is before 22:00+00:00 though its text sorts after it."""
    earlier = kept_reps.session(1, began=BEGAN.replace(hour=23, minute=30))
    later = kept_reps.session(2, began=BEGAN.astimezone(tz=None).astimezone())
    later = replace(later, began=earlier.began.astimezone(None) + timedelta(minutes=30))
    for of in (later, earlier):
        store.save(kept_reps.rep(of=of))
    assert [line.session.uid for line in store.sessions()] == [later.uid, earlier.uid]
    assert store.sessions()[1].session.began == earlier.began
    assert store.sessions()[1].session.began.utcoffset() == timedelta(hours=2)


def test_a_list_of_sessions_tells_how_many_whole_reps_each_has(store):
    cut_off = kept_reps.bare(3)
    for kept in (kept_reps.rep(1), kept_reps.rep(2), cut_off):
        store.save(kept)
    (line,) = store.sessions()
    assert (line.reps, line.last) == (2, cut_off.ended)


def test_players_are_told_apart_but_not_by_capitals(store):
    for number, player in enumerate(("Ann", "ANN", "Bo", "Émile", "E\u0301mile"), start=1):
        store.save(kept_reps.rep(of=kept_reps.session(number, player=player)))
    assert store.players() == ("Ann", "Bo", "Émile")
    assert len(store.last_reps(9, "ann")) == 2
    assert len(store.sessions("bo")) == 1
    assert store.last_reps(9, "nobody") == []


def test_a_rep_that_cannot_be_kept_whole_is_not_kept_at_all(store):
    """A curve whose names are no JSON fails last of all; what went before goes too."""
    curves = kept_reps.motion().curves
    broken = Motion(curves=replace(curves, columns={b"turn": curves.t_s}))
    with pytest.raises(TypeError):
        store.save(kept_reps.rep(), broken)
    assert store.last_reps(5) == []
    assert store.players() == ()
    assert store.save(kept_reps.rep())


def test_an_instant_without_its_offset_from_utc_is_refused(store):
    with pytest.raises(ValueError, match="UTC"):
        store.save(kept_reps.rep(ended=BEGAN.replace(tzinfo=None)))


def test_every_measure_has_its_column():
    """A new measure needs a step in the schema, or it would not be kept."""
    db = sqlite3.connect(":memory:", isolation_level=None)
    schema.bring_up(db)
    columns = {row[1] for row in db.execute("PRAGMA table_info(reps)")}
    kept = {f.name for f in fields(Measures)} - {"t_s", "sources"}
    assert {f"top_{name}" for name in kept} <= columns
    assert set(columns) - {"id", "session_id"} == set(kept_reps_row())


def kept_reps_row():
    from trainer.store.rows import row_of

    return row_of(kept_reps.rep())


def test_what_is_written_is_on_the_disk_before_save_returns(store):
    """SQLite, "PRAGMA synchronous": in WAL mode only FULL (2) outlives a loss of power."""
    assert store._db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert store._db.execute("PRAGMA synchronous").fetchone()[0] == 2
    assert store._db.execute("PRAGMA foreign_keys").fetchone()[0] == 1


def test_a_rep_of_no_session_cannot_be_written(store):
    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        store._db.execute("INSERT INTO cues VALUES (7, 0, 'head_out', 'away', 1.0, 1.0, 1.0)")


def test_what_one_program_keeps_another_sees_at_once(store):
    with open_store() as other:
        store.save(kept_reps.rep())
        assert len(other.last_reps(5)) == 1


def test_without_a_record_there_is_a_clear_word_and_no_file(tmp_path):
    with pytest.raises(StoreError, match="no record of reps yet"):
        open_store(tmp_path / "reps.sqlite")
    assert os.listdir(tmp_path) == []


def test_the_record_lies_in_the_chosen_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path / "deep" / "er"))
    with open_store(create=True):
        assert store_path() == tmp_path / "deep" / "er" / "reps.sqlite"
        assert store_path().exists()


def test_a_file_that_is_no_database_is_called_damaged(tmp_path):
    path = tmp_path / "reps.sqlite"
    path.write_bytes(b"a letter, not a database. " * 300)
    with pytest.raises(DamagedStoreError, match="not a database"):
        open_store(path, create=True)


def test_another_programs_database_is_not_written_into(tmp_path):
    path = tmp_path / "reps.sqlite"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE songs (name TEXT)")
    db.close()
    before = path.read_bytes()
    with pytest.raises(DamagedStoreError, match="another program"):
        open_store(path, create=True)
    assert path.read_bytes() == before


def test_a_record_of_a_newer_version_is_left_alone(tmp_path):
    path = tmp_path / "reps.sqlite"
    with open_store(path, create=True) as store:
        store._db.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    before = path.read_bytes()
    with pytest.raises(StoreError, match=f"version {schema.VERSION + 1}") as caught:
        open_store(path, create=True)
    assert not isinstance(caught.value, DamagedStoreError)
    assert path.read_bytes() == before


def test_a_page_of_the_file_overwritten_is_found(store):
    for number in range(1, 60):
        store.save(kept_reps.rep(number), kept_reps.motion(seed=number))
    assert store.check() == "ok"
    store.close()
    path = store_path()
    whole = bytearray(path.read_bytes())
    for page in range(2, len(whole) // 4096, 3):
        whole[page * 4096 : page * 4096 + 512] = b"\xa5" * 512
    path.write_bytes(whole)
    with pytest.raises(DamagedStoreError, match="backup"), open_store() as damaged:
        damaged.check()


def test_bytes_no_curve_was_packed_to_are_called_damage(store):
    store.save(kept_reps.rep(), kept_reps.motion())
    store._db.execute("UPDATE curves SET packed = x'00010203'")
    with pytest.raises(DamagedStoreError, match="damaged"):
        store.motion(kept_reps.rep())
