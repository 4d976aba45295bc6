"""Tags' attitudes from drawn pictures and exact corners, against OpenCV and closed forms."""

import cv2
import numpy as np
import pytest
from tag_golfers import Golfer
from tag_pictures import HFOV_DEG, SIZE_WH, Sheet, picture, turned

from trainer.adapters.tag_finder import TagFinder
from trainer.adapters.tag_solver import TagSolver
from trainer.core import rotation as rot
from trainer.core import tag_axes as ax
from trainer.core.lens import Lens, from_field_of_view
from trainer.core.records import Handed
from trainer.core.tag_body import TagBody
from trainer.core.tag_pose import Hint, square
from trainer.core.tag_seen import TagSeen

LENS = from_field_of_view(HFOV_DEG, SIZE_WH)
BOX = (420, 60, 860, 620)


def seen(sheet, noise_px=0.05):
    return TagSeen(number=sheet.number, corners_px=sheet.corners_px(), noise_px=noise_px)


def sheet_at(rotation, **changes):
    return Sheet(**{"number": 0, "rotation": rotation, "place_m": (0.2, 0.1, 3.0), **changes})


@pytest.mark.parametrize("angles", [(40, -20, 5), (-70, 10, 170), (25, 25, 180), (60, 0, 90)])
def test_exact_corners_give_the_exact_attitude(angles):
    sheet = sheet_at(turned(*angles))
    pose = TagSolver(LENS, 0.16).pose(seen(sheet))
    assert rot.angle_deg(pose.rotation, sheet.rotation) < 0.01
    assert pose.place_m == pytest.approx(sheet.place_m, abs=1e-4)
    assert not pose.ambiguous


@pytest.mark.parametrize("roll_deg", [0, 90, 180])
def test_a_tag_square_to_the_camera_is_solved_however_it_is_rolled(roll_deg):
    sheet = sheet_at(turned(0, 0, roll_deg))
    pose = TagSolver(LENS, 0.16).pose(seen(sheet))
    assert rot.angle_deg(pose.rotation, sheet.rotation) < 0.2
    assert pose.ambiguous


def test_opencv_projects_our_pose_onto_the_corners_through_a_bending_lens():
    lens = Lens(
        size_wh=SIZE_WH,
        focal_px=(900.0, 910.0),
        centre_px=(650.0, 350.0),
        distortion=(-0.2, 0.05, 0.001, -0.001, 0.0),
    )
    camera = np.array([[900.0, 0, 650.0], [0, 910.0, 350.0], [0, 0, 1]])
    rotation, place = turned(35, -20, 10), np.array([0.6, 0.3, 2.5])
    turn = cv2.Rodrigues(rotation)[0]
    corners = cv2.projectPoints(square(0.16), turn, place, camera, np.array(lens.distortion))[0]
    tag = TagSeen(number=0, corners_px=corners.reshape(4, 2), noise_px=0.05)
    pose = TagSolver(lens, 0.16).pose(tag)
    assert rot.angle_deg(pose.rotation, rotation) < 0.02
    assert pose.place_m == pytest.approx(place, abs=1e-3)


def test_a_tag_printed_at_96_per_cent_turns_alike_and_seems_4_per_cent_farther():
    sheet = sheet_at(turned(40, -20, 5), printed=0.96)
    pose = TagSolver(LENS, 0.16).pose(seen(sheet))
    assert rot.angle_deg(pose.rotation, sheet.rotation) < 0.01
    assert pose.place_m == pytest.approx(np.array(sheet.place_m) / 0.96, rel=1e-4)


def test_a_tag_of_untold_size_has_no_pose():
    assert TagSolver(LENS, {10: 0.12}).pose(seen(sheet_at(turned(30)))) is None


# Limits are some three times the spread found over 20 pictures each (docs/how-to/tags.md).
@pytest.mark.parametrize(
    ("size_m", "yaw_deg", "limit_deg"),
    [(0.16, 0, 0.4), (0.16, 40, 0.3), (0.16, 75, 1.0), (0.12, 40, 0.4), (0.08, 40, 0.6)],
)
def test_the_yaw_of_a_drawn_tag_is_read_within_the_stated_bounds(size_m, yaw_deg, limit_deg):
    solver, rng = TagSolver(LENS, size_m), np.random.default_rng(yaw_deg)
    for seed in range(3):
        rotation = turned(yaw_deg, 25 + rng.uniform(-3, 3), rng.uniform(-5, 5))
        sheet = sheet_at(rotation, size_m=size_m, place_m=(rng.uniform(-0.1, 0.1), 0.0, 3.0))
        expected = {0: sheet.corners_px() + rng.normal(0, 0.5, (4, 2))}
        (tag,) = TagFinder().find(picture([sheet], seed=seed), BOX, expected_px=expected)
        hint = Hint(rotation=turned(4) @ rotation, se_deg=8.0)
        pose = solver.pose(tag, [hint])
        off = np.degrees(rot.to_vector(pose.rotation @ rotation.T))
        assert abs(off[1]) < limit_deg


def test_from_pictures_the_turn_goes_on_from_the_chest_to_the_lead_side():
    golfer, finder, solver = Golfer(), TagFinder(), TagSolver(LENS, 0.16)
    body, axes = TagBody(handed=Handed.RIGHT), ax.axes_of(Handed.RIGHT)
    off, numbers = [], []
    for frame, turn in enumerate([0.0] * 5 + list(np.arange(0.0, 112.0, 6.0))):
        t_s = (frame + 1) / 15
        hints = body.hints(t_s)
        tags = finder.find(picture(golfer.sheets(turn), seed=frame), BOX)
        poses = [solver.pose(tag, hints.get(tag.number, ())) for tag in tags]
        reading = body.see(t_s, poses)
        if frame == 4:
            assert body.zero(0.0, t_s)
        elif frame > 4:
            true = ax.turn(golfer.rotation(turn), np.eye(3), axes).deg
            off.append(reading.thorax.turn.deg - true)
            numbers.append(reading.thorax.numbers)
    assert numbers[0] == (0,)
    assert numbers[-1] == (1,)
    assert np.max(np.abs(off)) < 2.0
    assert np.max(np.abs(np.diff(off))) < 1.0
