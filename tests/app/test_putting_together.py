"""What ``live`` and ``demo`` put together, with stand-ins for camera, model, sound and window."""

import threading
from pathlib import Path

import pytest
from fakes import (
    FakeEstimator,
    FakeScreen,
    FakeSounder,
    FakeSource,
    frames_and_poses,
    good_reps,
    two_faults,
    wait_for,
)
from golfer import SETUP, Body, Script, View

from trainer.core.records import CueKind, Handed
from trainer.errors import CameraError, TraceError, TrainerError
from trainer.live import DemoClip, Stage, demo_clips, run_demo, run_live
from trainer.ports import KeyAction
from trainer.replay import replay
from trainer.settings import Settings, from_values

SHORT = Body(arc_deg=150.0, turn_deg=50.0, hip_turn_deg=25.0)


def short_turn():
    return Script().hold(2.0).move(SHORT, 1.0).hold(0.5).move(SETUP, 0.5).hold(1.5)


class Theatre:
    """Stand-ins for a run of several clips; ``asked`` maps a clip's number to key actions."""

    def __init__(self, monkeypatch, scripts, asked=None):
        self.screen, self.sounder, self.said = FakeScreen(), FakeSounder(), []
        self.stage = Stage(screen=self.screen, sounder=self.sounder)
        self.opened = []
        asked = asked or {}
        clips = [
            DemoClip(path=Path(f"{number}.mp4"), handed=handed, stature_cm=175.6, what="a rep")
            for number, (_, handed) in enumerate(scripts)
        ]
        known = {}

        def open_source(spec, **more):
            number = int(Path(spec).stem)
            script, handed = scripts[number]
            frames, poses = frames_and_poses(script, View(handed=handed))
            known.clear()
            known.update(poses)
            self.opened.append(number)
            first = [self._asking(*asked[number])] if number in asked else []
            return FakeSource([*frames[:10], *first, *frames[10:]])

        monkeypatch.setattr("trainer.live.demo_clips", lambda: tuple(clips))
        monkeypatch.setattr(
            "trainer.live.pose_opener", lambda model, memory: lambda: FakeEstimator(known)
        )
        monkeypatch.setattr("trainer.adapters.camera.open_source", open_source)

    def _asking(self, *actions):
        def ask():
            followed = threading.Event()
            self.screen._on_view = lambda view: None if self.screen._actions else followed.set()
            self.screen.ask(*actions)
            # Nothing more is shown after quitting.
            wait_for(self.screen.took if KeyAction.QUIT in actions else followed)

        return ask

    def demo(self, settings=None, save=None):
        return run_demo(
            settings or Settings(), stage=self.stage, model=None, save=save, say=self.said.append
        )

    def live(self, record=None, settings=None):
        settings = settings or from_values({"camera": {"source": "0.mp4"}}, "test")
        return run_live(settings, stage=self.stage, model=None, record=record, say=self.said.append)


def test_the_demo_plays_each_clip_with_its_own_hand_and_counts_all_reps(monkeypatch):
    theatre = Theatre(monkeypatch, [(good_reps(2), Handed.RIGHT), (good_reps(1), Handed.LEFT)])
    assert theatre.demo() == 3
    assert theatre.opened == [0, 1]
    assert [line for line in theatre.said if line.startswith("Clip")] == [
        "Clip 1: a rep",
        "Clip 2: a rep",
    ]
    assert theatre.sounder.kinds == [CueKind.TURN_REACHED] * 3


def test_pain_marked_in_one_clip_of_the_demo_holds_in_the_next(monkeypatch):
    scripts = [(good_reps(1), Handed.RIGHT), (good_reps(1), Handed.LEFT)]
    theatre = Theatre(monkeypatch, scripts, {0: [KeyAction.PAIN]})
    assert theatre.demo() == 2
    assert theatre.sounder.kinds == []
    assert theatre.screen.views[-1].pain


def test_after_pain_the_printed_words_ask_for_no_turn_either(monkeypatch):
    scripts = [(short_turn(), Handed.RIGHT)]
    theatre = Theatre(monkeypatch, scripts)
    theatre.demo()
    assert any("short" in line for line in theatre.said)
    theatre = Theatre(monkeypatch, scripts, {0: [KeyAction.PAIN]})
    theatre.demo()
    assert any(" rep 1: " in line for line in theatre.said)
    assert not any("short" in line for line in theatre.said)


def test_quitting_in_one_clip_of_the_demo_leaves_out_the_rest(monkeypatch):
    scripts = [(good_reps(1), Handed.RIGHT)] * 3
    theatre = Theatre(monkeypatch, scripts, {1: [KeyAction.QUIT]})
    theatre.demo()
    assert theatre.opened == [0, 1]


def test_a_demo_that_cannot_save_says_so(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("")
    theatre = Theatre(monkeypatch, [(good_reps(1), Handed.RIGHT)])
    with pytest.raises(TrainerError, match="could not be saved in") as caught:
        theatre.demo(save=tmp_path / "file")
    assert "Give another one to --save" in str(caught.value)


def test_the_demo_clips_are_there_with_hand_and_stature():
    clips = demo_clips()
    assert len(clips) == 4
    assert [clip.tags is not None for clip in clips] == [False, False, False, True]
    assert {clip.handed for clip in clips} == set(Handed)
    assert all(clip.path.is_file() and 150 < clip.stature_cm < 200 for clip in clips)


@pytest.mark.parametrize("text", [None, "clip = 5", "[[clip]]\nfile = 'a.mp4'\n", "[[clip"])
def test_a_demo_session_that_is_damaged_is_said_in_words(monkeypatch, tmp_path, text):
    if text is not None:
        (tmp_path / "session.toml").write_text(text)
    monkeypatch.setattr("trainer.live.resource_dir", lambda name: tmp_path)
    with pytest.raises(TrainerError, match=r"session.toml .* could not be used"):
        demo_clips()


def test_a_live_run_writes_its_trace_and_says_where(monkeypatch, tmp_path):
    theatre = Theatre(monkeypatch, [(two_faults(), Handed.RIGHT)])
    result = theatre.live(record=tmp_path / "a.trace")
    assert f"Trace written: {tmp_path / 'a.trace'}" in theatre.said
    again = replay(tmp_path / "a.trace", lambda step, rules: None)
    assert again.whole
    assert again.reps == result.reps


def test_a_live_run_whose_trace_would_write_over_a_file_does_not_start(monkeypatch, tmp_path):
    (tmp_path / "a.trace").write_text("precious")
    theatre = Theatre(monkeypatch, [(two_faults(), Handed.RIGHT)])
    with pytest.raises(TraceError, match="not written over"):
        theatre.live(record=tmp_path / "a.trace")
    assert theatre.screen.views == []


def test_a_camera_that_does_not_open_leaves_no_empty_trace_behind(monkeypatch, tmp_path):
    theatre = Theatre(monkeypatch, [(two_faults(), Handed.RIGHT)])
    error = CameraError("camera 7 did not open. A camera was wanted. Try --camera 0.")
    monkeypatch.setattr(
        "trainer.adapters.camera.open_source",
        lambda spec, **more: FakeSource([], cannot_open=error),
    )
    with pytest.raises(CameraError):
        theatre.live(record=tmp_path / "a.trace")
    # Else the next try with the same name would be refused.
    assert list(tmp_path.iterdir()) == []


def test_the_settings_reach_the_camera(monkeypatch):
    theatre = Theatre(monkeypatch, [(good_reps(1), Handed.RIGHT)])
    asked = {}

    def open_source(spec, *, memory, **more):
        asked.update(more, spec=spec)
        return FakeSource([])

    monkeypatch.setattr("trainer.adapters.camera.open_source", open_source)
    camera = {"source": "a.mp4", "rotate": 90, "mirrored": True, "recorded_fps": 240}
    theatre.live(settings=from_values({"camera": camera}, "test"))
    assert asked == {"spec": "a.mp4", "rotate": 90, "mirrored": True, "recorded_fps": 240}


def test_steps_are_printed_only_where_there_is_no_screen(monkeypatch):
    theatre = Theatre(monkeypatch, [(good_reps(1), Handed.RIGHT)])
    theatre.live()
    assert theatre.said == []
    theatre = Theatre(monkeypatch, [(good_reps(1), Handed.RIGHT)])
    theatre.screen.name = "no screen"
    theatre.live()
    assert any(line.endswith(" s  top") for line in theatre.said)
    assert any("cue: turn reached" in line for line in theatre.said)
