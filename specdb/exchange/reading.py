"""From bytes to sheets of text: encoding, delimiter, quotes, rows. What a cell means is no matter here.

Every cell stays the text that it is; a part number such as ``00417``, ``12E4`` or ``2024-05`` is never
looked at as a number.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from specdb.exchange.description import DESCRIPTION_FILE, SHEETS, Description, read_descriptions
from specdb.exchange.faults import Findings

LONGEST_CELL_CHARACTERS = 10_000
LARGEST_FILE_BYTES = 512 * 2**20
DELIMITERS = (",", ";", "\t")

_BYTE_ORDER_MARKS = {codecs.BOM_UTF8: "utf-8", codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}

_MULTI_BYTE_UTF_8 = re.compile(
    rb"[\xc2-\xdf][\x80-\xbf]|\xe0[\xa0-\xbf][\x80-\xbf]|[\xe1-\xef][\x80-\xbf]{2}"
    rb"|\xf0[\x90-\xbf][\x80-\xbf]{2}|[\xf1-\xf3][\x80-\xbf]{3}|\xf4[\x80-\x8f][\x80-\xbf]{2}"
)
"""A character beyond ASCII in UTF-8 (RFC 3629), or half a surrogate pair written as one."""


@dataclass(frozen=True)
class Sheet:
    """One table of texts.

    ``name`` is one of ``SHEETS``, ``file`` what a fault calls it. Each row is its number as a person
    counts (the heading's line is usually 1) and its cells, trimmed. ``decimal`` is the mark declared
    for numbers, ``field_decimals`` that of single columns.
    """

    name: str
    file: str
    heading_row: int
    headings: tuple[str, ...]
    rows: list[tuple[int, list[str]]]
    decimal: str | None = None
    field_decimals: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Sheets:
    """The sheets found; ``unreadable`` names those that are there but could not be read."""

    found: dict[str, Sheet]
    unreadable: frozenset[str]


def read_folder(folder: Path, findings: Findings) -> Sheets:
    """The catalogue's sheets in ``folder``. Whatever cannot be read becomes a fault; the others are read."""
    try:
        root = folder.resolve(strict=True)
        names = sorted(entry.name for entry in root.iterdir())
    except (OSError, RuntimeError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its path leads nowhere"
        findings.fault(str(folder), f"The folder cannot be read: {why}.", "Name a folder that holds the sheets.")
        return Sheets({}, frozenset(SHEETS))
    descriptions = {}
    if DESCRIPTION_FILE in names:
        data = _bytes_of(root, DESCRIPTION_FILE, findings)
        descriptions = {} if data is None else read_descriptions(data, findings)
    paths = _paths(names, descriptions, str(folder), findings)
    found = {}
    for sheet, path in paths.items():
        data = _bytes_of(root, path, findings)
        read = None if data is None else read_csv(sheet, path, data, descriptions.get(sheet), findings)
        if read is not None:
            found[sheet] = read
    return Sheets(found, frozenset(paths) - frozenset(found))


def _paths(
    names: list[str], descriptions: Mapping[str, Description], folder: str, findings: Findings
) -> dict[str, str]:
    """Sheet: path of its file, as described, else by the file's name without regard to case."""
    paths = {}
    for sheet in SHEETS:
        matching = [name for name in names if name.casefold() == f"{sheet}.csv"]
        if sheet in descriptions:
            paths[sheet] = descriptions[sheet].path
        elif len(matching) > 1:
            findings.fault(matching[1], f"{matching[0]} is there as well.", "Leave one of the two.")
        elif matching:
            paths[sheet] = matching[0]
    if not paths and not findings.faults:
        remedy = f"It should hold some of {', '.join(f'{sheet}.csv' for sheet in SHEETS)}."
        findings.fault(folder, "There is no sheet in the folder.", remedy)
    for name in names:
        if name.casefold().endswith((".csv", ".tsv", ".xlsx")) and name not in paths.values():
            findings.note(f"{name} is none of the sheets known here and was not read")
    return paths


def _bytes_of(root: Path, path: str, findings: Findings) -> bytes | None:
    try:
        target = (root / path).resolve(strict=True)
        if not target.is_relative_to(root):
            findings.fault(path, "The file is a link that leads out of the folder.", "Put the file itself there.")
        elif not target.is_file():
            findings.fault(path, "This is not a file.", "Put a file of this name in its place.")
        elif target.stat().st_size > LARGEST_FILE_BYTES:
            remedy = f"Divide it into imports of at most {LARGEST_FILE_BYTES // 2**20} MiB."
            findings.fault(path, "The file is too large.", remedy)
        else:
            return target.read_bytes()
    except (OSError, RuntimeError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its path leads nowhere"
        findings.fault(path, f"The file cannot be read: {why}.", "Put a readable file in its place.")
    return None


def read_csv(
    name: str, file: str, data: bytes, description: Description | None, findings: Findings
) -> Sheet | None:
    """One CSV file as a sheet, or None with a fault where it is no table."""
    described = description or Description(file)
    text = _decoded(file, data, described.encoding, findings)
    if text is None:
        return None
    rows = _rows(file, text, described, findings)
    if not rows:
        if rows is not None:
            findings.fault(file, "The file is empty.", "It should begin with a line of headings.")
        return None
    heading_row, headings = rows[0]
    return Sheet(name, file, heading_row, tuple(headings), rows[1:], described.decimal, described.field_decimals)


def _decoded(file: str, data: bytes, declared: str | None, findings: Findings) -> str | None:
    marked = next((mark for mark in _BYTE_ORDER_MARKS if data.startswith(mark)), b"")
    encoding = _BYTE_ORDER_MARKS.get(marked) or declared or "utf-8"
    body = data[len(marked) :]
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != "utf-8" or marked or b"\0" in body:
            _undecodable(file, body, error, findings)
            return None
        if _MULTI_BYTE_UTF_8.search(body):
            # As Windows-1252 its good characters would be taken in as pairs of wrong ones.
            _undecodable(file, body, error, findings, "The file looks like UTF-8, but this byte does not belong to it.")
            return None
        try:
            text = body.decode("cp1252")
        except UnicodeDecodeError as other:
            _undecodable(file, body, other, findings)
            return None
        findings.note(f"{file} read as Windows-1252 (neither UTF-8 nor UTF-16)")
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        findings.fault(file, "The file holds NUL characters: no plain text.", "Save it as CSV in UTF-8.", row=row)
        return None
    return text


def _undecodable(
    file: str, body: bytes, error: UnicodeDecodeError, findings: Findings,
    message: str = "The file is not text in a known encoding.",
) -> None:  # fmt: skip
    findings.fault(
        file, message, "Save it as CSV in UTF-8.",
        row=body.count(b"\n", 0, error.start) + 1, found=f"byte 0x{body[error.start]:02x}",
    )  # fmt: skip


def _delimiter(text: str) -> str:
    """The commonest of the delimiters in the heading line, quoted text left aside."""
    line = next((line for line in io.StringIO(text) if line.strip()), "")
    bare = "".join(line.split('"')[::2])
    return max(DELIMITERS, key=bare.count)


def _rows(file: str, text: str, described: Description, findings: Findings) -> list[tuple[int, list[str]]] | None:
    """Rows that are not blank, with the number of the line each begins in; None where quotes are broken."""
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=described.delimiter or _delimiter(text),
        quotechar=described.quote, skipinitialspace=described.skip_initial_space, strict=True,
    )  # fmt: skip
    rows: list[tuple[int, list[str]]] = []
    begins = 1
    try:
        for cells in reader:
            number, begins = begins, reader.line_num + 1
            trimmed = [cell.strip() for cell in cells]
            if any(trimmed):
                rows.append((number, trimmed))
    except csv.Error as error:
        remedy = "A quote opened must be closed, and a quote within a quoted cell is written twice."
        findings.fault(file, f"The quotes or cells from here on cannot be read: {error}.", remedy, row=begins)
        return None
    return rows
