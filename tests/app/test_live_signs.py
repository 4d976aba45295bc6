"""Signs by hand in the live mirror: what they do, and that a trace plays them the same."""

from dataclasses import replace

from fakes import FakeEstimator, FakeSource, blank, frames_and_poses, mirror, outcome
from golfer import SETUP, TOP, Script
from signing import signing

from trainer.core.gestures import Sign
from trainer.core.practice_rules import PracticeKind, PracticeRules
from trainer.core.records import Signal
from trainer.core.rules import Rules
from trainer.ports import KeyAction
from trainer.recorder import TraceRecorder
from trainer.replay import replay


def session_with(*parts, hz=30.0):
    """Return frames and poses of parts: a script, or (sign, seconds)."""
    known, frames, start_s = {}, [], 0.0
    for part in parts:
        if isinstance(part, Script):
            given, by_index = frames_and_poses(part)
            made = [by_index[frame.index] for frame in given]
        else:
            made = [signing(part[0])] * int(part[1] * hz)
        for pose in made:
            index = len(frames)
            t_s = start_s + index / hz
            frames.append(blank(t_s, index))
            known[index] = None if pose is None else replace(pose, t_s=t_s)
    return frames, known


def run(*parts, rules=None, recorder=None):
    frames, known = session_with(*parts)
    views = []
    live, sounder, _ = mirror(
        FakeSource(frames),
        FakeEstimator(known),
        rules=rules or Rules(),
        on_step=lambda step, rules: views.append(live._view()),  # what the window could show
        recorder=recorder,
    )
    return outcome(live), sounder, views


def rep(rest_s=1.2):
    return Script().hold(1.5).move(TOP, 0.9).hold(0.3).move(SETUP, 0.5).hold(rest_s)


def still(seconds=0.6):
    return Script().hold(seconds)


def test_a_hand_above_the_head_pauses_and_goes_on_and_the_next_setup_arms_the_rep():
    result, sounder, views = run(rep(), (Sign.HAND_UP, 1.5), rep(), (Sign.HAND_UP, 1.5), rep())
    assert [r.number for r in result.reps] == [1, 2]  # the one in the pause is none
    heard = [signal for signal, _ in sounder.signals]
    assert [s for s in heard if s in (Signal.PAUSED, Signal.RESUMED)] == [
        Signal.PAUSED,
        Signal.RESUMED,
    ]
    assert any(view.practice and view.practice.paused for view in views)


def test_both_arms_out_go_on_to_the_next_practice():
    result, *_ = run(still(), (Sign.HANDS_OUT, 1.5), still(), (Sign.HANDS_OUT, 1.5), still())
    assert result.rules.practice.kind is PracticeKind.TURN_ONLY


def test_both_arms_out_accept_the_silent_check_that_is_offered():
    result, *_ = run(still(), (Sign.HANDS_OUT, 1.5), rep(), rules=Rules(check_offered=True))
    assert result.rules.practice.kind is PracticeKind.FREE
    assert result.reps[0].verdict.kind == "silent_check"


def test_hands_on_the_head_mark_pain_for_the_session():
    result, _, views = run(still(), (Sign.ON_HEAD, 2.0), rep())
    assert result.rules.pain
    assert views[-1].pain
    assert not any("short" in words for words in views[-1].last_rep_words)


def test_a_guess_is_given_by_hand():
    rules = Rules(practice=PracticeRules(guess_first=True))
    for sign, said in (
        (Sign.OUT_LOW, "short"),
        (Sign.OUT_LEVEL, "there"),
        (Sign.HAND_UP, "past"),
    ):
        result, _, views = run(rep(0.4), (sign, 1.5), still(), rules=rules)
        assert any(view.answer.startswith(f"You said {said}") for view in views), said
        assert not any(view.practice and view.practice.paused for view in views)
        assert len(result.reps) == 1


def test_walking_off_is_a_pause_and_coming_back_is_not():
    _, sounder, views = run(rep(), Script().lose(4.0).hold(2.0))
    heard = [signal for signal, _ in sounder.signals]
    assert heard == [Signal.COUNT_1, Signal.PAUSED, Signal.RESUMED]
    assert any("nobody here" in view.practice.headline for view in views if view.practice)


def test_switched_off_no_sign_is_answered():
    rules = Rules(practice=PracticeRules(gestures=False))
    result, sounder, *_ = run(
        still(), (Sign.HAND_UP, 2.0), still(), (Sign.ON_HEAD, 2.0), rep(), rules=rules
    )
    assert len(result.reps) == 1
    assert not result.rules.pain
    assert [signal for signal, _ in sounder.signals] == [Signal.COUNT_1]
    from trainer.engine import Engine

    engine = Engine(Rules())
    engine.act(KeyAction.GESTURES)
    assert not engine.rules.practice.gestures
    assert engine.answer == "Signs by hand off"


def test_a_sign_being_held_is_shown_before_it_is_done():
    _, _, views = run(still(), (Sign.HAND_UP, 0.8), still())
    assert any(view.practice and view.practice.sign for view in views)
    assert not any(view.practice and view.practice.paused for view in views)


def test_signs_need_no_action_in_a_trace_and_play_the_same(tmp_path):
    path = tmp_path / "signs.trace"
    recorder = TraceRecorder(path, Rules(), "stick golfer")
    result, *_ = run(
        rep(), (Sign.HAND_UP, 1.5), still(), (Sign.HAND_UP, 1.5), (Sign.HANDS_OUT, 1.5), rep(),
        recorder=recorder,
    )  # fmt: skip
    recorder.close()
    assert '"action"' not in path.read_text()
    played = replay(path, lambda step, rules: None)
    assert played.whole
    assert played.first_difference_s is None
    assert played.rules == result.rules
    assert played.rules.practice.kind is PracticeKind.CHECKPOINTS


def test_a_sign_being_held_says_what_it_will_do_where_it_is_held():
    def said(*parts, **rules):
        _, _, views = run(*parts, rules=Rules(**rules))
        return {view.practice.sign for view in views if view.practice and view.practice.sign}

    assert said(still(), (Sign.HAND_UP, 0.8)) == {"hand above the head: pause …"}
    paused = said(still(), (Sign.HAND_UP, 1.5), still(), (Sign.HAND_UP, 0.8))
    assert paused == {"hand above the head: pause …", "hand above the head: go on …"}
    guess = PracticeRules(guess_first=True)
    assert said(rep(0.4), (Sign.HAND_UP, 0.8), practice=guess) == {"hand above the head: past …"}
    assert said(still(), (Sign.HANDS_OUT, 0.8)) == {"both hands out: next practice …"}
    offered = said(still(), (Sign.HANDS_OUT, 0.8), check_offered=True)
    assert offered == {"both hands out: silent check …"}


def test_a_hand_thrown_up_in_a_swing_or_at_its_finish_is_no_sign_and_the_rep_counts():
    back = Script().hold(1.5).move(TOP, 0.9).hold(0.2)
    result, sounder, views = run(back, (Sign.HAND_UP, 1.6), still(1.5), rep())
    assert [r.number for r in result.reps] == [1, 2]
    assert Signal.PAUSED not in [signal for signal, _ in sounder.signals]
    assert not any(view.practice and view.practice.paused for view in views)
