"""The path of the hands and the instants read from it."""

from unittest import mock

import numpy as np
import pytest
from golfer import Body, Script, View, minimum_jerk, play, pose_of
from hypothesis import given
from hypothesis import strategies as st

from trainer.core import handpath
from trainer.core.geometry import middle
from trainer.core.handpath import (
    HandPoint,
    distance_cm,
    ease_instant_s,
    speed_cm_s,
    turning_instant_s,
)


def point(t_s, lateral, height=0.0, arc=0.0):
    return HandPoint(
        t_s=float(t_s),
        lateral_cm=float(lateral),
        height_cm=float(height),
        arc_deg=float(arc),
        level=0.0,
    )


def eased(*, hz, seconds, far_cm=150.0, still_s=1.0, phase=0.0, noise_cm=0.0, seed=0):
    """Still, then one minimum-jerk move of ``far_cm`` that begins at 0 s, then still."""
    rng = np.random.default_rng(seed)
    times = np.arange(-still_s + phase / hz, seconds + still_s, 1 / hz)
    along = far_cm * minimum_jerk(times / seconds)
    noise = rng.normal(0, noise_cm, (len(times), 2)) if noise_cm else np.zeros((len(times), 2))
    places = np.outer(along, [0.6, 0.8]) + noise
    return tuple(point(t, *xy) for t, xy in zip(times, places, strict=True)), far_cm * np.array(
        [0.6, 0.8]
    )


RATES = st.integers(15, 240)


def cubic():
    """With the power of a minimum-jerk move itself the method must be nearly exact on one."""
    return mock.patch.multiple(handpath, LEAVING_POWER=3.0, ARRIVING_POWER=3.0)


@given(hz=RATES, seconds=st.floats(0.6, 6), phase=st.floats(0, 1))
def test_a_smooth_start_is_read_at_its_true_time(hz, seconds, phase):
    path, _ = eased(hz=hz, seconds=seconds, phase=phase)
    with cubic():
        instant = ease_instant_s(path, (0.0, 0.0), arriving=False, reach_cm=9.0)
    # The cube root of 10 x^3 - 15 x^4 + ... is about x - x^2 / 2: a line through it from x1 to x2
    # meets zero about x1 x2 / 2 too early: 0.01 of the move for 1.5 and 9 of 150 cm, twice that
    # when the far end lies a frame further on at 15 pictures a second; and as much too late when
    # the near end lies a frame closer to zero, where the root is steeper.
    assert -0.025 * seconds < instant < 0.01 * seconds


@given(hz=RATES, seconds=st.floats(0.6, 6), phase=st.floats(0, 1))
def test_a_smooth_stop_is_read_at_its_true_time(hz, seconds, phase):
    path, end = eased(hz=hz, seconds=seconds, phase=phase)
    with cubic():
        instant = ease_instant_s(path, tuple(end), arriving=True, reach_cm=12.0)
    late = instant - seconds  # the mirror image of the start
    assert -0.01 * seconds < late < 0.03 * seconds  # more than at the start: 12 of 150 cm


@given(hz=RATES, seconds=st.floats(0.6, 3), phase=st.floats(0, 1))
def test_the_powers_set_for_the_pose_model_stay_near_the_truth_of_a_perfect_view(
    hz, seconds, phase
):
    # They are set for hands as the pose model sees them; seen perfectly they come out early: at
    # the start by (3.5/3 - 1) of the time to the first clear centimetre (0.13 of the move) and
    # a little for the curve; at the stop by (1 - 2.25/3) of the same, from further out.
    path, end = eased(hz=hz, seconds=seconds, phase=phase)
    start = ease_instant_s(path, (0.0, 0.0), arriving=False, reach_cm=9.0)
    stop = ease_instant_s(path, tuple(end), arriving=True, reach_cm=12.0) - seconds
    assert -0.06 * seconds < start < 0.02 * seconds
    assert -0.09 * seconds < stop < 0.03 * seconds


@pytest.mark.parametrize("hz", [15, 30, 60, 120])
@pytest.mark.parametrize("arriving", [False, True], ids=["leaving", "arriving"])
def test_noise_of_half_a_centimetre_costs_a_fraction_of_the_hidden_start(hz, arriving):
    # 0.4 cm is about 1 px at 3 m. The first 1.5 cm of 150 cm last 0.1 s at 1 s a move: that long
    # a start is hidden below the noise for whoever waits for a threshold.
    errors = []
    for seed in range(40):
        path, end = eased(hz=hz, seconds=1.0, noise_cm=0.4, seed=seed)
        place, reach = (tuple(end), 12.0) if arriving else ((0.0, 0.0), 9.0)
        with cubic():
            instant = ease_instant_s(path, place, arriving=arriving, reach_cm=reach)
        errors.append(instant - (1.0 if arriving else 0.0))
    assert abs(np.median(errors)) < 0.04  # nearly all of it the method's own, see above
    # At 15 pictures a second single readings decide: one picture and a half.
    assert np.quantile(np.abs(errors), 0.95) < max(0.08, 1.6 / hz)


def test_a_second_start_is_the_one_that_counts():
    first, _ = eased(hz=30, seconds=0.5, far_cm=8.0, still_s=0.5)
    back = tuple(point(p.t_s + 1.5, 4.8 - p.lateral_cm, 6.4 - p.height_cm) for p in first)
    real, _ = eased(hz=30, seconds=1.0, still_s=0.4)
    real = tuple(point(p.t_s + 3.5, p.lateral_cm, p.height_cm) for p in real)
    instant = ease_instant_s(first + back + real, (0.0, 0.0), arriving=False, reach_cm=9.0)
    assert instant == pytest.approx(3.5, abs=0.06)  # early by the power, see above


def test_too_little_to_read_gives_none():
    two = (point(0, 0), point(1, 20))
    still = tuple(point(t, 0.0) for t in range(5))
    for arriving in (False, True):
        assert ease_instant_s(two, (0.0, 0.0), arriving=arriving, reach_cm=9.0) is None
        assert ease_instant_s(still, (0.0, 0.0), arriving=arriving, reach_cm=9.0) is None


@given(hz=RATES, seconds=st.floats(0.5, 3), phase=st.floats(0, 1))
def test_an_instant_never_lies_further_off_than_the_stretch_it_is_read_from(hz, seconds, phase):
    path, _ = eased(hz=hz, seconds=seconds, far_cm=11.0, phase=phase)
    instant = ease_instant_s(path, (0.0, 0.0), arriving=False, reach_cm=9.0)
    assert -seconds < instant < seconds


SPEED = st.floats(1, 400)


@given(hz=RATES, speed=SPEED)
def test_a_steady_speed_reads_the_same_at_any_frame_rate(hz, speed):
    times = np.arange(0, 1, 1 / hz)
    path = tuple(point(t, 0.6 * speed * t, 0.8 * speed * t) for t in times)
    assert speed_cm_s(path) == pytest.approx(speed, rel=1e-6)


@given(hz=RATES, phase=st.floats(0, 1))
def test_a_changing_speed_reads_as_half_a_span_ago(hz, phase):
    # For constant acceleration a least squares line over a span gives the speed in its middle;
    # the span is 0.1 s rounded up to whole frames.
    acceleration = 300.0
    times = np.arange(phase / hz, 1, 1 / hz)
    path = tuple(point(t, acceleration / 2 * t**2) for t in times)
    true = acceleration * (times[-1] - 0.05)
    assert speed_cm_s(path) == pytest.approx(true, abs=acceleration * 0.5 / hz + 1e-6)


def test_the_speed_is_the_slope_numpy_fits():
    rng = np.random.default_rng(3)
    times = np.cumsum(rng.uniform(0.01, 0.03, 30))
    xy = rng.normal(0, 3, (30, 2)) + np.outer(times, [50, -20])
    path = tuple(point(t, *p) for t, p in zip(times, xy, strict=True))
    first = np.nonzero(times[-1] - times >= 0.1)[0][-1]
    slopes = [np.polyfit(times[first:], xy[first:, k], 1)[0] for k in (0, 1)]
    assert speed_cm_s(path) == pytest.approx(np.hypot(*slopes), rel=1e-9)


def test_too_few_readings_or_a_gap_give_no_speed():
    assert speed_cm_s(()) is None
    assert speed_cm_s((point(0, 0),)) is None
    assert speed_cm_s((point(0, 0), point(0.05, 1))) is None
    assert speed_cm_s((point(0, 0), point(0.06, 3))) == pytest.approx(50)
    assert speed_cm_s((point(0, 0), point(0.51, 1))) is None


@pytest.mark.parametrize("hz", [30, 240, 480])
def test_a_fast_camera_reads_a_speed_too(hz):
    script = Script().hold(0.8).move(Body(arc_deg=90), 0.6)
    played = play(script, View(hz=hz))
    speeds = {round(s.t_s, 4): s.measures.hand_speed_cm_s for s in played.steps}
    # What the hands did in the middle of the last 0.1 s, from the picture itself
    before, after = (
        middle(pose_of(script.at(t), View(), t).image_px, "wrist") for t in (1.049, 1.051)
    )
    true = np.hypot(*(after - before)) * played.state.reference.cm_per_px / 0.002
    assert speeds[1.1] == pytest.approx(true, rel=0.03)


@given(hz=st.integers(20, 240), seconds=st.floats(0.5, 2), phase=st.floats(0, 1))
def test_a_turn_between_two_frames_is_found_between_them(hz, seconds, phase):
    times = np.arange(-seconds + phase / hz, 0.3, 1 / hz)
    arcs = 150 - 150 * (1 - minimum_jerk(1 - np.abs(times) / seconds))
    path = tuple(point(t, 0, arc=a) for t, a in zip(times, arcs, strict=True))
    row, instant = turning_instant_s(path)
    assert arcs[row] == max(arcs)
    # The readings within 0.07 s lie on both sides of the turn alike, but for one frame
    assert abs(instant) < 0.3 / hz + 1e-9


def test_hands_that_only_go_on_turn_at_their_last_reading():
    path = tuple(point(i / 30, 0, arc=5.0 * i) for i in range(10))
    assert turning_instant_s(path) == (9, pytest.approx(9 / 30))
    assert turning_instant_s(path[:2]) == (1, pytest.approx(1 / 30))


def test_the_distance_is_taken_in_the_picture_plane():
    assert distance_cm(point(0, 1, 2), point(5, 4, 6)) == pytest.approx(5.0)
