"""Life by the dirt that is held: inverses, bounds in and bounds out, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.errors import ConditionsError
from specdb.trade.service_life import (
    capacity_needed_g,
    cost_per_1000_h,
    cost_per_gram,
    relative_bounds,
    service_interval_h,
)

positive = st.floats(1e-3, 1e6)
share = st.floats(0.001, 1)


@given(positive, positive, share)
def test_interval_and_capacity_undo_each_other(interval, ingression, used):
    needed = capacity_needed_g(interval, ingression, used)
    assert service_interval_h(needed, ingression, used) == pytest.approx(interval)


@given(positive, positive, positive, share)
def test_each_bound_of_a_capacity_gives_its_own_of_the_interval(one, other, ingression, used):
    low, high = sorted((one, other))
    assert service_interval_h(low, ingression, used) <= service_interval_h(high, ingression, used)
    assert service_interval_h(math.inf, ingression, used) == math.inf
    assert service_interval_h(0.0, ingression, used) == 0


def test_without_ingression_it_never_fills():
    assert service_interval_h(60.0, 0.0) == math.inf
    found = service_interval_h(np.array([60.0, math.nan, -1.0]), 0.0)
    assert np.isnan(found).tolist() == [False, True, True]
    with pytest.raises(ConditionsError, match="needs no capacity"):
        capacity_needed_g(1000.0, 0.0)


@given(positive, positive, positive, positive)
def test_the_ratio_of_two_within_their_bounds_lies_within_its_bounds(one, other, third, fourth):
    low, high = sorted((one, other))
    other_low, other_high = sorted((third, fourth))
    least, most = relative_bounds(low, high, other_low, other_high)
    for value in (low, high):
        for by in (other_low, other_high):
            assert least * (1 - 1e-12) <= value / by <= most * (1 + 1e-12)


def test_what_nothing_bounds_has_no_bound_relative_to_another():
    assert relative_bounds(60.0, math.inf, 50.0, 66.0) == (pytest.approx(60 / 66), math.inf)
    assert relative_bounds(60.0, 60.0, 0.0, math.inf) == (0.0, math.inf)


@given(positive, positive, positive, positive)
def test_costs_fall_as_life_and_capacity_grow(one, other, price, change):
    low, high = sorted((one, other))
    assert cost_per_1000_h(low, price, change) >= cost_per_1000_h(high, price, change)
    assert cost_per_gram(low, price) >= cost_per_gram(high, price)
    assert cost_per_1000_h(math.inf, price, change) == 0


@pytest.mark.parametrize(
    ("sum_of", "why"),
    [
        (lambda: service_interval_h(60.0, -0.1), "ingression"),
        (lambda: service_interval_h(60.0, math.nan), "ingression"),
        (lambda: service_interval_h(60.0, 0.1, 0.0), "share"),
        (lambda: service_interval_h(60.0, 0.1, 1.01), "share"),
        (lambda: service_interval_h(-60.0, 0.1), "capacity"),
        (lambda: capacity_needed_g(0.0, 0.1), "interval"),
        (lambda: capacity_needed_g(math.inf, 0.1), "interval"),
        (lambda: cost_per_1000_h(0.0, 40.0), "interval"),
        (lambda: cost_per_1000_h(100.0, -40.0), "price"),
        (lambda: cost_per_1000_h(100.0, 40.0, -1.0), "change"),
        (lambda: cost_per_gram(0.0, 40.0), "capacity"),
        (lambda: cost_per_gram(60.0, math.inf), "price"),
    ],
)
def test_what_no_life_has_is_refused(sum_of, why):
    with pytest.raises(ConditionsError, match=why):
        sum_of()
