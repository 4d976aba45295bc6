"""Whole commands in a process of their own, with the real pose model."""

import json
import signal
import subprocess
import sys
import wave

import pytest
from test_trace_files import played

from trainer.core.records import Phase
from trainer.live import demo_clips
from trainer.words import PHASE_WORDS

pytestmark = pytest.mark.real_pose

posix_only = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows has no SIGINT for one process alone"
)


def test_the_demo_prints_every_phase_of_every_clip_and_saves_pictures_and_sound(
    pose_model, command, tmp_path
):
    start, environment = command
    done = subprocess.run(
        [*start, "demo", "--screen", "none", "--sound", "off", "--save", str(tmp_path / "shots")],
        env=environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert "Before you swing" in done.stdout
    assert "No screen here" in done.stdout
    assert "4 reps. Now before your own camera: trainer live" in done.stdout
    clips = done.stdout.split("\nClip ")[1:]
    assert len(clips) == len(demo_clips()) == 4
    for number, (clip, said) in enumerate(zip(demo_clips(), clips, strict=True), start=1):
        assert said[3:].startswith(clip.what)
        for phase in (Phase.SETUP, Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP, Phase.AFTER):
            assert f" s  {PHASE_WORDS[phase]}\n" in said, (clip.path.stem, phase)
        assert said.count(f" rep {number}: ") == 1  # the count goes on from clip to clip
        pictures = sorted((tmp_path / "shots").glob(f"{clip.path.stem}-*.png"))
        names = " ".join(path.stem for path in pictures)
        for what in ("setup", "takeaway", "backswing", "rep"):
            assert what in names
        assert all(path.read_bytes().startswith(b"\x89PNG\r\n\x1a\n") for path in pictures)
        with wave.open(str(tmp_path / "shots" / f"{clip.path.stem}.wav")) as sound:
            assert (sound.getnchannels(), sound.getsampwidth(), sound.getframerate()) == (
                2,
                2,
                44100,
            )
            samples = sound.readframes(sound.getnframes())
        assert any(samples) == (" cue: " in said)  # silence where nothing was cued


@posix_only
def test_ctrl_c_in_the_live_mirror_gives_130_a_whole_trace_and_no_traceback(
    pose_model, command, tmp_path
):
    start, environment = command
    trace = tmp_path / "a.trace"
    clip = demo_clips()[0].path
    live = [*start, "live", "--camera", str(clip), "--screen", "none", "--sound", "off"]
    running = subprocess.Popen(
        [*live, "--record", str(trace)],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    )
    try:
        for line in running.stdout:
            if line.endswith(f" s  {PHASE_WORDS[Phase.SETUP]}\n"):
                break
        running.send_signal(signal.SIGINT)
        _, errors = running.communicate(timeout=60)
    finally:
        running.kill()
    assert running.returncode == 130
    assert "Stopped." in errors
    assert "Traceback" not in errors
    result, steps = played(trace)
    assert result.whole
    assert result.first_difference_s is None
    assert steps[-1].phase is Phase.SETUP
    assert json.loads(trace.read_text(encoding="ascii").splitlines()[-1]) == {"end": len(steps)}


@posix_only
def test_ctrl_c_while_several_clips_are_measured_gives_130_and_nothing_half_done(
    pose_model, short_clips, command, tmp_path
):
    start, environment = command
    clips = [str(short_clips[0]), *(str(clip.path) for clip in demo_clips()[:2])]
    out = tmp_path / "out"
    running = subprocess.Popen(
        [*start, "measure", *clips, "--out", str(out), "--jobs", "2"],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        running.stdout.readline()  # the short clip is done, the others are not
        running.send_signal(signal.SIGINT)
        _, errors = running.communicate(timeout=60)
    finally:
        running.kill()
    assert running.returncode == 130
    assert "Stopped." in errors
    assert "Traceback" not in errors
    stems = {path.stem for path in out.iterdir()}
    assert 1 <= len(stems) < len(clips)
    assert {path.name for path in out.iterdir()} == {
        f"{stem}.{suffix}" for stem in stems for suffix in ("json", "csv")
    }


def test_doctor_reads_a_clip_for_a_camera_and_measures_the_model(pose_model, command):
    start, environment = command
    done = subprocess.run(
        [*start, "doctor", "--camera", str(demo_clips()[0].path)],
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "ok      pose model: " in done.stdout
    assert " ms a pose on a demo picture" in done.stdout
    assert "Traceback" not in done.stderr
