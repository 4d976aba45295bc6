"""What a session sounded like, as one stereo file: cues kept with their times, then mixed."""

from __future__ import annotations

import wave
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.tones import RATE_HZ, group_of, load_tones, signal_variant, stereo, variant_of
from trainer.core.records import Cue, CueKind, Signal
from trainer.errors import SoundError
from trainer.ports import Sounder


@dataclass(frozen=True, slots=True)
class SoundEvent:
    """One cue or signal as it was sent to the loudspeakers."""

    t_s: float  #: when it was decided, on the clock of the clip or session
    cue: Cue | Signal
    pan: float  #: -1 (listener's left) to +1 (right)


class RecordingSounder:
    """Passes every cue on to ``inner`` and keeps it in ``events``, in the order played.

    Keeps one small record per cue; made for a clip or a demo, not for an endless session.
    """

    def __init__(self, inner: Sounder) -> None:
        self.inner = inner
        self.events: list[SoundEvent] = []

    @property
    def name(self) -> str:
        """The name of the inner sounder."""
        return self.inner.name

    @property
    def audible(self) -> bool:
        """Whether the inner sounder can be heard now."""
        return self.inner.audible

    @property
    def trouble(self) -> str:
        """What is wrong with the inner sounder; empty while all is well."""
        return getattr(self.inner, "trouble", "")

    @property
    def latency_s(self) -> float | None:
        """The inner sounder's delay; None when it is not known."""
        return getattr(self.inner, "latency_s", None)

    def play(self, cue: Cue, *, pan: float = 0.0) -> None:
        """Keep the cue at its decided time, then play it."""
        self.events.append(SoundEvent(cue.decided_t_s, cue, pan))
        self.inner.play(cue, pan=pan)

    def signal(self, signal: Signal, t_s: float) -> None:
        """Keep the signal at ``t_s``, then play it."""
        self.events.append(SoundEvent(t_s, signal, 0.0))
        self.inner.signal(signal, t_s)

    def close(self) -> None:
        """Close the inner sounder; the events stay."""
        self.inner.close()


def render_track(
    events: Iterable[SoundEvent], duration_s: float, sounds_dir: Path, *, start_s: float = 0.0
) -> NDArray[np.int16]:
    """Return the sound of ``events`` as (n, 2) samples of 44.1 kHz, n = ``duration_s`` of them.

    ``start_s`` is the clip's time at sample 0. Each tone starts at the time its cue was decided:
    what a loudspeaker adds (see ``latency_s``) is not in the track. As live, a tone is cut off by
    a later one of the same group (``group_of``), and different groups are mixed. Sound outside the
    clip is left out.

    Raises SoundError when a tone file cannot be used, ValueError for a negative duration.
    """
    if duration_s < 0:
        raise ValueError(f"a track cannot last {duration_s} s")
    tones = load_tones(sounds_dir)
    mix = np.zeros((round(duration_s * RATE_HZ), 2), dtype=np.int32)
    ends: dict[CueKind | None, int] = {}  # going backwards: where the next of its group starts
    for event in sorted(events, key=lambda e: e.t_s, reverse=True):
        cue = event.cue
        variant = signal_variant(cue) if isinstance(cue, Signal) else variant_of(cue, event.pan)
        group = group_of(variant.kind)
        samples = stereo(tones[variant.kind], variant.pan, variant.level_db)
        first = round((event.t_s - start_s) * RATE_HZ)
        last = min(first + len(samples), ends.get(group, len(mix)), len(mix))
        ends[group] = first
        begin = max(first, 0)
        if last > begin:
            mix[begin:last] += samples[begin - first : last - first]
    return np.clip(mix, -32768, 32767).astype(np.int16)


def write_wav(path: Path, samples: NDArray[np.int16]) -> None:
    """Write ``samples`` (n, channels) as a 44.1 kHz 16-bit WAV file.

    Raises SoundError when the file cannot be written.
    """
    try:
        with path.open("wb") as raw, wave.open(raw, "wb") as file:
            file.setnchannels(samples.shape[1])
            file.setsampwidth(2)
            file.setframerate(RATE_HZ)
            file.writeframes(samples.astype("<i2").tobytes())
    except OSError as error:
        raise SoundError(
            f"the sound track {path} could not be written ({error}); wanted a writable file. "
            "Check the folder and the free space."
        ) from error
