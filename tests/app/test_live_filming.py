"""Filming in the mirror: off unless asked for, to be seen while on, and switched by one key."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from bay_run import BayRun
from fakes import (
    FakeEstimator,
    FakeScreen,
    FakeSource,
    frames_and_poses,
    good_reps,
    mirror,
    outcome,
)
from test_live_reps import rep_keeper
from test_putting_together import Theatre

from trainer import cli
from trainer.adapters.clips import ClipReader, SteppedClip
from trainer.bay import Bay
from trainer.core.records import Handed
from trainer.errors import SettingsError
from trainer.keeping import open_keeper
from trainer.live import demo_clips, run_live
from trainer.players import PlayerRecord, save
from trainer.ports import KeyAction
from trainer.rep_pictures import BEFORE_S, RepPictures
from trainer.settings import Settings, from_values
from trainer.store.file import open_store
from trainer.store.pictures import clip_of, pictures_dir
from trainer.store.writer import RepWriter
from trainer.words import NO_PICTURES


@pytest.fixture
def two():
    save(PlayerRecord(name="Ann", handed=Handed.RIGHT))
    save(PlayerRecord(name="Cleo", handed=Handed.RIGHT))


def live(theatre, **pictures):
    values = {"camera": {"source": "0.mp4"}, "pictures": pictures}
    settings, keeper = open_keeper("Ann", from_values(values, "test"))
    return run_live(
        settings,
        stage=theatre.stage,
        model=None,
        record=None,
        say=theatre.said.append,
        keeper=keeper,
    )


def pictures_of(clip):
    capture, found = cv2.VideoCapture(str(clip)), []
    while True:
        ok, picture = capture.read()
        if not ok:
            return found
        found.append(picture)


def kept_clips():
    with open_store() as store:
        return [clip_of(store, *place) for place in sorted(store.pictures_kept())]


def test_nothing_is_filmed_unless_asked_for(monkeypatch):
    theatre = Theatre(monkeypatch, [(good_reps(2), Handed.RIGHT)])
    live(theatre)
    assert not any(view.filming for view in theatre.screen.views)
    assert not pictures_dir().exists()
    assert kept_clips() == []
    assert not any("film" in line or "picture" in line for line in theatre.said)


def test_with_the_setting_every_whole_rep_is_filmed_seen_and_said(monkeypatch):
    monkeypatch.setattr("trainer.rep_pictures._WAITING", 10**6)  # a script comes all at once
    theatre = Theatre(monkeypatch, [(good_reps(2), Handed.RIGHT)])
    result = live(theatre, on=True)
    assert all(view.filming for view in theatre.screen.views)
    assert f"Reps are filmed, without sound, into {pictures_dir()} (I switches it off)." in (
        theatre.said
    )
    assert theatre.said[-2:] == ["2 reps kept.", f"2 of them with pictures, in {pictures_dir()}."]
    clips = kept_clips()
    assert [told.number for _, told in clips] == [rep.number for rep in result.reps] == [1, 2]
    for clip, told in clips:
        capture = cv2.VideoCapture(str(clip))
        assert capture.get(cv2.CAP_PROP_FRAME_COUNT) == told.frames


def test_the_key_begins_and_ends_it_and_says_so():
    frames, known = frames_and_poses(good_reps(1))
    writer, screen, seen = RepWriter(), FakeScreen(), []
    pictures = RepPictures(writer)

    def switch():
        screen.took.clear()
        screen.ask(KeyAction.FILM)
        screen.took.wait(10)
        count = len(screen.views)
        while len(screen.views) < count + 2:
            screen._nap.wait(0.001)
        seen.append((screen.views[-1].filming, screen.views[-1].answer))

    running, _, _ = mirror(
        FakeSource([*frames[:5], switch, *frames[5:10], switch, *frames[10:20]]),
        FakeEstimator(known),
        screen=screen,
        rep_keeper=rep_keeper(writer, pictures=pictures),
        bay=Bay(pictures=pictures),
    )
    outcome(running)
    pictures.close()
    writer.close()
    assert seen == [
        (True, "Filming: pictures round each rep are kept, no sound"),
        (False, "Not filming any more"),
    ]


def by_player():
    with open_store() as store:
        return sorted(store.pictures_kept().values())


def test_what_a_key_began_ends_with_the_next_player_who_was_not_asked(monkeypatch, two):
    monkeypatch.setattr("trainer.rep_pictures._WAITING", 10**6)
    run = BayRun(monkeypatch, good_reps(3), [(1.0, KeyAction.FILM), (5.0, KeyAction.NEXT_PLAYER)])
    run.live()
    assert run.views[1.0].filming
    assert not run.views[5.0].filming
    assert not any(view.filming for view in run.screen.views[-10:])
    assert by_player() == ["Ann"]


def test_by_the_setting_every_player_is_filmed_each_on_their_own_record(monkeypatch, two):
    monkeypatch.setattr("trainer.rep_pictures._WAITING", 10**6)
    run = BayRun(monkeypatch, good_reps(3), [(5.0, KeyAction.NEXT_PLAYER)])
    run.live(pictures={"on": True})
    assert all(view.filming for view in run.screen.views)
    assert by_player() == ["Ann", "Cleo", "Cleo"]


def test_where_no_rep_is_kept_the_key_says_why_it_does_nothing():
    frames, known = frames_and_poses(good_reps(1))
    screen = FakeScreen()
    screen.ask(KeyAction.FILM)
    running, _, _ = mirror(
        FakeSource([*frames[:5], screen.took.wait, *frames[5:]]),
        FakeEstimator(known),
        screen=screen,
    )
    outcome(running)
    assert NO_PICTURES in {view.answer for view in screen.views}
    assert not any(view.filming for view in screen.views)


def test_what_was_left_out_is_said_on_the_screen_and_at_the_end(monkeypatch):
    monkeypatch.setattr("trainer.rep_pictures._WAITING", 10**6)
    pictures_dir().parent.mkdir(parents=True, exist_ok=True)
    pictures_dir().write_text("in the way", encoding="ascii")
    theatre = Theatre(monkeypatch, [(good_reps(2), Handed.RIGHT)])
    result = live(theatre, on=True)
    assert len(result.reps) == 2
    assert "2 reps kept." in theatre.said
    assert theatre.said[-1].startswith("Rep 2 was not filmed: ")
    assert "was wanted. Make room, or switch filming off (I)." in theatre.said[-1]


def test_the_option_films_and_refuses_where_no_rep_is_kept():
    def settings(*words):
        return cli._settings(cli._parser().parse_args(["live", *words]))

    assert settings().pictures.on is Settings().pictures.on is False
    assert settings("--film").pictures.on is True
    with pytest.raises(SettingsError, match=r"--film was given, .* was wanted|were wanted"):
        settings("--film", "--no-keep")


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"on": 1}, "true or false"),
        ({"budget_mb": 5}, r"budget_mb is 5\. A value from 10 to"),
        ({"budget_mb": "2 GB"}, "A number was wanted"),
        ({"sound": True}, "sound"),
    ],
)
def test_settings_of_pictures_that_make_no_sense_are_refused(values, words):
    with pytest.raises(SettingsError, match=words):
        from_values({"pictures": values}, "test")


@pytest.mark.real_pose
def test_a_clip_played_as_a_camera_is_filmed_reported_and_forgotten(
    pose_model, monkeypatch, tmp_path, capsys
):
    """From end to end, as a player would: the demo clip, the real pose model, every command.

    The clip waits for the machine, so that a busy one drops no picture.
    """
    clip = demo_clips()[0].path
    monkeypatch.setattr("trainer.rep_pictures._WAITING", 10**6)
    monkeypatch.setattr("trainer.adapters.clips.PacedClip", SteppedClip)
    monkeypatch.setattr(
        "trainer.adapters.camera.open_source",
        lambda spec, **more: SteppedClip(lambda: ClipReader(spec), Path(spec).name),
    )

    def run(*words):
        assert cli.main(list(words)) == 0
        return capsys.readouterr().out

    said = run(
        "live", "--film", "--player", "Ann", "--camera", str(clip), "--screen", "none",
        "--sound", "off", "--model", str(pose_model),
    )  # fmt: skip
    assert f"1 of them with pictures, in {pictures_dir()}." in said
    ((film, told),) = kept_clips()
    capture = cv2.VideoCapture(str(film))
    assert capture.get(cv2.CAP_PROP_FRAME_COUNT) == told.frames
    assert capture.get(cv2.CAP_PROP_FPS) == told.rate_hz == 30
    # The clip was rendered, so its takeaway and top are known; the core finds them to 0.1 s or so.
    truth = json.loads(clip.with_suffix(".truth.json").read_text(encoding="utf-8"))["events"]
    middle_s = (truth["top_s"] + truth["top_end_s"]) / 2
    from_s = truth["takeaway_s"] - BEFORE_S
    assert told.top_frame / told.rate_hz == pytest.approx(middle_s - from_s, abs=0.2)
    source = [picture[::2, ::2] for picture in pictures_of(clip)]
    assert (told.height_px, told.width_px) == source[0].shape[:2]
    at_top = pictures_of(film)[told.top_frame].astype(int)
    likest = min(range(len(source)), key=lambda n: np.abs(at_top - source[n]).mean())
    assert truth["top_s"] - 0.1 <= likest / 30 <= truth["top_end_s"] + 0.1
    page = tmp_path / "page.html"
    run("report", "--player", "Ann", "--out", str(page))
    assert "data:image/jpeg;base64," in page.read_text(encoding="utf-8")
    run("forget", "Ann", "--yes")
    assert list(pictures_dir().iterdir()) == []
