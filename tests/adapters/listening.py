"""What the sound tests share: measures of sound, and scripts run on a driver of their own."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile  # a reader that is not the program's own

from trainer.adapters.tones import load_tones, stereo
from trainer.core.records import Cue, CueKind
from trainer.resources import resource_dir

RATE_HZ = 44_100
ROOT = Path(__file__).resolve().parents[2]
SOUNDS = resource_dir("sounds")

#: What sounds/README.md promises: (start_s, fundamental_hz, length_s) of every beep.
PROMISED = {
    CueKind.TURN_REACHED: [(0.0, 800.0, 0.120), (0.150, 1000.0, 0.200)],
    CueKind.HEAD_OUT: [(0.0, 1280.0, 0.090), (0.150, 1280.0, 0.090)],
    CueKind.HIPS_OUT: [(0.0, 560.0, 0.080), (0.130, 560.0, 0.080), (0.260, 560.0, 0.080)],
}


def cue(kind, side=None, strength=1.0, t_s=1.0):
    return Cue(kind=kind, side=side, strength=strength, t_s=t_s, decided_t_s=t_s)


def read_wav(path: Path):
    rate_hz, samples = wavfile.read(path)
    assert rate_hz == RATE_HZ
    assert samples.dtype == np.int16
    return samples


def beeps(mono):
    """Return (first, last + 1) of every beep; silences under 10 ms do not part two."""
    loud = np.flatnonzero(np.abs(mono.astype(int)) > 16)
    if not len(loud):
        return []
    breaks = np.flatnonzero(np.diff(loud) > 0.010 * RATE_HZ)
    starts = [loud[0], *loud[breaks + 1]]
    ends = [*loud[breaks], loud[-1]]
    return [(int(a), int(b) + 1) for a, b in zip(starts, ends, strict=True)]


def spectrum(mono):
    """Return (frequencies, amplitudes), finely enough for 0.5 Hz."""
    n = 2 * RATE_HZ
    return np.fft.rfftfreq(n, 1 / RATE_HZ), np.abs(np.fft.rfft(mono * np.hanning(len(mono)), n))


def pitch_hz(mono):
    """Return the strongest frequency."""
    hz, size = spectrum(mono)
    return float(hz[np.argmax(size)])


def size_at(mono, hz):
    """Return the largest amplitude within 2 % of ``hz``."""
    all_hz, size = spectrum(mono)
    return float(np.max(size[np.abs(all_hz - hz) <= 0.02 * hz]))


def envelope(mono, fundamental_hz):
    """Return the fundamental's size over time, averaged over one whole period.

    Over a whole period the other harmonics average out, so only the ramp is left.
    """
    n = round(RATE_HZ / fundamental_hz)
    turned = mono * np.exp(-2j * np.pi * fundamental_hz * np.arange(len(mono)) / RATE_HZ)
    return np.abs(np.convolve(turned, np.ones(n) / n, mode="same"))


def rms_db(samples):
    """Return the level in dB against full scale; -inf for silence."""
    mean_square = float(np.mean((samples / 32768.0) ** 2))
    return 10 * np.log10(mean_square) if mean_square else float("-inf")


PRELUDE = """
import os, sys, threading, time
from trainer.adapters.sound import PygameSounder, open_sounder
from trainer.core.records import Cue, CueKind, Side
from trainer.resources import resource_dir
def cue(kind, strength=1.0):
    return Cue(kind=kind, side=Side.AWAY, strength=strength, t_s=1.0, decided_t_s=1.0)
TURN, HEAD, HIPS = CueKind
SOUNDS = resource_dir("sounds")
"""


def run(script, **environment):
    """Run ``script`` after PRELUDE; return the lines it printed."""
    keep = {k: v for k, v in os.environ.items() if not k.startswith(("SDL_", "ALSA_"))}
    done = subprocess.run(
        [sys.executable, "-c", PRELUDE + script],
        env=keep | {"PYTHONPATH": str(ROOT), "PYGAME_HIDE_SUPPORT_PROMPT": "1"} | environment,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def samples_of(path):
    return np.fromfile(path, dtype="<i2").reshape(-1, 2)


def assert_sounds_like(heard, kind, pan, level_db=0.0):
    """Check pitch, rhythm, level and side of the one tone in ``heard`` (n, 2)."""
    wanted = stereo(load_tones(SOUNDS)[kind], pan, level_db)
    near = heard[:, 1 if pan > 0 else 0]
    found = beeps(near)
    assert len(found) == len(PROMISED[kind])
    for (a, b), (start_s, hz, length_s) in zip(found, PROMISED[kind], strict=True):
        assert (a - found[0][0]) / RATE_HZ == pytest.approx(start_s, abs=0.0015)
        assert (b - a) / RATE_HZ == pytest.approx(length_s, abs=0.003)
        assert pitch_hz(near[a:b]) == pytest.approx(hz, rel=0.005)
        assert rms_db(heard[a:b, 1]) - rms_db(heard[a:b, 0]) == pytest.approx(12 * pan, abs=0.1)
    first, n = found[0][0], len(wanted)
    offset = beeps(wanted[:, 1 if pan > 0 else 0])[0][0]
    # 2 steps of 32768: the mixer and our own rounding may each be off by one
    assert np.abs(heard[first - offset :][:n].astype(int) - wanted).max() <= 2
