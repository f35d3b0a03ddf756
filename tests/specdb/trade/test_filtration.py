from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from specdb.errors import ConditionsError
from specdb.trade.filtration import (
    CUSTOMARY_PAIRS,
    CUSTOMARY_RATIOS,
    beta_from_efficiency,
    customary_beta,
    efficiency_band,
    efficiency_from_beta,
    interpolate_ratio,
    ratio_from_counts,
    rounded_down_ratio,
    size_at_ratio,
)

betas = st.floats(1e-3, 1e6)
sizes = st.floats(1, 100)


@st.composite
def curves(draw):
    """Two tested points, size and β both rising by a discernible amount."""
    below, step = draw(sizes), draw(st.floats(0.1, 50))
    beta, factor = draw(st.floats(0.5, 1e4)), draw(st.floats(1.1, 1e3))
    return below, beta, below + step, beta * factor


@given(st.floats(1.0001, 1e6))
def test_efficiency_and_ratio_invert_each_other(beta):
    assert beta_from_efficiency(efficiency_from_beta(beta)) == pytest.approx(beta, rel=1e-6)


@given(betas, betas)
def test_efficiency_never_falls_as_ratio_rises(one, other):
    low, high = sorted((one, other))
    assert efficiency_from_beta(low) <= efficiency_from_beta(high) < 100


def test_a_ratio_below_one_is_a_negative_efficiency():
    assert efficiency_from_beta(0.8) == pytest.approx(-25.0)
    assert beta_from_efficiency(-25.0) == pytest.approx(0.8)


def test_nothing_passing_is_a_hundred_percent():
    assert efficiency_from_beta(math.inf) == 100.0


@pytest.mark.parametrize("efficiency", [100.0, 100.1, math.inf, -math.inf, math.nan])
def test_an_efficiency_without_a_ratio_is_refused(efficiency):
    with pytest.raises(ConditionsError):
        beta_from_efficiency(efficiency)
    assert np.isnan(beta_from_efficiency(np.array([efficiency]))).all()


@pytest.mark.parametrize("beta", [0.0, -1.0, math.nan])
def test_a_ratio_not_above_zero_is_refused(beta):
    with pytest.raises(ConditionsError):
        efficiency_from_beta(beta)
    assert np.isnan(efficiency_from_beta(np.array([beta]))).all()


@given(st.lists(betas, min_size=1, max_size=5))
def test_arrays_give_what_numbers_give(values):
    array = np.array(values)
    assert efficiency_from_beta(array).tolist() == [efficiency_from_beta(value) for value in values]
    percent = np.minimum(100 - 1 / array, 99.99)
    assert beta_from_efficiency(percent).tolist() == [beta_from_efficiency(float(value)) for value in percent]


@pytest.mark.parametrize(
    ("upstream", "downstream"), [(10.0, 0.0), (0.0, 10.0), (-1.0, 1.0), (math.inf, 1.0), (1.0, math.inf)]
)
def test_counts_of_nothing_prove_no_ratio(upstream, downstream):
    with pytest.raises(ConditionsError):
        ratio_from_counts(upstream, downstream)
    assert np.isnan(ratio_from_counts(np.array([upstream]), np.array([downstream]))).all()


def test_only_the_printed_pairs_are_customary():
    assert {printed: customary_beta(printed) for printed in CUSTOMARY_PAIRS} == CUSTOMARY_PAIRS
    assert customary_beta(98.67) is None
    assert customary_beta(98.0) is None
    assert customary_beta(100.0) is None


@pytest.mark.parametrize(
    ("beta", "ratio"),
    [(1.99, None), (0.5, None), (2, 2), (9.9, 2), (74, 20), (75, 75), (75 * (1 - 1e-10), 75), (199, 100), (9e9, 1000)],
)
def test_a_measured_ratio_is_rounded_down_to_a_customary_one(beta, ratio):
    assert rounded_down_ratio(beta) == ratio


@given(betas)
def test_rounding_down_never_rounds_up(beta):
    ratio = rounded_down_ratio(beta)
    assert (ratio is None) == (beta < 2 * (1 - 1e-9))
    if ratio is not None:
        assert ratio <= beta * (1 + 1e-9)
        assert all(other <= ratio or other > beta for other in CUSTOMARY_RATIOS)


@given(st.integers(0, 9999), st.sampled_from([1.0, 0.1, 0.01]))
def test_the_band_of_a_printed_efficiency_holds_it(hundredths, resolution):
    efficiency = hundredths / 100
    low, high = efficiency_band(efficiency, resolution)
    assert low < beta_from_efficiency(efficiency) < high


def test_a_printed_efficiency_that_may_be_all_has_no_upper_end():
    assert efficiency_band(99.5, 1.0)[1] == math.inf
    assert efficiency_band(99.95, 0.1)[1] == math.inf
    assert efficiency_band(100.0, 1.0) == (pytest.approx(200.0), math.inf)
    assert efficiency_band(99.9, 0.1)[1] == pytest.approx(2000.0)


@pytest.mark.parametrize(("efficiency", "resolution"), [(100.1, 0.1), (math.nan, 0.1), (98.0, 0.0), (98.0, math.nan)])
def test_an_impossible_printed_efficiency_is_refused(efficiency, resolution):
    with pytest.raises(ConditionsError):
        efficiency_band(efficiency, resolution)


@given(curves())
def test_tested_points_are_read_off_exactly(curve):
    below, beta_below, above, beta_above = curve
    assert interpolate_ratio(below, *curve) == beta_below
    assert interpolate_ratio(above, *curve) == beta_above
    assert size_at_ratio(beta_below, *curve) == below
    assert size_at_ratio(beta_above, *curve) == above


@given(curves(), st.floats(0, 1), st.floats(0, 1))
def test_a_rising_curve_rises_between_its_points_and_inverts(curve, one, other):
    below, beta_below, above, beta_above = curve
    first, second = (min(below + part * (above - below), above) for part in sorted((one, other)))
    low, high = interpolate_ratio(first, *curve), interpolate_ratio(second, *curve)
    assert beta_below * (1 - 1e-12) <= low <= high * (1 + 1e-12) <= beta_above * (1 + 1e-11)
    if beta_below <= low <= beta_above:
        assert size_at_ratio(low, *curve) == pytest.approx(first, rel=1e-9)


def test_the_middle_size_has_the_geometric_mean():
    assert interpolate_ratio(7.5, 5.0, 10.0, 10.0, 1000.0) == pytest.approx(100.0)
    assert interpolate_ratio(7.5, 5.0, 1000.0, 10.0, 10.0) == pytest.approx(100.0)


@pytest.mark.parametrize(
    "arguments",
    [
        (4.9, 5.0, 20.0, 10.0, 200.0),
        (10.1, 5.0, 20.0, 10.0, 200.0),
        (5.0, 5.0, 20.0, 5.0, 200.0),
        (7.0, 10.0, 20.0, 5.0, 200.0),
        (7.0, 5.0, 0.0, 10.0, 200.0),
        (7.0, 5.0, 20.0, 10.0, math.inf),
        (math.nan, 5.0, 20.0, 10.0, 200.0),
    ],
)
def test_nothing_is_extrapolated_or_read_from_an_impossible_curve(arguments):
    with pytest.raises(ConditionsError):
        interpolate_ratio(*arguments)
    assert np.isnan(interpolate_ratio(*(np.array([part]) for part in arguments))).all()


@pytest.mark.parametrize(
    "arguments",
    [
        (19.0, 5.0, 20.0, 10.0, 200.0),
        (201.0, 5.0, 20.0, 10.0, 200.0),
        (20.0, 5.0, 20.0, 10.0, 20.0),
        (75.0, 10.0, 20.0, 5.0, 200.0),
        (0.0, 5.0, 20.0, 10.0, 200.0),
    ],
)
def test_a_size_is_not_read_where_the_curve_does_not_reach(arguments):
    with pytest.raises(ConditionsError):
        size_at_ratio(*arguments)
    with np.errstate(invalid="raise", divide="raise"):
        assert np.isnan(size_at_ratio(*(np.array([part]) for part in arguments))).all()


@given(st.lists(curves(), min_size=1, max_size=4), st.floats(0, 1))
def test_arrays_of_curves_give_what_each_gives(many, part):
    columns = np.array(many).T
    asked = columns[0] + part * (columns[2] - columns[0])
    asked = np.clip(asked, columns[0], columns[2])
    alone = [interpolate_ratio(float(size), *curve) for size, curve in zip(asked, many, strict=True)]
    assert_allclose(interpolate_ratio(asked, *columns), alone, rtol=1e-12)
    middle = np.sqrt(columns[1] * columns[3])
    alone = [size_at_ratio(float(beta), *curve) for beta, curve in zip(middle, many, strict=True)]
    assert_allclose(size_at_ratio(middle, *columns), alone, rtol=1e-12)
