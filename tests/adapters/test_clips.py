"""Video files made on the spot, with times and turns written by other programs."""

import os
import shutil
import struct
import subprocess
import time
from itertools import pairwise

import cv2
import numpy as np
import pytest

from trainer.adapters.camera import open_source
from trainer.adapters.clips import ClipReader, PacedClip, SteppedClip, clip_facts, read_clip
from trainer.errors import CameraError
from trainer.ports import SourceState

WAIT_S = 20.0
SIZE_WH = (128, 96)


def write_clip(path, *, frames=12, fps=30.0, fourcc="mp4v", size_wh=SIZE_WH):
    """Write a clip whose left half is red and whose brightness on the right counts the frames."""
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*fourcc), fps, size_wh)
    assert writer.isOpened()
    for index in range(frames):
        image = np.zeros((size_wh[1], size_wh[0], 3), np.uint8)
        image[:, : size_wh[0] // 2] = (20, 30, 220)
        image[:, size_wh[0] // 2 :] = index * 255 // frames
        writer.write(image)
    writer.release()
    return path


def number_of(frame, frames):
    """Which frame it is, from the brightness of its right half."""
    return round(frame.image_rgb[:, -32:].mean() * frames / 255)


def ffmpeg(*arguments):
    if shutil.which("ffmpeg") is None:
        pytest.skip("the ffmpeg program is not installed")
    subprocess.run(["ffmpeg", "-v", "error", "-y", *map(str, arguments)], check=True, timeout=60)


def stamps_by_ffprobe(path):
    """Every picture's presentation time, read by another program."""
    if shutil.which("ffprobe") is None:
        pytest.skip("the ffprobe program is not installed")
    answer = subprocess.run(
        ["ffprobe", "-v", "error", "-select_streams", "v"]
        + ["-show_entries", "frame=pts_time", "-of", "csv=p=0", str(path)],
        check=True,
        capture_output=True,
        text=True,
        timeout=60,
    )
    stamps = [float(line.strip(",")) for line in answer.stdout.split() if line.strip(",")]
    return [stamp - stamps[0] for stamp in stamps]


def with_matrix(data: bytes, a: int, b: int, c: int, d: int) -> bytes:
    """Return an mp4 with the display matrix of its track header (ISO/IEC 14496-12, 8.3.2)."""
    at = data.index(b"tkhd") + 4
    version = data[at]
    at += 4 + (20 if version == 0 else 32) + 16  # version/flags, times/ids, layer..reserved
    matrix = struct.pack(">9i", a << 16, b << 16, 0, c << 16, d << 16, 0, 0, 0, 1 << 30)
    return data[:at] + matrix + data[at + 36 :]


@pytest.mark.parametrize(("name", "fourcc"), [("c.mp4", "mp4v"), ("c.avi", "MJPG")])
def test_every_picture_of_a_clip_comes_once_in_order_from_time_zero(tmp_path, name, fourcc):
    path = write_clip(tmp_path / name, frames=15, fps=25.0, fourcc=fourcc)
    frames = list(read_clip(path))
    assert [number_of(frame, 15) for frame in frames] == list(range(15))
    assert [frame.index for frame in frames] == list(range(15))
    assert frames[0].t_s == 0.0
    assert [frame.t_s for frame in frames] == pytest.approx([i / 25 for i in range(15)], abs=1e-3)
    picture = frames[0].image_rgb
    assert picture.shape == (96, 128, 3)
    assert picture.flags.c_contiguous
    assert picture[48, 20, 0] > 180, "red is the first channel"
    assert picture[48, 20, 2] < 70
    facts = clip_facts(path)
    assert facts.size_wh == SIZE_WH
    assert facts.played_fps == pytest.approx(25.0)
    assert facts.frames == 15
    assert facts.duration_s == pytest.approx(0.6, abs=0.02)
    assert facts.own_times


def test_a_name_with_a_colon_or_letters_of_any_script_is_a_file(tmp_path):
    path = write_clip(tmp_path / "plain.avi", fourcc="MJPG")
    colon = ["a:b.avi"] if os.name != "nt" else []  # Windows allows none in a name
    for name in [*colon, "Übung 1 練習.avi", "take %03d.avi"]:
        copy = tmp_path / name
        copy.write_bytes(path.read_bytes())
        assert len(list(read_clip(copy))) == 12


def test_slow_motion_times_are_real_times(tmp_path):
    path = write_clip(tmp_path / "slow.mp4", frames=24, fps=30.0)
    times = [frame.t_s for frame in read_clip(path, recorded_fps=240)]
    # 24 pictures taken at 240 a second lie 1/240 s apart (by definition of the rate).
    assert times == pytest.approx([i / 240 for i in range(24)], abs=2e-4)
    facts = clip_facts(path, recorded_fps=240)
    assert facts.recorded_fps == 240
    assert facts.played_fps == pytest.approx(30.0)
    assert facts.duration_s == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize("rate", [0, -240, float("nan"), 12])
def test_a_recording_rate_that_cannot_be_is_refused(tmp_path, rate):
    path = write_clip(tmp_path / "c.avi", fourcc="MJPG")
    with pytest.raises(CameraError, match="Try"):
        list(read_clip(path, recorded_fps=rate))


@pytest.mark.parametrize(
    ("matrix", "turned"),
    [
        ((0, 1, -1, 0), "left is top"),
        ((-1, 0, 0, -1), "left is right"),
        ((0, -1, 1, 0), "left is bottom"),
    ],
)
def test_a_clip_held_sideways_comes_upright(tmp_path, matrix, turned):
    # (p, q) -> (a p + c q, b p + d q), ISO/IEC 14496-12: (0, 1, -1, 0) turns clockwise by 90.
    path = write_clip(tmp_path / "c.mp4")
    path.write_bytes(with_matrix(path.read_bytes(), *matrix))
    frame = next(iter(read_clip(path)))
    picture = frame.image_rgb
    at = {
        "left is top": (20, 48),
        "left is right": (48, 100),
        "left is bottom": (100, 48),
    }[turned]
    assert picture.shape == ((96, 128, 3) if turned == "left is right" else (128, 96, 3))
    assert picture[at][0] > 180
    assert picture[at][2] < 70
    assert clip_facts(path).size_wh == (picture.shape[1], picture.shape[0])


def test_rotate_and_mirrored_undo_a_turned_and_mirrored_clip(tmp_path):
    path = write_clip(tmp_path / "c.avi", fourcc="MJPG")
    picture = next(iter(read_clip(path, rotate=90, mirrored=True))).image_rgb
    # Mirrored back, red is right; turned clockwise, right is bottom.
    assert picture.shape == (128, 96, 3)
    assert picture[110, 48, 0] > 180
    with pytest.raises(CameraError, match=r"45 degrees.*0, 90, 180 or 270.*Try"):
        next(iter(read_clip(path, rotate=45)))


@pytest.mark.parametrize("kind", ["mp4", "mkv"])
def test_an_uneven_frame_rate_keeps_the_presentation_times(tmp_path, kind):
    # H.264 with B-frames: pictures are stored out of order, as phones do.
    even, uneven = tmp_path / "even.avi", tmp_path / f"uneven.{kind}"
    write_clip(even, frames=30, fourcc="MJPG")
    ffmpeg("-i", even, "-vf", "setpts=(N+floor(N/5)*3)/30/TB", "-vsync", "vfr",
           "-c:v", "libx264", "-bf", "3", "-pix_fmt", "yuv420p", uneven)  # fmt: skip
    frames = list(read_clip(uneven))
    assert [number_of(frame, 30) for frame in frames] == list(range(30))
    times = [frame.t_s for frame in frames]
    # Frame n was placed at (n + 3 floor(n / 5)) / 30 s; mkv keeps whole milliseconds.
    assert times == pytest.approx([(n + n // 5 * 3) / 30 for n in range(30)], abs=1.1e-3)
    assert times == pytest.approx(stamps_by_ffprobe(uneven), abs=1e-3)
    assert all(a < b for a, b in pairwise(times))


def test_a_turned_h264_clip_by_ffmpeg_comes_upright(tmp_path):
    plain, level, turned = (tmp_path / name for name in ("c.avi", "c.mp4", "t.mp4"))
    write_clip(plain, fourcc="MJPG")
    ffmpeg("-i", plain, "-c:v", "libx264", "-pix_fmt", "yuv420p", level)
    level.write_bytes(with_matrix(level.read_bytes(), 0, 1, -1, 0))
    ffmpeg("-i", level, "-vf", "null", "-c:v", "libx264", turned)  # ffmpeg turns it upright
    ours = next(iter(read_clip(level))).image_rgb
    theirs = next(iter(read_clip(turned))).image_rgb
    assert ours.shape == theirs.shape == (128, 96, 3)
    assert np.abs(ours.astype(int) - theirs.astype(int)).mean() < 6


def test_a_clip_that_starts_late_in_its_container_starts_at_zero(tmp_path):
    plain, late = tmp_path / "c.avi", tmp_path / "late.ts"
    write_clip(plain, fourcc="MJPG")
    ffmpeg("-i", plain, "-c:v", "libx264", "-pix_fmt", "yuv420p", "-output_ts_offset", 42, late)
    times = [frame.t_s for frame in read_clip(late)]
    assert times == pytest.approx([i / 30 for i in range(12)], abs=1e-3)


def test_a_stream_without_time_stamps_is_timed_by_its_frame_rate(tmp_path):
    plain, raw = tmp_path / "c.avi", tmp_path / "raw.h264"
    write_clip(plain, fourcc="MJPG")
    ffmpeg("-i", plain, "-c:v", "libx264", "-pix_fmt", "yuv420p", "-f", "h264", raw)
    facts = clip_facts(raw)
    assert not facts.own_times
    assert facts.frames is None
    times = [frame.t_s for frame in read_clip(raw)]
    assert times == pytest.approx([i / facts.played_fps for i in range(12)])


class FakeClip:
    """A capture whose stamps, in seconds, are given; None is a picture that cannot be decoded."""

    def __init__(self, stamps_s, *, fps=30.0, count=0.0, pictures=None):
        self.stamps_s, self.fps, self.count = list(stamps_s), fps, count
        self.pictures = pictures or {}
        self.at = -1
        self.released = 0

    def isOpened(self):
        return True

    def grab(self):
        self.at += 1
        return self.at < len(self.stamps_s)

    def retrieve(self):
        picture = self.pictures.get(self.at, np.full((4, 6, 3), self.at, np.uint8))
        return picture is not None, picture

    def get(self, prop):
        known = {
            cv2.CAP_PROP_FPS: self.fps,
            cv2.CAP_PROP_FRAME_COUNT: self.count,
            cv2.CAP_PROP_POS_MSEC: self.stamps_s[min(self.at, len(self.stamps_s) - 1)] * 1000,
        }
        return known.get(prop, 0.0)

    def set(self, prop, value):
        return False

    def release(self):
        self.released += 1


def fake_reader(tmp_path, capture, **options):
    path = tmp_path / "fake.mp4"
    path.write_bytes(b"\0" * 64)
    return ClipReader(path, open_capture=lambda _: capture, **options)


@pytest.mark.parametrize(
    ("stamps_s", "times_s"),
    [
        ([0, 0.1, 0.1, 0.3], [0, 0.1, 0.2, 0.3]),  # a stamp twice
        ([0, 0.1, 0.0, 0.1, 0.35], [0, 0.1, 0.2, 0.3, 0.35]),  # set back in the middle
        ([7, 7.1, 7.2], [0, 0.1, 0.2]),  # starts late
        ([0, 0.1, 90000.2, 90000.3], [0, 0.1, 0.2, 0.3]),  # leaps: a wrapped counter
        ([0, 0, 0, 0], [0, 0.1, 0.2, 0.3]),  # no stamps
        ([float("nan")] * 3, [0, 0.1, 0.2]),
    ],
)
def test_times_strictly_increase_whatever_the_container_says(tmp_path, stamps_s, times_s):
    with fake_reader(tmp_path, FakeClip(stamps_s, fps=10.0)) as reader:
        assert [frame.t_s for frame in reader] == pytest.approx(times_s)


@pytest.mark.parametrize("fps", [0.0, -1.0, float("nan"), 90000.0])
def test_a_clip_without_a_frame_rate_takes_it_from_its_stamps(tmp_path, fps):
    with fake_reader(tmp_path, FakeClip([0, 0.02, 0.04], fps=fps)) as reader:
        assert reader.facts.played_fps == pytest.approx(50.0)
        assert [frame.t_s for frame in reader] == pytest.approx([0, 0.02, 0.04])


def test_a_picture_that_cannot_be_decoded_is_left_out_and_keeps_its_time(tmp_path):
    capture = FakeClip([0, 0.1, 0.2, 0.3], fps=10.0, pictures={2: None})
    with fake_reader(tmp_path, capture) as reader:
        assert [frame.t_s for frame in reader] == pytest.approx([0, 0.1, 0.3])


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"# notes\njust words, no pictures\n" * 50, "is a text file"),
        (bytes(range(256)) * 40, "could not be opened as a video"),
    ],
)
def test_a_file_that_is_no_video_says_so(tmp_path, content, words):
    path = tmp_path / "swing.mp4"
    path.write_bytes(content)
    with pytest.raises(CameraError, match=rf"swing\.mp4 {words}.*wanted.*Try"):
        open_source(path.as_posix()).open()


def test_a_single_picture_is_no_clip(tmp_path):
    path = tmp_path / "photo.png"
    cv2.imwrite(str(path), np.zeros((48, 64, 3), np.uint8))
    with pytest.raises(CameraError, match=r"one picture only.*Try"):
        clip_facts(path)


def test_a_missing_file_and_a_folder_say_so(tmp_path):
    with pytest.raises(CameraError, match=r"does not exist.*wanted.*Try"):
        open_source(str(tmp_path / "none.mp4")).open()
    with pytest.raises(CameraError, match=r"is a folder.*wanted.*Try"):
        open_source(str(tmp_path)).open()


def test_a_file_that_may_not_be_read_says_so(tmp_path, monkeypatch):
    path = write_clip(tmp_path / "c.avi", fourcc="MJPG")

    def denied(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", denied)  # tests may run as root, who may read all
    with pytest.raises(CameraError, match=r"may not be read by this user.*Try"):
        clip_facts(path)


def test_a_clip_cut_off_plays_what_is_whole_and_says_so(tmp_path):
    whole, cut = tmp_path / "c.avi", tmp_path / "cut.avi"
    data = write_clip(whole, frames=60, fourcc="MJPG").read_bytes()
    cut.write_bytes(data[: len(data) // 2])
    with ClipReader(cut) as reader:
        frames = list(reader)
        assert 15 <= len(frames) < 60
        assert [number_of(f, 60) for f in frames] == list(range(len(frames)))
        assert "cut off" in reader.cut_short
    with ClipReader(whole) as reader:
        assert len(list(reader)) == 60
        assert reader.cut_short == ""


def test_an_mp4_cut_off_before_its_index_is_refused(tmp_path):
    path = write_clip(tmp_path / "c.mp4", frames=60)
    data = path.read_bytes()
    assert data.index(b"moov") > len(data) // 2, "this writer puts the index last"
    path.write_bytes(data[: len(data) // 2])
    with pytest.raises(CameraError, match=r"could not be opened.*copy it again"):
        clip_facts(path)


def test_the_reader_lets_the_file_go_also_when_it_is_refused(tmp_path):
    capture = FakeClip([0])
    with pytest.raises(CameraError):
        fake_reader(tmp_path, capture)
    assert capture.released == 1
    half_read = FakeClip([0, 0.1, 0.2])
    with fake_reader(tmp_path, half_read) as reader:
        next(iter(reader))
    assert half_read.released == 1


def played(source):
    frames, end_s = [], time.monotonic() + WAIT_S
    while time.monotonic() < end_s:
        frame = source.get(0.2)
        if frame is not None:
            frames.append(frame)
        elif source.status().state is SourceState.ENDED:
            return frames
    raise AssertionError("the clip did not end")


def test_a_paced_clip_lets_no_picture_out_before_its_time_and_then_ends(tmp_path):
    path = write_clip(tmp_path / "c.avi", frames=20, fps=25.0, fourcc="MJPG")
    source = open_source(str(path))
    assert source.name == "c.avi"
    source.open()
    frames = []
    while (frame := source.get(WAIT_S)) is not None:
        assert source.now_s() >= frame.t_s
        frames.append(frame)
    status = source.status()
    assert status.state is SourceState.ENDED
    assert status.text == ""
    assert status.size_wh == SIZE_WH
    assert frames[-1].index == 19, "the last picture is handed out before the end"
    assert len(frames) + status.dropped == 20
    times = [frame.t_s for frame in frames]
    assert times == pytest.approx([frame.index / 25 for frame in frames], abs=1e-3)
    source.close()
    source.close()
    assert source.get(0.0) is None


def test_a_slow_consumer_of_a_paced_clip_gets_the_newest_and_the_rest_are_counted(tmp_path):
    path = write_clip(tmp_path / "c.avi", frames=20, fps=100.0, fourcc="MJPG")
    source = open_source(str(path))
    source.open()
    end_s = time.monotonic() + WAIT_S
    while source.status().state is not SourceState.ENDED and time.monotonic() < end_s:
        time.sleep(0.01)
    frame = source.get(0.0)
    assert frame.index == 19
    assert source.status().dropped == 19
    assert source.get(0.0) is None
    source.close()


def test_an_unpaced_clip_drops_nothing(tmp_path):
    path = write_clip(tmp_path / "c.avi", frames=20, fourcc="MJPG")
    source = open_source(str(path), paced=False, recorded_fps=240)
    assert source.status().state is SourceState.STARTING
    source.open()
    first = source.get(0.0)
    assert source.now_s() >= first.t_s == 0.0
    frames = [first, *played(source)]
    assert [frame.index for frame in frames] == list(range(20))
    assert source.now_s() >= frames[-1].t_s
    assert frames[-1].t_s == pytest.approx(19 / 240, abs=1e-4)
    assert source.status().dropped == 0
    source.close()


def test_closing_a_paced_clip_in_the_middle_stops_it(tmp_path):
    path = write_clip(tmp_path / "c.avi", frames=40, fps=1.0, fourcc="MJPG")
    source = open_source(str(path))
    source.open()
    assert source.get(WAIT_S).t_s == 0.0
    source.close()
    assert source.get(0.0) is None
    with pytest.raises(CameraError, match="opened before"):
        source.open()


def test_a_paced_clip_lets_its_file_go_at_the_end_and_when_never_played(tmp_path):
    capture = FakeClip([0, 0.01, 0.02], fps=100.0)
    source = PacedClip(lambda: fake_reader(tmp_path, capture), "fake.mp4")
    source.open()
    played(source)
    source.close()
    assert capture.released >= 1
    SteppedClip(lambda: fake_reader(tmp_path, capture), "fake.mp4").close()  # never opened


def test_a_paced_clip_whose_reading_fails_ends_and_says_so(tmp_path):
    def fail():
        raise RuntimeError("the disk is gone")

    capture = FakeClip([0, 0.01, 0.02], fps=100.0)
    reader = fake_reader(tmp_path, capture)
    capture.grab = fail
    source = PacedClip(lambda: reader, "fake.mp4")
    source.open()
    played(source)
    assert "could not be read any further: the disk is gone" in source.status().text
    source.close()
