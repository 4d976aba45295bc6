"""The core with its state held: what live, measure and replay all drive."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from trainer.core import ball_line, own_rep, rod_check, session, summary
from trainer.core.ball_line import BallLine
from trainer.core.estimate import Fitted, widened
from trainer.core.records import Handed, Measures, Phase, Pose, Rep, Step
from trainer.core.rod_check import RodState
from trainer.core.rules import Rules
from trainer.core.setup import Reference
from trainer.core.trace import quantise
from trainer.estimator_file import shipped
from trainer.ports import KeyAction


class Engine:
    """Feeds poses to the core, one at a time. Used from one thread."""

    def __init__(self, rules: Rules, fitted: Fitted | None = None, *, reps_before: int = 0) -> None:
        """Begin to count at ``reps_before``.

        ``fitted`` is the estimator of the measures; by default the one that ships.
        """
        self.rules = rules
        self.rod: RodState | None = None  #: the rod check under way
        self.answer = ""  #: plain words in answer to the last action; empty where none is due
        self._fitted = widened(shipped() if fitted is None else fitted, rules.se_factor)
        self._state = session.SessionState(reps=reps_before, reps_started=reps_before)
        self._last_rep: Rep | None = None  # the last complete one
        self._line: tuple[Reference, float | None, bool] | None = None  # setup, gap, at the top

    @property
    def ball_line(self) -> BallLine | None:
        """Return line and back's edge to be drawn: at setup, or of the last rep's top."""
        if self._line is None or self.rules.ball_line_cm is None or self.rod is not None:
            return None
        reference, gap_cm, at_top = self._line
        return ball_line.to_draw(reference, self.rules.ball_line_cm, gap_cm, at_top=at_top)

    @property
    def reference(self) -> Reference | None:
        """Return the setup the last step was measured against; None while there is none."""
        return self._state.reference

    def feed(self, t_s: float, pose: Pose | None) -> tuple[Pose | None, Step] | None:
        """Return the pose as the core read it and the step; None when time did not increase."""
        if self._state.t_s is not None and t_s <= self._state.t_s:
            return None
        read = None if pose is None else quantise(pose)
        self._state, step = session.step(self._state, t_s, read, self.rules, self._fitted)
        if self.rod is not None:
            return read, self._check(t_s, read, step, self.rod)
        if step.rep is not None and step.rep.complete:
            self._last_rep = step.rep
        self._follow_line(step)
        return read, step

    def act(self, action: KeyAction) -> bool:
        """Follow what the player asked for; return False for what is not the core's business."""
        self.answer = ""
        if action is KeyAction.NEW_SETUP:
            self._new_setup()
        elif action is KeyAction.SWITCH_HANDED:
            right = self.rules.handed is Handed.RIGHT
            # The reference and the last rep are of the other hand.
            self.rules = replace(
                self.rules, handed=Handed.LEFT if right else Handed.RIGHT, own=None
            )
            self._last_rep = None
            self._new_setup()
        elif action is KeyAction.PAIN:
            # The target in force is from now on the highest there is.
            self.rules = replace(self.rules, pain=True, cues=own_rep.cue_rules(self.rules))
            self.rod = None  # it asks for a turn
        elif action in (KeyAction.LINE_AWAY, KeyAction.LINE_TOWARD):
            self._move_line(1 if action is KeyAction.LINE_AWAY else -1)
        elif action is KeyAction.THIS_ONE:
            own = own_rep.own_from(self._last_rep)
            if own is not None:
                self.rules = replace(self.rules, own=own)
            self.answer = summary.marked_words(own, self.rules)
        elif action is KeyAction.OWN_TOP:
            cues = self.rules.cues
            self.rules = replace(self.rules, cues=replace(cues, own_top=not cues.own_top))
            self.answer = summary.aim_words(self.rules)
        elif action is KeyAction.ROD_CHECK:
            self._switch_rod()
        else:
            return False
        return True

    def finish(self) -> Rep | None:
        """End the session; return a rep that was still under way, not complete."""
        self._state, rep = session.finish(self._state)
        return rep

    def _new_setup(self) -> None:
        self._state = session.new_setup(self._state)
        self._line = None
        if self.rod is not None:
            self.rod = RodState()

    def _switch_rod(self) -> None:
        if self.rod is None and self.rules.pain:
            self.answer = summary.ROD_PAIN
            return
        self.rod = RodState() if self.rod is None else None
        self._state = session.new_setup(self._state)
        self._line = None

    def _check(self, t_s: float, read: Pose | None, step: Step, rod: RodState) -> Step:
        """Give the reading to the rod check; return a step in which no swing is looked for.

        No turn is told while the player turns: who sees a figure turns to it, not to the rod.
        """
        self.rod = rod_check.step(rod, t_s, read, step.pose, self.rules, self._fitted)
        # Else a setup would be found as soon as the hands come down.
        self._state = session.new_setup(self._state)
        return Step(
            t_s=t_s,
            pose=step.pose,
            measures=Measures(t_s=t_s),
            phase=Phase.NOBODY,
            reps=step.reps,
        )

    def _move_line(self, steps: int) -> None:
        before_cm = self.rules.ball_line_cm
        now_cm = ball_line.moved(before_cm, steps)
        self.rules = replace(self.rules, ball_line_cm=now_cm)
        self.answer = summary.line_words(now_cm)
        if self._line is not None:
            # The edge stays where it was seen; its gap is to the line's new place.
            reference, gap_cm, at_top = self._line
            if gap_cm is not None:
                gap_cm -= now_cm - (before_cm or 0.0)
            self._line = (reference, gap_cm, at_top)

    def _follow_line(self, step: Step) -> None:
        reference = self._state.reference
        if step.rep is not None:
            top = step.rep.at_top if step.rep.complete else None
            self._line = None
            if reference is not None and top is not None:
                self._line = (reference, top.back_gap_cm, True)
        elif step.phase is Phase.SETUP and reference is not None:
            self._line = (reference, step.measures.back_gap_cm, False)


def joined(actions: Iterable[KeyAction]) -> str | None:
    """Return the actions before one reading as a trace writes them, in order; None for none."""
    return "+".join(action.value for action in actions) or None


def parted(text: str | None) -> tuple[KeyAction, ...]:
    """Return the actions that ``joined`` wrote. Raises ValueError for an unknown one."""
    return () if text is None else tuple(KeyAction(part) for part in str(text).split("+"))
