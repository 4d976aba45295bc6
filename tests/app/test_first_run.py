"""The first run and the placement guide: pages, answers, and the whole way through the app."""

import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pygame
import pytest
from fakes import FakeEstimator, FakeSource, wait_for
from placed import placed

from trainer import cli, kept_camera
from trainer.adapters.screen import Window, open_screen
from trainer.camera_choice import CameraChoice, found_cameras
from trainer.core.placement import Stage
from trainer.core.records import Frame, Handed
from trainer.errors import CameraError
from trainer.first_run import Answers, FirstRun
from trainer.lengths import feet_words
from trainer.live_runs import is_first
from trainer.players import PlayerRecord, load, record_path, save
from trainer.ports import GuidePage, KeyAction, SourceState, SourceStatus
from trainer.settings import CameraSettings, Settings

ON, BACK, LEAVE = KeyAction.GUIDE_ON, KeyAction.GUIDE_BACK, KeyAction.GUIDE_LEAVE
NEXT = KeyAction.GUIDE_NEXT


class Standing(FakeSource):
    """A camera before which somebody stands still at address, until it is closed."""

    def __init__(self, name="camera 0", pose=None, cannot_open=None):
        super().__init__([], cannot_open=cannot_open)
        self.name = name
        self._pose = pose
        self._index = 0
        size_wh = (1280, 720) if pose is None else pose.size_wh
        self.picture = np.full((size_wh[1], size_wh[0], 3), 120, np.uint8)

    def get(self, timeout_s):
        if self.closed.is_set():
            return None
        time.sleep(0.004)
        self._index += 1
        self._last_t_s = self._index / 30
        return Frame(t_s=self._last_t_s, index=self._index, image_rgb=self.picture)

    def status(self):
        return SourceStatus(
            state=SourceState.RUNNING, text="", size_wh=(1280, 720), measured_fps=30.0, dropped=0
        )


class Always(FakeEstimator):
    """Sees one and the same pose in every picture."""

    def __init__(self, pose):
        super().__init__({})
        self._pose = pose

    def estimate(self, frame):
        return placed_at(self._pose, frame.t_s)


def placed_at(pose, t_s):
    return None if pose is None else replace(pose, t_s=t_s)


def choice(*names, trouble=None, **given):
    """Cameras of these names, in this thread."""

    def found():
        if trouble:
            raise CameraError(trouble)
        return [(str(n), name) for n, name in enumerate(names)]

    opened = given.pop("opened", None) or (lambda source: Standing(source))
    return CameraChoice(opened, found=found, threaded=False, **given)


def begun(cameras=None, known=None, **given):
    first = FirstRun(known or Answers(), cameras or choice("front"), **given)
    first._cameras.begin()
    first._cameras.look()
    return first


def press(first, *actions):
    for action in actions:
        first.take(action)


def test_the_pages_come_in_order_and_back_again():
    first, seen = begun(), []
    for _ in range(5):
        seen.append((first.page, first.guide().number))
        first.take(ON)
    assert seen == [
        (GuidePage.CAMERA, 1),
        (GuidePage.HAND, 2),
        (GuidePage.STATURE, 3),
        (GuidePage.DRIVER, 4),
        (GuidePage.CAUTION, 5),
    ]
    assert first._done
    assert first._cautioned
    first = begun()
    press(first, ON, ON, BACK)
    assert first.page is GuidePage.HAND
    press(first, BACK, BACK)
    assert first.page is GuidePage.CAMERA


def test_without_the_caution_its_page_is_left_out():
    first = begun(caution=False)
    press(first, ON, ON, ON)
    assert first.page is GuidePage.DRIVER
    first.take(ON)
    assert first._done
    assert not first._cautioned


def test_what_is_said_is_kept():
    first = begun(choice("front", "side"))
    press(first, NEXT)
    first._cameras.look()
    press(first, ON, NEXT, ON)
    first.type("5 ft 10")
    assert first.guide().lines[-1] == f"177.8 cm, {feet_words(177.8)}"
    first.take(ON)
    first.type("44 in")
    first.take(ON)
    assert first._answers == Answers(
        camera="1", handed=Handed.LEFT, stature_cm=177.8, driver_cm=111.8
    )


def test_what_is_known_is_shown_and_enter_leaves_it():
    known = Answers(handed=Handed.LEFT, stature_cm=181.0, driver_cm=112.0)
    first = begun(known=known)
    first.take(ON)
    assert first.guide().choices[first.guide().chosen].startswith("left")
    first.take(ON)
    assert first.guide().entry == "181"
    press(first, ON, ON)
    assert first._answers == Answers(
        camera="0", handed=Handed.LEFT, stature_cm=181.0, driver_cm=112.0
    )


def test_an_empty_answer_is_none():
    first = begun(known=Answers(stature_cm=181.0))
    press(first, ON, ON)
    first.type("\b\b\b\b")
    press(first, ON)
    assert first.page is GuidePage.DRIVER
    assert first._answers.stature_cm is None


@pytest.mark.parametrize("written", ["17", "1800", "1.78", "long", "0", "5 ft 13"])
def test_a_stature_that_cannot_be_keeps_the_page_and_says_why(written):
    first = begun()
    press(first, ON, ON)
    first.type(written)
    first.take(ON)
    assert first.page is GuidePage.STATURE
    guide = first.guide()
    assert guide.trouble.startswith("Your height is ")
    assert "wanted" in guide.trouble
    assert guide.entry == written
    first.type("\b")
    assert first.guide().trouble == ""
    first.type("\b" * 20 + "178")
    first.take(ON)
    assert first._answers.stature_cm == 178.0


def test_one_camera_is_shown_and_confirmed():
    first = begun(choice("front"))
    guide = first.guide()
    assert guide.title == "Is this the camera?"
    assert guide.choices == ("0: front",)
    assert first.view().image_rgb is not None
    press(first, NEXT, ON)
    assert first._answers.camera == "0"


def test_several_cameras_are_gone_through_with_their_pictures():
    opened = []

    def open_it(source):
        opened.append(Standing(source))
        return opened[-1]

    first = begun(choice("front", "side", "back", opened=open_it, before="1"))
    assert first.guide().chosen == 1  # the one chosen some time ago
    press(first, NEXT)
    first._cameras.look()
    press(first, NEXT)
    first._cameras.look()
    assert [source.name for source in opened] == ["1", "2", "0"]
    assert [source.closed.is_set() for source in opened] == [True, True, False]
    first._cameras.close()
    assert opened[-1].closed.is_set()


def test_no_camera_says_so_in_the_words_there_are_and_looks_again(monkeypatch):
    monkeypatch.setattr("trainer.adapters.camera._candidates", lambda: ())
    with pytest.raises(CameraError) as told:
        found_cameras()
    looked = []

    def found():
        looked.append(1)
        if len(looked) < 2:
            return found_cameras()
        return [("0", "front")]

    cameras = CameraChoice(lambda source: Standing(source), found=found, threaded=False)
    first = begun(cameras)
    guide = first.guide()
    assert guide.title == "No camera"
    assert guide.trouble == str(told.value)
    press(first, ON)  # plugged in meanwhile: look again
    first._cameras.look()
    assert first.page is GuidePage.CAMERA
    assert first.guide().title == "Is this the camera?"
    press(first, ON)
    assert first.page is GuidePage.HAND


def test_a_camera_that_does_not_open_says_why_and_is_not_taken():
    def open_it(source):
        return Standing(source, cannot_open=CameraError("camera 0 did not open. It was wanted."))

    first = begun(choice("front", "side", opened=open_it))
    assert "did not open" in first.guide().trouble
    press(first, ON)
    assert first.page is GuidePage.CAMERA


def test_looking_for_cameras_never_holds_the_page_up():
    go, there = threading.Event(), threading.Event()

    def found():
        wait_for(go)
        there.set()
        return [("0", "front")]

    cameras = CameraChoice(lambda source: Standing(source), found=found, threaded=True)
    first = FirstRun(Answers(), cameras)
    cameras.begin()
    assert first.guide().title == "Looking for cameras …"
    first.take(ON)
    assert first.page is GuidePage.CAMERA  # nothing to be taken yet
    go.set()
    wait_for(there)
    while cameras.image_rgb is None:
        cameras.look()
    assert first.guide().title == "Is this the camera?"
    cameras.close()
    assert not cameras._worker.is_alive()


def test_passed_over_what_was_said_so_far_counts():
    first = begun(known=Answers(stature_cm=170.0))
    press(first, ON, NEXT, ON, LEAVE)
    assert first._left
    assert first._answers.handed is Handed.LEFT
    assert first._answers.stature_cm == 170.0
    assert not first._cautioned


class NoKeeper:
    record = PlayerRecord(name="me")


@pytest.mark.parametrize(
    ("changes", "how", "screen", "due"),
    [
        ({}, {}, "window", True),
        ({}, {}, "no screen", False),
        ({}, {"asked": False}, "window", False),
        ({}, {"settings_file": Path("my.toml")}, "window", False),
        ({"camera": CameraSettings(source="swing.mp4")}, {}, "window", False),
        ({"camera": CameraSettings(source="swing.mp4")}, {"asked": True}, "window", False),
        ({"camera": CameraSettings(source="1")}, {}, "window", True),
        ({"camera": CameraSettings(source="http://a:1/v")}, {}, "window", True),
        ({"keep": False}, {}, "window", False),
        ({"keep": False}, {"asked": True}, "window", True),
        ({}, {"asked": True}, "no screen", False),
    ],
)
def test_when_the_first_run_is_due(changes, how, screen, due, monkeypatch, tmp_path):
    monkeypatch.setattr("trainer.settings.default_path", lambda: tmp_path / "none.toml")
    assert is_first(Settings(**changes), NoKeeper(), screen, **how) is due


def test_it_is_not_due_once_anything_is_kept(monkeypatch, tmp_path):
    settings = tmp_path / "settings.toml"
    monkeypatch.setattr("trainer.settings.default_path", lambda: settings)
    assert is_first(Settings(), NoKeeper(), "window")
    settings.write_text("", encoding="utf-8")
    assert not is_first(Settings(), NoKeeper(), "window")
    settings.unlink()
    save(PlayerRecord(name="me"))
    assert not is_first(Settings(), NoKeeper(), "window")
    assert is_first(Settings(), NoKeeper(), "window", asked=True)


def key(name, letter=""):
    return pygame.event.Event(pygame.KEYDOWN, key=name, mod=0, unicode=letter)


def typed(text):
    return [key(ord(letter), letter) for letter in text]  # a key's code is that of its letter


class Scripted:
    """The real window, and keys pressed in it: each batch as soon as the glass shows its cue."""

    name = "window"

    def __init__(self, window, script):
        self._window, self._script, self._view = window, list(script), None
        self.seen, self.cautioned = [], False
        self._begun_s = time.monotonic()

    def show(self, view):
        assert time.monotonic() - self._begun_s < 60.0, f"never came to {self._script[0]}"
        self._view = view
        self.cautioned = self.cautioned or view.caution
        at = None if view.guide is None else (view.guide.page, view.guide.title)
        if not self.seen or self.seen[-1] != at:
            self.seen.append(at)
        self._window.show(view)

    def actions(self):
        if self._script and self._view is not None and self._script[0][0](self._view):
            for event in self._script.pop(0)[1]:
                pygame.event.post(event)
        return self._window.actions()

    def typed(self):
        return self._window.typed()

    def close(self):
        self._window.close()


def on_page(page):
    def is_there(view):
        there = view.guide is not None and view.guide.page is page
        return there and (page is not GuidePage.CAMERA or view.image_rgb is not None)

    return is_there


def at_stage(stage):
    return lambda view: (
        view.guide is not None
        and view.guide.placement is not None
        and view.guide.placement.stage is stage
    )


def no_page(view):
    return view.guide is None and view.step is not None


@pytest.fixture
def app(monkeypatch, tmp_path):
    """Run `trainer live` with stand-ins for cameras and pose model before the real window."""
    monkeypatch.setattr("trainer.settings.default_path", lambda: tmp_path / "settings.toml")
    opened = []
    state = {"pose": placed(), "cameras": ["front", "side"], "gone": ""}

    def open_it(spec=None, **_):
        if spec is None and not state["cameras"]:
            raise CameraError("no camera was found. A webcam was wanted. Try another.")
        name = "first" if spec is None else f"camera {spec}"
        gone = CameraError(f"{name} did not open; found camera 0. One was wanted. Try it.")
        failure = gone if name == state["gone"] else None
        opened.append(Standing(name, state["pose"], cannot_open=failure))
        return opened[-1]

    def cameras(*, measure=True):
        from trainer.adapters.camera import CameraFacts

        return tuple(
            CameraFacts(index=n, name=name, size_wh=(1280, 720), stated_fps=None, measured_fps=None)
            for n, name in enumerate(state["cameras"])
        )

    monkeypatch.setattr("trainer.adapters.camera.open_source", open_it)
    monkeypatch.setattr("trainer.adapters.camera.list_cameras", cameras)
    monkeypatch.setattr(
        "trainer.live.pose_opener", lambda model, memory: lambda: Always(state["pose"])
    )

    def run(script, *words):
        window = open_screen("window")
        assert isinstance(window, Window)
        screen = Scripted(window, script)
        monkeypatch.setattr("trainer.adapters.screen.open_screen", lambda choice: screen)
        code = cli.main(["live", "--sound", "off", *words])
        assert code == 0
        assert not screen._script
        return screen, opened

    run.state = state
    return run


ENTER, QUIT = [key(pygame.K_RETURN)], [key(pygame.K_q, "q")]


def test_the_whole_way_from_the_first_start_to_ready(app, capsys):
    screen, opened = app(
        [
            (on_page(GuidePage.CAMERA), [key(pygame.K_DOWN)]),
            (lambda view: on_page(GuidePage.CAMERA)(view) and view.guide.chosen == 1, ENTER),
            (on_page(GuidePage.HAND), ENTER),
            (on_page(GuidePage.STATURE), [*typed("1800"), *ENTER]),
            (lambda view: "millimetres" in view.guide.trouble,
             [*[key(pygame.K_BACKSPACE)] * 4, *typed("5 ft 9"), *ENTER]),
            (on_page(GuidePage.DRIVER), [*typed("45 in"), *ENTER]),
            (on_page(GuidePage.CAUTION), ENTER),
            (at_stage(Stage.READY), ENTER),
            (no_page, QUIT),
        ]
    )  # fmt: skip
    record, trouble = load("me")
    assert trouble == ""
    assert record.handed is Handed.RIGHT
    assert record.stature_cm == pytest.approx(175.3)  # 69 inches of 2.54 cm
    assert record.driver_cm == pytest.approx(114.3)
    assert kept_camera.load() == ("1", "")
    assert [source.name for source in opened] == ["camera 0", "camera 1", "camera 1"]
    assert all(source.closed.is_set() for source in opened)
    assert "F2 shows where to put the camera" in capsys.readouterr().out
    assert not screen.cautioned  # said once: not once more over the mirror


def test_the_next_start_asks_nothing_and_takes_the_camera_that_was_chosen(app):
    save(PlayerRecord(name="me"))
    kept_camera.save("1")
    screen, opened = app([(no_page, QUIT)])
    assert screen.seen == [None]
    assert [source.name for source in opened] == ["camera 1"]


def test_it_is_passed_over_with_one_key_and_not_asked_again(app):
    screen, _ = app([(on_page(GuidePage.CAMERA), [key(pygame.K_ESCAPE)]), (no_page, QUIT)])
    assert screen.cautioned  # what was passed over does not leave the caution out
    assert record_path("me").exists()
    assert not kept_camera.camera_path().exists()
    screen, _ = app([(no_page, QUIT)])
    assert screen.seen == [None]


def test_passed_over_for_want_of_a_camera_it_comes_again(app, capsys):
    app.state["cameras"] = []
    leave = [key(pygame.K_ESCAPE)]
    with pytest.raises(AssertionError, match="assert 1 == 0"):
        app([(lambda view: view.guide is not None and view.guide.title == "No camera", leave)])
    assert "no camera was found" in capsys.readouterr().err
    assert not record_path("me").exists()
    app.state["cameras"] = ["front"]
    screen, _ = app([(on_page(GuidePage.CAMERA), leave), (no_page, QUIT)])
    assert (GuidePage.CAMERA, "Is this the camera?") in screen.seen


def test_it_can_be_left_out_by_option(app):
    screen, _ = app([(no_page, QUIT)], "--skip-first-run")
    assert screen.seen == [None]
    assert not record_path("me").exists()


def test_quitting_the_first_run_starts_no_mirror(app, capsys):
    _, opened = app([(on_page(GuidePage.CAMERA), QUIT)])
    assert [source.name for source in opened] == ["camera 0"]
    assert "0 reps." in capsys.readouterr().out


def test_one_key_shows_the_placement_and_takes_it_away(app):
    f2 = [key(pygame.K_F2)]
    screen, _ = app(
        [
            (no_page, f2),
            (at_stage(Stage.READY), f2),
            (no_page, f2),
            (on_page(GuidePage.PLACEMENT), [key(pygame.K_ESCAPE)]),
            (no_page, QUIT),
        ],
        "--skip-first-run",
    )
    pages = {page for page in screen.seen if page is not None}
    assert (GuidePage.PLACEMENT, "Ready") in pages


def test_a_camera_that_leans_is_said_through_the_whole_app(app):
    app.state["pose"] = placed(roll_deg=7.0)
    screen, _ = app(
        [(no_page, [key(pygame.K_F2)]), (at_stage(Stage.OFF), ENTER), (no_page, QUIT)],
        "--skip-first-run",
    )
    assert (GuidePage.PLACEMENT, "Camera leans") in screen.seen


def test_one_key_goes_through_everything_again_and_the_mirror_goes_on(app):
    save(PlayerRecord(name="me", handed=Handed.RIGHT, stature_cm=180.0))
    pain = [key(pygame.K_p, "p"), key(pygame.K_SPACE, " ")]
    _, opened = app(
        [
            (no_page, pain),
            (lambda view: view.pain, [key(pygame.K_F3)]),
            (on_page(GuidePage.CAMERA), ENTER),
            (on_page(GuidePage.HAND), [key(pygame.K_DOWN), *ENTER]),
            (on_page(GuidePage.STATURE), ENTER),
            (on_page(GuidePage.DRIVER), ENTER),
            (on_page(GuidePage.CAUTION), ENTER),
            (on_page(GuidePage.PLACEMENT), ENTER),
            # What was marked before is marked still.
            (lambda view: no_page(view) and view.pain and view.handed_left, QUIT),
        ]
    )
    record, _ = load("me")
    assert record.handed is Handed.LEFT
    assert record.stature_cm == 180.0
    assert len(opened) == 3


def test_a_damaged_choice_of_camera_is_set_aside_and_said(app, capsys):
    save(PlayerRecord(name="me"))
    path = kept_camera.camera_path()
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("source = 5\n", encoding="utf-8")
    _, opened = app([(no_page, QUIT)])
    assert opened[0].name == "first"
    assert "The choice of the camera was damaged" in capsys.readouterr().out
    assert not path.exists()


def test_the_camera_of_another_day_that_is_gone_is_chosen_again(app, capsys):
    save(PlayerRecord(name="me", stature_cm=180.0))
    kept_camera.save("5")
    app.state["gone"] = "camera 5"
    _, opened = app(
        [(on_page(GuidePage.CAMERA), ENTER), (on_page(GuidePage.HAND), ENTER),
         (on_page(GuidePage.STATURE), ENTER), (on_page(GuidePage.DRIVER), ENTER),
         (on_page(GuidePage.CAUTION), ENTER), (on_page(GuidePage.PLACEMENT), ENTER),
         (no_page, QUIT)]
    )  # fmt: skip
    assert "camera 5 did not open" in capsys.readouterr().out
    assert [source.name for source in opened] == ["camera 5", "camera 0", "camera 0"]
    assert kept_camera.load() == ("0", "")
    assert load("me")[0].stature_cm == 180.0


def test_a_camera_that_was_named_and_is_gone_ends_the_program_as_before(app, capsys):
    save(PlayerRecord(name="me"))
    app.state["gone"] = "camera 5"
    with pytest.raises(AssertionError, match="assert 1 == 0"):
        app([], "--camera", "5")
    assert "camera 5 did not open" in capsys.readouterr().err


def test_a_network_camera_chosen_before_is_offered_again():
    first = begun(choice("front", before="http://phone:8080/video"))
    guide = first.guide()
    assert guide.choices == ("http://phone:8080/video", "0: front")
    assert guide.chosen == 0
    only = begun(choice(trouble="no camera was found. One was wanted.", before="rtsp://phone/1"))
    assert only.guide().choices == ("rtsp://phone/1",)


def test_each_run_has_a_trace_of_its_own(app, tmp_path):
    save(PlayerRecord(name="me"))
    app(
        [(no_page, [key(pygame.K_F3)]), (on_page(GuidePage.CAMERA), [key(pygame.K_ESCAPE)]),
         (no_page, QUIT)],
        "--record", str(tmp_path / "practice.trace"),
    )  # fmt: skip
    assert (tmp_path / "practice.trace").exists()
    assert (tmp_path / "practice-2.trace").exists()


def test_pain_of_one_player_stays_when_the_first_run_was_asked_for_in_another_s_turn(app):
    save(PlayerRecord(name="Ann"))
    save(PlayerRecord(name="Bo", driver_cm=110.0))
    leave = [key(pygame.K_ESCAPE)]
    turn = [key(pygame.K_n, "n")]
    _, _ = app(
        [
            (no_page, [key(pygame.K_p, "p")]),
            (lambda view: view.pain, turn),
            (lambda view: no_page(view) and not view.pain, [key(pygame.K_F3)]),
            (on_page(GuidePage.CAMERA), [*ENTER]),
            (on_page(GuidePage.HAND), [key(pygame.K_DOWN), *ENTER]),
            (on_page(GuidePage.STATURE), leave),
            (lambda view: no_page(view) and not view.pain, turn),
            (lambda view: no_page(view) and view.pain, QUIT),
        ],
        "--player",
        "Ann",
    )  # fmt: skip
    assert load("Bo")[0].handed is Handed.LEFT  # whose turn it was is who was asked
    assert load("Bo")[0].driver_cm == 110.0
    assert load("Ann")[0].handed is None


def test_the_demo_is_not_stopped_by_it(monkeypatch):
    asked = []
    monkeypatch.setattr("trainer.live.run_demo", lambda *a, **k: asked.append(1) or 3)
    monkeypatch.setattr("trainer.live_runs.FirstRun", lambda *a, **k: pytest.fail("asked"))
    assert cli.main(["demo", "--sound", "off", "--screen", "none"]) == 0
    assert asked
