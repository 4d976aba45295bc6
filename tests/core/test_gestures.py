"""Signs by hand: seen when given, never in a swing; and whether anybody is there."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import SETUP, Script, View, pose_of, poses
from signing import signing
from situations import SITUATIONS, script_of

from trainer.core import gestures
from trainer.core.gestures import HOLD_S, Sign, SignState
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed, Phase

ALL = frozenset(Sign)


def held(sign, seconds, *, hz=30.0, phase=Phase.WAITING, wanted=ALL, state=None, mirror=False):
    """Return the signs told while ``sign`` is shown for ``seconds``, and the state after it."""
    state, told, start_s = state or SignState(), [], 0.0
    if state.seen_s is not None:
        start_s = state.seen_s + 1 / hz
    for n in range(int(seconds * hz) + 1):
        t_s = start_s + n / hz
        pose = signing(sign, t_s, mirror=mirror)
        state, found = gestures.step(state, t_s, pose, phase, wanted)
        told += [found] if found else []
    return told, state


@pytest.mark.parametrize("mirror", [False, True])
@pytest.mark.parametrize("sign", list(Sign))
def test_each_sign_is_seen_by_either_hand_once_it_was_held(sign, mirror):
    assert gestures.posture(signing(sign, mirror=mirror))[0] is sign
    assert held(sign, HOLD_S[sign] - 0.1, mirror=mirror)[0] == []
    assert held(sign, HOLD_S[sign] + 3.0, mirror=mirror)[0] == [sign]  # once, however long


@pytest.mark.parametrize("hz", [15.0, 30.0, 60.0, 90.0])
def test_the_hold_is_in_seconds_at_any_frame_rate(hz):
    assert held(Sign.HAND_UP, 0.9, hz=hz)[0] == []
    assert held(Sign.HAND_UP, 1.2, hz=hz)[0] == [Sign.HAND_UP]


def test_a_sign_counts_again_only_after_it_was_left():
    told, state = held(Sign.HAND_UP, 1.5)
    assert told == [Sign.HAND_UP]
    again, state = held(Sign.HAND_UP, 3.0, state=state)
    assert again == []
    start_s = state.seen_s
    for n in range(1, 20):
        t_s = start_s + n / 30
        state, _ = gestures.step(state, t_s, pose_of(SETUP, View(), t_s), Phase.WAITING, ALL)
    assert held(Sign.HAND_UP, 1.5, state=state)[0] == [Sign.HAND_UP]


def test_a_hand_that_waves_holds_nothing():
    state, told = SignState(), []
    for n in range(90):
        pose = signing(Sign.HAND_UP, n / 30)
        points = pose.image_px.copy()
        trunk = points[L.LEFT_HIP, 1] - points[L.LEFT_SHOULDER, 1]
        points[L.RIGHT_WRIST, 0] += 0.6 * trunk * np.sin(2 * np.pi * n / 20)
        state, found = gestures.step(
            state, n / 30, replace(pose, image_px=points), Phase.WAITING, ALL
        )
        told += [found] if found else []
    assert told == []


@pytest.mark.parametrize("phase", [Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP, Phase.AFTER])
def test_no_sign_is_looked_for_in_a_swing_nor_at_its_finish(phase):
    for sign in Sign:
        assert held(sign, 3.0, phase=phase)[0] == []


def test_a_sign_without_a_meaning_now_is_not_seen():
    assert held(Sign.HANDS_OUT, 2.0, wanted=frozenset({Sign.HAND_UP}))[0] == []


def test_a_body_turned_away_or_seen_from_behind_shows_no_sign():
    pose = signing(Sign.HANDS_OUT)
    points = pose.image_px.copy()
    middle = (points[L.LEFT_SHOULDER] + points[L.RIGHT_SHOULDER]) / 2
    for share in (0.3, -1.0):
        turned = points.copy()
        for side in (L.LEFT_SHOULDER, L.RIGHT_SHOULDER):
            turned[side] = middle + share * (points[side] - middle)
        assert gestures.posture(replace(pose, image_px=turned))[0] is None


@pytest.mark.parametrize("handed", list(Handed))
@pytest.mark.parametrize("name", list(SITUATIONS))
def test_no_situation_of_the_practice_ground_is_taken_for_a_sign(name, handed):
    state = SignState()
    for t_s, pose in poses(script_of(name), View(handed=handed)):
        # as if no phase were known, the worst case
        state, sign = gestures.step(state, t_s, pose, Phase.WAITING, ALL)
        assert sign is None


def test_who_walks_off_is_away_and_who_comes_back_is_there():
    script = Script().hold(1.0).lose(4.0).hold(1.0)
    state, away = SignState(), []
    for t_s, pose in poses(script):
        state, _ = gestures.step(state, t_s, pose, Phase.NOBODY, ALL)
        away.append((t_s, state.away))
    assert not any(gone for t_s, gone in away if t_s < 1.0 + gestures.AWAY_S - 0.05)
    assert all(gone for t_s, gone in away if 4.05 < t_s < 5.0)
    assert not any(gone for t_s, gone in away if t_s > 5.0 + gestures.BACK_S + 0.05)


def test_before_anybody_was_seen_nobody_has_walked_off():
    state = SignState()
    for n in range(300):
        state, _ = gestures.step(state, n / 30, None, Phase.NOBODY, ALL)
    assert not state.away
