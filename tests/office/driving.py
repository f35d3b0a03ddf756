"""The office suite, driven over UNO by lines of JSON: run by a Python that has ``uno``, which is the system's.

Called with the address that the suite listens at. A line in names what to ``do`` with its arguments; a line out holds
the ``answer``, or the ``error`` in words.
"""

from __future__ import annotations

import json
import re
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import uno  # type: ignore[import-not-found]
from com.sun.star.beans import PropertyValue  # type: ignore[import-not-found]

STARTING_SECONDS = 60
ACCORDING_TO_CONFIG = 2
"""Of links as a file is opened (com.sun.star.document.UpdateDocMode): as where a user opens it, by the settings."""

FILTERS = {
    "xlsx": "Calc MS Excel 2007 XML",
    "csv": "Text - txt - csv (StarCalc)",
    "pdf": "calc_pdf_Export",
    "ods": "calc8",
}
FLAT = "OpenDocument Spreadsheet Flat XML"
TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
CSV_AS_SHOWN = "44,34,76,1,,0,false,true"
"""Commas, quotes, UTF-8, the first sheet as it is shown."""

KINDS = {"EMPTY": "empty", "TEXT": "text", "VALUE": "number", "FORMULA": "formula"}
"""com.sun.star.table.CellContentType"""


class Driver:
    def __init__(self, address: str):
        self.desktop = _desktop(address)
        self.documents: list[Any] = []

    def open(self, file: str) -> dict[str, Any]:
        """A file, by what it holds, with its links updated where its folder is trusted."""
        opened = self._load(Path(file).as_uri(), UpdateDocMode=ACCORDING_TO_CONFIG)
        if opened is None or not hasattr(opened, "Sheets"):
            raise ValueError("the suite did not open it as a workbook")
        return self._kept(opened)

    def copied_afresh(self, document: int) -> dict[str, Any]:
        """A new document with the same sheets, formulas and values: no question of trust arises for it."""
        source, fresh = self.documents[document], self._load("private:factory/scalc")
        names = list(source.Sheets.ElementNames)
        for place, name in enumerate(names):
            fresh.Sheets.insertNewByName(name, place)
        for name in set(fresh.Sheets.ElementNames) - set(names):
            fresh.Sheets.removeByName(name)
        for name in source.NamedRanges.ElementNames:
            named = source.NamedRanges.getByName(name)
            fresh.NamedRanges.addNewByName(name, named.Content, named.ReferencePosition, named.Type)
        for name in names:
            used = _used(source.Sheets.getByName(name))
            into = fresh.Sheets.getByName(name).getCellRangeByName(used.AbsoluteName.rpartition(".")[2])
            into.setFormulaArray(used.getFormulaArray())
        return self._kept(fresh)

    def cells(self, document: int, sheet: str, where: str) -> list[list[dict[str, Any]]]:
        """What stands in a range such as ``A1:D10``, or in all that is used. Each call of UNO takes its time: what can
        be had for a whole range is."""
        whole = self.documents[document].Sheets.getByName(sheet)
        asked = whole.getCellRangeByName(where) if where else _used(whole)
        formats = self._formats(document, asked)
        held, typed = asked.getDataArray(), asked.getFormulaArray()
        return [
            [
                _cell(asked, column, row, typed[row][column], value) | {"format": formats[row, column]}
                for column, value in enumerate(values)
            ]
            for row, values in enumerate(held)
        ]

    def _formats(self, document: int, asked: Any) -> dict[tuple[int, int], str]:
        """The number format of each cell of a range, by row and column from 0."""
        known, found = self.documents[document].NumberFormats, {}
        origin = asked.RangeAddress
        for alike in asked.getUniqueCellFormatRanges():
            written = known.getByKey(alike.NumberFormat).FormatString
            for area in alike.RangeAddresses:
                for row in range(area.StartRow - origin.StartRow, area.EndRow - origin.StartRow + 1):
                    for column in range(area.StartColumn - origin.StartColumn, area.EndColumn - origin.StartColumn + 1):
                        found[row, column] = written
        return found

    def put(self, document: int, sheet: str, cell: str, value: str | float) -> None:
        """A number, or a text as one types it: ``=…`` is a formula, but in a cell whose format is text."""
        into = self.documents[document].Sheets.getByName(sheet).getCellRangeByName(cell)
        if isinstance(value, str):
            is_text = self.documents[document].NumberFormats.getByKey(into.NumberFormat).FormatString == "@"
            if is_text:
                into.String = value
            else:
                into.Formula = value
        else:
            into.Value = value

    def recalculate(self, document: int) -> None:
        """Everything; a web function has its answer when this returns."""
        self.documents[document].calculateAll()

    def convert(self, document: int, file: str) -> None:
        """The document as a file of the kind that its name ends in; of a CSV the first sheet."""
        kind = file.rpartition(".")[2]
        options = {"FilterOptions": CSV_AS_SHOWN} if kind == "csv" else {}
        into = _properties(FilterName=FILTERS[kind], Overwrite=True, **options)
        self.documents[document].storeToURL(Path(file).as_uri(), into)

    def view(self, document: int, sheet: str) -> dict[str, Any]:
        """How a sheet is shown: frozen columns and rows, filters, conditional formats, and whether it is hidden."""
        opened = self.documents[document]
        shown = opened.Sheets.getByName(sheet)
        window = opened.CurrentController
        window.setActiveSheet(shown)
        conditions = shown.ConditionalFormats.getConditionalFormats()
        return {
            "frozen": [window.SplitColumn, window.SplitRow] if window.hasFrozenPanes() else None,
            "autofilter": [area for named, area in self._filters(opened) if named == sheet],
            "conditional": [each.Range.RangeAddressesAsString.replace(f"{sheet}.", "") for each in conditions],
            "visible": bool(shown.IsVisible),
        }

    def end(self) -> None:
        """The suite goes, and with it the connection."""
        with suppress(Exception):
            self.desktop.terminate()

    def close(self, document: int) -> None:
        self.documents[document].close(True)
        self.documents[document] = None

    def _filters(self, document: Any) -> list[tuple[str, str]]:
        """Sheet and area of each filter. UNO does not give those without a name: they stand in the flat file alone."""
        with tempfile.NamedTemporaryFile(suffix=".fods") as file:
            document.storeToURL(Path(file.name).as_uri(), _properties(FilterName=FLAT, Overwrite=True))
            ranges = ElementTree.parse(file.name).iter(f"{TABLE}database-range")
        shown = [each for each in ranges if each.get(f"{TABLE}display-filter-buttons") == "true"]
        areas = (each.attrib[f"{TABLE}target-range-address"].replace("$", "") for each in shown)
        ends = (re.split(r"\.|:", area) for area in areas)
        return [(sheet.strip("'"), f"{first}:{last}") for sheet, first, _, last in ends]

    def _load(self, address: str, **how: object) -> Any:
        return self.desktop.loadComponentFromURL(address, "_blank", 0, _properties(Hidden=True, **how))

    def _kept(self, document: Any) -> dict[str, Any]:
        self.documents.append(document)
        return {"document": len(self.documents) - 1, "sheets": list(document.Sheets.ElementNames)}


def _desktop(address: str) -> Any:
    here = uno.getComponentContext()
    resolver = here.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", here)
    until = time.monotonic() + STARTING_SECONDS
    while True:
        try:
            there = resolver.resolve(f"uno:{address};urp;StarOffice.ComponentContext")
            break
        except Exception:  # not listening yet
            if time.monotonic() > until:
                raise
            time.sleep(0.05)
    return there.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", there)


def _properties(**named: object) -> tuple[Any, ...]:
    made = []
    for name, value in named.items():
        made.append(PropertyValue())
        made[-1].Name, made[-1].Value = name, value
    return tuple(made)


def _used(sheet: Any) -> Any:
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    end = cursor.RangeAddress
    return sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow)


def _cell(within: Any, column: int, row: int, typed: str, value: float | str) -> dict[str, Any]:
    """``shown`` as the sheet shows it; ``result`` a number or a text, None where it is empty or an error."""
    told = {"kind": "text", "shown": value, "formula": None, "result": value, "error": 0}
    if value == "" and typed == "":
        return told | {"kind": "empty", "result": None}
    if isinstance(value, str) and not typed.startswith("="):
        return told
    cell = within.getCellByPosition(column, row)
    kind, error = KINDS[cell.Type.value], cell.getError()
    formula = cell.Formula if kind == "formula" else None
    result = None if error else value
    return told | {"kind": kind, "shown": cell.String, "formula": formula, "result": result, "error": error}


def main() -> None:
    driver = Driver(sys.argv[1])
    print(json.dumps({"answer": "ready"}), flush=True)
    for line in sys.stdin:
        asked = json.loads(line)
        try:
            told = {"answer": getattr(driver, asked.pop("do"))(**asked)}
        except Exception as error:
            told = {"error": f"{type(error).__name__}: {error}"}
        print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main()
