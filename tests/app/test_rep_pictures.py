"""Reps are filmed from before the takeaway to after the top, and are never waited for."""

import threading
from dataclasses import replace

import cv2
import kept_reps
import numpy as np
import pytest
from fakes import GENEROUS_S

from trainer import rep_pictures
from trainer.core.records import Frame, Rep
from trainer.core.rules import Rules
from trainer.core.summary import RepWords
from trainer.errors import PicturesError
from trainer.rep_pictures import AFTER_S, BEFORE_S, MOST_S, RepPictures
from trainer.store.care import forget
from trainer.store.file import open_store, store_path
from trainer.store.gather import FinishedRep
from trainer.store.pictures import clip_of, pictures_dir
from trainer.store.writer import RepWriter

SIZE_WH = (64, 48)
SESSION = kept_reps.session()


def level(number):
    """Neighbours differ by far more than the coder loses."""
    return 30 + 37 * number % 200


def frame(number, hz=30.0, start_s=0.0, size_wh=SIZE_WH):
    image = np.full((size_wh[1], size_wh[0], 3), level(number), np.uint8)
    return Frame(t_s=start_s + number / hz, index=number, image_rgb=image)


def rep(number=1, takeaway_s=3.0, top_s=4.0, top_end_s=4.4):
    return Rep(
        number=number,
        setup_t_s=takeaway_s - 1.0,
        takeaway_t_s=takeaway_s,
        top_t_s=top_s,
        top_end_t_s=top_end_s,
        complete=True,
    )


class Film:
    """A writer and what films for it; ``show`` hands pictures over one by one."""

    def __init__(self, **given):
        self.writer = RepWriter(retry_s=0.02, last_try_s=0.2)
        self.pictures = RepPictures(self.writer, on=True, **given)

    def show(self, frames, reps=(), *, keep=True):
        """``reps``: handed over as soon as their top has ended, as the core does."""
        reps = list(reps)
        for one in frames:
            self.pictures.see(one)
            done(lambda: self.pictures._queue.empty())
            while reps and reps[0].top_end_t_s + 0.1 <= one.t_s:
                self.rep(reps.pop(0), keep=keep)

    def rep(self, made, *, keep=True):
        if keep:
            self.writer.put(
                FinishedRep(
                    session=SESSION,
                    ended=kept_reps.BEGAN,
                    rep=made,
                    rules=Rules(),
                    verdict=RepWords(good=True, headline="Good rep", details=()),
                    reference=None,
                    readings=(),
                )
            )
        self.pictures.keep(made, SESSION.uid)

    def close(self):
        self.pictures.close()
        self.writer.close()

    def clip(self, number=1):
        """Return the rep's clip read back, and what the record tells of it."""
        with open_store() as store:
            clip, told = clip_of(store, SESSION.uid, number)
        capture = cv2.VideoCapture(str(clip))
        levels = []
        while True:
            ok, picture = capture.read()
            if not ok:
                break
            levels.append(picture.mean())
        assert capture.get(cv2.CAP_PROP_FPS) == told.rate_hz
        assert len(levels) == told.frames
        return levels, told


def done(wanted):
    """Wait until it is so."""
    limit = threading.Event()
    for _ in range(int(GENEROUS_S * 2000)):
        if wanted():
            return
        limit.wait(0.0005)
    raise AssertionError("it never came about")


@pytest.fixture
def film():
    made = []

    def begin(**given):
        made.append(Film(**given))
        return made[-1]

    yield begin
    for one in made:
        one.close()


def test_a_clip_runs_from_before_the_takeaway_to_after_the_top(film):
    filming = film()
    filming.show((frame(n) for n in range(240)), [rep()])
    filming.close()
    levels, told = filming.clip()
    first, last = round(30 * (3.0 - BEFORE_S)), round(30 * (4.4 + AFTER_S))
    wanted = [level(n) for n in range(first, last + 1)]
    np.testing.assert_allclose(levels, wanted, atol=8)
    assert (told.rate_hz, told.width_px, told.height_px) == (30, *SIZE_WH)
    # The middle of the top, 4.2 s, is picture 126 of the camera.
    assert levels[told.top_frame] == pytest.approx(level(126), abs=8)
    assert (filming.writer.kept, filming.writer.filmed) == (1, 1)
    assert filming.pictures.trouble == ""


def test_a_slow_backswing_gives_its_last_seconds(film):
    filming = film()
    slow = rep(takeaway_s=2.0, top_s=19.0, top_end_s=20.0)
    filming.show((frame(n) for n in range(30 * 23)), [slow])
    filming.close()
    levels, told = filming.clip()
    assert told.frames == round(30 * MOST_S) + 1
    assert levels[told.top_frame] == pytest.approx(level(round(30 * 19.5)), abs=8)


@pytest.mark.parametrize(
    ("camera_hz", "clip_hz"), [(60.0, 30), (50.0, 30), (120.0, 30), (15.0, 15)]
)
def test_a_clip_lasts_as_long_as_it_was_at_any_camera_rate(film, camera_hz, clip_hz):
    filming = film()
    filming.show((frame(n, camera_hz) for n in range(int(camera_hz * 7))), [rep()])
    filming.close()
    _, told = filming.clip()
    assert told.rate_hz == clip_hz
    length_s = 4.4 + AFTER_S - (3.0 - BEFORE_S)
    assert (told.frames - 1) / told.rate_hz == pytest.approx(length_s, abs=2 / clip_hz)


def test_unevenly_timed_pictures_still_play_as_fast_as_they_were(film):
    filming = film()
    rng = np.random.default_rng(5)
    frames = [replace(f, t_s=f.t_s + rng.uniform(0, 0.012)) for f in (frame(n) for n in range(240))]
    gone = [f for f in frames if not 3.4 < f.t_s < 3.7]  # nine of them were dropped
    filming.show(gone, [rep()])
    filming.close()
    levels, told = filming.clip()
    length_s = 4.4 + AFTER_S - (3.0 - BEFORE_S)
    assert (told.frames - 1) / told.rate_hz == pytest.approx(length_s, abs=0.12)
    middle = level(min(frames, key=lambda f: abs(f.t_s - 4.2)).index)
    near = levels[max(told.top_frame - 1, 0) : told.top_frame + 2]
    assert min(abs(one - middle) for one in near) < 8


def test_two_reps_close_to_each_other_get_a_clip_each(film):
    filming = film()
    filming.show(
        (frame(n) for n in range(300)), [rep(1), rep(2, takeaway_s=5.0, top_s=6.0, top_end_s=6.3)]
    )
    filming.close()
    assert filming.writer.filmed == 2
    _, told = filming.clip(2)
    assert told.number == 2


def test_what_is_held_in_memory_has_bounds_in_seconds_and_in_bytes(film, monkeypatch):
    filming = film()
    filming.show(frame(n) for n in range(600))
    ring = filming.pictures._ring
    assert ring[-1].t_s - ring[0].t_s <= MOST_S + 1.0
    assert filming.pictures._ring_bytes == sum(len(one.jpeg) for one in ring)
    monkeypatch.setattr(rep_pictures, "_HELD_BYTES", 20_000)
    filming.show(frame(n) for n in range(600, 640))
    assert sum(len(one.jpeg) for one in ring) <= 20_000


def test_nothing_is_held_unless_it_is_switched_on(tmp_path):
    writer = RepWriter()
    pictures = RepPictures(writer)
    pictures.see(frame(1))
    pictures.keep(rep(), SESSION.uid)
    assert (pictures.on, pictures._threads, pictures._queue.qsize()) == (False, [], 0)
    assert pictures.switch() == "Filming: pictures round each rep are kept, no sound"
    assert pictures.switch() == "Not filming any more"
    pictures.close()
    writer.close()
    assert not pictures_dir().exists()


def test_switched_off_it_lets_go_what_it_held(film):
    filming = film()
    filming.show(frame(n) for n in range(60))
    assert filming.pictures._ring
    filming.pictures.switch()
    done(lambda: not filming.pictures._ring)
    filming.pictures.switch()
    filming.show((frame(n) for n in range(60, 240)), [rep()])
    filming.close()
    levels, _ = filming.clip()
    assert levels[0] == pytest.approx(level(60), abs=8)  # as from 2 s on


def test_a_rep_that_was_not_seen_to_its_end_is_not_filmed(film):
    filming = film()
    filming.show(frame(n) for n in range(200))
    filming.rep(replace(rep(), complete=False, top_t_s=None, top_end_t_s=None))
    filming.close()
    assert (filming.writer.kept, filming.writer.filmed) == (1, 0)


def test_a_machine_too_slow_leaves_pictures_out_and_says_so(film, monkeypatch):
    """The first thread stands still; handing pictures on does not."""
    filming, still = film(), threading.Event()
    from trainer.adapters import rep_clip

    quick = rep_clip.small_jpeg

    def slow(image):
        assert still.wait(GENEROUS_S)
        return quick(image)

    monkeypatch.setattr(rep_clip, "small_jpeg", slow)
    for number in range(60, 180):
        filming.pictures.see(frame(number))
    assert filming.pictures._queue.qsize() <= rep_pictures._WAITING
    filming.rep(rep())
    still.set()
    filming.close()
    assert filming.pictures.trouble.startswith("The machine is too slow to film: ")
    assert filming.pictures.trouble.endswith(" pictures of rep 1 are left out.")


def test_a_disk_too_slow_costs_clips_and_never_a_rep(film, monkeypatch):
    filming, still = film(), threading.Event()
    from trainer.adapters import rep_clip

    quick = rep_clip.write_clip

    def slow(*given):
        assert still.wait(GENEROUS_S)
        return quick(*given)

    monkeypatch.setattr(rep_clip, "write_clip", slow)
    reps = [
        rep(n, takeaway_s=4.0 * n, top_s=4.0 * n + 1.0, top_end_s=4.0 * n + 1.3)
        for n in range(1, 6)
    ]
    filming.show((frame(n) for n in range(30 * 25)), reps)
    assert filming.pictures.trouble == "The disk is too slow: rep 5 was not filmed."
    still.set()
    filming.close()
    assert (filming.writer.kept, filming.writer.filmed) == (5, 3)


def test_a_clip_that_cannot_be_written_is_said_and_the_rep_is_kept(film, monkeypatch):
    filming = film()
    filming.pictures.folder.write_text("in the way", encoding="ascii")
    filming.show((frame(n) for n in range(240)), [rep()])
    filming.close()
    assert filming.pictures.trouble.startswith("Rep 1 was not filmed: ")
    assert filming.pictures.trouble.endswith("Make room, or switch filming off (I).")
    assert (filming.writer.kept, filming.writer.filmed) == (1, 0)


def test_when_no_more_pictures_come_the_clip_ends_with_those_there_are(film, monkeypatch):
    monkeypatch.setattr(rep_pictures, "_PATIENCE_S", 0.05)
    filming = film()
    filming.show((frame(n) for n in range(140)), [rep()])  # 0.26 s after the top
    done(lambda: filming.writer.filmed == 1)
    filming.close()
    levels, _ = filming.clip()
    assert levels[-1] == pytest.approx(level(139), abs=8)


def test_a_camera_that_changes_its_size_gives_the_part_after(film):
    filming = film()
    frames = [frame(n, size_wh=SIZE_WH if n < 100 else (80, 60)) for n in range(240)]
    filming.show(frames, [rep()])
    filming.close()
    levels, told = filming.clip()
    assert (told.width_px, told.height_px) == (80, 60)
    assert levels[0] == pytest.approx(level(100), abs=8)


def test_beyond_the_budget_the_oldest_go_and_their_reps_stay(film):
    reps = [
        rep(n, takeaway_s=4.0 * n, top_s=4.0 * n + 1.0, top_end_s=4.0 * n + 1.3)
        for n in range(1, 5)
    ]
    filming = film()
    filming.show((frame(n) for n in range(30 * 19)), reps[:3])
    done(lambda: filming.writer.filmed == 3)
    with open_store() as store:
        sizes = [clip_of(store, SESSION.uid, n)[1].bytes for n in (1, 2, 3)]
    # Room for the newest two: that of the second must go too, and the first.
    filming.pictures._most_bytes = sizes[2] + sizes[2] // 2
    filming.show((frame(n) for n in range(30 * 19, 30 * 23)), reps[3:])
    filming.close()
    assert (filming.writer.kept, filming.writer.filmed, filming.writer.thrown) == (4, 4, 3)
    with open_store() as store:
        assert [one.rep.number for one in store.all_reps()] == [1, 2, 3, 4]
        assert set(store.pictures_kept()) == {(SESSION.uid, 4)}
    assert [p.name for p in pictures_dir().iterdir()] == [f"{SESSION.uid}-4.mp4"]


def test_a_rep_forgotten_while_its_clip_is_written_leaves_no_picture(film, monkeypatch):
    filming, still = film(), threading.Event()
    from trainer.adapters import rep_clip

    quick = rep_clip.write_clip

    def slow(*given):
        assert still.wait(GENEROUS_S)
        return quick(*given)

    monkeypatch.setattr(rep_clip, "write_clip", slow)
    filming.show((frame(n) for n in range(240)), [rep()])
    done(lambda: filming.writer.kept == 1)
    forget("Ann")
    still.set()
    filming.close()
    assert list(pictures_dir().iterdir()) == []
    assert filming.writer.trouble == ""


def test_a_fault_of_our_own_costs_pictures_only(film, monkeypatch):
    filming = film()
    from trainer.adapters import rep_clip

    def broken(image):
        raise ZeroDivisionError("a fault")

    monkeypatch.setattr(rep_clip, "small_jpeg", broken)
    filming.show((frame(n) for n in range(160)), [rep()])
    filming.close()
    assert filming.writer.kept == 1
    assert "Rep 1 was not filmed: no pictures of it were held." in filming.pictures.trouble


def test_a_refusal_while_clips_are_thrown_out_is_said(film, monkeypatch):
    def refused(store, most_bytes):
        raise PicturesError("a.mp4 could not be deleted (in use). A folder was wanted. Close it.")

    monkeypatch.setattr("trainer.store.writer.keep_within", refused)
    filming = film()
    filming.show((frame(n) for n in range(240)), [rep()])
    filming.close()
    assert filming.writer.trouble.startswith("a.mp4 could not be deleted")
    assert store_path().exists()
