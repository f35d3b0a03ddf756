"""Lines as text with tabs, as a spreadsheet's clipboard would have them: to be shown, mended and sent again."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Sequence

from specdb.cross_checks.headings import LABEL
from specdb.cross_checks.lines import Line
from specdb.cross_checks.reading import read_lines
from specdb.errors import QuestionError

NOT_READ = "not read: "
"""Before what stood in a cell that could not be read and would be read as text, as a date among part numbers."""


def tabbed(lines: Sequence[Line]) -> str | None:
    """Text that is read as the same lines, each column under its own heading where that says one thing; None where
    there is none, as of a row that has too many cells."""
    again = _read(_written(lines, ()))
    doubtful = [
        place for place, (line, its) in enumerate(zip(lines, again, strict=False)) if line.faults and not its.faults
    ]
    if not all(lines[place].unread for place in doubtful):
        return None
    text = _written(lines, doubtful)
    again = _read(text)
    if len(again) != len(lines):
        return None
    for place, (line, its) in enumerate(zip(lines, again, strict=True)):
        if place not in doubtful and _said(line) != _said(its):
            return None
    return text


def _written(lines: Sequence[Line], doubtful: Collection[int]) -> str:
    """The lines as text; those in the places ``doubtful`` with a mark at what could not be read."""
    cells = [
        {**line.asked, **{name: (NOT_READ if place in doubtful else "") + text for name, text in line.unread.items()}}
        for place, line in enumerate(lines)
    ]
    typed: dict[str, set[str]] = {}
    for line, its in zip(lines, cells, strict=True):
        for name in its:
            typed.setdefault(line.headings.get(name, name), set()).add(name)
    heading_of = {next(iter(those)): heading for heading, those in typed.items() if len(those) == 1}
    names = dict.fromkeys(name for its in cells for name in its)
    aside = dict.fromkeys(heading for line in lines for heading in line.aside)
    written = io.StringIO()
    writer = csv.writer(written, csv.excel_tab, lineterminator="\n")
    writer.writerow([LABEL, *(heading_of.get(name, name) for name in names), *aside])
    for line, its in zip(lines, cells, strict=True):
        beside = (line.aside.get(heading, "") for heading in aside)
        writer.writerow([line.label, *(its.get(name, "") for name in names), *beside])
    return written.getvalue()


def _read(text: str) -> Sequence[Line]:
    try:
        return read_lines("lines", io.BytesIO(text.encode())).lines
    except QuestionError:
        return ()


def _said(line: Line) -> tuple[object, ...]:
    return line.label, dict(line.asked), dict(line.unread), dict(line.aside), bool(line.faults)
