"""Answers to many lines as a finished workbook (XLSX): summary, every criterion, what to ask for, and the lines again.

Rows are written as the answers come, so that none of them stands in memory longer than its own. Every number is a
number, every text a text and nothing a formula. The same answers make the same bytes.
"""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date as Date  # noqa: N812 - a parameter is called so
from datetime import datetime
from typing import Any, BinaryIO, TextIO

from typing_extensions import override
from xlsxwriter import Workbook
from xlsxwriter.worksheet import Worksheet

from specdb.answers.cross_checks import CrossCheckAnswer, FaultShown, LineAnswer
from specdb.answers.tables import Cell
from specdb.cross_checks.gathering import stated
from specdb.cross_checks.headings import ANY, DECIMAL, LABEL, NAMES_OF_THE_ORIGINAL, Column, kind_of, meaning_of
from specdb.cross_checks.lines import ASIDE, FAULT_HEADING, FAULT_MARK, LINES_SHEET
from specdb.cross_checks.running import SAID_ONCE, Mode
from specdb.cross_checks.workbook_sheets import (
    CRITERIA,
    MARKS,
    NONE_FOUND,
    NOT_ANSWERED,
    ON_ASSUMPTIONS,
    REQUESTS,
    SUMMARY,
    SheetColumn,
    aside_columns,
)
from specdb.duty.dotted import compared_names, comparison_of, dotted_names, faults_as_typed, question_of
from specdb.duty.left import faults_in_the_rest
from specdb.duty.question import MOST_REQUIREMENTS, TEXT_AT_MOST
from specdb.errors import InputError, QuantityError, QuestionError, SpecdbError, shown
from specdb.exchange.workbook_out import MOST_ROWS_OF_A_WORKBOOK, STEADY_TIME, escaped
from specdb.units import UnitSystem, express, kinds_of, read_quantity

LONGEST_TEXT_OF_A_CELL = 32_767

_CUT = " [cut: longer than a cell holds]"
_LONGEST_AS_TEXT = 255
"""Beyond it some programs show a cell that is formatted as text as a row of number signs."""
_LIKE_A_FORMULA = ("=", "+", "-", "@")
_WIDEST_ASKED = 40
_MOST_ASSUMPTIONS = 20
_LINE_POINTS, _MOST_POINTS = 13, 400
"""Height of a line of text, and of the highest row."""
_A4, _LETTER = 9, 1
_RIGHT: Mapping[str, Any] = {"align": "right", "indent": 1}
_SET: Mapping[str, Mapping[str, Any]] = {
    "text": {}, "verdict": {}, "number": _RIGHT, "share": _RIGHT,
    "words": {"align": "left", "indent": 1, "text_wrap": True},
}  # fmt: skip
"""How a column is set, by what it holds."""
_HEADING = {"bold": True, "text_wrap": True, "valign": "top", "bg_color": "#E4E4E4", "bottom": 2}
_LIGHT_UP, _DOTTED = 14, 17
"""Patterns of a cell's ground: thin strokes, fine dots."""

_ABOUT = (SheetColumn("about", "words", 30), SheetColumn("told", "words", 100))
_MODES: Mapping[Mode, str] = {
    "each": "Each line is answered by what it names: with alternatives a judgement of these, else the best on file.",
    "rank": "Each line is answered with the best on file.",
    "judge": "Each line is answered with a judgement of the alternatives that it names.",
}
_UNITS: Mapping[UnitSystem, str] = {"si": "SI units", "us": "the units of the US trade"}


@dataclass
class Written:
    """What a workbook holds: lines, how many of them were answered, and the rows below the headings of each sheet."""

    lines: int = 0
    answered: int = 0
    rows: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class _Run:
    """What is said of all answers at once."""

    head: CrossCheckAnswer
    units: UnitSystem
    mode: Mode
    date: Date | None


def write_answers(
    file: BinaryIO,
    answers: Iterable[LineAnswer],
    head: CrossCheckAnswer,
    units: UnitSystem = "si",
    *,
    mode: Mode = "each",
    date: Date | None = None,
) -> Written:
    """Writes the answers to an open file as they come. ``head`` says what they were made from, its own lines are not
    looked at; ``units`` are those that the answers were made in.

    Raises QuestionError where a sheet would get more rows than a workbook holds; nothing is in the file then.
    """
    with tempfile.TemporaryDirectory(prefix="specdb-") as folder:
        book = _Book(file, folder)
        try:
            written = _write(book, answers, _Run(head, units, mode, date))
            book.close()
        finally:
            book.let_go()
    return written


def _write(book: _Book, answers: Iterable[LineAnswer], run: _Run) -> Written:
    book.describe(run)
    summary, criteria, requests, lines, about = (
        _Sheet(book, name) for name in (SUMMARY.name, CRITERIA.name, REQUESTS.name, LINES_SHEET, "About")
    )
    in_full = [(of, sheet) for of, sheet in ((CRITERIA, criteria), (REQUESTS, requests))]
    for of, sheet in in_full:
        sheet.begin(of.columns(run.units), of.printed)
    written, asked = Written(), _Asked(run.units)
    with tempfile.TemporaryFile("w+", encoding="ascii", dir=book.tmpdir) as file:
        spool = _Spool(file)
        for answer in answers:
            written.lines += 1
            written.answered += answer.problem is None
            asked.keep(answer)
            spool.keep(SUMMARY.rows(answer), answer.aside)
            for of, sheet in in_full:
                sheet.add_all(of.rows(answer))
        aside = list(asked.aside)
        summary.begin((*SUMMARY.columns(run.units), *aside_columns(aside)), SUMMARY.printed, _above(run))
        summary.add_all([*row, *map(beside.get, aside)] for row, beside in spool.rows())
    columns, rows = asked.sheet()
    lines.begin(columns)
    lines.add_all(rows)
    about.begin(_ABOUT)
    about.add_all(_about(run, written, asked))
    written.rows = {sheet.name: sheet.end() for sheet in (summary, criteria, requests, lines, about)}
    return written


class _Spool:
    """Rows of the summary, kept in a file until it is known which columns stand beside them."""

    def __init__(self, file: TextIO):
        self.file = file

    def keep(self, rows: Sequence[Sequence[Cell]], beside: Mapping[str, str]) -> None:
        for row in rows:
            self.file.write(json.dumps([row, beside]) + "\n")

    def rows(self) -> Iterator[tuple[list[Cell], dict[str, str]]]:
        self.file.seek(0)
        for line in self.file:
            row, beside = json.loads(line)
            yield row, beside


# --- what stands beside the answers -----------------------------------------------------------------


@dataclass(frozen=True)
class _Line:
    """What a line asked, and why it was not answered. Under the names ``at_fault`` there stands what is refused, unless
    its column takes it: ``instead`` stands there then."""

    label: str
    asked: Mapping[str, str]
    aside: Mapping[str, str]
    at_fault: set[str]
    instead: Mapping[str, str]
    fault: str | None

    def cell(self, name: str, heading: str) -> str | None:
        typed, instead = self.asked.get(name), self.instead.get(name)
        is_kept = instead is None or (typed is not None and _is_refused(heading, typed))
        return typed if is_kept else instead


class _Asked:
    """What each line asked, and what was taken for granted: little enough to be kept until all are answered."""

    def __init__(self, units: UnitSystem) -> None:
        self.units = units
        self.lines: list[_Line] = []
        self.aside: dict[str, None] = {}
        self.said_once: dict[str, str] = {}
        self.assumptions: dict[str, None] = {}

    def keep(self, answer: LineAnswer) -> None:
        asked = {
            name: text
            for name, text in (answer.asked | answer.unread).items()
            if _is_known(name) and name not in SAID_ONCE
        }
        names, instead = _stand_ins(answer, asked)
        self.lines.append(_Line(answer.line, asked, answer.aside, {*names, *instead}, instead, _fault_told(answer)))
        if answer.problem is None:
            self.said_once |= {name: answer.asked[name] for name in SAID_ONCE if name in answer.asked}
        self.aside |= dict.fromkeys(answer.aside)
        self.assumptions |= dict.fromkeys(answer.assumptions.values())

    def sheet(self) -> tuple[list[SheetColumn], Iterator[list[Cell]]]:
        """A column for each name that any line states, in the order of the models, and the rows of the lines; beside
        them what their sheet held that asks nothing, and why a line was not answered."""
        stand = {name for line in self.lines for name in (*line.asked, *line.instead)}
        names = [name for name in (*dotted_names(), *compared_names()) if name in stand]
        asked = [self._column(name) for name in names]
        aside = list(self.aside)
        columns = [
            SheetColumn(LABEL, width=self._width(LABEL, (line.label for line in self.lines))),
            *asked,
            *aside_columns(ASIDE + heading for heading in aside),
        ]
        if any(line.fault for line in self.lines):
            columns.append(SheetColumn(FAULT_HEADING, "words", 50))
        rows: Iterator[list[Cell]] = (
            [
                *(line.label, *(line.cell(name, column.heading) for name, column in zip(names, asked, strict=True))),
                *map(line.aside.get, aside),
                *([line.fault] if columns[-1].heading == FAULT_HEADING else []),
            ]
            for line in self.lines
        )
        return columns, rows

    def _column(self, name: str) -> SheetColumn:
        """The column of a name, headed with the unit that a bare number in it is in; with none, where a text in it
        would be read as something else then."""
        said = [(line.asked[name], name in line.at_fault) for line in self.lines if name in line.asked]
        headings = (f"{name} [{unit}]" for text, _ in said[:1] for unit in _units_of(name, text, self.units))
        fitting = (each for each in headings if all(_reads_the_same(each, name, *text) for text in said))
        heading = next(fitting, name)
        return SheetColumn(heading, width=self._width(heading, (text for text, _ in said)))

    def _width(self, heading: str, texts: Iterable[str]) -> int:
        return min(max((len(heading) + 4, *(len(text) + 2 for text in texts))), _WIDEST_ASKED)


def _is_known(name: str) -> bool:
    return name in dotted_names() or name in compared_names()


def _units_of(name: str, text: str, units: UnitSystem) -> Iterator[str]:
    """Units that a column may be headed with: the one asked for, else that of its first text."""
    kind = kind_of(name)
    try:
        if kind == ANY:
            kind = next(iter(kinds_of(text)), "")
        if kind:
            yield express(1.0, kind, units)[1]
            yield read_quantity(text, kind).unit
    except QuantityError:
        return


def _reads_the_same(heading: str, name: str, text: str, is_at_fault: bool) -> bool:
    """Whether a cell is what it was, below a heading with a unit: what is at fault may stay so."""
    column = meaning_of(heading)
    if not isinstance(column, Column) or column.name != name:
        return False
    if _is_refused(heading, text):
        return is_at_fault
    return stated(column, text) == text.strip()


def _is_refused(heading: str, text: str) -> bool:
    """Whether what is typed below a heading is refused there, whatever else the line says."""
    column = meaning_of(heading)
    try:
        if isinstance(column, Column):
            stated(column, text)
    except (QuantityError, QuestionError):
        return True
    return False


def _fault_told(answer: LineAnswer) -> str | None:
    """Why a line was not answered, with what would be right."""
    faults = [] if answer.problem is None else answer.problem.errors
    told = (f"{_told(each).rstrip('.')}. {each.remedy or ''}".strip() for each in faults)
    return "\n".join(told) or None


def _stand_ins(answer: LineAnswer, asked: Mapping[str, str]) -> tuple[set[str], dict[str, str]]:
    """Has faults found again when the line is asked anew: the names at fault, and what is to stand in their places.

    What was typed stays where it is refused by itself. Elsewhere the fault stands in its place; where another text
    does that is in no fault, as one that was said for all lines, under another name.
    """
    refused = _refused(asked)
    names: set[str] = set()
    instead: dict[str, str] = {}
    for fault in [] if answer.problem is None else answer.problem.errors:
        if not fault.field and None in refused:
            continue
        name = _name_of(fault.field, answer.unread)
        text = None if name is None else asked.get(name)
        is_unread = name in answer.unread
        if name is not None and text is not None:
            is_told = text.startswith(FAULT_MARK) if is_unread else shown(text) in fault.detail
            if is_told or name in refused:
                names.add(name)
                continue
        if name is None or (text is not None and not is_unread):
            name = _free_name({*asked, *instead})
        instead[name] = f"{FAULT_MARK}{_told(fault)}"[:TEXT_AT_MOST]
    return names, instead


def _free_name(taken: set[str]) -> str:
    used = [int(each.split(".")[1]) for each in taken if each.startswith("require.")]
    more = f"require.{min(max(used, default=0) + 1, MOST_REQUIREMENTS)}.characteristic"
    return next((name for name in NAMES_OF_THE_ORIGINAL if name not in taken), more)


def _told(fault: FaultShown) -> str:
    return f"{fault.field}: {fault.detail}" if fault.field else fault.detail


def _refused(asked: Mapping[str, str]) -> set[str | None]:
    """The names under which a question is at fault by itself, whatever is on file."""
    is_judged = any(name in compared_names() for name in asked)
    try:
        with faults_as_typed(asked):
            question = comparison_of(asked) if is_judged else question_of(asked)
            plain = question.model_dump(by_alias=True, include={"duty"})
            if faults := faults_in_the_rest(plain, ()):
                raise QuestionError.of(faults)
    except InputError as error:
        return {each.field for each in error.faults or (error,) if isinstance(each, SpecdbError)}
    return set()


def _name_of(field: str | None, unread: Mapping[str, str]) -> str | None:
    """The dotted name that a heading stands for; None of what is not known. A fault of a line as a whole stands under
    its original, whose number it cannot be taken for."""
    if not field:
        return "original.number"
    if _is_known(field):
        return field
    meaning = meaning_of(field)
    if not isinstance(meaning, Column) or meaning.name in (LABEL, DECIMAL):
        return None
    if not meaning.beside:
        return meaning.name
    of_its_kind = (name.rpartition(".")[0] for name, text in unread.items() if text == meaning.beside["characteristic"])
    return next((f"{each}.{meaning.name}" for each in of_its_kind if f"{each}.{meaning.name}" in unread), None)


def _above(run: _Run) -> list[str]:
    """What is read before the summary: what was checked against what, and each caution."""
    head = run.head
    return [
        f"Cross-check against catalogue revision {head.catalog_revision}, method {head.method_version}, in "
        f"{_UNITS[run.units]}. How to read it: sheet About.",
        *(f"Caution: {caution}" for caution in head.cautions),
    ]


def _about(run: _Run, written: Written, asked: _Asked) -> Iterator[list[Cell]]:
    head = run.head
    if run.date is not None:
        yield ["date", run.date.isoformat()]
    yield ["catalogue", f"revision {head.catalog_revision}"]
    yield ["method", f"version {head.method_version}"]
    yield ["what was asked", _MODES[run.mode]]
    for name, text in asked.said_once.items():
        yield ["said for all lines", f"{name}: {text}. It is no column of {LINES_SHEET}: say it again with them."]
    yield ["lines", written.lines]
    yield ["lines answered", written.answered]
    yield ["lines not answered", written.lines - written.answered]
    for caution in head.cautions:
        yield ["caution", caution]
    for note in head.notes:
        yield ["passed over in reading", note]
    for place, words in enumerate(head.order, start=1):
        yield [f"order of candidates, {place}", words]
    yield from _assumptions(list(asked.assumptions))
    for what, words in _HOW_TO_READ:
        yield [what, words]
    yield ["units", f"Quantities are in {_UNITS[run.units]}, named in the headings."]


def _assumptions(words: Sequence[str]) -> Iterator[list[Cell]]:
    if not words:
        yield ["taken for granted", "Nothing: verdicts rest on proof alone."]
    for each in words[:_MOST_ASSUMPTIONS]:
        yield ["taken for granted", each]
    if len(words) > _MOST_ASSUMPTIONS:
        yield ["taken for granted", f"and {len(words) - _MOST_ASSUMPTIONS} more, by lines with figures of their own"]


_HOW_TO_READ = (
    (f"mark {MARKS['meets']}", "Proven to meet what is required; of a candidate, to meet all that counts."),
    (f"mark {ON_ASSUMPTIONS}", "Met only by what is taken for granted: proof alone does not show it."),
    (f"mark {MARKS['misses']}", "Proven to miss it; of a candidate, to miss something."),
    (f"mark {MARKS['not_shown']}", "Nobody has shown either: ask the maker. It is no pass."),
    (f"mark {NOT_ANSWERED}", "The line has a fault, which is told beside it with what would be right."),
    (f"mark {NONE_FOUND}", "Nothing on file serves the line."),
    (
        "sheet Summary",
        "A row for each line and candidate. A margin is how far the tightest criterion is met beyond what is required; "
        "0 % where it is just met, or equal by rounding to the digits that are printed. An element that is judged by "
        "itself has no rank. Last stand the columns of your sheet that ask nothing.",
    ),
    ("sheet Criteria", "A row for each criterion of each candidate. An empty bound is none, or none that is proven."),
    ("sheet What to ask for", "The tests and the words that would settle what is not shown."),
    (
        f"sheet {LINES_SHEET}",
        "What each line asked, with what was said for all. Hand the workbook in again, and these lines are answered "
        "anew; correct them there.",
    ),
)


# --- the workbook -----------------------------------------------------------------------------------


class _PlainSheet(Worksheet):  # type: ignore[misc]  # the library says nothing of its types
    """A sheet whose texts are nothing but texts, those that read like the tags of a formatted one too."""

    @override
    def _xml_rich_inline_string(self, string: str, attributes: list[tuple[str, Any]]) -> None:
        self._xml_inline_string(string, True, attributes)

    @override
    def _escape_control_characters(self, data: str) -> str:
        """Escapes that run into each other, too."""
        return escaped(data)


class _Book(Workbook):  # type: ignore[misc]  # as above
    """A workbook that is written row by row by way of files in ``folder``, and formats, each made once."""

    def __init__(self, file: BinaryIO, folder: str):
        font = {"font_name": "Arial", "font_size": 10}
        super().__init__(file, {"constant_memory": True, "tmpdir": folder, "default_format_properties": font})
        self.use_zip64()
        self.made: dict[str, Any] = {}
        self.paper = _A4
        self.told_below = ""

    def style(self, **properties: Any) -> Any:
        key = repr(properties)
        if key not in self.made:
            self.made[key] = self.add_format(properties)
        return self.made[key]

    def describe(self, run: _Run) -> None:
        head = run.head
        self.paper = _LETTER if run.units == "us" else _A4
        self.told_below = f"Catalogue revision {head.catalog_revision}, method {head.method_version}"
        if run.date is not None:
            self.told_below += f", {run.date.isoformat()}"
        made = datetime(*STEADY_TIME) if run.date is None else datetime(run.date.year, run.date.month, run.date.day)
        self.set_properties(
            {
                "title": "Cross-check of filter elements",
                "subject": self.told_below,
                "author": "specdb",
                "comments": " ".join(head.cautions),
                "created": made,
            }
        )

    def let_go(self) -> None:
        """Closes what is open, whatever has become of the workbook, and has it not written when it is forgotten."""
        self.fileclosed = True
        for sheet in self.worksheets():
            sheet.row_data_fh.close()


class _Sheet:
    """A sheet with headings, filled row by row between :meth:`begin` and :meth:`end`."""

    def __init__(self, book: _Book, name: str):
        self.book, self.name = book, name
        self.sheet = book.add_worksheet(name, worksheet_class=_PlainSheet)
        self.columns: Sequence[SheetColumn] = ()
        self.headings = self.row = self.printed = 0

    def _text_styles(self, column: SheetColumn) -> tuple[Any, Any]:
        """Of texts as they are typed, and of long ones."""
        like = {"valign": "top", **_SET[column.holds]}
        return self.book.style(num_format="@", **like), self.book.style(**like)

    def begin(self, columns: Sequence[SheetColumn], printed: int | None = None, above: Sequence[str] = ()) -> None:
        """Writes the headings below the texts that stand above them, and settles how the sheet is seen and printed: its
        first ``printed`` columns go on paper, by default all."""
        sheet, style = self.sheet, self.book.style
        self.columns, self.printed = columns, len(columns) if printed is None else printed
        self.texts = [self._text_styles(column) for column in columns]
        self.wrapped = [(place, column.width) for place, column in enumerate(columns) if column.holds == "words"]
        for place, (column, (as_text, _)) in enumerate(zip(self.columns, self.texts, strict=True)):
            # Cells that a person fills later are text as well.
            sheet.set_column(place, place, column.width, as_text if column.holds == "text" else None)
        for row, text in enumerate(above):
            sheet.write_string(row, 0, text, style(bold=row == 0))
        self.headings = len(above)
        self.row = self.headings + 1
        lines = max(math.ceil(len(column.heading) / (0.8 * column.width)) for column in self.columns)
        sheet.set_row(self.headings, lines * _LINE_POINTS + 4)
        for place, column in enumerate(self.columns):
            heading = style(**{**_SET[column.holds], **_HEADING})
            sheet.write_string(self.headings, place, column.heading, heading)
        sheet.freeze_panes(self.row, 1)
        self._settle_paper()

    def _settle_paper(self) -> None:
        sheet = self.sheet
        sheet.set_landscape()
        sheet.set_paper(self.book.paper)
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(self.headings)
        sheet.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.7)
        sheet.set_header("&L&A&RCross-check of filter elements")
        sheet.set_footer(f"&L{self.book.told_below}&CNo approval, no warranty: see the cautions&RPage &P of &N")

    def add_all(self, rows: Iterable[Sequence[Cell]]) -> None:
        for row in rows:
            self._add(row)

    def _add(self, row: Sequence[Cell]) -> None:
        if self.row >= MOST_ROWS_OF_A_WORKBOOK:
            raise QuestionError(
                f"The sheet {self.name} has more rows than a workbook holds.", field="format",
                value=MOST_ROWS_OF_A_WORKBOOK,
                remedy="Have the answers written as CSV or Parquet, ask for fewer candidates, or ask in parts.",
            )  # fmt: skip
        sheet = self.sheet
        lines = max((_lines(row[place], width) for place, width in self.wrapped), default=1)
        if lines > 1:
            # Not every program works out by itself how high a row must be.
            sheet.set_row(self.row, min(lines * _LINE_POINTS + 2, _MOST_POINTS))
        for place, cell in enumerate(row):
            if cell is None or cell == "":
                continue
            if isinstance(cell, bool):
                sheet.write_string(self.row, place, "yes" if cell else "no", self.texts[place][0])
            elif isinstance(cell, str):
                text = _fitted(cell)
                is_long = len(text) > _LONGEST_AS_TEXT and not text.startswith(_LIKE_A_FORMULA)
                sheet.write_string(self.row, place, text, self.texts[place][is_long])
            else:
                sheet.write_number(self.row, place, cell, self._number_style(self.columns[place], cell))
        sheet.row_info.pop(self.row - 1, None)  # it is written, and would be kept
        self.row += 1

    def _number_style(self, column: SheetColumn, number: float) -> Any:
        form = "0.0%" if column.holds == "share" else number_format(number)
        return self.book.style(num_format=form, valign="top", **_SET[column.holds])

    def end(self) -> int:
        """Settles what goes by the number of rows, and returns how many there are below the headings."""
        last, first = self.row - 1, self.headings + 1
        self.sheet.autofilter(self.headings, 0, last, len(self.columns) - 1)
        self.sheet.print_area(0, 0, last, self.printed - 1)
        if last >= first:
            self._mark(first, last)
        return last - self.headings

    def _mark(self, first: int, last: int) -> None:
        """Conditional marks: they follow what is edited and sorted."""
        for place, column in enumerate(self.columns):
            if column.holds == "verdict":
                for text, properties in _MARKED.items():
                    rule = {"type": "text", "criteria": "containing", "value": text, "stop_if_true": True}
                    rule["format"] = self.book.style(**properties)
                    self.sheet.conditional_format(first, place, last, place, rule)
        if self.columns[0].heading == LABEL and self.name != LINES_SHEET:
            begins = {"type": "formula", "criteria": f"=$A{first + 1}<>$A{first}", "format": self.book.style(top=1)}
            self.sheet.conditional_format(first, 0, last, len(self.columns) - 1, begins)


_MARKED: Mapping[str, Mapping[str, Any]] = {
    "meets on assumptions": {"italic": True, "border": 3, "bg_color": "#E8F0DD"},
    "meets": {"bg_color": "#DDF0DD"},
    "misses": {"bold": True, "border": 1, "pattern": _LIGHT_UP, "fg_color": "#C08080", "bg_color": "#F4D6D0"},
    "not shown": {"italic": True, "border": 4, "pattern": _DOTTED, "fg_color": "#A09050", "bg_color": "#FBF3CF"},
    "not answered": {"bold": True, "italic": True, "border": 1, "bg_color": "#D0D0D0"},
    "none found": {"italic": True, "bg_color": "#E8E8E8"},
}
"""How a verdict is marked, by the first of these that its text holds: by weight, slope, border and ground beside
colour, so that it reads in black and white."""


def number_format(value: float) -> str:
    """Four significant digits, and never fewer than those before the point; the cell holds the value whole."""
    written = f"{value:.4g}"
    if "e-" in written:
        return "0.000E+00"
    decimals = written.partition(".")[2] if "e" not in written else ""
    return f"0.{'0' * len(decimals)}" if decimals else "0"


def _lines(cell: Cell, width: float) -> int:
    """Lines that a text takes in a column of this width, more likely one too many than one too few."""
    if not isinstance(cell, str):
        return 1
    return sum(math.ceil(max(len(part), 1) / (1.2 * width - 4)) for part in cell.split("\n"))


def _fitted(text: str) -> str:
    return text if len(text) <= LONGEST_TEXT_OF_A_CELL else text[: LONGEST_TEXT_OF_A_CELL - len(_CUT)] + _CUT
