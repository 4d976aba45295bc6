"""People in motion for the fit: what moves, what is kept, and that a run goes on where it was."""

import numpy as np
import pytest

from trainer.adapters.trunk_picture import cut, trunk_box
from trainer.lab import crowd, films
from trainer.lab.motion import DOFS


def test_the_same_seed_moves_in_the_same_way():
    one, two = (films.pieces_of(crowd.sitter(20_007)) for _ in range(2))
    assert [piece.kind for piece in one] == [piece.kind for piece in two]
    for a, b in zip(one, two, strict=True):
        for name in DOFS:
            assert a.dofs[name] == pytest.approx(b.dofs[name])


@pytest.mark.parametrize("seed", range(20_000, 20_006))
def test_a_person_swings_twice_and_moves_parts_alone_twice(seed):
    pieces = films.pieces_of(crowd.sitter(seed))
    kinds = [piece.kind for piece in pieces]
    assert kinds[:3] == ["address", "natural", "natural"]
    assert kinds[4] == "everything apart"
    # At least a third of what is fitted on is decoupled from the turn.
    counts = [len(piece.dofs["hip_turn_deg"]) for piece in pieces]
    assert sum(counts[3:]) >= (sum(counts) - counts[0]) / 3


def test_arms_alone_leave_the_shoulders_where_they_are():
    seed = next(s for s in range(20_000, 20_012) if films.exam.ALONE[s % 6] == "arms alone")
    piece = films.pieces_of(crowd.sitter(seed))[3]
    assert np.ptp(piece.dofs["shoulder_turn_deg"]) < 1.0
    assert np.ptp(piece.dofs["arm_lift_deg"]) > 20.0


def test_the_small_picture_is_the_programs_own_with_a_margin_all_round():
    image = np.random.default_rng(4).integers(0, 255, (600, 800, 3), dtype=np.uint8)
    points = np.zeros((33, 2))
    points[[11, 12]], points[[23, 24]], points[[27, 28]] = (400, 180), (400, 300), (400, 420)
    chip = films._chip(image, points)
    assert chip.shape == (films.CHIP_PX, films.CHIP_PX)
    shown = cut(image, trunk_box(points))  # 192 pixels to 96, so both are means of four
    assert np.abs(chip[8:-8, 8:-8].astype(int) - shown).max() <= 1
    points[:, 0] += 5000.0
    assert not films._chip(image, points).any()


@pytest.mark.lab
@pytest.mark.real_pose
def test_a_filmed_person_has_a_row_a_picture_and_a_second_run_leaves_it(tmp_path):
    from trainer.adapters.model_file import ensure_model
    from trainer.lab import table

    path = films.film_person(20_001, tmp_path, ensure_model())
    before = path.stat().st_mtime_ns
    assert films.film_person(20_001, tmp_path, ensure_model()) == path
    assert path.stat().st_mtime_ns == before
    with np.load(path) as data:
        count = len(data["kind"])
        for name in ("image_px", "rows_px", "shoulder_turn_deg", "back_px", "mask", "chip_ends"):
            assert len(data[name]) == count, name
        assert data["found"].mean() > 0.9
        assert data["chip_ends"][-1] == len(data["chips"])
    read = table.load([path])
    turn = read.truth[:, 0]
    assert turn.max() > 30
    # The pose model sees a turn, if a smaller one.
    late = turn > 30
    assert np.corrcoef(read.naive[late, 0], turn[late])[0, 1] > 0.3


@pytest.mark.lab
def test_a_sheet_shows_three_pictures_of_each_person(tmp_path):
    import cv2

    from trainer.lab.sheet import HIGH_PX, IN_A_ROW, draw_sheet

    path = draw_sheet(range(20_300, 20_304), tmp_path / "new" / "sheet.png")
    sheet = cv2.imread(str(path))
    assert sheet.shape[0] == 2 * HIGH_PX
    assert sheet.shape[1] >= 3 * IN_A_ROW * 100
    # Four people: the last two places of the second row are left black.
    assert sheet[HIGH_PX:, sheet.shape[1] // 2 :].max() == 0
    assert sheet[:HIGH_PX].std() > 20
