"""The volume test: the tones from the softest on, at the level that is set, each with its words."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final, NamedTuple

from trainer.core.records import Cue, CueKind, Side
from trainer.ports import Sounder
from trainer.words import NO_SOUND, VOLUME_WORDS

EVERY_S: Final = 1.2  #: from tone to tone; the longest lasts half a second


class Tried(NamedTuple):
    """One tone of the test."""

    kind: CueKind
    strength: float
    pan: float  #: -1 the player's left, +1 the right
    words: str


#: The softest first: where that is heard, all are.
TRIED: Final = (
    Tried(CueKind.HEAD_OUT, 0.0, 0.0, VOLUME_WORDS[0]),
    Tried(CueKind.HIPS_OUT, 0.0, 0.0, VOLUME_WORDS[1]),
    Tried(CueKind.HEAD_OUT, 1.0, -1.0, VOLUME_WORDS[2]),
    Tried(CueKind.HIPS_OUT, 1.0, 1.0, VOLUME_WORDS[3]),
    Tried(CueKind.TURN_REACHED, 1.0, 0.0, VOLUME_WORDS[4]),
)


class VolumeTest:
    """Plays the tones one after another while its owner calls ``go_on``."""

    def __init__(self, sounder: Sounder, begun_s: float) -> None:
        self._sounder = sounder
        self._next_s = begun_s
        self._row = 0

    @property
    def over(self) -> bool:
        """True once the last tone was begun."""
        return self._row >= len(TRIED)

    def go_on(self, now_s: float) -> str:
        """Begin the tone that is due; return its words, empty where none is."""
        if self.over or now_s < self._next_s:
            return ""
        tried = TRIED[self._row]
        side = None if tried.pan == 0 else Side.AWAY
        self._sounder.play(
            Cue(
                kind=tried.kind,
                side=side,
                strength=tried.strength,
                t_s=now_s,
                decided_t_s=now_s,
            ),
            pan=tried.pan,
        )
        self._row, self._next_s = self._row + 1, now_s + EVERY_S
        return tried.words


def run_volume(
    sounder: Sounder,
    say: Callable[[str], None],
    *,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> bool:
    """Play the whole test, saying each tone as it begins; return whether it could be heard."""
    if not sounder.audible:
        say(sounder.trouble or NO_SOUND)
        return False
    test = VolumeTest(sounder, clock())
    while not test.over:
        words = test.go_on(clock())
        if words:
            say(words)
        sleep(0.05)
    sleep(EVERY_S)
    return sounder.audible
