"""The reps of the live mirror are kept, told as kept when they are, and not where unwanted."""

import threading

import pytest
from fakes import (
    FakeEstimator,
    FakeSounder,
    FakeSource,
    frames_and_poses,
    good_reps,
    mirror,
    outcome,
    wait_for,
)
from golfer import TOP, Script
from test_live_actions import asking
from test_putting_together import Theatre

from trainer import cli
from trainer.core.records import Handed
from trainer.errors import CameraError
from trainer.keeping import open_keeper
from trainer.live import run_live
from trainer.ports import KeyAction
from trainer.settings import Settings, from_values
from trainer.store.file import open_store, store_path
from trainer.store.keeper import Made, RepKeeper
from trainer.store.records import Kind
from trainer.store.writer import RepWriter


def live(theatre, *, keep=True, player="Ann"):
    values = {"camera": {"source": "0.mp4"}, "player": {"keep": keep}}
    settings, keeper = open_keeper(player, from_values(values, "test"), read_only=not keep)
    return run_live(
        settings,
        stage=theatre.stage,
        model=None,
        record=None,
        say=theatre.said.append,
        keeper=keeper,
    )


def rep_keeper(writer, player="Ann", pictures=None):
    made = Made(kind=Kind.LIVE, source="pretend camera")
    return RepKeeper(player, made, writer, pictures=pictures)


@pytest.fixture
def keeping():
    """A writer and, once it is closed, the reps that were kept."""
    writer = RepWriter(retry_s=0.02, last_try_s=0.2)

    def kept():
        writer.close()
        with open_store() as store:
            return store.all_reps()

    yield writer, kept
    writer.close()


def test_every_rep_of_a_live_run_is_kept_with_its_player_camera_and_verdict(monkeypatch):
    theatre = Theatre(monkeypatch, [(good_reps(3), Handed.RIGHT)])
    result = live(theatre)
    assert theatre.said[0] == f"Reps are kept in {store_path()} (--no-keep keeps none)."
    assert theatre.said[-1] == "3 reps kept."
    with open_store() as store:
        (line,) = store.sessions("ann")
        kept = store.reps_of(line.session)
        assert tuple(one.rep for one in kept) == result.reps
        assert (line.session.kind, line.session.source) == (Kind.LIVE, "pretend camera")
        assert (line.session.model, line.session.model_fitted) == ("standard", True)
        assert [one.good for one in kept] == [True] * 3
        assert kept[0].words[0] == "Good rep"
        assert kept[0].cues_heard is True
        assert kept[0].ended.utcoffset() is not None
        for one in kept:
            motion = store.motion(one)
            assert motion.curves.columns["shoulder_turn_deg"].max() > 80.0
            assert motion.setup_pose is not None
            assert motion.top_pose is not None


def test_without_keeping_no_file_is_made_at_all(monkeypatch):
    theatre = Theatre(monkeypatch, [(good_reps(2), Handed.RIGHT)], {0: [KeyAction.LINE_AWAY]})
    live(theatre, keep=False)
    assert not store_path().exists()
    assert list(store_path().parent.iterdir()) == []  # nor the moved ball line
    assert not any("kept" in words for view in theatre.screen.views for words in view.notices)


def test_the_option_and_the_setting_both_keep_nothing(tmp_path):
    file = tmp_path / "my.toml"
    file.write_text("[player]\nkeep = false\n", encoding="utf-8")
    for words in (["--no-keep"], ["--settings", str(file)]):
        args = cli._parser().parse_args(["live", *words])
        read, keeper = cli._player(args, "me")
        assert cli._settings(args, read).keep is False
        assert keeper.read_only
    assert cli._settings(cli._parser().parse_args(["live"])).keep is Settings().keep is True


def test_the_demo_is_not_put_on_anybodys_record(monkeypatch):
    theatre = Theatre(monkeypatch, [(good_reps(2), Handed.RIGHT)])
    assert theatre.demo() == 2
    assert not store_path().exists()


def test_the_mirror_says_kept_only_when_the_rep_is_on_the_disk(keeping):
    """The view in which it is said is the first after the commit, seen from outside."""
    writer, kept = keeping
    told = threading.Event()
    wrong = []

    def look(view):
        if "kept" in view.last_rep_words:
            with open_store() as store:
                if view.last_rep.number not in [one.rep.number for one in store.all_reps()]:
                    wrong.append(view.last_rep.number)
            told.set()

    frames, known = frames_and_poses(good_reps(1))
    running, _, screen = mirror(
        FakeSource([*frames, lambda: wait_for(told)]),
        FakeEstimator(known),
        rep_keeper=rep_keeper(writer),
    )
    screen._on_view = look
    outcome(running)
    said = [view.last_rep_words for view in screen.views if view.last_rep is not None]
    assert "kept" not in said[0]
    assert said[-1][-1] == "kept"
    assert wrong == []
    assert len(kept()) == 1


def test_a_rep_made_in_silence_is_kept_as_such(keeping):
    writer, kept = keeping
    frames, known = frames_and_poses(good_reps(1))
    running, _, _ = mirror(
        FakeSource(frames),
        FakeEstimator(known),
        sounder=FakeSounder(audible=False),
        rep_keeper=rep_keeper(writer),
    )
    outcome(running)
    (one,) = kept()
    assert one.cues_heard is False
    assert one.rep.cues  # decided all the same


def test_a_rep_cut_off_by_the_end_of_the_run_is_kept_as_not_complete(keeping):
    writer, kept = keeping
    frames, known = frames_and_poses(Script().hold(2.0).move(TOP, 1.0))
    running, _, _ = mirror(FakeSource(frames), FakeEstimator(known), rep_keeper=rep_keeper(writer))
    outcome(running)
    (one,) = kept()
    assert (one.rep.complete, one.good) == (False, None)


def test_pain_marked_before_a_rep_is_on_its_record(keeping):
    writer, kept = keeping
    running, _, _, _ = asking(good_reps(1), 1.0, KeyAction.PAIN)
    running._shared.rep_keeper = rep_keeper(writer)
    outcome(running)
    (one,) = kept()
    assert one.aim.pain is True


def test_a_record_that_cannot_be_written_is_said_on_the_screen_and_practice_goes_on(tmp_path):
    in_the_way = tmp_path / "a file"
    in_the_way.write_text("", encoding="ascii")
    writer = RepWriter(in_the_way / "reps.sqlite", retry_s=0.02, last_try_s=0.2)
    told = threading.Event()
    frames, known = frames_and_poses(good_reps(2))
    at = len(frames) - 30
    running, sounder, screen = mirror(
        FakeSource([*frames[:at], lambda: wait_for(told), *frames[at:]]),
        FakeEstimator(known),
        rep_keeper=rep_keeper(writer),
    )
    screen._on_view = lambda view: (
        told.set() if any("2 reps wait to be kept" in words for words in view.notices) else None
    )
    result = outcome(running)
    assert len(result.reps) == 2
    assert len(sounder.played) == 2
    assert not any("kept" in view.last_rep_words for view in screen.views)
    writer.close()


def test_a_run_that_fails_has_kept_the_reps_made_before(monkeypatch):
    theatre = Theatre(monkeypatch, [(good_reps(2), Handed.RIGHT)])
    frames, known = frames_and_poses(good_reps(2))

    def gone():
        raise CameraError("camera 0 is gone. A camera was wanted. Plug it in.")

    monkeypatch.setattr(
        "trainer.adapters.camera.open_source", lambda spec, **more: FakeSource([*frames, gone])
    )
    monkeypatch.setattr(
        "trainer.live.pose_opener", lambda model, memory: lambda: FakeEstimator(known)
    )
    with pytest.raises(CameraError):
        live(theatre)
    with open_store() as store:
        assert len(store.all_reps()) == 2
    assert "2 reps kept." in theatre.said
