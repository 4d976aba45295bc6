"""What the player asks for with a key reaches the core, the sounder and the glass."""

import threading

from fakes import (
    FRONT,
    FakeEstimator,
    FakeScreen,
    FakeSource,
    Word,
    frames_and_poses,
    good_reps,
    mirror,
    outcome,
    two_faults,
    wait_for,
)
from golfer import SETUP, Body, Script, View

from trainer.core.records import CueKind, Handed, Phase
from trainer.ports import KeyAction, SourceState


def asking(script, at_s, *actions, view=FRONT, **given):
    """Return (mirror, sounder, screen, steps) of a run in which ``actions`` come at ``at_s``."""
    frames, known = frames_and_poses(script, view)
    at = next(i for i, frame in enumerate(frames) if frame.t_s >= at_s)
    screen, steps = FakeScreen(), []

    def ask():
        taken = threading.Event()
        screen._on_view = lambda view: taken.set() if not screen._actions else None
        screen.ask(*actions)
        wait_for(taken)

    live, sounder, _ = mirror(
        FakeSource([*frames[:at], ask, *frames[at:]]),
        FakeEstimator(known),
        screen=screen,
        on_step=lambda step, rules: steps.append((step, rules)),
        **given,
    )
    return live, sounder, screen, steps


def test_a_new_setup_is_looked_for_when_asked():
    live, _, _, steps = asking(good_reps(1), 1.5, KeyAction.NEW_SETUP)
    result = outcome(live)
    phases = [step.phase for step, _ in steps]
    before, after = phases[:45], phases[45:]
    assert before[-1] is Phase.SETUP
    assert after[0] is Phase.NOBODY
    assert Phase.SETUP not in after[:10]
    assert result.reps == ()  # 0.5 s before the takeaway is too short for a setup


def test_a_new_setup_keeps_the_reps_counted_so_far():
    live, _, _, _ = asking(good_reps(2), 4.5, KeyAction.NEW_SETUP)
    result = outcome(live)
    assert [rep.number for rep in result.reps] == [1, 2]
    assert live._view().reps == 2


def test_switching_hands_looks_for_the_other_side():
    live, sounder, _, steps = asking(
        two_faults(), 0.3, KeyAction.SWITCH_HANDED, view=View(handed=Handed.LEFT)
    )
    result = outcome(live)
    assert result.rules.handed is Handed.LEFT
    assert live._view().handed_left
    assert len(result.reps) == 1
    assert {cue.side.value for cue, _ in sounder.played if cue.side} == {"away"}
    assert steps[-1][1].handed is Handed.LEFT


def test_the_pose_model_is_told_at_once_which_way_the_player_swings():
    live, _, _, steps = asking(good_reps(1), 1.5, KeyAction.SWITCH_HANDED)
    outcome(live)
    told = live._estimator.told
    assert told == [rules.handed for _, rules in steps]
    assert set(told) == {Handed.LEFT, Handed.RIGHT}


def test_switching_hands_twice_is_as_before():
    live, _, _, _ = asking(good_reps(1), 0.3, KeyAction.SWITCH_HANDED, KeyAction.SWITCH_HANDED)
    result = outcome(live)
    assert result.rules.handed is Handed.RIGHT
    assert len(result.reps) == 1


def test_switching_hands_forgets_the_setup_of_the_other_hand():
    live, _, _, steps = asking(good_reps(1), 1.5, KeyAction.SWITCH_HANDED)
    outcome(live)
    phases = [step.phase for step, _ in steps]
    assert phases[44] is Phase.SETUP
    assert phases[45] is Phase.NOBODY
    assert Phase.SETUP not in phases[45:60]


def test_pain_marked_twice_is_still_pain():
    live, sounder, _, _ = asking(good_reps(1), 0.3, KeyAction.PAIN, KeyAction.PAIN)
    assert outcome(live).rules.pain
    assert sounder.played == []


def test_after_pain_nothing_asks_for_turn_again():
    live, sounder, _, steps = asking(two_faults(), 0.3, KeyAction.PAIN)
    result = outcome(live)
    assert result.rules.pain
    assert live._view().pain
    assert CueKind.TURN_REACHED not in sounder.kinds
    # A drift is still told: to move less is never harmful advice.
    assert {CueKind.HEAD_OUT, CueKind.HIPS_OUT} == set(sounder.kinds)
    assert steps[-1][1].pain


def test_pain_holds_after_a_new_setup_and_after_switching_hands():
    live, _, _, _ = asking(
        good_reps(1), 0.3, KeyAction.PAIN, KeyAction.NEW_SETUP, KeyAction.SWITCH_HANDED
    )
    assert outcome(live).rules.pain


def test_pain_in_the_middle_of_a_backswing_stops_the_turn_cue_of_that_rep():
    live, sounder, _, _ = asking(two_faults(), 2.4, KeyAction.PAIN)
    outcome(live)
    assert CueKind.TURN_REACHED not in sounder.kinds


def test_after_pain_no_words_of_a_rep_ask_for_turn():
    short = Body(arc_deg=150.0, turn_deg=50.0, hip_turn_deg=25.0)
    script = Script().hold(2.0).move(short, 1.0).hold(0.5).move(SETUP, 0.5).hold(1.5)
    live, _, _, _ = asking(script, 0.3, KeyAction.FULL_SCREEN)
    outcome(live)
    assert any("short" in words for words in live._view().last_rep_words)
    live, _, _, _ = asking(script, 0.3, KeyAction.PAIN)
    outcome(live)
    assert not any("short" in words for words in live._view().last_rep_words)


def test_muting_silences_the_cues_and_says_so_and_unmuting_brings_them_back():
    live, sounder, screen, _ = asking(two_faults(), 0.3, KeyAction.MUTE)
    result = outcome(live)
    assert sounder.played == []
    assert "Sound off." in screen.notices
    assert live._view().muted
    assert len(result.reps[0].cues) == 3  # still decided, shown and kept
    live, sounder, _, _ = asking(two_faults(), 0.3, KeyAction.MUTE, KeyAction.MUTE)
    outcome(live)
    assert len(sounder.played) == 3
    assert not live._view().muted


def test_what_is_asked_for_while_the_camera_is_lost_is_followed_at_once():
    frames, known = frames_and_poses(good_reps(1))
    screen, shown = FakeScreen(), threading.Event()
    screen._on_view = lambda view: shown.set() if view.pain else None
    asked = []

    class Lost(FakeSource):
        def get(self, timeout_s):
            # No picture comes until the glass says that pain was marked.
            if asked and not shown.is_set():
                shown.wait(0.005)
                return None
            return super().get(timeout_s)

    def ask():
        asked.append(True)
        screen.ask(KeyAction.PAIN)

    source = Lost(
        [*frames[:30], ask, Word(SourceState.LOST, "lost"), Word(SourceState.RUNNING), *frames[30:]]
    )
    live, _, _ = mirror(source, FakeEstimator(known), screen=screen)
    result = outcome(live)
    assert shown.is_set()
    assert result.rules.pain
    assert len(result.reps) == 1
