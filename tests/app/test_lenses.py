"""The kept lens: written whole, read back the same, found for other sizes, set aside if damaged."""

import datetime
import sys
from dataclasses import replace

import pytest

from trainer.core.lens import Lens
from trainer.errors import LensError
from trainer.lenses import LensRecord, find, lens_dir, lens_path, load, save

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

DAY = datetime.date(2026, 5, 31)
LENS = Lens(
    size_wh=(1280, 720),
    focal_px=(1010.25, 1004.5),
    centre_px=(650.0, 352.5),
    distortion=(-0.12, 0.08, 0.0008, -0.0012, 0.0),
)
RECORD = LensRecord(
    camera="camera 0", date=DAY, lens=LENS, error_px=0.21, focal_se_px=1.5, views=16
)


def test_what_is_kept_is_read_back_the_same(tmp_path):
    path = save(RECORD, tmp_path)
    assert load("camera 0", (1280, 720), tmp_path) == (RECORD, "")
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_the_file_is_toml_as_its_standard_has_it(tmp_path):
    """TOML 1.0.0 (toml.io): a bare local date, lists in brackets; read by another parser."""
    values = tomllib.loads(save(RECORD, tmp_path).read_text(encoding="utf-8"))
    assert values["date"] == DAY
    assert values["size_wh"] == [1280, 720]
    assert values["focal_px"] == [1010.25, 1004.5]
    assert values["distortion"] == [-0.12, 0.08, 0.0008, -0.0012, 0.0]
    assert values["camera"] == "camera 0"


def test_lenses_lie_in_the_folder_for_what_is_kept(tmp_path, monkeypatch):
    monkeypatch.setenv("TRAINER_DATA_DIR", str(tmp_path / "kept"))
    assert save(RECORD).parent == tmp_path / "kept" / "lenses" == lens_dir()


def test_a_camera_never_calibrated_has_no_lens(tmp_path):
    assert load("camera 1", (1280, 720), tmp_path) == (None, "")
    assert find("camera 1", (1280, 720), tmp_path) == (None, "")


@pytest.mark.parametrize(
    "name",
    ["camera 0", "Camera 0", "camera-0", "http://10.0.0.2:8080/video", 'a "ü" \\ b', "..", ""],
)
def test_any_name_of_a_camera_makes_one_file_of_its_own(name, tmp_path):
    record = replace(RECORD, camera=name)
    path = save(record, tmp_path / "lenses")
    assert path.parent == tmp_path / "lenses"
    assert path.exists()
    assert load(name, (1280, 720), tmp_path / "lenses") == (record, "")
    others = {lens_path(other, (1280, 720)) for other in ("camera 0", "Camera 0", "camera-0")}
    assert len(others) == 3


def test_each_size_has_a_lens_of_its_own_and_the_newest_stays(tmp_path):
    save(RECORD, tmp_path)
    other = replace(RECORD, lens=replace(LENS, size_wh=(640, 480), focal_px=(600.0, 600.0)))
    save(other, tmp_path)
    newer = replace(RECORD, error_px=0.4)
    save(newer, tmp_path)
    assert load("camera 0", (1280, 720), tmp_path)[0] == newer
    assert load("camera 0", (640, 480), tmp_path)[0] == other


def test_another_size_of_the_same_aspect_is_scaled_from_the_largest(tmp_path):
    save(RECORD, tmp_path)
    save(replace(RECORD, lens=replace(LENS, size_wh=(320, 180), focal_px=(1.0, 1.0))), tmp_path)
    lens, trouble = find("camera 0", (640, 360), tmp_path)
    assert trouble == ""
    assert lens.size_wh == (640, 360)
    assert lens.focal_px == pytest.approx((505.125, 502.25))  # half of the lens at twice the size


def test_a_size_of_another_aspect_finds_no_lens(tmp_path):
    save(RECORD, tmp_path)
    assert find("camera 0", (640, 480), tmp_path) == (None, "")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("schema = 1", "schema = 9"),
        ("error_px = 0.21", "error_px = -1.0"),
        ("error_px = 0.21", 'error_px = "small"'),
        ("1010.25", "nan"),
        ("1010.25", "0.0"),
        ("1280", "640"),
        ('camera = "camera 0"', 'camera = "camera 1"'),
        ("views = 16", "views = 16\nmore = 1"),
        ("date = 2026-05-31", 'date = "yesterday"'),
        ("focal_px = [", "focal_px = "),
        ("views = 16", ""),
    ],
)
def test_a_damaged_lens_is_set_aside_and_not_used(old, new, tmp_path):
    path = save(RECORD, tmp_path)
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    damaged = path.read_bytes()
    lens, trouble = find("camera 0", (1280, 720), tmp_path)
    assert lens is None
    assert "damaged" in trouble
    assert path.name in trouble
    assert path.with_name(f"{path.name}.damaged").read_bytes() == damaged
    save(RECORD, tmp_path)
    assert load("camera 0", (1280, 720), tmp_path) == (RECORD, "")


def test_a_folder_that_cannot_be_written_says_so(tmp_path):
    (tmp_path / "lenses").write_text("a file where a folder was wanted", encoding="utf-8")
    with pytest.raises(LensError, match=r"could not be written.*was wanted.*Make room"):
        save(RECORD, tmp_path / "lenses")
