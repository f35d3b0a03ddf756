"""The columns of each sheet, and headings as people write them: ``Flow [L/min]``, ``terminal pressure drop``."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from specdb.catalog.tables import (
    LONGEST_REMARK_CHARACTERS,
    LONGEST_TITLE_CHARACTERS,
    LONGEST_WORDS_CHARACTERS,
)
from specdb.characteristics import ATTRIBUTES
from specdb.exchange.faults import Findings
from specdb.exchange.reading import AT_FAULT, LONGEST_CELL_CHARACTERS, Sheet
from specdb.vocabulary import one_line

TEST_QUANTITIES = {
    "gravimetric_level": "concentration",
    "terminal_pressure_drop": "pressure",
    "cycle_pressure": "pressure",
}
TEST_COLUMNS = (
    "standard", "edition", "dust", "gravimetric_level", "terminal_pressure_drop", "test_liquid", "drop_of",
    "capacity_basis", "cycle_pressure", "laboratory", "date",
)  # fmt: skip
POINT_QUANTITIES = {"size": "size", "flow": "flow", "viscosity": "viscosity", "density": "density"}
LENGTHS = tuple(a.key for a in ATTRIBUTES.values() if a.kind == "length")

COLUMNS: dict[str, tuple[str, ...]] = {
    "sources": ("source", "title", "kind", "issuer", "revision", "date"),
    "elements": ("maker", "number", *ATTRIBUTES, "source", "decimal", "correction"),
    "ratings": (
        "rating", "supersedes", "maker", "number", "characteristic", "qualifier", "value", "unit", *POINT_QUANTITIES,
        "test", "test_version", *TEST_COLUMNS, "source", "page", "remark", "decimal", "correction",
    ),
    "interchanges": ("maker", "number", "replaces_maker", "replaces_number", "source", "date", "remark"),
}  # fmt: skip
REQUIRED: dict[str, tuple[str, ...]] = {
    "sources": ("source",),
    "elements": ("maker", "number"),
    "ratings": ("maker", "number", "characteristic", "value"),
    "interchanges": ("maker", "number", "replaces_maker", "replaces_number"),
}
TAKES_UNIT: dict[str, frozenset[str]] = {
    "sources": frozenset(),
    "elements": frozenset(LENGTHS),
    "ratings": frozenset({"value", *POINT_QUANTITIES, *TEST_QUANTITIES}),
    "interchanges": frozenset(),
}

_LONGEST = {
    "title": LONGEST_TITLE_CHARACTERS, "remark": LONGEST_REMARK_CHARACTERS, "correction": LONGEST_REMARK_CHARACTERS,
    **{a.key: LONGEST_REMARK_CHARACTERS for a in ATTRIBUTES.values() if a.kind in ("word", "words")},
}  # fmt: skip
"""Characters that a cell of these columns may have; of any other, names and numbers among them, 200."""

_WITH_UNIT = re.compile(r"(?P<name>[^\[\]]*?)\s*\[(?P<unit>[^\[\]]*)\]")


@dataclass(frozen=True)
class Columns:
    """Where each column of a sheet stands, the unit its heading states and the decimal mark declared for it."""

    place: Mapping[str, int]
    unit: Mapping[str, str]
    decimal: Mapping[str, str | None]


@dataclass(frozen=True)
class Row:
    """One row: its number as a person counts and its cells by column, blank ones left out.

    ``faulty`` names columns whose cells have a fault that was told already; they are not among the cells.
    """

    file: str
    number: int
    cells: Mapping[str, str] = field(repr=False)
    faulty: frozenset[str] = frozenset()


def column_name(heading: str) -> tuple[str, str]:
    """``Flow [L/min]`` as (flow, L/min)."""
    match = _WITH_UNIT.fullmatch(heading.strip())
    name, unit = (match["name"], match["unit"].strip()) if match else (heading, "")
    return re.sub(r"[\s\-_]+", "_", name.strip().casefold()), unit


def read_columns(sheet: Sheet, findings: Findings) -> Columns | None:
    """The sheet's columns, or None with faults where its headings are not those of the sheet."""
    known = COLUMNS[sheet.name]
    place: dict[str, int] = {}
    units: dict[str, str] = {}
    before = findings.count

    def fault(heading: str, message: str, remedy: str) -> None:
        findings.fault(sheet.file, message, remedy, row=sheet.heading_row, column=heading or None, found=heading)

    for index, heading in enumerate(sheet.headings):
        name, unit = column_name(heading)
        if name in place:
            fault(heading, "The heading stands twice.", "Leave one of the two columns, or rename it.")
        elif name in known:
            place[name] = index
            if unit and name in TAKES_UNIT[sheet.name]:
                units[name] = unit
            elif unit:
                fault(heading, "This column takes no unit.", f'Write "{name}".')
        elif heading or any(index < len(cells) and cells[index] for _, cells in sheet.rows):
            near = difflib.get_close_matches(name, known, 1)
            remedy = f'The nearest known heading is "{near[0]}".' if near else f"Known are {', '.join(known)}."
            fault(one_line(heading), "This heading is not known." if heading else "This column has no heading.", remedy)
    for name in REQUIRED[sheet.name]:
        if name not in place:
            findings.fault(
                sheet.file, f'The column "{name}" is missing.', "Add it; every row needs it.",
                row=sheet.heading_row, column=name,
            )  # fmt: skip
    if findings.count > before:
        return None
    own = {column_name(heading)[0]: mark for heading, mark in sheet.field_decimals.items()}
    return Columns(place, units, {name: own.get(name, sheet.decimal) for name in place})


def rows_of(sheet: Sheet, columns: Columns, findings: Findings) -> list[Row]:
    """The sheet's rows by column, without those that have faults in their shape."""
    width = len(sheet.headings)
    optional_from = 1 + max(columns.place[name] for name in REQUIRED[sheet.name])
    places = tuple(columns.place.items())
    rows = []
    for number, cells in sheet.rows:
        if len(cells) > width and any(cells[width:]):
            message = f"The row has {len(cells)} cells, the headings are {width}."
            remedy = "Put cells that hold the delimiter into quotes."
            findings.fault(sheet.file, message, remedy, row=number, found=cells[width])
            continue
        if len(cells) < optional_from:
            message = f"The row has {len(cells)} cells, the headings are {width}."
            findings.fault(sheet.file, message, "Give every column its cell, blank if need be.", row=number)
            continue
        if len(cells) < width:
            findings.remark("rows that end early; the cells they lack were taken as blank", sheet.file, number)
        named = {n: cells[i] for n, i in places if i < len(cells) and cells[i]}
        faulty = {name for name, text in named.items() if text is AT_FAULT} if AT_FAULT in cells else set()
        for name, text in named.items():
            if len(text) > LONGEST_CELL_CHARACTERS:
                faulty.add(name)
                remedy = f"Give at most {_LONGEST.get(name, LONGEST_WORDS_CHARACTERS)}."
                message = f"The cell has {len(text)} characters."
                findings.fault(sheet.file, message, remedy, row=number, column=name, found=text)
        row = Row(sheet.file, number, named)
        rows.append(_without(row, faulty) if faulty else row)
    return rows


def _without(row: Row, faulty: Iterable[str]) -> Row:
    """The row without cells whose fault was told."""
    cells = {name: text for name, text in row.cells.items() if name not in faulty}
    return Row(row.file, row.number, cells, row.faulty | frozenset(faulty))


DECIMAL_COMMA = re.compile(r"(?<![0-9.,])(?:0,[0-9]+|[0-9]+,(?:[0-9]{1,2}|[0-9]{4,}))(?![0-9.,])")
DECLARE_THE_MARK = 'put the decimal mark, "." or ",", into the row\'s column "decimal"'
POINT_AND_THREE = re.compile(r"(?<![0-9.,])[1-9][0-9]{0,2}\.[0-9]{3}(?![0-9.,])")


def marks_declared(cell: str, sheet: str) -> dict[str, str] | None:
    """Column: decimal mark, as a cell of the column ``decimal`` declares them; None where it cannot be read.

    "," declares it for the whole row, ", flow:." with another for one column, "flow:." for that one alone.
    """
    marks: dict[str, str] = {}
    for word in cell.split():
        name, colon, mark = word.rpartition(":")
        named = column_name(name)[0]
        if mark not in (".", ",") or (colon and named not in TAKES_UNIT[sheet]) or (marks and not colon):
            return None
        marks |= {named: mark} if colon else dict.fromkeys(TAKES_UNIT[sheet], mark)
    return marks


def refuse_points_among_commas(sheet: str, rows: list[Row], columns: Columns, findings: Findings) -> list[Row]:
    """The rows without cells that hold "1.000" in a sheet that writes decimal commas and declares no mark.

    There it may be a thousand or one; nothing in the cell tells. What a row declares is left aside.
    """
    undeclared = [n for n in TAKES_UNIT[sheet] if n in columns.place and columns.decimal.get(n) is None]

    def holding(pattern: re.Pattern[str], row: Row) -> list[str]:
        own = marks_declared(row.cells.get("decimal", ""), sheet) or {}
        return [name for name in undeclared if name not in own and pattern.search(row.cells.get(name, ""))]

    if not any(holding(DECIMAL_COMMA, row) for row in rows):
        return rows
    kept = []
    for row in rows:
        doubtful = holding(POINT_AND_THREE, row)
        for name in doubtful:
            found = row.cells[name]
            message = "The sheet writes decimal commas, so this may be a thousand or a small number."
            remedy = f"Write it without the point, or with a decimal comma, or {DECLARE_THE_MARK}."
            findings.fault(row.file, message, remedy, row=row.number, column=name, found=found)
        kept.append(_without(row, doubtful) if doubtful else row)
    return kept
