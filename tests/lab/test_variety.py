"""The wide draw of random people, their clothes and places."""

from dataclasses import asdict, replace

import numpy as np
import pytest

from trainer.lab import cloth, crowd, places, variety, wardrobe
from trainer.lab.body import BodyShape, LimbShape
from trainer.lab.clothes import Outfit
from trainer.lab.stretch import stretched
from trainer.lab.video import Film, filmed

WIDE = [crowd.sitter(seed) for seed in range(20_000, 20_300)]


def test_the_same_seed_gives_the_same_person():
    for seed in (3, 20_001, 300_007):
        assert crowd.sitter(seed) == crowd.sitter(seed)
    assert crowd.sitter(20_001) != crowd.sitter(20_002)


@pytest.mark.parametrize("seed", [1, 19_999, 100_000, 299_999])
def test_old_seeds_draw_from_the_narrow_variety(seed):
    one = crowd.sitter(seed)
    assert one.room.place == "room"
    assert one.room.style == "soft"
    assert type(one.shape) is BodyShape


def test_an_old_seed_gives_the_person_it_gave_before():
    # written down from the program before the wide draw was there
    one = crowd.sitter(7)
    assert one.handed == "right"
    assert one.shape.stature_cm == pytest.approx(172.11017694692995, abs=1e-12)
    assert one.outfit.shirt == (131, 141, 36)
    assert one.room.wall == (206, 234, 237)
    assert one.room.seed == 1007875528
    assert one.camera.distance_m == pytest.approx(3.234435512459593, abs=1e-12)
    assert one.film.grain == pytest.approx(5.851476664239033, abs=1e-12)
    assert one.address.lead_bend_deg == pytest.approx(4.994342353459514, abs=1e-12)
    assert one.jpeg == 77


def test_a_plain_shape_keeps_the_name_its_bake_is_stored_under():
    # so bodies baked before stay found, and limbs are scaled after the bake
    shape = LimbShape(stature_cm=181.0, arm=1.04)
    assert shape.key() == BodyShape(stature_cm=181.0).key()
    assert "arm" not in asdict(BodyShape())


def test_wide_people_lie_within_the_stated_ranges():
    for one in WIDE:
        low, high = variety.STATURE_CM
        assert low <= one.shape.stature_cm <= high
        camera = one.camera
        assert camera.size_wh in variety.SIZES_WH
        assert variety.DISTANCE_M[0] <= camera.distance_m <= variety.DISTANCE_M[1]
        assert variety.HEIGHT_M[0] <= camera.height_m <= variety.HEIGHT_M[1]
        assert abs(camera.yaw_deg) <= variety.YAW_DEG
        assert abs(camera.roll_deg) <= variety.ROLL_DEG
        half = np.tan(np.radians(camera.hfov_deg / 2)) * max(camera.size_wh) / camera.size_wh[0]
        view = np.degrees(2 * np.arctan(half))
        assert variety.VIEW_DEG[0] - 1e-6 <= view <= variety.VIEW_DEG[1] + 1e-6
        if one.outfit.jacket is not None:
            assert 3.0 <= one.outfit.jacket_cm <= 7.0


def test_nearly_all_wide_players_are_whole_in_the_picture():
    whole = [variety.has_all(one.camera, one.shape.stature_cm / 100) for one in WIDE]
    assert np.mean(whole) > 0.97


def test_the_wide_draw_has_all_of_its_kinds_and_never_the_unseen_style():
    assert {one.room.place for one in WIDE} == set(places.PLACES) - {"room"}
    assert {one.room.style for one in WIDE} == set(places.STYLES) - {"unseen"}
    assert {one.outfit.pattern for one in WIDE} == set(cloth.PATTERNS)
    assert {one.outfit.hair_style for one in WIDE} == {"short", "bald", "long", "ponytail", "bun"}
    assert {one.camera.size_wh for one in WIDE} == set(variety.SIZES_WH)
    assert any(one.outfit.skirt == one.outfit.shirt for one in WIDE)
    assert any(one.outfit.jacket is not None and one.outfit.jacket_open for one in WIDE)
    assert any(one.room.light_from[2] < -2 for one in WIDE), "nobody is lit from behind"


def test_wide_statures_are_spread_as_people_are():
    # mean statures of men and women: ANSUR II (Gordon et al. 2014), 175.6 and 162.9 cm
    men = [one.shape.stature_cm for one in WIDE if one.shape.female < 0.5]
    women = [one.shape.stature_cm for one in WIDE if one.shape.female >= 0.5]
    assert np.mean(men) == pytest.approx(175.6, abs=2.5)
    assert np.mean(women) == pytest.approx(162.9, abs=2.5)


@pytest.mark.parametrize("seed", [5, 20_005])
def test_the_unseen_style_changes_nothing_but_the_shading(seed):
    plain, unseen = crowd.sitter(seed), crowd.sitter(seed, unseen_style=True)
    assert unseen.room.style == "unseen"
    assert replace(unseen, room=plain.room) == plain


def test_longer_arms_leave_the_stature_and_lengthen_both_parts_alike(body):
    longer = stretched(body, arm=1.1, leg=1.0, shoulders=1.0)

    def length(of, first, last):
        return np.linalg.norm(of.head_of(first) - of.head_of(last))

    for first, last in (("upperarm01.L", "lowerarm01.L"), ("lowerarm01.R", "wrist.R")):
        assert length(longer, first, last) == pytest.approx(1.1 * length(body, first, last))
    assert length(longer, "wrist.L", "finger3-1.L") == pytest.approx(
        length(body, "wrist.L", "finger3-1.L")
    )
    assert np.ptp(longer.vertices[:, 1]) == pytest.approx(np.ptp(body.vertices[:, 1]))


def test_a_body_scaled_by_one_is_the_same_body(body):
    # only put on the floor: the stick body's lowest vertex is not its sole
    same = stretched(body, arm=1.0, leg=1.0, shoulders=1.0)
    lift = body.vertices[:, 1].min()
    assert np.allclose(same.heads + [0, lift, 0], body.heads)


def test_wider_shoulders_move_the_joints_sideways_only(body):
    wide = stretched(body, arm=1.0, leg=1.0, shoulders=1.1)
    gap = wide.head_of("upperarm01.L") - wide.head_of("upperarm01.R")
    was = body.head_of("upperarm01.L") - body.head_of("upperarm01.R")
    clavicles = body.head_of("clavicle.L") - body.head_of("clavicle.R")
    assert gap[0] == pytest.approx(clavicles[0] + 1.1 * (was - clavicles)[0])
    assert gap[1:] == pytest.approx(was[1:])


@pytest.mark.parametrize("pattern", cloth.PATTERNS)
def test_a_print_has_its_two_colours_and_is_seeded(pattern):
    def paint():
        return cloth.cloth_print(pattern, (200, 10, 10), (10, 10, 200), np.random.default_rng(4))

    image = paint()
    assert np.array_equal(image, paint())
    blue = np.mean(image[..., 2] > image[..., 0])
    assert blue == 0 if pattern == "plain" else 0.02 < blue < 0.98


def test_folds_push_both_in_and_out():
    points = np.random.default_rng(1).uniform(0, 1, (4000, 3))
    pushed = cloth.folds(points, 0.01, np.random.default_rng(2))
    assert pushed.min() < -0.004
    assert pushed.max() > 0.004


def test_a_drape_at_rest_lies_where_it_was_cut(body):
    points = np.array([[0.0, 1.0, 0.1], [0.1, 0.8, 0.1], [-0.1, 0.8, 0.1]])
    drape = wardrobe.Drape(
        points,
        np.array([[0, 1, 2]]),
        ("root", "upperleg01.L"),
        np.array([[1.0, 0.0], [0.5, 0.5], [0.2, 0.8]]),
        (0, 0, 0),
    )
    still = np.tile(np.eye(3), (len(body.bone_names), 1, 1))
    assert np.allclose(drape.place(body, still, body.heads), points)
    assert np.allclose(drape.place(body, still, body.heads + 0.1), points + 0.1)


def test_a_film_with_no_grading_leaves_tones_alone_and_a_tint_scales_them():
    grey = np.full((8, 8, 3), 100, dtype=np.uint8)
    clean = {"grain": 0.0, "blur_px": 0.0, "vignette": 0.0}
    rng = np.random.default_rng(0)
    assert np.array_equal(filmed(grey, Film(**clean), rng), grey)
    warm = filmed(grey, Film(**clean, tint=(1.2, 1.0, 0.8)), rng)
    assert np.abs(warm[0, 0].astype(int) - [120, 100, 80]).max() <= 1
    dark = filmed(grey, Film(**clean, gamma=2.0), rng)
    # the definition of gamma: (100 / 255) squared, of 255
    assert abs(int(dark[0, 0, 0]) - 100 * 100 / 255) <= 1


def test_a_shaking_camera_smears_along_its_way_and_keeps_the_light():
    spot = np.zeros((21, 21, 3), dtype=np.uint8)
    spot[10, 10] = 250
    film = Film(grain=0.0, blur_px=0.0, vignette=0.0, motion_px=5.0)
    smeared = filmed(spot, film, np.random.default_rng(0))[..., 0].astype(int)
    assert set(np.argwhere(smeared > 10)[:, 0].tolist()) == {10}
    assert np.count_nonzero(smeared[10] > 10) == 5
    assert smeared.sum() == pytest.approx(250, abs=5)


KINDS = {
    "jacket": ({"jacket": (250, 0, 0), "hood": True}, "range", "flat"),
    "open vest": (
        {"jacket": (250, 0, 0), "jacket_open": True, "jacket_sleeve": 0.12},
        "bay",
        "glossy",
    ),
    "dress": ({"skirt": (250, 0, 0), "shirt": (250, 0, 0), "hair_style": "long"}, "bay", "unseen"),
    "skirt": ({"skirt": (250, 0, 0), "hair_style": "ponytail", "hat_kind": "bucket"}, "indoor", ""),
    "print": ({"shirt": (250, 0, 0), "pattern": "dots", "relief_cm": 0.8}, "indoor", "noisy"),
}


@pytest.mark.lab
@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_drawn_in_its_colour(kind, tmp_path_factory):
    for name in ("torch", "anny", "vtk"):
        pytest.importorskip(name, reason=f"the lab extra is not installed: no {name}")
    from trainer.lab.body import load_body
    from trainer.lab.camera import Camera
    from trainer.lab.figure import Figure
    from trainer.lab.scene import Stage

    one = crowd.sitter(20_003)
    body = load_body(LimbShape(stature_cm=174, weight=0.6, arm=1.03))
    posed = Figure(body, one.stance).pose_one(one.address)
    worn, place, style = KINDS[kind]
    room = replace(one.room, place=place, style=style or "soft", weave=0.15, key=0.8)
    room = replace(room, light_from=(1.0, 2.0, 3.0), wall=(90, 90, 95), floor=(60, 90, 60))
    camera = Camera(size_wh=(320, 240), hfov_deg=60, distance_m=3.0)
    outfit = Outfit(**{"hat": (40, 40, 60), "pattern_colour": (20, 20, 90), **worn})
    image = Stage(body, outfit, room, camera).draw(posed, 0).astype(int)
    red = (image[..., 0] > 70) & (image[..., 0] > 2 * image[..., 1])
    shown = [np.count_nonzero(red)]
    bare = Stage(body, Outfit(), room, camera).draw(posed, 0).astype(int)
    shown.append(np.count_nonzero((bare[..., 0] > 70) & (bare[..., 0] > 2 * bare[..., 1])))
    assert shown[0] > shown[1] + 300, f"{kind}: {shown}"
