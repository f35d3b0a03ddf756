"""From bytes to sheets of text: encoding, delimiter, quotes, rows. What a cell means is no matter here.

A catalogue is a set of named files, in a folder or in a zip file.

Every cell stays the text that it is; a part number such as ``00417``, ``12E4`` or ``2024-05`` is never
looked at as a number.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from specdb.exchange.archive import Archive
from specdb.exchange.description import DESCRIPTION_FILE, SHEETS, Description, read_descriptions, sheet_meant
from specdb.exchange.faults import MOST_FAULTS, Findings

LONGEST_CELL_CHARACTERS = 10_000
LARGEST_FILE_BYTES = 512 * 2**20
MOST_ROWS = 1_000_000
MOST_COLUMNS = 500
LONGEST_HEADING_LINE_CHARACTERS = 2**20
LONGEST_LINE_CHARACTERS = 2**23
DELIMITERS = (",", ";", "\t")

_BYTE_ORDER_MARKS = {codecs.BOM_UTF8: "utf-8", codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}

_MULTI_BYTE_UTF_8 = re.compile(
    rb"[\xc2-\xdf][\x80-\xbf]|\xe0[\xa0-\xbf][\x80-\xbf]|[\xe1-\xef][\x80-\xbf]{2}"
    rb"|\xf0[\x90-\xbf][\x80-\xbf]{2}|[\xf1-\xf3][\x80-\xbf]{3}|\xf4[\x80-\x8f][\x80-\xbf]{2}"
)
"""A character beyond ASCII in UTF-8 (RFC 3629), or half a surrogate pair written as one."""


class _AtFault(str):
    """Of its own class, so that no text of a file is the same object."""


AT_FAULT = _AtFault("at fault")
"""Stands for a cell whose fault was told already; to be known by identity."""


@dataclass(frozen=True)
class Sheet:
    """One table of texts.

    ``name`` is one of ``SHEETS``, ``file`` what a fault calls it. Each row is its number as a person
    counts (the heading's line is usually 1) and its cells, trimmed. ``decimal`` is the mark declared
    for numbers, ``field_decimals`` that of single columns. In the place of a cell with a fault stands ``AT_FAULT``.
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
    of_workbook: bool = False


def read_folder(folder: Path, findings: Findings) -> Sheets:
    """The catalogue's sheets in ``folder``. Whatever cannot be read becomes a fault; the others are read."""
    try:
        root = folder.resolve(strict=True)
        names = sorted(entry.name for entry in root.iterdir())
    except (OSError, RuntimeError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its path leads nowhere"
        findings.fault(str(folder), f"The folder cannot be read: {why}.", "Name a folder that holds the sheets.")
        return Sheets({}, frozenset(SHEETS))
    return _read_files(names, str(folder), lambda path: _bytes_of(root, path, findings), findings)


def read_archive(archive: Archive, findings: Findings) -> Sheets:
    """As ``read_folder``, for the folder that was zipped: its files, or itself with its files in it."""
    paths = [path for path in archive.members if not path.startswith(("__MACOSX/", "."))]
    tops = {path.partition("/")[0] for path in paths}
    inside = f"{next(iter(tops))}/" if len(tops) == 1 and all("/" in path for path in paths) else ""
    names = sorted(path.removeprefix(inside) for path in paths)

    def bytes_of(path: str) -> bytes | None:
        if inside + path in archive.members:
            return archive.read(inside + path)
        findings.fault(path, "The file is described, but is not there.", "Put it into the zip file.")
        return None

    return _read_files(names, archive.name, bytes_of, findings)


def _read_files(
    names: list[str], place: str, bytes_of: Callable[[str], bytes | None], findings: Findings
) -> Sheets:
    before = findings.count
    descriptions: Mapping[str, Description] | None = {}
    if DESCRIPTION_FILE in names:
        data = bytes_of(DESCRIPTION_FILE)
        descriptions = {} if data is None else read_descriptions(data, findings)
    if descriptions is None:
        return Sheets({}, frozenset(SHEETS))
    paths = _paths([name for name in names if "/" not in name], descriptions, place, findings, before)
    found = {}
    for sheet, path in paths.items():
        data = bytes_of(path)
        read = None if data is None else read_csv(sheet, path, data, descriptions.get(sheet), findings)
        if read is not None:
            found[sheet] = read
    return Sheets(found, frozenset(paths) - frozenset(found))


def _paths(
    names: list[str], descriptions: Mapping[str, Description], place: str, findings: Findings, faults_before: int
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
    if not paths and findings.count == faults_before:
        remedy = f"It should hold some of {', '.join(f'{sheet}.csv' for sheet in SHEETS)}."
        findings.fault(place, "There is no sheet in the folder.", remedy)
    for name in names:
        if not name.casefold().endswith((".csv", ".tsv", ".xlsx")) or name in paths.values():
            continue
        meant = sheet_meant(name.rpartition(".")[0], paths)
        if meant is not None and name.casefold().endswith(".csv"):
            findings.fault(name, "There is no sheet of this name.", f"Name it {meant}.csv if that is meant.")
        else:
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
    encoding = encoding_of(file, data, described.encoding, findings)
    if encoding is None:
        return None
    rows = _rows(file, lambda: text_of(data, encoding), described, findings)
    if not rows:
        if rows is not None:
            findings.fault(file, "The file is empty.", "It should begin with a line of headings.")
        return None
    heading_row, headings = rows[0]
    return Sheet(name, file, heading_row, tuple(headings), rows[1:], described.decimal, described.field_decimals)


def _mark_of(data: bytes) -> bytes:
    return next((mark for mark in _BYTE_ORDER_MARKS if data.startswith(mark)), b"")


def text_of(data: bytes, encoding: str) -> io.TextIOWrapper:
    """The text of a file, decoded as it is read; line ends are left as they are."""
    raw = io.BytesIO(data)
    raw.seek(len(_mark_of(data)))
    return io.TextIOWrapper(raw, encoding, newline="")


def _rows_before_nul(data: bytes, encoding: str) -> int | None:
    """Lines before the first NUL character, None where there is none. Raises UnicodeDecodeError."""
    lines = 0
    with text_of(data, encoding) as text:
        while chunk := text.read(2**16):
            if "\0" in chunk:
                return lines + chunk.count("\n", 0, chunk.index("\0"))
            lines += chunk.count("\n")
    return None


def encoding_of(file: str, data: bytes, declared: str | None, findings: Findings) -> str | None:
    """The encoding in which the whole file is text, or None with a fault."""
    marked = _mark_of(data)
    encoding = _BYTE_ORDER_MARKS.get(marked) or declared or "utf-8"
    try:
        nul = _rows_before_nul(data, encoding)
    except UnicodeDecodeError:
        body = data[len(marked) :]
        error = _decoding_error(body, encoding)
        if encoding != "utf-8" or marked or b"\0" in body:
            _undecodable(file, body, error, findings)
            return None
        if _MULTI_BYTE_UTF_8.search(body):
            # As Windows-1252 its good characters would be taken in as pairs of wrong ones.
            _undecodable(file, body, error, findings, "The file looks like UTF-8, but this byte does not belong to it.")
            return None
        encoding, nul = "cp1252", None
        try:
            _rows_before_nul(data, encoding)
        except UnicodeDecodeError:
            _undecodable(file, body, _decoding_error(body, encoding), findings)
            return None
        findings.note(f"{file} read as Windows-1252 (neither UTF-8 nor UTF-16)")
    if nul is not None:
        message = "This is no text: it holds NUL characters."
        findings.fault(file, message, "A CSV file in UTF-8 is wanted, a workbook (XLSX) or a zip file.", row=nul + 1)
        return None
    return encoding


def _decoding_error(body: bytes, encoding: str) -> UnicodeDecodeError:
    """What is wrong with text that cannot be decoded, with its place in the whole."""
    try:
        body.decode(encoding)
    except UnicodeDecodeError as error:
        return error
    raise AssertionError("the text was found undecodable just now")


def _undecodable(
    file: str, body: bytes, error: UnicodeDecodeError, findings: Findings,
    message: str = "The file is not text in a known encoding.",
) -> None:  # fmt: skip
    findings.fault(
        file, message, "Save it as CSV in UTF-8.",
        row=body.count(b"\n", 0, error.start) + 1, found=f"byte 0x{body[error.start]:02x}",
    )  # fmt: skip


def _delimiter(text: io.TextIOWrapper) -> str:
    """The commonest of the delimiters in the heading line, quoted text left aside."""
    line = text.readline(LONGEST_HEADING_LINE_CHARACTERS)
    while line and not line.strip():
        line = text.readline(LONGEST_HEADING_LINE_CHARACTERS)
    bare = "".join(line.split('"')[::2])
    return max(DELIMITERS, key=bare.count)


def too_many(file: str, what: str, most: int, findings: Findings, row: int) -> None:
    findings.fault(file, f"There are more than {most} {what}.", f"Divide it into sheets of at most {most}.", row=row)


def fitted(cells: list[str], width: int, too_long_before: int) -> list[str]:
    """A row's cells without blank ones beyond the headings. Each row with others there is a fault; once more
    than can be listed were found, no more of such a row is kept than shows it."""
    if len(cells) <= width:
        return cells
    if not any(cells[width:]):
        return cells[:width]
    return cells if too_long_before < MOST_FAULTS else cells[: width + 1]


def _rows(
    file: str, text: Callable[[], io.TextIOWrapper], described: Description, findings: Findings
) -> list[tuple[int, list[str]]] | None:
    """Rows that are not blank, with the number of the line each begins in; None where quotes are broken."""
    delimiter = described.delimiter or _delimiter(text())
    rows: list[tuple[int, list[str]]] = []
    too_long = 0
    try:
        for number, trimmed in csv_rows(text(), delimiter, described.quote, described.skip_initial_space):
            kept = fitted(trimmed, len(rows[0][1]), too_long) if rows else trimmed
            too_long += bool(rows) and len(kept) > len(rows[0][1])
            rows.append((number, kept))
            if len(rows) > MOST_ROWS + 1:
                too_many(file, "rows", MOST_ROWS, findings, number)
                return None
    except UnreadableRowsError as error:
        findings.fault(file, error.message, error.remedy, row=error.row)
        return None
    return rows


class UnreadableRowsError(Exception):
    """Rows of a CSV file that cannot be told apart, from ``row`` on."""

    def __init__(self, row: int, message: str, remedy: str):
        super().__init__(message)
        self.row, self.message, self.remedy = row, message, remedy


def _lines_of(text: io.TextIOWrapper) -> Iterator[str]:
    """Lines, none of which is so long that it would fill the memory. Raises UnreadableRowsError."""
    count = 0
    while line := text.readline(LONGEST_LINE_CHARACTERS):
        count += 1
        if len(line) == LONGEST_LINE_CHARACTERS:
            message = f"The line has more than {LONGEST_LINE_CHARACTERS} characters."
            raise UnreadableRowsError(count, message, "Divide it; each row needs a line of its own.")
        yield line


def csv_rows(
    text: io.TextIOWrapper, delimiter: str, quote: str | None = '"', skip_initial_space: bool = False
) -> Iterator[tuple[int, list[str]]]:
    """Rows that are not blank, their cells trimmed, with the number of the line that each begins in.

    Raises UnreadableRowsError for broken quotes, for lines without an end, and for more columns than are read.
    """
    lines = _lines_of(text)
    reader = csv.reader(lines, delimiter=delimiter, quotechar=quote, skipinitialspace=skip_initial_space, strict=True)
    begins = 1
    try:
        for cells in reader:
            number, begins = begins, reader.line_num + 1
            if len(cells) > MOST_COLUMNS:
                remedy = f"Divide it into sheets of at most {MOST_COLUMNS}."
                raise UnreadableRowsError(number, f"There are more than {MOST_COLUMNS} columns.", remedy)
            trimmed = [cell.strip() for cell in cells]
            if any(trimmed):
                yield number, trimmed
    except csv.Error as error:
        remedy = "A quote opened must be closed, and a quote within a quoted cell is written twice."
        message = f"The quotes or cells from here on cannot be read: {error}."
        if "field limit" in str(error):
            message = f"A cell from here on has more than {csv.field_size_limit()} characters."
            remedy = "Shorten it; if it is not that long, a quote before it is not closed."
        raise UnreadableRowsError(begins, message, remedy) from None
