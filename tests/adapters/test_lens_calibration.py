"""The lens worked out from rendered views of the printed sheet, against the one that made them."""

import cv2
import numpy as np
import pytest
import sheet_views

from trainer.adapters.lens_calibration import SheetFinder, ViewKeeper, calibrate
from trainer.adapters.tag_modules import charuco_board, tag_modules
from trainer.core.lens import matrix
from trainer.core.print_sheets import BOARD
from trainer.core.tag_roles import ROLES
from trainer.core.view_choice import ViewRules
from trainer.errors import LensError

RULES = ViewRules()


@pytest.fixture(scope="module")
def pictures():
    return sheet_views.sheet_views()


@pytest.fixture(scope="module")
def finder():
    return SheetFinder()


@pytest.fixture(scope="module")
def views(pictures, finder):
    return [finder.find(picture, RULES) for picture in pictures]


def seen_at(pose, ids, finder):
    """Where a lens of ``sheet_views`` sees corners of the board, by OpenCV's projectPoints."""
    middle = np.array([BOARD.columns, BOARD.rows]) * BOARD.square_mm / 2
    points = finder.points_mm(ids).astype(float) - np.array([*middle, 0.0])
    turn = cv2.Rodrigues(sheet_views.turned(*pose[3:]))[0]
    place = np.array(pose[:3], float)
    bend = np.array(sheet_views.DISTORTION)
    return cv2.projectPoints(points, turn, place, sheet_views.matrix(), bend)[0].reshape(-1, 2)


def test_corners_of_the_printed_sheet_are_seen_where_opencv_says_they_are(views, finder):
    for view, pose in zip(views, sheet_views.POSES, strict=True):
        off = np.linalg.norm(view.corners_px - seen_at(pose, view.ids, finder), axis=1)
        assert np.median(off) < 0.2, pose


def test_how_the_sheet_leans_is_told_with_its_sign(views):
    """The poses were chosen, so they are the truth; the lens is only guessed at here."""
    for view, pose in zip(views, sheet_views.POSES, strict=True):
        if pose[3] and pose[4]:
            continue  # two leans one after the other are not the two angles
        assert view.place.lean_side_deg == pytest.approx(pose[3], abs=8.0), pose
        assert view.place.lean_down_deg == pytest.approx(pose[4], abs=8.0), pose


def test_the_lens_is_found_again(views, finder):
    keeper = ViewKeeper()
    assert all(keeper.offer(view) for view in views)
    assert keeper.missing() == ()
    found = calibrate(keeper.kept, finder)
    assert found.views == len(views)
    assert found.lens.size_wh == sheet_views.SIZE_WH
    assert found.lens.focal_px == pytest.approx(sheet_views.FOCAL_PX, rel=0.005)
    assert found.lens.centre_px == pytest.approx(sheet_views.CENTRE_PX, abs=3.0)
    assert 0.02 < found.error_px < 0.3
    assert abs(found.lens.focal_px[0] - sheet_views.FOCAL_PX[0]) < 4 * found.focal_se_px


def test_the_lens_found_sees_points_within_half_a_pixel_of_the_true_one(views, finder):
    """All over the picture, so that a wrong distortion cannot hide; OpenCV's projectPoints."""
    found = calibrate(views, finder).lens
    columns, rows = np.meshgrid(np.linspace(-0.6, 0.6, 13), np.linspace(-0.33, 0.33, 9))
    points = np.stack([columns, rows, np.ones_like(rows)], -1).reshape(-1, 3)
    none = np.zeros(3)
    true = cv2.projectPoints(
        points, none, none, sheet_views.matrix(), np.array(sheet_views.DISTORTION)
    )[0]
    ours = cv2.projectPoints(points, none, none, matrix(found), np.array(found.distortion))[0]
    off = np.linalg.norm((ours - true).reshape(-1, 2), axis=1)
    assert off.max() < 1.5  # a shift of the centre by a pixel or two is a turn of the camera
    assert np.median(off) < 0.6


def test_a_bad_view_among_good_ones_is_left_out(views, finder):
    good = calibrate(views, finder)
    bent = views[3]
    corners = bent.corners_px + np.random.default_rng(1).normal(0, 6, bent.corners_px.shape)
    spoilt = type(bent)(
        size_wh=bent.size_wh,
        corners_px=corners.astype(np.float32),
        ids=bent.ids,
        edge_px=bent.edge_px,
        place=bent.place,
    )
    found = calibrate([*views[:3], spoilt, *views[4:]], finder)
    assert found.views == len(views) - 1
    assert found.error_px == pytest.approx(good.error_px, abs=0.1)


def test_views_that_agree_with_no_lens_are_refused(views, finder):
    random = np.random.default_rng(2)
    spoilt = [
        type(view)(
            size_wh=view.size_wh,
            corners_px=(view.corners_px + random.normal(0, 3, view.corners_px.shape)).astype("f4"),
            ids=view.ids,
            edge_px=view.edge_px,
            place=view.place,
        )
        for view in views
    ]
    with pytest.raises(LensError, match=r"disagree with every lens by .* 1 or less was wanted"):
        calibrate(spoilt, finder)


def test_a_focal_length_known_worse_than_asked_for_is_refused(views, finder):
    share = calibrate(views, finder).focal_se_px / min(sheet_views.FOCAL_PX)
    assert share < RULES.most_focal_se
    strict = ViewRules(most_focal_se=share / 2.0)
    with pytest.raises(LensError, match=r"focal length is known to ±0\.1 per cent only"):
        calibrate(views, finder, strict)


def test_too_few_views_are_refused(views, finder):
    with pytest.raises(LensError, match=f"5 usable views .*{RULES.least_views} or more"):
        calibrate(views[:5], finder)


def test_views_all_square_on_are_refused(views, finder):
    """Square on, a longer lens further away shows the very same picture."""
    flat = views[0]
    random = np.random.default_rng(4)
    same = [
        type(flat)(
            size_wh=flat.size_wh,
            corners_px=(flat.corners_px + random.normal(0, 0.1, flat.corners_px.shape)).astype(
                "f4"
            ),
            ids=flat.ids,
            edge_px=flat.edge_px,
            place=flat.place,
        )
        for _ in range(14)
    ]
    with pytest.raises(LensError, match=r"14 usable views .* leaning all four ways"):
        calibrate(same, finder)
    keeper = ViewKeeper()
    assert [keeper.offer(view) for view in same].count(True) == 1
    assert len(keeper.missing()) > 3


def test_a_smeared_picture_is_left_out_as_blurred(pictures, finder):
    keeper = ViewKeeper()
    smeared = finder.find(cv2.blur(pictures[0], (9, 1)), RULES)
    assert smeared is not None, "the sheet must be seen, or nothing is tested"
    assert not keeper.offer(smeared)
    assert keeper.blurred == 1
    assert keeper.offer(finder.find(pictures[0], RULES))


def test_pictures_of_two_sizes_are_refused(pictures, views, finder):
    keeper = ViewKeeper()
    keeper.offer(views[0])
    other = finder.find(cv2.resize(pictures[1], (1920, 1080)), RULES)
    with pytest.raises(LensError, match=r"1920 by 1080 .* 1280 by 720"):
        keeper.offer(other)


def test_a_room_without_the_sheet_shows_none(finder):
    random = np.random.default_rng(0)
    assert finder.find(random.integers(0, 255, (480, 640, 3), np.uint8), RULES) is None
    assert finder.find(np.zeros((480, 640, 3), np.uint8), RULES) is None


def test_a_mirrored_sheet_is_not_taken_for_one(pictures, finder):
    assert finder.find(np.ascontiguousarray(pictures[0][:, ::-1]), RULES) is None


def test_the_modules_of_a_tag_are_opencvs_bits_in_a_black_border():
    """The dictionary's own bit list is the reference, by another function of OpenCV's."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for role in ROLES:
        code = tag_modules(role.number)
        line = family.bytesList[role.number : role.number + 1]
        bits = cv2.aruco.Dictionary.getBitsFromByteList(line, 6)
        np.testing.assert_array_equal(code[1:-1, 1:-1], np.asarray(bits) == 0)
        assert code[0].all()
        assert code[-1].all()
        assert code[:, 0].all()
        assert code[:, -1].all()


def test_the_boards_markers_fit_the_family_it_takes_them_from():
    board = charuco_board()
    assert len(board.getIds()) <= len(board.getDictionary().bytesList)
    assert len(board.getChessboardCorners()) == BOARD.corners
