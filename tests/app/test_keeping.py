"""Keeping a player's record while the mirror runs: what is written, when, and what goes wrong."""

import datetime
from dataclasses import replace

import pytest
from fakes import FakeClock

from trainer.core.records import Handed
from trainer.core.rod_check import RodReading
from trainer.core.rules import OwnRep, Rules
from trainer.errors import PlayerError
from trainer.keeping import MOST_CHECKS, RETRY_S, SETTLE_S, Keeper, open_keeper
from trainer.players import PlayerRecord, RodCheck, load, record_path, save
from trainer.settings import Settings

DAY = datetime.date(2026, 5, 31)
READ = RodReading(read_deg=84.0, se_deg=8.0)


@pytest.fixture
def kept(tmp_path):
    """Return (keeper, clock, what is in the file now)."""
    clock = FakeClock()
    keeper = Keeper(PlayerRecord(), Rules(), folder=tmp_path, today=lambda: DAY, clock=clock)
    return keeper, clock, lambda: load("me", tmp_path)[0]


def test_what_the_player_changed_is_written_once_it_has_settled(kept):
    keeper, clock, now = kept
    keeper.look(Rules(), (), "camera 0")
    for line in (0.5, 1.0, 1.5):
        keeper.look(Rules(ball_line_cm=line), (), "camera 0")
        assert now() == PlayerRecord()
    clock.t_s += SETTLE_S
    keeper.look(keeper._kept_rules, (), "camera 0")
    assert now() == PlayerRecord(ball_line_cm=1.5)


def test_nothing_is_written_of_a_player_who_changed_nothing(kept, tmp_path):
    keeper, clock, _ = kept
    for _ in range(3):
        keeper.look(Rules(), (), "camera 0")
        clock.t_s += 10.0
    keeper.flush()
    assert not record_path("me", tmp_path).exists()


def test_a_switch_of_hands_the_stature_and_the_reference_are_kept(kept):
    keeper, _, now = kept
    own = OwnRep(turn_deg=80.0)
    keeper.look(Rules(handed=Handed.LEFT, stature_cm=170.0, own=own), (), "camera 0")
    keeper.flush()
    record = now()
    assert (record.handed, record.stature_cm) == (Handed.LEFT, 170.0)
    assert (record.own, record.own_date) == (own, DAY)
    keeper.look(replace(keeper._kept_rules, own=None), (), "camera 0")
    keeper.flush()
    assert (now().own, now().own_date) == (None, None)


def test_targets_and_pain_are_not_facts_of_the_player(kept, tmp_path):
    keeper, _, _ = kept
    rules = Rules(pain=True, rod_read_deg=80.0, cues=replace(Rules().cues, target_deg=60.0))
    keeper.look(rules, (), "camera 0")
    keeper.flush()
    assert not record_path("me", tmp_path).exists()


def test_each_rod_check_is_kept_once_with_its_day_and_camera(kept):
    keeper, _, now = kept
    rules = Rules()
    keeper.look(rules, (READ,), "camera 0")
    keeper.look(rules, (READ,), "camera 0")
    keeper.look(rules, (READ, RodReading(read_deg=79.0, se_deg=None)), "camera 0")
    keeper.flush()
    first = RodCheck(date=DAY, camera="camera 0", read_deg=84.0, se_deg=8.0)
    assert now().rod_checks == (first, replace(first, read_deg=79.0, se_deg=None))


def test_old_rod_checks_make_room_for_new_ones(tmp_path):
    old = RodCheck(date=DAY, camera="camera 0", read_deg=1.0)
    record = PlayerRecord(rod_checks=(old,) * MOST_CHECKS)
    keeper = Keeper(record, Rules(), folder=tmp_path, today=lambda: DAY)
    keeper.look(Rules(), (READ,), "camera 0")
    assert len(keeper.record.rod_checks) == MOST_CHECKS
    assert keeper.record.rod_checks[-1].read_deg == 84.0


def test_a_full_disk_is_said_and_tried_again_and_what_was_to_be_kept_is_not_lost(kept, monkeypatch):
    keeper, clock, now = kept
    keeper.look(Rules(ball_line_cm=2.0), (), "camera 0")

    def full(record, folder):
        raise PlayerError("the record of me could not be written (No space left on device).")

    with monkeypatch.context() as patch:
        patch.setattr("trainer.keeping.save", full)
        clock.t_s += SETTLE_S
        keeper.look(keeper._kept_rules, (), "camera 0")
        assert keeper.trouble.startswith("Not kept: the record of me could not be written")
    keeper.look(keeper._kept_rules, (), "camera 0")
    assert now() == PlayerRecord()  # not tried at every picture
    clock.t_s += RETRY_S + SETTLE_S
    keeper.look(keeper._kept_rules, (), "camera 0")
    assert keeper.trouble == ""
    assert now().ball_line_cm == 2.0


def test_a_record_that_cannot_be_read_is_left_alone(tmp_path):
    record_path("me", tmp_path).mkdir(parents=True)
    settings, keeper = open_keeper("me", Settings(), folder=tmp_path)
    assert settings == Settings()
    assert keeper.trouble.startswith("Nothing is kept: the record of me")
    keeper.look(Rules(ball_line_cm=2.0), (), "camera 0")
    keeper.flush()
    assert record_path("me", tmp_path).is_dir()
    assert keeper.trouble.startswith("Nothing is kept")


def test_a_damaged_record_is_said_when_the_player_is_opened(tmp_path):
    record_path("me", tmp_path).write_text("not TOML", encoding="utf-8")
    _, keeper = open_keeper("me", Settings(), folder=tmp_path)
    assert "was damaged" in keeper.trouble
    keeper.look(Rules(ball_line_cm=2.0), (), "camera 0")
    keeper.flush()
    assert load("me", tmp_path)[0].ball_line_cm == 2.0


def test_opening_a_player_puts_the_record_over_the_settings(tmp_path):
    save(PlayerRecord(name="Ann", handed=Handed.LEFT, ball_line_cm=3.0), tmp_path)
    settings, keeper = open_keeper("Ann", Settings(), folder=tmp_path)
    assert (settings.rules.handed, settings.rules.ball_line_cm) == (Handed.LEFT, 3.0)
    assert keeper.trouble == ""


def test_what_another_program_or_an_editor_changed_meanwhile_is_not_written_over(kept, tmp_path):
    keeper, _, now = kept
    keeper.look(Rules(ball_line_cm=2.0), (READ,), "camera 0")
    keeper.flush()
    other = RodCheck(date=DAY, camera="camera 1", read_deg=70.0)
    here = now()
    save(replace(here, notes="hip stiff", rod_checks=(*here.rod_checks, other)), tmp_path)
    keeper.look(Rules(ball_line_cm=3.0), (READ, READ), "camera 0")
    keeper.flush()
    record = now()
    assert (record.notes, record.ball_line_cm) == ("hip stiff", 3.0)
    assert [check.camera for check in record.rod_checks] == ["camera 0", "camera 1", "camera 0"]


def test_of_one_value_changed_twice_the_running_programs_stands(kept, tmp_path):
    keeper, _, now = kept
    keeper.look(Rules(ball_line_cm=2.0), (), "camera 0")
    keeper.flush()
    save(replace(now(), ball_line_cm=9.0), tmp_path)
    keeper.look(Rules(ball_line_cm=3.0), (), "camera 0")
    keeper.flush()
    assert now().ball_line_cm == 3.0


def test_a_record_deleted_or_damaged_meanwhile_is_written_anew(kept, tmp_path):
    keeper, _, now = kept
    path = record_path("me", tmp_path)
    for spoil in (path.unlink, lambda: path.write_text("not TOML [")):
        keeper.look(replace(Rules(), ball_line_cm=2.0, stature_cm=180.0), (), "camera 0")
        keeper.flush()
        spoil()
        keeper.look(replace(Rules(), ball_line_cm=4.0, stature_cm=180.0), (), "camera 0")
        keeper.flush()
        assert (now().ball_line_cm, now().stature_cm) == (4.0, 180.0)
    assert [p.name for p in tmp_path.iterdir() if "damaged" in p.name]


def test_two_programs_that_write_one_record_all_the_time_lose_nothing_of_each_other(tmp_path):
    """Each marks rod checks of its own, and writes after every one."""
    import threading

    count, keepers = 20, []

    def practise(camera):
        keeper = Keeper(PlayerRecord(), Rules(), folder=tmp_path, today=lambda: DAY)
        keepers.append(keeper)
        for number in range(1, count + 1):
            keeper.look(Rules(), (READ,) * number, camera)
            keeper.flush()
            while keeper.trouble:  # the other one was writing for too long: tried again later
                keeper.flush()

    threads = [threading.Thread(target=practise, args=(f"camera {n}",)) for n in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60.0)
    cameras = [check.camera for check in load("me", tmp_path)[0].rod_checks]
    assert sorted(cameras) == ["camera 1"] * count + ["camera 2"] * count
    assert sorted(path.name for path in tmp_path.iterdir()) == ["player-me.toml"]


def test_a_lock_that_a_program_left_behind_holds_nobody_up_for_ever(kept, tmp_path, monkeypatch):
    import os

    keeper, _, now = kept
    lock = tmp_path / ".player-me.toml.lock"
    lock.write_bytes(b"")
    keeper.look(Rules(ball_line_cm=2.0), (), "camera 0")
    monkeypatch.setattr("trainer.kept_file.PATIENCE_S", 0.0)
    keeper.flush()
    assert "is being written by another program" in keeper.trouble
    assert now() == PlayerRecord()
    os.utime(lock, (0.0, 0.0))  # long ago
    keeper.flush()
    assert (keeper.trouble, now().ball_line_cm) == ("", 2.0)
    assert not lock.exists()


def test_what_changed_in_the_file_is_taken_in_between_two_turns(kept, tmp_path):
    keeper, _, now = kept
    keeper.look(Rules(ball_line_cm=2.0), (), "camera 0")
    keeper.reload()
    assert now().ball_line_cm == 2.0  # what was not written yet is
    save(replace(now(), stature_cm=180.0), tmp_path)
    keeper.reload()
    assert (keeper.record.stature_cm, keeper.record.ball_line_cm) == (180.0, 2.0)
    record_path("me", tmp_path).unlink()
    keeper.reload()
    assert keeper.record.stature_cm == 180.0
    record_path("me", tmp_path).write_text("stature_cm = what", encoding="utf-8")
    keeper.reload()
    assert "was damaged" in keeper.trouble
    assert keeper.record.stature_cm == 180.0
