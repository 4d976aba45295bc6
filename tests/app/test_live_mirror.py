"""The live mirror's way from a picture to a cue, with stand-ins for everything outside."""

import threading

import numpy as np
import pytest
from fakes import (
    GENEROUS_S,
    FakeClock,
    FakeEstimator,
    FakeScreen,
    FakeSounder,
    FakeSource,
    OneSlotSource,
    blank,
    frames_and_poses,
    good_reps,
    mirror,
    mirror_threads,
    outcome,
    two_faults,
    wait_for,
)
from golfer import SETUP, Body, Script, View, play, rep_script

from trainer.core.records import CueKind, Handed, Phase, Side
from trainer.core.rules import CueRules, Rules
from trainer.ports import KeyAction


def test_the_mirror_says_what_the_core_says():
    script, _ = rep_script(hold_s=0.5)
    frames, known = frames_and_poses(script)
    steps = []
    live, _, _ = mirror(
        FakeSource(frames), FakeEstimator(known), on_step=lambda step, rules: steps.append(step)
    )
    result = outcome(live)
    expected = play(script)
    changes = [change for step in steps for change in step.changes]
    assert [change.phase for change in changes] == expected.phases
    assert [c.t_s for c in changes] == pytest.approx([c.t_s for c in expected.changes], abs=0.02)
    whole_rep = [Phase.SETUP, Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP, Phase.AFTER]
    assert expected.phases[:6] == [Phase.WAITING, *whole_rep]
    assert len(steps) == result.frames == len(frames)


def test_a_rep_is_counted_shown_and_put_into_words():
    frames, known = frames_and_poses(good_reps(2))
    live, _, screen = mirror(FakeSource(frames), FakeEstimator(known), screen=FakeScreen())
    result = outcome(live)
    assert [(rep.number, rep.complete) for rep in result.reps] == [(1, True), (2, True)]
    assert not result.quit_asked
    seen = [view.reps for view in screen.views]
    assert seen == sorted(seen)
    after = [view for view in screen.views if view.last_rep is not None]
    assert all(view.last_rep_words for view in after)


def test_the_last_view_of_a_rep_carries_its_own_words():
    frames, known = frames_and_poses(two_faults())
    live, _, _ = mirror(FakeSource(frames), FakeEstimator(known))
    (rep,) = outcome(live).reps
    view = live._view()
    assert view.last_rep is rep
    assert any("away from the target" in words for words in view.last_rep_words)
    assert view.reps == 1


def test_the_screen_judges_the_turn_by_the_same_rules_as_the_tone():
    cues = CueRules(turn_confidence=95.0, turn_hysteresis_deg=4.0)
    live, _, _ = mirror(FakeSource([]), FakeEstimator({}), rules=Rules(cues=cues))
    view = live._view()
    assert (view.turn_confidence, view.turn_hysteresis_deg) == (95.0, 4.0)


def test_each_cue_goes_to_the_sounder_once_with_its_side():
    frames, known = frames_and_poses(two_faults())
    live, sounder, _ = mirror(
        FakeSource(frames),
        FakeEstimator(known),
        pan_of=lambda cue, handed: 0.5 if handed is Handed.RIGHT else -0.5,
    )
    result = outcome(live)
    assert sorted(sounder.kinds) == sorted(CueKind)
    assert all(pan == 0.5 for _, pan in sounder.played)
    sides = {cue.kind: cue.side for cue, _ in sounder.played}
    assert sides == {
        CueKind.TURN_REACHED: None,
        CueKind.HEAD_OUT: Side.AWAY,
        CueKind.HIPS_OUT: Side.AWAY,
    }
    assert [cue for cue, _ in sounder.played] == list(result.reps[0].cues)


def test_two_cues_decided_by_the_same_picture_both_sound():
    slow = View(hz=10.0)

    def with_head_off(cm):
        both = Body(arc_deg=150.0, turn_deg=90.0, hip_turn_deg=45.0, head_cm=cm)
        return Script().hold(2.0).move(both, 1.0).hold(0.5).move(SETUP, 0.5)

    # The head that leaves its place in just the picture in which the turn is reached.
    scripts = (with_head_off(5.0 + 0.1 * tenth) for tenth in range(30))
    script = next(s for s in scripts if 2 in [len(step.cues) for step in play(s, slow).steps])
    frames, known = frames_and_poses(script, slow)
    live, sounder, _ = mirror(FakeSource(frames), FakeEstimator(known))
    outcome(live)
    assert sorted(sounder.kinds) == [CueKind.HEAD_OUT, CueKind.TURN_REACHED]


def test_a_left_handers_drifts_have_the_same_sides():
    frames, known = frames_and_poses(two_faults(), View(handed=Handed.LEFT))
    handed_seen = set()
    live, sounder, _ = mirror(
        FakeSource(frames),
        FakeEstimator(known),
        rules=Rules(handed=Handed.LEFT),
        pan_of=lambda cue, handed: handed_seen.add(handed) or 0.0,
    )
    outcome(live)
    assert {cue.side for cue, _ in sounder.played} == {None, Side.AWAY}
    assert handed_seen == {Handed.LEFT}


def test_a_good_rep_hears_only_that_the_turn_is_reached():
    frames, known = frames_and_poses(good_reps(1))
    live, sounder, _ = mirror(FakeSource(frames), FakeEstimator(known))
    outcome(live)
    assert sounder.kinds == [CueKind.TURN_REACHED]


def test_a_blocked_screen_does_not_hold_up_the_cues():
    frames, known = frames_and_poses(two_faults())
    sounder = FakeSounder(enough=3)

    def blocked(view):
        if view.step is not None:
            # Drawing hangs until every cue has sounded: if sound waited for the screen, neither
            # would ever come.
            wait_for(sounder.heard)

    live, _, screen = mirror(
        FakeSource(frames), FakeEstimator(known), sounder=sounder, screen=FakeScreen(blocked)
    )
    result = outcome(live)
    assert len(sounder.played) == 3
    assert len(screen.views) < len(frames)
    assert result.frames == len(frames)


def test_a_slow_model_gets_the_newest_picture():
    source = OneSlotSource()
    looking, go_on = threading.Event(), threading.Event()

    def slow(frame):
        if frame.index == 0:
            looking.set()
            wait_for(go_on)

    estimator = FakeEstimator(dict.fromkeys(range(10)), before=slow)
    steps = []

    def on_step(step, rules):
        steps.append(step.t_s)
        if len(steps) == 2:
            source.end()

    live, _, _ = mirror(source, estimator, on_step=on_step)

    def camera():
        source.push(blank(0.0, 0))
        wait_for(looking)
        for index in range(1, 10):
            source.push(blank(index / 30, index))
        go_on.set()

    pusher = threading.Thread(target=camera, daemon=True)
    pusher.start()
    result = outcome(live)
    pusher.join(GENEROUS_S)
    assert estimator.seen == [0, 9]
    assert (result.frames, result.dropped) == (2, 8)


def test_pictures_are_shown_while_the_model_loads_and_read_once_it_came():
    frames, known = frames_and_poses(two_faults())
    may_load = threading.Event()

    def load():
        wait_for(may_load)
        return estimator

    estimator = FakeEstimator(known)

    def on_view(view):
        # The first picture is on the glass before there is any model.
        if view.image_rgb is not None:
            may_load.set()

    def model_is_there():
        while live._estimator is None:
            assert may_load.wait(GENEROUS_S)

    screen = FakeScreen(on_view)
    live, sounder, _ = mirror(
        FakeSource([*frames[:5], model_is_there, *frames[5:]]),
        load,
        screen=screen,
        wait_for_pose=False,
    )
    result = outcome(live)
    loading = [view for view in screen.views if "Loading the pose model." in view.notices]
    assert any(view.image_rgb is not None for view in loading)
    assert all(view.step is None for view in loading)
    assert estimator.seen == list(range(5, len(frames)))
    assert len(sounder.played) == 3
    assert result.frames == len(frames)


def test_a_clip_waits_for_the_model_so_none_of_it_is_missed():
    frames, known = frames_and_poses(good_reps(1))
    source, estimator = FakeSource(frames), FakeEstimator(known)
    told = threading.Event()

    def load():
        wait_for(told)
        assert source.opened == 0
        return estimator

    def on_view(view):
        if "Loading the pose model." in view.notices:
            told.set()

    live, _, _ = mirror(source, load, screen=FakeScreen(on_view), wait_for_pose=True)
    result = outcome(live)
    assert estimator.seen == list(range(len(frames)))
    assert len(result.reps) == 1


def test_the_caution_goes_by_itself_and_is_not_shown_unasked():
    clock = FakeClock()
    live, _, _ = mirror(FakeSource([]), FakeEstimator({}), show_caution=True, clock=clock)
    assert live._view().caution
    clock.t_s += 14.9
    assert live._view().caution
    clock.t_s += 0.2
    assert not live._view().caution
    live, _, _ = mirror(FakeSource([]), FakeEstimator({}), clock=clock)
    assert not live._view().caution


def test_delay_and_rate_are_measured_from_the_pictures_own_stamps():
    clock = FakeClock()
    frames, known = frames_and_poses(good_reps(1))

    def tick(frame):
        clock.t_s += 0.05

    live, _, _ = mirror(FakeSource(frames), FakeEstimator(known, before=tick), clock=clock)
    result = outcome(live)
    view = live._view()
    # The stand-in's clock is always 40 ms past the picture's stamp, and a pose takes 50 ms.
    assert view.cue_delay_ms == pytest.approx(40.0)
    assert result.delays_ms == pytest.approx([40.0] * len(frames))
    assert view.fps == pytest.approx(20.0)


def test_nothing_is_shown_for_what_was_not_measured_yet():
    live, _, screen = mirror(FakeSource([blank(0.0, 0)]), FakeEstimator({0: None}))
    outcome(live)
    first = screen.views[0]
    assert first.image_rgb is None
    assert first.step is None
    assert first.cue_delay_ms is None
    assert first.fps is None


def test_the_picture_on_the_glass_is_the_one_from_the_camera():
    frame = blank(0.0, 0)
    live, _, _ = mirror(FakeSource([frame]), FakeEstimator({0: None}))
    outcome(live)
    assert np.shares_memory(live._view().image_rgb, frame.image_rgb)


def test_a_view_is_handed_out_at_each_move_cue_and_rep_for_saving():
    frames, known = frames_and_poses(two_faults())
    kept = []
    live, _, _ = mirror(
        FakeSource(frames),
        FakeEstimator(known),
        on_view=lambda view, step: kept.append((view, step)),
    )
    outcome(live)
    assert all(view.step is step for view, step in kept)
    phases = [change.phase for _, step in kept for change in step.changes]
    assert phases == play(two_faults()).phases
    assert sum(len(step.cues) for _, step in kept) == 3
    assert sum(step.rep is not None for _, step in kept) == 1
    assert all(step.changes or step.cues or step.rep for _, step in kept)


def test_closing_the_window_during_a_rep_keeps_that_rep_as_not_complete():
    frames, known = frames_and_poses(two_faults())
    half = next(i for i, frame in enumerate(frames) if frame.t_s > 2.7)
    screen = FakeScreen()

    def close_window():
        screen.ask(KeyAction.QUIT)
        # The camera hangs until the mirror was told to stop, so the rest is never played.
        wait_for(live._stop)

    source = FakeSource([*frames[:half], close_window, *frames[half:]])
    live, _, _ = mirror(source, FakeEstimator(known), screen=screen)
    result = outcome(live)
    assert result.quit_asked
    (rep,) = result.reps
    assert not rep.complete
    assert rep.top_t_s is None
    assert rep.takeaway_t_s == pytest.approx(2.0, abs=0.1)
    assert source.closed.is_set()
    assert mirror_threads() == []
