"""The placement guide's judgement, on a stick golfer seen through OpenCV's projection."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import TOP, Body, View, pose_of
from hypothesis import given
from hypothesis import strategies as st
from placed import placed

from trainer.core.landmarks import Landmark as L
from trainer.core.placement import (
    GROUPS,
    HOLD_S,
    KEPT_S,
    LIMITS,
    Asked,
    Check,
    Group,
    Look,
    PlacementState,
    Stage,
    step,
)
from trainer.core.placement_view import (
    HANDS_ASIDE,
    HANDS_UP,
    LEAST_M,
    focal_of,
    least_m,
    reach_m,
    view_of,
)
from trainer.core.placement_words import GROUP_NAMES, STAGES, finding_words
from trainer.core.records import Handed

KNOWN = Asked(stature_cm=175.6, field_of_view_deg=70.0)
both_hands = pytest.mark.parametrize("handed", list(Handed))


def lit(pose, luma=130, around=110):
    """A picture in which the body is so light and the rest too."""
    w, h = pose.size_wh
    image = np.full((h, w, 3), around, np.uint8)
    inside = [L.LEFT_SHOULDER, L.RIGHT_SHOULDER, L.LEFT_KNEE, L.RIGHT_KNEE, L.NOSE]
    (x0, y0), (x1, y1) = pose.image_px[inside].min(axis=0), pose.image_px[inside].max(axis=0)
    wide = 0.1 * (y1 - y0)
    left, right = max(int(x0 - wide), 0), max(int(x1 + wide), 0)
    image[max(int(y0 - wide), 0) : max(int(y1 + wide), 0), left:right] = luma
    return image


def watched(pose, state=None, *, seconds=2.0, asked=KNOWN, start_s=0.0, fps=30.0, image=None):
    """Let the guide look at one and the same pose (None: nobody) for a while, 10 times a second."""
    state = state or PlacementState()
    picture = image
    if image is None and pose is not None:
        picture = lit(pose)
    for n in range(round(seconds * 10)):
        look = Look(t_s=start_s + n / 10, pose=pose, image_rgb=picture, fps=fps)
        state = step(state, look, asked)
    return state


def found(asked=KNOWN, **where):
    """What is shown of a golfer before a camera that stands like that."""
    asked = replace(asked, handed=where.get("handed", Handed.RIGHT))
    return watched(placed(**where), asked=asked)


@both_hands
def test_a_camera_that_stands_right_is_ready(handed):
    state = found(handed=handed)
    assert state.stage is Stage.READY
    assert state.finding is None
    assert all(state.group(group) is not False for group in Group)
    assert state.group(Group.LEVEL) is True


@both_hands
@pytest.mark.parametrize(
    ("where", "check"),
    [
        ({"distance_m": 1.8, "view_deg": 100.0}, Check.NEAR),
        ({"distance_m": 1.8}, Check.NEAR),
        ({"distance_m": 5.8}, Check.FAR),
        ({"height_m": 1.3}, Check.FEET),
        ({"height_m": 0.45}, Check.HEAD),
        ({"height_m": 0.75}, Check.HANDS),
        ({"roll_deg": 6.0}, Check.ROLL),
        ({"roll_deg": -6.0}, Check.ROLL),
        ({"yaw_deg": 18.0}, Check.YAW),
        ({"yaw_deg": -18.0}, Check.YAW),
        # Far enough away that tipping takes nothing out of the picture.
        ({"pitch_deg": 8.0, "distance_m": 3.6, "size_wh": (960, 720)}, Check.PITCH),
        ({"pitch_deg": -14.0, "distance_m": 3.6, "view_deg": 55.0, "size_wh": (720, 1280)},
         Check.PITCH),
    ],
)  # fmt: skip
def test_each_fault_is_found_and_named(where, check, handed):
    state = found(handed=handed, asked=Asked(stature_cm=175.6,
                  field_of_view_deg=where.get("view_deg", 70.0)), **where)  # fmt: skip
    assert state.stage is Stage.OFF
    assert state.finding.check is check
    title, line = finding_words(state.finding, handed)
    assert title
    assert line.endswith(".")


@both_hands
@pytest.mark.parametrize("way", [1, -1])
def test_the_direction_told_mends_the_fault(handed, way):
    """What the words say to do is done; then the guide is ready or the fault is smaller."""
    roll = found(handed=handed, roll_deg=6.0 * way).finding
    # Clockwise from behind the camera: the end on the player's left is down.
    assert ("left" if way > 0 else "right") in finding_words(roll, handed)[1]
    yaw = found(handed=handed, yaw_deg=18.0 * way).finding
    # The camera stands too far to the player's left: it goes to the right.
    assert ("right" if way > 0 else "left") in finding_words(yaw, handed)[1]
    assert yaw.amount == pytest.approx(3.0 * np.tan(np.radians(18.0)), rel=0.45)


def test_tipped_down_and_tipped_up_are_told_apart():
    down = found(pitch_deg=8.0, distance_m=3.6, size_wh=(960, 720)).finding
    assert down.value > 0
    assert finding_words(down, Handed.RIGHT)[0] == "Camera looks down"
    up = found(
        pitch_deg=-14.0,
        distance_m=3.6,
        view_deg=55.0,
        size_wh=(720, 1280),
        asked=Asked(stature_cm=175.6, field_of_view_deg=55.0),
    ).finding
    assert up.value < 0
    assert finding_words(up, Handed.RIGHT)[0] == "Camera looks up"


@both_hands
def test_hands_out_at_the_side_say_which_way_to_stand(handed):
    trail = -1 if handed is Handed.RIGHT else 1  # picture left is a right-hander's trail side
    state = found(handed=handed, aside_m=1.55 * trail)
    assert state.finding.check is Check.HANDS
    assert state.finding.aside
    # A right-hander's hands go out on the player's right: stand further to the left.
    wanted = "your left" if handed is Handed.RIGHT else "your right"
    assert wanted in finding_words(state.finding, handed)[1]
    assert found(handed=handed, aside_m=-0.5 * trail).stage is Stage.READY


def test_hands_out_on_a_narrow_picture_ask_for_distance():
    state = found(size_wh=(300, 720), view_deg=18.9, asked=Asked(field_of_view_deg=18.9))
    assert state.finding.check is Check.HANDS
    assert not state.finding.aside
    assert "further away" in finding_words(state.finding, Handed.RIGHT)[1]


@both_hands
def test_the_reach_that_is_reckoned_holds_the_whole_backswing(handed):
    """What is reckoned from the body at address is where the same body's hands truly go."""
    view = View(handed=handed)
    address = pose_of(Body(), view, 0.0)
    read = view_of(address, handed, stature_cm=175.6, focal_px=focal_of((1280, 720), 70.0))
    chest = (address.image_px[L.LEFT_SHOULDER] + address.image_px[L.RIGHT_SHOULDER]) / 2
    sign = -1 if handed is Handed.RIGHT else 1
    for arc in range(0, 151, 10):
        pose = pose_of(replace(TOP, arc_deg=float(arc)), view, 0.0)
        hands = (pose.image_px[L.LEFT_WRIST] + pose.image_px[L.RIGHT_WRIST]) / 2
        assert sign * (hands[0] - chest[0]) <= HANDS_ASIDE * read.stature_px
        if arc <= 140:  # nobody's arms stay straight as far as the stick golfer's do
            assert chest[1] - hands[1] <= HANDS_UP * read.stature_px + 0.5


def test_the_reach_of_arms_and_club():
    # 1.143 m of driver, arms of 0.386 of 1.756 m: from mid-stance about 2 m.
    assert reach_m(175.6, 114.3) == pytest.approx(1.90, abs=0.01)
    assert least_m(175.6, 114.3) == LEAST_M
    # The longest club the Rules of Golf allow, 48 inches (R&A and USGA, Equipment Rules 2.1c).
    assert least_m(200.0, 121.9) > LEAST_M
    assert least_m(None, None) == LEAST_M


def test_the_distance_is_told_from_stature_and_lens():
    for distance in (2.2, 3.0, 4.0):
        pose = placed(distance_m=distance)
        view = view_of(pose, Handed.RIGHT, stature_cm=175.6, focal_px=focal_of((1280, 720), 70.0))
        # The stick golfer's legs are straight: 4 % more than those the ruler was made for.
        assert view.distance_m == pytest.approx(distance, rel=0.06)
        half = view_of(pose, Handed.RIGHT, stature_cm=150.0, focal_px=focal_of((1280, 720), 70.0))
        assert half.distance_m == pytest.approx(view.distance_m * 150.0 / 175.6)


def test_the_lens_is_assumed_across_the_longer_side():
    assert focal_of((1280, 720), None) == focal_of((720, 1280), None)
    # f = (W / 2) / tan(70 / 2): 914.01 px for 1280 (plain trigonometry).
    assert focal_of((1280, 720), None) == pytest.approx(914.01, abs=0.01)


@given(
    yaw=st.floats(-12, 12), roll=st.floats(-4, 4), distance=st.floats(2.4, 4.0), right=st.booleans()
)
def test_more_of_a_fault_reads_as_more(yaw, roll, distance, right):
    handed = Handed.RIGHT if right else Handed.LEFT

    def read(yaw_deg, roll_deg):
        pose = placed(yaw_deg=yaw_deg, roll_deg=roll_deg, distance_m=distance, handed=handed)
        return view_of(pose, handed, stature_cm=175.6, focal_px=focal_of((1280, 720), 70.0))

    assert read(yaw + 3.0, roll).yaw_deg > read(yaw, roll).yaw_deg + 1.5
    assert read(yaw, roll + 2.0).roll_deg > read(yaw, roll).roll_deg + 1.5
    # And the level of the camera is no matter of where it stands.
    assert read(yaw, roll).roll_deg == pytest.approx(read(0.0, roll).roll_deg, abs=2.0)


def test_nobody_and_no_address_are_said_and_are_no_fault():
    state = watched(None, image=np.full((720, 1280, 3), 120, np.uint8))
    assert state.stage is Stage.NOBODY
    waving = watched(placed(Body(hand_up_cm=60.0)))
    assert waving.stage is Stage.ADDRESS
    for stage in (Stage.NOBODY, Stage.ADDRESS, Stage.LOOKING, Stage.READY):
        assert all(STAGES[stage])


def test_a_body_seen_from_behind_tells_nothing():
    pose = placed()
    points = pose.image_px.copy()
    points[:, 0] = 1280 - points[:, 0]
    assert view_of(replace(pose, image_px=points), Handed.RIGHT, focal_px=900.0) is None


def test_too_dark_and_light_from_behind():
    pose = placed()
    dark = watched(pose, image=lit(pose, luma=30, around=25))
    assert dark.finding.check is Check.DARK
    behind = watched(pose, image=lit(pose, luma=65, around=235))
    assert behind.finding.check is Check.BACKLIT
    assert dark.group(Group.LIGHT) is False
    # A dark player before a wall that is no light is neither.
    assert watched(pose, image=lit(pose, luma=70, around=130)).stage is Stage.READY


def test_in_the_dark_it_says_so_also_where_nobody_is_found():
    state = watched(None, image=np.full((720, 1280, 3), 12, np.uint8))
    assert state.finding.check is Check.DARK


def test_too_few_pictures_a_second():
    state = watched(placed(), fps=14.0)
    assert state.finding.check is Check.PACE
    assert "14 pictures a second" in finding_words(state.finding, Handed.RIGHT)[1]
    assert watched(placed(), fps=None).stage is Stage.LOOKING  # not known is not fine


def test_what_must_be_mended_first_is_shown_first():
    pose = placed(roll_deg=6.0, yaw_deg=18.0, height_m=1.3)
    state = watched(pose, fps=12.0, image=lit(pose, luma=20, around=20))
    assert state.finding.check is Check.FEET
    off = {check for check, one in state.checks.items() if one.off}
    assert off == {Check.FEET, Check.DARK, Check.ROLL, Check.YAW, Check.PACE}


def test_of_two_of_one_stage_the_worse_is_shown_first():
    mild, strong = 5.0, 25.0
    assert found(roll_deg=mild, yaw_deg=strong).finding.check is Check.YAW
    assert found(roll_deg=12.0, yaw_deg=11.0).finding.check is Check.ROLL


def test_between_its_two_limits_a_check_stays_what_it_was():
    fine, off = LIMITS[Check.ROLL]
    between = (fine + off) / 2 + 0.4  # the golfer reads 0.4 less than it is
    assert found(roll_deg=between).stage is Stage.READY
    was_off = found(roll_deg=6.0)
    still = watched(placed(roll_deg=between), was_off, start_s=2.0)
    assert still.finding.check is Check.ROLL
    mended = watched(placed(roll_deg=0.5), still, start_s=4.0)
    assert mended.stage is Stage.READY


def test_words_do_not_flicker_where_a_reading_jumps_about_its_limit():
    state, shown = PlacementState(), []
    off = LIMITS[Check.ROLL][1]
    rng = np.random.default_rng(7)
    for n in range(200):
        pose = placed(roll_deg=off + 0.4 + rng.normal(0, 1.0), t_s=n / 10)
        look = Look(t_s=n / 10, pose=pose, image_rgb=lit(pose), fps=30.0)
        state = step(state, look, KNOWN)
        shown.append((state.stage, None if state.finding is None else state.finding.check))
    changes = sum(shown[n] != shown[n - 1] for n in range(1, len(shown)))
    assert changes <= 4  # without the two limits and the hold some fifty


def test_a_fault_of_a_moment_is_not_shown():
    state = watched(placed())
    state = watched(placed(roll_deg=8.0), state, seconds=HOLD_S - 0.1, start_s=2.0)
    assert state.stage is Stage.READY
    assert watched(placed(), state, start_s=3.0).stage is Stage.READY


def test_a_finding_stays_while_the_player_walks_to_the_camera_and_not_for_ever():
    state = found(roll_deg=6.0)
    room = np.full((720, 1280, 3), 120, np.uint8)
    gone = watched(None, state, start_s=2.0, seconds=10.0, image=room)
    assert gone.finding.check is Check.ROLL
    assert gone.finding.value == pytest.approx(state.finding.value)
    later = watched(None, gone, start_s=12.0, seconds=KEPT_S, image=room)
    assert later.stage is Stage.NOBODY


def test_ready_stays_through_a_swing():
    state = watched(placed())
    swinging = watched(placed(TOP), state, start_s=2.0, seconds=0.5)
    assert swinging.stage is Stage.READY


def smeared(pose, to_pose, open_s, apart_s=0.1):
    """A picture of a striped forearm that moves while the shutter is open."""
    w, h = pose.size_wh
    rng = np.random.default_rng(3)
    ground = np.full((h, w), 90.0) + rng.normal(0, 1.5, (h, w))
    hands = (to_pose.image_px[L.LEFT_WRIST] + to_pose.image_px[L.RIGHT_WRIST]) / 2
    before = (pose.image_px[L.LEFT_WRIST] + pose.image_px[L.RIGHT_WRIST]) / 2
    way = (hands - before) / apart_s * open_s
    y, x = np.mgrid[0:h, 0:w].astype(float)
    total, shots = np.zeros((h, w)), 24
    elbow = to_pose.image_px[[L.LEFT_ELBOW, L.RIGHT_ELBOW]].mean(axis=0) - hands
    along = elbow / np.linalg.norm(elbow)
    for n in range(shots):
        at = hands + way * (n / (shots - 1) - 0.5)
        dx, dy = x - at[0], y - at[1]
        reach, off = dx * along[0] + dy * along[1], -dx * along[1] + dy * along[0]
        arm = (np.abs(off) < 6) & (reach > -25) & (reach < 80)
        total += np.where(arm, 170.0 + 60.0 * np.sin(reach / 1.5), ground)
    return np.repeat((total / shots)[..., None], 3, axis=2).clip(0, 255).astype(np.uint8)


@pytest.mark.parametrize(("open_s", "wrong"), [(1 / 30, True), (1 / 250, False), (1 / 500, False)])
def test_hands_that_smear_tell_a_slow_shutter(open_s, wrong):
    state = watched(placed())
    first, second = placed(Body(arc_deg=40.0)), placed(Body(arc_deg=62.0))
    picture = smeared(first, second, open_s)
    for n, pose in enumerate((first, second)):
        look = Look(t_s=2.0 + n / 10, pose=pose, image_rgb=picture, fps=30.0)
        state = step(state, look, KNOWN)
    assert state.is_read(Check.SMEAR)
    assert bool(state.checks[Check.SMEAR].off) is wrong
    if wrong:
        assert state.finding.check is Check.SMEAR


def test_hands_that_rest_tell_nothing_of_the_shutter():
    assert not watched(placed()).is_read(Check.SMEAR)


def test_every_check_is_in_one_group_has_words_and_two_limits():
    grouped = [check for group in Group for check in GROUPS[group]]
    assert sorted(grouped) == sorted(Check)
    assert set(GROUP_NAMES) == set(Group)
    assert all(fine < off for fine, off in LIMITS.values())
    assert set(LIMITS) == set(Check)
