"""What the player asked for: in a trace's words, and by which sign of the hands."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from trainer.core.adjust import Part
from trainer.core.gestures import Sign
from trainer.ports import KeyAction

#: A sign held for this share of its time is shown, so that the player sees it is being read.
SIGN_SHOWN: Final = 0.3
#: Signs with a meaning, and those that mean something only while a guess is waited for.
SIGNS: Final = frozenset({Sign.HAND_UP, Sign.HANDS_OUT, Sign.ON_HEAD})
ANSWERS: Final = frozenset({Sign.HAND_UP, Sign.OUT_LOW, Sign.OUT_LEVEL, Sign.ON_HEAD})
MEANS: Final = {
    Sign.HAND_UP: KeyAction.PAUSE,
    Sign.HANDS_OUT: KeyAction.NEXT_KIND,
    Sign.ON_HEAD: KeyAction.PAIN,
}
ANSWER: Final = {
    Sign.OUT_LOW: KeyAction.GUESS_SHORT,
    Sign.OUT_LEVEL: KeyAction.GUESS_THERE,
    Sign.HAND_UP: KeyAction.GUESS_PAST,
    Sign.ON_HEAD: KeyAction.PAIN,
}
#: Changes of target and tolerances: of what, and which way.
ADJUSTS: Final = {
    KeyAction.TARGET_MORE: (Part.TARGET, 1),
    KeyAction.TARGET_LESS: (Part.TARGET, -1),
    KeyAction.BAND_MORE: (Part.BAND, 1),
    KeyAction.BAND_LESS: (Part.BAND, -1),
    KeyAction.HEAD_MORE: (Part.HEAD, 1),
    KeyAction.HEAD_LESS: (Part.HEAD, -1),
    KeyAction.HIPS_MORE: (Part.HIPS, 1),
    KeyAction.HIPS_LESS: (Part.HIPS, -1),
}
#: Guesses, by the word they stand for.
GUESSES: Final = {
    KeyAction.GUESS_SHORT: "short",
    KeyAction.GUESS_THERE: "there",
    KeyAction.GUESS_PAST: "past",
}


def joined(actions: Iterable[KeyAction]) -> str | None:
    """Return the actions before one reading as a trace writes them, in order; None for none."""
    return "+".join(action.value for action in actions) or None


def parted(text: str | None) -> tuple[KeyAction, ...]:
    """Return the actions that ``joined`` wrote. Raises ValueError for an unknown one."""
    return () if text is None else tuple(KeyAction(part) for part in str(text).split("+"))
