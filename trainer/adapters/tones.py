"""The tones as samples: read once, then brought to a level and panned. No device is touched."""

from __future__ import annotations

import math
import wave
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core.records import Cue, CueKind, Handed, Side, Signal
from trainer.errors import SoundError

RATE_HZ: Final = 44_100
MAX_TONE_S: Final = 2.0  #: a longer one would still sound in the next swing
#: How much louder the side of the drift is at full pan. Chosen, not sourced: plainly one-sided
#: from 3 m, and still there for a player with one deaf ear or one working speaker.
PAN_DB: Final = 12.0
#: A drift just past its limit sounds this much softer than one at twice the tolerance.
STRENGTH_DB: Final = 6.0
PANS: Final = (-1.0, -0.5, 0.0, 0.5, 1.0)
LEVELS_DB: Final = (-6.0, -4.5, -3.0, -1.5, 0.0)


@dataclass(frozen=True, slots=True)
class Variant:
    """Which ready-made buffer a cue plays: its kind, the nearest pan and the nearest level.

    A signal is one buffer only: it has no side and no strength.
    """

    kind: CueKind | Signal
    pan: float
    level_db: float


def pan_of(cue: Cue, handed: Handed) -> float:
    """Return where a cue belongs, from -1 (the player's left) to +1 (the player's right).

    The player faces the screen, so the player's right is the right loudspeaker. A right-hander
    moves away from the target to the right, a left-hander to the left. 0 for the turn and for
    a drift up or down, which have no side.
    """
    away = 1.0 if handed is Handed.RIGHT else -1.0
    if cue.side is Side.AWAY:
        return away
    if cue.side is Side.TOWARD:
        return -away
    return 0.0


def pan_gains(pan: float) -> tuple[float, float]:
    """Return the gains (left, right) for ``pan`` from -1 (left) to +1 (right).

    Constant power: left^2 + right^2 = 1 everywhere, and right/left is ``PAN_DB * pan`` in dB.
    """
    ratio = 10.0 ** (PAN_DB * pan / 20.0)
    left = 1.0 / math.hypot(1.0, ratio)
    return left, left * ratio


def variant_of(cue: Cue, pan: float) -> Variant:
    """Return the buffer nearest to what ``cue`` and ``pan`` ask for; both are held in range.

    Strength changes the level of a drift, never its pitch. The turn has one level: there,
    louder would say nothing.
    """
    level_db = 0.0
    if cue.kind is not CueKind.TURN_REACHED:
        level_db = STRENGTH_DB * (_held(cue.strength, 0.0, 1.0) - 1.0)
    return Variant(
        cue.kind,
        min(PANS, key=lambda p: abs(p - _held(pan, -1.0, 1.0))),
        min(LEVELS_DB, key=lambda d: abs(d - level_db)),
    )


def signal_variant(signal: Signal) -> Variant:
    """Return the one buffer of a signal."""
    return Variant(signal, 0.0, 0.0)


def group_of(kind: CueKind | Signal) -> CueKind | None:
    """Return what a tone shares a channel with: each kind of cue its own, all signals one (None).

    A tone takes the place of one of its own group and is mixed with those of the others.
    """
    return kind if isinstance(kind, CueKind) else None


def _held(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def load_tones(sounds_dir: Path) -> dict[CueKind | Signal, NDArray[np.int16]]:
    """Read ``<kind>.wav`` of every kind of cue and every signal: (n,), 44.1 kHz, 16-bit, mono.

    Raises SoundError when a file is missing, damaged, of another format, empty or too long.
    """
    return {kind: _read_wav(sounds_dir / f"{kind.value}.wav") for kind in (*CueKind, *Signal)}


def _read_wav(path: Path) -> NDArray[np.int16]:
    wanted = f"wanted a WAV file of {RATE_HZ} Hz, 16-bit, mono, up to {MAX_TONE_S:g} s"
    remedy = "Make the tones again with python sounds/make_sounds.py, or reinstall the program."
    try:
        with wave.open(str(path), "rb") as file:
            found = (file.getframerate(), file.getsampwidth() * 8, file.getnchannels())
            n_frames = file.getnframes()
            data = file.readframes(n_frames)
    except (OSError, EOFError, wave.Error) as error:
        raise SoundError(f"the tone {path} cannot be read ({error}); {wanted}. {remedy}") from error
    if found != (RATE_HZ, 16, 1):
        got = f"{found[0]} Hz, {found[1]}-bit, {found[2]} channel(s)"
        raise SoundError(f"the tone {path} is {got}; {wanted}. {remedy}")
    if len(data) != 2 * n_frames:
        raise SoundError(f"the tone {path} is cut short; {wanted}. {remedy}")
    samples: NDArray[np.int16] = np.frombuffer(data, dtype="<i2").astype(np.int16)
    if not 0 < len(samples) <= MAX_TONE_S * RATE_HZ:
        raise SoundError(
            f"the tone {path} lasts {len(samples) / RATE_HZ:.2f} s; {wanted}. {remedy}"
        )
    return samples


def stereo(mono: NDArray[np.int16], pan: float, level_db: float) -> NDArray[np.int16]:
    """Return ``mono`` (n,) as (n, 2) left and right, panned and at ``level_db`` (0: as it is)."""
    gains = np.array(pan_gains(pan)) * 10.0 ** (level_db / 20.0)
    panned: NDArray[np.int16] = np.round(mono[:, None] * gains).astype(np.int16)
    return panned


def all_variants(sounds_dir: Path, level_db: float = 0.0) -> dict[Variant, NDArray[np.int16]]:
    """Return every buffer that can be asked for, (n, 2) each, all at ``level_db`` (0: as they are).

    75 of cues and one a signal, about 6 MB, made once at start so that playing costs no arithmetic.
    Raises SoundError as ``load_tones``.
    """
    tones = load_tones(sounds_dir)
    wanted = [Variant(*each) for each in product(CueKind, PANS, LEVELS_DB)]
    wanted += [signal_variant(signal) for signal in Signal]
    return {v: stereo(tones[v.kind], v.pan, v.level_db + level_db) for v in wanted}
