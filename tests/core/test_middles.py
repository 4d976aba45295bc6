"""Medians and shares over the first axis, against numpy's own."""

import numpy as np
import pytest

from trainer.core import middles


@pytest.mark.parametrize("count", [1, 2, 5, 6, 37])
def test_medians_and_shares_are_those_of_numpy(count):
    values = np.random.default_rng(count).normal(size=(count, 4, 3))
    np.testing.assert_allclose(middles.median(values), np.median(values, axis=0), rtol=1e-15)
    ordered = np.sort(values, axis=0)
    for part in (0.0, 0.1, 0.5, 0.9, 1.0):
        told = middles.share(ordered, part)
        np.testing.assert_allclose(told, np.quantile(values, part, axis=0), atol=1e-14)
