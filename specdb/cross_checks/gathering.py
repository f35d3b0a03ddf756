"""Rows of a sheet become lines: each cell under the name that its column stands for, its faults in its own line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from specdb.cross_checks.headings import DECIMAL, LABEL, Column, Columns, fault_at, takes_number
from specdb.cross_checks.lines import MOST_LINES, Line
from specdb.duty.question import PRICES_AT_MOST, TEXT_AT_MOST
from specdb.errors import QuantityError, QuestionError, SpecdbError
from specdb.exchange.columns import DECIMAL_COMMA, POINT_AND_THREE
from specdb.units import kinds_of, with_point, with_unit

PLACES_TOLD = 5
MOST_FAULTS_OF_A_LINE = 10
"""Faults of a line that are told; what stands after them is not looked at."""
Cell = TypeVar("Cell")


@dataclass(frozen=True)
class Told:
    """What a cell says. ``is_number`` where it was kept as a number, so that its decimal mark is in no doubt."""

    text: str
    is_number: bool = False


class UnreadableCellError(Exception):
    """A cell that cannot be taken as it is."""

    def __init__(self, message: str, remedy: str, found: str | None = None):
        super().__init__(message)
        self.message, self.remedy, self.found = message, remedy, found


@dataclass
class _Draft:
    row: int
    label: str
    asked: dict[str, str] = field(default_factory=dict)
    headings: dict[str, str] = field(default_factory=dict)
    faults: list[SpecdbError] = field(default_factory=list)
    doubtful: list[tuple[Column, str]] = field(default_factory=list)
    """Columns and texts in which a point may part thousands."""

    def refuse(self, column: Column, message: str, remedy: str | None, found: str | None = None) -> None:
        """One more fault, as far as they are told."""
        if len(self.faults) < MOST_FAULTS_OF_A_LINE:
            self.faults.append(fault_at(column.heading, message, remedy, found))


@dataclass
class Gathering(Generic[Cell]):
    """Gathers the lines of one sheet. ``told`` says what is in a cell, or raises UnreadableCellError."""

    columns: Columns
    told: Callable[[Cell, Column], Told]
    drafts: list[_Draft] = field(default_factory=list)
    has_decimal_commas: bool = False
    passed_over: list[int] = field(default_factory=list)
    digits: list[int] = field(default_factory=list)
    """Rows in which a part number is kept as a number, so that zeros before it would be missing."""
    repeated: int = 0
    last_own_row: str = ""

    def take(self, row: int, cells: Mapping[int, Cell], fault: SpecdbError | None = None) -> None:
        """One row that is not blank, by the places of its columns; with a ``fault`` of its shape, nothing in it is
        read. Raises QuestionError where there are more lines than are answered."""
        if self._is_repeated(cells):
            return
        draft = _Draft(row, self._label(cells) or str(row))
        if fault is not None:
            draft.faults.append(fault)
        else:
            self._read(draft, cells)
        if not draft.asked and not draft.faults:
            if not self._label(cells):
                self.passed_over.append(row)
                return
            remedy = "Name an original or state a duty, or delete the row."
            draft.faults.append(QuestionError("The row asks nothing.", remedy=remedy))
        if len(self.drafts) == MOST_LINES:
            raise too_many_lines()
        self.drafts.append(draft)

    def _is_repeated(self, cells: Mapping[int, Cell]) -> bool:
        """Whether a row of a table of answers is a further candidate of the line before it."""
        if self.columns.own_row is None:
            return False
        before, self.last_own_row = self.last_own_row, self._plainly(cells, self.columns.own_row)
        is_repeated = bool(self.last_own_row) and before == self.last_own_row
        self.repeated += is_repeated
        return is_repeated

    def _label(self, cells: Mapping[int, Cell]) -> str:
        told = (self._plainly(cells, place) for place in self.columns.labels)
        return ", ".join(filter(None, told))[:TEXT_AT_MOST]

    def _plainly(self, cells: Mapping[int, Cell], place: int) -> str:
        """What stands in a cell that is part of no question; "" where it cannot be told."""
        if place not in cells:
            return ""
        try:
            return self.told(cells[place], _PLAIN).text
        except UnreadableCellError:
            return ""

    def _read(self, draft: _Draft, cells: Mapping[int, Cell]) -> None:
        mark = self._mark(draft, cells)
        for place, column in self.columns.asked.items():
            if place not in cells:
                continue
            if len(draft.faults) == MOST_FAULTS_OF_A_LINE:
                return
            try:
                told = self.told(cells[place], column)
                if not told.text:
                    continue
                text = stated(column, told.text, None if told.is_number else mark)
            except (UnreadableCellError, QuantityError, QuestionError) as error:
                found = error.found if isinstance(error, UnreadableCellError) else error.value
                draft.refuse(column, error.message, error.remedy, found)
                continue
            if told.is_number and column.name.endswith("number") and draft.row not in self.digits[-1:]:
                self.digits.append(draft.row)
            if not told.is_number and mark is None and takes_number(column):
                self.has_decimal_commas |= DECIMAL_COMMA.search(told.text) is not None
                if POINT_AND_THREE.search(told.text):
                    draft.doubtful.append((column, told.text))
            named_so = named(column, text, self.columns.requirements.get(place))
            draft.asked |= named_so
            draft.headings |= {name: column.heading for name in named_so if name != column.heading}

    def _mark(self, draft: _Draft, cells: Mapping[int, Cell]) -> str | None:
        if self.columns.decimal is None:
            return None
        mark = self._plainly(cells, self.columns.decimal)
        if mark not in ("", ".", ","):
            column = Column(self.columns.headings[self.columns.decimal], DECIMAL)
            draft.refuse(column, "This is no decimal mark.", 'Write "." or ",".', mark)
        return mark if mark in (".", ",") else None

    def lines(self) -> tuple[Line, ...]:
        """The lines. In a sheet that writes decimal commas, "1.000" may be a thousand or one, and is at fault."""
        for draft in self.drafts if self.has_decimal_commas else ():
            for column, text in draft.doubtful:
                message = "The sheet writes decimal commas, so this may be a thousand or a small number."
                remedy = 'Write it without the point, or add a column "decimal" with "." or "," in it.'
                draft.refuse(column, message, remedy, text)
        return tuple(
            Line(each.row, each.label, each.asked, tuple(each.faults), each.headings) for each in self.drafts
        )

    def notes(self) -> list[str]:
        """What was passed over among the rows."""
        found = []
        if self.passed_over:
            found.append(f"rows without anything under a known heading, passed over: {rows_told(self.passed_over)}")
        if self.repeated:
            found.append(f"rows of further candidates of a line, passed over: {self.repeated}")
        return found


_PLAIN = Column("", LABEL)


def rows_told(rows: list[int]) -> str:
    """Numbers of rows, the first of them."""
    told = ", ".join(map(str, rows[:PLACES_TOLD]))
    return told if len(rows) <= PLACES_TOLD else f"{told} and {len(rows) - PLACES_TOLD} more"


def too_many_lines() -> QuestionError:
    return QuestionError(
        f"There are more than {MOST_LINES} lines.", remedy=f"Divide them into cross-checks of at most {MOST_LINES}."
    )


def named(column: Column, text: str, requirement: int | None) -> dict[str, str]:
    """A text under its dotted name; that of a requirement with what the heading says of it, under its number."""
    if not column.beside:
        return {column.name: text}
    return {f"require.{requirement}.{name}": value for name, value in (*column.beside.items(), (column.name, text))}


def stated(column: Column, text: str, mark: str | None = None) -> str:
    """A cell's text as it reads by itself: a bare number with the unit of its heading, and a number of a declared
    decimal ``mark`` with a point. Raises QuantityError and QuestionError."""
    longest = PRICES_AT_MOST if column.name == "costs.prices" else TEXT_AT_MOST
    if len(text) > longest:
        message = f"The cell has {len(text)} characters."
        raise QuestionError(message, value=text, remedy=f"Write at most {longest}.")
    if column.name == "bypass" and text[:1].isdecimal() and "pressure" in kinds_of(text):
        remedy = 'Head the column "bypass setting"; bypass itself says where the valve is: element, head, both or none.'
        raise QuestionError("This is a pressure.", value=text, remedy=remedy)
    if not takes_number(column):
        return text
    if mark is not None:
        text = with_point(text, mark)
    return with_unit(text, column.kind, column.unit) if column.unit else text
