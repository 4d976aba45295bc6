import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.lab.motion import (
    DOFS,
    Curves,
    Pose,
    Swing,
    backswing,
    frame_times,
    minimum_jerk,
)

# Flash & Hogan 1985, J Neurosci 5:1688 (from memory): between two rests the minimum-jerk place is
# x0 + (xf - x0)(10 t^3 - 15 t^4 + 6 t^5). The values below follow from it in exact fractions:
# t = 1/4: 10/64 - 15/256 + 6/1024 = 106/1024; t = 1/2: 1/2; t = 3/4: 918/1024.
CLOSED_FORM = [(0.0, 0.0), (0.25, 106 / 1024), (0.5, 0.5), (0.75, 918 / 1024), (1.0, 1.0)]


@pytest.mark.parametrize(("tau", "done"), CLOSED_FORM)
def test_a_minimum_jerk_move_is_where_the_closed_form_says(tau, done):
    assert minimum_jerk(tau) == pytest.approx(done, abs=1e-15)


def test_a_minimum_jerk_move_peaks_at_one_and_seven_eighths_of_its_mean_speed():
    # the derivative 30 t^2 (1 - t)^2 is 30/16 at the middle (same source)
    step = 1e-5
    speed = (minimum_jerk(0.5 + step) - minimum_jerk(0.5 - step)) / (2 * step)
    assert speed == pytest.approx(1.875, rel=1e-6)


@given(st.floats(-3, 4))
def test_a_move_rests_before_and_after(tau):
    value = float(minimum_jerk(tau))
    assert 0.0 <= value <= 1.0
    if tau <= 0:
        assert value == 0.0
    if tau >= 1:
        assert value == 1.0


def _curves(**changes):
    curves = Curves(Pose())
    rep = backswing(curves, Swing(**changes), setup_s=0.0, takeaway_s=2.0)
    return curves, rep


@pytest.mark.parametrize("finish", ["through", "return"])
def test_speed_and_acceleration_never_jump(finish):
    curves, _ = _curves(finish=finish, hold_s=0.0)
    fine = np.arange(0, 7, 0.001)
    for name, values in curves.at(fine).items():
        acceleration = np.diff(values, 2) / 0.001**2
        size = np.abs(acceleration).max()
        # a minimum-jerk move has a bounded jerk, so a finer step means a smaller change
        assert np.abs(np.diff(acceleration)).max() <= 0.08 * size + 1e-3, name


@pytest.mark.parametrize("hold_s", [0.0, 0.4])
def test_every_degree_of_freedom_is_at_its_target_at_the_top(hold_s):
    swing = Swing(
        shoulder_turn_deg=83,
        hip_turn_deg=31,
        head_drift_cm=4,
        hip_drift_cm=-2,
        lead_bend_deg=12,
        hold_s=hold_s,
    )
    curves = Curves(Pose())
    rep = backswing(curves, swing, setup_s=0.0, takeaway_s=2.0)
    top = curves.at(np.array([rep.top_s]))
    for name in (
        "shoulder_turn_deg",
        "hip_turn_deg",
        "head_drift_cm",
        "hip_drift_cm",
        "lead_bend_deg",
        "arm_lift_deg",
        "arm_across_deg",
        "cock_deg",
    ):
        assert top[name][0] == pytest.approx(getattr(swing, name)), name


def test_nothing_moves_before_the_hands_start():
    curves, rep = _curves(hip_drift_cm=9, head_drift_cm=9, early_hip_drift_cm=3)
    for name, values in curves.at(np.linspace(0, rep.takeaway_s, 50)).items():
        assert np.ptp(values) == 0.0, name


def test_nothing_moves_while_the_top_is_held():
    curves, rep = _curves(hold_s=0.5)
    for name, values in curves.at(np.linspace(rep.top_s, rep.top_end_s, 20)).items():
        assert np.ptp(values) < 1e-9, name


def test_a_returning_swing_ends_at_its_address():
    curves, rep = _curves(finish="return", downswing_s=1.2)
    end = curves.at(np.array([rep.top_end_s + 1.2]))
    for name in DOFS:
        assert end[name][0] == pytest.approx(getattr(curves.start, name), abs=1e-9), name


def test_one_degree_of_freedom_can_change_alone():
    plain, _ = _curves()
    other, _ = _curves(hip_drift_cm=9.0)
    t_s = frame_times(3.3, 30)
    a, b = plain.at(t_s), other.at(t_s)
    assert {name for name in DOFS if not np.array_equal(a[name], b[name])} == {"hip_drift_cm"}


def test_frames_come_at_the_frame_rate():
    t_s = frame_times(2.0, 30)
    assert len(t_s) == 60
    assert t_s[30] == 1.0
