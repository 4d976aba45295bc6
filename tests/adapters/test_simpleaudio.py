"""simpleaudio: its trial, its sound thread, and what ALSA was given by it."""

import importlib.util
import sys
import threading
import time

import numpy as np
import pytest
from listening import SOUNDS, assert_sounds_like, beeps, cue, run, samples_of

from trainer.adapters.sound import SimpleaudioSounder, open_sounder, probe_simpleaudio
from trainer.adapters.tones import load_tones, stereo
from trainer.core.records import CueKind
from trainer.errors import SoundError

needs_simpleaudio = pytest.mark.skipif(
    importlib.util.find_spec("simpleaudio") is None or not sys.platform.startswith("linux"),
    reason="needs the simpleaudio extra, and ALSA's file device (Linux)",
)


@pytest.fixture
def alsa(tmp_path):
    """An ALSA set-up whose only device writes what it is given into a file."""
    raw, config = tmp_path / "heard.raw", tmp_path / "alsa.conf"
    config.write_text(
        f'pcm.!default {{ type file slave.pcm "null" file "{raw}" format "raw" }}\n'
        "pcm.null { type null }\nctl.!default { type null }\n",
        encoding="utf-8",
    )
    return raw, {"ALSA_CONFIG_PATH": str(config)}


class Device:
    """Stands for simpleaudio's play_buffer."""

    def __init__(self, fails=0):
        self.heard, self.fails, self.stopped = [], fails, 0
        self.free = threading.Event()
        self.free.set()
        self.came = threading.Semaphore(0)

    def __call__(self, samples, channels, bytes_per_sample, rate_hz):
        assert (channels, bytes_per_sample, rate_hz) == (2, 2, 44_100)
        self.free.wait(10)
        self.heard.append(samples)
        self.came.release()
        if self.fails:
            self.fails -= 1
            raise RuntimeError("device busy")
        return self

    def is_playing(self):
        return True

    def stop(self):
        self.stopped += 1


def opened(device):
    return SimpleaudioSounder(SOUNDS, probe=lambda: "", play_buffer=device)


def wait_until(true):
    until_s = time.monotonic() + 10
    while not true() and time.monotonic() < until_s:
        time.sleep(0.005)
    assert true()


def test_a_cue_reaches_the_device_panned_and_close_stops_it():
    device = Device()
    sounder = opened(device)
    sounder.play(cue(CueKind.HEAD_OUT), pan=-1.0)
    assert device.came.acquire(timeout=10)
    wanted = stereo(load_tones(SOUNDS)[CueKind.HEAD_OUT], -1.0, 0.0)
    np.testing.assert_array_equal(device.heard[0], wanted)
    sounder.close()
    sounder.close()
    assert device.stopped == 1
    assert not sounder.audible
    sounder.play(cue(CueKind.HEAD_OUT))
    assert len(device.heard) == 1


def test_cues_of_one_moment_go_out_as_one_mix_for_a_device_that_plays_one_at_a_time():
    device = Device()
    device.free.clear()
    sounder = opened(device)
    sounder.play(cue(CueKind.TURN_REACHED))  # holds the sound thread, so the next two wait
    wait_until(lambda: sounder._queue.empty())
    time.sleep(0.05)
    sounder.play(cue(CueKind.HEAD_OUT), pan=1.0)
    sounder.play(cue(CueKind.HIPS_OUT), pan=1.0)
    device.free.set()
    assert device.came.acquire(timeout=10)
    assert device.came.acquire(timeout=10)
    sounder.close()
    tones = load_tones(SOUNDS)
    head, hips = (stereo(tones[k], 1.0, 0.0) for k in (CueKind.HEAD_OUT, CueKind.HIPS_OUT))
    wanted = hips.copy()
    wanted[: len(head)] += head
    np.testing.assert_array_equal(device.heard[1], wanted)


def test_a_device_that_fails_once_is_tried_again_and_three_times_is_given_up():
    device = Device(fails=1)
    sounder = opened(device)
    for _ in range(2):
        sounder.play(cue(CueKind.HEAD_OUT))
        assert device.came.acquire(timeout=10)
    assert sounder.audible
    assert sounder.trouble == "a cue was not heard: device busy"
    device.fails = 3
    for _ in range(3):
        sounder.play(cue(CueKind.HEAD_OUT))
        assert device.came.acquire(timeout=10)
    wait_until(lambda: not sounder.audible)
    assert sounder.trouble.startswith("no sound: the sound device failed (device busy)")
    sounder.close()


def test_a_device_that_hangs_fills_the_queue_and_is_given_up_without_holding_the_caller():
    device = Device()
    device.free.clear()
    sounder = opened(device)
    for _ in range(20):
        sounder.play(cue(CueKind.HEAD_OUT))
        time.sleep(0.005)
    assert not sounder.audible
    assert sounder.trouble.startswith("no sound: the sound device has stopped taking sound")
    device.free.set()
    sounder.close()


def test_a_simpleaudio_that_fails_its_trial_is_an_error():
    with pytest.raises(SoundError, match="it crashed"):
        SimpleaudioSounder(SOUNDS, probe=lambda: "it crashed")


def test_a_simpleaudio_that_crashes_in_its_trial_is_replaced_by_pygame(tmp_path, monkeypatch):
    # The trial finds this module first; it ends its process the way a segfault does.
    (tmp_path / "simpleaudio.py").write_text(
        "import os, signal; os.kill(os.getpid(), signal.SIGKILL)\n", encoding="utf-8"
    )
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    assert "failed its trial" in probe_simpleaudio()
    assert "crashed, code" in probe_simpleaudio()
    sounder = open_sounder("simpleaudio", SOUNDS)
    sounder.close()
    assert sounder.name == "pygame"
    assert sounder.trouble.startswith("pygame plays instead: simpleaudio failed its trial")


def test_a_simpleaudio_without_a_device_gives_its_reason(tmp_path, monkeypatch):
    (tmp_path / "simpleaudio.py").write_text("raise OSError('no card')\n", encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    assert "(OSError: no card)" in probe_simpleaudio()


def test_a_missing_simpleaudio_says_how_to_install_it(tmp_path, monkeypatch):
    (tmp_path / "simpleaudio.py").write_text(
        "raise ModuleNotFoundError(\"No module named 'simpleaudio'\")\n", encoding="utf-8"
    )
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    assert "is not installed" in probe_simpleaudio()
    assert "backswing-mirror[simpleaudio]" in probe_simpleaudio()


#: simpleaudio 1.0.4 lives up to Python 3.11 and crashes from 3.12 on; each has its own test.
LIVES = sys.version_info < (3, 12)

if LIVES:

    @pytest.mark.sound_device
    @needs_simpleaudio
    def test_simpleaudio_gives_alsa_the_tone(alsa):
        raw, environment = alsa
        printed = run(
            """
sounder = open_sounder("simpleaudio", SOUNDS)
print(sounder.name, sounder.audible, repr(sounder.trouble))
sounder.play(cue(HIPS), pan=-1.0)
time.sleep(0.5)
sounder.close()
""",
            **environment,
        )
        assert printed == ["simpleaudio True ''"]
        assert_sounds_like(samples_of(raw), CueKind.HIPS_OUT, -1.0)

    @pytest.mark.sound_device
    @needs_simpleaudio
    def test_simpleaudio_gives_alsa_a_head_and_a_hips_cue_in_one(alsa):
        raw, environment = alsa
        run(
            """
sounder = open_sounder("simpleaudio", SOUNDS)
sounder.play(cue(HEAD)); sounder.play(cue(HIPS))
time.sleep(0.5)
sounder.close()
""",
            **environment,
        )
        heard, tones = samples_of(raw), load_tones(SOUNDS)
        head, hips = (stereo(tones[k], 0.0, 0.0) for k in (CueKind.HEAD_OUT, CueKind.HIPS_OUT))
        wanted = hips.copy()
        wanted[: len(head)] += head
        first = beeps(heard[:, 0])[0][0] - beeps(wanted[:, 0])[0][0]
        np.testing.assert_array_equal(heard[first : first + len(wanted)], wanted)

else:

    @pytest.mark.sound_device
    @needs_simpleaudio
    def test_the_trial_keeps_simpleaudio_from_taking_the_program_down(alsa):
        printed = run(
            "s = open_sounder('simpleaudio', SOUNDS); print(s.name, s.trouble)",
            SDL_AUDIODRIVER="dummy",
            **alsa[1],
        )
        assert printed[0].startswith("pygame pygame plays instead: simpleaudio failed its trial")
