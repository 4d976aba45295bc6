"""The path of the hands and the instants read from it."""

import numpy as np
import pytest
from golfer import Body, Script, View, minimum_jerk, play, pose_of
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.geometry import middle
from trainer.core.handpath import (
    TAKEAWAY_POWER,
    HandPoint,
    arrived_instant_s,
    both_away_cm,
    distance_cm,
    left_instant_s,
    median_point,
    one_strayed,
    speed_cm_s,
)
from trainer.core.records import Handed


def point(t_s, lateral, height=0.0, arc=0.0, arms=()):
    return HandPoint(
        t_s=float(t_s),
        lateral_cm=float(lateral),
        height_cm=float(height),
        arc_deg=float(arc),
        level=0.0,
        arms_cm=tuple(float(v) for v in arms),
    )


FAR = np.array([90.0, 120.0])  # 150 cm
#: How far each of ten points of the arms goes, as a share: elbows less than hands.
SHARES = np.array([0.5, 0.6, *[1.0] * 8])


def there_and_back(*, hz, back_s=1.0, hold_s=0.0, down_s=0.5, end_cm=22.0, phase=0.0, spoil=None):
    """A minimum-jerk move that begins at 0 s, a rest, and the way back as far as ``end_cm``.

    ``spoil(t_s, arms)`` may change the ten points (10, 2) of a picture.
    """
    leave_s = back_s + hold_s
    path = []
    for t_s in np.arange(-1.0 + phase / hz, leave_s + down_s, 1 / hz):
        share = minimum_jerk(t_s / back_s) - minimum_jerk((t_s - leave_s) / down_s)
        arms = np.outer(SHARES, FAR * share)
        hands = arms[2:4].mean(axis=0)  # those the core follows by the wrist it trusts
        if spoil is not None:
            arms = spoil(t_s, arms)
        path.append(point(t_s, *hands, arms=arms.ravel()))
        if t_s > leave_s and np.hypot(*FAR) * (1 - share) > end_cm:
            break
    place = point(leave_s, *FAR, arms=np.outer(SHARES, FAR).ravel())
    return tuple(path), place


def noise(size_cm, seed=0):
    rng = np.random.default_rng(seed)
    return lambda _, arms: arms + rng.normal(0, size_cm, arms.shape)


@pytest.mark.parametrize("handed", list(Handed))
def test_the_points_of_the_arms_are_measured_as_the_hands_are(handed):
    played = play(Script().hold(1.2).move(Body(arc_deg=90), 1.0), View(handed=handed))
    newest = played.state.phases.path[-1]
    wrists = (newest.arms_cm[4:6], newest.arms_cm[6:8])
    assert len(newest.arms_cm) == 20
    # Here both wrists keep their place to each other, so their middle is where the hands are
    assert np.mean(wrists, axis=0) == pytest.approx((newest.lateral_cm, newest.height_cm), abs=1.0)


RATES = st.integers(15, 240)
MOVES = {
    "hz": RATES,
    "back_s": st.floats(0.7, 2.0),
    "hold_s": st.sampled_from([0.0, 0.3, 1.0]),
    "down_s": st.floats(0.25, 1.0),
    "phase": st.floats(0, 1),
}


@given(**MOVES)
def test_hands_that_leave_are_read_at_their_true_time(hz, back_s, hold_s, down_s, phase):
    move = {"hz": hz, "back_s": back_s, "hold_s": hold_s, "down_s": down_s, "phase": phase}
    path, place = there_and_back(**move)
    # Lengths of move are tried in steps of about 1.4, which costs a part of the hidden start.
    off_s = left_instant_s(path, place) - back_s - hold_s
    assert abs(off_s) < 0.02 + 0.6 / hz + 0.08 * down_s


@given(hz=RATES, back_s=st.floats(0.7, 2.0), hold_s=st.sampled_from([0.3, 1.0]))
def test_hands_that_arrive_are_read_at_their_true_time(hz, back_s, hold_s):
    path, _ = there_and_back(hz=hz, back_s=back_s, hold_s=hold_s)
    arrived_s = arrived_instant_s(path, 0.0, back_s + hold_s)
    assert arrived_s == pytest.approx(back_s, abs=0.03 + 0.02 * back_s)


@given(hz=RATES, seconds=st.floats(0.6, 3), phase=st.floats(0, 1))
def test_the_power_set_for_the_pose_model_stays_near_a_true_start(hz, seconds, phase):
    # It is set for hands as the pose model shows them; seen perfectly they come out early, by
    # (3.5/3 - 1) of the time to the first clear centimetre (0.13 of the move) and a little more.
    far = there_and_back(hz=hz, back_s=seconds, phase=phase)[0]
    first = next(row for row, p in enumerate(far) if p.t_s > 0 and p.lateral_cm > 5.0)
    start = left_instant_s(far[: first + 1], point(0, 0), TAKEAWAY_POWER)
    assert -0.07 * seconds - 0.5 / hz < start < 0.02 * seconds + 0.5 / hz


@pytest.mark.parametrize("hz", [15, 30, 60, 120])
def test_noise_of_half_a_centimetre_costs_less_than_a_picture_at_30_a_second(hz):
    # 0.4 cm is about 1 px at 3 m.
    left, arrived = [], []
    for seed in range(20):
        path, place = there_and_back(hz=hz, hold_s=0.4, spoil=noise(0.4, seed))
        left.append(left_instant_s(path, place) - 1.4)
        arrived.append(arrived_instant_s(path, 0.0, 1.4) - 1.0)
    assert np.quantile(np.abs(left), 0.9) < 0.034
    assert np.quantile(np.abs(arrived), 0.9) < 0.05
    assert abs(np.median(arrived)) < 0.034


@pytest.mark.parametrize("hz", [15, 30, 60, 120])
@pytest.mark.parametrize("hidden", [2, 3], ids=["left wrist", "right wrist"])
def test_a_hidden_wrist_that_jumps_about_changes_little(hz, hidden):
    rng = np.random.default_rng(hz)

    def jumping(t_s, arms):
        if 0.9 < t_s < 1.5:
            arms = arms.copy()
            arms[hidden::2] += rng.uniform(-30, 30, 2)  # wrist, hand and all
        return arms + rng.normal(0, 0.2, arms.shape)

    path, place = there_and_back(hz=hz, hold_s=0.4, spoil=jumping)
    left_s = left_instant_s(path, place)
    assert left_s == pytest.approx(1.4, abs=0.034)
    assert arrived_instant_s(path, 0.0, left_s) == pytest.approx(1.0, abs=0.07)


def test_a_stop_on_the_way_is_no_part_of_the_last_stretch():
    times = np.arange(-0.5, 6.0, 1 / 30)
    share = 0.5 * minimum_jerk(times / 1.5) + 0.5 * minimum_jerk((times - 2.5) / 2.0)
    path = tuple(
        point(t, *(FAR * s), arms=np.outer(SHARES, FAR * s).ravel())
        for t, s in zip(times, share, strict=True)
    )
    assert arrived_instant_s(path, 0.0, 5.5) == pytest.approx(4.5, abs=0.07)


def test_readings_that_are_missing_on_the_way_leave_no_curve_to_fit():
    path, _ = there_and_back(hz=30, hold_s=0.4)
    path = tuple(p for p in path if not 0.6 < p.t_s < 0.9)
    arrived_s = arrived_instant_s(path, 0.0, 1.4)
    # Then it is where they first were within three centimetres: 0.15 of the move before its end
    assert 0.8 < arrived_s < 1.0


def test_without_points_of_the_arms_the_hands_alone_are_fitted():
    path, place = there_and_back(hz=30, hold_s=0.4)
    bare = tuple(point(p.t_s, p.lateral_cm, p.height_cm) for p in path)
    assert left_instant_s(bare, place) == pytest.approx(1.4, abs=0.034)
    assert arrived_instant_s(bare, 0.0, 1.4) == pytest.approx(1.0, abs=0.05)


def test_too_little_to_read_gives_none():
    three = tuple(point(t, 20.0 * t) for t in range(3))
    assert left_instant_s(three, point(0, 0)) is None
    assert arrived_instant_s(three, 0.0, 3.0) is None


def test_one_wrist_that_jumps_has_not_moved_both_hands():
    here = point(0, 0, arms=np.zeros(20))
    arms = np.zeros((10, 2))
    arms[2] = (30.0, 40.0)
    assert both_away_cm(here, point(0, 15, 20, arms=arms.ravel())) == 0.0
    arms[3] = (3.0, 4.0)
    assert both_away_cm(here, point(0, 15, 20, arms=arms.ravel())) == pytest.approx(5.0)
    assert both_away_cm(here, point(0, 15, 20)) == pytest.approx(25.0)


def test_the_middle_of_points_is_that_of_each_value():
    points = [point(t, t * t, -t, arms=np.full(20, 2.0 * t)) for t in (0, 1, 3)]
    middle_of = median_point(points)
    assert (middle_of.t_s, middle_of.lateral_cm, middle_of.height_cm) == (1.0, 1.0, -1.0)
    assert middle_of.arms_cm == (2.0,) * 20
    assert median_point([*points, point(2, 0)]).arms_cm == ()


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


def test_the_distance_is_taken_in_the_picture_plane():
    assert distance_cm(point(0, 1, 2), point(5, 4, 6)) == pytest.approx(5.0)


def wrists_path(left, right, hz=30):
    """A path in which only the wrists (T, 2), left and right, matter."""
    path = []
    for row, (one, other) in enumerate(zip(left, right, strict=True)):
        arms = np.zeros((10, 2))
        arms[2], arms[3] = one, other
        path.append(point(row / hz, 0.0, arms=arms.ravel()))
    return path


@pytest.mark.parametrize("hz", [15, 30, 60])
def test_a_wrist_that_jumps_off_the_other_has_strayed_until_it_is_back(hz):
    here = np.zeros((8, 2))
    off = here.copy()
    off[3:6] = [-45.0, 50.0]
    for left, right in ((here, off), (off, here)):
        path = wrists_path(left, right, hz)
        told = [one_strayed(path[:count]) for count in range(1, 9)]
        assert told == [False] * 3 + [True] * 3 + [False] * 2


def test_a_hand_let_go_has_not_strayed_however_briskly():
    # 3 m/s, brisker than a hand that reaches: peak hand speed of a quick reach over 40 cm is about
    # 2 m/s (minimum jerk, Flash & Hogan 1985, 1.875 times the mean speed; from memory).
    for hz in (15, 30, 60):
        away = np.outer(np.minimum(np.arange(hz) * 300.0 / hz, 60.0), [0.0, 1.0])
        assert not one_strayed(wrists_path(np.zeros((hz, 2)), away, hz))


def test_hands_that_both_jump_have_not_strayed_from_each_other():
    both = np.zeros((6, 2))
    both[3:] = [60.0, 0.0]
    assert not one_strayed(wrists_path(both, both + [8.0, 0.0]))
    assert not one_strayed(wrists_path(both, -both))


def test_a_wrist_lost_at_the_address_is_believed_once_it_is_seen_with_the_other():
    here = np.zeros((6, 2))
    off = here + [50.0, 0.0]
    assert one_strayed(wrists_path(here, off), lost=1)
    assert not one_strayed(wrists_path(here, off))
    off[3:] = [[10.0, 0.0], [18.0, 0.0], [26.0, 0.0]]
    assert not one_strayed(wrists_path(here, off), lost=1)
