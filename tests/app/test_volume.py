"""The volume test: what it plays, in the mirror and as a command, and at what level."""

import os
import subprocess
import sys

import numpy as np
import pytest
from fakes import (
    FakeEstimator,
    FakeSounder,
    FakeSource,
    frames_and_poses,
    good_reps,
    mirror,
    outcome,
)

from trainer.cli import main
from trainer.core.records import CueKind
from trainer.ports import KeyAction
from trainer.settings import from_values
from trainer.volume import EVERY_S, TRIED, VolumeTest, run_volume
from trainer.words import VOLUME_MUTED


def tried(sounder):
    return [(cue.kind, cue.strength, pan) for cue, pan in sounder.played]


def test_the_softest_tone_comes_first_and_one_comes_from_each_side():
    sounder, said, now = FakeSounder(), [], [0.0]
    assert run_volume(
        sounder, said.append, clock=lambda: now[0], sleep=lambda s: now.__setitem__(0, now[0] + s)
    )
    assert tried(sounder)[0] == (CueKind.HEAD_OUT, 0.0, 0.0)
    assert {pan for _, _, pan in tried(sounder)} == {-1.0, 0.0, 1.0}
    assert {kind for kind, _, _ in tried(sounder)} == set(CueKind)
    assert said == [each.words for each in TRIED]


def test_a_tone_begins_only_when_the_last_has_had_its_time():
    sounder = FakeSounder()
    test = VolumeTest(sounder, 10.0)
    assert test.go_on(9.9) == ""
    assert test.go_on(10.0) == TRIED[0].words
    assert test.go_on(10.0 + 0.9 * EVERY_S) == ""
    assert test.go_on(10.0 + EVERY_S) == TRIED[1].words
    assert len(sounder.played) == 2


def test_without_sound_it_says_so_and_plays_nothing():
    sounder, said = FakeSounder(audible=False, trouble="no sound card"), []
    assert not run_volume(sounder, said.append)
    assert said == ["no sound card"]
    assert sounder.played == []


def asked(*actions):
    """Return (sounder, answers shown) of a run at whose beginning these keys are pressed."""
    frames, known = frames_and_poses(good_reps(1))
    live, sounder, screen = mirror(FakeSource(frames), FakeEstimator(known))
    screen.ask(*actions)
    outcome(live)
    return sounder, {view.answer for view in screen.views}


def test_in_the_mirror_v_plays_it_and_each_tone_is_named_in_the_line():
    sounder, answers = asked(KeyAction.VOLUME)
    assert tried(sounder)[0] == (TRIED[0].kind, TRIED[0].strength, TRIED[0].pan)
    assert TRIED[0].words in answers


def test_a_muted_mirror_says_how_to_bring_the_sound_back():
    sounder, answers = asked(KeyAction.MUTE, KeyAction.VOLUME)
    assert VOLUME_MUTED in answers
    assert sounder.played == []


@pytest.mark.sound_device
@pytest.mark.parametrize("level_db", [0.0, -12.0])
def test_the_device_is_given_the_tones_at_the_level_that_is_set(tmp_path, level_db):
    # What SDL's disk driver was handed, 16-bit stereo at 44.1 kHz, measured as it stands.
    settings, raw = tmp_path / "my.toml", tmp_path / "heard.raw"
    settings.write_text(f'[sound]\nplayer = "pygame"\nlevel_db = {level_db}\n', encoding="utf-8")
    keep = {k: v for k, v in os.environ.items() if not k.startswith(("SDL_", "ALSA_"))}
    done = subprocess.run(
        [sys.executable, "-m", "trainer", "volume", "--settings", str(settings)],
        env=keep | {"SDL_AUDIODRIVER": "disk", "SDL_DISKAUDIOFILE": str(raw)},
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    for each in TRIED:
        assert each.words in done.stdout
    heard = np.fromfile(raw, dtype="<i2").reshape(-1, 2).astype(float)
    loud = np.flatnonzero(np.abs(heard).max(axis=1) > 16)
    starts = np.split(loud, np.flatnonzero(np.diff(loud) > 0.5 * 44_100) + 1)
    assert len(starts) == len(TRIED)
    peaks = [np.abs(heard[s[0] : s[-1] + 1]).max(axis=0) for s in starts]
    # Files peak at 0.34 of full scale; in the middle each side has half the power (-3 dB), and the
    # softest drift is 6 dB below the loudest: sounds/README.md.
    softest_db = 20 * np.log10(peaks[0] / (0.34 * 32768))
    assert softest_db == pytest.approx(-9.0 + level_db, abs=0.3)
    left, right = peaks[2]
    assert 20 * np.log10(left / right) == pytest.approx(12.0, abs=0.3)
    left, right = peaks[3]
    assert 20 * np.log10(right / left) == pytest.approx(12.0, abs=0.3)
    assert 20 * np.log10(peaks[4] / peaks[0]) == pytest.approx(6.0, abs=0.5)


def test_the_command_without_a_device_ends_with_1(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("SDL_AUDIODRIVER", "no such driver")
    empty = tmp_path / "my.toml"
    empty.write_text("", encoding="utf-8")
    assert main(["volume", "--settings", str(empty)]) == 1
    assert "no" in capsys.readouterr().out.lower()


def test_the_level_lands_in_the_settings():
    assert from_values({"sound": {"level_db": -6}}, "my.toml").level_db == -6.0
