"""Traces on disk: what is recorded plays back to the same result, and damage is said."""

import contextlib
import gc
import json
import os
import sys
import threading
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
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
from golfer import TOP, Script, View, with_trunk
from hypothesis import given, settings
from hypothesis import strategies as st
from tag_swing import Dressed, as_read, in_sight

from trainer.core.records import Handed, Source
from trainer.core.rules import CueRules, Rules
from trainer.core.tag_pose import TagsRead
from trainer.core.trace import result_of
from trainer.errors import TraceError, TrainerError
from trainer.ports import KeyAction, SourceState
from trainer.recorder import TraceRecorder
from trainer.replay import replay

needs_full_disk = pytest.mark.skipif(
    not Path("/dev/full").exists(), reason="/dev/full, a disk that is always full, is Linux only"
)


def record(path, script, *, rules=None, view=FRONT, ask_at_s=None, actions=(), gap=(), each=None):
    """Run the mirror with a recorder over ``script``; return (its result, its steps).

    ``actions`` are asked for at ``ask_at_s``, and followed before ``gap`` is played. ``each``
    changes every pose.
    """
    rules = rules or Rules(handed=view.handed)
    frames, known = frames_and_poses(script, view)
    if each is not None:
        known = {index: None if pose is None else each(pose) for index, pose in known.items()}
    screen, steps = FakeScreen(), []
    items = list(frames)
    if ask_at_s is not None:
        at = next(i for i, frame in enumerate(frames) if frame.t_s >= ask_at_s)

        def ask():
            taken = threading.Event()
            screen._on_view = lambda view: None if screen._actions else taken.set()
            screen.ask(*actions)
            wait_for(taken)

        items[at:at] = [ask, *gap]
    recorder = TraceRecorder(path, rules, "pretend camera")
    live, _, _ = mirror(
        FakeSource(items),
        FakeEstimator(known),
        screen=screen,
        rules=rules,
        recorder=recorder,
        on_step=lambda step, rules: steps.append(step),
    )
    try:
        result = outcome(live)
    finally:
        recorder.close()
    assert recorder.trouble == ""
    return result, steps


def played(path):
    """Return (the replay's result, its steps)."""
    steps = []
    result = replay(path, lambda step, rules: steps.append(step))
    return result, steps


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The bytes of a small whole trace."""
    path = tmp_path_factory.mktemp("trace") / "whole.trace"
    record(path, two_faults(), view=View(hz=15.0))
    return path.read_bytes()


@pytest.mark.parametrize(
    ("view", "rules"),
    [
        (View(noise_px=0.7, seed=3), Rules(stature_cm=181.0)),
        (View(handed=Handed.LEFT, hz=24.0), Rules(handed=Handed.LEFT)),
        (View(), Rules(cues=CueRules(target_deg=60.1, hips_strict=True), pain=True)),
    ],
)
def test_a_trace_plays_to_the_same_result_bit_for_bit(tmp_path, view, rules):
    path = tmp_path / "a.trace"
    live, live_steps = record(path, two_faults(), view=view, rules=rules)
    result, steps = played(path)
    assert result.first_difference_s is None
    assert result.whole
    assert result.rules == rules
    assert [result_of(step) for step in steps] == [result_of(step) for step in live_steps]
    assert result.reps == live.reps
    assert result.readings == len(live_steps) == live.frames


def test_a_trace_holds_poses_on_a_grid_so_that_it_stays_small(tmp_path):
    record(tmp_path / "a.trace", two_faults(), view=View(noise_px=0.7, hz=15.0))
    lines = (tmp_path / "a.trace").read_text(encoding="ascii").splitlines()
    for line in lines[1:-1]:
        reading = json.loads(line)
        for name, grid in (("image_px", 64), ("depth_px", 64), ("world_m", 8192)):
            assert all((value * grid).is_integer() for value in reading[name])


def test_outlines_trunks_and_the_motion_round_the_hands_are_in_the_trace_to_the_last_bit(tmp_path):
    path = tmp_path / "a.trace"
    script = Script().hold(1.5).move(TOP, 1.0).hold(0.3)

    def looked_at(pose):
        return replace(with_trunk(pose), hand_motion=0.7 + pose.t_s / 7)

    _, live_steps = record(path, script, view=View(hz=15.0), each=looked_at)
    result, steps = played(path)
    assert result.first_difference_s is None
    assert [result_of(step) for step in steps] == [result_of(step) for step in live_steps]
    read = [line for line in path.read_text(encoding="ascii").splitlines() if "outline" in line]
    assert len(read) == len(live_steps)
    kept = json.loads(read[3])
    assert None in kept["outline"]["left_px"]  # rows without the player
    assert all((x * 8).is_integer() for x in kept["outline"]["left_px"] if x is not None)
    assert len(kept["trunk_deg"]) == 6
    assert all((x * 32).is_integer() for x in kept["trunk_deg"])
    assert (kept["hand_motion"] * 4096).is_integer()


def test_a_trunk_looked_at_for_one_hand_only_is_in_the_trace_and_counts_for_that_hand(tmp_path):
    def looked_at(pose):
        read = with_trunk(pose)
        return replace(read, trunk_deg=np.array([read.trunk_deg[0], [np.nan] * 3]))

    script = Script().hold(1.5).move(TOP, 1.0).hold(0.3)
    _, steps = record(tmp_path / "both.trace", script, view=View(hz=15.0), each=with_trunk)
    path = tmp_path / "one.trace"
    _, live_steps = record(path, script, view=View(hz=15.0), each=looked_at)
    assert [result_of(step) for step in live_steps] == [result_of(step) for step in steps]
    result, _ = played(path)
    assert result.first_difference_s is None
    kept = json.loads(path.read_text(encoding="ascii").splitlines()[3])
    assert kept["trunk_deg"][3:] == [None] * 3


def test_tags_are_in_the_trace_to_the_last_bit(tmp_path):
    script = good_reps(2)
    path, rng = tmp_path / "practice.trace", np.random.default_rng(2)

    def wear(pose):
        read = tuple(
            as_read(sheet, rng)
            for sheet in Dressed().sheets(script.at(pose.t_s), FRONT, pose.t_s)
            if in_sight(sheet)
        )
        return replace(pose, tags=TagsRead(focal_px=914.0283, poses=read))

    result, live_steps = record(path, script, view=View(hz=15.0), each=wear)
    replayed, steps = played(path)
    assert replayed.first_difference_s is None
    assert [result_of(step) for step in steps] == [result_of(step) for step in live_steps]
    _, rep = result.reps  # the first one teaches how the side tag sits
    assert rep.at_top.sources["thorax_turn_deg"] is Source.TAG
    read = [json.loads(line) for line in path.read_text(encoding="ascii").splitlines()[1:-1]]
    turned = [line["result"].get("measures", {}).get("thorax_turn_deg", 0.0) for line in read]
    assert max(turned) > 75.0
    assert {tag["number"] for line in read for tag in line["tags"]["poses"]} == {0, 1, 10}


def test_a_damaged_tag_is_said_with_its_line(tmp_path):
    path = tmp_path / "practice.trace"
    script = good_reps(1)
    tag = as_read(Dressed().sheets(script.at(0.0), FRONT)[0], np.random.default_rng(2))
    tags = TagsRead(focal_px=914.0, poses=(tag,))
    record(path, script, view=View(hz=15.0), each=lambda pose: replace(pose, tags=tags))
    lines = path.read_text(encoding="ascii").splitlines(keepends=True)
    values = json.loads(lines[5])
    values["tags"]["poses"][0]["rotation"] = [1.0, 2.0]
    lines[5] = json.dumps(values) + "\n"
    path.write_text("".join(lines), encoding="ascii")
    replayed, steps = played(path)
    assert not replayed.whole
    assert "line 6" in replayed.cut
    assert len(steps) == 4


def test_a_trace_from_before_there_were_outlines_plays_too(whole, tmp_path):
    assert b"outline" not in whole
    assert b"trunk" not in whole
    path = tmp_path / "old.trace"
    path.write_bytes(whole)
    assert played(path)[0].whole


def test_a_rep_cut_off_by_the_end_is_the_same_in_the_replay(tmp_path):
    live, _ = record(tmp_path / "a.trace", Script().hold(2.0).move(TOP, 1.0))
    result, _ = played(tmp_path / "a.trace")
    assert len(live.reps) == 1
    assert not live.reps[0].complete
    assert result.reps == live.reps


def test_frames_in_which_nobody_was_read_are_in_the_trace_too(tmp_path):
    script = good_reps(1).lose(2.0).hold(1.0)
    _, live_steps = record(tmp_path / "a.trace", script)
    result, steps = played(tmp_path / "a.trace")
    assert any(step.pose is None for step in steps)
    assert result.readings == len(live_steps)
    assert result.first_difference_s is None


@pytest.mark.parametrize(
    "actions",
    [
        (KeyAction.PAIN,),
        (KeyAction.NEW_SETUP,),
        (KeyAction.SWITCH_HANDED,),
        (KeyAction.NEW_SETUP, KeyAction.PAIN, KeyAction.SWITCH_HANDED, KeyAction.SWITCH_HANDED),
        (KeyAction.HELP, KeyAction.FULL_SCREEN),
    ],
)
@pytest.mark.parametrize(
    "gap", [(), (Word(SourceState.LOST, "lost"), Word(SourceState.RUNNING))], ids=["", "lost"]
)
def test_what_the_player_asked_for_is_in_the_trace(tmp_path, actions, gap):
    live, _ = record(tmp_path / "a.trace", two_faults(), ask_at_s=1.5, actions=actions, gap=gap)
    result, _ = played(tmp_path / "a.trace")
    assert result.whole
    assert result.first_difference_s is None
    assert result.rules == live.rules
    assert result.reps == live.reps


def test_a_result_that_differs_is_told_from_its_first_reading_on(whole, tmp_path):
    lines = whole.decode().splitlines()
    reading = json.loads(lines[20])
    reading["result"]["phase"] = "top"
    lines[20] = json.dumps(reading)
    (tmp_path / "a.trace").write_text("\n".join(lines) + "\n")
    result, _ = played(tmp_path / "a.trace")
    assert result.whole
    assert result.first_difference_s == reading["t_s"]


def test_a_trace_with_a_reading_taken_out_is_not_whole(whole, tmp_path):
    lines = whole.decode().splitlines()
    (tmp_path / "a.trace").write_text("\n".join([*lines[:-2], lines[-1]]) + "\n")
    result, _ = played(tmp_path / "a.trace")
    count = len(lines) - 2
    assert not result.whole
    assert result.cut == f"it says {count} readings but holds {count - 1}"


@settings(deadline=None, max_examples=40)
@given(data=st.data())
def test_a_trace_cut_off_anywhere_plays_what_is_whole_and_says_so(whole, tmp_path_factory, data):
    length = data.draw(st.integers(0, len(whole) - 1))
    path = tmp_path_factory.mktemp("cut") / "a.trace"
    path.write_bytes(whole[:length])
    header = whole.index(b"\n")
    if length < header:
        with pytest.raises(TraceError, match="cannot be played"):
            played(path)
        return
    result, steps = played(path)
    whole_lines = whole[: length + 1].count(b"\n")  # a line whose end alone is missing is whole
    if length == len(whole) - 1:
        assert result.whole
    else:
        assert not result.whole
        assert result.cut
        assert result.readings == len(steps) == whole_lines - 1
    assert result.first_difference_s is None


@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_a_damaged_byte_never_ends_in_anything_but_plain_words(whole, tmp_path_factory, data):
    at = data.draw(st.integers(0, len(whole) - 1))
    byte = data.draw(st.integers(0, 255))
    path = tmp_path_factory.mktemp("damaged") / "a.trace"
    path.write_bytes(whole[:at] + bytes([byte]) + whole[at + 1 :])
    # The words of a TrainerError are tested elsewhere; any other error fails the test.
    with contextlib.suppress(TrainerError):
        result, _ = played(path)
        assert result.whole or result.cut


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "line 1 is cut off or damaged"),
        ("hello\n", "line 1 is cut off or damaged"),
        ("[1, 2]\n", "line 1 is no part of a trace"),
        ('{"frames": []}\n', "line 1 is no trace header"),
        ('{"pose_trace": 1, "rules": {}}\n', "schema 1, this program reads schema 2"),
        ('{"pose_trace": 2}\n', "line 1 has no rules"),
    ],
)
def test_what_is_no_trace_of_ours_is_refused_in_words(tmp_path, text, words):
    path = tmp_path / "a.trace"
    path.write_text(text)
    with pytest.raises(TraceError, match=words) as caught:
        played(path)
    assert str(path) in str(caught.value)
    assert "was wanted" in str(caught.value)


def test_a_film_is_no_trace(tmp_path):
    path = tmp_path / "a.mp4"
    path.write_bytes(bytes(range(256)) * 20)
    with pytest.raises(TraceError, match="cannot be played"):
        played(path)


def test_a_trace_that_is_not_there_is_said_in_words(tmp_path):
    for path in (tmp_path / "none.trace", tmp_path):
        with pytest.raises(TraceError, match="could not be read"):
            played(path)


def test_a_trace_with_rules_out_of_range_is_refused(whole, tmp_path):
    path = tmp_path / "a.trace"
    path.write_bytes(whole.replace(b'"target_deg":85.0', b'"target_deg":1.5', 1))
    with pytest.raises(TrainerError, match="radians"):
        played(path)


def test_a_file_that_is_there_is_never_written_over(tmp_path):
    path = tmp_path / "precious.trace"
    path.write_text("a year of practice")
    with pytest.raises(TraceError, match="is there already and is not written over"):
        TraceRecorder(path, Rules(), "pretend camera")
    assert path.read_text() == "a year of practice"


@pytest.mark.parametrize("path", ["missing/a.trace", "."])
def test_a_trace_that_cannot_be_opened_is_refused_before_the_run(tmp_path, path):
    with pytest.raises(TraceError) as caught:
        TraceRecorder(tmp_path / path, Rules(), "pretend camera")
    assert "Give another name to --record" in str(caught.value)


@needs_full_disk
def test_a_disk_that_is_full_from_the_start_is_refused_before_the_run():
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a file left open would warn when it is collected
        with pytest.raises(TraceError, match="No space left"):
            TraceRecorder(Path("/dev/full"), Rules(), "pretend camera")
        gc.collect()


@needs_full_disk
def test_a_disk_that_fills_up_is_said_and_the_run_goes_on(tmp_path):
    frames, known = frames_and_poses(two_faults())
    recorder = TraceRecorder(tmp_path / "a.trace", Rules(), "pretend camera")
    full = os.open("/dev/full", os.O_WRONLY)
    os.dup2(full, recorder._file.fileno())
    os.close(full)
    live, sounder, screen = mirror(
        FakeSource([*frames, lambda: wait_for(told)]), FakeEstimator(known), recorder=recorder
    )
    told = threading.Event()
    screen._on_view = lambda view: told.set() if "No space" in " ".join(view.notices) else None
    result = outcome(live)
    recorder.close()
    assert "a.trace could not be written: No space left on device" in recorder.trouble
    assert len(result.reps) == 1
    assert len(sounder.played) == 3


def test_a_disk_too_slow_loses_the_rest_of_the_trace_but_never_a_picture(tmp_path, monkeypatch):
    monkeypatch.setattr("trainer.recorder._QUEUE", 10)
    frames, known = frames_and_poses(two_faults())
    recorder = TraceRecorder(tmp_path / "a.trace", Rules(), "pretend camera")
    go_on, slow_write = threading.Event(), recorder._file.write

    def write(text):
        wait_for(go_on)
        return slow_write(text)

    recorder._file = _With(recorder._file, write)
    live, sounder, _ = mirror(FakeSource(frames), FakeEstimator(known), recorder=recorder)
    result = outcome(live)
    go_on.set()
    recorder.close()
    assert "The disk is too slow" in recorder.trouble
    assert recorder.trouble in live._view().notices
    assert result.frames == len(frames)
    assert len(sounder.played) == 3
    cut, steps = played(tmp_path / "a.trace")
    assert not cut.whole
    assert 1 <= len(steps) < len(frames)


class _With:
    """A file whose ``write`` is another."""

    def __init__(self, file, write):
        self._file = file
        self.write = write

    def __getattr__(self, name):
        return getattr(self._file, name)


def test_a_recorder_may_be_closed_twice_and_leaves_no_thread(tmp_path):
    recorder = TraceRecorder(tmp_path / "a.trace", Rules(), "pretend camera")
    recorder.close()
    recorder.close()
    assert not recorder._thread.is_alive()


def test_a_trace_without_any_reading_is_taken_away_again(tmp_path):
    recorder = TraceRecorder(tmp_path / "a.trace", Rules(), "pretend camera")
    recorder.close()
    assert recorder.trouble == "Nothing was read, so no trace was written."
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="named pipes are a thing of POSIX")
def test_a_trace_may_be_written_into_a_pipe(tmp_path):
    pipe, copy = tmp_path / "pipe", tmp_path / "copy.trace"
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: copy.write_bytes(pipe.read_bytes()), daemon=True)
    reader.start()
    record(pipe, good_reps(1))
    reader.join(30)
    result, _ = played(copy)
    assert result.whole
    assert len(result.reps) == 1
