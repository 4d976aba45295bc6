"""The core with its state held: what live, measure and replay all drive."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from trainer.core import session
from trainer.core.estimate import Estimator
from trainer.core.records import Handed, Pose, Rep, Step
from trainer.core.rules import Rules
from trainer.core.trace import quantise
from trainer.estimator_file import shipped
from trainer.ports import KeyAction


class Engine:
    """Feeds poses to the core, one at a time. Used from one thread."""

    def __init__(
        self, rules: Rules, fitted: Estimator | None = None, *, reps_before: int = 0
    ) -> None:
        """Begin to count at ``reps_before``.

        ``fitted`` is the estimator of the measures; by default the one that ships.
        """
        self.rules = rules
        self._fitted = shipped() if fitted is None else fitted
        self._state = session.SessionState(reps=reps_before, reps_started=reps_before)

    def feed(self, t_s: float, pose: Pose | None) -> tuple[Pose | None, Step] | None:
        """Return the pose as the core read it and the step; None when time did not increase."""
        if self._state.t_s is not None and t_s <= self._state.t_s:
            return None
        read = None if pose is None else quantise(pose)
        self._state, step = session.step(self._state, t_s, read, self.rules, self._fitted)
        return read, step

    def act(self, action: KeyAction) -> bool:
        """Follow what the player asked for; return False for what is not the core's business."""
        if action is KeyAction.NEW_SETUP:
            self._state = session.new_setup(self._state)
        elif action is KeyAction.SWITCH_HANDED:
            right = self.rules.handed is Handed.RIGHT
            self.rules = replace(self.rules, handed=Handed.LEFT if right else Handed.RIGHT)
            self._state = session.new_setup(self._state)
        elif action is KeyAction.PAIN:
            self.rules = replace(self.rules, pain=True)
        else:
            return False
        return True

    def finish(self) -> Rep | None:
        """End the session; return a rep that was still under way, not complete."""
        self._state, rep = session.finish(self._state)
        return rep


def joined(actions: Iterable[KeyAction]) -> str | None:
    """Return the actions before one reading as a trace writes them, in order; None for none."""
    return "+".join(action.value for action in actions) or None


def parted(text: str | None) -> tuple[KeyAction, ...]:
    """Return the actions that ``joined`` wrote. Raises ValueError for an unknown one."""
    return () if text is None else tuple(KeyAction(part) for part in str(text).split("+"))
