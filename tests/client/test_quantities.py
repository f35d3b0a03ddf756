"""A quantity is the same as text, as one of pint's, and as a number under a name that carries its unit."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any, get_args

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import specdb
from specdb.answers.tables import column
from specdb.client.plain import plain
from specdb.duty.question import Question, read_question
from specdb.units import KINDS, UnitSystem, as_pint, express, name_and_unit, read_quantity, spellings

REGISTRY = pint.UnitRegistry()
REGISTRY.formatter.default_format = "~P"  # how a script prints its quantities is its own affair

FIELD_OF = {
    "flow": "flow", "pressure": "working_pressure", "temperature": "operating_temperature",
    "volume": "reservoir_volume", "time": "service_interval", "percent": "capacity_used",
}  # fmt: skip
"""Kind of quantity: a field of the duty that takes it."""

WRITTEN_BY_PINT = [
    (kind, code)
    for kind in FIELD_OF
    for code in dict.fromkeys(code for _, code in spellings(kind).values())
]


def _as_read(asked: dict[str, Any], kind: str) -> float:
    question = read_question(plain({"duty": asked}, Question))
    return read_quantity(getattr(question.duty, FIELD_OF[kind]), kind).value


@settings(max_examples=60)
@given(st.sampled_from(WRITTEN_BY_PINT), st.floats(0.001, 1e6).map(lambda value: float(f"{value:.6g}")))
def test_a_quantity_of_pints_is_the_same_as_its_text(unit: tuple[str, str], value: float) -> None:
    kind, code = unit
    text = read_quantity(f"{value!r} {code}", kind).value
    of_another_registry = REGISTRY.Quantity(value, str(as_pint(1.0, code).units))
    assert _as_read({FIELD_OF[kind]: of_another_registry}, kind) == text
    canonical = as_pint(text, KINDS[kind]).to(as_pint(1.0, code).units)
    assert canonical.magnitude == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("units", get_args(UnitSystem))
def test_the_names_that_tables_have_for_columns_are_read_as_they_are_meant(kind: str, units: UnitSystem) -> None:
    told = name_and_unit(column("field", kind, units), {"field"})
    assert told is not None
    name, unit = told
    assert name == "field"
    assert express(read_quantity(f"12 {unit}", kind).value, kind, units)[0] == pytest.approx(12)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("flow_l_min", ("flow", "L/min")),
        ("flow_us_gpm", ("flow", "US gpm")),
        ("viscosity_mm2_s", ("viscosity", "mm²/s")),
        ("size_um_c", ("size", "um(c)")),
        ("size_um_acftd", ("size", "um(acftd)")),
        ("pressure_MPa", ("pressure", "MPa")),
        ("pressure_mpa", ("pressure", "MPa")),
        ("at_14_per_min", ("at_14", "1/min")),
        ("flow", None),
        ("flow_", None),
        ("flow_red", None),
        ("l_min", None),
        ("mass_flow_l_min", None),
    ],
)
def test_names_with_units(name: str, told: tuple[str, str] | None) -> None:
    assert name_and_unit(name, {"flow", "viscosity", "size", "pressure", "at_14"}) == told


def test_what_pint_writes_otherwise_is_brought_to_our_units() -> None:
    um, hour = REGISTRY.micrometer, REGISTRY.hour
    stated = {
        "flow": REGISTRY("4.5 m**3/h").to("m**3/s"),
        "working_pressure": REGISTRY("0.3 hectobar"),
        "operating_temperature": REGISTRY.Quantity(581.67, "degR"),
        "service_interval": 1000 * hour,
        "require": [
            {"characteristic": "filtration_ratio", "at_least": REGISTRY("200"), "size": (0.01 * REGISTRY.mm, "c")},
            {"characteristic": "retained_capacity", "at_least": 6e-5 * REGISTRY.tonne, "allow": 5 * REGISTRY.percent},
        ],
        "fit": {"length": {"value": 14.2 * REGISTRY.cm, "tolerance_mm": 1}, "outside_diameter": 3.78 * REGISTRY.inch},
    }
    made = plain({"duty": stated}, Question)["duty"]
    assert made["flow"] == {"value": pytest.approx(75), "unit": "L/min"}
    assert made["working_pressure"] == {"value": pytest.approx(3000), "unit": "kPa"}
    assert made["operating_temperature"] == {"value": pytest.approx(50), "unit": "°C"}
    assert made["service_interval"] == {"value": 1000, "unit": "h"}
    ratio, capacity = made["require"]
    assert ratio["at_least"] == 200
    assert ratio["size"] == {"value": pytest.approx(10), "unit": "µm(c)"}
    assert capacity["at_least"] == {"value": pytest.approx(60), "unit": "g"}
    assert capacity["allow"] == {"value": 5, "unit": "%"}
    assert made["fit"]["length"] == {"value": {"value": 14.2, "unit": "cm"}, "tolerance": {"value": 1, "unit": "mm"}}
    assert read_question({"duty": made})
    assert (5 * um).units  # another unit of the script's is left as it was


def test_numbers_of_other_libraries_are_numbers() -> None:
    stated = {"flow_l_min": np.float32(75), "pressure_cycles": np.int64(10**6), "area_ratio": Decimal("1.4")}
    made = plain({"duty": stated}, Question)["duty"]
    assert made == {"flow": {"value": 75.0, "unit": "L/min"}, "pressure_cycles": 10**6, "area_ratio": 1.4}
    assert [type(value) for value in (made["pressure_cycles"], made["area_ratio"])] == [int, float]


@pytest.mark.parametrize(
    ("stated", "field"),
    [
        ({"flow": math.inf}, "duty.flow"),
        ({"flow_l_min": "75"}, "duty.flow_l_min"),
        ({"flow_l_min": None, "flow": object()}, "duty.flow"),
        ({"flow_l_min": 75, "flow": "75 L/min"}, "duty.flow"),
        ({"flow": [1, 2] * REGISTRY("L/min")}, "duty.flow"),
        ({"working_pressure": 3 * REGISTRY.ampere}, "duty.working_pressure"),
        ({"operating_temperature": REGISTRY.Quantity(10, "delta_degC")}, "duty.operating_temperature"),
        ({"require": [{"size": (10 * REGISTRY.um, "d")}]}, "duty.require.0.size"),
        ({"require": [{"at_least": REGISTRY.Quantity(math.nan, "g")}]}, "duty.require.0.at_least"),
    ],
)
def test_what_is_no_quantity_is_told_at_its_field(stated: dict[str, Any], field: str) -> None:
    with pytest.raises(specdb.InputError) as caught:
        plain({"duty": stated}, Question)
    assert caught.value.field == field
    assert caught.value.remedy


def test_the_three_ways_to_state_a_duty_are_one(here: specdb.Catalogue) -> None:
    text = {"flow": "75 L/min", "working_pressure": "150 psi", "operating_temperature": "122 degF"}
    number = {"flow_l_min": 75, "working_pressure_psi": 150, "operating_temperature_degf": 122}
    of_pint = {
        "flow": REGISTRY("75 L/min"),
        "working_pressure": REGISTRY("150 psi"),
        "operating_temperature": REGISTRY.Quantity(122, "degF"),
    }
    fluid = {"fluid": {"grade": "ISO VG 46", "viscosity_index": 100}, "assumptions": "customary"}
    answers = [here.equivalents("Dulse 23", {**fluid, **duty}, limit=10) for duty in (text, number, of_pint)]
    assert answers[0] == answers[1] == answers[2]
    assert answers[0] != here.equivalents("Dulse 23", fluid, limit=10)


def test_quantities_of_answers_come_as_pints(here: specdb.Catalogue) -> None:
    for units in ("si", "us"):
        answer = here.equivalents("Dulse 23", {"flow_l_min": 75}, limit=1, units=units)  # type: ignore[arg-type]
        ratio = next(each for each in answer.requirements if each.characteristic == "filtration_ratio")
        assert ratio.size is not None
        assert ratio.flow is not None
        assert ratio.size.pint().to("mm").magnitude == pytest.approx(ratio.size.value / 1000)
        assert ratio.flow.pint().to("L/min").magnitude == pytest.approx(75)
    rating = next(each for each in here.element("Dulse 23").ratings if each.characteristic == "collapse_pressure")
    assert as_pint(rating.value, rating.unit).to("bar").magnitude == pytest.approx(rating.value / 100)
    shown = answer.candidates[0].criteria[0].shown
    low, high = shown.pint()
    assert (low is None, high is None) == (shown.low is None, shown.high is None)
    assert low is not None
    assert low.magnitude == shown.low
    with pytest.raises(specdb.QuantityError, match="EUR"):
        as_pint(3.0, "EUR")
