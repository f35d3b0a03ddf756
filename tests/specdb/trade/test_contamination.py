from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from specdb.errors import ConditionsError
from specdb.trade.contamination import (
    ENVIRONMENTS,
    count_after,
    count_downstream,
    count_upstream,
    floor_per_ml,
    flow_for_floor,
    ingression_at_most,
    ingression_for_floor,
    ratio_needed,
)
from specdb.units import show_plain

ratios = st.floats(1.001, 1e5)
flows = st.floats(1, 1000)
rates = st.floats(1e3, 1e11)
counts = st.floats(1e-3, 1e6)
sides = st.sampled_from(("upstream", "downstream"))


@given(ratios, rates, flows)
def test_what_the_filter_holds_back_is_what_gets_in(ratio, rate, flow):
    upstream, downstream = count_upstream(ratio, rate, flow), count_downstream(ratio, rate, flow)
    assert upstream / downstream == pytest.approx(ratio)
    assert (upstream - downstream) * flow * 1000 == pytest.approx(rate)


@given(ratios, rates, flows, sides)
def test_count_and_ratio_undo_each_other(ratio, rate, flow, side):
    count = (count_upstream if side == "upstream" else count_downstream)(ratio, rate, flow)
    # Upstream the count hardly tells large ratios apart: what is lost in its last digits is lost of the ratio.
    assert ratio_needed(count, rate, flow, side) == pytest.approx(ratio, rel=1e-12 * max(1e3, ratio))


@given(counts, rates, flows, sides)
def test_the_ratio_needed_holds_the_count(count, rate, flow, side):
    assume(side == "downstream" or count > floor_per_ml(rate, flow) * (1 + 1e-6))
    ratio = ratio_needed(count, rate, flow, side)
    assert ratio > 1
    held = count_upstream(ratio, rate, flow) if side == "upstream" else count_downstream(ratio, rate, flow)
    assert held == pytest.approx(count, rel=1e-6)


@given(st.lists(ratios, min_size=2, max_size=2, unique=True), rates, flows)
def test_a_higher_ratio_leaves_fewer_on_both_sides_and_never_less_than_the_floor(pair, rate, flow):
    low, high = sorted(pair)
    assert floor_per_ml(rate, flow) <= count_upstream(high, rate, flow) <= count_upstream(low, rate, flow)
    assert 0 < count_downstream(high, rate, flow) < count_downstream(low, rate, flow)


@given(ratios, st.lists(rates, min_size=2, max_size=2), st.lists(flows, min_size=2, max_size=2))
def test_more_ingression_or_less_flow_leaves_more(ratio, two_rates, two_flows):
    assert count_upstream(ratio, min(two_rates), max(two_flows)) <= count_upstream(
        ratio, max(two_rates), min(two_flows)
    )


@given(st.lists(counts, min_size=2, max_size=2), rates, flows, sides)
def test_a_cleaner_target_takes_a_higher_ratio(pair, rate, flow, side):
    cleaner, dirtier = sorted(pair)
    assume(side == "downstream" or cleaner > floor_per_ml(rate, flow))
    assert ratio_needed(cleaner, rate, flow, side) >= ratio_needed(dirtier, rate, flow, side)


def test_limits():
    floor = floor_per_ml(1e8, 100.0)
    assert count_upstream(math.inf, 1e8, 100.0) == floor == 1000
    assert count_downstream(math.inf, 1e8, 100.0) == 0
    assert count_upstream(1 + 1e-9, 1e8, 100.0) > 1e11
    for side in ("upstream", "downstream"):
        assert ratio_needed(1e15, 1e8, 100.0, side) == pytest.approx(1)
        # Nothing gets in: the limit 1, for any count.
        assert ratio_needed(0.0, 0.0, 100.0, side) == ratio_needed(5.0, 0.0, 100.0, side) == 1
    assert count_upstream(2.0, 0.0, 100.0) == count_downstream(2.0, 0.0, 100.0) == 0


@given(counts, rates, flows)
def test_where_no_ratio_holds_a_count_it_is_said_what_would(count, rate, flow):
    assume(count <= floor_per_ml(rate, flow))
    with pytest.raises(ConditionsError, match="No filtration ratio") as error:
        ratio_needed(count, rate, flow)
    more, fewer = flow_for_floor(count, rate), ingression_for_floor(count, flow)
    assert f"more than {show_plain(more)} L/min" in error.value.remedy
    assert f"fewer than {show_plain(fewer)} particles per minute" in error.value.remedy
    assert ratio_needed(count, rate, more * 1.01) > 1
    assert ratio_needed(count, fewer * 0.99, flow) > 1


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (count_upstream, (1.0, 1e8, 100.0)),
        (count_downstream, (0.5, 1e8, 100.0)),
        (count_upstream, (math.nan, 1e8, 100.0)),
        (count_upstream, (2.0, -1.0, 100.0)),
        (count_upstream, (2.0, math.inf, 100.0)),
        (count_upstream, (2.0, 1e8, 0.0)),
        (ratio_needed, (-1.0, 1e8, 100.0)),
        (ratio_needed, (math.nan, 1e8, 100.0)),
        (ratio_needed, (math.inf, 1e8, 100.0)),
        (ratio_needed, (0.0, 1e8, 100.0)),
        (ratio_needed, (1000.0, 1e8, 100.0)),
        (ratio_needed, (0.0, 1e8, 100.0, "downstream")),
        (ratio_needed, (10.0, 1e8, math.nan)),
        (count_after, (-1.0, 0.0, 2.0, 1e8, 100.0, 200.0)),
        (count_after, (1.0, -1.0, 2.0, 1e8, 100.0, 200.0)),
        (count_after, (1.0, 0.0, 0.9, 1e8, 100.0, 200.0)),
        (count_after, (1.0, 0.0, 2.0, 1e8, 100.0, 0.0)),
        (ingression_at_most, ("orbit", 14.0)),
    ],
)
def test_what_has_no_balance_is_refused(function, arguments):
    with pytest.raises(ConditionsError) as error:
        function(*arguments)
    assert error.value.remedy


def test_arrays_keep_what_is_valid():
    ratio = np.array([2.0, 75.0, 1.0, np.nan, np.inf])
    assert_allclose(count_upstream(ratio, 1e8, 100.0), [2000, 1000 * 75 / 74, np.nan, np.nan, 1000])
    assert_allclose(count_downstream(ratio, 1e8, 100.0), [1000, 1000 / 74, np.nan, np.nan, 0])
    count = np.array([2000.0, 1000.0, 0.0, -1.0, np.inf])
    assert_allclose(ratio_needed(count, 1e8, 100.0), [2, np.nan, np.nan, np.nan, np.nan])
    assert_allclose(ratio_needed(count, 1e8, 100.0, "downstream"), [1.5, 2, np.nan, np.nan, np.nan])
    assert_allclose(ratio_needed(count, 0.0, 100.0), [1, 1, 1, np.nan, np.nan])
    times = np.array([0.0, 1e9, -1.0])
    assert_allclose(count_after(times, 5.0, 2.0, 1e8, 100.0, 200.0), [5, 2000, np.nan])


@given(st.floats(0, 1e5), st.floats(1, 1e4), rates, flows, st.floats(1, 1000), st.floats(0, 100), st.floats(0, 100))
def test_two_stretches_of_time_are_one(start, ratio, rate, flow, volume, first, second):
    def after(minutes, from_count):
        return count_after(minutes, from_count, ratio, rate, flow, volume)

    assert after(0.0, start) == pytest.approx(start)
    assert after(second, after(first, start)) == pytest.approx(after(first + second, start), rel=1e-9)


@pytest.mark.parametrize("ratio", [1.0, 1.0001, 2.0, 75.0, math.inf])
@pytest.mark.parametrize("start", [0.0, 3000.0])
def test_the_way_to_the_balance(ratio, start):
    # Step by step: what gets in, less what the filter catches of what flows through it.
    count, steps, minutes = start, 20_000, 3.0
    for _ in range(steps):
        count += (1e8 - 100e3 * count * (1 - 1 / ratio)) * minutes / steps / 200e3
    assert count_after(minutes, start, ratio, 1e8, 100.0, 200.0) == pytest.approx(count, rel=2e-4)


def test_an_environment_bounds_14_from_above_and_says_nothing_of_smaller_particles():
    for name, (least, most) in ENVIRONMENTS.items():
        assert 0 < least < most
        assert ingression_at_most(name, 14.0) == (least, most)
        assert ingression_at_most(name, 4.0) is ingression_at_most(name, 6.0) is None


def test_each_environment_is_dirtier_than_the_one_before():
    # Of the figures, which are from memory, no more is held to than their order: assembly, manufacturing, mobile.
    assert [*ENVIRONMENTS] == ["assembly", "manufacturing", "mobile"]
    for cleaner, dirtier in pairwise(ENVIRONMENTS.values()):
        assert all(one < other for one, other in zip(cleaner, dirtier, strict=True))
