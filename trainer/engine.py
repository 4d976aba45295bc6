"""The core with its state held: what live, measure and replay all drive."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from trainer.actions import ADJUSTS, ANSWER, ANSWERS, GUESSES, MEANS, SIGN_SHOWN, SIGNS
from trainer.core import (
    adjust,
    ball_line,
    gestures,
    own_rep,
    practice,
    practice_words,
    rod_check,
    session,
    setup_check,
    summary,
    turn_only,
)
from trainer.core.ball_line import BallLine
from trainer.core.estimate import Fitted, widened
from trainer.core.gestures import Sign
from trainer.core.practice import CheckResult
from trainer.core.practice_rules import CueSchedule, PracticeKind
from trainer.core.practice_shown import PracticeShown, resting, shown
from trainer.core.records import Handed, Measures, Phase, Pose, Rep, Signal, Step
from trainer.core.rod_check import RodState
from trainer.core.rules import Rules
from trainer.core.schedule import ScheduleState, Telling
from trainer.core.setup import Reference
from trainer.core.setup_check import SetupFinding
from trainer.core.tag_body import TagBody
from trainer.core.tag_pose import Hint
from trainer.core.trace import quantise
from trainer.estimator_file import shipped
from trainer.ports import KeyAction

_KINDS: Final = tuple(PracticeKind)
_CUES: Final = tuple(CueSchedule)


class Engine:
    """Feeds poses to the core, one at a time. Used from one thread."""

    def __init__(self, rules: Rules, fitted: Fitted | None = None, *, reps_before: int = 0) -> None:
        """Begin to count at ``reps_before``.

        ``fitted`` is the estimator of the measures; by default the one that ships.
        """
        self.rules = rules
        self.rod: RodState | None = None  #: the rod check under way
        self.answer = ""  #: plain words about the last action or reading; empty where none are due
        self.guess = ""  #: "short", "there" or "past" that the last action or reading guessed
        self._fitted = widened(shipped() if fitted is None else fitted, rules.se_factor)
        self._state = session.SessionState(reps=reps_before, reps_started=reps_before)
        self.paused = False  #: the player rests: nothing is looked for, nothing counts
        self._practice = practice.begun(rules)
        self._signs = gestures.SignState()
        self._setup: tuple[Reference, tuple[SetupFinding, ...]] | None = None
        self._turn: turn_only.TurnState | None = None  # of turn-only practice
        self._shown = PracticeShown()
        self._shown_for: tuple[object, ...] = ()
        self._kept: tuple[object, ...] = ()
        self._worn: TagBody | None = None  # from the first pose on that was read with tags
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
    def practice(self) -> PracticeShown:
        """Return what is practised and what of it may be seen now."""
        seen = self._shown
        if self.paused or self._signs.away:
            why = practice_words.PAUSED if self.paused else practice_words.PAUSED_AWAY
            seen = resting(seen, why)
        if self._signs.held_share() > SIGN_SHOWN:
            words = practice_words.sign_words(self._signs.sign, self._practice, paused=self.paused)
            seen = replace(seen, sign=words)
        return seen

    @property
    def check(self) -> CheckResult | None:
        """Return what the last silent check came to; None before one was made."""
        return self._practice.check

    @property
    def reference(self) -> Reference | None:
        """Return the setup the last step was measured against; None while there is none."""
        return self._state.reference

    def feed(self, t_s: float, pose: Pose | None) -> tuple[Pose | None, Step] | None:
        """Return the pose as the core read it and the step; None when time did not increase."""
        if self._state.t_s is not None and t_s <= self._state.t_s:
            return None
        self.answer = self.guess = ""
        read = None if pose is None else quantise(pose)
        if read is not None and read.tags is not None and self._worn is None:
            self._worn = self._no_tags_yet()
        self._state, step = session.step(
            self._state, t_s, read, self.rules, self._fitted, self._worn
        )
        if self.rod is not None:
            return read, self._check(t_s, read, step, self.rod)
        self._follow_signs(t_s, step)
        if self.paused:
            return read, self._rest(step)
        kind = practice.kind_of(self._practice, self.rules.practice)
        reference = self._state.reference
        if kind is PracticeKind.TURN_ONLY:
            step, reference = self._turn_only(t_s, read, step)
        checked = self._practice.check
        self._practice, step = practice.step(self._practice, step, reference, self.rules)
        if self._practice.check is not checked and self._practice.check is not None:
            self.answer = practice_words.check_words(self._practice.check)
        self._shown = self._show(step, reference)
        if step.rep is not None and step.rep.complete and kind is not PracticeKind.TURN_ONLY:
            self._last_rep = step.rep
        self._follow_line(step)
        return read, step

    def _no_tags_yet(self) -> TagBody:
        return TagBody(handed=self.rules.handed, stature_cm=self.rules.stature_cm)

    def tag_hints(self, t_s: float) -> Mapping[int, tuple[Hint, ...]]:
        """Return what is known beforehand of each worn tag's attitude at ``t_s``, by number."""
        return {} if self._worn is None else self._worn.hints(t_s)

    def act(self, action: KeyAction) -> bool:
        """Follow what the player asked for; return False for what is not the core's business."""
        self.answer = self.guess = ""
        if action is KeyAction.NEW_SETUP:
            self._new_setup()
        elif action is KeyAction.NEW_SITTING:
            self._new_sitting()
        elif action is KeyAction.SWITCH_HANDED:
            right = self.rules.handed is Handed.RIGHT
            # The reference and the last rep are of the other hand.
            self.rules = replace(
                self.rules, handed=Handed.LEFT if right else Handed.RIGHT, own=None
            )
            self._last_rep = None
            if self._worn is not None:
                self._worn = self._no_tags_yet()
            self._new_setup()
        elif action is KeyAction.PAIN:
            # The target in force is from now on the highest there is.
            self.rules = replace(self.rules, pain=True, cues=own_rep.cue_rules(self.rules))
            self.rod = None  # it asks for a turn
            self._practice = replace(self._practice, guess=None)  # as does the question
        elif action in (KeyAction.LINE_AWAY, KeyAction.LINE_TOWARD):
            self._move_line(1 if action is KeyAction.LINE_AWAY else -1)
        elif action is KeyAction.THIS_ONE:
            own = own_rep.own_from(self._last_rep, self.rules)
            if own is not None:
                self.rules = replace(self.rules, own=own)
            self.answer = summary.marked_words(own, self.rules)
        elif action is KeyAction.OWN_TOP:
            cues = self.rules.cues
            self.rules = replace(self.rules, cues=replace(cues, own_top=not cues.own_top))
            self.answer = summary.aim_words(self.rules)
        elif action is KeyAction.COMFORT:
            self.rules, self.answer = adjust.comfort_taken(self._last_rep, self.rules)
        elif action in ADJUSTS:
            self.rules, self.answer = adjust.adjusted(self.rules, *ADJUSTS[action])
        elif action is KeyAction.ROD_CHECK:
            self._switch_rod()
        else:
            return self._act_practice(action)
        return True

    def _act_practice(self, action: KeyAction) -> bool:
        """Follow what the player asked for of the practice."""
        rules = self.rules.practice
        if action is KeyAction.PAUSE:
            self._pause()
        elif action in (KeyAction.NEXT_KIND, KeyAction.SILENT_CHECK) and self._practice.offered:
            self._begin_check()
        elif action in (KeyAction.NEXT_KIND, KeyAction.PREVIOUS_KIND):
            way = 1 if action is KeyAction.NEXT_KIND else -1
            self._take_kind(_KINDS[(_KINDS.index(rules.kind) + way) % len(_KINDS)])
        elif action.value in [kind.value for kind in _KINDS]:
            self._take_kind(PracticeKind(action.value))
        elif action is KeyAction.NEXT_CUES:
            cues = _CUES[(_CUES.index(rules.cues) + 1) % len(_CUES)]
            self.rules = replace(self.rules, practice=replace(rules, cues=cues))
            self._practice = replace(self._practice, schedule=ScheduleState())
            self.answer = practice_words.cues_words(cues)
        elif action is KeyAction.GUESS_FIRST:
            guess = not rules.guess_first
            self.rules = replace(self.rules, practice=replace(rules, guess_first=guess))
            self.answer = practice_words.GUESS_ON if guess else practice_words.GUESS_OFF
        elif action in GUESSES:
            said, now = GUESSES[action], self._practice
            self._practice, self.answer = practice.guessed(now, said, self.rules)
            self.guess = said if self.answer else ""
        elif action is KeyAction.SILENT_CHECK:
            self._begin_check()
        elif action is KeyAction.GESTURES:
            on = not rules.gestures
            self.rules = replace(self.rules, practice=replace(rules, gestures=on))
            self._signs = gestures.SignState()
            self.answer = practice_words.SIGNS_ON if on else practice_words.SIGNS_OFF
        else:
            return False
        return True

    def resume(self, rules: Rules) -> None:
        """Go on after another player, by ``rules`` as known now; pain that was marked stays."""
        self.rules = replace(rules, pain=rules.pain or self.rules.pain)
        self.rod, self.paused, self.answer, self.guess = None, False, "", ""
        self._signs = gestures.SignState()
        self._new_setup()

    def _new_sitting(self) -> None:
        """Begin the counts again: what was done before is a sitting of its own."""
        self.rules = replace(self.rules, check_offered=False)
        self._new_setup()
        self._state = replace(self._state, reps=0, reps_started=0)
        self._practice, self._last_rep = practice.begun(self.rules), None

    def finish(self) -> Rep | None:
        """End the session; return a rep that was still under way, not complete."""
        self._state, rep = session.finish(self._state)
        return rep

    def _show(self, step: Step, reference: Reference | None) -> PracticeShown:
        """Return what may be seen now; worked out anew only when it changed."""
        now, setup = self._practice, self._looked(step)
        points, known = now.points, self._shown.points
        # All that ``shown`` goes by, but for what moves with every picture.
        key: tuple[object, ...] = (now.telling, now.guess, now.schedule, now.rung, now.offered)
        key = (*key, now.check_left, step.phase, id(self.rules), id(setup))
        if known is not None:
            held = points.since_s is not None
            key = (*key, points.next, points.skipped, points.outside, held, id(reference))
        if key != self._shown_for:
            self._shown = shown(now, step.phase, step.pose, reference, self.rules, setup)
            self._shown_for = key
            self._kept = (self.rules, setup, reference)  # so that no other takes their ids
        elif known is not None:
            moved = known.moved(points, step.pose, self.rules)
            self._shown = replace(self._shown, points=moved)
        return self._shown

    def _looked(self, step: Step) -> tuple[SetupFinding, ...]:
        """Return what the setup check reads of the setup that is held; read once a setup."""
        reference = self._state.reference
        check = self.rules.setup_check.on and self._practice.telling is not Telling.NOTHING
        if not check or reference is None or step.phase is not Phase.SETUP:
            return ()
        if self._setup is None or self._setup[0] is not reference:
            self._setup = (reference, setup_check.findings(reference, self.rules))
        return self._setup[1]

    def _follow_signs(self, t_s: float, step: Step) -> None:
        """Do what the player asks for by hand, and rest while nobody is there.

        Read from the same smoothed pose as everything else, so a trace plays the same.
        """
        if not self.rules.practice.gestures:
            return
        was_away, asked = self._signs.away, self._practice.guess is not None
        phase = step.phase if self._turn is None else self._turn.phase
        wanted = ANSWERS if asked else SIGNS
        if asked and phase is Phase.AFTER:
            phase = Phase.WAITING  # the answer is waited for; the hands need not come down first
        if self.paused:
            phase, wanted = Phase.NOBODY, frozenset({Sign.HAND_UP, Sign.ON_HEAD})
        if self.rules.pain:
            wanted -= {Sign.ON_HEAD}
        self._signs, sign = gestures.step(self._signs, t_s, step.pose, phase, wanted)
        if self._signs.away is not was_away and not self.paused:
            signal = Signal.PAUSED if self._signs.away else Signal.RESUMED
            self._practice = practice.sounded(self._practice, signal)
        if sign is not None:
            self.act((ANSWER if asked else MEANS)[sign])

    def _take_kind(self, kind: PracticeKind) -> None:
        self.rules = replace(self.rules, practice=replace(self.rules.practice, kind=kind))
        self._practice = practice.with_kind(self._practice, kind)
        self._new_setup()
        self.answer = practice_words.kind_words(kind)

    def _begin_check(self) -> None:
        self._practice = practice.with_check(self._practice, self.rules.practice)
        self._new_setup()
        self.answer = practice_words.check_begun_words(self.rules.practice.check_reps)

    def _pause(self) -> None:
        self.paused = not self.paused
        self.answer = practice_words.PAUSE_ON if self.paused else practice_words.PAUSE_OFF
        signal = Signal.PAUSED if self.paused else Signal.RESUMED
        self._practice = practice.sounded(self._practice, signal)
        self._new_setup()

    def _rest(self, step: Step) -> Step:
        """Return a step in which nothing is looked for; only tones that wait still sound."""
        self._state = session.new_setup(self._state)
        self._practice, rest = practice.step(self._practice, _idle(step), None, self.rules)
        return rest

    def _turn_only(
        self, t_s: float, read: Pose | None, step: Step
    ) -> tuple[Step, Reference | None]:
        """Give the reading to turn-only practice; no swing is looked for."""
        state, now = turn_only.step(
            self._turn or turn_only.TurnState(), t_s, read, step.pose, self.rules, self._fitted
        )
        self._turn = state
        rep = now.rep
        begun, reps = self._state.reps_started, self._state.reps
        if rep is not None:
            begun, reps = begun + 1, reps + 1
            rep = replace(rep, number=begun)
        self._state = replace(session.new_setup(self._state), reps_started=begun, reps=reps)
        made = Step(
            t_s=t_s,
            pose=step.pose,
            measures=now.measures,
            phase=now.phase,
            changes=now.changes,
            cues=now.cues,
            rep=rep,
            reps=reps,
        )
        return made, state.reference

    def _new_setup(self) -> None:
        self._state = session.new_setup(self._state)
        self._turn = None
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
        return _idle(step)

    def _move_line(self, steps: int) -> None:
        before_cm = self.rules.ball_line_cm
        now_cm = ball_line.moved(before_cm, steps)
        self._setup = None  # looked at with the line where it was
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
        elif step.phase is Phase.SETUP and reference is not None and self._turn is None:
            self._line = (reference, step.measures.back_gap_cm, False)


def _idle(step: Step) -> Step:
    """Return a step in which nothing is looked for."""
    measures = Measures(t_s=step.t_s)
    return Step(t_s=step.t_s, pose=step.pose, measures=measures, phase=Phase.NOBODY, reps=step.reps)
