from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.errors import ConditionsError
from specdb.trade.size_scales import ACFTD_TO_C, acftd_to_c, c_to_acftd

acftd_sizes = st.floats(1, 100)


@given(acftd_sizes)
def test_scales_invert_each_other(size):
    assert c_to_acftd(acftd_to_c(size)) == pytest.approx(size, rel=1e-12)


@given(acftd_sizes, acftd_sizes)
def test_a_larger_particle_is_larger_on_both_scales(one, other):
    low, high = sorted((one, other))
    assert acftd_to_c(low) <= acftd_to_c(high)
    if high - low > 1e-9:
        assert acftd_to_c(low) < acftd_to_c(high)


def test_every_step_of_the_table_rises():
    assert all(a < b and c < d for (a, c), (b, d) in pairwise(ACFTD_TO_C.items()))


def test_table_points_are_exact_both_ways():
    for acftd, c in ACFTD_TO_C.items():
        assert acftd_to_c(float(acftd)) == c
        assert c_to_acftd(c) == acftd


def test_between_two_points_lies_a_straight_line():
    assert acftd_to_c(45.0) == pytest.approx((31.7 + 38.2) / 2)
    assert c_to_acftd((38.2 + 70.0) / 2) == pytest.approx(75.0)


@pytest.mark.parametrize("size", [0.99, 100.1, 0.0, -1.0, math.nan, math.inf])
def test_acftd_sizes_outside_the_table_are_refused(size):
    with pytest.raises(ConditionsError, match="1 to 100"):
        acftd_to_c(size)


@pytest.mark.parametrize("size", [4.19, 70.1, 0.0, math.nan])
def test_c_sizes_outside_the_table_are_refused(size):
    with pytest.raises(ConditionsError, match=r"4\.2 to 70"):
        c_to_acftd(size)


@given(st.lists(acftd_sizes, min_size=1, max_size=5))
def test_arrays_give_what_numbers_give_and_nan_outside(sizes):
    array = acftd_to_c(np.array([*sizes, 0.5, 101.0]))
    assert array[:-2].tolist() == [acftd_to_c(size) for size in sizes]
    assert np.isnan(array[-2:]).all()
    assert c_to_acftd(array)[:-2].tolist() == [c_to_acftd(float(size)) for size in array[:-2]]
