"""Sums of the place in the circuit: limits, inverses, and what each refuses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.errors import ConditionsError
from specdb.trade.circuit import (
    SUCTION_DROP_AT_MOST_KPA,
    area_ratio_of,
    breather_air_flow_l_min,
    breather_air_flow_of_cycles_l_min,
    bypass_full_flow_drop_kpa,
    greatest_element_drop_kpa,
    return_flow_l_min,
    rod_volume_l,
    suction_drop_allowed_kpa,
    turnover_flow_l_min,
    turnovers_per_hour_of,
)

NO_NUMBERS = (0.0, -1.0, math.inf, math.nan)
positive = st.floats(1e-3, 1e6)


def test_the_area_ratio_of_a_cylinder_is_that_of_its_two_areas():
    # A rod of bore / √2 leaves half the area: 2 : 1.
    assert area_ratio_of(100.0, 100 / math.sqrt(2)) == pytest.approx(2)
    assert area_ratio_of(100.0, 0.0) == 1
    both = area_ratio_of(np.array([100.0, 100.0]), np.array([60.0, 100.0]))
    assert both == pytest.approx([1.5625, math.nan], nan_ok=True)
    for bore, rod in ((100.0, 100.0), (100.0, 101.0), (math.inf, 1.0), (100.0, -1.0), (math.nan, 1.0)):
        with pytest.raises(ConditionsError, match="thinner"):
            area_ratio_of(bore, rod)


@given(positive, st.floats(1, 100))
def test_no_less_comes_back_than_the_pump_gives(flow, ratio):
    assert return_flow_l_min(flow, ratio) >= flow
    assert return_flow_l_min(flow) == flow


@pytest.mark.parametrize("ratio", [0.99, *NO_NUMBERS])
def test_no_cylinder_has_an_area_ratio_below_1(ratio):
    with pytest.raises(ConditionsError, match="1 or more"):
        return_flow_l_min(60.0, ratio)


@given(positive, positive)
def test_turnovers_and_flow_undo_each_other(volume, turnovers):
    assert turnovers_per_hour_of(turnover_flow_l_min(volume, turnovers), volume) == pytest.approx(turnovers)


def test_a_bypass_at_full_flow_takes_what_is_stated_else_the_customary_factor():
    assert bypass_full_flow_drop_kpa(170.0) == pytest.approx(255)
    assert bypass_full_flow_drop_kpa(170.0, factor=2.0) == pytest.approx(340)
    assert bypass_full_flow_drop_kpa(170.0, 300.0) == bypass_full_flow_drop_kpa(None, 300.0) == 300
    assert bypass_full_flow_drop_kpa(None) is None
    with pytest.raises(ConditionsError, match="below its cracking"):
        bypass_full_flow_drop_kpa(170.0, 169.0)
    with pytest.raises(ConditionsError, match="no less than"):
        bypass_full_flow_drop_kpa(170.0, factor=0.9)


@pytest.mark.parametrize(
    ("location", "stated", "expected"),
    [
        ("pressure", {"relief_kpa": 25_000.0, "cold_drop_kpa": 3_000.0}, 25_000),
        ("pressure", {"relief_kpa": 2_000.0, "cold_drop_kpa": 3_000.0}, 3_000),
        ("pressure", {"relief_kpa": 2_000.0}, 2_000),
        ("pressure", {"cold_drop_kpa": 3_000.0}, None),  # dirt can press harder than cold oil
        ("suction", {}, SUCTION_DROP_AT_MOST_KPA),
        ("suction", {"relief_kpa": 25_000.0}, SUCTION_DROP_AT_MOST_KPA),
        ("return", {"relief_kpa": 25_000.0, "cold_drop_kpa": 300.0}, None),
        ("pressure", {"relief_kpa": 25_000.0, "stated_kpa": 100.0, "cold_drop_kpa": 600.0}, 25_000),
        ("pressure", {"stated_kpa": 600.0}, None),
        ("suction", {"stated_kpa": 10.0}, SUCTION_DROP_AT_MOST_KPA),
        ("return", {"stated_kpa": 600.0}, 600),
        ("off-line", {}, None),
        ("off-line", {"stated_kpa": 600.0}, 600),
        (None, {"relief_kpa": 25_000.0}, None),
    ],
)
def test_what_an_element_without_bypass_can_see_depends_on_its_place(location, stated, expected):
    assert greatest_element_drop_kpa(location, **stated) == expected


def test_a_suction_line_has_what_the_pump_leaves():
    assert suction_drop_allowed_kpa(80.0) == pytest.approx(21.325)
    assert suction_drop_allowed_kpa(80.0, 90.0) == pytest.approx(10)  # on high ground
    for inlet in (101.325, 120.0):
        with pytest.raises(ConditionsError, match="Nothing is left"):
            suction_drop_allowed_kpa(inlet)


@given(positive, positive)
def test_strokes_of_half_a_cycle_are_the_slowest_that_cycles_allow(volume, cycles):
    by_cycles = breather_air_flow_of_cycles_l_min(volume, cycles)
    assert by_cycles == pytest.approx(breather_air_flow_l_min(volume, 1 / (2 * cycles)))
    assert by_cycles <= breather_air_flow_l_min(volume, 1 / (2.1 * cycles))


@given(st.floats(1, 500), st.floats(1, 500), st.floats(1, 5000))
def test_a_cylinder_takes_more_oil_out_than_it_gives_back_by_its_rod(rod, more, stroke):
    bore = rod + more
    out = math.pi / 4 * bore**2 * stroke * 1e-6
    assert rod_volume_l(rod, stroke) == pytest.approx(out - out / area_ratio_of(bore, rod), rel=1e-6)


@pytest.mark.parametrize("value", NO_NUMBERS)
@pytest.mark.parametrize(
    "sum_of",
    [
        lambda v: turnover_flow_l_min(400.0, v),
        lambda v: turnovers_per_hour_of(40.0, v),
        lambda v: bypass_full_flow_drop_kpa(v),
        lambda v: bypass_full_flow_drop_kpa(170.0, v),
        lambda v: suction_drop_allowed_kpa(v),
        lambda v: suction_drop_allowed_kpa(80.0, v),
        lambda v: rod_volume_l(v, 500.0),
        lambda v: rod_volume_l(70.0, v),
        lambda v: breather_air_flow_l_min(v, 1.0),
        lambda v: breather_air_flow_l_min(1.0, v),
        lambda v: breather_air_flow_of_cycles_l_min(1.0, v),
    ],
)
def test_what_must_be_above_zero_and_finite_is_refused_else(sum_of, value):
    with pytest.raises(ConditionsError):
        sum_of(value)


@pytest.mark.parametrize("value", [-1.0, math.inf, math.nan])
def test_a_flow_or_a_volume_is_not_negative(value):
    for sum_of in (return_flow_l_min, lambda v: turnover_flow_l_min(v, 1.0), lambda v: turnovers_per_hour_of(v, 1.0)):
        with pytest.raises(ConditionsError, match="negative"):
            sum_of(value)
        assert np.isnan(sum_of(np.array([value, 1.0]))).tolist() == [True, False]
