"""What the window remembers from drawing to drawing: slow colours and the age of a reading."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Final

from trainer.adapters.screen_place import Placer
from trainer.core.records import Measures, Step

HOLD_S: Final = 0.26  #: a state stays this long: two changes make one flash, so under 2 Hz
FADE_S: Final = 0.2  #: colours take this long to change
BACK_S: Final = 2 * HOLD_S  #: a lost reading comes back no sooner than this after the last time
STALE_S: Final = 1.0  #: a step no newer than this is no longer a reading

_SHOWN: Final = ("shoulder_turn_deg", "head_lateral_cm", "hip_lateral_cm")


@dataclass(slots=True)
class _Held:
    before: str
    state: str
    since_s: float


@dataclass(slots=True)
class Calm:
    """Keeps coloured marks from flashing when a reading jumps about its limit.

    WCAG 2.x, success criterion 2.3.1, allows three flashes a second; this keeps below two.
    """

    _held: dict[str, _Held] = field(default_factory=dict)
    _gone: set[str] = field(default_factory=set)
    _back_s: dict[str, float] = field(default_factory=dict)

    def steady(self, measures: Measures, now_s: float) -> Measures:
        """Return the measures to show: one that comes and goes comes back twice a second at most.

        Until then it stays None: what is not measured is never shown as if it were.
        """
        hidden: dict[str, None] = {}
        for name in _SHOWN:
            if getattr(measures, name) is None:
                self._gone.add(name)
            elif name in self._gone:
                if now_s - self._back_s.get(name, -math.inf) < BACK_S:
                    hidden[name] = None
                else:
                    self._gone.discard(name)
                    self._back_s[name] = now_s
        return replace(measures, **hidden) if hidden else measures

    def shown(self, name: str) -> str:
        """Return the state shown last; "none" before the first."""
        held = self._held.get(name)
        return "none" if held is None else held.state

    def settle(self, name: str, wanted: str, now_s: float) -> tuple[str, str, float]:
        """Return the state before, the state shown now, and how far the fade is (0..1).

        A reading that is gone ("none") is obeyed at once: nothing stale is shown.
        """
        held = self._held.get(name)
        if held is None or wanted == "none" or held.state == "none":
            if held is None or held.state != wanted:
                held = self._held[name] = _Held(wanted, wanted, now_s)
            return held.state, held.state, 1.0
        if wanted != held.state and now_s - held.since_s >= HOLD_S:
            held = self._held[name] = _Held(held.state, wanted, now_s)
        return held.before, held.state, min(max((now_s - held.since_s) / FADE_S, 0.0), 1.0)


@dataclass(slots=True)
class Memory:
    """The state of one window. Made once a window; called from the main thread only."""

    placer: Placer = field(default_factory=Placer)
    calm: Calm = field(default_factory=Calm)
    _step: Step | None = None
    _step_since_s: float = 0.0

    def is_stale(self, step: Step | None, now_s: float) -> bool:
        """Return True when the very same step has been handed in for over ``STALE_S``."""
        if step is not self._step:
            self._step, self._step_since_s = step, now_s
        return step is not None and now_s - self._step_since_s > STALE_S
