"""Clips of reps, read back by OpenCV and by ffprobe: pictures, size, length, and no sound."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from trainer.adapters.rep_clip import MOST_PX, picture_in, small_jpeg, write_clip
from trainer.errors import PicturesError

ROOT = Path(__file__).resolve().parents[2]


#: Neighbours differ by far more than the coder loses.
LEVELS = [30 + 37 * number % 200 for number in range(60)]
LOST = 8


def grey(level, size_wh=(64, 48)):
    return np.full((size_wh[1], size_wh[0], 3), level, np.uint8)


def jpegs(levels, size_wh=(64, 48)):
    return [small_jpeg(grey(level, size_wh))[0] for level in levels]


def read_back(clip):
    capture = cv2.VideoCapture(str(clip))
    rate = capture.get(cv2.CAP_PROP_FPS)
    pictures = []
    while True:
        ok, picture = capture.read()
        if not ok:
            return pictures, rate
        pictures.append(picture)


def level_of(jpeg):
    return round(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR).mean())


@pytest.mark.parametrize(
    ("size_wh", "wanted"),
    [
        ((1280, 720), (640, 360)),
        ((1920, 1080), (960, 540)),
        ((720, 1280), (360, 640)),
        ((640, 480), (640, 480)),
        ((961, 721), (480, 360)),  # odd ones lose a line, for the coder wants even sizes
        ((3, 3), (2, 2)),
    ],
)
def test_a_picture_is_made_small_by_a_whole_number(size_wh, wanted):
    jpeg, told = small_jpeg(grey(90, size_wh))
    back = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert told == (back.shape[1], back.shape[0]) == wanted
    assert max(told) <= MOST_PX


def test_colours_and_left_and_right_stay_as_the_camera_saw_them():
    image = grey(0, (1280, 720))
    image[:, :640, 0] = 255  # red on the left
    image[:, 640:, 2] = 255  # blue on the right
    jpeg, _ = small_jpeg(image)
    back = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)  # blue first
    np.testing.assert_allclose(back[180, 100], (0, 0, 255), atol=12)
    np.testing.assert_allclose(back[180, 540], (255, 0, 0), atol=12)


def test_a_clip_read_back_has_every_picture_in_order_at_its_size_and_rate(tmp_path):
    levels = LEVELS
    clip = tmp_path / "in" / "a.mp4"
    assert write_clip(clip, jpegs(levels), (64, 48), 25, 100) == len(levels)
    pictures, rate = read_back(clip)
    assert rate == 25.0
    assert {picture.shape for picture in pictures} == {(48, 64, 3)}
    np.testing.assert_allclose([picture.mean() for picture in pictures], levels, atol=LOST)
    assert [p.name for p in clip.parent.iterdir()] == ["a.mp4"]


def test_any_picture_of_a_clip_is_found_by_its_number(tmp_path):
    levels = LEVELS
    clip = tmp_path / "a.mp4"
    write_clip(clip, jpegs(levels), (64, 48), 30, 100)
    found = [level_of(picture_in(clip, number)) for number in range(len(levels))]
    np.testing.assert_allclose(found, levels, atol=LOST)
    assert picture_in(clip, len(levels) + 50) is None
    assert picture_in(tmp_path / "none.mp4", 0) is None


def test_a_clip_has_pictures_only_by_another_reader(tmp_path):
    """By ffprobe (FFmpeg): one stream, of pictures, as long as they last."""
    if shutil.which("ffprobe") is None:
        pytest.skip("no ffprobe on this machine")
    clip = tmp_path / "a.mp4"
    write_clip(clip, jpegs(range(50, 110)), (64, 48), 30, 100)
    asked = ["ffprobe", "-v", "error", "-show_streams", "-of", "json", str(clip)]
    (stream,) = json.loads(subprocess.run(asked, capture_output=True, check=True).stdout)["streams"]
    assert (stream["codec_type"], stream["codec_name"]) == ("video", "mpeg4")
    assert (stream["width"], stream["height"], stream["nb_frames"]) == (64, 48, "60")
    assert float(stream["duration"]) == pytest.approx(2.0, abs=1e-3)


def test_a_folder_that_cannot_be_made_is_said_in_three_parts(tmp_path):
    (tmp_path / "file").write_text("", encoding="ascii")
    with pytest.raises(PicturesError, match=r"could not be written to .* was wanted\. Make room"):
        write_clip(tmp_path / "file" / "a.mp4", jpegs([1, 2]), (64, 48), 30, 100)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit of a file's size")
@pytest.mark.parametrize(
    ("likely", "why"), [(100_000, "File too large"), (10, "it did not come out whole")]
)
def test_a_clip_for_which_there_is_no_room_is_said_and_nothing_is_left(tmp_path, likely, why):
    """The system's own limit of a file's size stands in for a full disk."""
    child = f"""
import resource, signal
from pathlib import Path
import numpy as np
from trainer.adapters.rep_clip import small_jpeg, write_clip
from trainer.errors import PicturesError
noise = np.random.default_rng(1)
made = [small_jpeg(noise.integers(0, 256, (360, 640, 3), np.uint8))[0] for _ in range(30)]
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (16384, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
try:
    write_clip(Path("a.mp4"), made, (640, 360), 30, {likely})
except PicturesError as error:
    print(error)
"""
    done = subprocess.run(
        [sys.executable, "-c", child],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(f"a.mp4 could not be written to . ({why})")
    assert list(tmp_path.iterdir()) == []
