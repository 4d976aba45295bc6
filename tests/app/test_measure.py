"""Measuring one clip: phases as known afterwards, and the two files.

The pose model is a stand-in here; test_measure_demo.py has the real one.
"""

import csv
import io
import json
import os
from pathlib import Path

import numpy as np
import pytest
from fakes import FRONT, FakeEstimator, blank, frames_and_poses, good_reps, two_faults
from golfer import TOP, Script, View, play, rep_script

from trainer.core.records import CueKind, Handed, Measures, Phase, PhaseChange, Rep, Step
from trainer.core.rules import Rules
from trainer.errors import TrainerError
from trainer.measure import (
    clip_result,
    csv_text,
    make_out_dir,
    phases_afterwards,
    run_frames,
    write_results,
)

MEASURES = [
    "shoulder_turn_deg",
    "hip_turn_deg",
    "separation_deg",
    "head_drift_cm",
    "hip_drift_cm",
    "chest_pitch_deg",
    "side_tilt_deg",
    "back_gap_cm",
    "hand_height_cm",
    "shoulder_turn_se_deg",
    "hip_turn_se_deg",
    "separation_se_deg",
    "head_drift_se_cm",
    "hip_drift_se_cm",
    "chest_pitch_se_deg",
    "side_tilt_se_deg",
    "back_gap_se_cm",
]
#: Those written as a pair: sideways, then up.
PAIRS = {"head_drift_cm", "head_drift_se_cm"}


def measured(script, view=FRONT, **more):
    """Return the JSON's values of a scripted golfer."""
    frames, known = frames_and_poses(script, view)
    rules = Rules(handed=view.handed)
    steps, reps = run_frames(frames, FakeEstimator(known), rules)
    given = {"clip": "a.mp4", "fps": 30.0, "size_wh": (1280, 720), "rules": rules} | more
    return clip_result(steps, reps, **given)


# --- phases as known afterwards ---


def steps_at(hz, seconds, *changes):
    """Return steps at ``hz`` that decided ``changes`` (phase, t_s, decided_t_s)."""
    times = np.arange(round(hz * seconds) + 1) / hz
    steps = []
    for t_s in times:
        decided = tuple(
            PhaseChange(phase=phase, t_s=at_s, decided_t_s=float(t_s))
            for phase, at_s, decided_s in changes
            if t_s - 0.5 / hz < decided_s <= t_s + 0.5 / hz
        )
        steps.append(
            Step(t_s=float(t_s), pose=None, measures=Measures(t_s=float(t_s)), phase=Phase.NOBODY)
            if not decided
            else Step(
                t_s=float(t_s),
                pose=None,
                measures=Measures(t_s=float(t_s)),
                phase=decided[-1].phase,
                changes=decided,
            )
        )
    return steps


def test_a_move_counts_from_when_it_began_not_from_when_it_was_decided():
    steps = steps_at(10, 2, (Phase.WAITING, 0.0, 0.1), (Phase.SETUP, 0.5, 1.2))
    assert phases_afterwards(steps, []) == [Phase.WAITING] * 5 + [Phase.SETUP] * 16


def test_frames_before_anybody_was_seen_are_nobody():
    steps = steps_at(10, 1, (Phase.WAITING, 0.5, 0.6))
    assert phases_afterwards(steps, []) == [Phase.NOBODY] * 5 + [Phase.WAITING] * 6


def test_a_reps_own_instants_are_the_last_word_on_its_top():
    steps = steps_at(
        10,
        3,
        (Phase.SETUP, 0.0, 0.0),
        (Phase.TAKEAWAY, 0.5, 0.6),
        (Phase.BACKSWING, 0.9, 0.9),
        (Phase.TOP, 1.3, 1.5),  # a stop on the way, taken for the top ...
        (Phase.BACKSWING, 1.6, 1.6),  # ... until the hands went on
        (Phase.TOP, 2.0, 2.1),
        (Phase.AFTER, 2.3, 2.4),
    )
    rep = Rep(number=1, setup_t_s=0.0, takeaway_t_s=0.5, top_t_s=2.0, top_end_t_s=2.3)
    phases = phases_afterwards(steps, [rep])
    assert phases[9:20] == [Phase.BACKSWING] * 11
    assert phases[20:24] == [Phase.TOP] * 4  # both ends of the top belong to it
    assert phases[24:] == [Phase.AFTER] * 7


def test_a_top_between_two_pictures_is_shown_by_the_nearest_one():
    steps = steps_at(
        10, 2, (Phase.SETUP, 0.0, 0.0), (Phase.BACKSWING, 0.5, 0.5), (Phase.AFTER, 1.04, 1.2)
    )
    rep = Rep(number=1, setup_t_s=0.0, takeaway_t_s=0.3, top_t_s=1.03, top_end_t_s=1.04)
    phases = phases_afterwards(steps, [rep])
    assert phases.count(Phase.TOP) == 1
    assert phases[10] is Phase.TOP
    assert phases[11] is Phase.AFTER


def test_a_rep_without_a_top_changes_nothing():
    steps = steps_at(10, 1, (Phase.SETUP, 0.0, 0.0), (Phase.TAKEAWAY, 0.5, 0.6))
    rep = Rep(number=1, setup_t_s=0.0, takeaway_t_s=0.5)
    assert phases_afterwards(steps, [rep]) == phases_afterwards(steps, [])


@pytest.mark.parametrize("handed", list(Handed))
def test_the_phases_of_a_scripted_rep_change_where_its_body_does(handed):
    script, (takeaway_s, top_s, end_s) = rep_script(hold_s=0.5)
    result = measured(script, View(handed=handed, hz=60.0))
    starts = {}
    for frame in result["frames"]:
        starts.setdefault(frame["phase"], frame["t_s"])
    (rep,) = result["reps"]
    assert rep["complete"]
    # 3 frames of 30 a second: what the whole program promises of these instants
    assert starts["takeaway"] == pytest.approx(takeaway_s, abs=0.1)
    assert starts["top"] == pytest.approx(top_s, abs=0.1)
    assert starts["after"] == pytest.approx(end_s, abs=0.1)
    assert rep["takeaway_t_s"] <= starts["takeaway"] < rep["takeaway_t_s"] + 1 / 60 + 1e-4
    assert {frame["phase"] for frame in result["frames"]} <= {phase.value for phase in Phase}


# --- what is in the files ---


def test_the_json_holds_what_its_format_promises():
    result = measured(two_faults())
    assert list(result) == [
        "schema",
        "clip",
        "fps",
        "size_wh",
        "cut_short",
        "handed",
        "stature_cm",
        "ball_line_cm",
        "pose_model_fitted",
        "estimator",
        "frames",
        "reps",
        "spread",
    ]
    assert result["schema"] == 1
    assert result["stature_cm"] is None
    assert all(list(f) == ["t_s", "phase", *MEASURES] for f in result["frames"])
    (rep,) = result["reps"]
    assert list(rep) == [
        "setup_t_s",
        "takeaway_t_s",
        "top_t_s",
        "top_end_t_s",
        "complete",
        "good",
        "at_top",
        "max",
        "cues",
    ]
    assert list(rep["at_top"]) == MEASURES
    assert list(rep["max"]) == ["shoulder_turn_deg", "head_drift_cm", "hip_drift_cm"]
    assert {cue["kind"] for cue in rep["cues"]} == {kind.value for kind in CueKind}
    for cue in rep["cues"]:
        assert list(cue) == ["t_s", "decided_t_s", "kind", "side"]
        assert cue["side"] == (None if cue["kind"] == "turn_reached" else "away")
        assert cue["t_s"] <= cue["decided_t_s"]


def test_what_live_decides_is_what_measuring_writes():
    (rep,) = measured(two_faults())["reps"]
    live = play(two_faults()).rep
    assert [cue["kind"] for cue in rep["cues"]] == [cue.kind.value for cue in live.cues]
    assert rep["top_t_s"] == pytest.approx(live.top_t_s, abs=0.01)
    assert rep["at_top"]["head_drift_cm"][0] == pytest.approx(live.at_top.head_lateral_cm, abs=0.1)


def test_a_reading_not_made_is_null_and_an_empty_cell():
    script = Script().hold(2.0).lose(2.0).hold(1.0)
    result = measured(script)
    lost = [f for f in result["frames"] if 2.1 < f["t_s"] < 3.9]
    for frame in lost:
        for name in MEASURES:
            assert frame[name] == ([None, None] if name in PAIRS else None)
    rows = list(csv.DictReader(io.StringIO(csv_text(result["frames"]))))
    for row in rows[65:115]:
        assert set(row.values()) == {row["t_s"], row["phase"], ""}


def test_numbers_are_rounded_and_there_is_no_minus_zero():
    step = Step(
        t_s=1 / 3,
        pose=None,
        measures=Measures(t_s=1 / 3, shoulder_turn_deg=-0.001, head_lateral_cm=1.23456),
        phase=Phase.SETUP,
    )
    result = clip_result(
        [step], [], clip="a", fps=29.97002997, size_wh=(1, 2), rules=Rules(stature_cm=181.0)
    )
    (frame,) = result["frames"]
    assert result["fps"] == 29.97
    assert result["stature_cm"] == 181.0
    assert frame["t_s"] == 0.333333
    assert frame["head_drift_cm"] == [1.23, None]
    assert json.dumps(frame["shoulder_turn_deg"]) == "0.0"


def test_the_csv_has_one_row_a_frame_with_head_drift_in_two_columns():
    result = measured(two_faults())
    rows = list(csv.reader(io.StringIO(csv_text(result["frames"]))))
    assert rows[0] == [
        "t_s",
        "phase",
        "shoulder_turn_deg",
        "hip_turn_deg",
        "separation_deg",
        "hip_drift_cm",
        "chest_pitch_deg",
        "side_tilt_deg",
        "back_gap_cm",
        "hand_height_cm",
        "shoulder_turn_se_deg",
        "hip_turn_se_deg",
        "separation_se_deg",
        "hip_drift_se_cm",
        "chest_pitch_se_deg",
        "side_tilt_se_deg",
        "back_gap_se_cm",
        "head_drift_lateral_cm",
        "head_drift_vertical_cm",
        "head_drift_lateral_se_cm",
        "head_drift_vertical_se_cm",
    ]
    assert len(rows) == len(result["frames"]) + 1
    for row, frame in zip(rows[1:], result["frames"], strict=True):
        assert row[1] == frame["phase"]
        pairs = [*frame["head_drift_cm"], *frame["head_drift_se_cm"]]
        assert row[-4:] == ["" if value is None else str(value) for value in pairs]


def test_each_reading_is_written_with_its_own_standard_error():
    now = Measures(
        t_s=1.0,
        shoulder_turn_deg=80.0,
        shoulder_turn_se_deg=5.126,
        hip_turn_se_deg=4.0,
        head_lateral_se_cm=0.9,
        head_vertical_se_cm=1.1,
        hip_lateral_se_cm=0.8,
        chest_pitch_se_deg=4.6,
    )
    rep = Rep(number=1, setup_t_s=0.0, takeaway_t_s=0.5, at_top=now)
    step = Step(t_s=1.0, pose=None, measures=now, phase=Phase.TOP, rep=rep)
    result = clip_result([step], [rep], clip="a", fps=30.0, size_wh=(1, 2), rules=Rules())
    for values in (result["frames"][0], result["reps"][0]["at_top"]):
        assert values["shoulder_turn_se_deg"] == 5.13
        assert values["hip_turn_se_deg"] == 4.0
        assert values["head_drift_se_cm"] == [0.9, 1.1]
        assert values["hip_drift_se_cm"] == 0.8
        assert values["chest_pitch_se_deg"] == 4.6
    (row,) = csv.DictReader(io.StringIO(csv_text(result["frames"])))
    assert row["head_drift_lateral_se_cm"] == "0.9"
    assert row["head_drift_vertical_se_cm"] == "1.1"


def test_without_a_reference_no_standard_error_is_written():
    result = measured(Script().hold(0.2))
    assert result["frames"]
    for frame in result["frames"]:
        assert frame["shoulder_turn_se_deg"] is None
        assert frame["head_drift_se_cm"] == [None, None]


def test_a_rep_the_clip_cuts_off_is_written_as_not_complete():
    (rep,) = measured(Script().hold(2.0).move(TOP, 1.0))["reps"]
    assert rep["complete"] is False
    assert rep["top_end_t_s"] is None
    assert rep["cues"][0]["kind"] == "turn_reached"


def test_nobody_in_the_clip_gives_frames_but_no_rep():
    frames = [blank(i / 30, i) for i in range(10)]
    steps, reps = run_frames(frames, FakeEstimator(dict.fromkeys(range(10))), Rules())
    assert phases_afterwards(steps, reps) == [Phase.NOBODY] * 10
    assert reps == []


def test_progress_counts_every_frame():
    done = []
    run_frames([blank(0.0, 0)] * 5, FakeEstimator({0: None}), Rules(), done.append)
    assert sum(done) == 5


# --- the files on disk ---


def test_both_files_are_written_and_nothing_else(tmp_path):
    result = measured(good_reps(1))
    write_results(tmp_path / "new" / "folder", "a", result)
    assert sorted(os.listdir(tmp_path / "new" / "folder")) == ["a.csv", "a.json"]
    assert json.loads((tmp_path / "new/folder/a.json").read_text(encoding="utf-8")) == result
    assert b"\r" not in (tmp_path / "new/folder/a.csv").read_bytes()


@pytest.mark.parametrize("blocked", ["a.json", "a.csv"])
def test_when_one_of_the_two_cannot_be_written_neither_is_there(tmp_path, blocked):
    (tmp_path / blocked).mkdir()  # a folder of that name cannot be replaced by a file
    with pytest.raises(TrainerError, match="results of a could not be written") as caught:
        write_results(tmp_path, "a", measured(good_reps(1)))
    assert "Give another one to --out" in str(caught.value)
    assert os.listdir(tmp_path) == [blocked]


def test_a_write_that_fails_half_way_leaves_no_half_file(tmp_path, monkeypatch):
    write_text = Path.write_text

    def fail(self, text, **more):
        write_text(self, text[:100], **more)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", fail)
    with pytest.raises(TrainerError, match="No space left"):
        write_results(tmp_path, "a", measured(good_reps(1)))
    assert os.listdir(tmp_path) == []


def test_a_number_that_is_none_is_never_written(tmp_path):
    result = measured(good_reps(1), fps=float("nan"))
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_results(tmp_path, "a", result)
    assert os.listdir(tmp_path) == []


def test_a_file_where_the_folder_should_be_is_said_in_words(tmp_path):
    (tmp_path / "out").write_text("")
    for folder in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(TrainerError, match="could not be made") as caught:
            make_out_dir(folder)
        assert "Give another one to --out" in str(caught.value)


# --- the back's gap and the spread ---


def test_the_gap_to_the_ball_line_is_written_with_the_line_it_is_counted_from():
    step = Step(
        t_s=1.0,
        pose=None,
        measures=Measures(t_s=1.0, back_gap_cm=4.567, back_gap_se_cm=1.234),
        phase=Phase.TOP,
    )
    result = clip_result(
        [step], [], clip="a", fps=30.0, size_wh=(1, 2), rules=Rules(ball_line_cm=-2.0)
    )
    assert result["ball_line_cm"] == -2.0
    (frame,) = result["frames"]
    assert (frame["back_gap_cm"], frame["back_gap_se_cm"]) == (4.57, 1.23)
    (row,) = csv.DictReader(io.StringIO(csv_text(result["frames"])))
    assert row["back_gap_cm"] == "4.57"


def test_the_spread_is_written_from_three_reps_on():
    assert measured(good_reps(2))["spread"] is None
    result = measured(good_reps(3))
    turns = [rep["at_top"]["shoulder_turn_deg"] for rep in result["reps"]]
    assert result["spread"] == {
        "reps": 3,
        "shoulder_turn_sd_deg": pytest.approx(np.std(turns, ddof=1), abs=0.02),
    }
