"""The rod check: still start with folded arms, a turn, a hold of a second, a reading."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import SETUP, Body, Script, View, pose_of, poses

from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed, Measures
from trainer.core.rod_check import (
    ROD_SHRINK,
    RodStage,
    RodState,
    corrected,
    looks_like_start,
    step,
)
from trainer.core.rules import Rules
from trainer.core.summary import rod_words

FRONT = View()
FOLDED = Body()  # as at setup, but the hands are put to the shoulders
TURNED = Body(turn_deg=90.0, hip_turn_deg=40.0)


def folded(pose):
    """The same body with the arms crossed on a shaft: each hand at the other shoulder."""
    points = pose.image_px.copy()
    left, right = points[L.LEFT_SHOULDER].copy(), points[L.RIGHT_SHOULDER].copy()
    down = np.array([0.0, 25.0])
    for side, at in (("LEFT", right), ("RIGHT", left)):
        points[L[f"{side}_WRIST"]] = at + down
        points[L[f"{side}_ELBOW"]] = (left + right) / 2 + 3 * down
    return replace(pose, image_px=points)


def run(script, view=FRONT, rules=None, jump=None, keep=None):
    """Return the state after each reading of the script, arms folded."""
    rules = replace(rules or Rules(), handed=view.handed)
    state, states = RodState(), []
    for n, (t_s, pose) in enumerate(poses(script, view)):
        if pose is not None:
            pose = folded(pose)
            if jump is not None and n % jump == 0:
                # The model takes near for far: the turn of that picture has the other sign.
                pose = replace(pose, world_m=pose.world_m * [1.0, 1.0, -1.0])
        if keep is not None and not keep(t_s):
            pose = None
        state = step(state, t_s, pose, pose, rules, None)
        states.append(state)
    return states


def check(turned=TURNED, hold_s=1.6, still_s=1.2):
    return Script(FOLDED).hold(still_s).move(turned, 1.5).hold(hold_s)


@pytest.mark.parametrize("handed", list(Handed))
@pytest.mark.parametrize("hz", [10, 15, 30, 60])
@pytest.mark.parametrize("turn", [70.0, 90.0, 105.0])
def test_the_reading_is_what_the_shoulders_did(handed, hz, turn):
    script = check(replace(TURNED, turn_deg=turn))
    state = run(script, View(handed=handed, hz=hz))[-1]
    assert state.stage is RodStage.DONE
    # The golfer's shoulders turn about a trunk that leans 30 degrees; seen from above that is
    # atan(cos 30 tan t), and 90 stays 90 (plain trigonometry).
    leaned = np.radians(30.0)
    seen = np.degrees(
        np.arctan2(np.cos(leaned) * np.sin(np.radians(turn)), np.cos(np.radians(turn)))
    )
    assert state.reading.read_deg == pytest.approx(seen, abs=1.0)
    assert state.reading.se_deg is None  # no estimator, no error known


def test_it_goes_from_start_to_turn_to_done():
    stages = [state.stage for state in run(check())]
    seen = list(dict.fromkeys(stages))
    assert seen == [RodStage.START, RodStage.TURN, RodStage.DONE]


def test_a_hold_of_less_than_a_second_is_no_reading():
    # The slow ends of the moves, in which the turn is within 6 degrees, take 0.5 s of the second.
    back = check(hold_s=0.4).move(FOLDED, 1.0).hold(0.5)
    assert all(state.reading is None for state in run(back))


def test_standing_on_at_the_start_is_no_reading():
    state = run(Script(FOLDED).hold(6.0))[-1]
    assert state.stage is RodStage.TURN
    assert state.reading is None


def test_a_slow_turn_on_is_no_hold():
    state = run(Script(FOLDED).hold(1.2))[-1]
    assert state.stage is RodStage.TURN
    for n in range(1, 220):  # 15 degrees a second, never still
        t_s = 1.2 + n / 30.0
        pose = folded(pose_of(Body(turn_deg=n / 2.0), FRONT, t_s))
        state = step(state, t_s, pose, pose, Rules(), None)
        assert state.reading is None


def test_single_jumps_of_the_pose_model_neither_break_the_hold_nor_move_the_reading():
    state = run(check(hold_s=2.5), jump=17)[-1]
    assert state.reading.read_deg == pytest.approx(90.0, abs=1.5)


def test_a_turn_toward_the_target_is_answered_with_the_other_way():
    states = run(check(Body(turn_deg=-90.0)))
    assert states[-1].reading is None
    assert states[-1].wrong_way
    assert rod_words(states[-1])[0] == "Turn the other way"


def test_hands_on_a_club_are_no_start():
    state = RodState()
    for t_s, pose in poses(Script(SETUP).hold(3.0)):
        state = step(state, t_s, pose, pose, Rules(), None)
    assert state.stage is RodStage.START


def test_a_body_from_behind_or_already_turned_is_no_start():
    setup = Rules().setup
    front = folded(pose_of(FOLDED, View(), 0.0))
    assert looks_like_start(front, setup)
    behind = replace(front, image_px=front.image_px * [-1.0, 1.0] + [1280.0, 0.0])
    assert not looks_like_start(behind, setup)
    turned = folded(pose_of(Body(turn_deg=60.0), View(), 0.0))
    assert not looks_like_start(turned, setup)


def test_who_is_lost_for_long_starts_again():
    script = check(hold_s=5.0)
    states = run(script, keep=lambda t_s: not 2.9 < t_s < 4.7)
    assert states[-1].stage is RodStage.START
    assert states[-1].reading is None


def test_a_short_gap_begins_the_hold_again_but_not_the_check():
    # Held from 2.7 s on: without the gap the reading would stand at 3.7 s.
    script = check(hold_s=2.2)
    times = [t_s for t_s, _ in poses(script)]
    states = run(script, keep=lambda t_s: not 3.2 < t_s < 3.7)
    done = next(t for t, s in zip(times, states, strict=True) if s.reading is not None)
    assert done > 4.6
    assert states[-1].reading.read_deg == pytest.approx(90.0, abs=1.0)


def test_who_walks_off_starts_again():
    script = Script(FOLDED).hold(1.2).move(replace(TURNED, walk_cm=120.0), 1.5).hold(3.0)
    assert run(script)[-1].reading is None


def test_the_reading_stands_until_the_check_is_ended():
    states = run(check(hold_s=2.0).move(FOLDED, 1.0).hold(2.0))
    assert states[-1].stage is RodStage.DONE
    assert "at your true 90°" in rod_words(states[-1])[0]
    assert "it changes no figure" in rod_words(states[-1])[1]


def test_nothing_is_corrected_as_shipped():
    now = Measures(t_s=0.0, shoulder_turn_deg=60.0)
    assert ROD_SHRINK == 0.0
    assert corrected(now, 75.0) is now
    assert corrected(now, None, 0.5) is now


def test_a_shrunk_correction_is_that_share_of_the_checks_ratio():
    # By hand: 90 / 75 = 1.2; half of what it is above 1 leaves a factor of 1.1.
    now = Measures(t_s=0.0, shoulder_turn_deg=60.0)
    assert corrected(now, 75.0, 0.5).shoulder_turn_deg == pytest.approx(66.0)
    assert corrected(now, 75.0, 1.0).shoulder_turn_deg == pytest.approx(72.0)
    assert corrected(now, 10.0, 1.0) is now  # a check that read next to nothing was none
