"""Made-up readings for the tests of the cues, and what is heard of them."""

from trainer.core import cues
from trainer.core.records import Measures, Phase
from trainer.core.rules import CueRules

RULES = CueRules()


def sounded(readings, rules=RULES, *, phase=Phase.BACKSWING, pain=False, state=None):
    """Run (t_s, measures by name) through the cues; return (cues, last state)."""
    state = state or cues.CueState()
    heard = []
    for t_s, values in readings:
        now = Measures(t_s=t_s, **values)
        state, new = cues.step(state, now, phase, rules, pain=pain)
        for cue in new:
            assert cue.t_s <= cue.decided_t_s == t_s
            assert 0.0 <= cue.strength <= 1.0
        heard.extend(new)
    return heard, state


def series(name, values, step_s=0.1):
    return [(i * step_s, {name: v} if v is not None else {}) for i, v in enumerate(values)]


def turning(values, se=None, step_s=1 / 30):
    """Return readings of the turn, one a picture, with their standard errors."""
    errors = se if isinstance(se, list) else [se] * len(values)
    return [
        (i * step_s, {"shoulder_turn_deg": v, "shoulder_turn_se_deg": e} if v is not None else {})
        for i, (v, e) in enumerate(zip(values, errors, strict=True))
    ]
