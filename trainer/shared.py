"""What the live mirror's pose thread leaves for its main thread."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from trainer.core.ball_line import BallLine
from trainer.core.practice import CheckResult
from trainer.core.practice_shown import PracticeShown
from trainer.core.records import Frame, Rep, Step
from trainer.core.rod_check import RodReading, RodState
from trainer.core.rules import Rules


@dataclass(slots=True, kw_only=True)
class Shared:
    """The newest of everything.

    NB: single attributes, each rebound as a whole by the pose thread alone; a reader sees the old
    or the new object, never half of one, and needs no lock.
    """

    frame: Frame | None = None
    step: Step | None = None
    rules: Rules
    last_rep: Rep | None = None
    last_rep_words: tuple[str, ...] = ()
    ball_line: BallLine | None = None
    rod: RodState | None = None
    practice: PracticeShown | None = None
    check: CheckResult | None = None  #: the silent check of this run
    readings: tuple[RodReading, ...] = ()  #: what the rod checks of this run read
    answer: tuple[str, float] = ("", 0.0)  #: words about the last action, and when
    who: str = ""
    about_tags: tuple[str, ...] = ()
    frames: int = 0
    reps: list[Rep] = field(default_factory=list)
    delays_ms: deque[float] = field(default_factory=lambda: deque(maxlen=600))
    step_times_s: deque[float] = field(default_factory=lambda: deque(maxlen=60))

    def poses_per_second(self) -> float | None:
        """Return how often a pose came over the last readings; None until it is known."""
        times_s = list(self.step_times_s)
        if len(times_s) < 5 or times_s[-1] <= times_s[0]:
            return None
        return (len(times_s) - 1) / (times_s[-1] - times_s[0])
