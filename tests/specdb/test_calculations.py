"""The registry of the small sums: what all of them keep, and what each refuses."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specdb.answers.shape import METHOD_VERSION, QuantityShown
from specdb.calculations import CALCULATIONS, calculate, calculations, read_asked
from specdb.errors import InputError, QuestionError

ALL = list(CALCULATIONS.values())
CURVE = "5 um(c) = 20; 10 um(c) = 200"
DROPS = "25 kPa at 75 L/min, 32 mm2/s; 48 kPa at 120 L/min, 32 mm2/s"


def refused(key: str, asked: dict[str, Any]) -> list[tuple[str | None, str]]:
    """Field and message of each fault; every fault says what was wrong, and its field is one of the calculation's."""
    with pytest.raises(InputError) as error:
        calculate(key, asked)
    faults = error.value.faults or (error.value,)
    assert all(fault.message.strip() for fault in faults)
    return [(fault.field, fault.message) for fault in faults]


def test_a_ratio_below_one_may_have_been_meant_as_a_share():
    (caution,) = [each for each in calculate("efficiency", {"ratio": "0.995"}).cautions if "share" in each]
    assert "99.5 %" in caution
    assert not [each for each in calculate("efficiency", {"ratio": "1"}).cautions if "share" in each]


# --- what all of them keep ------------------------------------------------------------------------


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
@pytest.mark.parametrize("units", ["si", "us"])
def test_every_example_is_answered(calculation, units):
    told = calculate(calculation.key, calculation.example, units)
    assert isinstance(told, calculation.answer)
    assert told.method_version == METHOD_VERSION
    assert told.words.endswith(".")
    assert told.source == calculation.source
    assert "catalog_revision" not in type(told).model_fields


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
def test_every_field_is_described_and_every_key_is_one_word_as_typed(calculation):
    assert calculation.name == calculation.key.replace("_", "-") == calculation.name.lower()
    assert set(calculation.typed) <= set(calculation.asked.model_fields)
    assert calculation.answer.__doc__
    assert all(field.description for field in calculation.asked.model_fields.values())


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
@pytest.mark.parametrize("units", ["si", "us"])
def test_every_answer_has_a_flat_table(calculation, units):
    told = calculate(calculation.key, calculation.example, units)
    table = told.table(units)
    rows = list(csv.reader(io.StringIO(table.csv())))
    assert len(rows) == 1 + len(table.rows) >= 2
    assert {len(row) for row in rows} == {len(table.columns)}
    numbers = {cell for row in table.rows for cell in row if isinstance(cell, float)}
    shown = [value for _, value in told if isinstance(value, QuantityShown)]
    assert {quantity.value for quantity in shown} <= numbers


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
def test_an_unknown_field_is_refused_and_the_known_ones_are_named(calculation):
    with pytest.raises(QuestionError) as error:
        read_asked(calculation, calculation.example | {"bogus": "1"})
    assert error.value.field == "bogus"
    assert next(iter(calculation.asked.model_fields)) in error.value.remedy


def test_an_unknown_key_names_those_that_there_are():
    with pytest.raises(QuestionError, match="no such calculation") as error:
        calculate("beta", {})
    assert "filtration-ratio" in error.value.remedy


def test_a_key_may_have_dashes():
    assert calculate("cleanliness-code", {"code": "18/16/13"}) == calculate("cleanliness_code", {"code": "18/16/13"})


def test_the_list_has_them_all_with_their_fields():
    listed = calculations()
    assert [c.key for c in listed.calculations] == list(CALCULATIONS)
    assert len(listed.table().rows) == sum(len(c.asked.model_fields) for c in ALL)
    assert [f.name for f in listed.calculations[0].fields if f.needed] == ["ratio"]


HOSTILE = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        (
            "", " ", "0", "-1", "1e99", "1e400", "nan", "inf", "-inf", "9" * 63, "1e-99", "0.1e-99 psi", "1e99 L/min",
            "0 kPa", "-5 kPa", "75", "75 psi", "100 %", "1/0", "\ud800", "\x00", "25 kPa; 25 kPa", ";;;", "@@@",
            "1e9 mm2/s", "1e-9 mm2/s", "-300 degC", "339.9 degC", "10 um(c)", "1 SUS at 100 degF", "1e9 um(acftd)",
            "18/16/13", "1e9 = 1e9 um(c); 1e-9 = 1e-9 um(c)",
            "1e-9 kPa, 1e9 L/min, 1e9 mm2/s, 1e9 kg/m3; 1e9 kPa, 1e-8 gpm, 1e-9 mm2/s",
        )
    ),
    st.floats(), st.integers(-(10**40), 10**40), st.none(), st.booleans(), st.lists(st.integers(), max_size=2),
    st.dictionaries(st.sampled_from(("value", "unit")), st.one_of(st.floats(), st.text(max_size=5)), max_size=2),
)  # fmt: skip


@settings(max_examples=400, deadline=None)
@given(st.data())
def test_whatever_is_asked_is_answered_or_refused(data):
    calculation = data.draw(st.sampled_from(ALL))
    fields = list(calculation.asked.model_fields)
    asked = dict(calculation.example)
    for name in data.draw(st.lists(st.sampled_from(fields), min_size=1, max_size=3)):
        asked[name] = data.draw(HOSTILE)
    try:
        told = calculate(calculation.key, asked, data.draw(st.sampled_from(("si", "us"))))
    except InputError as error:
        for fault in error.faults or (error,):
            assert fault.field.split(".")[0] in fields
    else:
        told.model_dump_json()
        assert all(math.isfinite(c) for row in told.table().rows for c in row if isinstance(c, float))


def test_all_faults_are_said_at_once():
    faults = refused("viscosity", {"temperature": "warm", "grade": "VG 47", "density": "0 kg/m3"})
    assert [field for field, _ in faults] == ["temperature", "density", "grade"]
    faults = refused("viscosity", {"temperature": "0 degC", "grade": "VG 47"})
    assert [field for field, _ in faults] == ["grade", "viscosity_index"]
    faults = refused("pore_size", {"pressure": "8 L/min", "depth": "x", "density": "y"})
    assert [field for field, _ in faults] == ["pressure", "depth", "density"]
    faults = refused("convert", {"bogus": 1, "other": 2})
    assert [field for field, _ in faults] == ["value", "bogus", "other"]


# --- filtration -----------------------------------------------------------------------------------


@given(st.floats(1e-3, 1e6))  # beyond, the twelve digits of the efficiency tell ratios no longer apart
def test_ratio_and_efficiency_undo_each_other(ratio):
    percent = calculate("efficiency", {"ratio": ratio}).efficiency.value
    assert calculate("filtration_ratio", {"efficiency": f"{percent!r} %"}).ratio == pytest.approx(ratio, rel=1e-5)


@given(st.floats(1, 1e9), st.floats(1, 1e9))
def test_a_higher_ratio_is_no_lower_efficiency_and_none_reaches_100_in_words(one, other):
    low, high = (calculate("efficiency", {"ratio": ratio}) for ratio in sorted((one, other)))
    assert low.efficiency.value <= high.efficiency.value <= 100
    assert " 100 %" not in high.words


def test_efficiency_tends_to_100_as_the_ratio_grows():
    missing = [100 - calculate("efficiency", {"ratio": f"1e{n}"}).efficiency.value for n in range(1, 10)]
    assert missing == pytest.approx([100 / 10**n for n in range(1, 10)], rel=1e-4)
    assert "more than 99.99999999 %" not in calculate("efficiency", {"ratio": "1e6"}).words
    assert "99.9999 %" in calculate("efficiency", {"ratio": "1e6"}).words


def test_100_percent_proves_no_ratio():
    told = calculate("filtration_ratio", {"efficiency": "100 %"})
    assert (told.ratio, told.ratio_low, told.ratio_high) == (None, 200, None)
    assert told.words.startswith("100 % proves no filtration ratio")


def test_a_bare_efficiency_is_in_percent_unless_it_may_be_a_share():
    assert calculate("filtration_ratio", {"efficiency": 99.5}).ratio == pytest.approx(200)
    assert refused("filtration_ratio", {"efficiency": "0.995"}) == [("efficiency", "This may mean 0.995 % or 99.5 %.")]
    assert calculate("filtration_ratio", {"efficiency": "0.995 %"}).ratio == pytest.approx(1.01005, rel=1e-5)


def test_more_downstream_than_upstream_is_told():
    told = calculate("filtration_ratio", {"upstream": "800", "downstream": "1000"})
    assert told.ratio == 0.8
    assert told.efficiency.value == pytest.approx(-25)
    assert "more particles downstream than upstream" in told.words


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({}, "efficiency"),
        ({"efficiency": "99 %", "upstream": "1", "downstream": "1"}, "efficiency"),
        ({"upstream": "2000"}, "downstream"),
        ({"downstream": "2000"}, "upstream"),
        ({"upstream": "2000", "downstream": "1000 /mL"}, "upstream"),
        ({"upstream": "2000", "downstream": "0"}, "downstream"),
        ({"upstream": "-5", "downstream": "5"}, "upstream"),
        ({"efficiency": "100.1 %"}, "efficiency"),
        ({"efficiency": "99 kPa"}, "efficiency"),
    ],
)
def test_what_makes_no_ratio_is_refused(asked, field):
    assert [named for named, _ in refused("filtration_ratio", asked)] == [field]


@given(st.floats(5, 10))
def test_size_and_ratio_undo_each_other_between_tested_points(size):
    at_size = calculate("ratio_at_size", {"size": f"{size!r} um(c)", "points": CURVE})
    back = calculate("size_at_ratio", {"ratio": at_size.ratio, "points": CURVE})
    assert back.size.value == pytest.approx(size, rel=1e-9)


def test_of_several_tested_points_the_two_around_it_are_read():
    points = "20 um(c): β 1000; 5 um(c): 20; 10 um(c) = 200"
    told = calculate("ratio_at_size", {"size": "15 um(c)", "points": points})
    assert (told.size_below.value, told.size_above.value) == (10, 20)
    assert told.ratio == pytest.approx(math.sqrt(200 * 1000))
    assert calculate("ratio_at_size", {"size": "10 um(c)", "points": points}).ratio == pytest.approx(200)


@pytest.mark.parametrize(
    ("key", "asked", "field", "why"),
    [
        ("ratio_at_size", {"size": "4 um(c)", "points": CURVE}, "size", "extrapolated"),
        ("ratio_at_size", {"size": "8 um(acftd)", "points": CURVE}, "size", "ACFTD"),
        ("ratio_at_size", {"size": "8 um", "points": CURVE}, "size", "no stated scale"),
        ("ratio_at_size", {"size": "8 um(c)", "points": "5 um(c) = 20"}, "points", "no curve"),
        ("ratio_at_size", {"size": "8 um(c)", "points": "5 um(c) = 200; 10 um(c) = 20"}, "points", "falls"),
        ("ratio_at_size", {"size": "8 um(c)", "points": "5 um(c) = 20; 10 um(acftd) = 200"}, "points", "scales"),
        ("ratio_at_size", {"size": "8 um(c)", "points": "5 um(c) = 20; 5 um(c) = 20"}, "points", "twice"),
        ("ratio_at_size", {"size": "8 um(c)", "points": "5 um(c); 10 um(c) = 200"}, "points", "no number"),
        ("ratio_at_size", {"size": "8 um(c)", "points": "5 um(c) = >= 20; 10 um(c) = 200"}, "points", "plain value"),
        ("size_at_ratio", {"ratio": "201", "points": CURVE}, "ratio", "extrapolated"),
        ("size_at_ratio", {"ratio": "20", "points": "5 um(c) = 20; 10 um(c) = 20"}, "ratio", "no one size"),
    ],
)
def test_what_cannot_be_read_off_a_curve_is_refused(key, asked, field, why):
    [(named, message)] = refused(key, asked)
    assert named == field
    assert why in message


# --- sizes ----------------------------------------------------------------------------------------


@given(st.floats(1, 100))
def test_size_scales_undo_each_other(size):
    to_c = calculate("size_scale", {"size": f"{size!r} um(acftd)"})
    back = calculate("size_scale", {"size": f"{to_c.size_c.value!r} um(c)"})
    assert back.size_acftd.value == pytest.approx(size, rel=1e-9)
    assert any("Only the size label converts" in caution for caution in to_c.cautions)


@pytest.mark.parametrize("size", ["10 um", "10 um(?)", "0.5 um(acftd)", "71 um(c)", "10 L/min"])
def test_a_size_that_no_table_converts_is_refused(size):
    assert [field for field, _ in refused("size_scale", {"size": size})] == ["size"]


# --- cleanliness ----------------------------------------------------------------------------------


def test_a_code_in_words():
    told = calculate("cleanliness_code", {"code": "ISO 4406 */16/≥7"})
    assert told.words == (
        "*/16/≥7: too many to count: particles of 4 µm(c) and larger; more than 320, up to 640 particles per mL of "
        "6 µm(c) and larger; more than 0.64 particles per mL of 14 µm(c) and larger."
    )
    assert [n.number for n in told.numbers] == [None, 16, 7]
    assert [n.up_to and n.up_to.value for n in told.numbers] == [None, 640, None]


@given(st.lists(st.integers(0, 10**8), min_size=3, max_size=3))
def test_one_count_in_any_unit_has_one_code(found):
    per_100_ml = dict(zip(("at_4", "at_6", "at_14"), sorted(found, reverse=True), strict=True))
    code = calculate("cleanliness_code", {name: f"{count} /100 mL" for name, count in per_100_ml.items()}).code
    per_ml = {name: f"{count / 100!r} /mL" for name, count in per_100_ml.items()}
    assert calculate("cleanliness_code", per_ml).code == code
    raw = calculate("cleanliness_code", per_100_ml | {"volume_ml": 100})
    assert raw.code.replace("≥", "") == code
    assert [n.written.startswith("≥") for n in raw.numbers] == [count < 20 for count in per_100_ml.values()]


def test_counts_that_were_not_made_and_counts_that_were_too_many():
    assert calculate("cleanliness_code", {"at_4": "*", "at_6": "5000 /mL"}).code == "*/19/-"
    assert calculate("cleanliness_code", {"at_4": "-", "at_6": "5000 /mL", "at_14": "10 /mL"}).code == "-/19/10"


def test_a_dash_before_two_numbers_may_be_a_microscope_s():
    assert any("microscope" in note for note in calculate("cleanliness_code", {"code": "-/16/13"}).notes)
    told = calculate("cleanliness_code", {"code": "-/16/13", "counting": "microscope"})
    assert (told.code, told.notes) == ("16/13", [])
    assert [n.size.unit for n in told.numbers] == ["µm", "µm"]


@pytest.mark.parametrize(
    ("asked", "field", "why"),
    [
        ({}, "code", "wanted"),
        ({"code": "18/16/13", "at_4": "1 /mL"}, "code", "wanted"),
        ({"code": "16/18/13"}, "code", "rise"),
        ({"code": "18/16/13", "volume_ml": 5}, "volume_ml", "per mL"),
        ({"code": "18/16/13", "counting": "microscope"}, "code", "two scale numbers"),
        ({"at_4": "5 /mL", "at_6": "6 /mL"}, "at_6", "cannot be more"),
        ({"at_4": "5 /mL", "at_5": "5 /mL"}, "at_5", "no one code"),
        ({"at_4": "5 /mL", "counting": "microscope"}, "counting", "automatic"),
        ({"at_4": "5"}, "at_4", "states no volume"),
        ({"at_4": "5 /mL", "volume_ml": 10}, "at_4", "both state a volume"),
        ({"at_4": "-5 /mL"}, "at_4", "no particle count"),
        ({"at_4": "5 g"}, "at_4", "mass"),
        ({"code": "18/16/13", "counting": "guess"}, "counting", "not one of"),
        ({"at_4": "5", "volume_ml": 0}, "volume_ml", "greater than 0"),
    ],
)
def test_what_makes_no_code_is_refused(asked, field, why):
    [(named, message)] = refused("cleanliness_code", asked)
    assert named == field
    assert why in message


# --- viscosity ------------------------------------------------------------------------------------

degrees = st.integers(-300, 1500).map(lambda tenths: tenths / 10)


@given(degrees)
def test_a_grade_s_band_holds_its_middle(degc):
    told = calculate("viscosity", {"temperature": f"{degc!r} degC", "grade": "46", "viscosity_index": 100})
    assert told.viscosity_low.value < told.viscosity.value < told.viscosity_high.value


@given(degrees, degrees)
def test_a_warmer_oil_is_thinner(one, other):
    def at(degc):
        asked = {"temperature": f"{degc!r} degC", "points": "46 cSt at 40 degC; 6.8 cSt at 100 degC"}
        return calculate("viscosity", asked).viscosity.value

    low, high = sorted((one, other))
    assert at(low) >= at(high)


def test_a_grade_is_its_midpoint_with_its_index_as_one_point_is():
    by_grade = calculate("viscosity", {"temperature": "0 degC", "grade": "VG 46", "viscosity_index": 100})
    by_point = calculate(
        "viscosity", {"temperature": "32 degF", "points": "46 mm2/s at 40 degC", "viscosity_index": 100}
    )
    assert by_point.viscosity.value == pytest.approx(by_grade.viscosity.value, rel=1e-9)
    assert by_point.viscosity_low is None


def test_the_two_points_themselves_are_given_back():
    points = "150 SUS at 100 degF; 5.4 cSt at 100 degC"
    told = calculate("viscosity", {"temperature": "100 degF", "points": points, "density": "870 kg/m3"})
    assert told.viscosity.value == pytest.approx(31.8915, abs=1e-3)
    assert told.dynamic_viscosity.value == pytest.approx(31.8915 * 0.87, abs=1e-3)
    assert any("Saybolt" in note for note in told.notes)


@pytest.mark.parametrize(
    ("asked", "field", "why"),
    [
        ({"temperature": "0 degC"}, "points", "make the line"),
        ({"temperature": "0 degC", "grade": "46", "points": "46 cSt at 40 degC"}, "grade", "make the line"),
        ({"temperature": "0 degC", "grade": "46"}, "viscosity_index", "40 °C only"),
        ({"temperature": "0 degC", "grade": "2", "viscosity_index": 100}, "viscosity_index", "No oil"),
        ({"temperature": "0 degC", "points": "46 cSt at 40 degC"}, "viscosity_index", "One point"),
        ({"temperature": "0 degC", "points": "46 cSt at 50 degC", "viscosity_index": 100}, "points", "only at 40 °C"),
        (
            {"temperature": "0 degC", "points": "46 cSt at 40 degC; 6.8 cSt at 100 degC", "viscosity_index": 100},
            "viscosity_index",
            "leave nothing",
        ),
        ({"temperature": "0 degC", "points": "6.8 cSt at 40 degC; 46 cSt at 100 degC"}, "points", "falls"),
        ({"temperature": "0 degC", "points": "46 cSt; 6.8 cSt at 100 degC"}, "points", "no temperature"),
        ({"temperature": "400 degC", "grade": "46", "viscosity_index": 100}, "temperature", "this temperature"),
        ({"temperature": "0 degC", "grade": "46", "viscosity_index": "nan"}, "viscosity_index", "finite"),
        ({"temperature": "0 degC", "points": "40 cP at 40 degC; 6 cSt at 100 degC"}, "points", "dynamic"),
    ],
)
def test_what_makes_no_viscosity_is_refused(asked, field, why):
    [(named, message)] = refused("viscosity", asked)
    assert named == field
    assert why in message


@pytest.mark.parametrize(
    ("at_40", "at_100"), [("46 cSt", "1.9 cSt"), ("6 cSt", "8 cSt"), ("0 cSt", "8 cSt"), ("46", "6.8 cSt")]
)
def test_what_has_no_viscosity_index_is_refused(at_40, at_100):
    assert refused("viscosity_index", {"viscosity_40": at_40, "viscosity_100": at_100})


# --- pores and classes ----------------------------------------------------------------------------


@given(st.floats(0.1, 1e4), st.integers(0, 300))
def test_pore_and_pressure_undo_each_other(pore, depth_mm):
    liquid = {"depth": f"{depth_mm} mm", "density": "785 kg/m3"} if depth_mm else {}
    pressure = calculate("bubble_pressure", {"pore": f"{pore!r} um"} | liquid)
    back = calculate("pore_size", {"pressure": f"{pressure.pressure.value!r} kPa"} | liquid)
    assert back.pore.value == pytest.approx(pore, rel=1e-6)


@pytest.mark.parametrize("key", ["pore_size", "bubble_pressure"])
def test_a_pore_is_no_rating_and_the_answer_says_so(key):
    told = calculate(key, CALCULATIONS[key].example)
    assert any("no filter rating" in caution and "ISO 2942" in caution for caution in told.cautions)


@pytest.mark.parametrize(
    ("asked", "field", "why"),
    [
        ({"pressure": "0 Pa"}, "pressure", "above zero"),
        ({"pressure": "100 kPa(a)"}, "pressure", "absolute"),
        ({"pressure": "50 Pa", "depth": "12 mm", "density": "785 kg/m3"}, "pressure", "head"),
        ({"pressure": "8 kPa", "depth": "12 mm"}, "density", "together"),
        ({"pressure": "8 kPa", "density": "785 kg/m3"}, "depth", "together"),
        ({"pressure": "8 kPa", "contact_angle_deg": 90}, "contact_angle_deg", "89"),
        ({"pressure": "8 kPa", "surface_tension_mn_m": "inf"}, "surface_tension_mn_m", "finite"),
    ],
)
def test_what_makes_no_pore_is_refused(asked, field, why):
    [(named, message)] = refused("pore_size", asked)
    assert named == field
    assert why in message


def test_above_all_classes_none_covers():
    told = calculate("pressure_class", {"working_pressure": "210 bar"})
    assert (told.pressure_class, told.class_working_pressure, told.burst_low) == (None, None, None)
    assert "No class of spin-on covers 21000 kPa" in told.words


# --- units ----------------------------------------------------------------------------------------


def test_without_a_unit_the_answer_s_own_is_taken():
    assert calculate("convert", {"value": "75 psi"}).converted.unit == "kPa"
    assert calculate("convert", {"value": "100 L/min"}, "us").converted.unit == "US gpm"
    assert calculate("convert", {"value": "12 mm"}).kind == "length"
    assert calculate("convert", {"value": "10 um"}).kind == "size"
    inches = calculate("convert", {"value": "127 um", "to": "in"})  # which no particle size is stated in
    assert (inches.kind, inches.converted.value) == ("opening", pytest.approx(0.005))
    assert calculate("convert", {"value": "0.012 mm", "to": "um"}).converted.value == pytest.approx(12)


def test_marks_of_pressures_and_sizes_are_kept():
    told = calculate("convert", {"value": "75 psig", "to": "bar"})
    assert told.words.endswith("bar gauge.")
    assert calculate("convert", {"value": "10 um(c)", "to": "mil"}).converted.unit == "mil(c)"


def test_viscosity_with_a_density():
    told = calculate("convert", {"value": "46 cSt", "to": "cP", "density": "0.87 kg/L"})
    assert told.converted.value == pytest.approx(40.02)
    assert calculate("convert", {"value": "40.02 cP", "density": "870 kg/m3"}).converted.value == pytest.approx(46)


@pytest.mark.parametrize(
    ("asked", "field", "why"),
    [
        ({"value": "75 psi", "to": "L/min"}, "value", "unit of pressure"),
        ({"value": "75 psi", "to": "furlong"}, "to", "no unit known"),
        ({"value": "75 furlong"}, "value", "no unit known"),
        ({"value": "75"}, "value", "no unit known"),
        ({"value": "75 psig", "to": "bar(a)"}, "to", "no factor leads"),
        ({"value": "75 psi", "to": "psig"}, "to", "no factor leads"),
        ({"value": "10 um(acftd)", "to": "um(c)"}, "to", "no factor leads"),
        ({"value": "46 cSt", "to": "cP"}, "to", "dynamic"),
        ({"value": "46 cSt", "to": "SUS"}, "to", "at what temperature"),
        ({"value": "0.5 cSt", "to": "SUS", "temperature": "100 degF"}, "to", "outside the table"),
        ({"value": "-300 degC", "to": "K"}, "value", "absolute zero"),
    ],
)
def test_what_no_factor_converts_is_refused(asked, field, why):
    [(named, message)] = refused("convert", asked)
    assert named == field
    assert why in message
