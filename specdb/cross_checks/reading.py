"""Lines of a cross-check from files and from plain data.

What a file is shows in what it holds, whatever it is called. What is wrong with one line is told with that line; what
leaves no line to be told apart, or one column in doubt, refuses the whole.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import replace
from itertools import islice
from pathlib import PurePosixPath
from typing import Any, BinaryIO, NoReturn

from specdb.cross_checks.gathering import Gathering, Told
from specdb.cross_checks.headings import HEADINGS_WITHIN_ROWS, Column, Columns, known_among, read_columns
from specdb.cross_checks.lines import MOST_LINES, LinesRead
from specdb.cross_checks.objects import lines_of_objects
from specdb.cross_checks.sheets import lines_of_workbook
from specdb.errors import QuestionError, SpecdbError, shown
from specdb.exchange.archive import Archive
from specdb.exchange.faults import Findings
from specdb.exchange.forms import BEGINNING_BYTES, is_zip, kind_of_package, refusal_of
from specdb.exchange.reading import DELIMITERS, UnreadableRowsError, csv_rows, encoding_of, text_of
from specdb.exchange.workbook import is_workbook
from specdb.formula_guard import unguarded

LARGEST_WORKBOOK_BYTES = 512 * 2**20
"""Of which only what holds the lines is unpacked."""
LARGEST_TEXT_BYTES = 64 * 2**20
LARGEST_JSON_BYTES = 16 * 2**20
MOST_OBJECTS = 500_000
MOST_VALUES = 500_000
"""Of a JSON file: opening brackets, and commas."""

_WANTED = "Lines come as a workbook (XLSX), a CSV file or JSON."
_JSON = re.compile(r'\{|\[\s*[\[{\]"0-9]')
"""How a list or an object begins, and no heading does."""


def read_lines(name: str, file: BinaryIO) -> LinesRead:
    """The lines of a file that can be read from any place: CSV, XLSX or JSON, by what it holds; ``name`` is what its
    sender calls it.

    Raises QuestionError where nothing can be read of the whole; what is wrong with one line goes to its faults.
    """
    plain = shown(PurePosixPath(name.replace("\\", "/")).name) or "file"
    size = file.seek(0, 2)
    file.seek(0)
    begins = file.read(BEGINNING_BYTES)
    file.seek(0)
    largest = LARGEST_WORKBOOK_BYTES if is_zip(begins) else LARGEST_TEXT_BYTES
    if size > largest:
        _refuse(plain, "The file is too large.", f"At most {largest // 2**20} MiB are read.")
    if not size:
        _refuse(plain, "The file is empty.", _WANTED)
    other = refusal_of(begins, _WANTED)
    if other is not None:
        _refuse(plain, *other)
    if is_zip(begins):
        return _lines_of_zip(plain, file)
    return _lines_of_text(plain, file.read())


def lines_of_json(data: object) -> LinesRead:
    """Lines of plain data: a list of objects, or an object with such a list as ``lines``.

    Raises QuestionError as :func:`read_lines`.
    """
    return lines_of_objects(data)


def _refuse(file: str, message: str, remedy: str, row: int | None = None) -> NoReturn:
    raise _refusal(file, message, remedy, row)


def _refusal(file: str, message: str, remedy: str, row: int | None = None, found: str | None = None) -> QuestionError:
    place = file if row is None else f"{file}, row {row}"
    return QuestionError(f"{place}: {message}", remedy=remedy, value=found)


def _refuse_if_any(findings: Findings, remedy: str | None = None) -> None:
    """Raises QuestionError with what was found wrong with the file itself."""
    faults: list[SpecdbError] = [
        _refusal(fault.file, fault.message, remedy or fault.remedy, fault.row, fault.found) for fault in findings.faults
    ]
    if faults:
        raise QuestionError.of(faults)


def _lines_of_zip(name: str, file: BinaryIO) -> LinesRead:
    findings = Findings()
    again = "Save the workbook anew as XLSX, with nothing in it but the lines."
    archive = Archive(file, name, findings, whole=False)
    _refuse_if_any(findings, again)
    kind = kind_of_package(archive)
    if kind is None and not is_workbook(archive):
        kind = "a zip file without a workbook in it"
    if kind is not None:
        _refuse(name, f"This is {kind}, which is not read here.", _WANTED)
    try:
        return lines_of_workbook(archive)
    finally:
        _refuse_if_any(findings, again)


# --- text ------------------------------------------------------------------------------------------


def _lines_of_text(name: str, data: bytes) -> LinesRead:
    findings = Findings()
    encoding = encoding_of(name, data, None, findings)
    _refuse_if_any(findings, "Save it as CSV in UTF-8, or as a workbook (XLSX).")
    assert encoding is not None
    with closing(text_of(data, encoding)) as text:
        begins = text.read(BEGINNING_BYTES).lstrip()
    read = (_lines_of_json_text if _JSON.match(begins) else _lines_of_csv)(name, data, encoding)
    return replace(read, notes=(*findings.notes(), *read.notes))


def _lines_of_csv(name: str, data: bytes, encoding: str) -> LinesRead:
    try:
        delimiter, heading_row, headings = _headings(data, encoding)
        columns = read_columns(headings)
        gathering = Gathering(columns, _told)
        for row, cells in csv_rows(text_of(data, encoding), delimiter):
            if row > heading_row:
                _take(gathering, columns, row, cells)
    except UnreadableRowsError as error:
        _refuse(name, error.message, error.remedy, error.row)
    if not gathering.drafts:
        _refuse(name, "There are headings and no line below them.", "Give each line a row of its own.")
    return LinesRead(gathering.lines(), (*columns.notes, *gathering.notes()))


def _told(cell: str, column: Column) -> Told:  # noqa: ARG001 - a cell of text is the same in every column
    return Told(cell)


def _take(gathering: Gathering[str], columns: Columns, row: int, cells: list[str]) -> None:
    width = columns.width
    fault = None
    if len(cells) < width or any(cells[width:]):
        message = f"The row has {len(cells)} cells, the headings are {width}."
        remedy = "Give every column its cell, blank if need be, and put a cell that holds the delimiter into quotes."
        fault = QuestionError(message, remedy=remedy)
    texts = {place: unguarded(cell).strip() for place, cell in enumerate(cells) if cell}
    gathering.take(row, texts, fault)


def _headings(data: bytes, encoding: str) -> tuple[str, int, list[str]]:
    """The delimiter, and the row of headings with its number: of all ways to read the first rows the one in which
    most headings are known."""
    best: tuple[int, str, int, list[str]] | None = None
    faults: list[UnreadableRowsError] = []
    for delimiter in DELIMITERS:
        try:
            first = list(islice(csv_rows(text_of(data, encoding), delimiter), HEADINGS_WITHIN_ROWS))
        except UnreadableRowsError as error:
            faults.append(error)
            continue
        for row, cells in first:
            texts = [unguarded(cell).strip() for cell in cells]
            count = known_among(texts)
            if best is None or count > best[0] or (not best[0] and row == best[2] and len(texts) > len(best[3])):
                best = count, delimiter, row, texts
    if best is None and faults:
        raise faults[0]
    if best is None:
        raise QuestionError("The file holds no text.", remedy=_WANTED)
    return best[1:]


# --- JSON ------------------------------------------------------------------------------------------


def _lines_of_json_text(name: str, data: bytes, encoding: str) -> LinesRead:
    too_much = f"At most {MOST_LINES} lines are read, in at most {LARGEST_JSON_BYTES // 2**20} MiB."
    if len(data) > LARGEST_JSON_BYTES:
        _refuse(name, "The file is too large.", too_much)
    text = text_of(data, encoding).read()
    if text.count("{") + text.count("[") > MOST_OBJECTS or text.count(",") > MOST_VALUES:
        _refuse(name, "The file holds far more than lines do.", too_much)
    try:
        found = json.loads(text, object_pairs_hook=_object, parse_constant=_no_number)
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        _refuse(name, f"This is no JSON: {error.msg} ({place}).", "Mend it there, or send the lines as CSV.")
    except RecursionError:
        _refuse(name, "The file is nested too deeply.", "A line is an object of names and values.")
    except ValueError:
        _refuse(name, "A number has far too many digits.", "State it with those that count.")
    return lines_of_objects(found)


def _object(pairs: Iterable[tuple[str, Any]]) -> Mapping[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise QuestionError("The name stands twice in one object.", value=key, remedy="State it once.")
        found[key] = value
    return found


def _no_number(word: str) -> NoReturn:
    raise QuestionError("This is no number that JSON has.", value=word, remedy="Leave it out, or state a number.")
