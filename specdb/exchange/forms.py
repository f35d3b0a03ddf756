"""The forms in which a catalogue may come: a folder, a zip file of it, a workbook, a single CSV file.

Which one a file is shows in its first bytes; its name decides nothing but which sheet a CSV file is.
"""

from __future__ import annotations

from codecs import BOM_UTF8
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from specdb.errors import shown
from specdb.exchange.archive import Archive
from specdb.exchange.columns import COLUMNS, REQUIRED, column_name
from specdb.exchange.description import SHEETS
from specdb.exchange.faults import Findings
from specdb.exchange.reading import LARGEST_FILE_BYTES, Sheet, Sheets, read_archive, read_csv, read_folder
from specdb.exchange.workbook import is_workbook, read_workbook

_ZIP = b"PK"
_OTHER_KINDS = (
    # First bytes of files that are no catalogue, and what each is.
    (b"%PDF", "a PDF file"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"\x89PNG", "a picture (PNG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"II*\0", "a picture (TIFF)"),
    (b"MM\0*", "a picture (TIFF)"),
    (b"RIFF", "a picture or a recording"),
    (b"{\\rtf", "a text document (RTF)"),
    (b"7z\xbc\xaf", "an archive of another kind (7z)"),
    (b"Rar!", "an archive of another kind (RAR)"),
    (b"\x1f\x8b", "an archive of another kind (gzip)"),
    (b"<!doctype html", "a web page (HTML)"),
    (b"<html", "a web page (HTML)"),
    (b"<?xml", "an XML file"),
)
_WANTED = "A workbook (XLSX), a zip of the catalogue folder or a CSV file is wanted."
BEGINNING_BYTES = 512
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
    begins = file.read(BEGINNING_BYTES)
    file.seek(0)
    if size > LARGEST_FILE_BYTES:
        findings.fault(plain, "The file is too large.", f"At most {LARGEST_FILE_BYTES // 2**20} MiB are read.")
        return _NOTHING
    other = refusal_of(begins, _WANTED)
    if other is not None:
        findings.fault(plain, *other)
        return _NOTHING
    if is_zip(begins):
        before = findings.count
        archive = Archive(file, plain, findings)
        if findings.count > before:
            return _NOTHING
        kind = kind_of_package(archive)
        if kind is not None:
            findings.fault(plain, f"This is {kind}, which is not read here.", _WANTED)
            return _NOTHING
        return read_workbook(archive, findings) if is_workbook(archive) else read_archive(archive, findings)
    return _single(plain, file.read(), findings)


def refusal_of(begins: bytes, wanted: str) -> tuple[str, str] | None:
    """What a file of another kind is by its first bytes, and what is ``wanted``; None for one that may be read."""
    if begins.startswith(_OLD_OFFICE):
        message = "This is a workbook of an old kind, or one protected by a password."
        return message, "Save it as XLSX, without a password."
    text = begins.removeprefix(BOM_UTF8).lstrip().lower()
    kind = next((kind for first, kind in _OTHER_KINDS if begins.startswith(first) or text.startswith(first)), None)
    return None if kind is None else (f"This is {kind}, which is not read here.", wanted)


def is_zip(begins: bytes) -> bool:
    return begins.startswith(_ZIP) and begins[2:4] in (b"\x03\x04", b"\x05\x06", b"\x07\x08")


def kind_of_package(archive: Archive) -> str | None:
    """What a document is that is packed as a zip file, where it is no XLSX workbook."""
    members = archive.members
    if "word/document.xml" in members:
        return "a text document (DOCX)"
    if "ppt/presentation.xml" in members:
        return "a presentation (PPTX)"
    if "xl/workbook.bin" in members:
        return "a workbook of another kind (XLSB)"
    if "mimetype" not in members:
        return None
    said = b"".join(archive.chunks("mimetype"))
    if b"opendocument.spreadsheet" in said:
        return "a workbook of another kind (ODS)"
    return "a document of another kind (OpenDocument)" if b"opendocument" in said else "a document of another kind"


def _single(name: str, data: bytes, findings: Findings) -> Sheets:
    """One CSV file: the sheet that its name says, else the one whose headings it has."""
    stem = PurePosixPath(name).stem.casefold()
    sheet = read_csv(stem, name, data, None, findings)
    if sheet is None:
        return _NOTHING
    named = stem if stem in SHEETS else _with_headings(sheet.headings)
    if named is None:
        _untold(name, sheet, findings)
        return _NOTHING
    return Sheets({named: replace(sheet, name=named)}, frozenset())


def _untold(name: str, sheet: Sheet, findings: Findings) -> None:
    """A fault that says what a table lacks to be the sheet that it is likest to, or that it is like none."""
    names = {column_name(heading)[0] for heading in sheet.headings}
    known = {sheet: len(names & set(COLUMNS[sheet])) for sheet in SHEETS}
    likest = max(SHEETS, key=lambda sheet: known[sheet])
    missing = [f'"{column}"' for column in REQUIRED[likest] if column not in names]
    found = ", ".join(sheet.headings)
    if not known[likest]:
        message = "This is no sheet of a catalogue: its first line has none of the headings of one."
        needed = "; ".join(f"{s} need {', '.join(REQUIRED[s])}" for s in ("elements", "ratings"))
        remedy = f"Put what it says under the headings of the blank workbook: {needed}."
    elif missing:
        message = f"Its headings are likest to those of {likest}, but {' and '.join(missing)} cannot be found."
        remedy = "Write the headings as in the blank workbook."
    else:
        message = "Its headings fit several sheets alike."
        remedy = f"Name the file {', '.join(f'{s}.csv' for s in SHEETS)}, whichever it is."
    findings.fault(name, message, remedy, row=sheet.heading_row, found=found)


def _with_headings(headings: tuple[str, ...]) -> str | None:
    """The one sheet that knows most of the headings, among those whose needed columns are all there."""
    names = {column_name(heading)[0] for heading in headings}
    known = {sheet: len(names & set(COLUMNS[sheet])) for sheet in SHEETS if set(REQUIRED[sheet]) <= names}
    best = [sheet for sheet, count in known.items() if count == max(known.values())]
    return best[0] if len(best) == 1 else None
