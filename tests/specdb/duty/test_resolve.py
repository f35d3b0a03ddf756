"""What a question requires, and what is refused in it."""

from __future__ import annotations

from typing import Any

import pytest

from specdb.catalog.snapshot import Snapshot
from specdb.duty.question import read_question
from specdb.duty.requirement import Requirement
from specdb.duty.resolve import Duty, resolve
from specdb.errors import ConditionsError, QuestionError


def _duty(demo: Snapshot, **asked: Any) -> Duty:
    return resolve(read_question(asked), demo)


def _of(duty: Duty, characteristic: str) -> list[Requirement]:
    return [r for r in duty.requirements if r.characteristic == characteristic]


BETA = {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}
DROP = {"characteristic": "clean_pressure_drop", "at_most": "25 kPa", "flow": "75 L/min"}


@pytest.mark.parametrize(
    ("require", "field", "told"),
    [
        ({"characteristic": "temperature_low", "at_least": "-20 degC"}, "at_least", "State at_most"),
        ({"characteristic": "temperature_high", "at_most": "80 degC"}, "at_most", "State at_least"),
        ({"characteristic": "temperature_high", "at_least": "80 degC", "allow": "5 %"}, "allow", "temperature"),
        ({"characteristic": "flow_fatigue_cycles", "at_least": 10000}, "standard", "ISO 3724 or ISO 23181"),
        ({"characteristic": "collapse_pressure", "at_least": "1 MPa(a)"}, "at_least", "atmospheric"),
        ({"characteristic": "filtration_ratio", "at_least": "-1 %", "size": "10 um(c)"}, "at_least", "below 1"),
        ({**BETA, "allow": "100 %"}, "allow", "between 0 and 100"),
        ({**BETA, "viscosity": "32 cSt"}, "viscosity", "not judged with"),
        ({"characteristic": "collapse_pressure"}, "at_least", "No limit"),
    ],
)
def test_a_requirement_that_cannot_be_meant_is_refused_where_it_stands(
    demo: Snapshot, require: dict[str, Any], field: str, told: str
) -> None:
    with pytest.raises(QuestionError) as refusal:
        _duty(demo, duty={"require": [require]})
    assert refusal.value.field == f"duty.require.0.{field}"
    assert told in str(refusal.value)


def test_every_fault_is_told_at_once(demo: Snapshot) -> None:
    with pytest.raises(QuestionError) as refusal:
        _duty(demo, duty={"flow": "75", "operating_temperature": "hot", "require": [{**BETA, "size": "10 um"}]})
    assert [fault.field for fault in refusal.value.faults] == [
        "duty.flow",
        "duty.operating_temperature",
        "duty.require.0.size",
    ]


def test_fields_that_no_rule_read_are_named(demo: Snapshot) -> None:
    fluid = {"grade": "ISO VG 46", "viscosity_index": 100.0, "viscosity": "32 cSt"}
    duty = {"fluid": fluid, "operating_temperature": "50 degC", "relief_pressure": "2 MPa", "require": [DROP]}
    read_by_no_rule = {"duty.relief_pressure", "duty.fluid.grade", "duty.fluid.viscosity_index"}
    assert set(_duty(demo, duty=duty).unused) == read_by_no_rule
    assert set(_duty(demo, duty=duty | {"derive": "none"}).unused) == {
        "duty.operating_temperature",
        *read_by_no_rule,
    }
    del fluid["viscosity"]
    assert _duty(demo, duty=duty).unused == ("duty.relief_pressure",)


def test_a_grade_becomes_a_band_at_the_operating_temperature(demo: Snapshot) -> None:
    duty = {"fluid": {"grade": "VG 46"}, "operating_temperature": "40 degC", "require": [DROP], "derive": "none"}
    (drop,) = _duty(demo, duty=duty).requirements
    # ISO 3448:1992: midpoint ±10 % at 40 °C.
    assert (drop.viscosity_low_mm2_s, drop.viscosity_high_mm2_s) == pytest.approx((41.4, 50.6))


def test_a_grade_that_cannot_be_carried_is_refused_only_where_it_is_needed(demo: Snapshot) -> None:
    duty = {"fluid": {"grade": "VG 46"}, "require": [BETA]}
    assert _duty(demo, duty=duty).unused == ("duty.fluid.grade",)
    with pytest.raises(QuestionError, match="40 °C only") as refusal:
        _duty(demo, duty=duty | {"require": [DROP]})
    assert refusal.value.field == "duty.operating_temperature"


@pytest.mark.parametrize(
    ("duty", "field", "found"),
    [
        ({"operating_temperature": "600 degC"}, "duty.operating_temperature", "600 degC"),
        ({"cold_start_temperature": "-100 degC"}, "duty.cold_start_temperature", "-100 degC"),
        ({"fluid": {"points": "46 cSt at 40 degC; 2 cSt at 700 degC"}}, "duty.fluid.points", "700 degC"),
    ],
)
def test_a_temperature_beyond_the_equation_is_blamed_and_not_the_fluid(
    demo: Snapshot, duty: dict[str, Any], field: str, found: str
) -> None:
    oil = {"fluid": {"grade": "ISO VG 46", "viscosity_index": 100.0}, "operating_temperature": "50 degC"}
    with pytest.raises(ConditionsError) as refusal:
        _duty(demo, duty={**oil, **duty, "require": [DROP]})
    assert (refusal.value.field, refusal.value.found) == (field, found)
    assert refusal.value.remedy == "State a temperature from -70 to 340 °C."


def test_flow_direction_core_and_a_drain_back_valve_are_taken_from_the_original(demo: Snapshot) -> None:
    cartridge = _duty(demo, original={"number": "2024-07"})
    assert [r.word for r in _of(cartridge, "flow_direction")] == ["outside to inside"]
    assert [r.word for r in _of(cartridge, "core")] == ["in element"]
    assert _of(_duty(demo, original={"number": "Dulse 23"}), "anti_drain_back") == []


def test_what_is_taken_from_the_original_may_be_relaxed(demo: Snapshot) -> None:
    duty = _duty(demo, original={"number": "Dulse 23", "allow": "5 %"})
    assert {r.allow for r in _of(duty, "clean_pressure_drop")} == {0.05}
    assert {r.allow for r in _of(duty, "temperature_high")} == {0.0}


def test_the_dutys_own_flow_is_said_where_the_original_was_tested_at_another(demo: Snapshot) -> None:
    duty = _duty(demo, original={"number": "Dulse 23"}, duty={"flow": "100 L/min"})
    assert any("not at the duty's 100 L/min" in str(note) for note in duty.notes)
    assert not _duty(demo, original={"number": "Dulse 23"}, duty={"flow": "75 L/min"}).notes


def test_gallons_are_said_to_be_us_gallons(demo: Snapshot) -> None:
    (drop,) = _duty(demo, duty={"require": [{**DROP, "flow": "20 gpm"}]}).requirements
    assert drop.notes == ("flow: gpm read as US gallons per minute",)
    turned = _duty(demo, duty={"flow": "20 gpm", "reservoir_volume": "50 gal", "require": [DROP]})
    notes = [str(note) for note in turned.notes]
    assert len([note for note in notes if note.startswith("duty.reservoir_volume: ")]) == 1  # though it is read twice


def test_what_is_not_met_with_in_hydraulics_is_noted_and_judged_all_the_same(demo: Snapshot) -> None:
    usual = {
        "flow": "20000 L/min", "operating_temperature": "200 degC", "cold_start_temperature": "-60 degC",
        "fluid": {"viscosity": "10000 mm2/s"}, "working_pressure": "700 bar", "bypass": "element",
        "bypass_cracking_pressure": "20 bar", "bypass_full_flow_drop": "30 bar",
    }  # fmt: skip
    assert not [note for note in _duty(demo, duty=usual).notes if "met with" in str(note)]
    odd = {
        "flow": "9999999 L/min", "operating_temperature": "600 degC", "cold_start_temperature": "-80 degC",
        "fluid": {"viscosity": "46000 mm2/s"}, "working_pressure": "7000 bar", "bypass": "element",
        "bypass_cracking_pressure": "170 bar", "bypass_full_flow_drop": "170 bar",
    }  # fmt: skip
    duty = _duty(demo, duty={**odd, "require": [{**DROP, "flow": "3e6 L/min"}]})
    noted = [str(note) for note in duty.notes if "met with" in str(note)]
    fields = {"fluid": "fluid.viscosity"}
    expected = sorted(f"duty.{fields.get(name, name)}" for name in odd if name != "bypass")
    assert sorted(note.partition(":")[0] for note in noted) == expected
    assert all(note.endswith("Is the unit right?") for note in noted)
    [stated] = _of(duty, "clean_pressure_drop")[:1]
    assert [str(note).partition(":")[0] for note in stated.notes] == ["flow"]
    assert duty.circumstances.bypass_cracking_kpa == 17_000


def test_silence_is_per_characteristic(demo: Snapshot) -> None:
    stated = _duty(demo, original={"number": "Dulse 23"}, duty={"require": [BETA], "fit": {"thread": "M26x1.5"}})
    assert [r.origin for r in _of(stated, "filtration_ratio")] == ["stated"]
    assert [r.word for r in _of(stated, "thread")] == ["M26x1.5"]
    assert {r.origin for r in _of(stated, "retained_capacity")} == {"original"}
