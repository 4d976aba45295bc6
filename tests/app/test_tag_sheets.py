"""The printed sheets, read back by other programs: PDFium measures, OpenCV reads the tags."""

import datetime
import os
import subprocess
import sys

import cv2
import numpy as np
import pypdfium2
import pytest
from sheet_views import page_picture

from trainer.cli import main
from trainer.core.print_sheets import BOARD, PAPERS_MM, true_size_mm
from trainer.core.tag_roles import ROLES
from trainer.errors import SheetError
from trainer.tag_sheets import WHERE, make_tags, write_board_sheet, write_tag_sheets
from trainer.tag_size import TagSize, keep_tag_size, load_tag_size, tag_size_path

MM = 25.4 / 72.0  #: of a point, PDF's own unit: 72 an inch (ISO 32000-1, 8.3.2.3)
#: A4: ISO 216. Letter: ANSI/ASME Y14.1, size A, 8.5 by 11 inches.
STANDARD_MM = {"a4": (210.0, 297.0), "letter": (8.5 * 25.4, 11 * 25.4)}
DAY = datetime.date(2026, 5, 31)
DPI = 300


def paths_mm(path, page):
    """Return (left, bottom, right, top) in mm of each drawn shape of a page, as PDFium has them."""
    document = pypdfium2.PdfDocument(path)
    try:
        found = document[page].get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_PATH], max_depth=3)
        return np.array([shape.get_bounds() for shape in found]) * MM
    finally:
        document.close()


def sizes_mm(path):
    document = pypdfium2.PdfDocument(path)
    try:
        return [tuple(v * MM for v in page.get_size()) for page in document]
    finally:
        document.close()


def words(path, page):
    document = pypdfium2.PdfDocument(path)
    try:
        return document[page].get_textpage().get_text_range()
    finally:
        document.close()


def black_mm(path, page):
    """Return the widest shape that is not the whole page: the tag."""
    shapes = [box for box in paths_mm(path, page) if box[3] - box[1] < 200.0]
    return max(shapes, key=lambda box: box[2] - box[0])


def ruler_mm(path, page):
    """Return how long the row of 10 blocks is, from end to end."""
    shapes = paths_mm(path, page)
    wide, high = shapes[:, 2] - shapes[:, 0], shapes[:, 3] - shapes[:, 1]
    blocks = shapes[(abs(wide - 10.0) < 0.3) & (abs(high - 4.0) < 0.3)]
    assert len(blocks) == 10
    return blocks[:, 2].max() - blocks[:, 0].min()


@pytest.fixture(scope="module", params=[("a4", 12.0), ("letter", 16.0), ("a4", 8.0)], ids=str)
def sheets(request, tmp_path_factory):
    paper, size_cm = request.param
    path = tmp_path_factory.mktemp("sheets") / "tags.pdf"
    write_tag_sheets(path, size_cm=size_cm, paper=paper)
    return path, paper, size_cm


def test_papers_are_those_of_the_standards():
    assert {name: pytest.approx(size) for name, size in STANDARD_MM.items()} == PAPERS_MM


def test_every_page_has_the_papers_size(sheets):
    path, paper, _ = sheets
    found = sizes_mm(path)
    assert len(found) == len(ROLES) + 1
    for size in found:
        assert size == pytest.approx(STANDARD_MM[paper], abs=0.1)


def test_the_bar_on_every_page_is_100_mm_long(sheets):
    path, _, _ = sheets
    for page in range(len(ROLES) + 1):
        assert ruler_mm(path, page) == pytest.approx(100.0, abs=0.1)


def test_the_black_square_has_the_size_asked_for(sheets):
    path, _, size_cm = sheets
    for page in range(len(ROLES)):
        left, bottom, right, top = black_mm(path, page)
        assert right - left == pytest.approx(10.0 * size_cm, abs=0.1)
        assert top - bottom == pytest.approx(10.0 * size_cm, abs=0.1)


def test_each_tag_is_read_upright_with_its_number_and_true_to_size(sheets):
    """OpenCV's reader gives a tag's corners from its own upper left on, clockwise."""
    path, _, size_cm = sheets
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    rules = cv2.aruco.DetectorParameters()
    rules.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    finder = cv2.aruco.ArucoDetector(family, rules)
    for page, role in enumerate(ROLES):
        picture = page_picture(path, page, DPI)
        (corners,), ids, _ = finder.detectMarkers(picture)
        assert ids.ravel().tolist() == [role.number]
        (left, top), right_top, right_bottom, left_bottom = corners[0] / DPI * 25.4
        size_mm = 10.0 * size_cm
        assert right_top - (left, top) == pytest.approx((size_mm, 0.0), abs=0.15)
        assert left_bottom - (left, top) == pytest.approx((0.0, size_mm), abs=0.15)
        assert right_bottom - (left, top) == pytest.approx((size_mm, size_mm), abs=0.15)


def test_white_all_round_the_tag_is_a_module_wide_at_least(sheets):
    path, paper, size_cm = sheets
    module_mm = 10.0 * size_cm / 8
    px = DPI / 25.4
    for page in range(len(ROLES)):
        left, low, right, high = black_mm(path, page)
        top, bottom = STANDARD_MM[paper][1] - high, STANDARD_MM[paper][1] - low
        picture = page_picture(path, page, DPI)
        inside = picture[int(top * px) - 2 : int(bottom * px) + 3, int(left * px) - 2 :][
            :, : int((right - left) * px) + 5
        ]
        assert inside.min() < 50
        rim = module_mm - 0.2
        around = picture[
            int((top - rim) * px) : int((bottom + rim) * px),
            int((left - rim) * px) : int((right + rim) * px),
        ].copy()
        edge = int(rim * px) - 3
        around[edge:-edge, edge:-edge] = 255
        assert around.min() == 255


def test_everything_stays_on_the_page(sheets):
    path, paper, _ = sheets
    width, height = STANDARD_MM[paper]
    for page in range(len(ROLES) + 1):
        drawn = np.argwhere(page_picture(path, page, 100) < 200) / 100 * 25.4
        top, left = drawn.min(axis=0)
        bottom, right = drawn.max(axis=0)
        assert min(left, top) > 0.3
        assert right < width - 0.3
        assert bottom < height - 3.0


def test_a_tag_page_says_place_number_size_up_and_how_to_print(sheets):
    path, _, size_cm = sheets
    for page, role in enumerate(ROLES):
        text = words(path, page)
        assert f"{role.name} · number {role.number} · {size_cm:g} cm" in text
        assert WHERE[role.name] in text
        assert "UP" in text
        assert "must measure 100 mm" in text
        assert "100 % (actual size), no fit to page" in text


def test_the_last_page_says_where_each_tag_goes_and_what_to_beware_of(sheets):
    path, _, _ = sheets
    text = words(path, len(ROLES))
    for role in ROLES:
        assert f"{role.number}" in text
        assert role.name in text
        assert WHERE[role.name] in text
    for said in ("flat", "stiff card", "can poke you", "stop and take it off", "100 mm"):
        assert said in text


def test_tags_are_drawn_as_shapes_and_not_as_pictures(sheets):
    path, _, _ = sheets
    document = pypdfium2.PdfDocument(path)
    for page in document:
        images = page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE], max_depth=5)
        assert list(images) == []
    document.close()


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_the_calibration_sheet_has_its_size_and_is_read_whole(paper, tmp_path):
    """OpenCV's own board object says where its corners are; its reader finds them on the page."""
    path = tmp_path / "sheet.pdf"
    write_board_sheet(path, paper=paper)
    assert sizes_mm(path) == [pytest.approx(STANDARD_MM[paper], abs=0.1)]
    assert ruler_mm(path, 0) == pytest.approx(100.0, abs=0.1)
    board = cv2.aruco.CharucoBoard(
        (BOARD.columns, BOARD.rows),
        BOARD.square_mm,
        BOARD.marker_mm,
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50),
    )
    found, ids, _, markers = cv2.aruco.CharucoDetector(board).detectBoard(
        page_picture(path, 0, DPI)
    )
    assert ids.ravel().tolist() == list(range(BOARD.corners))
    assert len(markers) == len(board.getIds())
    seen_mm = found.reshape(-1, 2) / DPI * 25.4
    true_mm = np.asarray(board.getChessboardCorners())[:, :2]
    offset = (seen_mm - true_mm).mean(axis=0)
    np.testing.assert_allclose(seen_mm - true_mm, np.broadcast_to(offset, true_mm.shape), atol=0.1)


def test_the_same_sheets_are_the_same_bytes_in_another_process(tmp_path):
    here = tmp_path / "here.pdf"
    write_tag_sheets(here, size_cm=12.0)
    there = tmp_path / "there.pdf"
    code = (
        "import sys; from pathlib import Path; from trainer.tag_sheets import write_tag_sheets; "
        "write_tag_sheets(Path(sys.argv[1]), size_cm=12.0)"
    )
    subprocess.run(
        [sys.executable, "-c", code, str(there)],
        check=True,
        env=os.environ | {"PYTHONHASHSEED": "7", "PYTHONPATH": os.pathsep.join(sys.path)},
        timeout=300,
    )
    assert here.read_bytes() == there.read_bytes()


@pytest.mark.parametrize("size_cm", [7.9, 16.1, 0.0, -12.0, 120.0, float("nan")])
def test_a_size_that_cannot_be_read_or_printed_is_refused(size_cm, tmp_path):
    with pytest.raises(SheetError, match=r"8 to 16 cm was wanted.*Try 12"):
        write_tag_sheets(tmp_path / "tags.pdf", size_cm=size_cm)
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_says_so_and_leaves_nothing(tmp_path):
    (tmp_path / "tags.pdf").mkdir()
    with pytest.raises(SheetError, match="could not be written"):
        write_board_sheet(tmp_path / "tags.pdf")
    assert [path.name for path in tmp_path.iterdir()] == ["tags.pdf"]


def test_the_live_mirror_does_not_load_what_draws_the_sheets():
    code = "import sys, trainer.cli, trainer.live, trainer.app; print('matplotlib' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        timeout=300,
    )
    assert done.stdout.strip() == "False"


# What the printed ruler measures.


def test_a_ruler_printed_too_short_makes_the_tags_as_much_smaller():
    assert true_size_mm(120.0, 96.0) == pytest.approx(115.2)  # 96 per cent, by rule of three


def test_the_tags_size_is_kept_and_read_back():
    size = keep_tag_size(asked_mm=120.0, ruler_mm=96.0, today=DAY)
    assert size == TagSize(asked_mm=120.0, ruler_mm=96.0, size_mm=115.2, date=DAY)
    assert load_tag_size() == (size, "")


def test_without_a_sheet_no_size_is_known():
    assert load_tag_size() == (None, "")


@pytest.mark.parametrize("ruler", [9.6, 3.9, 960.0, 79.9, 120.1, 0.0, float("nan")])
def test_a_ruler_that_cannot_be_is_refused_and_nothing_is_kept(ruler):
    with pytest.raises(SheetError, match=r"80 to 120 mm was wanted.*in millimetres"):
        keep_tag_size(asked_mm=120.0, ruler_mm=ruler, today=DAY)
    assert load_tag_size() == (None, "")


@pytest.mark.parametrize("text", ["size_mm = 3", "not toml", "schema = 2", "\xff"])
def test_a_damaged_size_is_set_aside(text):
    tag_size_path().write_text(text, encoding="latin-1")
    size, trouble = load_tag_size()
    assert size is None
    assert "damaged" in trouble
    assert not tag_size_path().exists()
    assert tag_size_path().with_name("tags.toml.damaged").exists()


def test_the_command_writes_the_sheets_and_later_takes_the_measured_bar(tmp_path, capsys):
    out = tmp_path / "tags.pdf"
    assert main(["tags", "--out", str(out), "--size-cm", "10"]) == 0
    assert len(sizes_mm(out)) == len(ROLES) + 1
    assert "Tags are taken to be 10 cm" in capsys.readouterr().out
    assert main(["tags", "--printed-ruler-mm", "96"]) == 0
    assert "Tags are taken to be 9.6 cm" in capsys.readouterr().out
    assert load_tag_size()[0].size_mm == pytest.approx(96.0)


def test_new_sheets_are_believed_true_until_measured(tmp_path, capsys):
    keep_tag_size(asked_mm=100.0, ruler_mm=96.0, today=DAY)
    make_tags(tmp_path / "t.pdf", size_cm=None, paper="a4", ruler_mm=None, today=DAY, say=print)
    assert load_tag_size()[0].size_mm == 120.0
    assert "Measure the printed bar" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "nothing was asked for"),
        (["--printed-ruler-mm", "9.6"], "cannot be believed"),
        (["--printed-ruler-mm", "0"], "cannot be believed"),
        (["--out", "x.pdf", "--size-cm", "20"], "8 to 16 cm was wanted"),
        (["--out", "x.pdf", "--printed-ruler-mm", "9.6"], "cannot be believed"),
    ],
)
def test_the_command_refuses_in_one_message(options, said, capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    assert main(["tags", *options]) == 1
    told = capsys.readouterr().err
    assert told.startswith("SheetError: ")
    assert said in told
    assert list(tmp_path.iterdir()) == []
