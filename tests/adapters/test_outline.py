"""The mask becomes the ends of the silhouette, between pixels where the mask is soft."""

import numpy as np
import pytest

from trainer.adapters.outline import ROWS, outline_of


def test_a_hard_edged_box_gives_its_own_edges():
    mask = np.zeros((720, 1280), dtype=np.float32)
    mask[200:500, 300:400] = 1.0
    outline = outline_of(mask)
    assert outline.row_px.shape == outline.left_px.shape == outline.right_px.shape == (ROWS,)
    inside = (outline.row_px >= 200) & (outline.row_px < 500)
    assert outline.left_px[inside] == pytest.approx(300, abs=0.51)
    assert outline.right_px[inside] == pytest.approx(399, abs=0.51)
    assert np.isnan(outline.left_px[~inside]).all()
    assert np.isnan(outline.right_px[~inside]).all()


@pytest.mark.parametrize("edge", [300.0, 300.25, 300.5, 300.8])
def test_a_soft_edge_is_found_where_the_likelihood_passes_one_half(edge):
    x = np.arange(1280, dtype=np.float32)
    ramp = np.clip(0.5 + (x - edge) / 8, 0, 1) * np.clip(0.5 + (700.5 - x) / 8, 0, 1)
    outline = outline_of(np.tile(ramp, (240, 1)).astype(np.float32))
    assert outline.left_px == pytest.approx(np.full(ROWS, edge), abs=0.02)
    assert outline.right_px == pytest.approx(np.full(ROWS, 700.5), abs=0.02)


def test_a_silhouette_that_leaves_the_picture_ends_at_its_edge():
    mask = np.zeros((240, 320), dtype=np.float32)
    mask[:, :40] = 0.9
    outline = outline_of(mask)
    assert outline.left_px == pytest.approx(0.0)
    assert outline.right_px == pytest.approx(39.4, abs=0.6)


def test_an_empty_mask_has_no_ends():
    outline = outline_of(np.zeros((120, 160), dtype=np.float32))
    assert np.isnan(outline.left_px).all()


def test_a_picture_of_few_rows_gives_as_many_rows_all_the_same():
    mask = np.ones((60, 80), dtype=np.float32)
    outline = outline_of(mask)
    assert outline.row_px.shape == (ROWS,)
    assert np.all(np.diff(outline.row_px) >= 0)


@pytest.mark.parametrize(("height", "width"), [(720, 1280), (240, 323), (361, 200)])
def test_ends_are_the_first_and_the_last_pixel_inside_row_by_row(height, width):
    rng = np.random.default_rng(width)
    mask = np.zeros((height, width), dtype=np.float32)
    for row in range(0, height - height // 8):
        mask[row, rng.choice(width, rng.integers(1, 9), replace=False)] = 1.0
    outline = outline_of(mask)
    for row, left, right in zip(outline.row_px, outline.left_px, outline.right_px, strict=True):
        there = np.nonzero(mask[int(row)])[0]
        if there.size == 0:
            assert np.isnan([left, right]).all()
            continue
        # A hard pixel of 1 beside 0 ends half way to its neighbour, at the picture's edge there.
        assert left == max(there[0] - 0.5, 0)
        assert right == min(there[-1] + 0.5, width - 1)
