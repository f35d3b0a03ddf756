"""Quantities at the door: read what people type, print what people read.

A strict pattern reads the number, our own table of spellings names the unit, and one factor for each
unit converts it. The factors come from pint, each once, when it is first needed: pint takes a quarter of
a second to start, which a command that meets canonical units alone need not wait for. Its parser sees
our own literals only, never a caller's text. A script may hand in quantities of its own by `of_pint` and
gets them back by `as_pint`.

Inside the program a quantity is a float in the canonical unit of its kind (``KINDS``). The
exceptions to "one factor for each unit" are degrees Fahrenheit and kelvins (an offset as well),
Saybolt seconds (ASTM D2161, at their temperature) and dynamic viscosity (only with a density).
"""

from __future__ import annotations

import math
import re
import sys
import unicodedata
from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, TypeGuard, cast

from specdb.errors import QuantityError, shown

if TYPE_CHECKING:
    import pint

TEXT_LIMIT = 200
"""Longest text looked at, in characters; anything longer is refused before any other work."""
NUMBER_LIMIT = 64
"""Longest number read, in characters."""

KINDS: Mapping[str, str] = MappingProxyType(
    {
        "flow": "L/min",
        "viscosity": "mm²/s",
        "density": "kg/m³",
        "pressure": "kPa",
        "size": "µm",
        "mass": "g",
        "length": "mm",
        "temperature": "°C",
        "time": "h",
        "concentration": "mg/L",
        "counts": "1/mL",
        "percent": "%",
        "volume": "L",
        "mass_rate": "g/h",
        "count_rate": "1/min",
        "opening": "µm",
    }
)
"""Kind of quantity: the code of its canonical unit."""

_US_CUSTOMARY = {
    "flow": "US gpm", "density": "lb/ft³", "pressure": "psi", "length": "in", "temperature": "°F", "volume": "US gal",
}  # fmt: skip
"""What a US reader is shown. Other kinds keep the canonical unit: the US trade, too, states particle
sizes in micrometres, dirt in grams and viscosity in centistokes (common practice)."""

UnitSystem = Literal["si", "us"]
"""What a reader is shown: SI units, or those that the US trade uses."""

_KIND_WORDS = {
    "size": "a particle size", "counts": "a particle count", "percent": "a percentage", "mass_rate": "a mass per time",
    "count_rate": "a number of particles per time", "opening": "an opening",
}  # fmt: skip


# --------------------------------------------------------------------------------------------------
# the units we know

Conversion = Literal["factor", "offset", "saybolt", "dynamic"]


@dataclass(frozen=True)
class _Unit:
    """One unit: canonical value = (value - zero) * factor. ``zero`` is the canonical zero, in this unit.

    ``saybolt`` seconds have no factor (1 is told); ``dynamic`` viscosity's factor leads to mPa·s.
    """

    kind: str
    code: str
    conversion: Conversion = "factor"

    @property
    def factor(self) -> float:
        if self.conversion == "saybolt":
            return 1.0
        return _factor(self.code, "mPa·s" if self.conversion == "dynamic" else KINDS[self.kind])

    @property
    def zero(self) -> float:
        return _zero(self.code) if self.conversion == "offset" else 0.0


# code, our literal for pint, spellings beside the code (separated by "|")
_DECLARED: dict[str, tuple[tuple[str, str, str], ...]] = {
    "flow": (
        ("L/min", "liter/minute", "lpm|l.p.m.|litre/min|litres/min|liter/min|liters/min|litres per minute|"
         "liters per minute|litre/minute|liter/minute|L per min|L/minute|dm3/min"),
        ("L/s", "liter/second", "lps|L/sec|litres/s|liters/s|litres per second|liters per second|dm3/s"),
        ("L/h", "liter/hour", "lph|L/hr|litres/h|liters/h|litres per hour|liters per hour"),
        ("m³/h", "meter**3/hour", "m3/hr|m3h|cubic metres per hour|cubic meters per hour"),
        ("US gpm", "gallon/minute", "gpm|g.p.m.|usgpm|U.S. gpm|gpm (US)|gpm US|gal/min|gals/min|US gal/min|USgal/min|"
         "gallons/min|gallons per minute|US gallons per minute"),
        ("imp gpm", "imperial_gallon/minute", "imperial gpm|UK gpm|igpm|gpm (imp)|imp gal/min|imperial gal/min|"
         "UK gal/min|imperial gallons per minute"),
        ("cfm", "foot**3/minute", "ft3/min|cu ft/min|cubic feet per minute"),
    ),
    "viscosity": (
        ("mm²/s", "millimeter**2/second", "mm2/sec"),
        ("cSt", "centistokes", "centistokes|centistoke"),
        ("St", "stokes", "stokes|stoke"),
        ("m²/s", "meter**2/second", "m2/sec"),
        ("ft²/s", "foot**2/second", "ft2/sec"),
    ),
    "density": (
        ("kg/m³", "kilogram/meter**3", "kg per m3"),
        ("g/cm³", "gram/centimeter**3", "g/cc"),
        ("g/mL", "gram/milliliter", ""),
        ("kg/L", "kilogram/liter", "kg/dm3"),
        ("lb/ft³", "pound/foot**3", "lbs/ft3|lb/cu ft|lbs/cu ft|pcf"),
    ),
    "pressure": (
        ("kPa", "kilopascal", "kilopascal|kilopascals"),
        ("MPa", "megapascal", "megapascal|megapascals|N/mm2"),
        ("Pa", "pascal", "pascal|pascals|N/m2"),
        ("mPa", "millipascal", "millipascal|millipascals"),
        ("bar", "bar", "bars"),
        ("mbar", "millibar", "millibar|millibars"),
        ("psi", "psi", "lbf/in2|lb/in2|lbs/in2|lb/sq in|lbs/sq in|p.s.i.|pounds per square inch"),
        ("kgf/cm²", "kilogram_force/centimeter**2", "kg/cm2|kp/cm2"),
        # the conventional columns: water of 1 kg/L, mercury as conventional, standard gravity
        ("inH₂O", "inch*kilogram_force/decimeter**3", "in H2O|inch H2O|inches H2O|inches of water|inch of water|in wc|"
         "inWC|in. H2O|\" H2O|\"H2O"),
        ("mmH₂O", "millimeter*kilogram_force/decimeter**3", "mm H2O|mm wc|mmWC"),
        ("inHg", "inch_Hg", "in Hg|inch Hg|inches Hg|inches of mercury|in. Hg|\" Hg|\"Hg"),
    ),
    "size": (
        ("µm", "micrometer", "um|µ|u|micron|microns|micrometre|micrometres|micrometer|micrometers"),
        ("mil", "thou", "mils|thou"),
        ("mm", "millimeter", ""),
    ),
    "mass": (
        ("g", "gram", "gram|grams|gramme|grammes|gr."),
        ("mg", "milligram", "milligram|milligrams"),
        ("kg", "kilogram", "kilogram|kilograms|kgs"),
        ("lb", "pound", "lbs|pound|pounds"),
        ("oz", "ounce", "ounce|ounces"),
    ),
    "length": (
        ("mm", "millimeter", "millimetre|millimetres|millimeter|millimeters"),
        ("cm", "centimeter", "centimetre|centimetres|centimeter|centimeters"),
        ("m", "meter", "metre|metres|meter|meters"),
        ("in", "inch", "inch|inches|\"|''|ins"),
        ("ft", "foot", "foot|feet"),
    ),
    "temperature": (
        ("°C", "degC", "degC|deg C|deg. C|C|celsius|deg celsius|degrees C|degrees celsius|degree C"),
        ("°F", "degF", "degF|deg F|deg. F|F|fahrenheit|deg fahrenheit|degrees F|degrees fahrenheit|degree F"),
        ("K", "kelvin", "kelvin|kelvins"),
    ),
    "time": (
        ("h", "hour", "hr|hrs|hour|hours"),
        ("min", "minute", "mins|minute|minutes"),
        ("s", "second", "sec|secs|second|seconds"),
        ("d", "day", "day|days"),
    ),
    "concentration": (
        ("mg/L", "milligram/liter", "mg/litre|mg/liter|mg per litre|g/m3"),
        ("g/L", "gram/liter", "g/litre|g/liter"),
    ),
    "counts": (
        ("1/mL", "1/milliliter", "/mL|particles/mL|counts/mL|particles per mL|1/cm3|/cm3"),
        ("1/100mL", "1/deciliter", "1/100 mL|/100mL|/100 mL|particles/100mL|particles/100 mL|counts/100mL"),
    ),
    "percent": (("%", "percent", "percent|per cent|pct"),),
    "volume": (
        ("L", "liter", "litre|litres|liter|liters|dm3"),
        ("mL", "milliliter", "millilitre|millilitres|milliliter|milliliters|cm3"),
        ("m³", "meter**3", "cubic metre|cubic metres|cubic meter|cubic meters"),
        ("US gal", "gallon", "gal|gallon|gallons|USgal|U.S. gal|gal (US)|US gallon|US gallons"),
        ("imp gal", "imperial_gallon", "UK gal|imperial gal|gal (imp)|imperial gallon|imperial gallons|UK gallons"),
        ("ft³", "foot**3", "cu ft|cubic foot|cubic feet"),
        ("in³", "inch**3", "cu in|cubic inch|cubic inches"),
    ),
    "mass_rate": (
        ("g/h", "gram/hour", "g/hr|gram/hour|grams/hour|gram per hour|grams per hour"),
        ("mg/h", "milligram/hour", "mg/hr|milligrams/hour|milligrams per hour"),
        ("kg/h", "kilogram/hour", "kg/hr|kilograms per hour"),
        ("g/min", "gram/minute", "grams/minute|grams per minute"),
        ("mg/min", "milligram/minute", "milligrams/minute|milligrams per minute"),
        ("g/d", "gram/day", "g/day|grams/day|grams per day|g/24h"),
    ),
    "count_rate": (
        ("1/min", "1/minute", "/min|particles/min|particles/minute|particles per minute|counts/min"),
        ("1/s", "1/second", "/s|1/sec|particles/s|particles/second|particles per second|counts/s"),
        ("1/h", "1/hour", "/h|1/hr|particles/h|particles/hour|particles per hour|counts/h"),
        ("1/d", "1/day", "/d|1/day|particles/day|particles per day|counts/day"),
    ),
    "opening": (
        ("µm", "micrometer", "um|µ|u|micron|microns|micrometre|micrometres|micrometer|micrometers"),
        ("mm", "millimeter", "millimetre|millimetres|millimeter|millimeters"),
        ("mil", "thou", "mils|thou"),
        ("in", "inch", "inch|inches|\"|''|ins"),
    ),
}
_DYNAMIC = (
    ("cP", "centipoise", "centipoise|cps"),
    ("mPa·s", "millipascal*second", "mPa s|mPas"),
    ("Pa·s", "pascal*second", "Pa s"),
)
_SAYBOLT_SPELLINGS = "SSU|SUS|saybolt universal seconds|saybolt seconds|saybolt"

_GPM_NOTE = "gpm read as US gallons per minute"
_GALLON_NOTE = "gallons read as US gallons"
_NOTES = dict.fromkeys(("gpm", "g.p.m", "gal/min", "gals/min", "gallons/min", "gallons/minute"), _GPM_NOTE)
_NOTES |= dict.fromkeys(("gal", "gallon", "gallons"), _GALLON_NOTE)
_MILLI = {"mPa", "mbar", "mm", "mg", "mg/L", "mPa·s", "mm²/s", "mmH₂O", "mL", "mg/h", "mg/min"}
"""Codes whose m a capital M would turn into mega."""


_LITERALS = {
    code: expression for declared in _DECLARED.values() for code, expression, _ in declared
} | {code: expression for code, expression, _ in _DYNAMIC}  # fmt: skip
"""Code of a unit: our literal for pint."""


def _tidy(number: float) -> float:
    """Exact decimals back from pint's chain of products (3.785411783999999 is 3.785411784 by definition)."""
    short = float(f"{number:.13g}")
    return short if math.isclose(short, number, rel_tol=4e-15, abs_tol=0.0) else number


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(cache_folder=None)


_DIFFERENCES = {"degC": "delta_degC", "degF": "delta_degF", "kelvin": "delta_degC"}


@cache
def _factor(code: str, canonical: str) -> float:
    """Canonical units in one unit, both by their codes; of temperatures in one degree."""
    if code == canonical:
        return 1.0
    one, to = (_DIFFERENCES.get(_LITERALS[each], _LITERALS[each]) for each in (code, canonical))
    return _tidy(float(_registry().Quantity(1.0, one).to(to).magnitude))


@cache
def _zero(code: str) -> float:
    """0 °C in another unit of temperature."""
    return _tidy(float(_registry().Quantity(0.0, "degC").to(_LITERALS[code]).magnitude))


def _build() -> dict[str, tuple[_Unit, ...]]:
    """Every unit, by kind."""
    units = {
        kind: tuple(
            _Unit(kind, code, "offset" if kind == "temperature" and code != KINDS[kind] else "factor")
            for code, _, _ in declared
        )
        for kind, declared in _DECLARED.items()
    }
    units["viscosity"] += (
        _Unit("viscosity", "SUS", "saybolt"),
        *(_Unit("viscosity", code, "dynamic") for code, _, _ in _DYNAMIC),
    )
    return units


# --------------------------------------------------------------------------------------------------
# spellings

_LOOK_ALIKES = str.maketrans(
    {
        "\N{MASCULINE ORDINAL INDICATOR}": "°",
        "\N{RING ABOVE}": "°",
        "\N{DOUBLE PRIME}": '"',
        "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
        "\N{LEFT DOUBLE QUOTATION MARK}": '"',
        "\N{DOT OPERATOR}": ".",
        "\N{BULLET OPERATOR}": ".",
        "\N{BULLET}": ".",
        "\N{MIDDLE DOT}": ".",
    }
)


def _fold(text: str) -> str:
    """One form for the ways of writing one unit: signs, powers, dots and spaces; case is left alone."""
    text = unicodedata.normalize("NFKC", text.translate(_LOOK_ALIKES)).replace("\N{GREEK SMALL LETTER MU}", "u")
    text = re.sub(r"(?:\^|\*\*)(?=[23](?![0-9]))", "", text).replace("*", ".")
    text = " ".join(text.split())
    text = re.sub(r"(?:^| )per ", "/", text, flags=re.IGNORECASE)
    text = re.sub(r" ?([/.()]) ?", r"\1", text)
    return text.replace("° ", "°").removesuffix(".")


@dataclass(frozen=True)
class _Spelled:
    unit: _Unit
    reference: str | None = None
    note: str | None = None


def _spellings_of(units: Mapping[str, tuple[_Unit, ...]]) -> dict[str, dict[str, _Unit]]:
    """Kind: every spelling as we print it in the documentation: its unit."""
    by_kind: dict[str, dict[str, _Unit]] = {}
    for kind, of_kind in units.items():
        typed = {code: others for code, _, others in (*_DECLARED[kind], *_DYNAMIC)} | {"SUS": _SAYBOLT_SPELLINGS}
        by_kind[kind] = {
            spelling: unit for unit in of_kind for spelling in (unit.code, *filter(None, typed[unit.code].split("|")))
        }
    return by_kind


_REFERENCE_OF = {
    "g": "gauge", "gauge": "gauge", "a": "absolute", "abs": "absolute", "absolute": "absolute",
    "d": "differential", "diff": "differential", "differential": "differential",
}  # fmt: skip
_REFERENCE = re.compile(r"^(.+?)(?:\((g|gauge|a|abs|absolute|d|diff|differential)\)| (gauge|abs|absolute|diff|"
                        r"differential))$", re.IGNORECASE)  # fmt: skip
_REFERENCED_CODES = ("psi", "bar", "mbar", "kPa", "MPa", "mPa", "kgf/cm²")
_SCALE = re.compile(r"^(.*?)(?:\((c|acftd|\?)\)| (acftd))$", re.IGNORECASE)
_AT_TEMPERATURE = re.compile(r"^(.+?) ?(?:@| at ) ?(.+)$", re.IGNORECASE)


def _table(by_kind: Mapping[str, Mapping[str, _Unit]]) -> dict[str, dict[str, _Spelled]]:
    """Kind: folded spelling: what it names. Pressures with a glued reference ("psig") stand here too."""
    table: dict[str, dict[str, _Spelled]] = {}
    for kind, spelled in by_kind.items():
        table[kind] = {
            _fold(spelling): _Spelled(unit, note=_NOTES.get(_fold(spelling))) for spelling, unit in spelled.items()
        }
    for code in _REFERENCED_CODES:
        for letter in "gad":
            unit = by_kind["pressure"][code]
            table["pressure"][_fold(code) + letter] = _Spelled(unit, _REFERENCE_OF[letter])
    return table


_UNITS = _build()
_SPELLINGS = _spellings_of(_UNITS)
_TABLE = _table(_SPELLINGS)
_CASELESS: dict[str, dict[str, tuple[str, ...]]] = {
    kind: {
        folded: tuple(s for s in spelled if s.casefold() == folded) for folded in {s.casefold() for s in spelled}
    }
    for kind, spelled in _TABLE.items()
}
"""Kind: spelling without regard to case: the exact spellings it may stand for."""


def spellings(kind: str | None = None) -> Mapping[str, tuple[str, str]]:
    """Every accepted spelling: (kind, code of the unit).

    "mm" measures particles and openings as well as lengths; without ``kind`` it is listed as a length, and "µm" as a
    particle size. Upper and lower case are told apart only where they must be ("mPa", "MPa"). Pressures may also
    carry "(g)", "(a)" or "(d)", sizes "(c)", "(acftd)" or "(?)"; an opening has no scale.
    """
    wanted = sorted(KINDS, key=lambda k: k != "opening") if kind is None else (_known(kind),)
    return {spelling: (k, unit.code) for k in wanted for spelling, unit in _SPELLINGS[k].items()}


# --------------------------------------------------------------------------------------------------
# units within names

_LOWER_CASE_IS = {"mpa": "MPa"}
"""Names in which upper and lower case cannot tell what is meant: nobody states millipascals there (common practice)."""


def _as_in_name(spelling: str) -> str:
    """A spelling as it can stand within a name: "L/min" is ``l_min``, "1/mL" ``per_ml``, "°C" ``degc``."""
    text = re.sub("^1?/", "per ", _fold(spelling).casefold()).replace("°", "deg").replace("%", "percent")
    return re.sub("[^a-z0-9]+", "_", text).strip("_")


@cache
def _in_names() -> Mapping[str, str]:
    found: dict[str, str] = {}
    for spelled in _SPELLINGS.values():
        for spelling in spelled:
            found.setdefault(_as_in_name(spelling), spelling)
    sizes = {_as_in_name(spelling): spelling for spelling in _SPELLINGS["size"]}
    scaled = {f"{name}_{scale}": f"{unit}({scale})" for name, unit in sizes.items() for scale in ("c", "acftd")}
    return {name: unit for name, unit in (found | scaled | _LOWER_CASE_IS).items() if name}


def name_and_unit(name: str, known: Container[str]) -> tuple[str, str] | None:
    """The name and the unit of a number that stands under a name with its unit in it: of ``flow_l_min`` they are
    "flow" and "L/min", of ``size_um_c`` "size" and "um(c)". None where no name that is ``known`` is followed by a unit.
    """
    parts = name.split("_")
    for place in range(len(parts) - 1, 0, -1):
        stem, unit = "_".join(parts[:place]), _in_names().get("_".join(parts[place:]).casefold())
        if unit is not None and stem in known:
            return stem, unit
    return None


# --------------------------------------------------------------------------------------------------
# numbers

_SPACE = "[ \N{NO-BREAK SPACE}\N{THIN SPACE}\N{NARROW NO-BREAK SPACE}]"
_SIGN = "[+\\-\N{MINUS SIGN}]"
_NUMBER = re.compile(
    rf"(?P<sign>{_SIGN}?)(?P<mantissa>[0-9]+(?:{_SPACE}[0-9]{{3}}(?![0-9]))*(?:[.,][0-9]+)*|[.,][0-9]+)"
    rf"(?:[eE](?P<exponent>{_SIGN}?[0-9]+))?"
)
_FRACTION = re.compile(
    rf"(?P<sign>{_SIGN}?)(?:(?P<whole>[0-9]{{1,6}})(?:{_SPACE}+|-))?(?P<over>[0-9]{{1,3}})/(?P<under>[0-9]{{1,3}})(?![0-9])"
)
_FRACTIONED = ("length", "opening")
"""Kinds that are written with a fraction."""
_LARGEST_EXPONENT = 99
_NUMBER_REMEDY = 'Write one plain number, such as "0.75", "1200" or "1.2e3".'
_REFUSED_CATEGORIES = {"Cc", "Cf", "Cs", "Co", "Cn"}


@dataclass(frozen=True)
class Number:
    """What the strict pattern read. ``resolution`` is the worth of the last printed digit."""

    value: float
    resolution: float
    text: str


def _trimmed(text: str, what: str) -> str:
    """``text`` without surrounding space, once its length and characters are known to be harmless."""
    if len(text) > TEXT_LIMIT:
        raise QuantityError(
            f"The {what} is {len(text)} characters long.", value=text[:TEXT_LIMIT],
            remedy=f"Write it in at most {TEXT_LIMIT} characters.",
        )  # fmt: skip
    text = text.strip()
    if any(unicodedata.category(c) in _REFUSED_CATEGORIES for c in text):
        raise QuantityError(
            f'The {what} "{shown(text)}" holds characters that cannot be printed.', value=text,
            remedy="Type it again by hand; something invisible was copied along.",
        )  # fmt: skip
    return text


def _plain_mantissa(mantissa: str, decimal: str | None, text: str, unit: str = "") -> str:
    """Digits with at most one point, from digits with a file's marks in them; a remedy tells the ``unit``."""
    groups = re.split(_SPACE, mantissa)
    spaced = len(groups) > 1
    if spaced and len(groups[0]) > 3:
        raise QuantityError(f'"{shown(text)}" is not one number.', value=text, remedy=_NUMBER_REMEDY)
    digits = "".join(groups)
    marks = [c for c in digits if c in ".,"]
    if decimal is not None:
        thousands = "," if decimal == "." else "."
        grouped = rf"[1-9][0-9]{{0,2}}(?:{re.escape(thousands)}[0-9]{{3}})+(?:{re.escape(decimal)}[0-9]+)?"
        if not spaced and thousands in marks and re.fullmatch(grouped, digits):
            digits, marks = digits.replace(thousands, ""), [c for c in marks if c == decimal]
        if marks not in ([], [decimal]):
            raise QuantityError(
                f'"{shown(text)}" does not fit the decimal mark declared, "{decimal}".', value=text,
                remedy=f'Write decimals with "{decimal}" and thousands without a mark, such as "1200{decimal}5".',
            )  # fmt: skip
        return digits.replace(decimal, ".")
    if len(marks) > 1:
        raise _undeclared(
            f'"{shown(text)}" mixes or repeats decimal and thousands marks.', text,
            'Leave the thousands mark out, such as "1234.5".',
        )  # fmt: skip
    whole, comma, decimals = digits.partition(",")
    if comma and not spaced and len(decimals) == 3 and whole.strip("0"):
        raise _undeclared(
            f'"{shown(text)}" may mean {whole}.{decimals} or {whole}{decimals}.', text,
            f'Write "{shown(f"{whole}.{decimals}{unit}")}" or "{shown(f"{whole}{decimals}{unit}")}".',
        )  # fmt: skip
    return digits.replace(",", ".")


def _undeclared(message: str, text: str, remedy: str) -> QuantityError:
    """Of marks that only a declaration tells apart. A question has none, so that a file's reader adds that remedy."""
    error = QuantityError(message, value=text, remedy=remedy)
    error.mark_undeclared = True
    return error


def _number(match: re.Match[str], decimal: str | None, rest: str = "", unit: str = "") -> Number:
    text = match.group()
    if len(text) > NUMBER_LIMIT:
        raise QuantityError(
            f"The number is {len(text)} characters long.", value=text,
            remedy=f"Write it in at most {NUMBER_LIMIT} characters.",
        )  # fmt: skip
    mantissa = _plain_mantissa(match["mantissa"], decimal, f"{text}{rest}", rest or unit)
    exponent = int((match["exponent"] or "0").replace("\N{MINUS SIGN}", "-"))
    if abs(exponent) > _LARGEST_EXPONENT:
        raise QuantityError(
            f'"{shown(text)}" is beyond any quantity of the trade.', value=text,
            remedy=f"Write an exponent between -{_LARGEST_EXPONENT} and {_LARGEST_EXPONENT}.",
        )  # fmt: skip
    negative = match["sign"] in ("-", "\N{MINUS SIGN}")
    value = float(f"{'-' if negative else ''}{mantissa}e{exponent}")
    decimals = len(mantissa.partition(".")[2])
    return Number(value + 0.0, float(f"1e{exponent - decimals}"), text)  # + 0.0: no negative zero


def read_number(text: str, *, decimal: str | None = None) -> Number:
    """Read one number as printed.

    ``decimal`` is the mark a file declares, "." or ","; the other one may then stand between groups
    of three digits. Undeclared (None), a lone comma is a decimal comma, but one followed by exactly
    three digits is refused as ambiguous unless the integer part is 0; mixed marks are refused.
    Spaces may stand between groups of three digits. Raises `QuantityError`.
    """
    _known_mark(decimal)
    text = _trimmed(text, "number")
    match = _NUMBER.fullmatch(text)
    if match is None:
        what = f'"{shown(text)}" is not a plain number.' if text else "There is no number."
        raise QuantityError(what, value=text, remedy=_NUMBER_REMEDY)
    return _number(match, decimal)


def _fraction(match: re.Match[str]) -> Number:
    """"3 1/2": known to the fraction's own denominator."""
    under = int(match["under"])
    if under == 0 or int(match["over"]) >= under:
        raise QuantityError(
            f'"{shown(match.group())}" is not a proper fraction.', value=match.group(),
            remedy='Write it such as "3 1/2 in" or "3.5 in".',
        )  # fmt: skip
    value = int(match["whole"] or "0") + int(match["over"]) / under
    return Number(-value if match["sign"] in ("-", "\N{MINUS SIGN}") else value, 1.0 / under, match.group())


def _known_mark(decimal: str | None) -> None:
    if decimal not in (None, ".", ","):
        raise ValueError(f'decimal must be ".", "," or None, not {decimal!r}')


# --------------------------------------------------------------------------------------------------
# units


def _known(kind: str) -> str:
    if kind not in KINDS:
        raise ValueError(f"no such kind of quantity: {kind!r}; there are {', '.join(KINDS)}")
    return kind


def _plain(kind: str) -> str:
    return kind.replace("_", " ")


def _words(kind: str) -> str:
    return _KIND_WORDS.get(kind, f"a {kind}")


def _units_that_would_do(kind: str) -> str:
    return ", ".join(unit.code for unit in _UNITS[kind])


@dataclass(frozen=True)
class _Named:
    """A unit as written: which, and what was written with it."""

    unit: _Unit
    reference: str | None = None
    scale: str | None = None
    note: str | None = None
    measured_at_degc: float | None = None


_SLIPS = {
    ("pressure", "lb"): "psi",
    ("pressure", "kg"): "kgf/cm²",
    ("pressure", "in"): "inH₂O or inHg",
    ("flow", "L"): "L/min",
    ("flow", "US gal"): "US gpm",
    ("flow", "m³"): "m³/h",
    ("mass_rate", "g"): "g/h",
    ("mass_rate", "mg"): "mg/h",
}
"""Kind that is wanted and unit of another kind: the unit that is meant by it in speech (common practice)."""


def _begins_with(folded: str, code: str) -> bool:
    return folded.casefold().startswith(_fold(code).casefold())


def _look_up(folded: str, kind: str) -> _Spelled | None:
    """The unit of ``kind`` under a folded spelling: exact, else without regard to case if only one fits."""
    exact = _TABLE[kind].get(folded)
    if exact is not None:
        return exact
    fitting = _CASELESS[kind].get(folded.casefold(), ())
    found = {_TABLE[kind][spelling].unit.code: _TABLE[kind][spelling] for spelling in fitting}
    if not found:
        return None
    code, spelled = next(iter(found.items()))
    readings = tuple(found)
    if code in _MILLI and folded.startswith("M") and not folded.isupper() and _begins_with(folded, code):
        readings = (code, f"M{code[1:]}")
    if len(readings) > 1:
        raise QuantityError(
            f'The unit "{shown(folded)}" may mean {" or ".join(readings)}; upper and lower case differ here.',
            value=folded, remedy=f"Write {' or '.join(found)}, letter for letter.",
        ).worded("unit")  # fmt: skip
    return spelled


def _reading(folded: str, kind: str) -> _Named | None:
    """``folded`` as a unit of ``kind`` with the marks that kind may carry, or None."""
    spelled = _look_up(folded, kind)
    if spelled is not None:
        return _Named(spelled.unit, spelled.reference, note=spelled.note)
    if kind == "pressure" and (match := _REFERENCE.match(folded)):
        spelled = _look_up(match[1], kind)
        if spelled is not None and spelled.reference is None:
            return _Named(spelled.unit, _REFERENCE_OF[(match[2] or match[3]).lower()])
    if kind == "size" and (match := _SCALE.match(folded)):
        spelled = _look_up(match[1], kind)
        if spelled is not None:
            return _Named(spelled.unit, scale=(match[2] or match[3]).lower())
    if kind == "viscosity" and (match := _AT_TEMPERATURE.match(folded)):
        spelled = _look_up(match[1], kind)
        if spelled is not None and spelled.unit.conversion == "saybolt":
            return _Named(spelled.unit, measured_at_degc=read_quantity(match[2], "temperature").value)
        if spelled is not None:
            raise QuantityError(
                f'"{shown(folded)}" states a temperature, which only Saybolt seconds take.', value=folded,
                remedy="Give the viscosity alone and its temperature in its own place.",
            ).worded("unit")  # fmt: skip
    return None


def _name(text: str, kind: str) -> _Named:
    """The unit of ``kind`` written as ``text``; raises with what it is instead, or what would do."""
    folded = _fold(text)
    named = _reading(folded, kind)
    if named is not None:
        return named
    if kind == "opening" and (match := _SCALE.match(folded)) and (not match[1] or _look_up(match[1], kind)):
        raise QuantityError(
            f'"{shown(text)}" names a scale of particle sizes; an opening has none.', value=text,
            remedy='Write it such as "125 um".',
        ).worded("unit")  # fmt: skip
    remedy = f"Units that would do: {_units_that_would_do(kind)}."
    others = [other for other in KINDS if other != kind and _belongs(folded, other)]
    if others:
        written = {spelled.unit.code for other in others if (spelled := _TABLE[other].get(folded)) is not None}
        meant = [_SLIPS[kind, code] for code in sorted(written) if (kind, code) in _SLIPS]
        raise QuantityError(
            f'"{shown(text)}" is a unit of {_plain(others[0])}; {_words(kind)} was wanted.', value=text,
            remedy=" ".join([*(f"Is {each} meant?" for each in meant[:1]), remedy]),
        ).worded("unit")  # fmt: skip
    unknown = QuantityError(f'"{shown(text)}" is no unit of {_plain(kind)} known here.', value=text, remedy=remedy)
    raise unknown.worded("unit")


def _belongs(folded: str, kind: str) -> bool:
    try:
        return _reading(folded, kind) is not None
    except QuantityError:
        return True  # of this kind, though not well written


def _agreed(text: str, typed: _Named, column: _Named) -> _Named:
    """One unit from the one typed with the number and the one of its column."""
    pairs = (
        ("unit", typed.unit.code, column.unit.code),
        ("reference", typed.reference, column.reference),
        ("scale", typed.scale, column.scale),
        ("temperature", typed.measured_at_degc, column.measured_at_degc),
    )
    for what, own, theirs in pairs:
        if own is not None and theirs is not None and own != theirs:
            raise QuantityError(
                f'"{shown(text)}" says {own}, its column {theirs}: the {what} differs.', value=text,
                remedy="State the unit once, or the same in both places.",
            ).worded("unit")  # fmt: skip
    return _Named(
        typed.unit,
        typed.reference or column.reference,
        typed.scale or column.scale,
        typed.note or column.note,
        column.measured_at_degc if typed.measured_at_degc is None else typed.measured_at_degc,
    )


# --------------------------------------------------------------------------------------------------
# conversion

_ABSOLUTE_ZERO_DEGC = -273.15
_SAYBOLT_REFERENCE_DEGF = 100.0
_SAYBOLT_PER_DEGF = 0.000061
_SAYBOLT_DEGF = (0.0, 350.0)
_SAYBOLT_SECONDS = (31.0, 20000.0)


def _saybolt_growth(at_degc: float, text: str) -> float:
    """Seconds at a temperature over seconds at 100 °F, for one viscosity."""
    at_degf = at_degc * 1.8 + 32.0
    if not _SAYBOLT_DEGF[0] - 1e-9 <= at_degf <= _SAYBOLT_DEGF[1] + 1e-9:
        raise QuantityError(
            f"Saybolt seconds are not converted at {at_degc:.4g} °C.", value=text,
            remedy="Give a temperature from -17.8 to 176.7 °C (0 to 350 °F), or the viscosity in mm²/s.",
        )  # fmt: skip
    return 1.0 + _SAYBOLT_PER_DEGF * (at_degf - _SAYBOLT_REFERENCE_DEGF)


def _mm2_s_to_saybolt(mm2_s: float, at_degc: float, text: str) -> float:
    """Inverse of `_saybolt_to_mm2_s`, over the same table of 31 to 20000 s at 100 °F."""
    growth = _saybolt_growth(at_degc, text)
    lowest, highest = (_saybolt_to_mm2_s(s * growth, 0.0, at_degc, text)[0] for s in _SAYBOLT_SECONDS)
    if not lowest <= mm2_s <= highest:
        raise QuantityError(
            f"{mm2_s:.4g} mm²/s lies outside the table of Saybolt seconds, {lowest:.3g} to {highest:.4g} mm²/s.",
            value=text, remedy="Ask for mm²/s.",
        )  # fmt: skip
    from chemicals.viscosity import viscosity_converter  # as slow to load as seldom needed

    return growth * float(viscosity_converter(mm2_s * 1e-6, "kinematic viscosity", "saybolt universal"))


def _saybolt_to_mm2_s(seconds: float, resolution: float, at_degc: float, text: str) -> tuple[float, float]:
    """Saybolt universal seconds at a temperature [°C] to (kinematic viscosity, resolution) [mm²/s].

    ASTM D2161 as `chemicals.viscosity.viscosity_converter` has it for 100 °F. At another temperature
    the seconds for one viscosity grow by 0.000061 for each °F (from memory; it gives the standard's
    own 4.632 at 100 °F and 4.664 at 210 °F, and its range, 0 to 350 °F, is from memory as well).
    """
    from chemicals.viscosity import viscosity_converter  # as slow to load as seldom needed

    growth = _saybolt_growth(at_degc, text)

    def convert(at: float, extrapolate: bool) -> float:
        return 1e6 * float(viscosity_converter(at / growth, "saybolt universal", "kinematic viscosity", extrapolate))

    try:
        value = convert(seconds, False)
    except ValueError:
        raise QuantityError(
            f'"{shown(text)}" lies outside the table of Saybolt seconds, 31 to 20000 s.', value=text,
            remedy="Give the kinematic viscosity in mm²/s.",
        ) from None  # fmt: skip
    step = 1e-4 * seconds
    slope = (convert(seconds + step, True) - convert(seconds - step, True)) / (2.0 * step)
    return value, slope * resolution


def _measured_at(named: _Named, temperature_degc: float | None, text: str) -> float:
    stated = named.measured_at_degc
    if stated is None:
        if temperature_degc is not None:
            return temperature_degc
        raise QuantityError(
            f'"{shown(text)}" does not say at what temperature.', value=text,
            remedy='Write it such as "150 SUS at 100 °F", or give the viscosity in mm²/s.',
        )  # fmt: skip
    if temperature_degc is not None and abs(stated - temperature_degc) > 0.05:
        raise QuantityError(
            f'"{shown(text)}" was measured at {stated:.4g} °C, not at {temperature_degc:.4g} °C.', value=text,
            remedy="State the seconds at the temperature asked for.",
        )  # fmt: skip
    return stated


def _kinematic_factor(unit: _Unit, density_kg_m3: float | None, text: str) -> float:
    """mm²/s for one ``unit`` of dynamic viscosity: mPa·s / (kg/m³) is 1000 mm²/s."""
    if density_kg_m3 is None or not (math.isfinite(density_kg_m3) and density_kg_m3 > 0.0):
        raise QuantityError(
            f'"{shown(text)}" is a dynamic viscosity; a kinematic one was wanted.', value=text,
            remedy="State the density with it (above 0 kg/m³), or give the viscosity in mm²/s.",
        ).worded("unit")  # fmt: skip
    return unit.factor * 1000.0 / density_kg_m3


@dataclass(frozen=True)
class Quantity:
    """A quantity as read.

    ``value`` and ``resolution`` (worth of the last printed digit; for a temperature, as a difference)
    are in the canonical unit of ``kind``; ``text`` is what was typed, ``unit`` our code of its unit.
    ``reference`` ("gauge", "differential", "absolute") stands beside a pressure and is not converted;
    ``scale`` beside a particle size is "c", "acftd" or "?" (none written).
    """

    kind: str
    value: float
    resolution: float
    text: str
    unit: str
    reference: str | None = None
    scale: str | None = None
    note: str | None = None


def _split(text: str, kind: str, decimal: str | None, heading: str | None = None) -> tuple[Number, str]:
    """The number that ``text`` begins with, and the rest. What would be right of a number that may mean two is told
    with the unit that was typed, else with that of its ``heading``, else with the canonical one."""
    if kind in _FRACTIONED and (fraction := _FRACTION.match(text)):
        return _fraction(fraction), text[fraction.end() :].strip()
    match = _NUMBER.match(text)
    if match is None:
        what = f'"{shown(text)}" does not begin with a number.' if text else "Nothing was given."
        raise QuantityError(what, value=text, remedy=f'Write a number and its unit, such as "75 {KINDS[kind]}".')
    rest = text[match.end() :]
    if rest[:1] and (rest[0] in ".,_'" or unicodedata.category(rest[0]).startswith("N")) and rest[:2] != "''":
        raise QuantityError(f'"{shown(text)}" does not hold one plain number.', value=text, remedy=_NUMBER_REMEDY)
    return _number(match, decimal, rest.rstrip(), f" {(heading or '').strip() or KINDS[kind]}"), rest.strip()


def _named_unit(text: str, rest: str, kind: str, unit: str | None) -> _Named:
    """The unit written after the number, that of the column, or both if they agree."""
    heading = _trimmed(unit or "", "unit")
    column = _name(heading, kind) if heading else None
    if column is not None and kind == "size" and (bare_scale := _SCALE.match(_fold(rest))) and not bare_scale[1]:
        return _agreed(text, _Named(column.unit, scale=(bare_scale[2] or bare_scale[3]).lower()), column)
    if rest:
        typed = _name(rest, kind)
        return typed if column is None else _agreed(text, typed, column)
    if column is None:
        raise QuantityError(
            f'"{shown(text)}" has no unit; {_words(kind)} was wanted.', value=text,
            remedy=f'Add the unit and the scale: "{shown(text)} um(c)" or "{shown(text)} um(acftd)".' if kind == "size"
            else f"Add one of {_units_that_would_do(kind)}.",
        ).worded("unit")  # fmt: skip
    return column


def read_quantity(
    text: str,
    kind: str,
    *,
    unit: str | None = None,
    decimal: str | None = None,
    temperature_degc: float | None = None,
    density_kg_m3: float | None = None,
) -> Quantity:
    """Read "75 L/min" as a quantity of ``kind``, or a bare "75" in ``unit``, the unit of its column.

    ``decimal`` as for `read_number`. ``temperature_degc`` is where Saybolt seconds were measured if
    the text does not say; ``density_kg_m3`` turns a dynamic viscosity into a kinematic one. Lengths
    and openings may be written with a fraction ("3 1/2 in"). Raises `QuantityError` with what was wrong and what
    would be right. Conversion factors: NIST SP 811; Saybolt seconds: ASTM D2161.
    """
    _known(kind)
    _known_mark(decimal)
    text = _trimmed(text, "quantity")
    number, rest = _split(text, kind, decimal, unit)
    named = _named_unit(text, rest, kind, unit)
    found, note = named.unit, named.note
    if found.conversion == "saybolt":
        at_degc = _measured_at(named, temperature_degc, text)
        value, resolution = _saybolt_to_mm2_s(number.value, number.resolution, at_degc, text)
        note = f"Saybolt seconds at {at_degc:.4g} °C, converted by ASTM D2161"
    elif found.conversion == "dynamic":
        to_kinematic = _kinematic_factor(found, density_kg_m3, text)
        value, resolution = number.value * to_kinematic, number.resolution * to_kinematic
        note = f"dynamic viscosity divided by a density of {density_kg_m3:.5g} kg/m³"
    else:
        value, resolution = (number.value - found.zero) * found.factor, number.resolution * found.factor
    if kind == "temperature" and value < _ABSOLUTE_ZERO_DEGC - 1e-9:
        raise QuantityError(
            f'"{shown(text)}" lies below absolute zero.', value=text, remedy="Give a temperature above -273.15 °C."
        )
    scale = (named.scale or "?") if kind == "size" else None
    return Quantity(kind, value, resolution, text, found.code, named.reference, scale, note)


def with_unit(text: str, kind: str, unit: str) -> str:
    """``text`` as it reads without the ``unit`` of its column: "75" in a column of "L/min" is "75 L/min".

    A unit typed with the number stays as it was typed, unless the column says more of it (a scale, a reference).
    Raises `QuantityError` where the two differ, and for what is no number with a unit of ``kind``.
    """
    text = _trimmed(text, "quantity")
    number, rest = _split(text, _known(kind), None, unit)
    named = _named_unit(text, rest, kind, unit)
    own = _name(rest, kind) if rest and not (kind == "size" and rest.startswith("(")) else None
    if own is not None and replace(own, note=None) == replace(named, note=None):
        return text
    scale = f"({named.scale})" if own is None and rest else ""
    return f"{number.text} {unit.strip()}{scale}"


def with_point(text: str, decimal: str) -> str:
    """``text`` with the number that it begins with rewritten to a decimal point, and no other mark, from the
    ``decimal`` mark declared. Raises `QuantityError` for a number that does not fit that mark."""
    _known_mark(decimal)
    match = _NUMBER.match(text)
    if match is None:
        return text
    _number(match, decimal)
    mantissa = _plain_mantissa(match["mantissa"], decimal, text)
    return text[: match.start("mantissa")] + mantissa + text[match.end("mantissa") :]


def factor(unit_spelling: str, kind: str) -> float:
    """Canonical units of ``kind`` in one ``unit_spelling``, to convert a whole column at once.

    Raises `QuantityError` for an unknown unit and for those that no factor converts: °F, K, Saybolt
    seconds, dynamic viscosity.
    """
    found = _name(_trimmed(unit_spelling, "unit"), _known(kind)).unit
    if found.conversion != "factor":
        raise QuantityError(
            f"{found.code} is not converted by one factor.", value=unit_spelling,
            remedy="Read each value with its unit instead.",
        )  # fmt: skip
    return found.factor


# --------------------------------------------------------------------------------------------------
# answers

_BY_CODE = {(kind, unit.code): unit for kind, units in _UNITS.items() for unit in units}


def canonical_unit(kind: str) -> str:
    """Code of the canonical unit of ``kind``."""
    return KINDS[_known(kind)]


def express(value: float, kind: str, units: Literal["si", "us"] = "si") -> tuple[float, str]:
    """A canonical value as (value, code of its unit) for an answer in SI or US customary units."""
    if units not in ("si", "us"):
        raise ValueError(f'units must be "si" or "us", not {units!r}')
    canonical = canonical_unit(kind)
    code = _US_CUSTOMARY.get(kind, canonical) if units == "us" else canonical
    unit = _BY_CODE[kind, code]
    return value / unit.factor + unit.zero, code


def kinds_of(text: str) -> tuple[str, ...]:
    """Kinds of quantity that the unit in ``text`` measures, with or without a number before it: "75 psi", "psi".

    Empty for a unit that is not known, raises `QuantityError` for text that cannot be read at all.
    """
    text = _trimmed(text, "quantity")
    written = {text} | ({text[match.end() :]} if (match := _NUMBER.match(text)) else set())
    fractioned = {text[match.end() :]} if (match := _FRACTION.match(text)) else set()
    return tuple(
        kind
        for kind in KINDS
        if any(_belongs(_fold(unit), kind) for unit in written | (fractioned if kind in _FRACTIONED else set()))
    )


def restate(
    quantity: Quantity, unit: str, *, density_kg_m3: float | None = None, temperature_degc: float | None = None
) -> tuple[float, str]:
    """A quantity in the unit spelled ``unit``, as (value, code of the unit); the way back from `read_quantity`.

    ``density_kg_m3`` serves units of dynamic viscosity, ``temperature_degc`` Saybolt seconds. Raises `QuantityError`
    for a unit that is unknown or of another kind, and for a reference or a size scale that is not the quantity's own:
    neither is a matter of units.
    """
    named = _name(_trimmed(unit, "unit"), quantity.kind)
    scale = None if quantity.scale == "?" else quantity.scale
    for own, wanted in ((quantity.reference, named.reference), (scale, named.scale)):
        if wanted is not None and wanted != own:
            raise QuantityError(
                f'"{shown(unit)}" says {wanted}, "{shown(quantity.text)}" {own or "does not"}: no factor leads there.',
                value=unit, remedy="Name the unit alone.",
            )  # fmt: skip
    found = named.unit
    if found.conversion == "saybolt":
        return _mm2_s_to_saybolt(quantity.value, _measured_at(named, temperature_degc, unit), unit), found.code
    if found.conversion == "dynamic":
        return quantity.value / _kinematic_factor(found, density_kg_m3, unit), found.code
    return quantity.value / found.factor + found.zero, found.code


# --------------------------------------------------------------------------------------------------
# pint's own quantities

PintQuantity: TypeAlias = "pint.Quantity[Any]"
def is_pint(value: object) -> TypeGuard[PintQuantity]:
    """Whether a value is a quantity of pint's, of whatever registry."""
    loaded = sys.modules.get("pint")  # whoever holds such a quantity has loaded it
    return loaded is not None and isinstance(value, loaded.Quantity)


def _application_registry() -> Any:
    """The registry whose quantities a script is given back; it may be the script's own."""
    import pint

    return pint.get_application_registry()  # type: ignore[no-untyped-call]


@cache
def _codes_of_pint() -> Mapping[str, str]:
    """Unit as pint writes it: our code."""
    registry = _application_registry()
    return {f"{registry.Quantity(1.0, each).units:D}": code for code, each in reversed(_LITERALS.items())}


@cache
def _codes_by_dimension() -> Mapping[str, str]:
    """Dimension as pint writes it: our code of the unit that such a quantity is brought to. A length in millimetres
    serves for sizes and openings too."""
    registry = _application_registry()
    kinds = (*(kind for kind in KINDS if kind not in ("size", "opening", "concentration", "percent")),)
    codes = (*(KINDS[kind] for kind in kinds), "mPa·s")
    return {str(registry.Quantity(1.0, _LITERALS[code]).dimensionality): code for code in codes}


def of_pint(quantity: PintQuantity) -> tuple[float, str | None]:
    """A quantity of pint's as (value, code of its unit), the unit None for a plain number.

    A unit that is known here is kept as it is, another of the same dimension brought to the canonical one. Raises
    `QuantityError` for several values at once, for a difference of temperatures, and for a dimension of which nothing
    here is.
    """
    try:
        value = float(quantity.magnitude)
    except (TypeError, ValueError):
        raise QuantityError("One value is wanted.", value=str(quantity), remedy="Give one at a time.") from None
    written = f"{quantity.units:D}"
    if written == "percent":
        return value, "%"
    if quantity.dimensionless:
        return float(quantity.to_base_units().magnitude), None
    if written in _codes_of_pint():
        return value, _codes_of_pint()[written]
    code = _codes_by_dimension().get(str(quantity.dimensionality))
    if code is None or "delta_" in written:
        raise QuantityError(
            f"{shown(written)} is no unit of anything that is asked here.", value=str(quantity),
            remedy="A temperature has degC, degF or kelvin." if "delta_" in written else "Check the unit.",
        )  # fmt: skip
    return _tidy(float(quantity.to(_LITERALS[code]).magnitude)), code


def as_pint(value: float, unit: str | None) -> PintQuantity:
    """A value of an answer as a quantity of pint's application registry; without a unit it is dimensionless.

    The scale of a particle size is left behind: pint knows none. Raises `QuantityError` for a unit that pint has not,
    such as a currency.
    """
    registry = _application_registry()
    if unit is None:
        return cast(PintQuantity, registry.Quantity(value, "dimensionless"))
    scaled = _SCALE.match(unit)
    expression = _LITERALS.get(scaled[1] if scaled else unit)
    if expression is None:
        raise QuantityError(f'"{shown(unit)}" is no unit that pint has.', value=unit, remedy="Take the plain value.")
    return cast(PintQuantity, registry.Quantity(value, expression))


# --------------------------------------------------------------------------------------------------
# in print


def _digits(value: float) -> str:
    """About four significant digits, never fewer than the integer part holds, no trailing zeros."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value + 0.0:g}"
    magnitude = math.floor(math.log10(abs(value)))
    if not -5 <= magnitude < 9:
        return f"{value:.4g}"
    text = f"{value:.{max(0, 3 - magnitude)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def show_plain(value: float) -> str:
    """A plain number for people: 2.143, 2500, 150000, 1e8."""
    if 1e4 <= value < 1e6:
        return f"{value:.0f}"
    return f"{value:.4g}".replace("e+0", "e").replace("e+", "e").replace("e-0", "e-")


def show(value: float, kind: str, units: Literal["si", "us"] = "si", scale: str | None = None) -> str:
    """A canonical value for reading aloud: "75 L/min", "10 µm(c)". ``scale`` goes with a size only."""
    number, code = express(value, kind, units)
    if scale is not None and kind != "size":
        raise ValueError(f"a {kind} has no size scale")
    mark = "" if scale is None else f"({'ACFTD' if scale == 'acftd' else scale})"
    return f"{_digits(number)} {code}{mark}"
