"""When the hands came to rest, read from the motion of the picture round them."""

from dataclasses import replace

import numpy as np
import pytest
from golfer import View, play, poses, rep_script
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.core.handpath import HandPoint
from trainer.core.hands_rest import TOGETHER_S, joined_s, rested_instant_s
from trainer.core.landmarks import Landmark as L

FRAME_S = 1 / 30
ARMS = slice(L.LEFT_ELBOW, L.RIGHT_THUMB + 1)  # elbows, wrists and the points of the hands


def speed(share):
    """Return the speed of a minimum-jerk move at a share of its time, at most 1.

    Flash & Hogan 1985, J Neurosci 5:1688 (from memory): 30 (x^2 - 2 x^3 + x^4) by its largest.
    """
    share = np.clip(share, 0.0, 1.0)
    return 16 * share**2 * (1 - share) ** 2


def path(back_s, hold_s, down_s, *, phase=0.0, noise=0.0, grain=0.3, seed=0):
    """Return a path that leaves at 0 s and is at the top at ``back_s``, with its motion."""
    rng = np.random.default_rng(seed)
    times = np.arange(-0.3 + phase * FRAME_S, back_s + hold_s + 0.4 * down_s, FRAME_S)
    points = []
    for t_s in times:
        half_s = t_s - FRAME_S / 2  # the motion since the picture before is that half way
        back = speed(half_s / back_s)
        down = back_s / down_s * speed((half_s - back_s - hold_s) / down_s)
        motion = 2 * (back + down) + grain + noise * rng.normal()
        points.append(
            HandPoint(
                t_s=float(t_s),
                lateral_cm=0.0,
                height_cm=0.0,
                arc_deg=0.0,
                level=0.0,
                motion=max(0.0, float(motion)),
            )
        )
    return tuple(points)


@settings(max_examples=60, deadline=None)
@given(
    back_s=st.floats(0.65, 3.0),
    hold_s=st.sampled_from([0.0, 0.2, 0.5]),
    phase=st.floats(0, 1),
    off_s=st.floats(-0.15, 0.1),
    grain=st.floats(0, 1),
)
def test_the_rest_of_a_minimum_jerk_move_is_found_whatever_the_points_say(
    back_s, hold_s, phase, off_s, grain
):
    seen = path(back_s, hold_s, 0.4, phase=phase, grain=grain)
    found = rested_instant_s(seen, 0.0, back_s + off_s)
    # Two pictures of an ordinary camera; four for the slowest, which creep to their end.
    assert found == pytest.approx(back_s, abs=2 * FRAME_S + 0.025 * back_s)


def test_where_points_and_picture_agree_their_middle_is_taken_and_where_not_the_picture():
    seen = path(1.0, 0.3, 0.4)
    rested_s = rested_instant_s(seen, 0.0, 1.0)
    near_s, far_s = rested_s - 0.8 * TOGETHER_S, rested_s - 2 * TOGETHER_S
    assert joined_s(seen, 0.0, near_s) == pytest.approx(rested_s - 0.4 * TOGETHER_S, abs=0.005)
    assert joined_s(seen, 0.0, far_s) == pytest.approx(rested_s, abs=0.005)


def test_without_motion_the_points_alone_decide():
    blind = tuple(replace(point, motion=None) for point in path(1.0, 0.0, 0.4))
    assert joined_s(blind, 0.0, 0.93) == 0.93
    assert joined_s((), 0.0, 0.93) == 0.93
    still = tuple(replace(point, motion=0.0) for point in path(1.0, 0.0, 0.4))
    assert joined_s(still, 0.0, 0.93) == 0.93


def hidden(pairs, from_s, until_s, top_s, motion):
    """Return poses whose arms are held where they were at ``from_s``, as a hidden hand's are."""
    held = next(pose for t_s, pose in pairs if t_s >= from_s)
    out = []
    for t_s, pose in pairs:
        points = pose.image_px.copy()
        if from_s <= t_s < until_s:
            points[ARMS] = held.image_px[ARMS]
        half_s = t_s - FRAME_S / 2
        moving = speed((half_s - 2.0) / (top_s - 2.0)) + 2 * speed((half_s - top_s) / 0.5)
        out.append((t_s, replace(pose, image_px=points, hand_motion=moving if motion else None)))
    return out


def test_hands_that_are_held_where_they_hid_do_not_bring_the_top_forward():
    script, (_, top_s, _) = rep_script(back_s=1.5, down_s=0.5)
    pairs = poses(script, View(hz=30.0))
    held = play(script, pairs=hidden(pairs, top_s - 0.35, top_s + 0.05, top_s, False)).rep
    seen = play(script, pairs=hidden(pairs, top_s - 0.35, top_s + 0.05, top_s, True)).rep
    assert abs(held.top_t_s - top_s) > 2 * FRAME_S
    assert abs(seen.top_t_s - top_s) < 2 * FRAME_S
    assert seen.top_t_s <= seen.top_end_t_s
