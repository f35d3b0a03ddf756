"""The forms in which a catalogue may come: a folder, a zip file of it, a workbook, a single CSV file.

Which one a file is shows in its first bytes; its name decides nothing but which sheet a CSV file is.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from specdb.errors import shown
from specdb.exchange.archive import Archive
from specdb.exchange.columns import COLUMNS, REQUIRED, column_name
from specdb.exchange.description import SHEETS
from specdb.exchange.faults import Findings
from specdb.exchange.reading import LARGEST_FILE_BYTES, Sheets, read_archive, read_csv, read_folder
from specdb.exchange.workbook import is_workbook, read_workbook

_ZIP = b"PK"
_OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""Workbooks of before 2007, and later ones that are protected by a password."""
_NOTHING = Sheets({}, frozenset(SHEETS))


def read_path(source: Path, findings: Findings) -> Sheets:
    """The sheets of a folder or a file. Whatever cannot be read becomes a fault."""
    if source.is_dir() or not source.exists():
        return read_folder(source, findings)
    try:
        with source.open("rb") as file:
            return read_file(source.name, file, findings)
    except OSError as error:
        findings.fault(source.name, f"The file cannot be read: {error.strerror}.", "Name a readable file.")
        return _NOTHING


def read_file(name: str, file: BinaryIO, findings: Findings) -> Sheets:
    """As ``read_path``, for a file that is open and can be read from any place, called ``name``."""
    plain = shown(PurePosixPath(name.replace("\\", "/")).name) or "file"
    size = file.seek(0, 2)
    file.seek(0)
    begins = file.read(len(_OLD_OFFICE))
    file.seek(0)
    if size > LARGEST_FILE_BYTES:
        findings.fault(plain, "The file is too large.", f"At most {LARGEST_FILE_BYTES // 2**20} MiB are read.")
        return _NOTHING
    if begins == _OLD_OFFICE:
        message = "This is a workbook of an old kind, or one protected by a password."
        findings.fault(plain, message, "Save it as XLSX, without a password.")
        return _NOTHING
    if begins.startswith(_ZIP) and begins[2:4] in (b"\x03\x04", b"\x05\x06", b"\x07\x08"):
        before = findings.count
        archive = Archive(file, plain, findings)
        if findings.count > before:
            return _NOTHING
        return read_workbook(archive, findings) if is_workbook(archive) else read_archive(archive, findings)
    return _single(plain, file.read(), findings)


def _single(name: str, data: bytes, findings: Findings) -> Sheets:
    """One CSV file: the sheet that its name says, else the one whose headings it has."""
    stem = PurePosixPath(name).stem.casefold()
    sheet = read_csv(stem, name, data, None, findings)
    if sheet is None:
        return _NOTHING
    named = stem if stem in SHEETS else _with_headings(sheet.headings)
    if named is None:
        remedy = f"Name the file {', '.join(f'{s}.csv' for s in SHEETS)}, or begin it with the headings of one of them."
        findings.fault(name, "Which sheet this is cannot be told.", remedy, row=sheet.heading_row)
        return _NOTHING
    return Sheets({named: replace(sheet, name=named)}, frozenset())


def _with_headings(headings: tuple[str, ...]) -> str | None:
    """The one sheet that knows most of the headings, among those whose needed columns are all there."""
    names = {column_name(heading)[0] for heading in headings}
    known = {sheet: len(names & set(COLUMNS[sheet])) for sheet in SHEETS if set(REQUIRED[sheet]) <= names}
    best = [sheet for sheet, count in known.items() if count == max(known.values())]
    return best[0] if len(best) == 1 else None
