"""The record of a player: written whole, read back the same, and what becomes of a damaged one."""

import datetime
import errno
import os
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.records import Handed
from trainer.core.rules import OwnRep
from trainer.errors import PlayerError, SettingsError
from trainer.players import (
    DATA_VARIABLE,
    PlayerRecord,
    RodCheck,
    SilentCheck,
    data_dir,
    last_read_deg,
    load,
    record_path,
    save,
    with_record,
)
from trainer.settings import Settings, from_values, player_name

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

DAY = datetime.date(2026, 5, 31)
FULL = PlayerRecord(
    name="Ann",
    handed=Handed.LEFT,
    stature_cm=168.5,
    ball_line_cm=-2.5,
    own=OwnRep(turn_deg=81.25, head_lateral_cm=3.0, hip_lateral_cm=-1.5),
    own_date=DAY,
    target_deg=78.0,
    turn_band_deg=6.0,
    head_tol_cm=6.5,
    hip_tol_cm=5.0,
    comfort_deg=80.0,
    notes='left hip stiff; "slow" \\ först',
    practised=DAY,
    silent_checks=(
        SilentCheck(date=DAY, reps=5, good=3, turn_mean_deg=77.5, turn_sd_deg=2.25),
        SilentCheck(date=DAY, reps=5, good=0),
    ),
    rod_checks=(
        RodCheck(date=DAY, camera="camera 0", read_deg=84.0, se_deg=8.0),
        RodCheck(date=DAY, camera='a "camera" \\ ü', read_deg=79.5),
    ),
)


def test_what_is_kept_is_read_back_the_same(tmp_path):
    save(FULL, tmp_path)
    assert load("Ann", tmp_path) == (FULL, "")
    assert os.listdir(tmp_path) == ["player-ann.toml"]


def test_the_file_is_toml_as_its_standard_has_it(tmp_path):
    """TOML 1.0.0 (toml.io): local dates stand bare, floats have a point."""
    save(FULL, tmp_path)
    text = record_path("Ann", tmp_path).read_text(encoding="utf-8")
    values = tomllib.loads(text)
    assert values["own"]["date"] == DAY
    assert "\ndate = 2026-05-31\n" in text
    assert "\nball_line_cm = -2.5\n" in text
    assert [check["read_deg"] for check in values["rod_check"]] == [84.0, 79.5]
    assert text.startswith("# ")
    assert "head_vertical_cm" not in text  # not known is left out, never 0


@given(
    handed=st.sampled_from([None, *Handed]),
    stature=st.none() | st.integers(1000, 2300).map(lambda n: n / 10),
    line=st.none() | st.integers(-120, 120).map(lambda n: n / 2),
    camera=st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=30),
    read=st.integers(0, 18000).map(lambda n: n / 100),
)
def test_any_record_is_read_back_the_same(tmp_path_factory, handed, stature, line, camera, read):
    folder = tmp_path_factory.mktemp("any")
    record = PlayerRecord(
        handed=handed,
        stature_cm=stature,
        ball_line_cm=line,
        rod_checks=(RodCheck(date=DAY, camera=camera, read_deg=read),),
    )
    save(record, folder)
    assert load("me", folder) == (record, "")


def test_a_player_nobody_knows_begins_empty(tmp_path):
    assert load("Bob", tmp_path) == (PlayerRecord(name="Bob"), "")
    assert os.listdir(tmp_path) == []


def test_capitals_and_accents_typed_another_way_are_the_same_player(tmp_path):
    save(PlayerRecord(name="Zoë", stature_cm=170.0), tmp_path)
    assert load("ZOE\u0308", tmp_path)[0].stature_cm == 170.0
    assert record_path("con", tmp_path).name == "player-con.toml"  # Windows keeps "con" for itself


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("schema = 1\nhanded = ", "Invalid value"),
        ("schema = 2\ntarget_deg = 1.5", "target_deg is 1.5"),
        ("schema = 2\ncomfort_deg = 300", "comfort_deg is 300"),
        ("schema = 2\nnotes = 5", "notes is '5'"),
        ("schema = 2\nstature_cm = 17", "stature_cm is 17"),
        ("schema = 2\nstature_cm = 1800", "stature_cm is 1800"),
        ("schema = 2\npractised = 'today'", "practised is 'today'"),
        ("schema = 2\nsilent_check = 5", "silent_check is 5"),
        ("schema = 2\n[[silent_check]]\ndate = 2026-05-31\nreps = 900", "reps is 900"),
        ("schema = 1\nhanded = 'both'", "handed is 'both'"),
        ("schema = 1\nstature_cm = 1.7", "stature_cm is 1.7"),
        ("schema = 1\nball_line_cm = 900", "ball_line_cm is 900"),
        ("schema = 1\nball_line_cm = true", "ball_line_cm is True"),
        ("schema = 1\nball_line_cm = nan", "ball_line_cm is nan"),
        ("schema = 1\nshoe_size = 43", "unknown key 'shoe_size'"),
        ("schema = 3", "schema 3"),
        ("", "schema None"),
        ("schema = 1\n[own]\ndate = 2026-05-31", "no turn_deg"),
        ("schema = 1\n[own]\nturn_deg = 80", "date is None"),
        ("schema = 1\n[own]\nturn_deg = 80\ndate = '2026-05-31'", "date is '2026-05-31'"),
        ("schema = 1\n[own]\nturn_deg = 80\ndate = 2026-05-31T10:00:00", "date is"),
        ("schema = 1\nown = 5", "is 5"),
        ("schema = 1\nrod_check = 5", "rod_check is 5"),
        ("schema = 1\n[[rod_check]]\ndate = 2026-05-31\nread_deg = 80", "lacks read_deg or camera"),
        ("schema = 1\n[[rod_check]]\ndate = 2026-05-31\nread_deg = 800\ncamera = 'a'", "read_deg"),
        ("\xff\xfe\x00", "codec"),
    ],
)
def test_a_damaged_record_is_named_and_set_aside_and_the_player_starts_anew(tmp_path, text, reason):
    path = record_path("Ann", tmp_path)
    path.write_bytes(text.encode("latin-1"))
    record, words = load("Ann", tmp_path)
    assert record == PlayerRecord(name="Ann")
    assert reason in words
    assert "Ann starts anew" in words
    assert "player-ann.toml.damaged" in words
    assert not path.exists()
    aside = tmp_path / "player-ann.toml.damaged"
    assert aside.read_bytes() == text.encode("latin-1")
    save(record, tmp_path)
    assert load("Ann", tmp_path) == (record, "")
    assert aside.exists()


def test_a_second_damaged_record_does_not_take_the_place_of_the_first(tmp_path):
    path = record_path("Ann", tmp_path)
    for number in (1, 2, 3):
        path.write_text(f"damaged {number}", encoding="utf-8")
        load("Ann", tmp_path)
    assert sorted(os.listdir(tmp_path)) == [
        "player-ann.toml.damaged",
        "player-ann.toml.damaged-2",
        "player-ann.toml.damaged-3",
    ]
    kept = (tmp_path / "player-ann.toml.damaged").read_text(encoding="utf-8")
    assert kept == "damaged 1"


def three_parts(words):
    assert words.count(". ") >= 2 or words.rstrip(".").count(". ") >= 1
    assert "wanted" in words
    return words


def test_a_record_that_cannot_be_read_is_not_taken_for_an_empty_one(tmp_path):
    record_path("Ann", tmp_path).mkdir()  # as good as a file without permission, for root too
    with pytest.raises(PlayerError) as caught:
        load("Ann", tmp_path)
    assert "record of Ann" in three_parts(str(caught.value))


def test_a_damaged_record_that_cannot_be_set_aside_is_not_written_over(tmp_path, monkeypatch):
    record_path("Ann", tmp_path).write_text("damaged", encoding="utf-8")

    def refuse(self, target):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr("pathlib.Path.rename", refuse)
    with pytest.raises(PlayerError) as caught:
        load("Ann", tmp_path)
    assert "could not be set aside" in three_parts(str(caught.value))


@pytest.mark.parametrize("where", ["fsync", "replace"])
def test_a_full_disk_leaves_the_old_record_whole_and_no_half_one(tmp_path, monkeypatch, where):
    save(FULL, tmp_path)

    def full(*args):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, where, full)
    with pytest.raises(PlayerError) as caught:
        save(PlayerRecord(name="Ann"), tmp_path)
    words = three_parts(str(caught.value))
    assert os.strerror(errno.ENOSPC) in words
    assert DATA_VARIABLE in words
    monkeypatch.undo()
    assert load("Ann", tmp_path) == (FULL, "")
    assert os.listdir(tmp_path) == ["player-ann.toml"]


def test_a_folder_that_cannot_be_made_is_said_in_plain_words(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(PlayerError, match="could not be written"):
        save(FULL, tmp_path / "file" / "players")


def test_records_lie_in_the_users_data_folder_unless_another_is_named(monkeypatch, tmp_path):
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    assert data_dir() == tmp_path
    monkeypatch.delenv(DATA_VARIABLE)
    monkeypatch.setattr("platformdirs.user_data_dir", lambda name, appauthor: f"/data/{name}")
    assert data_dir().as_posix() == "/data/backswing-mirror/players"


def test_what_is_known_of_the_player_wins_over_the_settings_file():
    settings = from_values({"player": {"handed": "right", "stature_cm": 180}}, "my.toml")
    rules = with_record(settings, FULL, DAY).rules
    assert (rules.handed, rules.stature_cm, rules.ball_line_cm) == (Handed.LEFT, 168.5, -2.5)
    assert with_record(settings, PlayerRecord(), DAY) == settings


def test_a_reference_rep_counts_on_its_own_day_only():
    assert with_record(Settings(), FULL, DAY).rules.own == FULL.own
    tomorrow = DAY + datetime.timedelta(days=1)
    assert with_record(Settings(), FULL, tomorrow).rules.own is None


def test_the_newest_check_of_the_same_camera_counts():
    newer = RodCheck(date=DAY, camera="camera 0", read_deg=86.0)
    record = PlayerRecord(rod_checks=(*FULL.rod_checks, newer))
    assert last_read_deg(record, "camera 0") == 86.0
    assert last_read_deg(record, "camera 1") is None


@pytest.mark.parametrize("name", ["me", "Ann-Marie 2", "Zoë", "李", "a_b"])
def test_names_that_can_name_a_file_are_taken(name):
    assert player_name(name, "--player") == name
    assert from_values({"player": {"name": name}}, "my.toml").player == name


@pytest.mark.parametrize("name", ["", " a", "a ", "../x", "a/b", "a\\b", "a.b", "x" * 41, 5, True])
def test_other_names_are_refused(name):
    with pytest.raises(SettingsError, match="A name of 1 to 40 letters"):
        player_name(name, "--player")


def test_a_record_of_the_first_schema_is_read_and_written_as_the_newest(tmp_path):
    record_path("Ann", tmp_path).write_text("schema = 1\nstature_cm = 170\n")
    record, words = load("Ann", tmp_path)
    assert (record.stature_cm, words) == (170.0, "")
    save(record, tmp_path)
    assert "schema = 2\n" in record_path("Ann", tmp_path).read_text(encoding="utf-8")


def test_the_players_own_targets_win_over_the_settings_file():
    settings = with_record(Settings(), FULL, DAY)
    cues = settings.rules.cues
    assert (cues.target_deg, cues.turn_band_deg) == (78.0, 6.0)
    assert (cues.head_tol_cm, cues.hip_tol_cm) == (6.5, 5.0)
    assert settings.rules.comfort_deg == 80.0
    assert with_record(Settings(), PlayerRecord(), DAY).rules.cues == Settings().rules.cues


def test_a_silent_check_is_offered_on_a_later_day_only():
    later = DAY + datetime.timedelta(days=1)
    assert with_record(Settings(), FULL, later).rules.check_offered
    assert not with_record(Settings(), FULL, DAY).rules.check_offered
    assert not with_record(Settings(), PlayerRecord(), later).rules.check_offered


def test_the_roster_lists_every_player_and_names_a_damaged_record(tmp_path, monkeypatch, capsys):
    from trainer.cli import main

    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path))
    assert main(["players"]) == 0
    assert "No player has a record" in capsys.readouterr().out
    save(FULL)
    save(PlayerRecord(name="Bo"))
    assert main(["players"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "Ann: left-hander, 168.5 cm tall, target 78°, comfortable maximum 80°, "
        "last silent check 0 of 5 good, practised 2026-05-31, "
        'left hip stiff; "slow" \\ först',
        "Bo: nothing known yet",
    ]
    record_path("Cy").write_text("schema = 2\nstature_cm = 17\n")
    assert main(["players"]) == 1
    told = capsys.readouterr()
    assert len(told.out.splitlines()) == 2  # the others load
    assert "cy was damaged" in told.err
