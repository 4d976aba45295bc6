"""Printed tags on a body: where they lie, what they ride on, and that the camera can read them."""

from dataclasses import replace

import numpy as np
import pytest

from trainer.core import rotation as core_rot
from trainer.core.tag_roles import ROLES
from trainer.lab import exam_tagged, figure, truth
from trainer.lab import rotations as rot
from trainer.lab.body import PARTS, Body
from trainer.lab.camera import Camera
from trainer.lab.cards import USUAL, Cards, Worn, free_points, grid, moved
from trainer.lab.render import shutter_steps
from trainer.lab.scenarios import SCENARIOS
from trainer.lab.video import Film

EXACT = Worn(off_deg=0.0, off_cm=0.0, bend_mm=0.0, slip=0.0, soft=0.0)


def barrel() -> Body:
    """A trunk of elliptic rings, pelvis below 1.15 m and ribs above, and a crown at 1.78 m."""
    levels, around = np.linspace(0.85, 1.5, 40), np.linspace(0, 2 * np.pi, 90, endpoint=False)
    y, angle = np.meshgrid(levels, around, indexing="ij")
    rings = np.stack([0.17 * np.sin(angle), y, 0.12 * np.cos(angle)], axis=-1).reshape(-1, 3)
    vertices = np.vstack([rings, [[0, 1.78, 0]]])
    names = ("root", "spine01", "head")
    bone = np.where(vertices[:, 1] > 1.6, 2, np.where(vertices[:, 1] > 1.15, 1, 0))
    return Body(
        vertices=vertices,
        faces=np.array([[0, 1, 90]]),
        bone_names=names,
        parents=np.array([-1, 0, 1]),
        heads=np.array([[0, 0.95, 0], [0, 1.2, 0], [0, 1.6, 0]], dtype=float),
        weight_bones=bone[:, None],
        weights=np.ones((len(vertices), 1)),
        parts={part: np.zeros(1, dtype=bool) for part in PARTS},
    )


STILL = np.tile(np.eye(3), (3, 1, 1))


def worn_cards(worn):
    body = barrel()
    free = free_points(body, [], []) < 0.3
    return body, Cards(body, worn, body.vertices, free)


def turned(body, degrees):
    """The body with its ribs turned about the upright: surface, turns and joints."""
    turns = STILL.copy()
    turns[1] = rot.about_y(degrees)
    surface = body.vertices.copy()
    ribs = body.weight_bones[:, 0] == 1
    surface[ribs] = surface[ribs] @ turns[1].T
    return surface, turns, body.heads


def test_the_chest_card_lies_on_the_front_and_faces_the_camera_upright():
    body, cards = worn_cards(replace(EXACT, numbers=(0,)))
    (chest,) = cards.ride(body.vertices, STILL, body.heads, mirrored=False)
    assert chest.facing == pytest.approx([0, 0, 1], abs=1e-6)
    assert chest.axes[:, 1] == pytest.approx([0, -1, 0], abs=1e-6)
    assert chest.middle_m == pytest.approx([0, 1.39, 0.1225], abs=0.002)


def test_side_cards_face_their_own_sides_and_lead_is_the_players_left():
    body, cards = worn_cards(replace(EXACT, numbers=(1, 3, 11)))
    lead, trail, hip = cards.ride(body.vertices, STILL, body.heads, mirrored=False)
    assert lead.facing[0] > 0.5
    assert hip.facing[0] > 0.5
    assert trail.facing[0] < -0.7
    assert hip.middle_m[1] < 1.1 < lead.middle_m[1]


def test_a_mirrored_player_wears_the_cards_on_the_other_side_but_not_mirrored():
    body, cards = worn_cards(replace(EXACT, numbers=(0, 1)))
    placed = cards.ride(body.vertices, STILL, body.heads, mirrored=False)
    again = cards.ride(body.vertices, STILL, body.heads, mirrored=True)
    for one, other in zip(placed, again, strict=True):
        assert other.middle_m == pytest.approx(one.middle_m * [-1, 1, 1])
        assert np.linalg.det(other.axes) == pytest.approx(1.0)
        assert other.axes[1, 1] == pytest.approx(one.axes[1, 1])  # still upright
    assert again[0].axes[0, 0] > 0.99  # its right is the picture's right


@pytest.mark.parametrize("degrees", [-20, 35, 90])
def test_a_card_turns_with_its_bone_and_the_belt_stays(degrees):
    body, cards = worn_cards(replace(EXACT, numbers=(0, 1, 10)))
    before = cards.ride(body.vertices, STILL, body.heads, mirrored=False)
    after = cards.ride(*turned(body, degrees), mirrored=False)
    for one, other, wanted in zip(before, after, (degrees, degrees, 0), strict=True):
        assert core_rot.angle_deg(other.axes, one.axes) == pytest.approx(abs(wanted), abs=1e-6)


def test_a_soft_card_lags_by_the_share_of_what_the_skin_under_it_lags():
    body, cards = worn_cards(replace(EXACT, numbers=(0,), soft=0.3))
    (before,) = cards.ride(body.vertices, STILL, body.heads, mirrored=False)
    turns = STILL.copy()
    turns[1] = rot.about_y(40.0)
    skin = body.vertices @ rot.about_y(30.0).T  # 10 degrees behind the bone
    (after,) = cards.ride(skin, turns, body.heads, mirrored=False)
    assert core_rot.angle_deg(after.axes, before.axes) == pytest.approx(37.0, abs=1e-6)


def test_the_cloth_slips_with_the_turn_smoothly_and_comes_back():
    body, cards = worn_cards(replace(EXACT, numbers=(0,), slip=2.0, seed=5))

    def off_deg(degrees):
        (card,) = cards.ride(*turned(body, degrees), mirrored=False)
        return core_rot.angle_deg(card.axes, rot.about_y(degrees) @ start.axes)

    (start,) = cards.ride(*turned(body, 0.0), mirrored=False)
    offs = [off_deg(degrees) for degrees in (0.0, 1.0, 45.0, 90.0, 0.0)]
    assert offs[0] == offs[-1] == pytest.approx(0.0, abs=1e-6)
    assert offs[1] < 0.2
    assert offs[1] < offs[2] < offs[3]


def test_a_belly_that_comes_out_pushes_the_card_before_it():
    body, cards = worn_cards(replace(EXACT, numbers=(10,)))
    (before,) = cards.ride(body.vertices, STILL, body.heads, mirrored=False)
    out = body.vertices.copy()
    out[:, 2] += np.where(out[:, 2] > 0.05, 0.02, 0.0)
    (after,) = cards.ride(out, STILL, body.heads, mirrored=False)
    assert after.middle_m[2] - before.middle_m[2] == pytest.approx(0.02, abs=1e-6)


def test_no_point_of_the_surface_comes_through_a_card():
    body, cards = worn_cards(Worn(numbers=USUAL, seed=2))
    sheet, _, _ = grid(cards.worn)
    for degrees in (0.0, 30.0, 80.0):
        surface, turns, joints = turned(body, degrees)
        for card in cards.ride(surface, turns, joints, mirrored=False):
            flat = (surface - card.middle_m) @ card.axes
            half = np.abs(sheet).max(axis=0)
            under = np.all(np.abs(flat[:, :2]) < half, axis=1) & (np.abs(flat[:, 2]) < 0.1)
            back = card.bend * flat[under, card.along] ** 2
            assert np.all(flat[under, 2] > back), card.number


def test_a_print_of_96_per_cent_is_so_much_smaller():
    body, cards = worn_cards(replace(EXACT, numbers=(0,), size_cm=12.5, print_scale=0.96))
    (chest,) = cards.ride(body.vertices, STILL, body.heads, mirrored=False)
    sides = np.linalg.norm(np.diff(chest.corners_m, axis=0), axis=1)
    assert sides == pytest.approx([0.12] * 3)
    assert cards.worn.card_m[0] == pytest.approx(0.96 * 0.125 * 10 / 8)


def test_a_card_worn_upside_down_has_its_top_left_at_the_lower_right():
    body, cards = worn_cards(replace(EXACT, numbers=(0, 10), upside_down=(10,)))
    chest, belt = cards.ride(body.vertices, STILL, body.heads, mirrored=False)
    for card, sign in ((chest, 1), (belt, -1)):
        first = card.corners_m[0] - card.middle_m
        assert sign * first[0] < 0 < sign * first[1]


def test_every_role_has_a_place_and_another_number_is_refused():
    numbers = tuple(role.number for role in ROLES if role.name != "cap")
    worn_cards(Worn(numbers=numbers))
    with pytest.raises(ValueError, match="no place for a tag 7"):
        worn_cards(Worn(numbers=(7,)))


def test_the_nearest_rotation_of_points_is_scipys():
    transform = pytest.importorskip("scipy.spatial.transform", reason="scipy is not installed")
    rng = np.random.default_rng(3)
    before = rng.normal(size=(20, 3))
    after = before @ rot.about(rot.unit(np.array([1.0, 2.0, 3.0])), 50.0).T
    after = after + [1.0, 2.0, 3.0] + 0.05 * rng.normal(size=(20, 3))
    turn, shift = moved(before, after)
    theirs, _ = transform.Rotation.align_vectors(
        after - after.mean(axis=0), before - before.mean(axis=0)
    )
    assert turn == pytest.approx(theirs.as_matrix(), abs=1e-9)
    assert (before @ turn.T + shift).mean(axis=0) == pytest.approx(after.mean(axis=0))


def test_between_two_frames_the_pose_is_half_way_and_its_rotations_are_rotations(body):
    clip = SCENARIOS["full-turn-right"](1, 30.0, {})
    posed = figure.Figure(body, clip.stance).pose(clip.motion)
    there = figure.at_frames(posed, np.array([90.0, 90.5, 1e6]))
    assert there.joints[0] == pytest.approx(posed.joints[90])
    assert there.joints[1] == pytest.approx((posed.joints[90] + posed.joints[91]) / 2)
    assert there.joints[2] == pytest.approx(posed.joints[-1])
    assert np.linalg.det(there.rotations) == pytest.approx(np.ones(there.rotations.shape[:2]))
    half = rot.between(posed.rotations[90], posed.rotations[91], 0.5)
    assert there.rotations[1] == pytest.approx(half, abs=1e-3)


def test_a_faster_body_is_drawn_more_often_while_the_shutter_is_open(body):
    clip = SCENARIOS["full-turn-right"](1, 30.0, {"backswing_s": 0.7})
    joints = truth.joints(body, figure.Figure(body, clip.stance).pose(clip.motion))
    assert [len(s) for s in shutter_steps(clip, joints)] == [1] * len(clip.motion.t_s)
    steps = shutter_steps(replace(clip, film=Film(exposure_s=1 / 60)), joints)
    counts = np.array([len(s) for s in steps])
    assert np.all(counts % 2 == 1)
    assert counts[30] == 1  # still at the address
    assert counts[80:90].max() > 1
    widest = steps[int(counts.argmax())]
    assert widest.sum() == pytest.approx(0.0, abs=1e-9)
    assert np.ptp(widest) < 0.5  # half a frame at 30 a second


@pytest.mark.parametrize("kind", exam_tagged.KINDS)
def test_the_people_of_the_tag_report_are_all_in_the_picture_without_jackets(kind):
    for seed in exam_tagged.seeds_of(kind, exam_tagged.FIRST_SEED, 6):
        clip = exam_tagged.clip_of(seed, kind)
        assert clip.outfit.jacket is None
        assert clip.worn is not None
        assert clip.film.exposure_s < 1 / clip.fps
        feet_and_hands = np.array([[0, 0, 0], [0, 1.12 * clip.shape.stature_cm / 100, 0]])
        pixels = clip.camera.project(feet_and_hands)
        assert np.all((pixels > 0) & (pixels < clip.camera.size_wh))
        reps = clip.motion.reps
        assert (reps[-1].top_s - reps[-1].takeaway_s >= 2.0) == (kind == "slow")
        if kind != "slow":  # one slow backswing first, from which the tags' places are learned
            assert reps[0].top_s - reps[0].takeaway_s >= 1.6
            assert reps[1].takeaway_s - reps[1].setup_s >= 1.5


def test_the_picture_on_a_card_is_read_as_its_number_and_has_its_white():
    cv2 = pytest.importorskip("cv2", reason="opencv is not installed")
    from trainer.lab.card_print import MODULE_PX, PAPER, card_picture

    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for number in (0, 11):
        card = card_picture(number, 12.0)
        # OpenCV's own drawing of the tag, module for module
        theirs = cv2.aruco.generateImageMarker(family, number, 8 * MODULE_PX) > 128
        top = (card.shape[0] - 8 * MODULE_PX) // 2
        left = (card.shape[1] - 8 * MODULE_PX) // 2
        own = card[top : top + 8 * MODULE_PX, left : left + 8 * MODULE_PX, 0] > 128
        assert np.array_equal(own, theirs)
        assert np.all(card[top : top + 8 * MODULE_PX, : left - 1] == PAPER)


@pytest.mark.lab
def test_a_rendered_tag_is_found_where_the_truth_says():
    cv2 = pytest.importorskip("cv2", reason="opencv is not installed")
    for name in ("anny", "vtk"):
        pytest.importorskip(name, reason=f"the lab extra is not installed: no {name}")
    from trainer.lab.render import posed_clip
    from trainer.lab.scene import Stage

    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    params = cv2.aruco.DetectorParameters()
    params.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(family, params)
    for handed in ("right", "left"):
        clip = replace(SCENARIOS["full-turn-right"](1, 30.0, {}), handed=handed)
        body, posed = posed_clip(clip)
        stage = Stage(
            body, clip.outfit, clip.room, Camera(), mirror=posed.mirrored, worn=Worn(seed=3)
        )
        found = {}
        for frame in (10, 105):
            image = stage.draw(posed, frame)
            told = truth.tags_in(stage.placed, stage.seen(), Camera())
            corners, numbers, _ = detector.detectMarkers(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY))
            for number, seen in zip(numbers.ravel(), corners, strict=True):
                true = np.array(told[str(number)]["corners_px"]) - 0.5
                # its own corners wander by a pixel or two towards the code's, one at times by
                # more; their middle not
                off = seen.reshape(4, 2) - true
                assert np.sort(np.abs(off).max(axis=1))[2] < 2.5, (handed, number)
                assert np.abs(np.median(off, axis=0)).max() < 1.0, (handed, number)
                assert told[str(number)]["seen"] > 0.95
                found[int(number)] = frame
            hidden = [n for n, tag in told.items() if tag["seen"] < 0.9]
            assert hidden  # the lead side at address, the chest behind the lead arm at the top
            assert not set(map(int, hidden)) & set(numbers.ravel().tolist())
        assert {0, 1, 10} <= set(found), handed
