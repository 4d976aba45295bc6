"""Make the tones: ``python sounds/make_sounds.py`` rewrites the WAV files beside this script.

Everything a tone is stands in ``TONES`` below. The result depends on nothing else (no random
numbers, no clock), so the shipped files can be compared with a fresh run byte for byte.
"""

from __future__ import annotations

import argparse
import wave
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 44_100
#: Three tones at full strength on one side add up to 3 x 0.97 x 0.34 = 0.99 of full scale, so
#: nothing that can sound at once clips (0.97 is the near side's gain of a tone panned fully).
PEAK = 0.34
RAMP_S = 0.010  #: raised-cosine rise and fall of every element; keeps it from clicking
#: Size and starting phase of harmonics 1, 2 and 3. The overtones carry the tone past small
#: speakers and ears that hear the fundamental poorly. The phases are the ones of a search in
#: steps of 15 degrees that give the highest mean level for a given peak (crest factor 1.45).
HARMONICS = ((1.0, 0.0), (0.6, np.pi / 2), (0.35, 0.0))

#: name -> elements of (fundamental_hz, length_s, silence after it in s). Any two fundamentals
#: of different cues are 25 % or more apart, because any two cues may sound at once.
CUES = {
    "turn_reached": ((800.0, 0.120, 0.030), (1000.0, 0.200, 0.0)),
    "head_out": ((1280.0, 0.090, 0.060), (1280.0, 0.090, 0.0)),
    "hips_out": ((560.0, 0.080, 0.050), (560.0, 0.080, 0.050), (560.0, 0.080, 0.0)),
}

#: Signals steer the practice. One takes the place of another, and none sounds with a cue, so they
#: may share pitches. The checkpoints' ladder rises by a quarter a step.
SIGNALS = {
    "check_1": ((600.0, 0.120, 0.0),),
    "check_2": ((750.0, 0.120, 0.0),),
    "check_3": ((940.0, 0.120, 0.0),),
    "check_4": ((1175.0, 0.120, 0.030), (1470.0, 0.200, 0.0)),
    "check_left": ((750.0, 0.080, 0.030), (600.0, 0.120, 0.0)),
    "check_skipped": ((520.0, 0.150, 0.060), (520.0, 0.150, 0.0)),
    "paused": ((940.0, 0.150, 0.040), (600.0, 0.200, 0.0)),
    "resumed": ((600.0, 0.150, 0.040), (940.0, 0.200, 0.0)),
    "next_kind": ((600.0, 0.080, 0.030), (750.0, 0.080, 0.030), (940.0, 0.080, 0.0)),
    "time": ((1470.0, 0.080, 0.120), (1470.0, 0.080, 0.0)),
}
LONG, SHORT = (940.0, 0.200, 0.080), (940.0, 0.080, 0.080)
#: The number of a rep: a long beep is five, a short one is one.
COUNTS = {f"count_{n}": (LONG,) * (n // 5) + (SHORT,) * (n % 5) for n in range(1, 11)}

TONES = CUES | SIGNALS | COUNTS


def element(fundamental_hz: float, length_s: float) -> NDArray[np.float64]:
    """Return one beep, shape (n,), with its ramps; not yet brought to ``PEAK``."""
    n, n_ramp = round(length_s * RATE_HZ), round(RAMP_S * RATE_HZ)
    angle = 2 * np.pi * fundamental_hz * np.arange(n) / RATE_HZ
    beep = sum(size * np.sin(k * angle + phase) for k, (size, phase) in enumerate(HARMONICS, 1))
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_ramp) + 0.5) / n_ramp)
    beep[:n_ramp] *= ramp
    beep[-n_ramp:] *= ramp[::-1]
    return beep


def tone(name: str) -> NDArray[np.int16]:
    """Return the whole tone of ``TONES[name]``, shape (n,), its peak at ``PEAK``."""
    parts = []
    for fundamental_hz, length_s, silence_s in TONES[name]:
        parts += [element(fundamental_hz, length_s), np.zeros(round(silence_s * RATE_HZ))]
    samples = np.concatenate(parts)
    return np.round(samples * (PEAK * 32767 / np.max(np.abs(samples)))).astype(np.int16)


def write_all(folder: Path) -> list[Path]:
    """Write every tone into ``folder`` as 44.1 kHz 16-bit mono WAV; return the files."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name in TONES:
        path = folder / f"{name}.wav"
        with wave.open(str(path), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(RATE_HZ)
            file.writeframes(tone(name).astype("<i2").tobytes())
        paths.append(path)
    return paths


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Make the tones the mirror answers with.")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder to fill")
    for written in write_all(parser.parse_args().out):
        print(written)
