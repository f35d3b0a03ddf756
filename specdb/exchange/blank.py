"""A blank workbook (XLSX) to fill in: every sheet with its headings, choices where there are any, and how to do it.

A cell that is entered tells its column's meaning and an example; the first sheet tells all of them at once. Filled in,
it is taken in as any other workbook is.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.worksheet.datavalidation import DataValidation

from specdb.characteristics import ATTRIBUTES, CAPACITY_BASES, CHARACTERISTICS, DROP_OF, LABORATORIES, QUALIFIERS
from specdb.errors import QuestionError
from specdb.exchange.columns import COLUMNS, REQUIRED
from specdb.exchange.description import READ_ME, SHEETS
from specdb.exchange.exporting import put_in_place, refuse_unless_free
from specdb.exchange.package import MEANINGS, TITLES
from specdb.exchange.workbook_out import MOST_ROWS_OF_A_WORKBOOK, cells, headed_sheet, save, steady_book

HOW = (
    "Fill in the sheets elements and ratings; sources and interchanges where there are documents and claims.",
    "A row states one thing. Leave blank what the document does not say: nothing is guessed from a blank.",
    "A value stands with its unit, as it is printed: 75 L/min, 1.7 bar, 60 g, 10 um(c). A filtration ratio and a count "
    "of cycles have none.",
    "Headings stay as they are. Columns and sheets that are not needed may be deleted, and the others moved.",
    "Cells are formatted as text, so that no program makes a date of 12-1 or drops the zeros of 00417; keep them so.",
    "The workbook is checked before it is taken in: every problem is told by sheet, row and column, and while there is "
    "one nothing is taken in.",
    "Rows are only added. Taken in again the same rows change nothing, and a row that is left out removes nothing; "
    "supersedes and correction say that something takes the place of what was stated before.",
)

EXAMPLES: Mapping[str, Mapping[str, str]] = {
    "sources": {
        "source": "P-1", "title": "Return line elements", "kind": "data sheet", "issuer": "Pellwood", "revision": "2",
        "date": "2024-05-31",
    },
    "elements": {
        "maker": "Pellwood", "number": "P-10", "kind": "spin-on", "media": "glass fibre", "seal": "NBR",
        "seal_type": "flat gasket", "end_form": "threaded", "flow_direction": "outside to inside", "core": "in element",
        "bypass_valve": "no", "anti_drain_back": "no", "thread": "1-12 UNF", "outside_diameter": "96 mm",
        "inside_diameter": "30 mm", "second_inside_diameter": "28 mm", "length": "210 mm",
        "gasket_outside_diameter": "72 mm", "gasket_inside_diameter": "62 mm", "fluids_compatible": "HM HV",
        "fluids_excluded": "HFDR", "fluids_tested": "HM", "fluids_failed": "HFDU", "zinc_parts": "no",
        "status": "current", "successor": "P-10 B", "series": "P", "source": "P-1", "decimal": ".",
        "correction": "misprint in the first issue",
    },
    "ratings": {
        "rating": "P-10 beta", "supersedes": "the label that specdb show prints", "maker": "Pellwood",
        "number": "P-10", "characteristic": "filtration_ratio", "qualifier": "at_least", "value": "200", "unit": "bar",
        "size": "10 um(c)", "flow": "75 L/min", "viscosity": "32 mm2/s", "density": "870 kg/m3", "test": "mp",
        "test_version": "1", "standard": "ISO 16889", "edition": "2022", "dust": "ISO 12103-1 A3",
        "gravimetric_level": "10 mg/L", "terminal_pressure_drop": "170 kPa", "test_liquid": "2-propanol",
        "drop_of": "element", "capacity_basis": "retained", "cycle_pressure": "5 bar", "laboratory": "maker",
        "date": "2024-05", "source": "P-1", "page": "3", "remark": "mean of three elements", "decimal": ".",
        "correction": "tested anew",
    },
    "interchanges": {
        "maker": "Pellwood", "number": "P-10", "replaces_maker": "Quollbeck", "replaces_number": "Dulse 23",
        "source": "P-1", "date": "2024", "remark": "as a guide only",
    },
}  # fmt: skip
"""Sheet: column: what a cell of it may hold. Makers and numbers are invented."""

_CLOSED: Mapping[str, Mapping[str, Sequence[str]]] = {
    "elements": {a.key: a.choices for a in ATTRIBUTES.values() if a.kind == "word" and a.choices},
    "ratings": {
        "characteristic": tuple(CHARACTERISTICS), "qualifier": QUALIFIERS, "drop_of": DROP_OF,
        "capacity_basis": CAPACITY_BASES, "laboratory": LABORATORIES,
    },
}  # fmt: skip
"""Sheet: column: the words of which a cell holds one."""

_LISTS: Mapping[str, Sequence[str]] = {a.key: a.choices for a in ATTRIBUTES.values() if a.kind == "words"}
"""Columns that hold several words, with blanks between, and these words."""

_HEADINGS = ("sheet", "column", "needed", "what it is", "example", "one of")
_WIDTHS = (14, 26, 9, 62, 30, 62)
_LONGEST_LIST_CHARACTERS = 255
"""Of a list that stands in the rule of a cell itself, its quotes among them; a longer one is referred to (common
practice of spreadsheet programs)."""


@cache
def blank_workbook() -> bytes:
    """The workbook; the same program makes the same bytes."""
    book = steady_book()
    places = _write_read_me(book)
    for name in SHEETS:
        sheet = headed_sheet(book, name)
        for number, column in enumerate(COLUMNS[name], start=1):
            rule = _rule(name, column, places)
            rule.add(f"{get_column_letter(number)}2:{get_column_letter(number)}{MOST_ROWS_OF_A_WORKBOOK}")
            sheet.data_validations.append(rule)
    written = io.BytesIO()
    save(book, written)
    return written.getvalue()


def write_blank(target: Path) -> None:
    """Writes the workbook to ``target``.

    Raises QuestionError where the name is none of a workbook, something is there already, or it cannot be written.
    """
    if target.suffix.casefold() != ".xlsx":
        raise QuestionError(
            "A blank workbook has a name that ends in .xlsx.", value=target.name, field="target",
            remedy="Name it so, such as blank.xlsx.",
        )  # fmt: skip
    refuse_unless_free(target)
    with put_in_place(target) as unfinished:
        unfinished.write_bytes(blank_workbook())


def _write_read_me(book: Workbook) -> dict[str, str]:
    """The first sheet. Gives where the words of a characteristic stand in it, by column, for lists to refer to."""
    sheet: Any = book.create_sheet(READ_ME)
    for number, width in enumerate(_WIDTHS, start=1):
        sheet.column_dimensions[get_column_letter(number)].width = width
    bold, row = Font(bold=True), 0

    def add(texts: Sequence[str], font: Font | None = None, *, wrapped: bool = True) -> None:
        nonlocal row
        row += 1
        made = list(cells(sheet, texts, font))
        for cell in made:
            if cell is not None and wrapped:
                cell.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.append(made)

    add(["A catalogue of filter elements, to fill in"], Font(bold=True, size=14), wrapped=False)
    for line in HOW:
        add([line], wrapped=False)
    add([])
    for name in SHEETS:
        add([name, TITLES[name]], bold, wrapped=False)
        add(_HEADINGS, bold)
        for column in COLUMNS[name]:
            add(_line(name, column))
        add([])
    add(["What ratings are of"], bold, wrapped=False)
    add(["", "characteristic", "", "what it is", "standards"], bold)
    first = row + 1
    for characteristic in CHARACTERISTICS.values():
        told = f"{characteristic.title}: {characteristic.sentence}"
        add(["", characteristic.key, "", told, ", ".join(characteristic.standards)])
    return {"characteristic": f"{quote_sheetname(READ_ME)}!$B${first}:$B${row}"}


def _line(sheet: str, column: str) -> list[str]:
    words = _CLOSED.get(sheet, {}).get(column) or _LISTS.get(column, ())
    choices = "see the foot of this sheet" if column == "characteristic" else ", ".join(words)
    several = "several, with blanks between: " if column in _LISTS else ""
    needed = "yes" if column in REQUIRED[sheet] else ""
    return [sheet, column, needed, MEANINGS[column], EXAMPLES[sheet][column], several + choices]


def _rule(sheet: str, column: str, places: Mapping[str, str]) -> DataValidation:
    """What a program says of a cell that is entered, and the words that it offers."""
    words = _CLOSED.get(sheet, {}).get(column)
    needed = "Needed in every row. " if column in REQUIRED[sheet] else ""
    rule = DataValidation(
        promptTitle=column,
        prompt=f"{needed}{MEANINGS[column]} Example: {EXAMPLES[sheet][column]}",
        showInputMessage=True,
        allowBlank=True,
    )
    if words is not None:
        listed = ",".join(words)
        rule.type = "list"
        rule.formula1 = f'"{listed}"' if len(listed) <= _LONGEST_LIST_CHARACTERS - 2 else places[column]
        # Other spellings are read as well ("min." is at_least), so a program may warn but must not refuse.
        rule.showErrorMessage, rule.errorStyle = True, "warning"
        rule.errorTitle, rule.error = column, "This is none of the words of the list."
    return rule
