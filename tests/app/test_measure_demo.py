"""The demo clips through the real pose model, against what is known of the rendered people."""

import os
import subprocess

import numpy as np
import pytest

from trainer.cli import main
from trainer.core.rules import CueRules
from trainer.live import demo_clips

pytestmark = pytest.mark.real_pose

CLIPS = {clip.path.stem: clip for clip in demo_clips()}
GOOD, HEAD_OFF, HIPS_OFF = "full-turn-right", "short-turn-head-off-right", "hips-off-left"
TOLERANCES = CueRules()


def at(truth, t_s):
    """Return the truth's frame nearest to ``t_s``."""
    return min(truth["frames"], key=lambda frame: abs(frame["t_s"] - t_s))


def kinds(result):
    return {(cue["kind"], cue["side"]) for cue in result["reps"][0]["cues"]}


@pytest.mark.parametrize("stem", CLIPS)
def test_exactly_one_complete_rep_is_found(demo_measured, stem):
    result, truth = demo_measured[1][stem]
    assert len(truth["reps"]) == 1
    assert [rep["complete"] for rep in result["reps"]] == [True]


@pytest.mark.parametrize("stem", CLIPS)
@pytest.mark.parametrize("instant", ["takeaway", "top", "top_end"])
def test_each_instant_is_found_within_three_frames(demo_measured, stem, instant):
    result, truth = demo_measured[1][stem]
    found, known = result["reps"][0][f"{instant}_t_s"], truth["reps"][0][f"{instant}_s"]
    assert found == pytest.approx(known, abs=3 / truth["fps"])


@pytest.mark.parametrize("stem", CLIPS)
def test_the_setup_is_found_before_the_takeaway(demo_measured, stem):
    result, truth = demo_measured[1][stem]
    rep, known = result["reps"][0], truth["reps"][0]
    assert known["setup_s"] - 3 / truth["fps"] <= rep["setup_t_s"] < known["takeaway_s"]
    before = [f["phase"] for f in result["frames"] if f["t_s"] < known["takeaway_s"] - 0.1]
    assert set(before[-15:]) == {"setup"}


@pytest.mark.parametrize("stem", CLIPS)
def test_every_frame_of_the_clip_is_in_the_file(demo_measured, stem):
    result, truth = demo_measured[1][stem]
    assert (result["clip"], result["handed"]) == (f"{stem}.mp4", truth["handed"])
    assert result["size_wh"] == truth["size_wh"]
    assert result["fps"] == pytest.approx(truth["fps"])
    assert result["stature_cm"] == truth["stature_cm"]
    found = [frame["t_s"] for frame in result["frames"]]
    assert found == pytest.approx([frame["t_s"] for frame in truth["frames"]], abs=0.001)


@pytest.mark.parametrize("stem", CLIPS)
def test_turn_and_drift_have_the_truths_sign_for_either_hand(demo_measured, stem):
    result, truth = demo_measured[1][stem]
    top, known = result["reps"][0]["at_top"], at(truth, truth["reps"][0]["top_s"])
    assert known["shoulder_turn_deg"] > 0
    assert top["shoulder_turn_deg"] > 10
    assert top["hand_height_cm"] > 30
    for name in ("head_drift_cm", "hip_drift_cm"):
        found, true = (np.atleast_1d(side[name])[0] for side in (top, known))
        if abs(true) > 3:
            assert np.sign(found) == np.sign(true), name


@pytest.mark.parametrize("stem", CLIPS)
def test_every_rep_has_a_list_of_cues_decided_after_what_they_stand_for(demo_measured, stem):
    result, _ = demo_measured[1][stem]
    cues = result["reps"][0]["cues"]
    assert isinstance(cues, list)
    for cue in cues:
        assert cue["t_s"] <= cue["decided_t_s"]


def test_a_head_that_moves_off_is_measured_beyond_its_tolerance_and_cued(demo_measured):
    result, truth = demo_measured[1][HEAD_OFF]
    known = at(truth, truth["reps"][0]["top_s"])["head_drift_cm"][0]
    assert known > TOLERANCES.head_tol_cm
    assert result["reps"][0]["max"]["head_drift_cm"][0] > TOLERANCES.head_tol_cm
    assert ("head_out", "away") in kinds(result)
    assert not any(kind == "hips_out" for kind, _ in kinds(result))


def test_hips_that_stay_off_are_measured_beyond_their_tolerance_and_cued(demo_measured):
    result, truth = demo_measured[1][HIPS_OFF]
    known = at(truth, truth["reps"][0]["top_s"])["hip_drift_cm"]
    assert known > TOLERANCES.hip_tol_cm
    assert result["reps"][0]["at_top"]["hip_drift_cm"] > TOLERANCES.hip_tol_cm
    assert ("hips_out", "away") in kinds(result)


def test_where_head_and_hips_stay_nothing_is_cued_about_them(demo_measured):
    result, truth = demo_measured[1][GOOD]
    known = at(truth, truth["reps"][0]["top_s"])
    assert abs(known["head_drift_cm"][0]) < TOLERANCES.head_tol_cm
    rep = result["reps"][0]
    assert all(abs(drift) < TOLERANCES.head_tol_cm for drift in rep["max"]["head_drift_cm"])
    assert abs(rep["at_top"]["hip_drift_cm"]) < TOLERANCES.hip_tol_cm
    assert {kind for kind, _ in kinds(result)} <= {"turn_reached"}


def test_the_same_run_twice_gives_the_same_bytes(demo_measured, tmp_path):
    out, _ = demo_measured
    clip = CLIPS[HEAD_OFF]
    player = ["--handed", clip.handed.value, "--stature-cm", str(clip.stature_cm)]
    assert main(["measure", str(clip.path), "--out", str(tmp_path), *player]) == 0
    for suffix in ("json", "csv"):
        name = f"{HEAD_OFF}.{suffix}"
        assert (tmp_path / name).read_bytes() == (out / name).read_bytes()


def test_two_clips_at_once_give_the_same_bytes_as_one_after_another(
    pose_model, short_clips, tmp_path, command
):
    start, environment = command
    bad = tmp_path / "bad.avi"
    bad.write_bytes(b"\0" * 5000)
    clips = [str(short_clips[0]), str(bad), str(short_clips[1])]
    told = {}
    for jobs in ("1", "2"):
        out = tmp_path / jobs
        run = subprocess.run(
            [*start, "measure", *clips, "--out", str(out), "--jobs", jobs],
            env=environment,
            capture_output=True,
            text=True,
            timeout=120,
        )
        assert run.returncode == 1, run.stderr  # one of the three is no clip
        assert "CameraError: " in run.stderr
        assert "Traceback" not in run.stderr
        lines = run.stdout.splitlines()
        told[jobs] = sorted(line.split(" -> ")[0] for line in lines if " -> " in line)
        assert "Measured: 2. Passed over: 1." in lines
    assert told["1"] == told["2"]
    assert len(told["1"]) == 2
    names = sorted(os.listdir(tmp_path / "1"))
    assert names == sorted(os.listdir(tmp_path / "2"))
    assert len(names) == 4
    for name in names:
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes()


@pytest.mark.parametrize("stem", [GOOD, HEAD_OFF, HIPS_OFF])
def test_a_machine_that_reads_ten_pictures_a_second_tells_the_same_turn(demo_measured, stem):
    """Every third picture alone, as when a newer one has replaced the two before."""
    from trainer.adapters.clips import ClipReader
    from trainer.adapters.model_file import ensure_model
    from trainer.adapters.pose import MediapipePose
    from trainer.core.rules import Rules
    from trainer.estimator_file import shipped
    from trainer.measure import run_frames

    clip, (whole, truth) = CLIPS[stem], demo_measured[1][stem]
    estimator = MediapipePose(ensure_model(), synchronous=True, trunk=shipped().network)
    try:
        with ClipReader(clip.path) as reader:
            few = list(reader)[::3]
        rules = Rules(handed=clip.handed, stature_cm=clip.stature_cm)
        _, (rep,) = run_frames(few, estimator, rules)
    finally:
        estimator.close()
    assert rep.complete
    turn_deg, se_deg = rep.at_top.shoulder_turn_deg, rep.at_top.shoulder_turn_se_deg
    assert turn_deg == pytest.approx(whole["reps"][0]["at_top"]["shoulder_turn_deg"], abs=3.0)
    true_deg = at(truth, truth["reps"][0]["top_s"])["shoulder_turn_deg"]
    assert abs(turn_deg - true_deg) < 2 * se_deg
    assert rep.top_t_s == pytest.approx(truth["reps"][0]["top_s"], abs=0.1)
