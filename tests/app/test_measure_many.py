"""Measuring many clips from the command line, with a stand-in for the pose model."""

import json
import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor

import cv2
import numpy as np
import pytest
from fakes import FakeEstimator, frames_and_poses, good_reps

from trainer.cli import main
from trainer.core.rules import CueRules
from trainer.errors import PoseError
from trainer.estimator_file import shipped
from trainer.measure_many import THREADS_FROM, measure_clips, share_of_cores


@pytest.fixture
def pretend_model(monkeypatch, tmp_path):
    """A pose model that knows a scripted golfer by frame number; returns how often it opened."""
    _, known = frames_and_poses(good_reps(1))
    opened = []

    def open_it(path, *, synchronous, trunk, memory):
        assert synchronous
        assert trunk is shipped().network
        opened.append(path)
        return FakeEstimator(known)

    monkeypatch.setattr("trainer.adapters.pose.MediapipePose", open_it)
    monkeypatch.setattr("trainer.adapters.model_file.ensure_model", lambda path: tmp_path / "m")
    return opened


@pytest.fixture
def clip(tmp_path):
    """Make a small clip of a given name; its pictures do not matter to the stand-in."""

    def make(name, frames=165):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"mp4v"), 30.0, (64, 48))
        for _ in range(frames):
            writer.write(np.zeros((48, 64, 3), np.uint8))
        writer.release()
        return path

    return make


def test_one_bad_clip_among_good_ones_fails_alone(clip, tmp_path, pretend_model, capsys):
    bad = tmp_path / "bad.mp4"
    bad.write_bytes(b"\0" * 5000)
    missing = tmp_path / "missing.mp4"
    good = [clip("one.mp4"), clip("two.mp4")]
    out = tmp_path / "out"
    code = main(["measure", str(good[0]), str(bad), str(missing), str(good[1]), "--out", str(out)])
    said = capsys.readouterr()
    assert code == 1
    assert sorted(os.listdir(out)) == ["one.csv", "one.json", "two.csv", "two.json"]
    assert said.out.splitlines()[:2] == [
        f"one.mp4: 1 rep -> {out / 'one.json'}",
        f"two.mp4: 1 rep -> {out / 'two.json'}",
    ]
    errors = [line for line in said.err.splitlines() if line.startswith("CameraError: ")]
    assert [str(bad) in errors[0], str(missing) in errors[1], len(errors)] == [True, True, 2]
    assert "Traceback" not in said.err


def test_good_clips_alone_give_exit_code_0(clip, tmp_path, pretend_model):
    assert main(["measure", str(clip("one.mp4")), "--out", str(tmp_path / "out")]) == 0
    written = json.loads((tmp_path / "out" / "one.json").read_text(encoding="utf-8"))
    assert (written["clip"], written["fps"], written["size_wh"]) == ("one.mp4", 30.0, [64, 48])
    assert len(written["frames"]) == 165
    assert written["reps"][0]["complete"]


def test_a_slow_motion_clip_is_measured_in_real_time(clip, tmp_path, pretend_model):
    out = str(tmp_path / "out")
    assert main(["measure", str(clip("one.mp4")), "--out", out, "--recorded-fps", "120"]) == 0
    written = json.loads((tmp_path / "out" / "one.json").read_text(encoding="utf-8"))
    assert written["fps"] == 120.0
    assert written["frames"][-1]["t_s"] == pytest.approx(164 / 120, abs=1e-4)


def test_two_clips_of_the_same_stem_are_refused_before_any_work(
    clip, tmp_path, pretend_model, capsys
):
    (tmp_path / "b").mkdir()
    clips = [str(clip("one.mp4")), str(clip("b/one.mp4"))]
    assert main(["measure", *clips, "--out", str(tmp_path / "out")]) == 1
    assert "two clips are called 'one'" in capsys.readouterr().err
    assert pretend_model == []
    assert not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_written_is_said_before_any_work(
    clip, tmp_path, pretend_model, capsys
):
    (tmp_path / "out").write_text("")
    assert main(["measure", str(clip("one.mp4")), "--out", str(tmp_path / "out")]) == 1
    assert "could not be made" in capsys.readouterr().err
    assert pretend_model == []


def test_a_model_that_fails_is_said_for_each_clip_without_a_traceback(
    clip, tmp_path, pretend_model, monkeypatch, capsys
):
    def fail(path, *, synchronous, trunk, memory):
        raise PoseError("the model did not load. A whole model file was wanted. Fetch it again.")

    monkeypatch.setattr("trainer.adapters.pose.MediapipePose", fail)
    assert main(["measure", str(clip("one.mp4")), "--out", str(tmp_path / "out")]) == 1
    said = capsys.readouterr()
    assert said.err.count("PoseError: the model did not load.") == 1
    assert os.listdir(tmp_path / "out") == []


class EndsItsReader:
    """Rules that end the process that unpickles them, as a system short of memory would."""

    cues = CueRules()

    def __reduce__(self):
        return os._exit, (1,)


def test_a_process_that_dies_is_said_for_its_clip_without_a_traceback(
    clip, tmp_path, pretend_model
):
    failed = measure_clips(
        [clip("one.mp4"), clip("two.mp4")],
        tmp_path / "out",
        EndsItsReader(),
        model=None,
        jobs=2,
        say=lambda words: None,
    )
    assert len(failed) == 2
    assert all("a process ended by itself before" in words for words in failed)
    assert all("Try fewer at once (--jobs)" in words for words in failed)


def _threads_of(library):
    if library == "opencv":
        from trainer.adapters.opencv import load_cv2

        return load_cv2().getNumThreads()
    return os.environ["OPENBLAS_NUM_THREADS"]


def test_clips_measured_side_by_side_share_the_cores_among_them(monkeypatch):
    monkeypatch.setattr(os, "cpu_count", lambda: 9)
    for name in THREADS_FROM:
        monkeypatch.delenv(name, raising=False)
    context = multiprocessing.get_context("spawn")
    with share_of_cores(3), ProcessPoolExecutor(1, mp_context=context) as pool:
        assert pool.submit(_threads_of, "opencv").result() == 3
        assert pool.submit(_threads_of, "blas").result() == "3"
    assert not any(name in os.environ for name in THREADS_FROM)
    with share_of_cores(20), ProcessPoolExecutor(1, mp_context=context) as pool:
        assert pool.submit(_threads_of, "opencv").result() == 1


def test_a_number_of_threads_the_user_chose_is_left_as_it_is(monkeypatch):
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "5")
    with share_of_cores(2):
        assert os.environ["OPENBLAS_NUM_THREADS"] == "5"
    assert os.environ["OPENBLAS_NUM_THREADS"] == "5"
