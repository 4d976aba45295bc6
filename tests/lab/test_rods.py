"""The scenes with rods on the floor, and how what the guide makes of them is scored."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from placed import placed

from trainer.lab.on_floor import HEAD_UP_M, Mat, Rod
from trainer.lab.props import Room
from trainer.lab.rods import SHOTS, _mats, _rod
from trainer.lab.rods_scores import Told, score_lines, told_of


def test_a_rod_lies_where_it_is_told_to():
    ends = Rod(middle_m=(0.1, 0.3), turn_deg=30.0, length_m=2.0, thick_m=0.01).ends_m()
    # cos 30 and sin 30; the picture-right end is further from the camera, which is at +z.
    np.testing.assert_allclose(ends[1], [0.1 + np.cos(np.pi / 6), 0.005, 0.3 - 0.5])
    np.testing.assert_allclose(ends[0], [0.1 - np.cos(np.pi / 6), 0.005, 0.3 + 0.5])


def test_a_club_lies_higher_at_its_head():
    ends = Rod(middle_m=(0.0, 0.3), club=True).ends_m()
    assert ends[1, 1] == HEAD_UP_M > ends[0, 1]


def test_a_rod_never_lies_through_the_shoes():
    rng = np.random.default_rng(3)
    shoes = np.array([[-0.3, 0.0, 0.1], [-0.2, 0.0, 0.25], [0.2, 0.0, 0.22], [0.35, 0.0, 0.05]])
    for _ in range(50):
        rod = _rod(rng, shoes)
        (x0, _, z0), (x1, _, z1) = rod.ends_m()
        before = z0 + (z1 - z0) / (x1 - x0) * (shoes[:, 0] - x0) - shoes[:, 2]
        assert 0.014 < before.min() < 0.062


def test_mats_are_drawn_with_and_without_rims_and_lines():
    rng = np.random.default_rng(3)
    mats = [mat for _ in range(60) for mat in _mats(rng)]
    assert 30 < len(mats) < 60
    assert {bool(mat.rim) for mat in mats} == {True, False}
    assert {len(mat.stripes_m) for mat in mats} == {0, 1, 2, 3}


def test_a_room_is_bare_of_them_unless_told():
    assert Room().lying == ()
    assert Room().loose


def scene(path, *, rod):
    """Write a scene with a golfer before a flat floor, and a painted rod or none."""
    pose = placed(height_m=1.0)
    image = np.full((720, 1280, 3), 110, np.uint8)
    row = 692
    if rod:
        image[row : row + 4, 480:820] = 235
    packed = cv2.imencode(".png", image)[1].ravel()
    np.savez(
        path,
        seed=1,
        what="rod" if rod else "bare",
        handed="right",
        stature_cm=175.6,
        hfov_deg=70.0,
        attitude_deg=[0.0, 0.0, 0.0],
        rod=rod,
        rod_turn_deg=0.0,
        rod_club=False,
        rod_px=[[480.0, row + 1.5], [820.0, row + 1.5]],
        found=[True] * SHOTS,
        image_px=np.repeat(pose.image_px[None], SHOTS, axis=0),
        depth_px=np.repeat(pose.depth_px[None], SHOTS, axis=0),
        world_m=np.repeat(pose.world_m[None], SHOTS, axis=0),
        pictures=np.tile(packed, SHOTS),
        picture_ends=np.arange(1, SHOTS + 1) * len(packed),
    )


def test_a_scene_is_scored_by_what_the_guide_goes_by(tmp_path):
    scene(tmp_path / "a.npz", rod=True)
    scene(tmp_path / "b.npz", rod=False)
    seen, bare = told_of(tmp_path / "a.npz"), told_of(tmp_path / "b.npz")
    assert seen.counts
    assert seen.right
    assert abs(seen.off_deg) < 1.5  # the stick golfer reads as a camera that leans a little
    assert abs(seen.off_deg) < abs(seen.body_off_deg)
    assert not bare.counts
    assert bare.off_deg == bare.body_off_deg


def test_what_is_another_line_than_the_rod_is_counted_apart():
    found = Told(
        what="rod", club=False, open_deg=0.0, rod=True, counts=True, right=True,
        body_off_deg=4.0, off_deg=1.0,
    )  # fmt: skip
    lines = score_lines(
        [
            found,
            replace(found, right=False),
            replace(found, counts=False, right=False),
            replace(found, what="things", rod=False, right=False),
        ]
    )
    assert "a rod, nothing else: stick found 1 of 3, another line 1" in lines
    assert "no rod, mats and clubs: a rod seen 1 of 1" in lines
    # The error of the guide counts wherever it goes by a line where a rod lies.
    assert any(line.startswith("yaw, players all (2), with the rod: mean +1.0") for line in lines)


@pytest.mark.lab
def test_what_lies_on_the_floor_is_drawn_where_the_camera_sees_it():
    vtk = pytest.importorskip("vtk", reason="the lab extra is not installed: no vtk")
    del vtk
    from trainer.lab.camera import Camera
    from trainer.lab.scene import _Window

    rod = Rod(middle_m=(0.0, 0.4), turn_deg=8.0, thick_m=0.012, colour=(255, 0, 0))
    mat = Mat(half_m=0.9, from_m=-0.5, to_m=1.0, colour=(0, 0, 160))
    camera = Camera(size_wh=(1280, 720), height_m=1.1, pitch_deg=10.0, yaw_deg=5.0, roll_deg=1.0)
    room = replace(Room(), lying=(mat, rod), loose=False, furniture=False)
    window = _Window(camera, room, mirror=False, fine=True)
    window.cast(np.full((1, 3), 90.0))  # no shadow
    image = window.picture().astype(int)
    red = image[..., 0] > 1.5 * image[..., 1:].max(axis=2)
    rows, columns = np.nonzero(red)
    ends = camera.project(rod.ends_m())
    assert columns.min() == pytest.approx(ends[0, 0], abs=6)
    assert columns.max() == pytest.approx(ends[1, 0], abs=6)
    slope, _ = np.polyfit(columns, rows, 1)
    assert slope == pytest.approx((ends[1, 1] - ends[0, 1]) / (ends[1, 0] - ends[0, 0]), abs=0.002)
    x, y = camera.project(np.array([0.4, 0.0, 0.7])).round().astype(int)
    assert image[y, x, 2] > 2 * image[y, x, 0]
