"""What a rod on the floor tells of the camera's place, beside OpenCV's own projection."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from placed import placed, turned

from trainer.core.lens import Lens, matrix, undistorted
from trainer.core.placement import Asked, Check, Look, PlacementState, Stage, step
from trainer.core.placement_rod import (
    BODY_SD_DEG,
    CONTRADICTS,
    ROLL_SD_DEG,
    STANCE_SD_DEG,
    STEEP_SD_DEG,
    TILT_SD_DEG,
    Eye,
    RodLine,
    RodSeen,
    agreed,
    rod_sd_deg,
    rod_yaw_deg,
    with_rod,
)
from trainer.core.placement_view import focal_of, view_of
from trainer.core.placement_words import RESTS_ON
from trainer.core.records import Handed

SIZE_WH = (1280, 720)
FOCAL = focal_of(SIZE_WH, 70.0)
KNOWN = Asked(stature_cm=175.6, field_of_view_deg=70.0)
#: A wide webcam's, bent like a barrel.
BENT = Lens(
    size_wh=SIZE_WH,
    focal_px=(905.0, 911.0),
    centre_px=(652.0, 349.0),
    distortion=(-0.13, 0.05, 0.001, -0.0015, -0.01),
)
PLAIN = Lens(size_wh=SIZE_WH, focal_px=(FOCAL, FOCAL), centre_px=(639.5, 359.5))


def seen(*, lens=PLAIN, yaw=0.0, pitch=0.0, roll=0.0, pan=0.0, height=0.9, distance=3.0,
         rod_turn=0.0, rod_z=0.25, rod_x=0.1):  # fmt: skip
    """A rod and the stance as OpenCV projects them, and what is to be known of the camera.

    The camera stands ``yaw`` toward the player's left of the stance, which lies at the origin; it
    is turned ``pan`` past the stance to the picture's right, tipped down, and leant clockwise.
    """
    turn = np.radians(rod_turn)
    along = np.array([np.cos(turn), 0.0, -np.sin(turn)]) * 0.6
    middle = np.array([rod_x, 0.0, rod_z])
    points = np.array([middle - along, middle + along, [0.0, 0.0, 0.0]])
    angle = np.radians(yaw)
    place = np.array([distance * np.sin(angle), height, distance * np.cos(angle)])
    rotation = np.diag([1.0, -1.0, -1.0]) @ turned(1, -yaw)
    rotation = turned(2, -roll) @ turned(0, pitch) @ turned(1, -pan) @ rotation
    pixels, _ = cv2.projectPoints(
        points,
        cv2.Rodrigues(rotation)[0],
        -rotation @ place,
        matrix(lens),
        np.array(lens.distortion),
    )
    pixels = pixels[:, 0, :]
    under = np.degrees(np.arctan(undistorted(lens, pixels[2:])[0, 1]))
    eye = Eye(
        steep_deg=pitch + under,
        roll_deg=roll,
        feet_px=tuple(pixels[2]),
        size_wh=SIZE_WH,
        focal_px=FOCAL,
        lens=None if lens is PLAIN else lens,
    )
    return RodLine(ends_px=pixels[:2], se_px=0.2), eye


def test_a_distortion_is_taken_off_as_opencv_takes_it_off():
    points = np.stack(np.meshgrid(np.linspace(0, 1279, 9), np.linspace(0, 719, 7)), -1).reshape(
        -1, 2
    )
    ours = undistorted(BENT, points)
    theirs = cv2.undistortPointsIter(
        points.reshape(-1, 1, 2), matrix(BENT), np.array(BENT.distortion), None, None,
        (cv2.TERM_CRITERIA_COUNT, 60, 0.0),
    )[:, 0, :]  # fmt: skip
    assert np.abs(ours - theirs).max() * 908 < 0.01  # pixels


@pytest.mark.parametrize("lens", [PLAIN, BENT], ids=["plain", "bent"])
@given(
    yaw=st.floats(-15, 15), pitch=st.floats(-8, 16), roll=st.floats(-5, 5), pan=st.floats(-8, 8),
    height=st.floats(0.6, 1.5), distance=st.floats(2.3, 4.0), rod_turn=st.floats(-12, 12),
)  # fmt: skip
def test_the_angle_to_the_rod_is_the_true_one_however_the_camera_stands(lens, **where):
    rod, eye = seen(lens=lens, **where)
    # Positive where the camera stands too far toward the player's left, which is +x.
    assert rod_yaw_deg(rod, eye) == pytest.approx(where["yaw"] - where["rod_turn"], abs=0.05)


def test_a_level_camera_sees_a_rod_rise_by_its_height_over_the_distance():
    # slope = (h / z) tan(psi) where the line crosses below the eye: plain similar triangles.
    for psi in (-9.0, 4.0, 12.0):
        rod, eye = seen(rod_turn=-psi, rod_x=0.0, rod_z=0.3)
        (x0, y0), (x1, y1) = rod.ends_px
        assert abs((y1 - y0) / (x1 - x0)) == pytest.approx(
            0.9 / 2.7 * abs(np.tan(np.radians(psi))), rel=1e-6
        )
        assert rod_yaw_deg(rod, eye) == pytest.approx(psi, abs=1e-6)


def test_a_roll_that_is_off_counts_by_the_distance_over_the_height():
    for height, distance in ((0.8, 3.2), (1.2, 2.6)):
        rod, eye = seen(height=height, distance=distance, rod_x=0.0, rod_z=0.0)
        off = rod_yaw_deg(rod, replace(eye, roll_deg=0.5))
        # z / h from the rod's slope, and h / z because the feet seem to stand elsewhere.
        times = distance / height + height / distance
        assert abs(off) == pytest.approx(0.5 * times, rel=0.01)


@pytest.mark.parametrize("where", [{"yaw": 10.0}, {"roll": 2.0, "pitch": 6.0, "height": 1.2}])
def test_the_standard_error_is_that_of_many_draws(where):
    rod, eye = seen(**where)
    eye = replace(eye, lens=PLAIN)  # its focal length and bending are known
    rng = np.random.default_rng(3)
    drawn = []
    for _ in range(1500):
        rows = rng.normal(0, rod.se_px, 2)
        moved = replace(rod, ends_px=rod.ends_px + np.column_stack([[0, 0], rows]))
        drawn.append(
            rod_yaw_deg(
                moved,
                replace(
                    eye,
                    roll_deg=eye.roll_deg + rng.normal(0, np.hypot(ROLL_SD_DEG, TILT_SD_DEG)),
                    steep_deg=eye.steep_deg + rng.normal(0, STEEP_SD_DEG),
                ),
            )
        )
    assert rod_sd_deg(rod, eye) == pytest.approx(np.std(drawn), rel=0.12)


def test_a_lens_that_is_not_known_makes_the_angle_less_sure():
    rod, eye = seen(yaw=10.0, pan=8.0)
    guessed = replace(eye, focal_sd=0.1)
    assert (
        rod_sd_deg(rod, guessed) > rod_sd_deg(rod, eye) > rod_sd_deg(rod, replace(eye, lens=PLAIN))
    )


def rod_before(*, yaw_deg, rod_turn=0.0, **where):
    """A golfer, and a rod before the toes, as one camera sees both."""
    pose = placed(yaw_deg=yaw_deg, height_m=0.95, **where)
    rod, _ = seen(yaw=yaw_deg, height=0.95, rod_turn=rod_turn,
                  lens=replace(PLAIN, centre_px=(640.0, 360.0)))  # fmt: skip
    return pose, rod


def view(pose):
    return view_of(pose, Handed.RIGHT, stature_cm=175.6, focal_px=FOCAL)


def test_the_rod_counts_more_than_a_body_that_stands_open():
    pose, rod = rod_before(yaw_deg=0.0, rod_turn=-10.0)
    body, both = view(pose), with_rod(view(pose), rod, pose, 70.0)
    assert both.by_rod
    assert not body.by_rod
    assert 10.0 * 0.6 < both.yaw_deg - body.yaw_deg < 12.0
    # Between the two, and nearer to the rod.
    assert abs(both.yaw_deg - 10.0) < abs(both.yaw_deg - body.yaw_deg)


def test_variances_weigh():
    pose, rod = rod_before(yaw_deg=5.0)
    blurred = replace(rod, se_px=25.0)
    body = view(pose).yaw_deg
    sure, unsure = (with_rod(view(pose), one, pose, 70.0).yaw_deg for one in (rod, blurred))
    assert abs(unsure - body) < abs(sure - body)


def test_a_rod_at_another_angle_is_not_taken_for_the_target_line():
    far = CONTRADICTS * np.hypot(BODY_SD_DEG, STANCE_SD_DEG) + 15.0
    pose, rod = rod_before(yaw_deg=0.0, rod_turn=-far)
    assert with_rod(view(pose), rod, pose, 70.0) == view(pose)


def search(t_s, rod):
    return RodSeen(t_s=t_s, rod=rod)


def test_one_sight_of_a_rod_is_none_and_two_in_one_place_are():
    _, rod = rod_before(yaw_deg=0.0)
    moved = replace(rod, ends_px=rod.ends_px + [0.0, 9.0])
    assert agreed([]) is None
    assert agreed([search(0.0, rod)]) is None
    assert agreed([search(0.0, rod), search(1.0, None)]) is None
    assert agreed([search(0.0, rod), search(1.0, None), search(2.0, rod)]) is rod
    assert agreed([search(0.0, rod), search(1.0, moved)]) is None
    assert agreed([search(0.0, moved), search(1.0, rod), search(2.0, rod)]) is rod


def watched(pose, rod, *, seconds=3.0):
    """The guide's state after a search each second, all of which found this rod, or None."""
    state = PlacementState()
    for n in range(round(seconds * 10)):
        found = search(n / 10, rod) if n % 10 == 5 else None
        look = Look(t_s=n / 10, pose=pose, image_rgb=None, fps=30.0, rod=found)
        state = step(state, look, KNOWN)
    return state


def test_a_player_who_stands_open_is_not_told_to_move_a_camera_that_is_square_to_the_rod():
    # The camera is square to the rod; the player stands 16 degrees turned to both.
    pose, rod = rod_before(yaw_deg=16.0, rod_turn=16.0)
    alone = watched(pose, None)
    assert alone.finding.check is Check.YAW
    assert not alone.rod_counts
    helped = watched(pose, rod)
    assert helped.finding is None
    assert helped.rod_counts
    assert helped.rod_px is not None


def test_a_camera_that_is_not_square_to_the_rod_is_told_from_the_rod():
    pose, rod = rod_before(yaw_deg=2.0, rod_turn=-14.0)
    assert watched(pose, None).finding is None
    state = watched(pose, rod)
    assert state.stage is Stage.OFF
    assert state.finding.check is Check.YAW
    assert state.finding.by_rod
    assert state.finding.value > 0
    assert state.rod_counts


def test_a_rod_taken_away_is_forgotten_within_some_seconds():
    pose, rod = rod_before(yaw_deg=0.0)
    state = watched(pose, rod)
    for n in range(50):
        found = search(3 + n / 10, None) if n % 10 == 5 else None
        look = Look(t_s=3 + n / 10, pose=pose, image_rgb=None, fps=30.0, rod=found)
        state = step(state, look, KNOWN)
    assert not state.rod_counts
    assert state.rod_px is None


def test_there_are_words_for_both():
    assert "rod" in RESTS_ON[True]
    assert "stance" in RESTS_ON[False]
