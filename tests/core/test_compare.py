"""Averages and their differences, against the textbook's numbers and a library's."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.compare import average, difference, t_975

values = st.lists(st.floats(-100, 100).map(lambda v: round(v, 3)), min_size=3, max_size=40)


def pairs(readings, se=None):
    return [(value, se) for value in readings]


@pytest.mark.parametrize("freedom", [*range(1, 31), 31, 60, 500])
def test_the_factor_is_students_t_to_the_tables_rounding_and_never_smaller_beyond_it(freedom):
    stats = pytest.importorskip("scipy.stats")
    true = stats.t.ppf(0.975, freedom)
    if freedom <= 30:
        assert t_975(freedom) == pytest.approx(true, abs=6e-4)
    else:
        assert true < t_975(freedom) < 1.05 * true


def test_between_two_rows_of_the_table_the_more_careful_one_is_taken():
    assert t_975(7.9) == t_975(7) > t_975(8)


def test_less_than_one_degree_of_freedom_is_refused():
    with pytest.raises(ValueError, match="1 or more"):
        t_975(0.5)


@given(before=values, after=values)
def test_an_interval_without_stated_errors_is_welchs_or_a_little_wider(before, after):
    stats = pytest.importorskip("scipy.stats")
    if np.std(before) < 1e-3 or np.std(after) < 1e-3:
        return  # without a spread there is no interval to compare with
    found = difference(average(pairs(before)), average(pairs(after)))
    welch = stats.ttest_ind(after, before, equal_var=False).confidence_interval(0.95)
    half = (welch.high - welch.low) / 2
    assert found.value == pytest.approx((welch.high + welch.low) / 2, abs=1e-9)
    # The table knows whole degrees of freedom, and nothing beyond 30.
    widest = t_975(1) / stats.t.ppf(0.975, 1.99)
    assert half * 0.999 <= found.pm <= half * widest


def test_readings_not_made_count_as_nothing_and_not_as_zero():
    found = average([(80.0, 6.0), (None, None), (90.0, 8.0)])
    assert (found.count, found.mean) == (2, 85.0)
    assert found.reading_se == pytest.approx(np.sqrt((36 + 64) / 2))
    assert average([(None, None), (None, 3.0)]) is None


def test_one_reading_has_no_spread():
    found = average([(80.0, 6.0)])
    assert found.sd is None
    assert found.se is None


def test_many_equal_readings_do_not_make_a_camera_sure():
    before = average(pairs([80.0, 80.1, 79.9] * 30, se=6.0))
    after = average(pairs([85.0, 85.1, 84.9] * 30, se=6.0))
    found = difference(before, after)
    assert found.value == pytest.approx(5.0)
    assert found.pm == pytest.approx(6.0)
    assert not found.changed
    assert difference(before, average(pairs([87.0, 87.1, 86.9], se=6.0))).changed


def test_a_difference_just_as_large_as_its_pm_is_no_change():
    before = average(pairs([80.0] * 3, se=5.0))
    assert not difference(before, average(pairs([85.0] * 3, se=5.0))).changed


def test_two_readings_on_a_side_are_too_few_to_say():
    three = average(pairs([1.0, 2.0, 3.0]))
    assert difference(three, average(pairs([1.0, 2.0]))) is None
    assert difference(None, three) is None
