"""The core with its state held: what live, measure and replay all drive."""

from __future__ import annotations

from dataclasses import replace

from trainer.core import session
from trainer.core.records import Handed, Pose, Rep, Step
from trainer.core.rules import Rules
from trainer.core.trace import quantise
from trainer.ports import KeyAction


class Engine:
    """Feeds poses to the core, one at a time. Used from one thread."""

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        self._state = session.SessionState()

    def feed(self, t_s: float, pose: Pose | None) -> tuple[Pose | None, Step] | None:
        """Return the pose as the core read it and the step; None when time did not increase."""
        if self._state.t_s is not None and t_s <= self._state.t_s:
            return None
        read = None if pose is None else quantise(pose)
        self._state, step = session.step(self._state, t_s, read, self.rules)
        return read, step

    def act(self, action: KeyAction) -> None:
        """Follow what the player asked for; actions that are not the core's are ignored."""
        if action is KeyAction.NEW_SETUP:
            self._state = session.new_setup(self._state)
        elif action is KeyAction.SWITCH_HANDED:
            right = self.rules.handed is Handed.RIGHT
            self.rules = replace(self.rules, handed=Handed.LEFT if right else Handed.RIGHT)
            self._state = session.new_setup(self._state)
        elif action is KeyAction.PAIN:
            self.rules = replace(self.rules, pain=True)

    def finish(self) -> Rep | None:
        """End the session; return a rep that was still under way, not complete."""
        self._state, rep = session.finish(self._state)
        return rep
