from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from specdb.errors import ConditionsError
from specdb.trade import viscosity
from specdb.trade.viscosity import (
    ISO_VG,
    grade_band,
    nu100_from_index,
    viscosity_at,
    viscosity_band_at,
    viscosity_index,
    walther_constants,
)

usual_temperatures = st.floats(-20, 150)
oils = st.tuples(st.floats(10, 1000), st.floats(0.05, 0.3)).map(
    lambda oil: (oil[0], 40.0, max(2.1, oil[0] * oil[1]), 100.0)
)


@given(oils)
def test_the_two_points_come_back(oil):
    assert viscosity_at(40.0, *oil) == pytest.approx(oil[0], rel=1e-10)
    assert viscosity_at(100.0, *oil) == pytest.approx(oil[2], rel=1e-10)


@given(oils, usual_temperatures, usual_temperatures)
def test_viscosity_falls_as_temperature_rises(oil, one, other):
    cold, warm = sorted((one, other))
    assume(warm - cold > 1e-6)
    at_cold, at_warm = viscosity_at(np.array([cold, warm]), *oil)
    # Beyond 2e7 mm²/s the equation does not serve; that can happen at the cold end alone.
    assert at_cold > at_warm or np.isnan(at_cold)


@given(oils, st.floats(0, 60), st.floats(61, 120))
def test_any_two_points_of_a_line_give_the_same_line(oil, cold, warm):
    again = (viscosity_at(cold, *oil), cold, viscosity_at(warm, *oil), warm)
    assert viscosity_at(50.0, *again) == pytest.approx(viscosity_at(50.0, *oil), rel=1e-6)
    assert_allclose(walther_constants(*again), walther_constants(*oil), rtol=1e-6)


@given(oils)
def test_the_order_of_the_points_does_not_matter(oil):
    nu1, t1, nu2, t2 = oil
    assert viscosity_at(20.0, nu2, t2, nu1, t1) == pytest.approx(viscosity_at(20.0, *oil), rel=1e-9)


def test_thin_liquids_use_the_added_term():
    # Without the term, ν at 60 °C would follow log log (ν + 0.7) alone.
    thin = viscosity_at(60.0, 1.5, 20.0, 0.6, 100.0)

    def plain(nu):
        return math.log10(math.log10(nu + 0.7))

    def inverse_kelvin_log(t):
        return math.log10(t + 273.15)

    part = (inverse_kelvin_log(60) - inverse_kelvin_log(20)) / (inverse_kelvin_log(100) - inverse_kelvin_log(20))
    without = 10 ** 10 ** (plain(1.5) + part * (plain(0.6) - plain(1.5))) - 0.7
    assert 0.6 < thin < 1.5
    assert abs(thin / without - 1) > 1e-3
    # The whole formula, solved here by halving the interval instead.
    def whole(nu):
        return math.log10(math.log10(nu + 0.7 + math.exp(-1.47 - 1.84 * nu - 0.51 * nu**2)))

    goal = whole(1.5) + part * (whole(0.6) - whole(1.5))
    low, high = 0.6, 1.5
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if whole(middle) < goal else (low, middle)
    assert thin == pytest.approx(low, rel=1e-10)


@pytest.mark.parametrize(
    "arguments",
    [
        (-70.1, 46.0, 40.0, 6.8, 100.0),
        (340.1, 46.0, 40.0, 6.8, 100.0),
        (math.nan, 46.0, 40.0, 6.8, 100.0),
        (20.0, 46.0, -274.0, 6.8, 100.0),
        (20.0, 46.0, 40.0, 6.8, 40.0),
        (20.0, 6.8, 40.0, 46.0, 100.0),
        (20.0, 46.0, 40.0, 46.0, 100.0),
        (20.0, 46.0, 40.0, 0.2, 100.0),
        (20.0, 3e7, 40.0, 6.8, 100.0),
        (-60.0, 3000.0, 40.0, 3.0, 100.0),
        (340.0, 2.2, 40.0, 0.9, 100.0),
    ],
)
def test_outside_the_range_of_validity(arguments):
    with pytest.raises(ConditionsError):
        viscosity_at(*arguments)
    assert np.isnan(viscosity_at(*(np.array([part]) for part in arguments))).all()


@given(st.lists(oils, min_size=1, max_size=4), st.floats(0, 120))
def test_arrays_give_what_numbers_give(many, temperature):
    columns = np.array(many).T
    alone = [viscosity_at(temperature, *oil) for oil in many]
    assert_allclose(viscosity_at(np.full(len(many), temperature), *columns), alone, rtol=1e-12)
    assert_allclose(viscosity_at(temperature, columns[0], 40.0, columns[2], 100.0), alone, rtol=1e-12)
    assert_allclose(viscosity_at(np.array([temperature]), *many[0]), alone[:1], rtol=1e-12)


def test_single_numbers_give_plain_floats():
    assert type(viscosity_at(20.0, 46.0, 40.0, 6.8, 100.0)) is float
    assert type(viscosity_index(46.0, 6.8)) is float


@settings(max_examples=50, deadline=None)
@given(st.floats(10, 2000), st.floats(-50, 250))
def test_index_and_viscosity_at_100_invert_each_other(nu40, index):
    try:
        nu100 = nu100_from_index(nu40, index)
    except ConditionsError:
        assert viscosity_index(nu40, 2.0) > index
        return
    assert 2 <= nu100 < nu40
    assert viscosity_index(nu40, nu100) == pytest.approx(index, abs=1e-6)


@given(st.floats(10, 1000), st.floats(2, 9.9), st.floats(2, 9.9))
def test_index_rises_with_viscosity_at_100(nu40, one, other):
    low, high = sorted((one, other))
    assert viscosity_index(nu40, low) <= viscosity_index(nu40, high)


@pytest.mark.parametrize(
    ("nu40", "nu100"),
    [(10.0, 1.99), (5.0, 5.0), (5.0, 6.0), (math.inf, 5.0), (math.nan, 5.0), (46.0, math.nan)],
)
def test_an_index_that_is_not_defined_is_refused(nu40, nu100):
    with pytest.raises(ConditionsError):
        viscosity_index(nu40, nu100)


@pytest.mark.parametrize(
    ("nu40", "index"),
    [(2.2, 100.0), (1.0, 100.0), (10.0, -500.0), (46.0, 5000.0), (46.0, math.nan), (math.nan, 100.0)],
)
def test_an_index_no_oil_has_is_refused(nu40, index):
    with pytest.raises(ConditionsError):
        nu100_from_index(nu40, index)


@settings(max_examples=50, deadline=None)
@given(st.sampled_from([grade for grade in ISO_VG if 15 <= grade <= 460]), st.floats(80, 200), st.floats(-20, 100))
def test_a_grades_band_keeps_its_order_at_any_temperature(grade, index, temperature):
    low, middle, high = viscosity_band_at(temperature, grade, index)
    assert low < middle < high


def test_a_grades_band_at_its_own_temperature_is_the_grade():
    assert_allclose(viscosity_band_at(40.0, 46, 100.0), grade_band(46), rtol=1e-10)
    array = viscosity_band_at(np.array([0.0, 40.0, 400.0]), 46, 100.0)
    assert_allclose(np.array(array)[:, 0], viscosity_band_at(0.0, 46, 100.0), rtol=1e-12)
    assert np.isnan(np.array(array)[:, 2]).all()


def test_an_unknown_grade_is_refused_with_the_grades():
    with pytest.raises(ConditionsError, match="32, 46, 68"):
        grade_band(40)


def test_the_edge_of_the_index_is_defined():
    assert math.isfinite(viscosity_index(10.0, viscosity.LOWEST_NU100_MM2_S))
