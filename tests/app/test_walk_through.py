"""A practice from walking up to walking off, without a key: what is counted, told and sounded."""

from golfer import SETUP, TOP, Body, Script
from situations import tee_a_ball, waggle, walk_in_trail_side
from test_live_signs import run

from trainer.core.gestures import Sign
from trainer.core.practice_rules import CueSchedule, PracticeKind, PracticeRules
from trainer.core.records import CueKind, Signal
from trainer.core.rules import Rules

SHORT = Body(arc_deg=130.0, turn_deg=55.0, hip_turn_deg=25.0)
HEAD_OFF = Body(arc_deg=150.0, turn_deg=90.0, hip_turn_deg=45.0, head_cm=9.0)


def reps(*tops, back_s=0.9):
    """Return a script of one rep for each top, back to address in between."""
    script = Script()
    for top in tops:
        script.hold(1.4).move(top, back_s).hold(0.25).move(SETUP, 0.5).hold(0.5)
    return script.hold(0.8)


def walk_in():
    script = Script(Body(walk_cm=200))
    walk_in_trail_side(script)
    tee_a_ball(script)
    return waggle(script).hold(0.4)


def test_a_golfer_at_home_makes_ten_reps_rests_and_goes_home_without_a_key():
    good_and_bad = [TOP, SHORT, TOP, HEAD_OFF, TOP]
    result, sounder, views = run(
        walk_in(),
        reps(*good_and_bad),
        (Sign.HAND_UP, 1.4),  # talks to somebody; swings about in the pause
        reps(TOP, TOP),
        (Sign.HAND_UP, 1.4),
        reps(*good_and_bad),
        Script().lose(5.0),
        rules=Rules(practice=PracticeRules(cues=CueSchedule.ALTERNATE)),
    )
    made = result.reps
    assert [rep.number for rep in made] == list(range(1, 11))
    assert [rep.verdict.good for rep in made] == [True, False, True, False, True] * 2
    assert [rep.verdict.told for rep in made] == [True, False] * 5
    # the head of the fourth and ninth rep: only the ninth was told
    assert sounder.kinds.count(CueKind.HEAD_OUT) == 1
    cues = [[cue.kind for cue in rep.cues] for rep in made]
    assert sum(CueKind.HEAD_OUT in kinds for kinds in cues) == 2
    heard = [signal.value for signal, _ in sounder.signals]
    assert [name for name in heard if name.startswith("count")] == [
        f"count_{n}" for n in range(1, 11)
    ]
    others = [name for name in heard if not name.startswith("count")]
    assert others == ["paused", "resumed", "paused"]
    assert views[-1].practice.headline == "Paused: nobody here"
    shown = {view.practice.line for view in views if view.practice}
    assert any("on your own" in line for line in shown)


def test_a_golfer_goes_through_every_kind_by_hand_and_back_to_free_reps():
    parts = []
    for _ in PracticeKind:
        parts += [reps(TOP), (Sign.HANDS_OUT, 1.4)]
    result, sounder, _ = run(*parts, reps(TOP))
    kinds = [rep.verdict.kind for rep in result.reps]
    # turn only wants the hands on the chest, so a swing makes no rep of it
    assert kinds == ["free", "checkpoints", "centred", "ladder", "free"]
    assert [signal for signal, _ in sounder.signals].count(Signal.NEXT_KIND) == len(PracticeKind)
    assert result.rules.practice.kind is PracticeKind.FREE


def test_pain_in_the_middle_ends_all_asking_for_turn_in_every_kind():
    rules = Rules(practice=PracticeRules(guess_first=True))
    result, sounder, views = run(reps(SHORT), (Sign.ON_HEAD, 2.0), reps(SHORT, TOP), rules=rules)
    assert result.rules.pain
    after = result.reps[1:]
    assert [rep.verdict.good for rep in after] == [True, True]
    assert not any("short" in line for rep in after for line in rep.verdict.lines)
    assert CueKind.TURN_REACHED not in [cue.kind for rep in after for cue in rep.cues]
    assert views[-1].pain
    assert not any("How far" in view.practice.headline for view in views[-60:])
    assert CueKind.TURN_REACHED not in sounder.kinds
