"""Curves as bytes: nothing but rounding is lost, and no bytes do harm."""

import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.store.packing import pack_curves, unpack_curves
from trainer.store.records import Curves

readings = st.one_of(st.just(float("nan")), st.floats(-1e6, 1e6))
settings.register_profile("store", deadline=None)
settings.load_profile("store")


@given(st.lists(st.tuples(st.floats(-60.0, 7000.0), readings, readings), min_size=1, max_size=50))
def test_any_readings_come_back_to_within_half_a_step(rows):
    t_s, one, two = (np.array(column) for column in zip(*rows, strict=True))
    names, count, packed = pack_curves(Curves(t_s=t_s, columns={"a": one, "b": two}))
    back = unpack_curves(names, count, packed)
    np.testing.assert_allclose(back.t_s, t_s, atol=0.5001e-4)
    np.testing.assert_allclose(back.columns["a"], one, atol=0.5001e-2, equal_nan=True)
    np.testing.assert_allclose(back.columns["b"], two, atol=0.5001e-2, equal_nan=True)


@given(st.binary(max_size=200), st.integers(-1, 100), st.integers(0, 30))
def test_bytes_from_anywhere_are_curves_or_a_clear_no(packed, count, columns):
    try:
        curves = unpack_curves([str(n) for n in range(columns)], count, packed)
    except ValueError:
        return
    assert curves.t_s.shape == (count,)


def test_bytes_that_unpack_to_more_than_was_said_are_refused_early():
    """A small blob may hold gigabytes; only as many bytes as the table says are unpacked."""
    bomb = zlib.compress(bytes(50_000_000))
    with pytest.raises(ValueError, match="wanted"):
        unpack_curves(["a"], 10, bomb)
    with pytest.raises(ValueError, match="readings"):
        unpack_curves(["a"], 10**9, bomb)
