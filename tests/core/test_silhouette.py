"""The silhouette's extents: where it ends on the target and on the trail side, in torso lengths."""

import numpy as np
import pytest
from golfer import SETUP, View, pose_of, with_outline

from trainer.core import silhouette
from trainer.core.records import Handed, Outline

HIP = np.array([640.0, 400.0])
TORSO = 100.0


def box(left, right, rows=120, height=720):
    at = (np.arange(rows) + 0.5) * height / rows
    return Outline(row_px=at, left_px=np.full(rows, left), right_px=np.full(rows, right))


def test_a_right_handers_target_side_is_the_pictures_right():
    sides = silhouette.extents(box(580.0, 670.0), HIP, TORSO, Handed.RIGHT).reshape(-1, 2)
    # 30 px toward the target is -0.3, 60 px away from it is +0.6.
    assert sides == pytest.approx(np.tile([-0.3, 0.6], (len(silhouette.HEIGHTS), 1)))


def test_a_left_hander_is_the_mirror_image():
    sides = silhouette.extents(box(610.0, 700.0), HIP, TORSO, Handed.LEFT)
    mirrored = silhouette.extents(box(580.0, 670.0), HIP, TORSO, Handed.RIGHT)
    assert sides == pytest.approx(mirrored)


def test_heights_are_counted_up_from_the_hips():
    outline = box(600.0, 680.0)
    low = outline.row_px > HIP[1]  # wider below the hips
    outline.right_px[low] = 700.0
    sides = silhouette.extents(outline, HIP, TORSO, Handed.RIGHT).reshape(-1, 2)
    below = np.array(silhouette.HEIGHTS) < -0.1
    assert sides[below, 0] == pytest.approx(-0.6)
    assert sides[np.array(silhouette.HEIGHTS) > 0.1, 0] == pytest.approx(-0.4)


def test_rows_without_a_silhouette_are_bridged_and_too_few_rows_are_none():
    outline = box(600.0, 680.0)
    outline.left_px[::2] = outline.right_px[::2] = np.nan
    whole = silhouette.extents(box(600.0, 680.0), HIP, TORSO, Handed.RIGHT)
    assert silhouette.extents(outline, HIP, TORSO, Handed.RIGHT) == pytest.approx(whole)
    outline.left_px[4:] = outline.right_px[4:] = np.nan
    assert silhouette.extents(outline, HIP, TORSO, Handed.RIGHT) is None
    assert silhouette.extents(None, HIP, TORSO, Handed.RIGHT) is None


def test_a_mask_that_runs_off_to_the_edge_of_the_picture_is_held():
    sides = silhouette.extents(box(0.0, 1280.0), HIP, TORSO, Handed.RIGHT)
    assert np.abs(sides).max() == pytest.approx(2.0)


def test_the_median_outline_leaves_out_single_slips():
    outlines = [box(600.0, 680.0) for _ in range(7)]
    outlines[3] = box(500.0, 900.0)
    middle = silhouette.median_outline(outlines)
    assert middle.left_px == pytest.approx(600.0)
    assert middle.right_px == pytest.approx(680.0)


def test_a_row_most_outlines_miss_stays_empty_and_so_does_a_still_stretch_without_outlines():
    outlines = [box(600.0, 680.0) for _ in range(5)]
    for outline in outlines[:3]:
        outline.left_px[7] = outline.right_px[7] = np.nan
    middle = silhouette.median_outline(outlines)
    assert np.isnan(middle.left_px[7])
    assert np.isfinite(np.delete(middle.left_px, 7)).all()
    assert silhouette.median_outline([None, None, box(1, 2)]) is None
    assert silhouette.median_outline([]) is None


def test_outlines_of_another_picture_size_are_not_mixed():
    outlines = [box(10.0, 20.0, rows=60), box(600.0, 680.0), box(600.0, 680.0)]
    assert silhouette.median_outline(outlines).left_px == pytest.approx(np.full(120, 600.0))


def test_the_tests_own_golfer_is_as_wide_as_a_person():
    pose = with_outline(pose_of(SETUP, View(), 0.0))
    wide = np.nanmax(pose.outline.right_px - pose.outline.left_px)
    tall = np.count_nonzero(np.isfinite(pose.outline.left_px)) * 6
    assert 0.2 < wide / tall < 0.6
