"""What the live mirror does when camera, model, sound, disk or window fail."""

import threading
import time

import pytest
from fakes import (
    FakeEstimator,
    FakeScreen,
    FakeSounder,
    FakeSource,
    OneSlotSource,
    Word,
    blank,
    frames_and_poses,
    good_reps,
    mirror,
    mirror_threads,
    outcome,
    two_faults,
    wait_for,
)
from golfer import View

from trainer.core.records import Phase
from trainer.errors import CameraError, PoseError, ScreenError
from trainer.ports import KeyAction, SourceState

NO_CAMERA = CameraError("camera 7 did not open. A camera was wanted. Try --camera 0.")
NO_MODEL = PoseError("the model is damaged. A whole file was wanted. Fetch it again.")


@pytest.mark.parametrize("wait_for_pose", [True, False])
def test_a_source_that_cannot_be_opened_ends_the_run_with_its_own_words(wait_for_pose):
    source, estimator = FakeSource([], cannot_open=NO_CAMERA), FakeEstimator({})
    live, _, _ = mirror(source, estimator, wait_for_pose=wait_for_pose)
    with pytest.raises(CameraError) as caught:
        outcome(live)
    assert caught.value is NO_CAMERA
    assert source.closed.is_set()
    assert mirror_threads() == []


@pytest.mark.parametrize("wait_for_pose", [True, False])
def test_a_model_that_cannot_be_loaded_ends_the_run_and_closes_the_camera(wait_for_pose):
    def load():
        raise NO_MODEL

    source = OneSlotSource()  # would wait for pictures for ever
    live, _, _ = mirror(source, load, wait_for_pose=wait_for_pose)
    with pytest.raises(PoseError) as caught:
        outcome(live)
    assert caught.value is NO_MODEL
    assert source.closed.is_set()
    assert source.opened == (0 if wait_for_pose else source.opened)
    assert mirror_threads() == []


def test_a_model_that_fails_in_the_middle_ends_the_run_and_closes_everything():
    frames, known = frames_and_poses(good_reps(1))

    def fail(frame):
        if frame.index == 50:
            raise NO_MODEL

    source, estimator = FakeSource(frames), FakeEstimator(known, before=fail)
    live, _, _ = mirror(source, estimator)
    with pytest.raises(PoseError) as caught:
        outcome(live)
    assert caught.value is NO_MODEL
    assert estimator.seen == list(range(50))
    assert source.closed.is_set()
    assert estimator.closed.is_set()
    assert mirror_threads() == []


def test_a_model_that_comes_after_the_end_is_closed_by_its_own_thread(monkeypatch):
    monkeypatch.setattr("trainer.app.JOIN_S", 0.05)
    may_load = threading.Event()
    estimator = FakeEstimator({})

    def load():
        wait_for(may_load)
        return estimator

    live, _, _ = mirror(FakeSource([blank(0.0, 0)]), load, wait_for_pose=False)
    outcome(live)
    assert not estimator.closed.is_set()
    may_load.set()
    wait_for(estimator.closed)


def test_a_window_that_fails_ends_the_run_and_closes_everything():
    frames, known = frames_and_poses(two_faults())

    def fail(view):
        if view.step is not None:
            raise ScreenError("the window is gone. An open window was wanted. Try again.")

    source, estimator = FakeSource(frames), FakeEstimator(known)
    live, _, _ = mirror(source, estimator, screen=FakeScreen(fail))
    with pytest.raises(ScreenError):
        outcome(live)
    assert source.closed.is_set()
    assert estimator.closed.is_set()
    assert mirror_threads() == []


def test_ctrl_c_closes_everything_and_is_passed_on():
    def pressed(view):
        if view.step is not None:
            raise KeyboardInterrupt

    source, estimator = OneSlotSource(), FakeEstimator({0: None})
    source.push(blank(0.0, 0))
    live, _, _ = mirror(source, estimator, screen=FakeScreen(pressed))
    with pytest.raises(KeyboardInterrupt):
        outcome(live)
    assert source.closed.is_set()
    assert estimator.closed.is_set()
    assert mirror_threads() == []


def test_quitting_stops_although_no_picture_ever_comes():
    source, estimator, screen = OneSlotSource(), FakeEstimator({}), FakeScreen()
    screen.ask(KeyAction.QUIT)
    live, _, _ = mirror(source, estimator, screen=screen, wait_for_pose=False)
    result = outcome(live)
    assert result.quit_asked
    assert result.reps == ()
    assert source.closed.is_set()
    assert mirror_threads() == []


def test_quitting_stops_although_the_model_hangs(monkeypatch):
    monkeypatch.setattr("trainer.app.JOIN_S", 0.05)
    hangs, go_on = threading.Event(), threading.Event()
    screen = FakeScreen()

    def hang(frame):
        screen.ask(KeyAction.QUIT)
        hangs.set()
        wait_for(go_on)

    source, estimator = FakeSource([blank(0.0, 0)]), FakeEstimator({0: None}, before=hang)
    live, _, _ = mirror(source, estimator, screen=screen)
    result = outcome(live)
    assert hangs.is_set()
    assert result.quit_asked
    assert source.closed.is_set()
    # A model in use by a thread that hangs is left alone: freeing it there would crash.
    assert not estimator.closed.is_set()
    go_on.set()
    deadline = time.monotonic() + 10
    while mirror_threads() and time.monotonic() < deadline:
        time.sleep(0.01)
    assert mirror_threads() == []


def test_the_end_of_a_clip_ends_the_run_by_itself():
    frames, known = frames_and_poses(good_reps(1))
    source, estimator = FakeSource(frames), FakeEstimator(known)
    live, _, _ = mirror(source, estimator)
    assert not outcome(live).quit_asked
    assert source.closed.is_set()
    assert estimator.closed.is_set()
    assert mirror_threads() == []


@pytest.mark.parametrize("state", [SourceState.STALLED, SourceState.LOST])
def test_a_camera_in_trouble_says_so_on_the_glass_and_the_run_goes_on(state):
    frames, known = frames_and_poses(good_reps(1))
    words = "camera 0 sends nothing. Check the cable."
    shown = threading.Event()

    def on_view(view):
        if words in view.notices:
            shown.set()

    source = FakeSource(
        [*frames[:90], Word(state, words), lambda: wait_for(shown)]
        + [Word(SourceState.RUNNING), *frames[90:]]
    )
    live, _, _ = mirror(source, FakeEstimator(known), screen=FakeScreen(on_view))
    result = outcome(live)
    assert shown.is_set()
    assert result.frames == len(frames)
    assert words not in live._view().notices


def test_a_lost_camera_that_returns_goes_on_counting_reps():
    frames, known = frames_and_poses(good_reps(1))
    count, away_s = len(frames), 60.0
    later, later_known = frames_and_poses(good_reps(1), View(start_s=frames[-1].t_s + away_s))
    later = [blank(frame.t_s, count + i) for i, frame in enumerate(later)]
    known |= {count + i: pose for i, pose in later_known.items()}
    steps = []
    source = FakeSource(
        [*frames, Word(SourceState.LOST, "camera 0 was lost."), Word(SourceState.RUNNING), *later]
    )
    live, _, _ = mirror(
        source, FakeEstimator(known), on_step=lambda step, rules: steps.append(step)
    )
    result = outcome(live)
    assert [(rep.number, rep.complete) for rep in result.reps] == [(1, True), (2, True)]
    assert live._view().reps == 2
    # Nothing is known of the player after so long: the setup of before is not carried on.
    assert steps[count].phase is Phase.NOBODY
    assert steps[count].reps == 1


def test_a_camera_lost_in_the_backswing_gives_a_rep_not_seen_to_the_end():
    frames, known = frames_and_poses(good_reps(1))
    top = next(i for i, frame in enumerate(frames) if frame.t_s > 2.8)
    late = blank(frames[top].t_s + 20.0, top)
    source = FakeSource(
        [*frames[:top], Word(SourceState.LOST, "lost"), Word(SourceState.RUNNING), late]
    )
    live, _, _ = mirror(source, FakeEstimator(known))
    (rep,) = outcome(live).reps
    assert not rep.complete
    assert live._view().reps == 0
    assert live._view().last_rep_words == ("Rep not seen to the end",)


def test_pictures_whose_time_stands_still_are_left_out():
    frames, known = frames_and_poses(good_reps(1))
    doubled = [twin for frame in frames for twin in (frame, frame)]
    steps = []
    live, _, _ = mirror(
        FakeSource(doubled), FakeEstimator(known), on_step=lambda step, rules: steps.append(step)
    )
    result = outcome(live)
    assert [step.t_s for step in steps] == [frame.t_s for frame in frames]
    assert len(result.reps) == 1


@pytest.mark.parametrize("trouble", ["", "No sound: plug in a speaker. Then start again."])
def test_a_sounder_nobody_hears_shows_as_a_notice(trouble):
    sounder = FakeSounder(audible=False, trouble=trouble)
    live, _, screen = mirror(FakeSource([]), FakeEstimator({}), sounder=sounder)
    outcome(live)
    assert any(notice.startswith("No sound") for notice in screen.notices)


def test_a_sounder_that_works_needs_no_words():
    live, _, screen = mirror(FakeSource([]), FakeEstimator({}))
    outcome(live)
    assert not any("ound" in notice for notice in screen.notices)


def test_what_the_model_says_about_who_is_followed_is_shown():
    words = "Two people: the nearer one is followed."
    live, _, _ = mirror(FakeSource([blank(0.0, 0)]), FakeEstimator({0: None}, notice=words))
    outcome(live)
    assert words in live._view().notices


def test_hands_that_go_the_wrong_way_are_said_on_the_glass():
    frames, known = frames_and_poses(good_reps(1), View())
    shape = next(pose.size_wh for pose in known.values())
    for pose in known.values():  # as from a camera that mirrors its picture
        pose.image_px[:, 0] = shape[0] - pose.image_px[:, 0]
        pose.image_px[:] = pose.image_px[_SWAPPED]
        pose.world_m[:, 0] *= -1
        pose.world_m[:] = pose.world_m[_SWAPPED]
    live, sounder, _ = mirror(FakeSource(frames), FakeEstimator(known))
    assert outcome(live).reps == ()
    assert any("--mirrored" in notice for notice in live._view().notices)
    assert sounder.played == []


#: Left and right changed over, in the order of the 33 points.
_SWAPPED = [0, 4, 5, 6, 1, 2, 3, 8, 7, 10, 9] + [i + 1 if i % 2 else i - 1 for i in range(11, 33)]
