"""The blank workbook: what it tells, what it offers, and that it is taken in once it is filled in."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import sqlalchemy as sa

from specdb.catalog import tables
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, LABORATORIES, QUALIFIERS
from specdb.errors import ImportRefusedError, QuestionError
from specdb.exchange import import_upload
from specdb.exchange.blank import EXAMPLES, blank_workbook, write_blank
from specdb.exchange.columns import COLUMNS, REQUIRED
from specdb.exchange.description import READ_ME, SHEETS
from tests.specdb.exchange.stored import counts, held

WHO = {"actor": "test", "reason": "for a test"}
NOT_OF_A_FIRST_ROW = {"supersedes", "correction", "unit"}
"""Columns whose examples are of a row that stands in another's place, or of a value without its unit."""


def opened() -> Any:
    return openpyxl.load_workbook(io.BytesIO(blank_workbook()))


def filled(rows: dict[str, list[dict[str, str]]]) -> io.BytesIO:
    """The blank workbook with these rows typed below its headings, each cell in the column that has its name."""
    book, saved = opened(), io.BytesIO()
    for name, listed in rows.items():
        headings = [cell.value for cell in book[name][1]]
        for number, row in enumerate(listed, start=2):
            for column, text in row.items():
                cell = book[name].cell(number, headings.index(column) + 1, text)
                cell.number_format = "@"
    book.save(saved)
    return saved


def test_the_examples_of_all_columns_are_taken_in_without_a_fault_or_a_note(store: sa.Engine) -> None:
    rows = {
        sheet: [{column: text for column, text in examples.items() if column not in NOT_OF_A_FIRST_ROW}]
        for sheet, examples in EXAMPLES.items()
    }
    report = import_upload(store, "blank.xlsx", filled(rows), **WHO)
    assert report.notes == ()
    attributes = ATTRIBUTES.keys() & rows["elements"][0].keys()
    assert attributes == ATTRIBUTES.keys()
    assert report.added == {
        "sources": 1, "elements": 1, "attributes": len(ATTRIBUTES), "tests": 1, "ratings": 1, "interchanges": 1,
    }  # fmt: skip
    (rating,) = held(store, tables.rating)
    assert (rating["text"], rating["qualifier"], rating["size_text"]) == ("200", "at_least", "10 um(c)")


def test_what_is_filled_in_wrongly_is_told_by_sheet_row_and_column(store: sa.Engine) -> None:
    good = {"maker": "Demo Works", "number": "00417", "kind": "spin-on"}
    rows = {
        "elements": [good, {**good, "number": "12-1", "kind": "spin on and on", "length": "96"}],
        "ratings": [{"maker": "Demo Works", "number": "00417", "characteristic": "colour", "value": "1 bar"}],
    }
    with pytest.raises(ImportRefusedError) as refusal:
        import_upload(store, "blank.xlsx", filled(rows), **WHO)
    places = [(fault.file.rpartition(" ")[2], fault.row, fault.column) for fault in refusal.value.faults]
    assert places == [("elements", 3, "kind"), ("elements", 3, "length"), ("ratings", 2, "characteristic")]


def test_left_blank_it_adds_nothing(store: sa.Engine) -> None:
    before = counts(store)
    report = import_upload(store, "blank.xlsx", io.BytesIO(blank_workbook()), **WHO)
    assert (report.revision, report.rows) == (None, 0)
    assert report.notes == ("no row was found: there are headings and nothing else",)
    assert counts(store) == before


def test_it_has_every_sheet_and_column_as_text_under_a_frozen_heading() -> None:
    book = opened()
    assert book.sheetnames == [READ_ME, *SHEETS]
    for name in SHEETS:
        sheet = book[name]
        assert tuple(cell.value for cell in sheet[1]) == COLUMNS[name]
        assert (sheet.max_row, sheet.freeze_panes) == (1, "A2")
        formats = [sheet.column_dimensions[cell.column_letter].number_format for cell in sheet[1]]
        assert set(formats) == {"@"}


def test_the_first_sheet_tells_each_column_with_an_example() -> None:
    told = {(row[0], row[1]): row for row in opened()[READ_ME].iter_rows(min_row=9, values_only=True)}
    for sheet, columns in COLUMNS.items():
        assert set(EXAMPLES[sheet]) == set(columns)
        for column in columns:
            _, _, needed, meaning, example, _ = told[sheet, column]
            assert needed == ("yes" if column in REQUIRED[sheet] else None)
            assert len(meaning) > 5
            assert example == EXAMPLES[sheet][column]
    assert {key for sheet, key in told if sheet is None} >= set(CHARACTERISTICS)


def _offered(book: Any, sheet: str, column: str) -> list[str]:
    """The words that a program offers in a cell of a column."""
    letter = openpyxl.utils.get_column_letter(COLUMNS[sheet].index(column) + 1)
    (rule,) = [each for each in book[sheet].data_validations.dataValidation if f"{letter}200" in each]
    assert f"{letter}1" not in rule
    assert len(rule.prompt) <= 255
    assert len(rule.promptTitle) <= 32
    if rule.type != "list":
        return []
    if rule.formula1.startswith('"'):
        assert len(rule.formula1) <= 255
        return list(rule.formula1.strip('"').split(","))
    place = rule.formula1.removeprefix(f"'{READ_ME}'!").replace("$", "")
    return [cell.value for (cell,) in book[READ_ME][place]]


def test_columns_that_hold_one_of_a_few_words_offer_them() -> None:
    book = opened()
    offered = {(sheet, column): _offered(book, sheet, column) for sheet in SHEETS for column in COLUMNS[sheet]}
    assert offered["ratings", "characteristic"] == list(CHARACTERISTICS)
    assert offered["ratings", "qualifier"] == list(QUALIFIERS)
    assert offered["ratings", "laboratory"] == list(LABORATORIES)
    for attribute in ATTRIBUTES.values():
        words = list(attribute.choices) if attribute.kind == "word" else []
        assert offered["elements", attribute.key] == words
    assert offered["sources", "kind"] == offered["elements", "maker"] == offered["ratings", "value"] == []


def test_the_same_program_makes_the_same_bytes() -> None:
    assert blank_workbook.__wrapped__() == blank_workbook.__wrapped__()


def test_it_is_never_written_over_something_or_under_another_ending(tmp_path: Path) -> None:
    there = tmp_path / "there.xlsx"
    write_blank(there)
    assert there.read_bytes() == blank_workbook()
    there.write_text("filled in")
    with pytest.raises(QuestionError, match="something here already"):
        write_blank(there)
    assert there.read_text() == "filled in"
    for wrong, said in (("blank.csv", "ends in .xlsx"), ("none/blank.xlsx", "not there")):
        with pytest.raises(QuestionError, match=said):
            write_blank(tmp_path / wrong)
    assert [path.name for path in tmp_path.iterdir()] == ["there.xlsx"]
