"""What is on file as a page tells it: in the reader's units, and as it was typed where that differs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from specdb.amounts import amount
from specdb.catalog.facts import Row
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, STANDARD_OF_SCALE, Characteristic
from specdb.units import UnitSystem, show

_QUALIFIERS = {"equal": "equal to", "at_least": "at least", "at_most": "at most", "about": "about"}
_AT = {
    # condition: its title, its column and the kind of quantity, None where it is a word
    "size": ("size", "size_um", "size"),
    "flow": ("flow", "flow_l_min", "flow"),
    "viscosity": ("viscosity", "viscosity_mm2_s", "viscosity"),
    "density": ("density", "density_kg_m3", "density"),
    "drop_of": ("drop of", "drop_of", None),
    "terminal_pressure_drop": ("terminal drop", "terminal_pressure_drop_kpa", "pressure"),
    "cycle_pressure": ("cycle pressure", "cycle_pressure_kpa", "pressure"),
    "capacity_basis": ("mass", "capacity_basis", None),
    "dust": ("dust", "dust", None),
    "gravimetric_level": ("gravimetric level", "gravimetric_level_mg_l", "concentration"),
    "test_liquid": ("test liquid", "test_liquid", None),
    "laboratory": ("laboratory", "laboratory", None),
}
_OF_THE_RESULT = ("size", "flow", "viscosity", "density")
"""Conditions of a result; the rest are those of its test."""

_OF_THE_TEST = {"test": "test", "date of the test": "date", "remark": "remark", "result": "label"}


@dataclass(frozen=True)
class Stated:
    """A value in the reader's units, and the text it was stated with, None where that says the same."""

    title: str
    shown: str
    typed: str | None


@dataclass(frozen=True)
class Result:
    """One result: its value with the qualifier in words, what it was tested at, and the rest of its test. ``source`` is
    the key of its source."""

    value: Stated
    conditions: list[Stated]
    standard: str | None
    source: str | None
    page: str | None
    test: list[Stated]


@dataclass(frozen=True)
class Results:
    """The results of one characteristic, and how many there are beyond those shown."""

    about: Characteristic
    shown: list[Result]
    beyond: int


def results(ratings: Sequence[Row], units: UnitSystem, most: int) -> list[Results]:
    """The ratings of an element by characteristic, in their order: ``most`` in all, where there are more the same share
    of each characteristic."""
    grouped: dict[str, list[Row]] = {}
    for row in ratings:
        grouped.setdefault(row["characteristic"], []).append(row)
    share = max(most // len(grouped), 1) if len(ratings) > most else most
    return [
        Results(
            CHARACTERISTICS[key],
            [_result(row, units) for row in rows[:share]],
            max(len(rows) - share, 0),
        )
        for key, rows in grouped.items()
    ]


def value_of(rating: Row, units: UnitSystem) -> Stated:
    """The value with its qualifier in words: "at least 200"."""
    known = CHARACTERISTICS[rating["characteristic"]]
    shown = amount(rating["value"], known.kind, units)
    return Stated(known.title, f"{_QUALIFIERS[rating['qualifier']]} {shown}", _typed(rating["text"], shown))


def attribute_of(row: Row, units: UnitSystem) -> Stated:
    text = str(row["text"])
    shown = text if row["number"] is None else show(row["number"], "length", units)
    return Stated(ATTRIBUTES[row["name"]].title, shown, _typed(text, shown))


def _result(row: Row, units: UnitSystem) -> Result:
    stated = {name: each for name in _AT if (each := _condition(row, name, units)) is not None}
    beside = {*_OF_THE_RESULT, *CHARACTERISTICS[row["characteristic"]].judged_with}
    standard, edition = row["standard"], row["edition"]
    return Result(
        value_of(row, units),
        [each for name, each in stated.items() if name in beside],
        f"{standard}:{edition}" if standard and edition else standard,
        row["source"],
        row["page"],
        [each for name, each in stated.items() if name not in beside]
        + [Stated(title, str(row[name]), None) for title, name in _OF_THE_TEST.items() if row[name]],
    )


def _condition(row: Row, name: str, units: UnitSystem) -> Stated | None:
    title, column, kind = _AT[name]
    value = row[column]
    if value is None:
        return None
    if kind is None:
        return Stated(title, str(value), None)
    shown = _size(row, units) if name == "size" else show(value, kind, units)
    return Stated(title, shown, _typed(row[f"{name}_text"], shown))


def _size(row: Mapping[str, Any], units: UnitSystem) -> str:
    """A particle size on its scale, which may follow from the standard alone."""
    if row["size_scale"] != "?":
        return show(row["size_um"], "size", units, scale=row["size_scale"])
    scale = STANDARD_OF_SCALE.get(row["standard"] or "")
    by_standard = f", by the standard {'ACFTD' if scale == 'acftd' else 'µm(c)'}" if scale else ""
    return f"{show(row['size_um'], 'size', units)} (scale not stated{by_standard})"


_SPELLINGS = str.maketrans({"μ": "u", "µ": "u", "²": "2", "³": "3", **dict.fromkeys("^ \u00a0\u202f")})


def _typed(text: str, shown: str) -> str | None:
    """The text as typed, None where it says what is shown but for how the unit is spelt."""

    def spelt(each: str) -> str:
        return each.translate(_SPELLINGS).casefold().replace("deg", "°")

    return None if spelt(text) == spelt(shown) else text
