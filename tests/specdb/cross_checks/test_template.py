"""The workbook that fills itself: what it asks, what it takes, and that it is read as lines. What the office suite
makes of it is in ``tests/office``."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from specdb.cross_checks.lines import LINES_SHEET
from specdb.cross_checks.reading import read_lines
from specdb.cross_checks.template import INSTRUCTIONS, RATINGS_SHEET, ROWS, template_workbook, write_template
from specdb.errors import QuestionError

LATER = ("WEBSERVICE", "ENCODEURL", "NUMBERVALUE")
"""Functions that a workbook names with a prefix, as they are younger than its format (common practice)."""


def opened(service: str = "http://127.0.0.1:8000") -> Any:
    return openpyxl.load_workbook(io.BytesIO(template_workbook(service)))


def test_every_formula_asks_nothing_of_a_blank_row() -> None:
    book = opened()
    for name, number, columns in ((LINES_SHEET, "D", "LMNOPQ"), (RATINGS_SHEET, "B", "I")):
        for row in (2, ROWS + 1 if name == LINES_SHEET else 51):
            for column in columns:
                formula = book[name][f"{column}{row}"].value
                assert formula.startswith("=IF(")
                guard = formula.partition(',"",')[0]
                assert f"${number}{row}" in guard or f"$Q{row}" in guard
    formulas = [cell.value for sheet in book for row in sheet for cell in row if cell.data_type == "f"]
    assert len(formulas) > 5 * ROWS
    for function in LATER:
        assert sum(function in formula for formula in formulas) > 40
        assert not any(re.search(rf"(?<!_xlfn\.){function}\(", formula) for formula in formulas)


def test_where_nothing_is_filled_in_that_is_said() -> None:
    with pytest.raises(QuestionError, match=r"no line below them\. No cell to fill in is filled"):
        read_lines("template.xlsx", io.BytesIO(template_workbook()))


def test_what_is_filled_in_is_read_as_lines() -> None:
    book = opened()
    filled = {"A2": "1", "B2": "Press 4", "C2": "Quollbeck", "D2": "12-1", "E2": "75", "F2": "ISO VG 46",
              "G2": "50", "H2": "18/16/13", "I2": "Quollbeck", "J2": "00417", "K2": "customary",
              "D4": "Dulse 23"}  # fmt: skip
    for cell, text in filled.items():
        assert book[LINES_SHEET][cell].number_format == "@"
        book[LINES_SHEET][cell] = text
    written = io.BytesIO()
    book.save(written)
    written.seek(0)
    lines = read_lines("template.xlsx", written).lines
    assert [(line.row, line.faults) for line in lines] == [(2, ()), (4, ())]
    assert "Press 4" in lines[0].label
    assert lines[0].asked == {
        "original.maker": "Quollbeck", "original.number": "12-1", "flow": "75 L/min", "fluid.grade": "ISO VG 46",
        "operating_temperature": "50 degC", "target_cleanliness": "18/16/13", "assumptions": "customary",
        "elements.1.maker": "Quollbeck", "elements.1.number": "00417",
    }  # fmt: skip
    assert lines[1].asked == {"original.number": "Dulse 23"}


def test_the_address_stands_in_one_cell(tmp_path: Path) -> None:
    assert opened("https://specs.example/filters/")[INSTRUCTIONS]["B3"].value == "https://specs.example/filters"
    assert opened("")[INSTRUCTIONS]["B3"].value is None
    for wrong in ('http://x"&A1', "ftp://specs.example", "specs.example", "http://specs.example?a=b", "=1+1"):
        with pytest.raises(QuestionError, match="no address"):
            write_template(tmp_path / "template.xlsx", wrong)
    assert not list(tmp_path.iterdir())
    assert template_workbook() == template_workbook()
