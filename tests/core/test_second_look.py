"""When the mirrored picture is tried, and when it is kept."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from golfer import SETUP, TOP, Body, View, pose_of

from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed
from trainer.core.second_look import (
    AGAIN_S,
    LONGEST_WAIT_S,
    SecondLook,
    after,
    faces_camera,
    mirrored_back,
    shoulder_share,
)

HZ = 30.0
FRONT = pose_of(SETUP, View(), 0.0)


def with_toes(pose, below_px):
    points = pose.image_px.copy()
    for side in ("LEFT", "RIGHT"):
        points[L[f"{side}_FOOT_INDEX"]] = points[L[f"{side}_HEEL"]] + [0.0, below_px]
    return replace(pose, image_px=points)


def as_a_back(pose):
    """The same picture with left and right taken for each other."""
    order = np.array(
        [L[p.name.replace("LEFT", "~").replace("RIGHT", "LEFT").replace("~", "RIGHT")] for p in L]
    )
    return replace(pose, image_px=pose.image_px[order], world_m=pose.world_m[order])


SEEN = with_toes(FRONT, 25.0)
BACK = as_a_back(SEEN)


def watch(reading, seconds, look=None, hz=HZ, from_s=0.0, **how):
    """Show ``reading(look)`` for so long; return every state."""
    look, states = look or SecondLook(), []
    for i in range(round(seconds * hz)):
        pose = reading(look)
        look = after(look, from_s + i / hz, pose, believed=pose is not None, **how)
        states.append(look)
    return states


@pytest.mark.parametrize("hz", [10, 15, 30, 60])
def test_a_player_taken_for_a_back_is_seen_in_the_mirrored_picture_within_a_second(hz):
    states = watch(lambda look: SEEN if look.mirrored else BACK, 3.0, hz=hz)
    kept = [i for i, look in enumerate(states) if look.mirrored and look.trial_s is None]
    assert kept[0] / hz < 1.0
    assert all(look.mirrored for look in states[kept[0] :])


def test_a_player_in_whom_the_model_finds_nobody_is_tried_too():
    assert watch(lambda look: SEEN if look.mirrored else None, 1.5)[-1].mirrored


def test_sides_that_come_and_go_are_wrong_too():
    looks = iter(range(10_000))

    def flipping(look):
        return SEEN if look.mirrored or next(looks) % 3 else BACK

    assert watch(flipping, 3.0)[-1].mirrored


def test_a_back_in_both_pictures_stays_one_and_is_tried_ever_more_rarely():
    states = watch(lambda look: BACK, 300.0)
    begun = [
        i / HZ
        for i, (before, now) in enumerate(pairwise(states))
        if before.trial_s is None and now.trial_s is not None
    ]
    assert not states[-1].mirrored
    assert not any(look.mirrored and look.trial_s is None for look in states)
    waits = np.diff(begun)
    assert waits[0] == pytest.approx(AGAIN_S, abs=0.8)
    assert waits[-1] == pytest.approx(LONGEST_WAIT_S, abs=0.8)
    assert np.all(np.diff(waits) > -0.2)


def test_a_front_whose_toes_lie_behind_the_heels_is_none():
    wrong = with_toes(FRONT, 2.0)
    assert not faces_camera(wrong)
    assert not watch(lambda look: wrong if look.mirrored else BACK, 2.0)[-1].mirrored


def test_a_player_seen_rightly_is_left_alone_whatever_is_done():
    turned = pose_of(Body(turn_deg=88), View(), 0.0)
    for pose in (SEEN, pose_of(TOP, View(), 0.0), turned):
        assert not any(look.mirrored for look in watch(lambda _, pose=pose: pose, 5.0))
    assert abs(shoulder_share(turned)) < 0.35


def test_nothing_is_tried_in_a_swing():
    assert not any(look.mirrored for look in watch(lambda _: BACK, 3.0, locked=True))


def test_the_plain_picture_is_tried_when_the_mirrored_one_goes_wrong():
    look = SecondLook(mirrored=True, t_s=0.0)
    states = watch(lambda now: BACK if now.mirrored else SEEN, 2.0, look, from_s=0.1)
    assert not states[-1].mirrored
    assert states[-1].trial_s is None


def test_what_is_read_from_a_mirrored_picture_is_the_player_of_the_other_hand():
    """A stick golfer drawn left-handed is the right-hander's mirror image."""
    right = pose_of(TOP, View(handed=Handed.RIGHT), 0.0)
    left = pose_of(TOP, View(handed=Handed.LEFT), 0.0)
    told = mirrored_back(right)
    np.testing.assert_allclose(told.image_px, left.image_px, atol=1e-6)
    np.testing.assert_allclose(told.depth_px, left.depth_px, atol=1e-6)
    np.testing.assert_allclose(told.world_m, left.world_m, atol=1e-9)
    again = mirrored_back(told)
    np.testing.assert_allclose(again.image_px, right.image_px)
    np.testing.assert_allclose(again.visibility, right.visibility)
