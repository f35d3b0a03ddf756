"""Lines from a workbook (XLSX): which of its sheets holds them, and what a reader sees in its cells."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import product

from openpyxl.styles.numbers import is_date_format
from openpyxl.utils.cell import range_boundaries

from specdb.cross_checks.gathering import Gathering, Told, UnreadableCellError, rows_told
from specdb.cross_checks.headings import (
    DECIMAL,
    HEADINGS_WITHIN_ROWS,
    LABEL,
    Column,
    Columns,
    known_among,
    none_known,
    read_columns,
    takes_number,
    takes_yes_or_no,
)
from specdb.cross_checks.lines import LINES_SHEET, LinesRead
from specdb.errors import QuestionError, shown
from specdb.exchange.archive import Archive
from specdb.exchange.reading import MOST_COLUMNS
from specdb.exchange.workbook import (
    DATE,
    ERROR,
    FORMULAS,
    NUMBERS,
    TRUTH,
    TYPED,
    Book,
    BrokenWorkbookError,
    Cell,
    CellRefusedError,
    EnoughError,
    SheetFound,
    date_as_shown,
    label,
    measure,
    open_workbook,
    read_cells,
    refuse_unsaved,
    typed,
)

BLANKS_ABOVE_HEADINGS = 1000
"""Rows, most of them blank, that are looked at for headings."""
MOST_MERGED = 100_000
"""Cells that are told to be merged with one above."""
_MERGED = "The cell is merged with one above it, which alone holds the value."
_PLAIN = Column("", LABEL)


def lines_of_workbook(archive: Archive) -> LinesRead:
    """The lines of the sheet named ``Lines``, else of the first one that has a row of known headings at its beginning.
    Hidden sheets are left aside, unless there is no other.

    Raises QuestionError where there is no such sheet; what the archive finds wrong with itself is in its findings.
    """
    try:
        return _read(archive)
    except BrokenWorkbookError as error:
        remedy = "Open it in a spreadsheet program and save it anew as XLSX."
        raise QuestionError(f"{archive.name}: The workbook cannot be read: {error}.", remedy=remedy) from None


def _read(archive: Archive) -> LinesRead:
    book = open_workbook(archive)
    visible = [sheet for sheet in book.sheets if not sheet.hidden] or list(book.sheets)
    named = [sheet for sheet in visible if sheet.title.strip().casefold() == LINES_SHEET.casefold()]
    headings: list[str] = []
    for sheet in named or visible:
        beginning = _beginning(archive, book, sheet)
        headings = headings or beginning.headings
        if beginning.known or (named and beginning.headings):
            return _lines(archive, book, sheet, beginning)
    titles = ", ".join(shown(sheet.title) for sheet in (named or visible)[:8])
    raise none_known(
        headings, f"{archive.name}: No sheet has a row of headings that ask anything. Looked at: {titles or 'none'}."
    )


# --- which row holds the headings ------------------------------------------------------------------


@dataclass
class _Beginning:
    """Looks at the first rows of a sheet for the one in which most headings are known."""

    book: Book
    rows: int = 0
    told: int = 0
    known: int = 0
    row: int = 0
    headings: list[str] = field(default_factory=list)

    def take(self, number: int, cells: list[Cell]) -> None:
        texts: dict[int, str] = {}
        for cell in cells:
            text = _plainly(cell, self.book)
            if text and cell.column <= MOST_COLUMNS:
                texts[cell.column] = text
            elif text:
                raise QuestionError(
                    f"Row {number} has a cell in column {cell.column}.", remedy=f"At most {MOST_COLUMNS} are read."
                )
        self.told += 1
        if self.told > BLANKS_ABOVE_HEADINGS:
            raise EnoughError
        if not texts:
            return
        known = known_among(texts.values())
        if known > self.known or not self.headings:
            self.known, self.row = known, number
            self.headings = [texts.get(place, "") for place in range(1, max(texts) + 1)]
        self.rows += 1
        if self.rows == HEADINGS_WITHIN_ROWS:
            raise EnoughError


def _plainly(cell: Cell, book: Book) -> str:
    """What a cell shows that is part of no question; "" where it cannot be told."""
    try:
        return _told(cell, _PLAIN, book).text
    except UnreadableCellError:
        return ""


def _beginning(archive: Archive, book: Book, sheet: SheetFound) -> _Beginning:
    if not sheet.part:
        raise BrokenWorkbookError(f"the sheet {shown(sheet.title)} is not there")
    beginning = _Beginning(book)
    read_cells(archive, sheet.part, beginning.take)
    return beginning


# --- its lines -------------------------------------------------------------------------------------


@dataclass
class _Rows:
    """Gathers the lines below the headings."""

    book: Book
    columns: Columns
    heading_row: int
    formulas: list[int] = field(default_factory=list)
    only_formulas: bool = False
    """Whether there are rows, and nothing but formulas in them."""

    def __post_init__(self) -> None:
        self.known = {*self.columns.asked, *self.columns.labels, self.columns.decimal}
        self.gathering: Gathering[Cell] = Gathering(self.columns, lambda cell, column: _told(cell, column, self.book))

    def take(self, number: int, cells: list[Cell]) -> None:
        if number <= self.heading_row:
            return
        found = {cell.column - 1: cell for cell in cells if _holds_anything(cell)}
        if not found:
            return
        is_first = not (self.gathering.drafts or self.gathering.passed_over)
        self.only_formulas = (is_first or self.only_formulas) and all(cell.formula for cell in found.values())
        self.gathering.take(number, found)
        if any(cell.formula for place, cell in found.items() if place in self.known):
            self.formulas.append(number)


def _holds_anything(cell: Cell) -> bool:
    return bool(cell.value or cell.formula or any(cell.inline))


def _lines(archive: Archive, book: Book, sheet: SheetFound, beginning: _Beginning) -> LinesRead:
    columns = read_columns(beginning.headings)
    rows = _Rows(book, columns, beginning.row)
    cells = read_cells(archive, sheet.part, rows.take)
    if not rows.gathering.drafts:
        message = f"{archive.name}, sheet {shown(sheet.title)}: There are headings and no line below them."
        if rows.only_formulas:
            message += " No cell to fill in is filled: the rows hold formulas alone."
        raise QuestionError(message, remedy="Give each line a row of its own.")
    _refuse_merged(rows, cells.ranges)
    notes = [*_notes(book, sheet), *columns.notes, *rows.gathering.notes()]
    if cells.merged:
        notes.append(f"merged cells: {cells.merged}; only the first cell of each holds its value")
    if cells.filtered:
        notes.append(f"rows that are hidden or filtered out, read all the same: {cells.filtered}")
    if rows.formulas:
        notes.append(f"{FORMULAS}: rows {rows_told(rows.formulas)}")
    if rows.gathering.digits:
        notes.append(f"{NUMBERS}: rows {rows_told(rows.gathering.digits)}")
    return LinesRead(rows.gathering.lines(), tuple(notes))


def _notes(book: Book, read: SheetFound) -> Iterable[str]:
    if read.hidden:
        yield f"the sheet {shown(read.title)} is hidden; it was read all the same, as there is no other"
    elif len(book.sheets) > 1:
        yield f"lines were read from the sheet {shown(read.title)}"
    for hidden, what in ((False, "sheets that were not read"), (True, "hidden sheets that were not read")):
        others = [shown(each.title) for each in book.sheets if each is not read and each.hidden is hidden]
        if others and not (read.hidden and not hidden):
            more = f" and {len(others) - 8} more" if len(others) > 8 else ""
            yield f"{what}: {', '.join(others[:8])}{more}"
    if book.has_macros:
        yield "macros were left aside"


def _refuse_merged(rows: _Rows, ranges: Iterable[str]) -> None:
    """What several rows share in one cell is a fault in all of them but the first, which alone holds it."""
    drafts = sorted(rows.gathering.drafts, key=lambda draft: draft.row)
    refused = 0
    for each in ranges:
        try:
            left, top, right, bottom = range_boundaries(each)
        except (ValueError, TypeError):
            continue
        if None in (left, top, right, bottom):
            continue
        columns = [column for place, column in rows.columns.asked.items() if left <= place + 1 <= right]
        first, last = (bisect_right(drafts, row, key=lambda draft: draft.row) for row in (top, bottom))
        for draft, column in product(drafts[first:last], columns):
            draft.refuse(column, _MERGED, "Unmerge the cells, and fill in each.")
            refused += 1
            if refused > MOST_MERGED:
                return


# --- cells -----------------------------------------------------------------------------------------


def _told(cell: Cell, column: Column, book: Book) -> Told:
    """What a cell shows. Raises UnreadableCellError for one that does not show what was typed."""
    try:
        return _shown(cell, column, book)
    except CellRefusedError as refused:
        raise UnreadableCellError(refused.message, refused.remedy, refused.found or cell.value or None) from None
    except (ValueError, IndexError, OverflowError, ArithmeticError):
        raise UnreadableCellError("The cell cannot be read.", "Type it again.", cell.value) from None


def _shown(cell: Cell, column: Column, book: Book) -> Told:
    if cell.formula:
        refuse_unsaved(cell)
    if cell.kind in TYPED:
        return Told(typed(cell, book.strings))
    if not cell.value:
        return Told("")
    if cell.kind == "e":
        raise CellRefusedError(*ERROR)
    if cell.kind == "b":
        is_true = cell.value != "0"
        if not takes_yes_or_no(column.name):
            raise CellRefusedError(*TRUTH, "TRUE" if is_true else "FALSE")
        return Told("yes" if is_true else "no")
    is_plain = column.name in (LABEL, DECIMAL)
    code = book.styles.format_of(cell.style)
    if cell.kind == "d" or is_date_format(code):
        day = cell.value[:10] if cell.kind == "d" else date_as_shown(cell.value, code, book.epoch)
        if is_plain:
            return Told(day)
        raise CellRefusedError(DATE, "Format the cell as text and type again what is meant.", day)
    if takes_number(column):
        return Told(measure(cell.value, code, with_words=bool(column.kind)), is_number=True)
    try:
        return Told(label(cell.value, code, with_zeros=True), is_number=True)
    except CellRefusedError:
        if not is_plain:
            raise
        return Told(cell.value)
