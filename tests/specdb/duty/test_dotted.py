"""The same question as dotted names: every field has one, and what is typed in them comes back in them."""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from typing import Any

import pytest
from hypothesis import given, settings
from pydantic import BaseModel

from specdb.catalog.snapshot import Snapshot
from specdb.duty.dotted import (
    UNKNOWN_AT_MOST,
    comparison_names,
    comparison_of,
    dotted_names,
    dotted_of,
    faults_as_typed,
    question_of,
)
from specdb.duty.question import (
    AssumptionsAsked,
    ComparisonAsked,
    CostsAsked,
    DeriveAsked,
    DutyAsked,
    ElementAsked,
    FitAsked,
    FluidAsked,
    IngressionAsked,
    MeasureAsked,
    OriginalAsked,
    Question,
    RequirementAsked,
    read_comparison,
    read_question,
)
from specdb.errors import InputError, NotOnFileError, SpecdbError
from specdb.ranking import rank
from tests.api.asking import EXAMPLE
from tests.api.questions import COMPARISONS, QUESTIONS, flat

BETA = {
    "require.1.characteristic": "filtration_ratio",
    "require.1.at_least": "200",
    "require.1.size": "10 um(c)",
}


def refused(dotted: dict[str, str], snapshot: Snapshot | None = None) -> dict[str | None, str]:
    """Each fault of a question by the field that it names."""

    def ask() -> None:
        with faults_as_typed(dotted):
            question = question_of(dotted)
            assert snapshot is not None, "the question was taken"
            rank(question, snapshot)

    with pytest.raises((InputError, NotOnFileError)) as refusal:
        ask()
    faults = refusal.value.faults or (refusal.value,)
    assert all(isinstance(fault, SpecdbError) and (fault.whole or fault.field is None) for fault in faults)
    return {fault.field: f"{fault.message} {fault.remedy or ''}" for fault in faults if isinstance(fault, SpecdbError)}


# --- names ----------------------------------------------------------------------------------------


def _names_by_hand() -> Iterator[str]:
    """The names that the models' fields must have, spelt out model by model."""

    def of(model: type[BaseModel], prefix: str) -> Iterator[str]:
        for name, field in model.model_fields.items():
            yield prefix + (field.alias or name)

    yield from of(OriginalAsked, "original.")
    groups = ("fluid", "fit", "require", "ingression", "costs")
    yield from (name for name in of(DutyAsked, "") if name not in groups)
    yield from of(FluidAsked, "fluid.")
    yield from of(IngressionAsked, "ingression.")
    yield from of(CostsAsked, "costs.")
    yield from of(DeriveAsked, "derive.")
    yield from of(FitAsked, "fit.")
    for name in FitAsked.model_fields:
        if "MeasureAsked" in str(FitAsked.model_fields[name].annotation):
            yield from (f"fit.{name}.{part}" for part in MeasureAsked.model_fields if part != "value")
    for number in range(1, 17):
        yield from of(RequirementAsked, f"require.{number}.")
    yield from of(AssumptionsAsked, "assumptions.")
    yield from (name for name in of(Question, "") if name not in ("original", "duty"))


def test_every_field_of_a_question_has_its_name_once() -> None:
    expected = list(_names_by_hand())
    assert len(expected) == len(set(expected))
    assert set(dotted_names()) == set(expected)
    for name in ("original.number", "flow", "fluid.class", "require.16.at_least", "fit.length.tolerance", "limit"):
        assert name in dotted_names()


def test_a_comparison_has_the_names_of_its_elements_and_all_but_two_of_a_question() -> None:
    named = {f"elements.{number}.{field}" for number in range(1, 21) for field in ElementAsked.model_fields}
    assert set(comparison_names()) == named | (set(dotted_names()) - {"limit", "include_without_evidence"})
    assert {field.path[0] for field in comparison_names().values()} == set(ComparisonAsked.model_fields)


def test_a_field_that_is_added_gets_a_name_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    class More(FluidAsked):
        colour: str | None = None

    fluid = copy(DutyAsked.model_fields["fluid"])
    fluid.annotation = More
    monkeypatch.setitem(DutyAsked.model_fields, "fluid", fluid)
    dotted_names.cache_clear()
    try:
        assert dotted_names()["fluid.colour"].path == ("duty", "fluid", "colour")
    finally:
        monkeypatch.undo()
        dotted_names.cache_clear()
    assert "fluid.colour" not in dotted_names()


def test_every_name_is_described_and_takes_an_empty_text() -> None:
    for field in (comparison_names() | dotted_names()).values():
        assert field.description.strip(), field.name
        forms = field.schema.get("anyOf", [field.schema])
        texts = [form for form in forms if form["type"] == "string"]
        assert any("" in form.get("enum", [""]) and not form.get("minLength") for form in texts), field.name


# --- to a question and back -----------------------------------------------------------------------


def test_the_example_of_the_contract_as_dotted_names() -> None:
    asked = read_question(EXAMPLE)
    assert dotted_of(asked) == {
        "original.number": "Dulse 23",
        "original.maker": "Quollbeck",
        "flow": "75 L/min",
        "fluid.grade": "ISO VG 46",
        "fluid.viscosity_index": "100",
        "fluid.class": "HM",
        "operating_temperature": "50 degC",
        "cold_start_temperature": "0 degC",
        "working_pressure": "1 MPa",
        "bypass_cracking_pressure": "170 kPa",
        "location": "return",
        "require.1.characteristic": "filtration_ratio",
        "require.1.at_least": "200",
        "require.1.size": "10 um(c)",
        "require.2.characteristic": "retained_capacity",
        "require.2.at_least": "60 g",
        "require.3.characteristic": "collapse_pressure",
        "require.3.at_least": "1 MPa",
        "require.4.characteristic": "clean_pressure_drop",
        "require.4.at_most": "25 kPa",
        "require.4.flow": "75 L/min",
        "require.4.viscosity": "32 mm^2/s",
        "require.4.drop_of": "element",
        "fit.thread": "1-12 UNF",
        "fit.outside_diameter": "96 mm",
        "fit.outside_diameter.tolerance": "2 mm",
        "assumptions": "customary",
    }
    assert question_of(dotted_of(asked)).model_dump() == asked.model_dump()


@settings(max_examples=100, deadline=None)
@given(QUESTIONS)
def test_there_and_back(asked: dict[str, Any]) -> None:
    question = read_question(asked)
    dotted = dotted_of(question)
    assert question_of(dotted).model_dump() == question.model_dump()
    assert dotted_of(question_of(dotted)) == dotted
    assert question_of(dict(flat(asked))).model_dump() == question.model_dump()


@settings(max_examples=50, deadline=None)
@given(COMPARISONS)
def test_a_comparison_there_and_back(asked: dict[str, Any]) -> None:
    comparison = read_comparison(asked)
    dotted = dotted_of(comparison)
    assert comparison_of(dotted).model_dump() == comparison.model_dump()
    assert dotted_of(comparison_of(dotted)) == dotted
    assert comparison_of(dict(flat(asked))).model_dump() == comparison.model_dump()


def test_elements_may_leave_numbers_out_and_stand_in_the_order_of_theirs() -> None:
    dotted = {"elements.12.number": "A", "elements.2.element_id": "0" * 16, "elements.7.number": " ", **BETA}
    asked = comparison_of(dotted | {"elements.12.maker": "M"})
    assert [each.model_dump(exclude_none=True) for each in asked.elements] == [
        {"element_id": "0" * 16},
        {"number": "A", "maker": "M"},
    ]


def test_nothing_is_a_question_of_defaults() -> None:
    assert question_of({}).model_dump() == Question().model_dump()
    assert dotted_of(Question()) == {}


def test_an_empty_text_states_nothing_as_an_empty_cell_does() -> None:
    blank = dict.fromkeys(dotted_names(), "")
    assert question_of(blank).model_dump() == Question().model_dump()
    assert question_of(blank | BETA | {"fit.thread": "  "}).model_dump() == question_of(BETA).model_dump()


def test_requirements_may_leave_numbers_out() -> None:
    second = {name.replace(".1.", ".7."): text for name, text in BETA.items()}
    collapse = {"require.12.characteristic": "collapse_pressure", "require.12.at_least": "1 MPa"}
    asked = question_of(collapse | second)
    assert [r.characteristic for r in asked.duty.require] == ["filtration_ratio", "collapse_pressure"]


@pytest.mark.parametrize(
    ("dotted", "assumptions"),
    [
        ({"assumptions": "none"}, "none"),
        ({"assumptions": "customary"}, "customary"),
        ({"assumptions": "about_within, bare_size_is"}, ["about_within", "bare_size_is"]),
        ({"assumptions": "about_within", "assumptions.about_within": "10 %"}, {"about_within": "10 %"}),
        ({"assumptions.about_within": "yes"}, {"about_within": True}),
        ({"assumptions.bare_size_is": "ACFTD"}, {"bare_size_is": "acftd"}),
        ({"assumptions": "none", "assumptions.bare_size_is": "TRUE"}, {"bare_size_is": True}),
        (
            {"assumptions": "customary", "assumptions.about_within": "10 %", "assumptions.bare_size_is": "false"},
            {
                "unstated_conditions_match": True,
                "about_within": "10 %",
                "viscous_share_at_least": True,
                "converted_sizes_count": True,
                "bare_size_is": False,
            },
        ),
    ],
)  # fmt: skip
def test_assumptions_by_name_and_one_by_one(dotted: dict[str, str], assumptions: Any) -> None:
    asked = read_question({"duty": {"assumptions": assumptions}})
    assert question_of(dotted).model_dump() == asked.model_dump()
    # One that is stated by itself has the last word, in whatever order they stand.
    assert question_of(dict(reversed(dotted.items()))).model_dump() == asked.model_dump()


@pytest.mark.parametrize(("text", "taken"), [("true", True), ("TRUE", True), ("yes", True), ("No", False), ("", False)])
def test_what_a_spreadsheet_writes_for_yes_and_no(text: str, taken: bool) -> None:
    assert question_of({"include_without_evidence": text}).include_without_evidence is taken


def test_numbers_are_read_as_they_are_written_elsewhere() -> None:
    asked = question_of({"fluid.viscosity_index": "98,5", "limit": "20.0"})
    assert (asked.duty.fluid.viscosity_index, asked.limit) == (98.5, 20)


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("flw", "Is flow meant?"),
        ("Flow", "Is flow meant?"),
        ("duty.flow", 'Leave "duty." out: flow.'),
        ("fluid.gradee", "Is fluid.grade meant?"),
        ("maker", "Is original.maker meant?"),
        ("temperature", "Is operating_temperature meant?"),
        ("require.3.at_lest", "Is require.3.at_least meant?"),
        ("require.size", "Is require.1.size meant?"),
        ("unit", "Is units meant?"),
        ("require.0.size", "numbered from 1 to 16"),
        ("require.17.size", "numbered from 1 to 16"),
        ("require.01.size", "numbered from 1 to 16"),
        ("require.99999999999999999999.size", "numbered from 1 to 16"),
        ("elements.1.number", "named in a comparison alone"),
        ("require.2", "require.2.characteristic=filtration_ratio, require.2.at_least=200"),
        ("fluid.colour", "Known are fluid.grade, fluid.viscosity_index"),
        ("colour", "Known are original."),
        ("", "Known are original."),
        ("a..b", "Known are original."),
    ],
)
def test_an_unknown_name_is_answered_with_the_one_that_is_near(name: str, told: str) -> None:
    with pytest.raises(InputError) as refusal:
        question_of({name: "1"}, beside=("units",))
    assert refusal.value.field == name
    assert refusal.value.whole
    assert told in str(refusal.value)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("limit", "A comparison does not take this."),
        ("elements.0.number", "numbered from 1 to 20"),
        ("elements.21.number", "numbered from 1 to 20"),
        ("elements.2", "elements.2.number, elements.2.maker, elements.2.element_id"),
        ("elements.2.numbr", "Is elements.2.number meant?"),
        ("require.17.size", "numbered from 1 to 16"),
        ("unit", "Is units meant?"),
        ("colour", "Known are elements."),
    ],
)
def test_an_unknown_name_of_a_comparison_is_answered_too(name: str, told: str) -> None:
    with pytest.raises(InputError) as refusal:
        comparison_of({name: "1", "elements.1.number": "Dulse 23", **BETA}, beside=("units",))
    assert refusal.value.field == name
    assert told in str(refusal.value)


@pytest.mark.parametrize(
    ("dotted", "fields"),
    [
        ({}, ["elements.1.number"]),
        ({"flow": "75 kPa", "elements.4.number": ""}, ["elements.1.number", "flow"]),
        ({"elements.4.maker": "Quollbeck"}, ["elements.4.number"]),
        ({"elements.1.number": "A", "elements.4.element_id": "23"}, ["elements.4.element_id"]),
        ({"elements.3.number": "A", "elements.3.element_id": "0" * 16, "limit": "2"}, ["limit", "elements.3.number"]),
    ],
)
def test_faults_of_a_comparison_are_told_in_the_names_that_were_typed(
    dotted: dict[str, str], fields: list[str]
) -> None:
    with pytest.raises(InputError) as refusal:
        comparison_of(dotted)
    faults = [fault for fault in refusal.value.faults if isinstance(fault, SpecdbError)] or [refusal.value]
    assert [fault.field for fault in faults] == fields
    assert all("List should" not in fault.message for fault in faults)


def test_an_unknown_name_is_refused_though_its_text_is_empty() -> None:
    assert list(refused({"flw": ""})) == ["flw"]


def test_many_unknown_names_are_counted() -> None:
    with pytest.raises(InputError) as refusal:
        question_of({f"{'x' * 500}{place}": "1" for place in range(2000)})
    assert len(refusal.value.faults) == UNKNOWN_AT_MOST + 1
    assert "1980 more" in str(refusal.value.faults[-1])


@pytest.mark.parametrize(
    ("dotted", "field", "told"),
    [
        ({"flow": "75"}, "flow", "no unit"),
        ({"flow": "75 furlongs"}, "flow", "L/min"),
        ({"limit": "2.5"}, "limit", "whole number"),
        ({"limit": "many"}, "limit", "not a plain number"),
        ({"limit": "501"}, "limit", "500"),
        ({"fluid.viscosity_index": "1e9"}, "fluid.viscosity_index", "400"),
        ({"include_without_evidence": "1"}, "include_without_evidence", 'Write "true" or "false".'),
        ({"assumptions": "customery"}, "assumptions", "is no assumption"),
        ({"assumptions": "none,about_within"}, "assumptions", "stands alone"),
        ({"assumptions.unstated_conditions_match": "15 %"}, "assumptions.unstated_conditions_match", "neither yes nor"),
        ({"assumptions.about_within": "100 %"}, "assumptions.about_within", "15 %"),
        ({"fit.length.tolerance": "1 mm"}, "fit.length", "leave out tolerance"),
        ({"fit.length": "140 kPa"}, "fit.length", "length"),
        ({"fit.length": "140 mm", "fit.length.tolerance": "-1 mm"}, "fit.length.tolerance", "negative"),
        ({"fit.kind": "can"}, "fit.kind", "spin-on"),
        ({"original.maker": "Quollbeck"}, "original.number", "leave out maker"),
        ({"original.number": "Dulse 23", "original.allow": "5"}, "original.allow", "%"),
        ({"original.number": "Dulse 999"}, "original.number", "No element"),
        ({"require.5.characteristic": "collapse_pressure"}, "require.5.at_least", "No limit"),
        ({"require.5.at_least": "200"}, "require.5.characteristic", "leave out at_least"),
        ({"require.5.characteristic": "beta"}, "require.5.characteristic", "filtration_ratio"),
        ({}, "require.1.characteristic", "Nothing is required"),
        ({"fluid.grade": "46", "require.2.characteristic": "clean_pressure_drop", "require.2.at_most": "1 bar"},
         "operating_temperature", "40 °C only"),
    ],
)  # fmt: skip
def test_a_fault_is_told_in_the_name_that_was_typed(
    demo: Snapshot, dotted: dict[str, str], field: str, told: str
) -> None:
    faults = refused(dotted, demo)
    assert list(faults) == [field]
    assert told in faults[field]


def test_faults_of_requirements_keep_the_numbers_that_were_typed(demo: Snapshot) -> None:
    dotted = {f"require.{number}.characteristic": "filtration_ratio" for number in (3, 9)}
    dotted |= {"require.3.at_least": "200", "require.9.at_least": "0.5", "require.9.size": "10 um"}
    faults = refused(dotted | {"require.1.flow": " "}, demo)
    assert list(faults) == ["require.3.size", "require.9.at_least", "require.9.size"]


def test_a_wrong_original_and_a_wrong_unit_are_told_at_once(demo: Snapshot) -> None:
    dotted = {"original.number": "Nope", "flow": "75 kPa"}
    assert set(refused(dotted, demo)) == set(dotted)

    def ask() -> None:
        with faults_as_typed(dotted):
            rank(question_of(dotted), demo)

    with pytest.raises(InputError, match=r"flow: .*; original\.number: ") as refusal:
        ask()
    assert "duty." not in str(refusal.value)


def test_misspelt_names_and_texts_are_told_at_once() -> None:
    faults = refused({"flw": "75 L/min", "limit": "x", "require.20.size": "1", "fit.kind": "?", "original.maker": "M"})
    assert set(faults) == {"flw", "limit", "require.20.size", "fit.kind", "original.number"}


def test_a_number_that_is_none_hides_no_quantity_that_cannot_be_read() -> None:
    with pytest.raises(InputError) as caught:
        question_of({"area_ratio": "a lot", "flow": "3 kg", "require.3.characteristic": "filtration_ratio",
                     "require.3.at_least": "200", "require.3.size": "1 kg"})  # fmt: skip
    assert {fault.field for fault in caught.value.faults} == {"area_ratio", "flow", "require.3.size"}
    assert question_of({"area_ratio": "1,25", "pump_flow": "60 L/min"}).duty.area_ratio == 1.25
