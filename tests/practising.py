"""Runs the stick golfer through session and practice together, as the engine does."""

from dataclasses import dataclass, replace

from golfer import View, poses

from trainer.core import practice, session
from trainer.core.rules import Rules


@dataclass(frozen=True)
class Practised:
    """What session and practice made of a script."""

    steps: tuple
    states: tuple  # the practice after each step
    references: tuple

    @property
    def verdicts(self):
        return [step.rep.verdict for step in self.steps if step.rep is not None]

    @property
    def signals(self):
        return [signal for step in self.steps for signal in step.signals]

    @property
    def signal_times(self):
        return [(signal, step.t_s) for step in self.steps for signal in step.signals]

    @property
    def told(self):
        return [cue.kind for step in self.steps for cue in step.told]

    @property
    def cues(self):
        return [cue.kind for step in self.steps for cue in step.cues]

    @property
    def last(self):
        return self.states[-1]


FRONT = View()


def practise(script, view=FRONT, *, rules=None, state=None, pairs=None, **practice_rules):
    """Run a script with ``practice_rules`` put over the defaults."""
    rules = replace(rules or Rules(), handed=view.handed)
    rules = replace(rules, practice=replace(rules.practice, **practice_rules))
    core = session.SessionState()
    state = practice.begun(rules) if state is None else state
    steps, states, references = [], [], []
    for t_s, pose in poses(script, view) if pairs is None else pairs:
        core, step = session.step(core, t_s, pose, rules)
        state, step = practice.step(state, step, core.reference, rules)
        steps.append(step)
        states.append(state)
        references.append(core.reference)
    return Practised(tuple(steps), tuple(states), tuple(references))
