"""Workbooks (XLSX) in which every cell is text, so that no program makes a formula, a number or a date of one."""

from __future__ import annotations

import re
import shutil
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.writer.excel import ExcelWriter

from specdb.errors import QuestionError
from specdb.exchange.columns import COLUMNS

MOST_ROWS_OF_A_WORKBOOK = 1_048_576
STEADY_TIME = (1980, 1, 1, 0, 0, 0)
"""Of every file in an archive that we write: the same facts make the same bytes."""

_TEXT_FORMAT = "@"
_WIDE = {"title", "remark", "correction"}
# What XML cannot hold, and what the format itself would read as such an escape (ISO/IEC 29500-1, 22.9.2.19).
_TO_ESCAPE = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")


class _SteadyZip(zipfile.ZipFile):
    """An archive whose bytes depend on nothing but what is in it."""

    def writestr(self, zinfo_or_arcname: Any, data: Any, *_: Any, **__: Any) -> None:
        with self.open(steady(str(zinfo_or_arcname)), "w") as member:
            member.write(data if isinstance(data, bytes) else data.encode())

    def write(self, filename: Any, arcname: Any = None, *_: Any, **__: Any) -> None:
        with open(filename, "rb") as file, self.open(steady(str(arcname)), "w", force_zip64=True) as member:
            shutil.copyfileobj(file, member)


def steady(path: str) -> zipfile.ZipInfo:
    """A member of an archive, to be packed, that tells nothing of when and where it was made."""
    info = zipfile.ZipInfo(path, STEADY_TIME)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.create_system, info.external_attr = 3, 0o644 << 16
    return info


def escaped(text: str) -> str:
    """``text`` as a cell of a workbook can hold it."""
    return _TO_ESCAPE.sub(lambda match: f"_x{ord(match[0]):04X}_", text)


def write_workbook(file: Path, sheets: Mapping[str, Iterable[list[str]]]) -> None:
    """Writes the rows of each sheet under its headings, a frozen first row.

    Raises QuestionError where a sheet has more rows than a workbook holds.
    """
    book = steady_book()
    try:
        for name, rows in sheets.items():
            _write_sheet(book, name, rows)
    except BaseException:
        for sheet in book.worksheets:
            sheet.close()
        raise
    save(book, file)


def steady_book() -> Workbook:
    """A workbook without sheets, to be written row by row, that tells nothing of when it was made."""
    book = Workbook(write_only=True)
    book.properties.creator = "specdb"
    book.properties.created = book.properties.modified = datetime(*STEADY_TIME)
    return book


def save(book: Workbook, file: Path | IO[bytes]) -> None:
    with _SteadyZip(file, "w", zipfile.ZIP_DEFLATED) as archive:
        ExcelWriter(book, archive).save()


def headed_sheet(book: Workbook, name: str) -> Any:
    """A new sheet with the headings of one of the catalogue's, frozen, every column of it text."""
    sheet = book.create_sheet(name)
    columns = COLUMNS[name]
    for number, column in enumerate(columns, start=1):
        dimension = sheet.column_dimensions[get_column_letter(number)]
        dimension.width = 40 if column in _WIDE else max(12, len(column) + 4)
        # Cells that a person fills later are text as well.
        dimension.number_format = _TEXT_FORMAT
    sheet.freeze_panes = "A2"
    sheet.append(list(cells(sheet, columns, Font(bold=True))))
    return sheet


def _write_sheet(book: Workbook, name: str, rows: Iterable[list[str]]) -> None:
    sheet = headed_sheet(book, name)
    count = 1
    for row in rows:
        count += 1
        if count > MOST_ROWS_OF_A_WORKBOOK:
            raise QuestionError(
                f"The sheet {name} has more rows than a workbook holds.", value=MOST_ROWS_OF_A_WORKBOOK, field="target",
                remedy="Export to a folder or a zip file.",
            )  # fmt: skip
        sheet.append(list(cells(sheet, row)))
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(COLUMNS[name]))}{count}"


def cells(sheet: Any, texts: Iterable[str], font: Font | None = None) -> Iterator[Any]:
    """Cells that hold these texts as text; None for one that is empty."""
    for text in texts:
        if not text:
            yield None
            continue
        cell = WriteOnlyCell(sheet, value=escaped(text))
        cell.data_type = "s"
        cell.number_format = _TEXT_FORMAT
        if font is not None:
            cell.font = font
        yield cell
