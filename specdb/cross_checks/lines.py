"""Lines as they are asked: plain data between those who read files and those who answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from specdb.errors import SpecdbError

MOST_LINES = 10_000
"""Lines of one cross-check."""

MOST_CANDIDATES = 50
"""Candidates of a line that is ranked."""

CANDIDATES = 3
"""Candidates of a line that is ranked, where nothing is said."""

FOR_ALL = ("common", "mode")
"""What plain data may say beside its lines, for all of them."""

LINES_SHEET = "Lines"
"""The sheet of a workbook that holds what each line asks, by dotted names; where there is one it is read."""

FAULT_HEADING = "fault"
"""Heads the column of that sheet that tells why a line was not answered; it asks nothing, and is told anew."""

FAULT_MARK = "fault: "
"""Begins a fault that stands in the place of what could not be read; it is refused until it is written over."""

ASIDE = "remark: "
"""How a heading begins that is no part of the question, whatever its other words say."""


NOT_ANSWERED_WITH = ("include_windows", "include_without_evidence")
"""Names of a question that ask for what no line is answered with."""


@dataclass(frozen=True)
class Line:
    """``row`` is the row of the sheet, or the place in a list from 1; ``label`` what the caller calls the line, by
    default its row. ``asked`` are dotted names and texts, as in an address: with ``elements.1.number`` and the like the
    line asks for a judgement of those, else for a ranking. ``headings`` tell under which heading a dotted name stood,
    by the name, where it was another. Of a line with ``faults`` nothing is answered but these; each names in ``field``
    the heading as it was typed, with ``whole``, or nothing where it concerns the whole row. ``unread`` are the texts,
    as typed, that could not be read, by the dotted names they would stand under. ``aside`` are the texts of columns
    that are no part of the question, by their headings. ``blank_original`` is the heading for the number of the
    original where there is one and the line has none."""

    row: int
    label: str
    asked: Mapping[str, str]
    faults: tuple[SpecdbError, ...] = ()
    headings: Mapping[str, str] = field(default_factory=dict)
    unread: Mapping[str, str] = field(default_factory=dict)
    aside: Mapping[str, str] = field(default_factory=dict)
    blank_original: str | None = None


@dataclass(frozen=True)
class LinesRead:
    """What a file or a list holds. ``notes`` tell what was passed over: sheets, columns, macros. ``beside`` is what
    stands beside the lines of a JSON file for all of them, as it was read: ``common`` and ``mode``."""

    lines: tuple[Line, ...]
    notes: tuple[str, ...] = ()
    beside: Mapping[str, object] = field(default_factory=dict)
