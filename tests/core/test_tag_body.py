"""Tags on a body: what is learned of them, and what they say. No pictures: true poses, noise."""

from dataclasses import replace

import numpy as np
import pytest
from tag_golfers import MIRROR, Golfer, Worn
from tag_pictures import turned

from trainer.core import rotation as rot
from trainer.core import tag_axes as ax
from trainer.core.records import Handed
from trainer.core.tag_body import TagBody
from trainer.core.tag_pose import TagPose
from trainer.core.tag_roles import Part

DT_S = 1 / 15
SETUP_S = 0.6
NOISE_DEG, NOISE_M = 0.3, 0.002
# The most a reading may jump beyond the true step: 3.5 times the noise of two readings.
STEP_DEG = 3.5 * NOISE_DEG * 2**0.5


def pose_of(sheet, rng, noise=1.0):
    vector = np.radians(rng.normal(0, NOISE_DEG * noise, 3))
    return TagPose(
        number=sheet.number,
        rotation=rot.from_vector(vector) @ sheet.rotation,
        place_m=np.array(sheet.place_m) + rng.normal(0, NOISE_M * noise, 3),
        spread=np.diag([np.radians(NOISE_DEG) ** 2] * 3 + [NOISE_M**2] * 3),
        ambiguous=False,
    )


def seen(sheet):
    """Whether the tag faces the camera by less than 70 degrees."""
    place = np.array(sheet.place_m)
    return float(sheet.rotation[:, 2] @ place) / np.linalg.norm(place) > np.cos(np.radians(70))


def play(golfer, turns, *, handed=Handed.RIGHT, noise=1.0, body=None, t_s=0.0, **sheets):
    """Hold the setup, zero, then go through ``turns``; return the body and its readings."""
    rng = np.random.default_rng(4)
    body = body or TagBody(handed=handed)
    out, begin_s = [], t_s
    for index, turn in enumerate([0.0] * round(SETUP_S / DT_S) + list(turns)):
        t_s += DT_S
        later = {} if t_s <= begin_s + SETUP_S else sheets
        poses = [pose_of(s, rng, noise) for s in golfer.sheets(turn, **later) if seen(s)]
        reading = body.see(t_s, poses)
        if index + 1 == round(SETUP_S / DT_S):
            body.zero(begin_s, t_s)
        elif index >= round(SETUP_S / DT_S):
            out.append(reading)
    return body, out


def true_turn(golfer, turn):
    return ax.turn(golfer.rotation(turn), np.eye(3), ax.axes_of(Handed.RIGHT)).deg


def test_before_a_setup_nothing_is_read():
    body = TagBody(handed=Handed.RIGHT)
    rng = np.random.default_rng(1)
    reading = body.see(0.1, [pose_of(s, rng) for s in Golfer().sheets(0)])
    assert (reading.thorax, reading.pelvis, reading.head) == (None, None, None)


def test_a_setup_without_tags_zeroes_nothing():
    body = TagBody(handed=Handed.RIGHT)
    body.see(0.1, [])
    assert body.zero(0.0, 0.1) == ()


def test_the_turn_goes_on_as_the_chest_tag_hands_over_to_the_lead_side():
    golfer, turns = Golfer(), np.arange(0.0, 112.0, 3.0)
    _, readings = play(golfer, turns)
    off = [r.thorax.turn.deg - true_turn(golfer, t) for r, t in zip(readings, turns, strict=True)]
    assert readings[0].thorax.numbers == (0,)
    assert readings[-1].thorax.numbers == (1,)
    assert any(r.thorax.numbers == (0, 1) for r in readings)
    assert np.max(np.abs(off)) < 2.0
    assert np.max(np.abs(np.diff(off))) < STEP_DEG


def test_errors_told_hold_for_most_readings():
    golfer, turns = Golfer(), np.arange(0.0, 112.0, 3.0)
    _, readings = play(golfer, turns)
    inside = [
        abs(r.thorax.turn.deg - true_turn(golfer, t)) < 2 * r.thorax.turn.se_deg
        for r, t in zip(readings, turns, strict=True)
    ]
    assert np.mean(inside) > 0.9


def test_a_tag_never_seen_beside_another_tells_nothing():
    golfer = Golfer()
    _, readings = play(golfer, [100.0] * 5)
    assert readings[-1].thorax is None


def handed_over(gap, *, fps=30.0, step=1.5):
    """Turn by ``step`` degrees a picture; ``gap`` pictures after 30 degrees the side tag comes in.

    Nothing is seen between, and the chest tag no more. Returns (turn, thorax) from then on.
    """
    golfer, rng, body = Golfer(), np.random.default_rng(6), TagBody(handed=Handed.RIGHT)
    turns, out = [0.0] * 15 + list(np.arange(step, 101.0, step)), []
    last = next(k for k, turn in enumerate(turns) if turn > 30.0)
    for k, turn in enumerate(turns):
        wanted = (0,) if k < last else (1,) if k >= last + gap else ()
        poses = [pose_of(s, rng) for s in golfer.sheets(turn) if s.number in wanted]
        reading = body.see((k + 1) / fps, poses)
        if k == 14:
            body.zero(0.0, (k + 1) / fps)
        if 1 in wanted:
            out.append((turn, reading.thorax))
    return golfer, out


def test_a_side_tag_that_comes_in_just_after_the_chest_tag_went_is_learned():
    golfer, out = handed_over(2)
    turn, thorax = out[-1]
    assert thorax.numbers == (1,)
    off = thorax.turn.deg - true_turn(golfer, turn)
    assert abs(off) < 4.0
    assert abs(off) < 2 * thorax.turn.se_deg


def test_a_side_tag_that_comes_in_long_after_is_not_guessed_at():
    _, out = handed_over(9)
    assert all(thorax is None for _, thorax in out)


@pytest.mark.parametrize("wrong_share", [0.0, 0.1])
def test_a_side_tag_that_comes_in_long_after_is_learned_by_what_the_body_points_say(wrong_share):
    golfer, rng, body = Golfer(), np.random.default_rng(6), TagBody(handed=Handed.RIGHT)
    turns, out = [0.0] * 15 + list(np.arange(1.5, 101.0, 1.5)), []
    for k, turn in enumerate(turns):
        wanted = 0 if turn < 30 else 1 if turn > 50 else None
        poses = [pose_of(s, rng) for s in golfer.sheets(turn) if s.number == wanted]
        hint = true_turn(golfer, turn) * (1 + wrong_share)
        reading = body.see((k + 1) / 30, poses, turn_hint_deg=hint, pitch_setup_deg=-25.0)
        if k == 14:
            body.zero(0.0, 0.5)
        out.append((turn, reading.thorax))
    assert all(thorax is None for turn, thorax in out if 30 < turn < 50)
    turn, thorax = out[-1]
    assert thorax.numbers == (1,)
    off = abs(thorax.turn.deg - true_turn(golfer, turn))
    # What the points err by while nothing is seen stays in it; from then on the tag is exact.
    gap = true_turn(golfer, 51.0) - true_turn(golfer, 28.5)
    assert off < 1.5 + gap * wrong_share
    assert off < 2 * thorax.turn.se_deg


def leant(sheet, pitch_deg):
    """Return the sheet as a reader takes it that errs by a pitch."""
    return replace(sheet, rotation=turned(0, pitch_deg, 0) @ sheet.rotation)


@pytest.mark.parametrize("handed", list(Handed))
def test_a_chest_tag_read_leaning_at_setup_is_put_right_as_the_turn_begins(handed):
    golfer = Golfer(left_handed=handed is Handed.LEFT)
    weak = np.diag([np.radians(6.0) ** 2] + [np.radians(NOISE_DEG) ** 2] * 2 + [NOISE_M**2] * 3)

    def bend_at_30(pitch_setup_deg):
        rng, body = np.random.default_rng(2), TagBody(handed=handed)
        for k, turn in enumerate([0.0] * 15 + list(np.arange(1.0, 31.0))):
            sheet = next(s for s in golfer.sheets(turn) if s.number == 0)
            pose = pose_of(leant(sheet, 6.0) if k < 15 else sheet, rng)
            pose = replace(pose, spread=weak) if k < 15 else pose
            reading = body.see(
                (k + 1) / 30, [pose], turn_hint_deg=turn, pitch_setup_deg=pitch_setup_deg
            )
            if k == 14:
                body.zero(0.0, 0.5)
        ours = np.stack([body._axes.away, body._axes.up, body._axes.near])
        true = golfer.rotation(30.0)
        true = MIRROR @ true @ MIRROR if golfer.left_handed else true
        return rot.angle_deg(reading.thorax.rotation, ours @ true @ ours.T)

    assert bend_at_30(None) > 5.0
    assert bend_at_30(-golfer.lean_deg) < 2.5


def test_what_was_learned_stays_over_a_new_setup():
    golfer = Golfer()
    body, _ = play(golfer, np.arange(0.0, 80.0, 3.0))
    _, readings = play(golfer, [100.0] * 3, body=body, t_s=10.0)
    assert readings[-1].thorax.numbers == (1,)
    assert readings[-1].thorax.turn.deg == pytest.approx(true_turn(golfer, 100.0), abs=2.0)


def test_what_was_learned_stays_over_a_setup_at_which_no_tag_is_seen():
    golfer, rng = Golfer(), np.random.default_rng(5)
    body, _ = play(golfer, np.arange(0.0, 80.0, 3.0))
    body.see(20.0, [])
    assert Part.THORAX not in body.zero(20.0, 20.1)
    (side,) = (s for s in golfer.sheets(100.0) if s.number == 1)
    assert body.see(20.2, [pose_of(side, rng)]).thorax is None  # counted from no setup
    _, readings = play(golfer, [100.0] * 3, body=body, t_s=30.0)
    assert readings[-1].thorax.numbers == (1,)
    assert readings[-1].thorax.turn.deg == pytest.approx(true_turn(golfer, 100.0), abs=2.0)


def test_what_was_learned_holds_for_a_setup_in_another_place_and_attitude():
    golfer = Golfer()
    body, _ = play(golfer, np.arange(0.0, 80.0, 3.0), noise=0.0)
    rng = np.random.default_rng(3)
    t_s, moved = 20.0, (0.2, 0.05, -0.3)
    for _ in range(6):
        t_s += DT_S
        sheets = golfer.sheets(15.0, moved_m=moved)
        body.see(t_s, [pose_of(s, rng, 0.0) for s in sheets if s.number == 0])
    body.zero(20.0, t_s)
    (side,) = (s for s in golfer.sheets(75.0, moved_m=moved) if s.number == 1)
    reading = body.see(t_s + DT_S, [pose_of(side, rng, 0.0)]).thorax
    since = golfer.rotation(75.0) @ golfer.rotation(15.0).T
    true = ax.turn(since, np.eye(3), ax.axes_of(Handed.RIGHT)).deg
    assert reading.turn.deg == pytest.approx(true, abs=0.1)
    # The golfer's middle lies where the part's is thought to be: it stayed.
    assert abs(reading.away_cm) + abs(reading.up_cm) + abs(reading.near_cm) < 2.5


def test_a_left_hander_reads_as_the_exact_mirror():
    turns = np.arange(0.0, 112.0, 8.0)
    _, right = play(Golfer(), turns, noise=0.0, moved_m=(-0.03, 0.01, 0.0))
    _, left = play(
        Golfer(left_handed=True),
        turns,
        noise=0.0,
        handed=Handed.LEFT,
        moved_m=(-0.03, 0.01, 0.0),
    )
    for one, other in zip(right, left, strict=True):
        for name in ("pitch_change_deg", "away_cm", "up_cm", "near_cm"):
            assert getattr(one.thorax, name) == pytest.approx(getattr(other.thorax, name), abs=1e-6)
        for name in ("turn", "side_bend", "pitch"):
            mine, theirs = getattr(one.thorax, name), getattr(other.thorax, name)
            assert mine.deg == pytest.approx(theirs.deg, abs=1e-6)
            assert mine.se_deg == pytest.approx(theirs.se_deg, abs=1e-6)


def test_a_turn_alone_moves_no_part_and_a_drift_turns_none():
    golfer = Golfer(
        lean_deg=0.0,
        middle_m=(0.0, 0.1, 3.0),
        worn=(Worn(number=10, rotation=turned(2, 0, 0), arm_m=np.array([0.0, 0.0, -0.168])),),
    )
    _, turning = play(golfer, [0.0, 20.0, 40.0], noise=0.0)
    _, drifting = play(golfer, [0.0, 0.0], noise=0.0, moved_m=(-0.05, -0.02, 0.0))
    # The belt's front swings 10.8 cm at 40 degrees; the middle of the pelvis stays.
    assert abs(turning[-1].pelvis.away_cm) < 0.5
    assert turning[-1].pelvis.turn.deg == pytest.approx(40.0, abs=0.1)
    assert drifting[-1].pelvis.away_cm == pytest.approx(5.0, abs=0.01)
    assert drifting[-1].pelvis.up_cm == pytest.approx(2.0, abs=0.01)
    assert drifting[-1].pelvis.turn.deg == pytest.approx(0.0, abs=1e-6)


def test_a_tag_that_slipped_is_noticed_learned_anew_and_told():
    golfer = Golfer()
    body, _ = play(golfer, np.arange(0.0, 60.0, 3.0))
    slipped = {1: turned(0, 25, 0)}
    rng = np.random.default_rng(6)
    words, readings, t_s = [], [], 20.0
    for _ in range(45):
        t_s += DT_S
        sheets = golfer.sheets(50.0, slipped=slipped)
        readings.append(body.see(t_s, [pose_of(s, rng) for s in sheets]))
        words += readings[-1].notices
    assert [w for w in words if "slipped" in w and "lead side" in w and "chest" in w]
    assert ["slipped" in w for w in words] == [True, False]  # then that it is learned anew
    assert "lead side tag is learned" in words[1]
    off = [abs(r.thorax.turn.deg - true_turn(golfer, 50.0)) for r in readings]
    assert max(off) < 2.0
    assert readings[-1].thorax.numbers == (0, 1)


def test_the_hint_tells_which_of_two_tags_slipped():
    golfer = Golfer()
    body, _ = play(golfer, np.arange(0.0, 60.0, 3.0))
    rng = np.random.default_rng(6)
    slipped = {0: turned(20, 0, 0)}
    t_s = 20.0
    for _ in range(30):
        t_s += DT_S
        poses = [pose_of(s, rng) for s in golfer.sheets(50.0, slipped=slipped)]
        reading = body.see(t_s, poses, turn_hint_deg=true_turn(golfer, 50.0) + 4)
    assert reading.thorax.turn.deg == pytest.approx(true_turn(golfer, 50.0), abs=2.0)


def test_a_chest_tag_upside_down_is_told_and_read_all_the_same():
    chest, side = Golfer().worn
    over = Worn(number=0, rotation=chest.rotation @ turned(0, 0, 180), arm_m=chest.arm_m)
    golfer = Golfer(worn=(over, side))
    _, readings = play(golfer, [0.0, 15.0, 30.0])
    assert any("chest tag is upside down" in w for r in readings for w in r.notices)
    assert readings[-1].thorax.turn.deg == pytest.approx(true_turn(golfer, 30.0), abs=2.0)


def test_a_side_tag_on_the_other_side_is_told():
    chest, side = Golfer().worn
    wrong = Worn(number=3, rotation=side.rotation, arm_m=side.arm_m)
    _, readings = play(Golfer(worn=(chest, wrong)), np.arange(0.0, 70.0, 3.0))
    assert any("trail side tag sits where" in w for r in readings for w in r.notices)


def test_tags_where_they_belong_raise_no_word_but_that_they_are_learned():
    _, readings = play(Golfer(), np.arange(0.0, 112.0, 3.0))
    (word,) = [w for r in readings for w in r.notices]
    assert word.startswith("the lead side tag is learned: it keeps its place to 0.")


@pytest.mark.parametrize(("printed", "told"), [(0.5, True), (0.96, False)])
def test_a_tag_of_quite_another_size_is_told_and_a_slight_one_is_not(printed, told):
    body = TagBody(handed=Handed.RIGHT)
    rng, words = np.random.default_rng(1), []
    for frame in range(20):
        pose = pose_of(Golfer().sheets(0)[0], rng)
        # A tag printed smaller than told seems farther away by as much.
        far = TagPose(
            number=0,
            rotation=pose.rotation,
            place_m=pose.place_m / printed,
            spread=pose.spread,
            ambiguous=False,
        )
        words += body.see(0.1 + frame / 15, [far], distance_hint_m=2.9).notices
    assert any("measure its black square" in w for w in words) is told


def test_hints_follow_the_tags_own_last_pose_and_its_part():
    golfer = Golfer()
    body, readings = play(golfer, np.arange(0.0, 60.0, 3.0))
    t_s = readings[-1].t_s + DT_S
    hints = body.hints(t_s)
    for sheet in golfer.sheets(60.0):
        assert len(hints[sheet.number]) == 2
        for hint in hints[sheet.number]:
            assert rot.angle_deg(hint.rotation, sheet.rotation) < 2 * hint.se_deg
    assert body.hints(t_s + 5.0) == {}


def test_what_other_means_tell_of_the_turn_is_a_hint_for_the_chests_tags_only():
    golfer = Golfer()
    body, readings = play(golfer, np.arange(0.0, 42.0, 3.0))
    t_s = readings[-1].t_s + 1.0  # too long after to know by the tags themselves
    turn = true_turn(golfer, 40.0)
    body.see(t_s, [], turn_hint_deg=turn + 5.0, pitch_setup_deg=-30.0)
    hints = body.hints(t_s + DT_S)
    assert {0, 1} <= set(hints) <= {0, 1, 2, 3}
    for sheet in golfer.sheets(40.0):
        for hint in hints.get(sheet.number, ()):
            assert rot.angle_deg(hint.rotation, sheet.rotation) < hint.se_deg


def test_time_that_does_not_go_on_is_refused():
    body = TagBody(handed=Handed.RIGHT)
    body.see(1.0, [])
    with pytest.raises(ValueError, match="must go on"):
        body.see(1.0, [])


def test_quality_tells_how_well_each_tag_holds_still():
    body, _ = play(Golfer(), np.arange(0.0, 80.0, 3.0))
    quality = body.quality_deg()
    assert set(quality) == {0, 1}
    assert max(quality.values()) < 1.5


def test_zero_says_which_parts_have_tags():
    body = TagBody(handed=Handed.RIGHT)
    rng = np.random.default_rng(1)
    for frame in range(5):
        body.see(0.1 + frame / 15, [pose_of(Golfer().sheets(0)[0], rng)])
    assert body.zero(0.0, 1.0) == (Part.THORAX,)
