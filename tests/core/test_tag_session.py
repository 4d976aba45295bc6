"""Tags and body points through the core: a golfer whose pose misreads the turn wears true tags.

No pictures here (``tests/adapters/test_tags_through_pictures.py`` has them): true tag attitudes
with noise, seen up to 70 degrees from the camera.
"""

from dataclasses import replace

import numpy as np
import pytest
from golfer import Body, View, play, poses, rep_script
from tag_pictures import turned
from tag_swing import Dressed, as_read, true_turn, worn_poses

from trainer.core import session
from trainer.core.cues import SWINGING
from trainer.core.records import Handed, Phase, Source
from trainer.core.rules import Rules
from trainer.core.tag_body import TagBody
from trainer.core.tag_join import Told
from trainer.core.tag_session import (
    LINE_PER_CHEST,
    LINE_PER_CHEST_SE,
    ODD_NOTICE,
    RATE_DEG_S,
    UNSEEN_NOTICE,
    line_from_chest,
)

FRONT = View()
TOP = Body(arc_deg=150.0, turn_deg=95.0, hip_turn_deg=45.0, hips_cm=3.0, head_cm=1.0)


def wear(script, view=FRONT, dressed=None, *, rules=None, body=None, **noise):
    """Run the script through the core with tags; return (steps, what is learned)."""
    rules = replace(rules or Rules(), handed=view.handed)
    body = body or TagBody(handed=view.handed)
    state, steps = session.SessionState(), []
    for t_s, pose in worn_poses(script, view, dressed, **noise):
        state, step = session.step(state, t_s, pose, rules, None, body)
        steps.append(step)
    return steps, body


def swung(steps, script):
    """Return (step, true body) from setup to the end of the top."""
    (rep,) = [step.rep for step in steps if step.rep is not None]
    return [
        (step, script.at(step.t_s))
        for step in steps
        if rep.takeaway_t_s - 1.0 <= step.t_s <= rep.top_end_t_s
    ]


def off(pairs, name, true):
    return np.array([getattr(step.measures, name) - true(body) for step, body in pairs])


@pytest.mark.parametrize("handed", list(Handed))
@pytest.mark.parametrize("back_s", [3.0, 0.9])
def test_turn_hips_and_drift_are_the_tags_where_the_pose_misreads_them(handed, back_s):
    script, _ = rep_script(back_s=back_s, hold_s=0.3, top=TOP)
    pairs = swung(wear(script, View(handed=handed))[0], script)
    chest = off(pairs, "thorax_turn_deg", lambda b: true_turn(b.turn_deg))
    hips = off(pairs, "hip_turn_deg", lambda b: b.hip_turn_deg)
    drift = off(pairs, "hip_lateral_cm", lambda b: b.hips_cm)
    markerless = np.array(
        [s.markerless.shoulder_turn_deg - true_turn(b.turn_deg) for s, b in pairs]
    )
    assert np.abs(chest).mean() < 1.0
    assert np.abs(hips).mean() < 1.0
    assert np.abs(drift).mean() < 0.4
    # The pose shows 0.88 of the turn; without this the tags would have proved nothing.
    assert np.abs(markerless).max() > 9.0


def test_how_far_the_chest_opens_is_the_lean_that_the_turn_takes_away():
    """A chest square to a trunk leaning 30 degrees points 30 down at setup, level at 90."""
    script, _ = rep_script(back_s=2.0, hold_s=0.5, top=replace(TOP, turn_deg=90.0))
    steps, _ = wear(script)
    top = [step for step in steps if step.phase is Phase.TOP]
    opened = np.mean([step.measures.chest_extension_deg for step in top])
    assert opened == pytest.approx(30.0, abs=2.0)


def test_errors_told_hold_for_most_readings():
    script, _ = rep_script(back_s=1.5, hold_s=0.3, top=TOP)
    pairs = swung(wear(script)[0], script)
    chest = off(pairs, "thorax_turn_deg", lambda b: true_turn(b.turn_deg))
    told = np.array([step.measures.thorax_turn_se_deg for step, _ in pairs])
    assert np.mean(np.abs(chest) < 2 * told) > 0.9
    assert told.max() < 4.0


def test_every_reading_names_what_it_rests_on():
    script, _ = rep_script(back_s=1.5, hold_s=0.3, top=TOP)
    dressed = Dressed(hidden=((0, 2.9, 9.0), (1, 2.9, 3.1)))
    steps, _ = wear(script, dressed=dressed)
    named = {s.measures.sources["thorax_turn_deg"] for s in steps if s.phase in SWINGING}
    assert {Source.TAG, Source.BRIDGED} <= named
    top = next(step.rep for step in steps if step.rep is not None).at_top
    assert top.sources["thorax_turn_deg"] is Source.TAG
    assert top.sources["head_lateral_cm"] is Source.POSE


@pytest.mark.parametrize("back_s", [3.0, 0.9])
def test_hidden_tags_are_bridged_without_a_jump_and_with_a_growing_error(back_s):
    script, (away_s, top_s, _) = rep_script(back_s=back_s, hold_s=0.3, top=TOP)
    middle_s = (away_s + top_s) / 2
    gap = (middle_s, middle_s + 0.2 * back_s)
    dressed = Dressed(hidden=((0, *gap), (1, *gap)))
    pairs = swung(wear(script, dressed=dressed, noise=0.3)[0], script)
    sources = [step.measures.sources["thorax_turn_deg"] for step, _ in pairs]
    within = [i for i, (step, _) in enumerate(pairs) if gap[0] <= step.t_s < gap[1]]
    assert all(sources[i] is Source.BRIDGED for i in within)
    told = [pairs[i][0].measures.thorax_turn_se_deg for i in within]
    assert told == sorted(told)
    chest = off(pairs, "thorax_turn_deg", lambda b: true_turn(b.turn_deg))
    markerless = np.array(
        [
            pairs[i][0].markerless.shoulder_turn_deg / LINE_PER_CHEST
            - true_turn(pairs[i][1].turn_deg)
            for i in within
        ]
    )
    assert np.abs(chest[within]).max() < 0.8 * np.abs(markerless).max()
    # A step is off the true one by the noise, by the points' own error over it, and by the rate.
    values = [step.measures.thorax_turn_deg for step, _ in pairs]
    true = [true_turn(body.turn_deg) for _, body in pairs]
    steps_off = np.abs(np.diff(values) - np.diff(true))
    assert steps_off.max() < RATE_DEG_S / 30 + 0.35 * np.abs(np.diff(true)).max() + 0.5


def test_shoulder_line_and_chest_are_both_told_and_differ_by_the_known_share():
    script, _ = rep_script(back_s=1.5, hold_s=0.3, top=TOP)
    top = [s for s in wear(script)[0] if s.phase is Phase.TOP][-1].measures
    assert top.thorax_turn_deg < top.shoulder_turn_deg
    assert top.shoulder_turn_se_deg > top.thorax_turn_se_deg + 1.0
    line = line_from_chest(Told(value=82.0, se=1.0))
    assert line.value - 82.0 == pytest.approx(9.0, abs=0.1)
    assert line.se == pytest.approx(4.6, abs=0.1)
    assert (LINE_PER_CHEST, LINE_PER_CHEST_SE) == (1.11, 0.055)


def test_no_tag_changes_no_figure():
    """With tags wanted and none seen every figure is what it is without, to the last bit."""
    script, _ = rep_script(back_s=1.0, hold_s=0.3, top=TOP)
    bare = [(t, None if p is None else replace(p, tags=None)) for t, p in worn_poses(script)]
    state, body = session.SessionState(), TagBody(handed=Handed.RIGHT)
    extra = {"thorax_turn_deg", "chest_extension_deg", "sources"}
    for without, (t_s, pose) in zip(play(script, pairs=bare).steps, bare, strict=True):
        state, step = session.step(state, t_s, pose, Rules(), None, body)
        for name in step.measures.__dataclass_fields__:
            if not any(name.startswith(one.rsplit("_", 1)[0]) for one in extra):
                assert getattr(step.measures, name) == getattr(without.measures, name), name
        assert (step.phase, step.cues, step.changes) == (
            without.phase,
            without.cues,
            without.changes,
        )


def test_without_tags_nothing_of_theirs_is_in_a_step():
    script, _ = rep_script()
    for step in play(script).steps:
        assert (step.markerless, step.tags, step.measures.sources) == (None, None, None)
        assert step.measures.thorax_turn_deg is None


def words(steps):
    return {text for step in steps for text in step.notices}


def test_a_tag_that_slips_in_the_swing_is_named_and_the_turn_stays():
    script, _ = rep_script(back_s=4.0, hold_s=1.0, top=replace(TOP, turn_deg=50.0))
    dressed = Dressed(slipped={1: turned(25, 0, 0)}, slipped_s=4.5, reads=0.95)
    steps, _ = wear(script, dressed=dressed)
    assert any("slipped" in text for text in words(steps))
    chest = off(swung(steps, script), "thorax_turn_deg", lambda b: true_turn(b.turn_deg))
    assert np.abs(chest).max() < 5.0


def test_tags_told_in_a_wrong_size_are_named_and_their_centimetres_left_out():
    script, _ = rep_script(back_s=2.0, hold_s=0.3, top=TOP)
    steps, _ = wear(script, dressed=Dressed(size=1.5))
    assert any("measure its black square" in text for text in words(steps))
    swing = swung(steps, script)
    assert all(step.measures.sources["hip_lateral_cm"] is Source.POSE for step, _ in swing)
    chest = off(swing, "thorax_turn_deg", lambda b: true_turn(b.turn_deg))
    assert np.abs(chest).mean() < 1.0


def test_an_upside_down_tag_is_said_and_read():
    worn = Dressed().chest
    over = (replace(worn[0], rotation=turned(0, 0, 180) @ worn[0].rotation), worn[1])
    script, _ = rep_script(back_s=2.0, hold_s=0.3, top=TOP)
    steps, _ = wear(script, dressed=Dressed(chest=over))
    assert any("upside down" in text for text in words(steps))
    chest = off(swung(steps, script), "thorax_turn_deg", lambda b: true_turn(b.turn_deg))
    assert np.abs(chest).mean() < 1.0


def test_where_no_tag_is_seen_for_long_that_is_said_until_one_is():
    script, _ = rep_script(still_s=6.0, top=TOP)
    steps, _ = wear(script, dressed=Dressed(hidden=((0, 0.0, 5.5), (10, 0.0, 5.5))))
    said = [step.t_s for step in steps if UNSEEN_NOTICE in step.notices]
    assert 4.0 < min(said) < 4.5
    assert max(said) < 5.6


def test_a_left_hander_reads_as_the_mirrored_right_hander():
    script, _ = rep_script(back_s=1.5, hold_s=0.3, top=TOP)
    right, _ = wear(script, View(handed=Handed.RIGHT), noise=0.0)
    left, _ = wear(script, View(handed=Handed.LEFT), noise=0.0)
    for one, other in zip(right, left, strict=True):
        for name in ("thorax_turn_deg", "hip_lateral_cm", "chest_extension_deg", "side_bend_deg"):
            mine, theirs = getattr(one.measures, name), getattr(other.measures, name)
            assert (mine is None) == (theirs is None)
            assert mine is None or mine == pytest.approx(theirs, abs=1e-6)


def test_lost_and_found_again_the_player_is_read_by_tags_again():
    script, _ = rep_script(top=TOP)
    script.lose(2.0).hold(3.0).move(TOP, 1.0).hold(0.5)
    steps, _ = wear(script)
    last = steps[-1].measures
    assert last.sources["thorax_turn_deg"] is Source.TAG
    assert last.thorax_turn_deg == pytest.approx(true_turn(TOP.turn_deg), abs=3.0)
    assert len(poses(script)) == len(steps)


def test_tags_that_cannot_be_right_are_left_out_and_that_is_said():
    """The chest tag comes loose in the swing and hangs turned by 80 degrees."""
    script, (away_s, _, _) = rep_script(back_s=2.0, hold_s=1.0, top=TOP)
    loose = {n: turned(-120, 0, 0) for n in (0, 1)}
    dressed = Dressed(slipped=loose, slipped_s=away_s + 0.8)
    steps, _ = wear(script, dressed=dressed)
    assert ODD_NOTICE in words(steps)
    odd = [s for s in steps if s.phase in SWINGING and s.t_s > away_s + 0.8]
    assert any(tag.number == 0 for s in odd for tag in s.pose.tags.poses)
    assert not any(s.measures.sources["thorax_turn_deg"] is Source.TAG for s in odd)
    top = odd[-1].measures.thorax_turn_deg
    assert abs(top - true_turn(TOP.turn_deg)) < 25.0  # as the misread points have it, no more


def test_a_pose_whose_numbers_no_tag_can_have_is_left_out():
    (sheet, *_) = Dressed().sheets(Body(), FRONT)
    good = as_read(sheet, np.random.default_rng(1))
    flat = good.spread.copy()
    flat[0] = flat[:, 0] = 0.0
    bad = (
        replace(good, spread=np.full((6, 6), np.nan)),
        replace(good, spread=flat),
        replace(good, place_m=-good.place_m),
    )
    body = TagBody(handed=Handed.RIGHT)
    for index, pose in enumerate(bad * 3):
        body.see(index / 30, (pose,))
    assert body.zero(0.0, 1.0) == ()


def test_a_players_own_share_of_line_to_chest_is_learned_while_a_tag_is_seen():
    script, (away_s, top_s, _) = rep_script(back_s=3.0, hold_s=0.3, top=TOP)
    late_s = away_s + 0.6 * (top_s - away_s)
    hidden = ((0, late_s, top_s + 0.3), (1, late_s, top_s + 0.3))
    body, state, steps = TagBody(handed=FRONT.handed), session.SessionState(), []
    for t_s, pose in worn_poses(script, FRONT, Dressed(hidden=hidden), noise=0.3):
        state, step = session.step(state, t_s, pose, Rules(handed=FRONT.handed), None, body)
        steps.append(step)
    true = [
        step.markerless.shoulder_turn_deg / true_turn(script.at(step.t_s).turn_deg)
        for step in steps
        if away_s < step.t_s < late_s and true_turn(script.at(step.t_s).turn_deg) > 30
    ]
    learned = state.tags.line_per_chest.value
    assert abs(np.mean(true) - LINE_PER_CHEST) > 0.03  # so that there is something to learn
    assert abs(learned - np.mean(true)) < 0.7 * abs(LINE_PER_CHEST - np.mean(true))
