"""Reps and curves as tables: every figure there, and what a spreadsheet must not run."""

import csv
import json
import os
from dataclasses import replace
from pathlib import Path

import kept_reps
import pytest

from trainer.cli import main
from trainer.core.records import CueKind
from trainer.store.export import CUE_COLUMNS, CURVE_COLUMNS, REP_COLUMNS
from trainer.store.file import open_store

PAGE = Path(__file__).resolve().parents[2] / "docs/reps-format.md"


@pytest.fixture
def exported(tmp_path):
    with open_store(create=True) as store:
        for kept in (kept_reps.rep(1), kept_reps.bare(2)):
            store.save(kept, kept_reps.motion(seed=kept.rep.number))
        store.save(kept_reps.rep(1, of=kept_reps.session(2, player="Bo")))
    assert main(["export", "--out", str(tmp_path / "out")]) == 0
    return tmp_path / "out"


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def test_each_rep_is_a_row_and_each_reading_too(exported):
    assert sorted(os.listdir(exported)) == ["cues.csv", "curves.csv", "reps.csv", "reps.json"]
    reps = rows(exported / "reps.csv")
    assert [(row["player"], row["number"]) for row in reps] == [
        ("Ann", "1"),
        ("Ann", "2"),
        ("Bo", "1"),
    ]
    assert len(rows(exported / "curves.csv")) == 80
    cues = rows(exported / "cues.csv")
    assert [row["kind"] for row in cues] == [CueKind.TURN_REACHED.value, CueKind.HEAD_OUT.value] * 2
    assert cues[0]["from_takeaway_s"] == "0.95"


def test_a_row_tells_what_was_kept(exported):
    first, second, _ = rows(exported / "reps.csv")
    kept = kept_reps.rep(1)
    assert float(first["top_shoulder_turn_deg"]) == kept.rep.at_top.shoulder_turn_deg
    assert float(first["max_head_vertical_cm"]) == -2.5
    assert (first["good"], first["complete"], first["pain"]) == ("false", "true", "false")
    assert first["began"] == "2026-05-31T18:30:05.250+02:00"  # ISO 8601
    assert first["words"] == "Head 4 cm away from the target; turn about 90°, ±6"
    assert first["note"] == "löst, “quoted”\nand on"
    assert first["backswing_s"] == "1.25"
    assert (second["good"], second["top_shoulder_turn_deg"], second["note"]) == ("", "", "")


def test_curves_name_their_rep_and_leave_out_what_was_not_read(exported):
    (curves, motion) = rows(exported / "curves.csv"), kept_reps.motion(seed=1)
    first = curves[0]
    assert first["session"] == kept_reps.session().uid
    assert float(first["t_s"]) == pytest.approx(motion.curves.t_s[0])
    assert first["head_lateral_cm"] == ""
    turn = [float(row["shoulder_turn_deg"]) for row in curves[:40]]
    assert turn == pytest.approx(motion.curves.columns["shoulder_turn_deg"].tolist())


def test_the_json_holds_the_same(exported):
    values = json.loads((exported / "reps.json").read_text(encoding="utf-8"))
    assert values["schema"] == 1
    ann, bo = values["sessions"]
    assert (ann["player"], bo["player"]) == ("Ann", "Bo")
    rep = ann["reps"][0]
    assert rep["note"] == "löst, “quoted”\nand on"
    assert rep["good"] is False
    assert rep["curves"]["head_lateral_cm"][0] is None
    assert len(rep["top_pose"]["points"]) == 33
    assert bo["reps"][0]["curves"] is None


def test_one_players_reps_alone_are_written_where_asked(exported, tmp_path):
    assert main(["export", "--out", str(tmp_path / "bo"), "--player", "bo"]) == 0
    assert [row["player"] for row in rows(tmp_path / "bo" / "reps.csv")] == ["Bo"]


def test_lines_end_as_the_standard_wants(exported):
    """RFC 4180, 2.1: CRLF; 2.6: a field with a line break, a comma or quotes stands in quotes."""
    raw = (exported / "reps.csv").read_bytes()
    header = raw.split(b"\r\n", 1)[0].decode("ascii")
    assert tuple(header.split(",")) == REP_COLUMNS
    assert '"löst, “quoted”\nand on"'.encode() in raw
    assert raw.endswith(b"\r\n")


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_note_that_a_spreadsheet_would_run_is_made_plain_text(tmp_path, text):
    """OWASP, "CSV Injection": such a field is a formula to a spreadsheet (the list of signs)."""
    with open_store(create=True) as store:
        store.save(replace(kept_reps.rep(1), note=text))
    main(["export", "--out", str(tmp_path)])
    (row,) = rows(tmp_path / "reps.csv")
    assert row["note"] == "'" + text
    # A figure below zero stays a figure.
    assert row["max_head_vertical_cm"] == "-2.5"


def test_where_nothing_can_be_written_nothing_half_is_left(exported, tmp_path, capsys):
    (tmp_path / "file").write_text("")
    assert main(["export", "--out", str(tmp_path / "file")]) == 1
    assert "could not be written" in capsys.readouterr().err
    assert (tmp_path / "file").read_text() == ""


def test_the_page_names_every_column():
    text = PAGE.read_text(encoding="utf-8")
    for columns in (REP_COLUMNS, CUE_COLUMNS, CURVE_COLUMNS):
        line = ",".join(columns)
        assert f"\n{line}\n" in text, line
