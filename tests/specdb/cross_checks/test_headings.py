"""Headings of lines: the trade's words for dotted names, units in them, and slips that are never passed over."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic.fields import FieldInfo

from specdb.answers.cross_checks import TABLES, TableName, lines_columns
from specdb.cross_checks import template
from specdb.cross_checks.headings import (
    ALIASES,
    DECIMAL,
    LABEL,
    OF_THE_TEMPLATE,
    Column,
    Foreign,
    Slip,
    key_of,
    kind_of,
    known,
    meaning_of,
    read_columns,
)
from specdb.cross_checks.workbook_sheets import CRITERIA, REQUESTS, SUMMARY
from specdb.duty.dotted import compared_names, dotted_names
from specdb.duty.question import Question, models_in
from specdb.errors import QuestionError
from specdb.units import KINDS


def column(heading: str) -> tuple[str, str]:
    found = meaning_of(heading)
    assert isinstance(found, Column), found
    return found.name, found.unit


def test_a_dotted_name_is_known_however_it_is_written():
    for name in (*dotted_names(), *list(compared_names())[:6]):
        written = (name, name.upper(), name.replace(".", " "), name.replace("_", "-"), f" {name.replace('_', ' ')}: ")
        assert {column(each) for each in written} == {(name, "")}


def test_every_alias_is_documented():
    page = (Path(__file__).parents[3] / "docs" / "lines.md").read_text(encoding="utf-8")
    for name, aliases in ALIASES.items():
        assert f"| `{name}` | {', '.join(aliases)} |" in page


def test_no_alias_stands_for_two_names():
    names = {key_of(name): name for name in (*dotted_names(), *compared_names())}
    words = [(key_of(alias), name) for name, aliases in ALIASES.items() for alias in aliases]
    assert len(dict(words)) == len(set(words))
    assert all(names.get(key, name) == name for key, name in words)
    assert all(known()[key] == name for key, name in words)


@pytest.mark.parametrize(
    ("heading", "name"),
    [
        ("Original", "original.number"), ("Part no.", "original.number"), ("OLD NUMBER", "original.number"),
        ("our_part_no", "original.number"), ("part #", "original.number"), ("number", "original.number"),
        ("Make", "original.maker"), ("Manufacturer", "original.maker"), ("original maker", "original.maker"),
        ("Alternative", "elements.1.number"), ("quoted number", "elements.1.number"),
        ("Offered part no.", "elements.1.number"), ("substitute maker", "elements.1.maker"),
        ("Alternative 2", "elements.2.number"), ("alternative no. 12", "elements.12.number"),
        ("replacement 2 make", "elements.2.maker"), ("oil", "fluid.grade"), ("Viscosity grade", "fluid.grade"),
        ("fluid class", "fluid.class"), ("Oil temperature", "operating_temperature"),
        ("cold start", "cold_start_temperature"), ("pressure", "working_pressure"), ("bypass", "bypass"),
        ("Bypass setting", "bypass_cracking_pressure"), ("target code", "target_cleanliness"),
        ("ISO code", "target_cleanliness"), ("place", "location"), ("Machine", LABEL), ("Pos.", LABEL), ("item", LABEL),
        ("Original filter no.", "original.number"), ("Old filter number", "original.number"),
        ("Our no", "original.number"), ("OUR FILTER", "original.number"), ("Existing element", "original.number"),
        ("Article", "original.number"), ("Article no", "original.number"), ("oil filter", "original.number"),
        ("P/N", "original.number"), ("Manufacturer's part no.", "original.number"), ("Filter (old)", "original.number"),
        ("Make of original", "original.maker"), ("brand of the filter", "original.maker"),
        ("Your offer", "elements.1.number"), ("Offer", "elements.1.number"), ("number (new)", "elements.1.number"),
        ("Alternative from supplier", "elements.1.number"), ("Supplier\N{RIGHT SINGLE QUOTATION MARK}s number",
         "elements.1.number"), ("Offer 2 article no", "elements.2.number"), ("offered filter maker",
         "elements.1.maker"), ("replacement for old number", "elements.1.number"),
        ("ISO 4406 target", "target_cleanliness"), ("Target ISO", "target_cleanliness"),
        ("temperature of the oil", "operating_temperature"), ("Machine no.", LABEL), ("Asset ID", LABEL),
        ("decimal", DECIMAL), ("limit", "limit"), ("Assumptions", "assumptions"),
    ],
)  # fmt: skip
def test_words_of_the_trade(heading, name):
    assert column(heading) == (name, "")


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        *((heading, "flow", "L/min") for heading in ("flow [L/min]", "Flow (L/min)", "flow, L/min", "flow_l_min")),
        ("Flow l/min", "flow", "L/min"), ("flow in gpm", "flow", "gpm"), ("FLOW_US_GPM", "flow", "US gpm"),
        ("fluid.viscosity_mm2_s", "fluid.viscosity", "mm²/s"), ("oil temp °C", "operating_temperature", "°C"),
        ("Temperature (degC)", "operating_temperature", "degC"),
        ("pump inlet pressure [kPa abs]", "pump_inlet_pressure", "kPa abs"),
        ("require.1.size [um(c)]", "require.1.size", "um(c)"), ("require.2.size (um(c))", "require.2.size", "um(c)"),
        ("require.1.at_least [g]", "require.1.at_least", "g"), ("bypass [bar]", "bypass_cracking_pressure", "bar"),
        ("fit.length, mm", "fit.length", "mm"), ("flow [-]", "flow", ""), ("oil (ISO VG)", "fluid.grade", ""),
    ],
)  # fmt: skip
def test_units_within_headings(heading, name, unit):
    assert column(heading) == (name, unit)


@pytest.mark.parametrize(
    ("heading", "said"),
    [
        ("floww", 'Is "flow" meant?'), ("floww [L/min]", 'Is "flow" meant?'), ("temprature", "(operating_temperature)"),
        ("origonal number", "original.number"), ("alternativ", '"alternative" (elements.1.number)'),
        ("target_cleanlines", "target_cleanliness"), ("duty.flow", 'Write "flow"'), ("machnie", "line"),
        ("flow [psi]", "Units that would do: L/min"), ("flow (rated)", "Units that would do"),
        ("number (unclear)", "without brackets"), ("Alternative 21", "from 1 to 20"), ("Your number", "Whose is meant"),
        ("original replacement", "Whose is meant"), ("Original 2", "one original"), ("require.17.size", "from 1 to 16"),
        ("beta 10 >=", "beta at 10 um(c)"), ("capacity at least at most [g]", "a column of its own"),
        ("capacity at least [bar]", "Units that would do: g"),
        ("clean drop at most at noon", "require.1.characteristic"),
    ],
)  # fmt: skip
def test_slips_are_faults_that_name_what_is_meant(heading, said):
    found = meaning_of(heading)
    assert isinstance(found, Slip), found
    assert said in found.remedy
    with pytest.raises(QuestionError) as refusal:
        read_columns(["number", heading])
    assert refusal.value.field == heading
    assert refusal.value.whole


@pytest.mark.parametrize(
    ("heading", "near"),
    [
        *((each, None) for each in ("Remark", "Unit price", "delivery", "qty", "Supplier", "price [EUR]", "Warehouse",
                                    "date", "size", "code", "Colour", "Quote date", "Original install date",
                                    "Offered price", "Filter qty", "number of machines", "remark: max. flow",
                                    "x" * 5000)),
        ("oil type", "fluid.grade"), ("length [mm]", "fit.length"), ("Outside diameter", "fit.outside_diameter"),
        ("max. flow", "flow"), ("Capacity [g]", "Capacity at least"), ("pressure drop", "pressure drop at most"),
    ],
)  # fmt: skip
def test_what_is_of_something_else_is_left_aside(heading, near):
    found = meaning_of(heading)
    assert isinstance(found, Foreign), found
    assert found.near == near


@pytest.mark.parametrize(
    ("heading", "said", "beside"),
    [
        ("Original filter designation", '"original number"', "Old"), ("Filter type", '"original number"', "Part no."),
        ("Item code", '"original number"', "Article"), ("Orignal filter no", '"original number"', "Original"),
        ("Offer no.", '"alternative"', "Offered 2"), ("quote number", '"alternative"', "alternative"),
        ("verdict of alternative", '"alternative"', "Replacement"), ("maker code", '"original maker"', "Make"),
        ("max. flow", '"flow"', "flow [L/min]"), ("oil type", '"fluid.grade"', "oil"),
    ],
)  # fmt: skip
def test_what_may_be_asked_is_left_aside_only_where_another_column_asks_it(heading, said, beside):
    with pytest.raises(QuestionError) as refusal:
        read_columns(["location", heading])
    assert (refusal.value.field, said in str(refusal.value.remedy)) == (heading, True)
    for headings in (["location", heading, beside], ["location", f"remark: {heading}"]):
        columns = read_columns(headings)
        assert 1 not in columns.asked
        assert columns.aside == {1: heading}


def test_columns_of_formulas_of_the_template_are_passed_over():
    assert set(OF_THE_TEMPLATE) == {heading for heading, _ in template._ANSWERED}
    columns = read_columns(["original number", "alternative number", *OF_THE_TEMPLATE])
    assert list(columns.asked) == [0, 1]
    assert columns.aside == {}
    assert columns.notes == (f"columns of formulas of the template, left aside: {', '.join(OF_THE_TEMPLATE)}",)


def test_what_the_finished_workbook_adds_to_its_lines_is_not_told_as_unknown():
    ours = read_columns(["line", "original.number", "flow [L/min]", "remark: Price", "fault"])
    assert (ours.notes, ours.aside) == ((), {3: "Price"})
    others = read_columns(["Machine", "original.number", "remark: Price", "fault"])
    assert others.notes == ('columns left aside, as their headings are not known here: "fault"',)
    assert others.aside == {2: "Price", 3: "fault"}


@pytest.mark.parametrize("name", TABLES)
def test_a_table_of_answers_is_refused_as_a_whole(name: TableName):
    on_sheet = {"summary": SUMMARY, "criteria": CRITERIA, "requests": REQUESTS}[name]
    for headings in (lines_columns(name, "us"), [column.heading for column in on_sheet.columns("si")]):
        for more in ((), ("flow [L/min]", "Remark")):
            with pytest.raises(QuestionError) as refusal:
                read_columns([*headings, *more])
            assert refusal.value.message == "These are answers, without what was asked."
            assert "its sheet Lines" in str(refusal.value.remedy)


@pytest.mark.parametrize(
    ("heading", "bound", "unit", "beside"),
    [
        ("beta at 10 um(c)", "at_least", "", {"characteristic": "filtration_ratio", "size": "10 um(c)"}),
        ("β 7(c) >=", "at_least", "", {"characteristic": "filtration_ratio", "size": "7 um(c)"}),
        ("Capacity at least [g]", "at_least", "g", {"characteristic": "retained_capacity"}),
        ("min. collapse [bar]", "at_least", "bar", {"characteristic": "collapse_pressure"}),
        ("clean drop at 100 L/min and 46 mm2/s at most [kPa]", "at_most", "kPa",
         {"characteristic": "clean_pressure_drop", "flow": "100 L/min", "viscosity": "46 mm2/s"}),
    ],
)  # fmt: skip
def test_requirements_as_headings(heading, bound, unit, beside):
    found = meaning_of(heading)
    assert isinstance(found, Column)
    assert (found.name, found.unit, dict(found.beside)) == (bound, unit, beside)


def test_requirements_take_the_numbers_that_no_name_takes():
    columns = read_columns(["beta at 10 um(c)", "require.1.at_least", "capacity at least [g]"])
    assert columns.requirements == {0: 2, 2: 3}
    assert "filtration ratio (beta) at 10 um(c), at least" in columns.notes[1]
    assert "no column names an original" in columns.notes[0]


def test_every_quantity_of_a_question_may_have_its_unit_in_the_heading():
    quantities = {name for name in dotted_names() if _is_quantity(name)} - {"assumptions"}
    assert quantities == {name for name in dotted_names() if kind_of(name)}
    assert {kind_of(name) for name in dotted_names()} - {"", "any"} <= set(KINDS)


def _is_quantity(name: str) -> bool:
    """Whether the model reads what stands under a name as text with a unit and nothing else."""
    model, fields = Question, FieldInfo()
    for part in dotted_names()[name].path:
        if isinstance(part, int):
            continue
        fields = {each.alias or own: each for own, each in model.model_fields.items()}[part]
        model = next(models_in(fields.annotation), model)
    return any(reader in repr((fields.annotation, fields.metadata)) for reader in ("_quantity", "_limit", "_share"))


@pytest.mark.parametrize(
    ("headings", "said"),
    [
        (["number", "flow", "Part no."], '"number" and "Part no." both mean original.number'),
        (["flow [L/min]", "flow_gpm"], '"flow [L/min]" and "flow_gpm" both mean flow'),
        (["Pos", "Original", "Offered", "Offered"], "both mean elements.1.number (columns C and D)"),
        (["Original", "Offered", "Offered"], 'write "Offered 1" and "Offered 2"'),
        (["Original", "", "Original"], '"Original" and "Original" both mean original.number (columns A and C)'),
        (["number", "Flow", "Flow"], "both mean flow (columns B and C)"),
        (["number", "decimal", "Decimal"], "both mean decimal (columns B and C)"),
        (["number", "beta at 10 um(c)", "beta at 10 um(c)"], "both mean the same requirement (columns B and C)"),
        (["a", "b", ""], 'Found: "a", "b"'),
        (["machine", "length"], '"machine" (what the line is called), "length" (is fit.length meant?). Lines begin'),
        (["floww", "oill"], "floww"),
    ],
)
def test_headings_that_refuse_the_whole(headings, said):
    with pytest.raises(QuestionError) as refusal:
        read_columns(headings)
    assert said in str(refusal.value)


def test_what_is_left_aside_is_told_and_the_row_is_a_label_where_there_is_no_other():
    columns = read_columns(["row", "number", "price", "oil brand", "price", "", ""])
    assert columns.labels == (0,)
    assert columns.width == 5
    assert columns.notes == (
        'columns left aside, as their headings are not known here: "price", "oil brand" (is fluid.grade meant?), '
        '"price"',
    )
    assert columns.aside == {2: "price", 3: "oil brand", 4: "price (E)"}
    assert read_columns(["row", "number", "line", "machine"]).labels == (2, 3)
