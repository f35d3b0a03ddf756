"""The small sums of the circuit and of service life: what they answer, and what each refuses."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.calculations import calculate
from specdb.trade.service_life import LABORATORY_CAPACITY
from tests.specdb.test_calculations import refused


@pytest.mark.parametrize(
    ("key", "asked", "field", "value", "unit"),
    [
        # Worked out by hand.
        ("return_flow", {"pump_flow": "60 L/min", "area_ratio": 2}, "return_flow", 120, "L/min"),
        (
            "return_flow",
            {"pump_flow": "60 L/min", "bore_diameter": "100 mm", "rod_diameter": "60 mm"},
            "return_flow",
            93.75,
            "L/min",
        ),
        ("turnover", {"reservoir_volume": "400 L", "turnovers_per_hour": 6}, "flow", 40, "L/min"),
        ("breather_air_flow", {"volume": "6 L", "time": "10 s"}, "air_flow", 36, "L/min"),
        ("breather_air_flow", {"volume": "6 L", "cycles_per_minute": 3}, "air_flow", 36, "L/min"),
        (
            "breather_air_flow",
            {"rod_diameter": "70 mm", "stroke": "500 mm", "cylinders": 2, "time": "4 s"},
            "air_flow",
            math.pi / 4 * 0.49 * 5 * 2 * 15,
            "L/min",
        ),
        ("suction_drop", {"pump_inlet_pressure": "80 kPa abs"}, "drop", 21.325, "kPa"),
        ("suction_drop", {"pump_inlet_pressure": "-20 kPa"}, "drop", 20, "kPa"),
        ("suction_drop", {"pump_inlet_pressure": "-20 kPa", "reservoir_pressure": "90 kPa abs"}, "drop", 8.675, "kPa"),
        ("service_interval", {"capacity": "85 g", "ingression": "0.05 g/h"}, "interval", 1700, "h"),
        ("service_interval", {"capacity": "85 g", "ingression": "1.2 g/d"}, "interval", 1700, "h"),
        ("service_interval", {"capacity": "85 g", "ingression": "1 g/h", "capacity_used": "80 %"}, "interval", 68, "h"),
        ("service_interval", {"service_interval": "1000 h", "ingression": "0.05 g/h"}, "capacity", 50, "g"),
    ],
)
def test_sums_that_can_be_worked_out_by_hand(key, asked, field, value, unit):
    told = getattr(calculate(key, asked), field)
    assert (told.value, told.unit) == (pytest.approx(value), unit)


@pytest.mark.parametrize(
    ("asked", "drop", "said"),
    [
        ({"location": "return", "bypass_cracking_pressure": "170 kPa"}, 255, "1.5 times its cracking pressure"),
        ({"location": "return", "bypass": "head", "bypass_full_flow_drop": "300 kPa"}, 300, "at full flow"),
        ({"location": "pressure", "relief_pressure": "25 MPa"}, 25_000, "relief"),
        ({"location": "pressure", "relief_pressure": "2 MPa", "cold_drop": "3 MPa"}, 3_000, "whichever is largest"),
        ({"location": "pressure"}, None, "relief_pressure"),
        ({"location": "suction"}, 100, "atmosphere"),
        ({"location": "off-line", "bypass": "none", "maximum_pressure_drop": "600 kPa"}, 600, "as stated"),
        ({"location": "return", "relief_pressure": "25 MPa"}, None, "maximum_pressure_drop"),
    ],
)
def test_what_an_element_can_see(asked, drop, said):
    told = calculate("element_pressure", asked)
    assert (told.drop and told.drop.value) == (drop and pytest.approx(drop))
    assert said in told.words
    assert told.through_bypass == ("bypass_cracking_pressure" in asked or asked.get("bypass") == "head")
    assert any("collapse pressure" in caution for caution in told.cautions)
    assert told.table().rows[0][2] == (told.drop and told.drop.value)


@given(st.floats(1, 1e5), st.floats(0.1, 1000))
def test_turnovers_and_flow_undo_each_other(volume, turnovers):
    asked = {"reservoir_volume": f"{volume!r} L"}
    flow = calculate("turnover", asked | {"turnovers_per_hour": turnovers}).flow.value
    assert calculate("turnover", asked | {"flow": f"{flow!r} L/min"}).turnovers_per_hour == pytest.approx(turnovers)


@given(st.floats(1, 1e4), st.floats(0.001, 100))
def test_an_interval_needs_the_capacity_that_gives_it(capacity, ingression):
    asked = {"ingression": f"{ingression!r} g/h", "capacity_used": "80 %"}
    interval = calculate("service_interval", asked | {"capacity": f"{capacity!r} g"}).interval.value
    needed = calculate("service_interval", asked | {"service_interval": f"{interval!r} h"}).capacity.value
    assert needed == pytest.approx(capacity)


def test_costs_of_life():
    asked = {"capacity": "60 g", "ingression": "0.1 g/h", "price": 40}
    told = calculate("service_interval", asked)
    assert told.cost_per_1000_h == pytest.approx(40 / 0.6)
    assert "without" not in told.words
    assert "the change itself left out" in told.words
    told = calculate("service_interval", asked | {"change_cost": 60, "currency": "EUR"})
    assert told.cost_per_1000_h == pytest.approx(100 / 0.6)
    assert told.cost_per_gram == pytest.approx(40 / 60)
    assert "166.7 EUR" in told.words
    assert told.table().rows[0][told.table().columns.index("currency")] == told.currency == "EUR"
    assert told.cautions == [LABORATORY_CAPACITY]
    assert calculate("service_interval", {"capacity": "60 g", "ingression": "0.1 g/h"}).cost_per_gram is None


def test_where_no_dirt_comes_in_there_is_no_interval():
    told = calculate("service_interval", {"capacity": "60 g", "ingression": "0 g/h", "price": 40})
    assert (told.interval, told.cost_per_1000_h) == (None, None)
    assert told.cost_per_gram == pytest.approx(40 / 60)
    assert "never fill" in told.words


@pytest.mark.parametrize(
    ("key", "asked", "field"),
    [
        ("return_flow", {"pump_flow": "60 L/min"}, "area_ratio"),
        ("return_flow", {"pump_flow": "60 L/min", "area_ratio": 2, "rod_diameter": "60 mm"}, "area_ratio"),
        ("return_flow", {"pump_flow": "60 L/min", "bore_diameter": "100 mm"}, "rod_diameter"),
        ("return_flow", {"pump_flow": "60 L/min", "rod_diameter": "60 mm"}, "bore_diameter"),
        ("return_flow", {"pump_flow": "60 L/min", "bore_diameter": "60 mm", "rod_diameter": "60 mm"}, "rod_diameter"),
        ("return_flow", {"pump_flow": "60 L/min", "area_ratio": 0.5}, "area_ratio"),
        ("return_flow", {"pump_flow": "0 L/min", "area_ratio": 2}, "pump_flow"),
        ("turnover", {"reservoir_volume": "400 L"}, "turnovers_per_hour"),
        ("turnover", {"reservoir_volume": "400 L", "turnovers_per_hour": 6, "flow": "40 L/min"}, "flow"),
        ("turnover", {"reservoir_volume": "400 kg", "turnovers_per_hour": 6}, "reservoir_volume"),
        ("breather_air_flow", {"time": "10 s"}, "volume"),
        ("breather_air_flow", {"volume": "6 L"}, "time"),
        ("breather_air_flow", {"volume": "6 L", "time": "10 s", "cycles_per_minute": 3}, "cycles_per_minute"),
        ("breather_air_flow", {"rod_diameter": "70 mm", "time": "10 s"}, "stroke"),
        ("breather_air_flow", {"volume": "6 L", "time": "10 s", "cylinders": 2}, "cylinders"),
        ("element_pressure", {"location": "breather"}, "location"),
        (
            "element_pressure",
            {"location": "return", "bypass": "none", "bypass_cracking_pressure": "170 kPa"},
            "bypass_cracking_pressure",
        ),
        ("element_pressure", {"location": "return", "bypass": "head"}, "bypass_cracking_pressure"),
        (
            "element_pressure",
            {"location": "return", "bypass_cracking_pressure": "170 kPa", "bypass_full_flow_drop": "100 kPa"},
            "bypass_full_flow_drop",
        ),
        ("suction_drop", {"pump_inlet_pressure": "80 kPa"}, "pump_inlet_pressure"),
        ("suction_drop", {"pump_inlet_pressure": "102 kPa abs"}, "pump_inlet_pressure"),
        ("suction_drop", {"pump_inlet_pressure": "-102 kPa"}, "pump_inlet_pressure"),
        ("suction_drop", {"pump_inlet_pressure": "80 kPa(a)", "reservoir_pressure": "5 kPa(d)"}, "reservoir_pressure"),
        ("service_interval", {"ingression": "0.05 g/h"}, "capacity"),
        ("service_interval", {"capacity": "6 g", "service_interval": "1 h", "ingression": "1 g/h"}, "service_interval"),
        ("service_interval", {"service_interval": "1000 h", "ingression": "0 g/h"}, "ingression"),
        ("service_interval", {"capacity": "60 g", "ingression": "-1 g/h"}, "ingression"),
        ("service_interval", {"capacity": "60 g", "ingression": "1 g/h", "capacity_used": "101 %"}, "capacity_used"),
        ("service_interval", {"capacity": "60 g", "ingression": "1 g/h", "change_cost": 5}, "price"),
    ],
)
def test_what_makes_no_sum_is_refused_at_its_field(key, asked, field):
    assert [named for named, _ in refused(key, asked)] == [field]
