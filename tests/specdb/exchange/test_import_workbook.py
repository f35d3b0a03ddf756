"""Cells of a workbook: what a reader sees in them, or a fault; never a blank, a date or a rounded number."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime
from typing import Any

import pytest
from openpyxl import Workbook

from specdb.catalog import tables
from specdb.errors import ImportRefusedError
from specdb.exchange import import_upload
from tests.specdb.exchange.stored import counts, held

WHO = {"actor": "test", "reason": "for a test"}
HEADINGS = ["maker", "number", "characteristic", "value", "unit", "page", "date", "flow [L/min]"]


def book_of(rows: list[list[Any]], formats: dict[str, str] | None = None, name: str = "ratings") -> io.BytesIO:
    """One sheet of values with number formats by cell, and a sheet of elements for the ratings."""
    book, saved = Workbook(), io.BytesIO()
    sheet = book.active
    sheet.title = name
    for row in rows:
        sheet.append(row)
    for cell, code in (formats or {}).items():
        sheet[cell].number_format = code
    if name == "ratings":
        book.create_sheet("elements").append(["maker", "number"])
        book["elements"].append(["Demo Works", "DW-1"])
    book.save(saved)
    return saved


def rating_with(formats: dict[str, str] | None = None, **cells: Any) -> io.BytesIO:
    row = {"maker": "Demo Works", "number": "DW-1", "characteristic": "collapse_pressure", "value": "1 MPa", **cells}
    return book_of([HEADINGS, [row.get(h.partition(" ")[0]) for h in HEADINGS]], formats)


def faults_of(engine, file: io.BytesIO) -> list[str]:
    before = counts(engine)
    with pytest.raises(ImportRefusedError) as refusal:
        import_upload(engine, "b.xlsx", file, **WHO)
    assert counts(engine) == before
    return [str(fault) for fault in refusal.value.faults]


@pytest.mark.parametrize(
    ("value", "code", "unit", "text", "resolution"),
    [
        (10, "General", "bar", "10 bar", 100),
        (10, "0.0", "bar", "10.0 bar", 10),
        (10.25, "0.0", "bar", "10.25 bar", 1),
        (0.1 + 0.2, "General", "bar", "0.3 bar", 10),
        (1200, "#,##0", "kPa", "1200 kPa", 1),
        ("10.0", "@", "bar", "10.0 bar", 10),
        (1200, "#,##0.00", "kPa", "1200.00 kPa", 0.01),
        (1e-5, "0.00E+00", "MPa", "0.00001 MPa", 0.01),
        (7.5, "# ?/?", "bar", "7.5 bar", 10),
        (10, "0.0_ ;[Red]-0.0", "bar", "10.0 bar", 10),
    ],
)
def test_numbers_keep_the_digits_that_are_shown(value, code, unit, text, resolution, store):
    import_upload(store, "b.xlsx", rating_with({"D2": code}, value=value, unit=unit), **WHO)
    (rating,) = held(store, tables.rating)
    assert (rating["text"], rating["resolution"]) == (text, pytest.approx(resolution))


@pytest.mark.parametrize(
    ("value", "code", "text", "step"),
    [
        (0.995, "0.0%", "99.5 %", 0.1),
        (0.995, "0%", "99.5 %", 0.1),
        (0.98, "0.00%", "98.00 %", 0.01),
        (0.75, "0%", "75 %", 1),
    ],
)
def test_percentages_are_efficiencies(value, code, text, step, store):
    rows = [
        ["maker", "number", "characteristic", "value", "size"],
        ["Demo Works", "DW-1", "filtration_ratio", value, "10 um(c)"],
    ]
    import_upload(store, "b.xlsx", book_of(rows, {"D2": code}), **WHO)
    (rating,) = held(store, tables.rating)
    assert (rating["text"], rating["efficiency_resolution"]) == (text, pytest.approx(step))


def test_part_numbers_stay_text_and_digits_are_taken_where_nothing_else_was_typed(store):
    numbers = ["00417", "12E4", "2024-05", "=7-K", "-5", "TRUE", "#N/A", "A_x0041_B"]
    book, saved = Workbook(), io.BytesIO()
    sheet = book.active
    sheet.title = "elements"
    sheet.append(["maker", "number"])
    for number in [*numbers, 417]:
        sheet.append(["Demo Works", number])
        cell = sheet.cell(sheet.max_row, 2)
        if isinstance(number, str):
            cell.data_type, cell.number_format = "s", "@"
    book.save(saved)
    report = import_upload(store, "b.xlsx", saved, **WHO)
    # A program writes "A_x0041_B" for "AAB": the escape is the format's own.
    assert {row["number"] for row in held(store, tables.element)} == {*numbers[:-1], "AAB", "417"}
    assert (
        'numbers where text is expected, taken by their digits (1 row): b.xlsx, sheet elements row 10 "417"'
        in report.notes
    )


@pytest.mark.parametrize(
    ("cells", "formats", "column", "said"),
    [
        ({"number": 12.5}, {}, "number", "format the cell as text"),
        ({"number": 120000}, {"B2": "0.00E+00"}, "number", "format the cell as text"),
        ({"number": 417}, {"B2": "00000"}, "number", "format the cell as text"),
        ({"number": 10**11}, {}, "number", "format the cell as text"),
        ({"number": datetime(2024, 5, 1)}, {"B2": "mmm-yy"}, "number", "a date; a program may have made it"),
        ({"number": date(2024, 5, 1)}, {"B2": "d-mmm"}, "number", "found: '1-may'. format the cell as text"),
        ({"number": date(2024, 5, 1)}, {"B2": 'dd"/"mm\\/yyyy'}, "number", "found: '01/05/2024'"),
        ({"page": True}, {}, "page", "true or false. found: 'true'"),
        ({"value": "=1+1"}, {}, "value", "not saved"),
        ({"remark": None, "page": "=NOW()"}, {}, "page", "not saved"),
        ({"value": "#DIV/0!"}, {}, "value", "error"),
        ({"value": 10}, {"D2": '0.0 "bar"'}, "value", "unit"),
        ({"value": 10}, {"D2": "0.0,"}, "value", "unit"),
        ({"value": 10, "unit": "kPa"}, {"D2": "yyyy-mm-dd"}, "value", "date"),
        ({"flow": 0.5}, {"H2": "hh:mm"}, "flow [L/min]", "time of day"),
    ],
)
def test_cells_that_cannot_be_taken_are_faults(cells, formats, column, said, store):
    (fault,) = faults_of(store, rating_with(formats, **cells))
    assert fault.startswith(f"b.xlsx, sheet ratings, row 2, column {column}:")
    assert said in fault.casefold()


def test_a_cell_that_cannot_be_taken_hides_nothing_else_of_its_row(store):
    row = {"number": "DW-9", "value": date(2024, 5, 1), "unit": "L/min", "page": True, "date": "May", "flow": "soon"}
    told = faults_of(store, rating_with({"D2": "d-mmm"}, **row))
    columns = [fault.partition("column ")[2].partition(":")[0] for fault in told]
    assert sorted(columns) == ["date", "flow", "number", "page", "value"]


@pytest.mark.parametrize(
    ("value", "code", "kept"),
    [
        (date(2024, 5, 31), "yyyy-mm-dd", "2024-05-31"),
        (date(2024, 5, 1), "mmm-yy", "2024-05"),
        (date(2024, 1, 1), "yyyy", "2024"),
        (2024, "General", "2024"),
        ("2024-05", "@", "2024-05"),
        (date(2024, 5, 31), '[$-409]d "May"', "2024-05-31"),
    ],
)
def test_dates_are_taken_as_far_as_they_are_shown(value, code, kept, store):
    import_upload(store, "b.xlsx", rating_with({"G2": code}, date=value), **WHO)
    assert held(store, tables.test)[0]["date"] == kept


def test_hidden_and_merged_and_unknown_sheets_are_said(store):
    book, saved = Workbook(), io.BytesIO()
    sheet = book.active
    sheet.title = "Elements"
    for row in (["maker", "number"], ["Demo Works", "DW-1"], ["Demo Works", "DW-2"]):
        sheet.append(row)
    sheet.merge_cells("C5:D6")
    sheet.sheet_state = "hidden"
    book.create_sheet("Prices").append(["x"])
    book.save(saved)
    report = import_upload(store, "b.xlsx", saved, **WHO)
    assert report.added["elements"] == 2
    assert set(report.notes) == {
        "b.xlsx, sheet Elements: the sheet is hidden; it was read all the same",
        "b.xlsx, sheet Elements: merged cells; only the first cell of each holds its value",
        "b.xlsx: the sheet Prices is none of those known here and was not read",
    }


def test_rows_keep_the_numbers_that_a_person_counts(store):
    book, saved = Workbook(), io.BytesIO()
    sheet = book.active
    sheet.title = "elements"
    sheet["A3"], sheet["B3"], sheet["C3"] = "maker", "number", "kind"
    sheet["A7"], sheet["B7"], sheet["C7"] = "Demo Works", "DW-1", "teapot"
    book.save(saved)
    (fault,) = faults_of(store, saved)
    assert fault.startswith("b.xlsx, sheet elements, row 7, column kind:")


def test_a_row_at_fault_does_not_make_others_of_those_that_refer_to_it(store):
    book, saved = Workbook(), io.BytesIO()
    sheet = book.active
    sheet.title = "elements"
    for row in (["maker", "number"], ["Demo Works", True], ["Demo Works", "DW-2"]):
        sheet.append(row)
    ratings = book.create_sheet("ratings")
    for row in (["maker", "number", "characteristic", "value"], ["Demo Works", "TRUE", "rated_flow", "75 L/min"]):
        ratings.append(row)
    book.save(saved)
    assert len(faults_of(store, saved)) == 1


def test_what_is_missing_in_a_workbook_is_called_by_its_sheet(store):
    heads = ["maker", "number", "characteristic", "value", "source"]
    told = [("Demo Works", "DW-1", "Q-1"), ("Demo Works", "DW-9", None), ("Dema Works", "DW-1", None)]
    rows = [[maker, number, "collapse_pressure", "1 MPa", source] for maker, number, source in told]
    source, element, maker = faults_of(store, book_of([heads, *rows]))
    assert "neither in the sheet sources nor on file" in source
    assert "Add the document to the sheet sources, or" in source
    assert "neither in the sheet elements nor on file" in element
    assert "Add Demo Works DW-9 to the sheet elements, or" in element
    assert "add Dema Works DW-1 to the sheet elements." in maker
    assert ".csv" not in source + element + maker


# --- parts written by hand, as other programs write them ----------------------------------------------

TYPES = '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>'
RELATIONS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="a" Type="http://purl.oclc.org/ooxml/officeDocument/relationships/{}" Target="{}"/>'
    '<Relationship Id="b" Type="http://purl.oclc.org/ooxml/officeDocument/relationships/{}" Target="{}"/>'
    "</Relationships>"
)
MAIN = (
    'xmlns:x="http://purl.oclc.org/ooxml/spreadsheetml/main" '
    'xmlns:r="http://purl.oclc.org/ooxml/officeDocument/relationships"'
)


def by_hand(sheet: str, strings: str = "", **more: str | bytes) -> io.BytesIO:
    packed = io.BytesIO()
    parts = {
        "[Content_Types].xml": TYPES,
        "_rels/.rels": RELATIONS.format("officeDocument", "/xl/book.xml", "other", "x"),
        "xl/_rels/book.xml.rels": RELATIONS.format("worksheet", "one.xml", "sharedStrings", "texts.xml"),
        "xl/book.xml": f'<x:workbook {MAIN}><x:sheets><x:sheet name="elements" sheetId="1" r:id="a"/>'
        "</x:sheets></x:workbook>",
        "xl/one.xml": sheet,
        "xl/texts.xml": f"<x:sst {MAIN}>{strings}</x:sst>",
    } | more
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return packed


def rows_by_hand(*cells: str) -> str:
    return (
        f"<x:worksheet {MAIN}><x:sheetData><x:row><x:c t='str'><x:v>maker</x:v></x:c>"
        f"<x:c t='str'><x:v>number</x:v></x:c></x:row>{''.join(cells)}</x:sheetData></x:worksheet>"
    )


def test_texts_in_runs_with_hints_escapes_and_prefixed_names(store):
    strings = (
        "<x:si><x:r><x:t>DW-</x:t></x:r><x:r><x:rPr/><x:t>1</x:t></x:r><x:rPh><x:t>spoken</x:t></x:rPh></x:si>"
        "<x:si><x:t>DW_x002D_2_x005F_x0041_</x:t></x:si>"
    )
    sheet = rows_by_hand(
        "<x:row r='4'><x:c r='B4' t='s'><x:v>0</x:v></x:c>"
        "<x:c r='A4' t='inlineStr'><x:is><x:t>Demo </x:t></x:is></x:c></x:row>",
        "<x:row><x:c t='inlineStr'><x:is><x:r><x:t>De</x:t></x:r><x:r><x:t>mo</x:t></x:r></x:is></x:c>"
        "<x:c t='s'><x:v>1</x:v></x:c></x:row>",
        "<x:row><x:c t='str'><x:f>A1</x:f><x:v>Demo</x:v></x:c><x:c t='str'><x:f>A1</x:f><x:v>DW-3</x:v></x:c></x:row>",
    )
    report = import_upload(store, "b.xlsx", by_hand(sheet, strings), **WHO)
    assert {(row["maker"], row["number"]) for row in held(store, tables.element)} == {
        ("Demo", "DW-1"),
        ("Demo", "DW-2_x0041_"),
        ("Demo", "DW-3"),
    }
    assert (
        'formulas, taken by the value that they had when saved (1 row): b.xlsx, sheet elements row 6 "Demo"'
        in report.notes
    )


@pytest.mark.parametrize(
    "sheet",
    [
        rows_by_hand("<x:row><x:c t='s'><x:v>7</x:v></x:c></x:row>"),
        rows_by_hand("<x:row r='x'/>"),
        rows_by_hand("<x:row><x:c r='1A'><x:v>1</x:v></x:c></x:row>"),
        rows_by_hand("<x:row><x:c s='0'><x:v>one</x:v></x:c></x:row>"),
        rows_by_hand()[:-5],
        "",
        "no xml",
    ],
)
def test_broken_parts_are_faults(sheet, store):
    (fault,) = faults_of(store, by_hand(sheet))
    assert "The workbook cannot be read" in fault


def test_macros_are_left_aside(store):
    sheet = rows_by_hand("<x:row><x:c t='str'><x:v>Demo</x:v></x:c><x:c t='str'><x:v>DW-3</x:v></x:c></x:row>")
    report = import_upload(store, "b.xlsm", by_hand(sheet, **{"xl/vbaProject.bin": b"\0\1"}), **WHO)
    assert report.notes == ("b.xlsm: macros were left aside",)


def test_a_workbook_of_other_sheets_is_refused(store):
    (fault,) = faults_of(store, book_of([["maker", "number"]], name="Sheet1"))
    assert "no sheet known here" in fault
    (fault,) = faults_of(store, book_of([], name="elements"))
    assert "sheet is empty" in fault
