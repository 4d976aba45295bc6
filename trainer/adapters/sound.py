"""Plays cues through pygame's mixer or simpleaudio; a silent sounder when neither works.

Once made, no sounder raises: a device that dies makes its sounder silent (``audible`` False)
and ``trouble`` says so in plain words. ``play`` may be called from one thread and ``close``
from another. Every sounder also tells ``latency_s``: the most that our own buffers can put
between ``play`` and the device, None when that is not known. The operating system's mixer and
above all a wireless loudspeaker come on top, and no program can see them.
"""

from __future__ import annotations

import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from trainer.adapters.quiet import quiet_stderr
from trainer.adapters.tones import (
    RATE_HZ,
    Variant,
    all_variants,
    group_of,
    signal_variant,
    variant_of,
)
from trainer.core.records import Cue, CueKind, Signal
from trainer.errors import SoundError

Choice = Literal["auto", "pygame", "simpleaudio", "off"]
#: 512 samples are 11.6 ms. 256 would save about 10 ms at worst, and leave the mixer 6 ms to get
#: its turn on a computer busy with finding poses, which is when sound starts to crackle.
BUFFER_SAMPLES: Final = 512
STUCK_AFTER_S: Final = 1.0  #: a tone still sounding this long after its end is not sounding
PROBE_TIMEOUT_S: Final = 15.0
#: Cues that come within this time go out as one buffer, so that a head and a hips cue of the
#: same picture are both heard even where only one program part may hold the device.
GATHER_S: Final = 0.002
QUEUE_CUES: Final = 8  #: more than this waiting means the device hangs; further cues are dropped
FAILURES_TO_SILENCE: Final = 3


class SilentSounder:
    """Plays nothing. ``trouble`` tells why there is no sound; empty when it was asked for."""

    name = "no sound"
    audible = False
    latency_s: float | None = None

    def __init__(self, trouble: str = "") -> None:
        self.trouble = trouble

    def play(self, cue: Cue, *, pan: float = 0.0) -> None:
        """Do nothing."""

    def signal(self, signal: Signal, t_s: float) -> None:
        """Do nothing."""

    def close(self) -> None:
        """Do nothing."""


class PygameSounder:
    """Plays through pygame's mixer, one mixer channel for each kind of cue and one for signals.

    A cue is mixed with the other kinds and restarts its own kind. ``latency_s`` is two buffers:
    up to one until the mixer next asks for samples, and one already waiting at the device.

    Raises SoundError when no device opens or a tone cannot be used.
    """

    name = "pygame"

    def __init__(
        self,
        sounds_dir: Path,
        level_db: float = 0.0,
        *,
        buffer_samples: int = BUFFER_SAMPLES,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        variants = all_variants(sounds_dir, level_db)
        self._clock = clock
        self._lock = threading.Lock()
        mixer = _open_mixer(buffer_samples)
        self._mixer: ModuleType | None = mixer
        groups = (*CueKind, None)
        mixer.set_num_channels(max(mixer.get_num_channels(), len(groups)))
        # Reserved channels are never handed to another part of the program that plays a sound.
        mixer.set_reserved(len(groups))
        self._channels = {group: mixer.Channel(i) for i, group in enumerate(groups)}
        self._sounds = {v: mixer.Sound(buffer=s.tobytes()) for v, s in variants.items()}
        self._length_s = {v: len(s) / RATE_HZ for v, s in variants.items()}
        self._due_s: dict[CueKind | None, float] = {}  # when each group's last should be over
        self.latency_s: float | None = 2 * buffer_samples / RATE_HZ
        self.audible = True
        self.trouble = ""
        if os.environ.get("SDL_AUDIODRIVER") == "dummy":
            self.audible = False
            self.trouble = "no sound: SDL_AUDIODRIVER=dummy sends it nowhere; unset it to hear."

    def play(self, cue: Cue, *, pan: float = 0.0) -> None:
        """Start the tone of ``cue``, nearest to ``pan``; returns at once, never raises."""
        try:
            self._start(variant_of(cue, pan))
        except Exception as error:  # whatever went wrong, the caller's loop must go on
            self._give_up(f"the sound device failed ({error})")

    def signal(self, signal: Signal, t_s: float) -> None:
        """Start the tone of ``signal``; returns at once, never raises."""
        self._start(signal_variant(signal))

    def _start(self, variant: Variant) -> None:
        try:
            with self._lock:
                if self._mixer is None:
                    return
                # Asked first because pygame 2.6.1 takes the program down, instead of raising,
                # when a channel plays after the mixer was closed (pygame.quit() does that too).
                if self._mixer.get_init() is None:
                    self._give_up("pygame's mixer was closed by another part of the program")
                    return
                if _device_lost():
                    self._give_up("the sound device was taken away")
                    return
                if self._is_stuck():
                    self._give_up("the sound device has stopped taking sound")
                    return
                group = group_of(variant.kind)
                self._channels[group].play(self._sounds[variant])
                self._due_s[group] = self._clock() + self._length_s[variant]
        except Exception as error:  # whatever went wrong, the caller's loop must go on
            self._give_up(f"the sound device failed ({error})")

    def _is_stuck(self) -> bool:
        now_s = self._clock()
        return any(
            now_s > due_s + STUCK_AFTER_S and self._channels[group].get_busy()
            for group, due_s in self._due_s.items()
        )

    def _give_up(self, what: str) -> None:
        self._mixer = None
        self.audible = False
        self.trouble = f"no sound: {what}. Check the loudspeaker and start the program again."

    def close(self) -> None:
        """Stop all tones and let the device go. Safe to call twice."""
        with self._lock:
            mixer, self._mixer, self.audible = self._mixer, None, False
            if mixer is not None:
                mixer.quit()


def _open_mixer(buffer_samples: int) -> ModuleType:
    """Open pygame's mixer in our format and return the module."""
    remedy = "Plug in or switch on a loudspeaker, or run with --sound off."
    try:
        os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
        from pygame import mixer

        wanted = (RATE_HZ, -16, 2)
        if mixer.get_init() is not None:
            mixer.quit()  # opened by somebody else, with a buffer we do not know
        # A pygame.init() elsewhere must not open it again with a long buffer.
        mixer.pre_init(*wanted, buffer_samples)
        mixer.init(*wanted, buffer_samples, allowedchanges=0)
    except Exception as error:  # a broken install raises anything from ImportError to OSError
        raise SoundError(
            f"pygame could not open a sound device ({error}); wanted 44.1 kHz stereo. {remedy}"
        ) from error
    return mixer


def _device_lost() -> bool:
    """Whether SDL has said that the open output device is gone; it raises nothing by itself.

    SDL says it by an event, which can be read while a window is open and reaches us only when
    the window's loop leaves it: ``pygame.event.get(exclude=pygame.AUDIODEVICEREMOVED)``.
    """
    import pygame

    if not pygame.display.get_init():
        return False
    # pump=False: pumping belongs to the window's thread, and looking does not need it.
    gone = pygame.event.get(pygame.AUDIODEVICEREMOVED, pump=False)
    # ``which`` is 0 for a device nobody had open; the mixer is the only one that opens one.
    return any(event.which != 0 and not event.iscapture for event in gone)


class SimpleaudioSounder:
    """Plays through simpleaudio, whose calls open the device each time and may take a while.

    So ``play`` only puts the cue into a short queue, and a thread of its own does the rest.
    ``latency_s`` is None: simpleaudio does not tell it.

    Raises SoundError when simpleaudio is missing or does not live through a trial.
    """

    name = "simpleaudio"
    latency_s: float | None = None

    def __init__(
        self,
        sounds_dir: Path,
        level_db: float = 0.0,
        *,
        probe: Callable[[], str] | None = None,
        play_buffer: Callable[[NDArray[np.int16], int, int, int], Any] | None = None,
    ) -> None:
        self._variants = all_variants(sounds_dir, level_db)
        trouble = (probe or probe_simpleaudio)()
        if trouble:
            raise SoundError(trouble)
        if play_buffer is None:
            import simpleaudio

            play_buffer = simpleaudio.play_buffer
        self._play_buffer = play_buffer
        self._playing: list[Any] = []  # kept, because a dropped one could not be stopped
        self._failures = 0
        # NB: bool and str written by the worker, read by others: each write is one store.
        self.audible = True
        self.trouble = ""
        self._queue: queue.Queue[Variant | None] = queue.Queue(QUEUE_CUES)
        self._closing = threading.Event()
        self._worker = threading.Thread(target=self._work, name="sound", daemon=True)
        self._worker.start()

    def play(self, cue: Cue, *, pan: float = 0.0) -> None:
        """Hand the cue to the sound thread; returns at once, never raises."""
        self._hand_over(lambda: variant_of(cue, pan))

    def signal(self, signal: Signal, t_s: float) -> None:
        """Hand the signal to the sound thread; returns at once, never raises."""
        self._hand_over(lambda: signal_variant(signal))

    def _hand_over(self, variant: Callable[[], Variant]) -> None:
        if not self.audible:
            return
        try:
            self._queue.put_nowait(variant())
        except queue.Full:
            self._go_silent("the sound device has stopped taking sound")
        except Exception as error:  # whatever went wrong, the caller's loop must go on
            self._go_silent(f"a cue could not be played ({error})")

    def _go_silent(self, what: str) -> None:
        self.audible = False
        self.trouble = f"no sound: {what}. Check the loudspeaker and start the program again."

    def _work(self) -> None:
        while (first := self._queue.get()) is not None:
            batch = {group_of(first.kind): first}
            if not self._closing.wait(GATHER_S):
                while not self._queue.empty() and (more := self._queue.get()) is not None:
                    batch[group_of(more.kind)] = more
            if self._closing.is_set():
                return
            try:
                self._start(mixed([self._variants[v] for v in batch.values()]))
                self._failures = 0
            except Exception as error:  # simpleaudio has no narrower class for a lost device
                self._failures += 1
                self.trouble = f"a cue was not heard: {error}"
                if self._failures >= FAILURES_TO_SILENCE:
                    self._go_silent(f"the sound device failed ({error})")
                    return

    def _start(self, samples: NDArray[np.int16]) -> None:
        self._playing = [p for p in self._playing if p.is_playing()]
        self._playing.append(self._play_buffer(samples, 2, 2, RATE_HZ))

    def close(self) -> None:
        """Stop all tones and end the sound thread. Safe to call twice."""
        self.audible = False
        self._closing.set()
        try:
            self._queue.put_nowait(None)
        except queue.Full:
            self.trouble = self.trouble or "the sound device hung when it was closed."
        self._worker.join(timeout=1.0)
        playing, self._playing = self._playing, []
        for one in playing:
            try:
                one.stop()
            except Exception as error:  # closing goes on; the device is being let go anyway
                self.trouble = f"a tone could not be stopped: {error}"


def mixed(parts: list[NDArray[np.int16]]) -> NDArray[np.int16]:
    """Return the sum of stereo ``parts`` (n, 2), as long as the longest; held in 16 bits."""
    total = np.zeros((max(len(p) for p in parts), 2), dtype=np.int32)
    for part in parts:
        total[: len(part)] += part
    return np.clip(total, -32768, 32767).astype(np.int16)


#: Plays 50 ms of silence and waits for its end: that is where simpleaudio 1.0.4 crashes on
#: CPython 3.12 and later (measured on 3.12.1 and 3.13.0; 3.11.7 lives).
_PROBE: Final = """
import time, simpleaudio
simpleaudio.play_buffer(bytes(2 * 2 * 2205), 2, 2, 44100).wait_done()
time.sleep(0.1)
print("lived")
"""


def probe_simpleaudio(python: str = sys.executable) -> str:
    """Return why simpleaudio cannot be used, or an empty string when it can.

    Tried in a process of its own: on some Python versions it takes the whole program down.
    """
    version = f"Python {sys.version_info[0]}.{sys.version_info[1]}"
    remedy = "Use --sound pygame."
    wanted = "wanted simpleaudio to play a short silence"
    try:
        done = subprocess.run(
            [python, "-c", _PROBE], capture_output=True, text=True, timeout=PROBE_TIMEOUT_S
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return f"simpleaudio could not be tried ({error}); {wanted}. {remedy}"
    if done.returncode == 0 and "lived" in done.stdout:
        return ""
    if "No module named 'simpleaudio'" in done.stderr:
        return (
            f"simpleaudio is not installed; {wanted}. {remedy} "
            "Or install it: pip install backswing-mirror[simpleaudio]"
        )
    last = (done.stderr.strip().splitlines() or [""])[-1]
    reason = last if done.returncode == 1 and last else f"it crashed, code {done.returncode}"
    return f"simpleaudio failed its trial on {version} ({reason}); {wanted}. {remedy}"


def sound_devices() -> tuple[str, ...]:
    """Return the names of the sound outputs; empty where the system does not tell.

    The mixer must be open: SDL asks its driver. Never raises.
    """
    try:
        from pygame._sdl2.audio import get_audio_device_names

        return tuple(get_audio_device_names(False))
    except Exception:  # an experimental part of pygame: missing, or refusing
        return ()


def open_sounder(
    choice: Choice, sounds_dir: Path, level_db: float = 0.0
) -> PygameSounder | SimpleaudioSounder | SilentSounder:
    """Return a working sounder for ``choice``, or a silent one whose ``trouble`` says why.

    ``level_db`` is how loud all tones are against their files: 0 as they are, less is softer.

    "auto" is pygame: simpleaudio is never chosen by itself, because it crashes on newer Python
    versions. When "simpleaudio" is asked for and fails its trial, pygame takes its place and
    ``trouble`` says so.

    Raises SoundError for a tone that cannot be used (a broken install) and an unknown choice.
    """
    if choice == "off":
        return SilentSounder()
    if choice not in ("auto", "pygame", "simpleaudio"):
        raise SoundError(
            f"there is no sound output {choice!r}; wanted auto, pygame, simpleaudio or off. "
            "Try --sound auto."
        )
    all_variants(sounds_dir)  # a broken tone is an error of the install, not of the device
    trouble = ""
    if choice == "simpleaudio":
        try:
            return SimpleaudioSounder(sounds_dir, level_db)
        except SoundError as error:
            trouble = str(error)
    try:
        with quiet_stderr():  # ALSA tells the terminal at length that there is no sound card
            sounder = PygameSounder(sounds_dir, level_db)
    except SoundError as error:
        return SilentSounder(" ".join(filter(None, [trouble, str(error)])))
    sounder.trouble = " ".join(
        filter(None, [trouble and f"pygame plays instead: {trouble}", sounder.trouble])
    )
    return sounder
