"""Units at the door: what people type, what is refused, and the published factors.

Factors and definitions: NIST Special Publication 811, "Guide for the Use of the International System
of Units (SI)", 2008 edition, appendix B, unless another source stands beside the value.
"""

from __future__ import annotations

import ast
import math
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pint
import pytest
from chemicals.viscosity import viscosity_converter
from hypothesis import given, settings
from hypothesis import strategies as st

from specdb import units
from specdb.errors import QuantityError
from specdb.units import (
    KINDS,
    canonical_unit,
    express,
    factor,
    kinds_of,
    read_number,
    read_quantity,
    restate,
    show,
    spellings,
)

# Exact by definition (NIST SP 811, Guide for the Use of the International System of Units (SI), appendix B):
# inch 25.4 mm, pound 453.59237 g, US gallon 231 in³,
# imperial gallon 4.54609 L, standard gravity 9.80665 m/s², bar 100 kPa, stokes 1e-4 m²/s.
EXACT = [
    ("L/min", "flow", 1.0),
    ("L/s", "flow", 60.0),
    ("L/h", "flow", 1 / 60),
    ("m3/h", "flow", 1000 / 60),
    ("US gpm", "flow", 3.785411784),
    ("imp gpm", "flow", 4.54609),
    ("cfm", "flow", 28.316846592),
    ("mm2/s", "viscosity", 1.0),
    ("cSt", "viscosity", 1.0),
    ("St", "viscosity", 100.0),
    ("m2/s", "viscosity", 1e6),
    ("ft2/s", "viscosity", 92903.04),
    ("kg/m3", "density", 1.0),
    ("g/cm3", "density", 1000.0),
    ("g/mL", "density", 1000.0),
    ("kg/L", "density", 1000.0),
    ("lb/ft3", "density", 0.45359237 / 0.3048**3),
    ("kPa", "pressure", 1.0),
    ("MPa", "pressure", 1000.0),
    ("Pa", "pressure", 1e-3),
    ("mPa", "pressure", 1e-6),
    ("bar", "pressure", 100.0),
    ("mbar", "pressure", 0.1),
    ("psi", "pressure", 0.45359237 * 9.80665 / 0.0254**2 / 1000),
    ("kgf/cm2", "pressure", 98.0665),
    ("inH2O", "pressure", 0.24908891),
    ("mmH2O", "pressure", 0.00980665),
    ("um", "size", 1.0),
    ("mil", "size", 25.4),
    ("mm", "size", 1000.0),
    ("g", "mass", 1.0),
    ("mg", "mass", 1e-3),
    ("kg", "mass", 1000.0),
    ("lb", "mass", 453.59237),
    ("oz", "mass", 453.59237 / 16),
    ("mm", "length", 1.0),
    ("cm", "length", 10.0),
    ("m", "length", 1000.0),
    ("in", "length", 25.4),
    ("ft", "length", 304.8),
    ("°C", "temperature", 1.0),
    ("h", "time", 1.0),
    ("min", "time", 1 / 60),
    ("s", "time", 1 / 3600),
    ("d", "time", 24.0),
    ("mg/L", "concentration", 1.0),
    ("g/L", "concentration", 1000.0),
    ("1/mL", "counts", 1.0),
    ("1/100mL", "counts", 0.01),
    ("%", "percent", 1.0),
    ("L", "volume", 1.0),
    ("mL", "volume", 1e-3),
    ("m3", "volume", 1000.0),
    ("US gal", "volume", 3.785411784),
    ("imp gal", "volume", 4.54609),
    ("ft3", "volume", 28.316846592),
    ("in3", "volume", 0.016387064),
    ("g/h", "mass_rate", 1.0),
    ("mg/h", "mass_rate", 1e-3),
    ("kg/h", "mass_rate", 1000.0),
    ("g/min", "mass_rate", 60.0),
    ("mg/min", "mass_rate", 0.06),
    ("g/d", "mass_rate", 1 / 24),
    ("1/min", "count_rate", 1.0),
    ("1/s", "count_rate", 60.0),
    ("1/h", "count_rate", 1 / 60),
    ("1/d", "count_rate", 1 / 1440),
    ("um", "opening", 1.0),
    ("mm", "opening", 1000.0),
    ("mil", "opening", 25.4),
    ("in", "opening", 25400.0),
]


@pytest.mark.parametrize(("unit", "kind", "expected"), EXACT)
def test_a_factor_is_the_one_defined(unit: str, kind: str, expected: float) -> None:
    assert factor(unit, kind) == pytest.approx(expected, rel=1e-12, abs=0)


def test_every_unit_has_a_published_factor_or_another_way_of_conversion() -> None:
    checked = {(kind, read_quantity(f"1 {unit}", kind).unit) for unit, kind, _ in EXACT}
    others = {("pressure", "inHg"), ("temperature", "°F"), ("temperature", "K")}
    others |= {("viscosity", code) for code in ("SUS", "cP", "mPa·s", "Pa·s")}
    assert checked | others == {(kind, code) for k in KINDS for kind, code in spellings(k).values()}


PINT_CANONICAL = {
    "flow": "liter/minute", "viscosity": "millimeter**2/second", "density": "kilogram/meter**3",
    "pressure": "kilopascal", "size": "micrometer", "mass": "gram", "length": "millimeter",
    "temperature": "delta_degC", "time": "hour", "concentration": "milligram/liter", "counts": "1/milliliter",
    "percent": "percent", "volume": "liter", "mass_rate": "gram/hour", "count_rate": "1/minute",
    "opening": "micrometer",
}  # fmt: skip
DIFFERENCES = {"degC": "delta_degC", "degF": "delta_degF", "kelvin": "delta_degC"}


def test_every_factor_is_that_of_pint() -> None:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()

    def of_pint(value: float, unit: str, canonical: str) -> float:
        number = float(registry.Quantity(value, unit).to(canonical).magnitude)
        # Its chain of products leaves 3.785411783999999 of what is 3.785411784 by definition.
        short = float(f"{number:.13g}")
        return short if math.isclose(short, number, rel_tol=4e-15) else number

    stated = {(unit.kind, unit.code): unit for of_kind in units._UNITS.values() for unit in of_kind}
    dynamic = {("viscosity", code): (literal, "millipascal*second") for code, literal, _ in units._DYNAMIC}
    literals = {
        (kind, code): (DIFFERENCES.get(literal, literal), PINT_CANONICAL[kind])
        for kind, declared in units._DECLARED.items()
        for code, literal, _ in declared
    } | dynamic
    assert stated.keys() - literals.keys() == {("viscosity", "SUS")}
    assert {at: stated[at].factor for at in literals} == {at: of_pint(1.0, *pair) for at, pair in literals.items()}
    zeros = {code: of_pint(0.0, "degC", literal) for code, literal, _ in units._DECLARED["temperature"]}
    assert {unit.code: unit.zero for unit in stated.values() if unit.zero} == {c: z for c, z in zeros.items() if z}


def test_pint_is_loaded_by_the_first_conversion() -> None:
    code = """
import sys
from specdb.units import is_pint, read_quantity, show
assert not is_pint(1.0)
read_quantity("75 L/min", "flow"), show(75.0, "flow"), read_quantity("50 °C", "temperature")
print("pint" in sys.modules)
read_quantity("10 bar", "pressure")
print("pint" in sys.modules)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\nTrue\n"


def test_the_conventional_inch_of_mercury() -> None:
    # NIST SP 811, appendix B.8: inch of mercury, conventional, 3.386389 kPa (printed to seven digits)
    assert factor("inHg", "pressure") == pytest.approx(3.386389, abs=5e-7)


def test_psi_as_printed() -> None:
    assert factor("psi", "pressure") == pytest.approx(6.894757293168, rel=1e-12)  # NIST SP 811: 6.894757 kPa


@pytest.mark.parametrize(
    ("text", "degc"),
    [("32 °F", 0.0), ("212 °F", 100.0), ("-40 F", -40.0), ("100 degF", 340 / 9), ("273.15 K", 0.0), ("0 K", -273.15)],
)
def test_temperatures_take_an_offset(text: str, degc: float) -> None:
    # NIST SP 811, appendix B.8: t/°C = (t/°F - 32)/1.8 and t/°C = T/K - 273.15
    assert read_quantity(text, "temperature").value == pytest.approx(degc, abs=1e-12)


def test_the_resolution_of_a_temperature_is_that_of_a_difference() -> None:
    assert read_quantity("100 °F", "temperature").resolution == pytest.approx(5 / 9)


# What people type ---------------------------------------------------------------------------------

TYPED = [
    ("75 L/min", "flow", 75.0, "L/min"),
    ("75 l/min", "flow", 75.0, "L/min"),
    ("75 L/MIN", "flow", 75.0, "L/min"),
    ("75l/min.", "flow", 75.0, "L/min"),
    ("75 lpm", "flow", 75.0, "L/min"),
    ("75 LPM", "flow", 75.0, "L/min"),
    ("75 litres per minute", "flow", 75.0, "L/min"),
    ("75 L / min", "flow", 75.0, "L/min"),
    ("1 200 L/min", "flow", 1200.0, "L/min"),
    ("1\N{NO-BREAK SPACE}200\N{NARROW NO-BREAK SPACE}000\N{NO-BREAK SPACE}L/h", "flow", 20000.0, "L/h"),
    ("20 GPM", "flow", 75.70823568, "US gpm"),
    ("20 US gal/min", "flow", 75.70823568, "US gpm"),
    ("20 imperial gpm", "flow", 90.9218, "imp gpm"),
    ("3 m³/h", "flow", 50.0, "m³/h"),
    ("3 m**3/h", "flow", 50.0, "m³/h"),
    ("450 cSt", "viscosity", 450.0, "cSt"),
    ("450 CST", "viscosity", 450.0, "cSt"),
    ("32mm2/s", "viscosity", 32.0, "mm²/s"),
    ("32 mm^2/s", "viscosity", 32.0, "mm²/s"),
    ("32 mm²/s", "viscosity", 32.0, "mm²/s"),
    ("32 MM2/S", "viscosity", 32.0, "mm²/s"),
    ("0,75 kPa", "pressure", 0.75, "kPa"),
    ("200 KPA", "pressure", 200.0, "kPa"),
    ("1,5 bar", "pressure", 150.0, "bar"),
    ("1.5 bar", "pressure", 150.0, "bar"),
    (".5 bar", "pressure", 50.0, "bar"),
    ("+2 Bar", "pressure", 200.0, "bar"),
    ("1.234 psi", "pressure", 8.50813049976976, "psi"),
    ("10 Psi", "pressure", 68.94757293168361, "psi"),
    ("2 kgf/cm^2", "pressure", 196.133, "kgf/cm²"),
    ("4 in. H2O", "pressure", 0.99635564, "inH₂O"),
    ("1.2e3 kPa", "pressure", 1200.0, "kPa"),
    ("0.87 g/cm³", "density", 870.0, "g/cm³"),
    ("85 g", "mass", 85.0, "g"),
    ("3 oz", "mass", 85.048569375, "oz"),
    ("96 MM", "length", 96.0, "mm"),
    ('3.5"', "length", 88.9, "in"),
    ("3 1/2 in", "length", 88.9, "in"),
    ("3-1/2 inch", "length", 88.9, "in"),
    ('3/4"', "length", 19.05, "in"),
    ("\N{MINUS SIGN}5 °C", "temperature", -5.0, "°C"),
    ("-5 degC", "temperature", -5.0, "°C"),
    ("50 ℃", "temperature", 50.0, "°C"),
    ("50 º C", "temperature", 50.0, "°C"),
    ("50 deg C", "temperature", 50.0, "°C"),
    ("90 min", "time", 1.5, "min"),
    ("10 mg/L", "concentration", 10.0, "mg/L"),
    ("5000 /mL", "counts", 5000.0, "1/mL"),
    ("5000 per mL", "counts", 5000.0, "1/mL"),
    ("5000 1/100mL", "counts", 50.0, "1/100mL"),
    ("98,7 %", "percent", 98.7, "%"),
    ("5 per cent", "percent", 5.0, "%"),
]


@pytest.mark.parametrize(("text", "kind", "value", "code"), TYPED)
def test_what_people_type_is_read(text: str, kind: str, value: float, code: str) -> None:
    quantity = read_quantity(f"  {text} ", kind)
    assert quantity.value == pytest.approx(value, rel=1e-12)
    assert (quantity.unit, quantity.kind, quantity.text) == (code, kind, text)


def test_gpm_is_read_as_us_and_says_so() -> None:
    assert read_quantity("20 gpm", "flow").note == "gpm read as US gallons per minute"
    assert read_quantity("20 GPM", "flow").note == "gpm read as US gallons per minute"
    assert read_quantity("20 gal", "volume").note == "gallons read as US gallons"
    assert read_quantity("20 US gal", "volume").note is None
    assert read_quantity("20 US gpm", "flow").note is None


@pytest.mark.parametrize(
    ("text", "reference"),
    [
        ("10 bar", None), ("10 bar(g)", "gauge"), ("10 bar (G)", "gauge"), ("10 barg", "gauge"), ("145 psig", "gauge"),
        ("145 PSIG", "gauge"), ("145 psid", "differential"), ("145 psi(d)", "differential"), ("10 bar(a)", "absolute"),
        ("145 psia", "absolute"), ("10 bar abs", "absolute"), ("1000 kPa gauge", "gauge"), ("1 MPa(g)", "gauge"),
    ],
)  # fmt: skip
def test_gauge_and_differential_stand_beside_the_unit(text: str, reference: str | None) -> None:
    quantity = read_quantity(text, "pressure")
    assert quantity.reference == reference
    assert quantity.value == pytest.approx(1000.0, rel=3e-4)  # the same number, whatever the reference
    assert quantity.unit in {"bar", "psi", "kPa", "MPa"}


@pytest.mark.parametrize(
    ("text", "value", "scale"),
    [
        ("10 um(c)", 10.0, "c"), ("10 µm (c)", 10.0, "c"), ("10 μm(C)", 10.0, "c"), ("10um(c)", 10.0, "c"),
        ("10 µ(c)", 10.0, "c"), ("10 micron (ACFTD)", 10.0, "acftd"), ("10 µm acftd", 10.0, "acftd"),
        ("10 um(?)", 10.0, "?"), ("10 microns", 10.0, "?"), ("1 mil", 25.4, "?"), ("0.01 mm", 10.0, "?"),
    ],
)  # fmt: skip
def test_a_size_keeps_its_scale(text: str, value: float, scale: str) -> None:
    quantity = read_quantity(text, "size")
    assert (quantity.value, quantity.scale) == (pytest.approx(value), scale)


def test_only_sizes_have_a_scale() -> None:
    assert read_quantity("10 mm", "length").scale is None
    with pytest.raises(QuantityError):
        read_quantity("10 mm(c)", "length")
    assert read_quantity("125 um", "opening").scale is None
    for text, unit in (("125 um(c)", None), ("125 (c)", "um"), ("125", "um(c)"), ("125 µm acftd", None)):
        with pytest.raises(QuantityError, match="an opening has none"):
            read_quantity(text, "opening", unit=unit)


@pytest.mark.parametrize(
    ("said", "canonical"),
    [("1.2 L/s", "19 US gpm"), ("1380 kPa", "200 psi")],
)
def test_rounded_pairs_people_know_by_heart(said: str, canonical: str) -> None:
    # common practice: "1.2 L/s is about 19 US gpm", "1,380 kPa is about 200 psi"
    kind = "flow" if "gpm" in canonical else "pressure"
    assert read_quantity(said, kind).value == pytest.approx(read_quantity(canonical, kind).value, rel=5e-3)


# Units of columns ---------------------------------------------------------------------------------


def test_a_bare_number_takes_the_unit_of_its_column() -> None:
    assert read_quantity("75", "flow", unit="gpm").value == pytest.approx(283.9058838)
    size = read_quantity("10", "size", unit="µm(c)")
    assert (size.value, size.scale) == (10.0, "c")
    assert read_quantity("10 µm", "size", unit="µm(c)").scale == "c"
    assert read_quantity("10 (acftd)", "size", unit="µm").scale == "acftd"
    assert read_quantity("10 bar", "pressure", unit="bar(g)").reference == "gauge"
    assert read_quantity("150", "viscosity", unit="SUS at 100 °F").value == pytest.approx(31.8915, abs=5e-5)
    assert read_quantity("75 L/min", "flow", unit="lpm").value == 75.0


@pytest.mark.parametrize(
    ("text", "kind", "unit"),
    [
        ("75 L/min", "flow", "gpm"), ("10 µm(c)", "size", "µm(acftd)"), ("10 bar(a)", "pressure", "bar(g)"),
        ("10 (acftd)", "size", "µm(c)"), ("75", "flow", "bar"), ("75", "flow", "furlong"), ("75 bar", "flow", "L/min"),
        ("150 SUS at 100 °F", "viscosity", "SUS at 210 °F"),
    ],
)  # fmt: skip
def test_a_unit_that_contradicts_its_column_is_refused(text: str, kind: str, unit: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, kind, unit=unit)
    assert caught.value.remedy


def test_a_bare_number_names_the_units_that_would_do() -> None:
    with pytest.raises(QuantityError, match=r"no unit.*L/min.*US gpm"):
        read_quantity("75", "flow")
    with pytest.raises(QuantityError, match="no unit"):
        read_quantity("75", "flow", unit=" ")


def test_a_wrong_dimension_says_what_it_is_and_what_was_wanted() -> None:
    with pytest.raises(QuantityError, match=r'"bar" is a unit of pressure; a flow was wanted'):
        read_quantity("10 bar", "flow")
    with pytest.raises(QuantityError, match=r'"lbs" is a unit of mass; .*Is psi meant\? Units that would do: kPa'):
        read_quantity("25 lbs", "pressure")
    with pytest.raises(QuantityError, match=r'"in" is a unit of length; a particle size was wanted'):
        read_quantity("3 in", "size")


@pytest.mark.parametrize("text", ["10 Mpa", "10 mpa", "10 MPA", "10 MPAG", "10 Mpa(g)"])
def test_case_that_decides_between_milli_and_mega_is_never_guessed(text: str) -> None:
    with pytest.raises(QuantityError, match="MPa or mPa") as caught:
        read_quantity(text, "pressure")
    assert "letter for letter" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "kind"), [("2 Mbar", "pressure"), ("2 Mbarg", "pressure"), ("3 Mg", "mass"), ("3 Mg/L", "concentration")]
)
def test_a_capital_m_alone_may_mean_mega(text: str, kind: str) -> None:
    with pytest.raises(QuantityError, match="upper and lower case differ"):
        read_quantity(text, kind)


def test_mega_and_milli_written_exactly_are_told_apart() -> None:
    assert read_quantity("10 MPa", "pressure").value == 10000.0
    assert read_quantity("10 mPa", "pressure").value == pytest.approx(1e-5)


# Numbers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "decimal", "value", "resolution"),
    [
        ("0.50", None, 0.5, 0.01), ("200", None, 200.0, 1.0), ("1.2e3", None, 1200.0, 100.0), ("1e3", None, 1e3, 1e3),
        ("0,750", None, 0.75, 0.001), ("1,5", None, 1.5, 0.1), ("1,2345", None, 1.2345, 1e-4),
        ("1.234", None, 1.234, 1e-3),
        ("1 234,567", None, 1234.567, 0.001), ("12 345", None, 12345.0, 1.0), ("-0", None, 0.0, 1.0),
        ("007", None, 7.0, 1.0),
        ("1,234", ",", 1.234, 0.001), ("1,234", ".", 1234.0, 1.0), ("1.234", ",", 1234.0, 1.0),
        ("1.200,5", ",", 1200.5, 0.1),
        ("1,234,567.5", ".", 1234567.5, 0.1), ("\N{MINUS SIGN}2,50", ",", -2.5, 0.01),
        ("2.5E\N{MINUS SIGN}3", ".", 0.0025, 1e-4),
    ],
)  # fmt: skip
def test_a_number_and_the_worth_of_its_last_digit(
    text: str, decimal: str | None, value: float, resolution: float
) -> None:
    number = read_number(text, decimal=decimal)
    assert (number.value, number.text) == (value, text)
    assert number.resolution == pytest.approx(resolution, rel=1e-15)
    assert math.copysign(1.0, number.value) == math.copysign(1.0, value)


@pytest.mark.parametrize("text", ["1,380", "12,345", "-1,234", "1234,567"])
def test_a_lone_comma_before_three_digits_is_ambiguous_and_both_readings_are_named(text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_number(text)
    bare = text.lstrip("-")
    assert bare.replace(",", ".") in caught.value.message
    assert bare.replace(",", "") in caught.value.message


@pytest.mark.parametrize(
    ("text", "decimal"),
    [
        ("1,234.5", None), ("1.234,5", None), ("1,234,567", None), ("1.234.567", None), ("0.75", ","), ("0,75", "."),
        ("0.750", ","), ("1.23,4", ","), ("12.34", ","), ("1 234.567,8", ","), ("1.2345", ","), ("1234,567", "."),
        ("1,2,3", ","), ("1234 567", None), ("12 34", None), ("1  234", None), ("6 1/2", None), ("5.", None),
        ("", None), ("   ", None), ("-", None), (".", None), ("e5", None), ("1e", None), ("1e5.5", None), ("--5", None),
        ("- 5", None), ("NaN", None), ("nan", None), ("inf", None), ("-Infinity", None), ("1e999", None),
        ("1e-999", None),
        ("1e100", None), ("9**9**7", None), ("10**400", None), ("1" + "0" * 400, None), ("1" * 65, None),
        ("1_000", None),
        ("٣", None), ("１２", None), ("1٢", None), ("²", None), ("0x10", None), ("1e" + "9" * 60, None),
        ("1\x00", None),
        ("\ud800", None), ("5\u200b", None), ("1" * 1_000_000, None), ("1/2", None), ("(1)", None), ("1;2", None),
    ],
)  # fmt: skip
def test_what_is_not_one_plain_number_is_refused(text: str, decimal: str | None) -> None:
    with pytest.raises(QuantityError) as caught:
        read_number(text, decimal=decimal)
    assert caught.value.remedy
    str(caught.value).encode()  # safe to print, whatever was typed


def test_a_number_of_64_digits_is_read() -> None:
    assert read_number("1" + "0" * 63).value == 1e63


def test_an_unknown_decimal_mark_is_a_mistake_of_the_program() -> None:
    with pytest.raises(ValueError, match="decimal"):
        read_number("1", decimal=";")


# Hostile text -------------------------------------------------------------------------------------

HOSTILE = [
    "", " ", "bar", "nan bar", "inf bar", "-inf bar", "1e999 bar", "1e400 bar", "10**400 bar", "9**9**7 bar", "9**9**7",
    "1/0 bar", "(" * 150 + "1" + ")" * 40, "1 " + "(" * 190, "1 bar" + "\0", "1\0bar", "1 \ud800",
    "1 bar\N{ZERO WIDTH SPACE}",
    "1 bar\x1b[31m", "1\nbar\rpsi\x07", "1_000 bar", "٣ bar", "1 bar bar", "1 bar*bar", "1 bar·gram", "10 Nm", "10 M",
    "10 mu", "10 cup", "1,2,3 bar", "1,234 psi", "1,234.5 psi", "12,34,56 bar", "10-20 bar", "10..5 bar", "10 20 bar",
    "3 1/2 bar", "10 bar(x)", "10 bar(g)(g)", "10 barg(g)", "10 __import__('os')", "1 bar; DROP TABLE",
    "1" * 150 + " bar",
    "1 " + "bar" * 60, "1 \N{ARABIC LIGATURE SALLALLAHOU ALAYHE WASALLAM}" * 20, "1 @ at @ at", "1  ² bar",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("kind", ["pressure", "viscosity"])
def test_hostile_text_is_refused_with_a_safe_message(text: str, kind: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, kind)
    assert caught.value.remedy
    message = str(caught.value)
    message.encode()
    assert message.isprintable()
    assert len(message) < 600


@pytest.mark.parametrize("text", ["9" * 5_000_000, "9**" * 1_000_000, " " * 5_000_000, "1 bar" + "(" * 1_000_000])
def test_a_megabyte_of_text_costs_nothing(text: str) -> None:
    started = time.perf_counter()
    for attempt in (
        lambda: read_quantity(text, "pressure"),
        lambda: read_quantity("1", "pressure", unit=text),
        lambda: factor(text, "pressure"),
        lambda: read_number(text),
    ):
        with pytest.raises(QuantityError):
            attempt()
    assert time.perf_counter() - started < 0.2


@given(st.text(max_size=250), st.sampled_from(sorted(KINDS)))
@settings(max_examples=400, deadline=None)
def test_any_text_is_read_or_refused(text: str, kind: str) -> None:
    for unit in (None, text):
        try:
            quantity = read_quantity(text, kind, unit=unit)
        except QuantityError as error:
            str(error).encode()
        else:
            assert math.isfinite(quantity.value)
            assert quantity.resolution > 0


@given(
    st.from_regex(r"[+-]?[0-9., ]{1,12}(e-?[0-9]{1,3})?", fullmatch=True),
    st.sampled_from([(kind, spelling) for k in KINDS for spelling, (kind, _) in spellings(k).items()]),
)
@settings(max_examples=300, deadline=None)
def test_numbers_of_any_shape_are_finite_or_refused(number: str, named: tuple[str, str]) -> None:
    kind, spelling = named
    try:
        quantity = read_quantity(f"{number} {spelling}", kind, temperature_degc=40.0, density_kg_m3=870.0)
    except QuantityError:
        return
    assert math.isfinite(quantity.value)
    assert 0 < quantity.resolution < math.inf


def test_no_outside_text_reaches_pint(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_args: object, **_kwargs: object) -> None:
        raise AssertionError("pint was asked")

    for unit in (each for of_kind in units._UNITS.values() for each in of_kind):
        assert math.isfinite(unit.factor + unit.zero)  # our own literals, each asked once
    entries = ("parse_expression", "parse_units", "parse_unit_name", "parse_units_as_container", "Quantity", "convert")
    for name in entries:
        monkeypatch.setattr(pint.UnitRegistry, name, refuse)
    monkeypatch.setattr(pint, "UnitRegistry", refuse)
    with pytest.raises(AssertionError, match="pint was asked"):
        pint.UnitRegistry()
    for text, kind, *_ in TYPED:
        read_quantity(text, kind)
    for text in HOSTILE:
        with pytest.raises(QuantityError):
            read_quantity(text, "pressure")
    read_quantity("150 SUS at 100 °F", "viscosity")
    factor("gpm", "flow")
    show(1379.0, "pressure", "us")
    assert not any(isinstance(value, pint.registry.UnitRegistry) for value in vars(units).values())


def test_the_module_imports_only_what_it_needs() -> None:
    nodes = list(ast.walk(ast.parse(Path(units.__file__).read_text(encoding="utf-8"))))
    imported = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}
    foreign = {name.split(".")[0] for name in imported} - set(sys.stdlib_module_names)
    assert foreign == {"pint", "chemicals", "specdb"}  # tables (pandas) stay out of reading one quantity


# Saybolt seconds and dynamic viscosity ------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "mm2_s"),
    [
        # chemicals 1.5, viscosity_converter, printed to six digits
        ("58.837 SUS at 100 degF", 10.0), ("150.488 SUS at 100 °F", 32.0), ("214.193 SSU @ 100 F", 46.0),
        ("463.463 SUS at 37.7778 °C", 100.0), ("150 SUS at 100 degF", 31.8915),
    ],
)  # fmt: skip
def test_saybolt_seconds_at_100_degf(text: str, mm2_s: float) -> None:
    quantity = read_quantity(text, "viscosity")
    assert quantity.value == pytest.approx(mm2_s, rel=2e-5)
    assert quantity.unit == "SUS"
    assert "ASTM D2161" in (quantity.note or "")


@pytest.mark.parametrize(("degf", "seconds_per_mm2_s"), [(100, 4.632), (210, 4.664)])
def test_saybolt_seconds_of_thick_oil(degf: int, seconds_per_mm2_s: float) -> None:
    # ASTM D2161, "Standard Practice for Conversion of Kinematic Viscosity to Saybolt Universal Viscosity":
    # above 75 mm²/s SUS = 4.632 ν at 100 °F and 4.664 ν at 210 °F
    for mm2_s in (300.0, 1000.0, 4000.0):
        quantity = read_quantity(f"{seconds_per_mm2_s * mm2_s:.3f} SUS at {degf} °F", "viscosity")
        assert quantity.value == pytest.approx(mm2_s, rel=3e-4)


@given(st.floats(min_value=2.0, max_value=4300.0), st.floats(min_value=-17.0, max_value=176.0))
@settings(max_examples=100, deadline=None)
def test_saybolt_seconds_round_trip(mm2_s: float, at_degc: float) -> None:
    growth = 1 + 0.000061 * (at_degc * 1.8 + 32 - 100)
    seconds = growth * viscosity_converter(mm2_s * 1e-6, "kinematic viscosity", "saybolt universal")
    try:
        quantity = read_quantity(f"{seconds:.9f} SUS", "viscosity", temperature_degc=at_degc)
    except QuantityError:
        assert not 31.0 * 1.0001 < seconds / growth < 20000.0 * 0.9999
        return
    assert quantity.value == pytest.approx(mm2_s, rel=1e-7)


def test_the_last_digit_of_saybolt_seconds_follows_the_slope() -> None:
    # 4.632 s for one mm²/s (ASTM D2161, above 75 mm²/s)
    assert read_quantity("2000 SUS at 100 °F", "viscosity").resolution == pytest.approx(1 / 4.632, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "at_degc", "needle"),
    [
        ("150 SUS", None, "temperature"), ("30 SUS at 100 °F", None, "31 to 20000"), ("0 SUS at 100 °F", None, "31 to"),
        ("-150 SUS at 100 °F", None, "31 to"), ("20100 SUS at 100 °F", None, "31 to 20000"),
        ("150 SUS at 100", None, "no unit"),
        ("150 SUS at 900 °F", None, "not converted"), ("150 SUS at 100 °F", 50.0, "measured at"),
        ("150 SUS", math.nan, "not"),
        ("150 SUS at 10 bar", None, "pressure"), ("1e60 SUS at 100 °F", None, "31 to"),
        ("46 cSt at 40 °C", None, "Saybolt"),
    ],
)  # fmt: skip
def test_saybolt_seconds_that_cannot_be_converted(text: str, at_degc: float | None, needle: str) -> None:
    with pytest.raises(QuantityError, match=needle):
        read_quantity(text, "viscosity", temperature_degc=at_degc)


@pytest.mark.parametrize("text", ["43.5 cP", "43.5 mPa·s", "43.5 mPa s", "0.0435 Pa.s"])
def test_dynamic_viscosity_takes_a_density(text: str) -> None:
    quantity = read_quantity(text, "viscosity", density_kg_m3=870.0)
    assert quantity.value == pytest.approx(43.5 / 870.0 * 1000.0, rel=1e-12)  # ν = μ/ρ
    assert "870" in (quantity.note or "")


@pytest.mark.parametrize("density", [None, 0.0, -870.0, math.nan, math.inf])
def test_dynamic_viscosity_without_a_density_is_refused(density: float | None) -> None:
    with pytest.raises(QuantityError, match="State the density"):
        read_quantity("43.5 cP", "viscosity", density_kg_m3=density)


@pytest.mark.parametrize("text", ["-273.16 °C", "-460 °F", "-1 K", "-1e50 °C"])
def test_nothing_is_colder_than_absolute_zero(text: str) -> None:
    with pytest.raises(QuantityError, match="absolute zero"):
        read_quantity(text, "temperature")


@pytest.mark.parametrize("text", ["3 0/0 in", "3 5/4 in", "1/0 in", "3 1/ in", "3 /2 in", "1 1/1000 in"])
def test_only_proper_fractions_are_read(text: str) -> None:
    with pytest.raises(QuantityError):
        read_quantity(text, "length")


def test_a_fraction_is_known_to_its_denominator() -> None:
    assert read_quantity("3 7/16 in", "length").value == pytest.approx(3.4375 * 25.4)
    assert read_quantity("3 7/16 in", "length").resolution == pytest.approx(25.4 / 16)
    assert read_quantity("-1/2 in", "length").value == pytest.approx(-12.7)


# Tables and answers -------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", ["°F", "K", "SUS", "cP", "mPa·s", "SUS at 100 °F"])
def test_what_no_factor_converts_has_none(unit: str) -> None:
    kind = "temperature" if unit in ("°F", "K") else "viscosity"
    with pytest.raises(QuantityError, match="one factor"):
        factor(unit, kind)


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_spelling_is_read_and_leads_to_a_code_that_is_read(kind: str) -> None:
    conditions = {"temperature_degc": 40.0, "density_kg_m3": 870.0} if kind == "viscosity" else {}
    for spelling, (of_kind, code) in spellings(kind).items():
        assert of_kind == kind
        spelled = read_quantity(f"150 {spelling}", kind, **conditions)
        assert spelled.unit == code, spelling
        coded = read_quantity(f"150 {code}", kind, **conditions)
        assert (coded.value, coded.unit) == (spelled.value, code)
        if code not in {"°F", "K", "SUS", "cP", "mPa·s", "Pa·s"}:
            assert spelled.value == pytest.approx(150 * factor(spelling, kind), rel=1e-15)
    assert canonical_unit(kind) in {code for _, code in spellings(kind).values()}


def test_a_spelling_never_means_two_units_of_one_kind() -> None:
    for kind in KINDS:
        folded: dict[str, str] = {}
        for spelling, (_, code) in spellings(kind).items():
            assert folded.setdefault(units._fold(spelling), code) == code, spelling


def test_all_spellings_are_listed() -> None:
    listed = spellings()
    assert set(listed) == {spelling for kind in KINDS for spelling in spellings(kind)}
    assert listed["gpm"] == ("flow", "US gpm")
    assert listed["mm"] == ("length", "mm")
    assert listed["um"] == ("size", "µm")


def test_an_unknown_kind_is_a_mistake_of_the_program() -> None:
    for attempt in (
        lambda: read_quantity("1 bar", "colour"),
        lambda: canonical_unit("colour"),
        lambda: factor("bar", "colour"),
    ):
        with pytest.raises(ValueError, match="no such kind"):
            attempt()
    with pytest.raises(ValueError, match="units must be"):
        express(1.0, "flow", "uk")
    with pytest.raises(ValueError, match="scale"):
        show(1.0, "flow", scale="c")


@pytest.mark.parametrize(
    ("value", "kind", "system", "scale", "text"),
    [
        (75.0, "flow", "si", None, "75 L/min"), (75.0, "flow", "us", None, "19.81 US gpm"),
        (1378.951458633672, "pressure", "us", None, "200 psi"), (1378.951458633672, "pressure", "si", None, "1379 kPa"),
        (12345.6, "pressure", "si", None, "12346 kPa"), (10.0, "size", "si", "c", "10 µm(c)"),
        (10.0, "size", "us", "acftd", "10 µm(ACFTD)"), (10.0, "size", "si", "?", "10 µm(?)"),
        (10.0, "size", "si", None, "10 µm"),
        (100.0, "temperature", "us", None, "212 °F"), (-0.0, "temperature", "si", None, "0 °C"),
        (32.0, "viscosity", "us", None, "32 mm²/s"),
        (9.99996, "mass", "si", None, "10 g"), (0.000123456, "mass", "si", None, "0.0001235 g"),
        (88.9, "length", "us", None, "3.5 in"), (125.0, "opening", "us", None, "125 µm"),
        (37.85411784, "volume", "us", None, "10 US gal"), (2.0, "mass_rate", "us", None, "2 g/h"),
        (1e8, "count_rate", "si", None, "100000000 1/min"),
    ],
)  # fmt: skip
def test_shown_as_read_aloud(value: float, kind: str, system: str, scale: str | None, text: str) -> None:
    assert show(value, kind, system, scale) == text


@given(
    st.floats(min_value=1e-9, max_value=1e12),
    st.sampled_from(sorted(KINDS)),
    st.sampled_from(["si", "us"]),
)
@settings(max_examples=300, deadline=None)
def test_what_is_shown_reads_back_within_its_printed_digits(value: float, kind: str, system: str) -> None:
    scale = "c" if kind == "size" else None
    again = read_quantity(show(value, kind, system, scale), kind)
    number, code = express(value, kind, system)
    # trailing zeros are trimmed: four digits are right to half of the fourth; larger printed integers to half of one
    shown_step = 10.0 ** (math.floor(math.log10(abs(number))) - 3) if number else 1.0
    tolerance = 0.5001 * shown_step * (factor(code, kind) if code != "°F" else 5 / 9) + 1e-9
    assert abs(again.value - value) <= tolerance
    assert (again.unit, again.scale) == (code, scale)


@given(
    st.floats(min_value=-200.0, max_value=1e9).map(lambda value: round(value, 6)),
    st.sampled_from(sorted(KINDS)),
    st.sampled_from(["si", "us"]),
)
@settings(max_examples=200, deadline=None)
def test_expressed_values_read_back(value: float, kind: str, system: str) -> None:
    number, code = express(value, kind, system)
    assert read_quantity(f"{number!r} {code}", kind, decimal=".").value == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_eight_threads_get_the_same_answers() -> None:
    def read_all(_: int) -> list[float]:
        mine = [read_quantity(text, kind).value for text, kind, *_ in TYPED]
        return [*mine, read_quantity("150 SUS at 100 °F", "viscosity").value]

    expected = read_all(0)
    with ThreadPoolExecutor(8) as pool:
        assert all(answer == expected for answer in pool.map(read_all, range(64)))


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("75 psi", ("pressure",)),
        ("psi", ("pressure",)),
        ("1/mL", ("counts",)),
        ("1/100 mL", ("counts",)),
        ("5 1/100mL", ("counts",)),
        ("10 mm", ("size", "length", "opening")),
        ("10 um(c)", ("size",)),
        ("10 um", ("size", "opening")),
        ("3 1/2 in", ("length", "opening")),
        ("75 L", ("volume",)),
        ("1/min", ("count_rate",)),
        ("5 1/min", ("count_rate",)),
        ("2 g/h", ("mass_rate",)),
        ("150 SUS at 100 degF", ("viscosity",)),
        ("cP", ("viscosity",)),
        ("75", ()),
        ("furlong", ()),
        ("", ()),
    ],
)
def test_kinds_that_a_unit_measures(text: str, kinds: tuple[str, ...]) -> None:
    assert kinds_of(text) == kinds


@pytest.mark.parametrize(("kind", "spelling"), [(k, s) for k in KINDS for s in spellings(k)])
def test_restated_in_any_unit_a_quantity_reads_back(kind: str, spelling: str) -> None:
    known: dict[str, float] = {"density_kg_m3": 870.0, "temperature_degc": 40.0} if kind == "viscosity" else {}
    quantity = read_quantity(f"50 {KINDS[kind]}", kind)
    value, code = restate(quantity, spelling, **known)
    assert code == spellings(kind)[spelling][1]
    assert read_quantity(f"{value!r} {spelling}", kind, **known).value == pytest.approx(50.0, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "kind", "unit"), [("75 psig", "pressure", "bar(a)"), ("5 um(c)", "size", "um(acftd)")]
)
def test_no_factor_changes_a_reference_or_a_scale(text: str, kind: str, unit: str) -> None:
    with pytest.raises(QuantityError, match="no factor"):
        restate(read_quantity(text, kind), unit)
