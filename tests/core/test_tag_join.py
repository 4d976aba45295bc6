"""One figure from tag and body points: weights, bridging, and never a jump where sources change."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.records import Source
from trainer.core.tag_join import KEEP_DEG, Told, join

DT_S = 1 / 30
RATE = 90.0
TAG = Told(value=50.0, se=1.0)
POINTS = Told(value=42.0, se=6.0)


def go(pictures, *, rate=RATE, dt_s=DT_S):
    """Join (points, tag or None, numbers) one after the other, turning as the points do."""
    joined, before, t_s = [], None, 0.0
    for points, tag, numbers in pictures:
        turned = 0.0 if before is None else abs(points.value - before.points)
        before = join(before, t_s, points, tag, numbers, turned_deg=turned, rate=rate)
        joined.append(before)
        t_s += dt_s
    return joined


def test_both_count_by_their_variances():
    (one,) = go([(POINTS, TAG, (0,))])
    # Inverse-variance weighting of independent readings, by hand: 36 parts of 50, 1 part of 42.
    assert one.value == pytest.approx((36 * 50.0 + 42.0) / 37)
    assert one.se == pytest.approx(math.sqrt(36 / 37))
    assert one.source is Source.TAG


def test_a_tag_as_unsure_as_the_points_names_both():
    (one,) = go([(POINTS, Told(value=50.0, se=6.0), (0,))])
    assert one.value == pytest.approx(46.0)
    assert one.source is Source.TAG_AND_POSE


def test_without_a_tag_the_points_stand_as_they_are():
    one, other = go([(POINTS, None, ()), (Told(value=44.0, se=5.0), None, ())])
    assert (one.value, one.se, one.source) == (42.0, 6.0, Source.POSE)
    assert (other.value, other.se, other.source) == (44.0, 5.0, Source.POSE)


def test_a_hidden_tag_is_bridged_by_the_points_corrected_to_its_last_reading():
    seen, *hidden = go([(POINTS, TAG, (0,))] + [(POINTS, None, ())] * 4)
    assert all(one.source is Source.BRIDGED for one in hidden)
    assert all(abs(one.value - seen.value) < 0.5 for one in hidden)
    errors = [one.se for one in (seen, *hidden)]
    assert errors == sorted(errors)
    assert errors[-1] < 3.0


def test_the_correction_wears_off_as_the_body_turns_and_the_error_told_grows_to_the_points_own():
    turning = [(Told(value=42.0 + 3.0 * i, se=6.0), None, ()) for i in range(1, 40)]
    joined = go([(POINTS, TAG, (0,)), *turning])
    off = [one.value - one.points for one in joined]
    assert off == sorted(off, reverse=True)
    at = next(i for i, one in enumerate(joined) if one.points - POINTS.value >= KEEP_DEG)
    assert off[at] < off[0] / math.e
    assert joined[-1].source is Source.POSE
    assert joined[-1].se == pytest.approx(6.0, abs=0.1)


def test_a_tag_that_comes_back_is_followed_at_a_limited_rate_and_the_rest_is_in_the_error():
    joined = go([(POINTS, None, ())] + [(POINTS, TAG, (0,))] * 5)
    values = [one.value for one in joined]
    assert max(b - a for a, b in pairwise(values)) <= RATE * DT_S + 1e-9
    assert values[-1] == pytest.approx(49.78, abs=0.01)
    for one in joined[1:]:
        assert one.se >= abs(one.value - values[-1]) * 0.99


told = st.floats(-20.0, 120.0)
errors = st.floats(0.3, 15.0)
picture = st.tuples(
    st.builds(Told, value=told, se=errors),
    st.builds(Told, value=told, se=errors),
    st.sampled_from([(), (0,), (0, 1), (1,)]),
)


@given(st.lists(picture, min_size=2, max_size=30), st.sampled_from([1 / 60, 1 / 30, 1 / 10]))
def test_no_step_is_larger_than_the_going_source_s_own_and_the_rate(pictures, dt_s):
    """Whatever comes: no jump where tags are lost, found or exchanged.

    Where the same tags are seen as before, the step is that of what the sources say; where they
    change, that of the body points. Beyond that a step may only be larger by the rate.
    """
    joined = go(
        [(points, tag if numbers else None, numbers) for points, tag, numbers in pictures],
        dt_s=dt_s,
    )
    for a, b in pairwise(joined):
        points = b.points - a.points
        own = points if a.numbers != b.numbers else points + b.offset - a.offset
        assert abs((b.value - a.value) - own) <= RATE * dt_s + 1e-9
        assert b.se >= abs(b.lag)


@given(st.lists(picture, min_size=1, max_size=30))
def test_what_the_sources_say_is_reached_once_they_stay(pictures):
    last = (Told(value=60.0, se=6.0), Told(value=70.0, se=1.0), (0,))
    joined = go([*pictures, *[last] * 120])
    assert joined[-1].lag == 0.0
    assert joined[-1].value == pytest.approx(70.0, abs=0.5)
