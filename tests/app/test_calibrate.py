"""Calibration from a camera, a clip and a folder of pictures, with what is said on the way."""

import datetime

import cv2
import numpy as np
import pytest
import sheet_views

from trainer.calibrate import calibrate_source, run_calibrate
from trainer.cli import main
from trainer.core.records import Frame
from trainer.errors import CameraError, LensError
from trainer.lenses import find, load
from trainer.ports import SourceState, SourceStatus
from trainer.settings import CameraSettings

DAY = datetime.date(2026, 5, 31)


class Pictures:
    """A source that hands out pictures, each ``times`` times, a tenth of a second apart."""

    name = "camera 0"

    def __init__(self, pictures, times=1, empty_s=0.0):
        self._left = [picture for picture in pictures for _ in range(times)]
        self._t_s = 0.0
        self._empty_s = empty_s
        self.open_now = False

    def open(self):
        self.open_now = True

    def get(self, timeout_s):
        if self._left:
            self._t_s += 0.1
            return Frame(t_s=self._t_s, index=0, image_rgb=self._left.pop(0))
        self._t_s += timeout_s
        return None

    def now_s(self):
        return self._t_s

    def status(self):
        ended = not self._left and self._t_s > self._empty_s
        state = SourceState.ENDED if ended else SourceState.RUNNING
        return SourceStatus(state=state, text="", size_wh=None, measured_fps=None, dropped=0)

    def close(self):
        self.open_now = False


@pytest.fixture(scope="module")
def pictures():
    return sheet_views.sheet_views()


def files(pictures, folder):
    folder.mkdir(exist_ok=True)
    for number, picture in enumerate(pictures):
        cv2.imwrite(str(folder / f"{number:02}.png"), picture[:, :, ::-1])
    return folder


def test_a_camera_is_calibrated_as_soon_as_the_views_are_enough(pictures):
    said = []
    source = Pictures([*pictures, *pictures], times=2)
    record = calibrate_source(source, name=None, today=DAY, say=said.append)
    assert not source.open_now
    assert record.camera == "camera 0"
    assert record.views <= len(pictures)
    assert record.lens.focal_px == pytest.approx(sheet_views.FOCAL_PX, rel=0.005)
    kept, trouble = load("camera 0", sheet_views.SIZE_WH)
    assert trouble == ""
    assert (kept.date, kept.views) == (DAY, record.views)
    assert kept.lens.focal_px == pytest.approx(record.lens.focal_px, abs=1e-3)
    text = "\n".join(said)
    assert "View 1 kept. Now bring the sheet " in text
    assert f"Reprojection error {record.error_px:.2f} pixels" in text


def test_a_sheet_that_moves_is_passed_over(pictures):
    source = Pictures(pictures, times=1)  # each picture shows it elsewhere than the one before
    with pytest.raises(LensError, match=r"0 usable views .* are not enough"):
        calibrate_source(source, name=None, today=DAY, say=lambda line: None)


def test_the_person_is_told_again_what_is_wanted(pictures):
    said = []
    with pytest.raises(LensError, match="1 usable views"):
        calibrate_source(Pictures(pictures[:1], times=120), name=None, today=DAY, say=said.append)
    assert sum("hold it still" in line for line in said) == 1  # after 8 of its 12 seconds


def test_waiting_ends_when_nothing_new_is_shown_for_a_minute():
    said = []
    source = Pictures([np.zeros((72, 128, 3), np.uint8)], empty_s=1e9)
    with pytest.raises(LensError, match="seen in no picture"):
        calibrate_source(source, name=None, today=DAY, say=said.append)
    assert 60.0 < source.now_s() < 62.0
    assert "No sheet seen." in said
    assert not source.open_now


def test_a_folder_of_pictures_is_calibrated_under_the_name_given(pictures, tmp_path, capsys):
    folder = files([*pictures, np.zeros_like(pictures[0]), pictures[0]], tmp_path / "views")
    assert main(["calibrate", "--pictures", str(folder), "--name", "my phone"]) == 0
    said = capsys.readouterr().out
    assert "18.png: no sheet seen." in said
    assert "19.png: left out, like another." in said
    assert "Kept for 'my phone'" in said
    lens, trouble = find("my phone", sheet_views.SIZE_WH)
    assert trouble == ""
    assert lens.focal_px == pytest.approx(sheet_views.FOCAL_PX, rel=0.005)
    half, _ = find("my phone", (640, 360))
    assert half.focal_px[0] == pytest.approx(lens.focal_px[0] / 2)


def test_a_clip_is_read_to_its_end(pictures, tmp_path):
    path = tmp_path / "views.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 10.0, sheet_views.SIZE_WH)
    for picture in pictures:
        writer.write(np.ascontiguousarray(picture[:, :, ::-1]))
    writer.release()
    record = run_calibrate(
        CameraSettings(), pictures=path, name="clip", today=DAY, say=lambda line: None
    )
    assert record.views > 12
    # JPEG's blocks disturb corners by some tenths of a pixel.
    assert record.lens.focal_px == pytest.approx(sheet_views.FOCAL_PX, rel=0.005)


def test_pictures_with_too_little_variety_are_refused_and_nothing_is_kept(
    pictures, tmp_path, capsys
):
    folder = files([pictures[0]] * 14, tmp_path / "views")
    assert main(["calibrate", "--pictures", str(folder), "--name", "x"]) == 1
    told = capsys.readouterr().err
    assert "1 usable views of the calibration sheet are not enough" in told
    assert "Still to do: bring the sheet" in told
    assert load("x", sheet_views.SIZE_WH) == (None, "")


def test_mirrored_pictures_are_of_use_with_the_option_only(pictures, tmp_path, capsys):
    folder = files([p[:, ::-1] for p in pictures], tmp_path / "views")
    assert main(["calibrate", "--pictures", str(folder), "--name", "m"]) == 1
    assert "add --mirrored" in capsys.readouterr().err
    assert main(["calibrate", "--pictures", str(folder), "--name", "m", "--mirrored"]) == 0
    lens, _ = find("m", sheet_views.SIZE_WH)
    assert lens.centre_px == pytest.approx(sheet_views.CENTRE_PX, abs=3.0)


def test_a_folder_without_pictures_and_a_broken_picture_are_told(tmp_path):
    def run():
        run_calibrate(CameraSettings(), pictures=tmp_path, name="x", today=DAY, say=print)

    with pytest.raises(LensError, match="no pictures in"):
        run()
    (tmp_path / "a.png").write_bytes(b"not a picture")
    with pytest.raises(CameraError, match="could not be read as a picture"):
        run()


def test_the_sheet_is_written_by_the_command(tmp_path, capsys):
    out = tmp_path / "sheet.pdf"
    assert main(["calibrate", "--sheet", str(out), "--paper", "letter"]) == 0
    assert out.read_bytes().startswith(b"%PDF-")
    assert "Print it at 100 %" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words", [[], ["--camera", "0", "--pictures", "x"], ["--sheet", "a.pdf", "--camera", "0"]]
)
def test_exactly_one_of_sheet_camera_and_pictures_is_wanted(words, capsys):
    with pytest.raises(SystemExit) as left:
        main(["calibrate", *words])
    assert left.value.code == 2
    assert "usage: trainer calibrate" in capsys.readouterr().err
