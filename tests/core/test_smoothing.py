"""The One Euro filter against its authors' numbers and their own package."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from OneEuroFilter import OneEuroFilter  # PyPI "OneEuroFilter", by the filter's authors

from trainer.core.smoothing import OneEuroRules, one_euro, smoothing_factor


def filtered(times, values, rules):
    state, out = None, []
    for t_s, value in zip(times, values, strict=True):
        state, result = one_euro(state, t_s, np.asarray(value, dtype=float), rules)
        out.append(result)
    return np.array(out)


def test_the_authors_ground_truth_is_met():
    # First rows of groundTruth.csv in the authors' repository (casiez/OneEuroFilter):
    # 120 Hz, mincutoff 1, beta 0.1, dcutoff 1; printed to 7 digits
    noisy = [-0.0385099, -0.0280664, 0.048622, 0.111498, 0.053026, 0.120548]
    expected = [-0.0385099, -0.0379872, -0.0334427, -0.0252696, -0.0207099, -0.0119912]
    out = filtered(np.arange(6) / 120, noisy, OneEuroRules(beta=0.1))
    np.testing.assert_allclose(out, expected, atol=3e-7)


def test_worked_examples_at_30_pictures_a_second():
    # Worked through by hand from the paper's equations (Casiez et al. 2012)
    times = np.arange(7) / 30
    out = filtered(times, [0, 0, 10, 20, 30, 30, 30], OneEuroRules(beta=0.1))
    expected = [0, 0, 5.647449, 16.090002, 27.076506, 29.344742, 29.834936]
    np.testing.assert_allclose(out, expected, atol=1e-6)
    out = filtered(times, [0, 1, 1, 1, 1, 1, 1], OneEuroRules(beta=0.0))
    expected = [0, 0.173171, 0.316353, 0.434741, 0.532627, 0.613563, 0.680482]
    np.testing.assert_allclose(out, expected, atol=1e-6)


def test_the_smoothing_factor_is_the_papers():
    assert smoothing_factor(1.0, 1 / 30) == pytest.approx(0.173171, abs=1e-6)
    assert smoothing_factor(1.0, 1 / 60) == pytest.approx(0.094793, abs=1e-6)
    assert smoothing_factor(6.195122, 1 / 30) == pytest.approx(0.564745, abs=1e-6)


@settings(max_examples=25)
@given(
    seed=st.integers(0, 10_000),
    min_cutoff=st.floats(0.2, 5),
    beta=st.floats(0, 2),
    d_cutoff=st.floats(0.3, 3),
)
def test_a_long_uneven_series_comes_out_as_from_the_authors_package(
    seed, min_cutoff, beta, d_cutoff
):
    rng = np.random.default_rng(seed)
    # Their package takes time 0.0 for "no time given", so its clock starts above 0. A gap longer
    # than gap_s is a rule of ours, so the steps stay below it.
    times = 1.0 + np.cumsum(rng.uniform(0.004, 0.2, 400))
    values = np.cumsum(rng.normal(0, 1.0, (400, 2)), axis=0)
    ours = filtered(
        times,
        values,
        OneEuroRules(min_cutoff_hz=min_cutoff, beta=beta, d_cutoff_hz=d_cutoff),
    )
    for column in range(2):
        theirs = OneEuroFilter(30.0, min_cutoff, beta, d_cutoff)
        expected = [
            theirs(float(x), float(t)) for t, x in zip(times, values[:, column], strict=True)
        ]
        np.testing.assert_allclose(ours[:, column], expected, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize(("cutoff", "lag_ms"), [(1, 159), (2, 80), (4, 40), (6, 26.5), (10, 16)])
def test_a_ramp_comes_out_late_by_one_over_two_pi_cutoff(cutoff, lag_ms):
    # Steady state of an exponential filter on a ramp: (1 - alpha) / alpha * Te = 1 / (2 pi fc)
    times = np.arange(600) / 60
    out = filtered(times, times, OneEuroRules(min_cutoff_hz=cutoff, beta=0.0))
    lag_s = times[-1] - out[-1]
    assert lag_s == pytest.approx(1 / (2 * np.pi * cutoff), rel=1e-6)
    assert 1000 * lag_s == pytest.approx(lag_ms, abs=0.5)


def test_after_a_gap_the_filter_starts_anew():
    rules = OneEuroRules(min_cutoff_hz=1.0, beta=0.0, gap_s=0.25)
    state, _ = one_euro(None, 0.0, np.array([0.0]), rules)
    state, _ = one_euro(state, 0.1, np.array([5.0]), rules)
    assert state.speed[0] > 0
    _, within = one_euro(state, 0.1 + 0.249, np.array([9.0]), rules)
    assert within[0] < 9.0
    after, passed = one_euro(state, 0.1 + 0.251, np.array([9.0]), rules)
    assert passed[0] == 9.0
    assert after.speed[0] == 0.0


@pytest.mark.parametrize("t_s", [1.0, 0.999, -5.0])
def test_time_that_does_not_increase_raises(t_s):
    state, _ = one_euro(None, 1.0, np.zeros(2), OneEuroRules())
    with pytest.raises(ValueError, match="time must increase"):
        one_euro(state, t_s, np.zeros(2), OneEuroRules())


def test_a_clock_that_starts_at_zero_is_no_missing_clock():
    rules = OneEuroRules(beta=0.1)
    values = [0.0, 1.0, 3.0, 2.0]
    at_zero = filtered(np.arange(4) / 30, values, rules)
    later = filtered(5.0 + np.arange(4) / 30, values, rules)
    np.testing.assert_allclose(at_zero, later, atol=1e-9)


@given(scale=st.floats(0.1, 10), seed=st.integers(0, 1000))
def test_the_unit_does_not_matter_when_beta_goes_with_it(scale, seed):
    values = np.random.default_rng(seed).normal(0, 3, 40)
    times = np.arange(40) / 30
    plain = filtered(times, values, OneEuroRules(beta=0.2))
    scaled = filtered(times, values * scale, OneEuroRules(beta=0.2 / scale))
    np.testing.assert_allclose(scaled / scale, plain, rtol=1e-9, atol=1e-9)
