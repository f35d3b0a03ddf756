"""Rows of a sheet become lines: each cell under the name that its column stands for, its faults in its own line."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from specdb.cross_checks.headings import (
    DECIMAL,
    LABEL,
    NAMES_OF_THE_ORIGINAL,
    ORIGINAL,
    Column,
    Columns,
    fault_at,
    takes_number,
)
from specdb.cross_checks.lines import FAULT_MARK, MOST_LINES, Line
from specdb.duty.question import PRICES_AT_MOST, TEXT_AT_MOST
from specdb.errors import QuantityError, QuestionError, SpecdbError, shown
from specdb.exchange.columns import DECIMAL_COMMA, POINT_AND_THREE
from specdb.units import kinds_of, with_point, with_unit

PLACES_TOLD = 5
MOST_FAULTS_OF_A_LINE = 10
"""Faults of a line that are told; what stands after them is not looked at."""
LONGEST_ASIDE_CHARACTERS = 200
MOST_ASIDE_BYTES = 16 * 2**20
"""Of all texts of one file that are carried along."""
_BESIDE_A_TEXT_BYTES = 100
_NAMELESS = frozenset(
    ("", "n/a", "n.a.", "na", "#n/a", "-", "--", "\N{EN DASH}", "\N{EM DASH}", "nan", "none", "null", "nil", "?", "??",
     "unknown", "tbd")
)  # fmt: skip
"""What is typed where there is no original, or none that is known."""
_RANGE = re.compile(
    r"[0-9][0-9.,]*\s*(?:-|\N{EN DASH}|to|\.\.\.?|\N{HORIZONTAL ELLIPSIS})\s*[0-9][0-9.,]*(?:\s*[^\s0-9/-].*)?"
)
_COMMA_AND_THREE = re.compile(r"(?<![0-9.,])[1-9][0-9]{0,2},[0-9]{3}(?![0-9.,])")
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
    """Columns and texts in which a mark may part thousands."""
    unread: dict[str, str] = field(default_factory=dict)
    aside: dict[str, str] = field(default_factory=dict)
    blank_original: str | None = None

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
    aside_bytes: int = 0
    aside_ends: int | None = None
    """The row from which on nothing more is carried along."""

    def take(self, row: int, cells: Mapping[int, Cell], fault: SpecdbError | None = None) -> None:
        """One row that is not blank, by the places of its columns; with a ``fault`` of its shape, nothing in it is
        read. Raises QuestionError where there are more lines than are answered."""
        label = self._label(cells)
        draft = _Draft(row, label or str(row))
        if fault is not None:
            draft.faults.append(fault)
        else:
            self._read(draft, cells)
        if not draft.asked and not draft.faults:
            if not label and draft.blank_original is None:
                self.passed_over.append(row)
                return
            draft.faults.append(_asks_nothing(self.columns.original))
        if fault is None:
            self._carry_along(draft, cells)
            # By its dotted name a blank states nothing, as in an address: so do lines that were written without one.
            by_its_name = self.columns.original == ORIGINAL
            if draft.asked and not by_its_name and ORIGINAL not in {*draft.asked, *draft.unread}:
                draft.blank_original = self.columns.original
        if len(self.drafts) == MOST_LINES:
            raise too_many_lines()
        self.drafts.append(draft)

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

    def _carry_along(self, draft: _Draft, cells: Mapping[int, Cell]) -> None:
        if self.aside_ends is not None:
            return
        for place, heading in self.columns.aside.items():
            text = self._plainly(cells, place)[:LONGEST_ASIDE_CHARACTERS]
            if text:
                draft.aside[heading] = text
                self.aside_bytes += sys.getsizeof(text) + _BESIDE_A_TEXT_BYTES
        if self.aside_bytes > MOST_ASIDE_BYTES:
            self.aside_ends = draft.row

    def _read(self, draft: _Draft, cells: Mapping[int, Cell]) -> None:
        mark = self._mark(draft, cells)
        for place, column in self.columns.asked.items():
            if place not in cells:
                continue
            if len(draft.faults) == MOST_FAULTS_OF_A_LINE:
                return
            typed: str | None = None
            try:
                told = self.told(cells[place], column)
                if not told.text:
                    continue
                if column.name in NAMES_OF_THE_ORIGINAL and is_nameless(told.text):
                    draft.blank_original = draft.blank_original or self.columns.original
                    continue
                typed = told.text
                if typed.startswith(FAULT_MARK):
                    raise QuestionError(typed, remedy="Write over it what is meant.")
                text = stated(column, told.text, None if told.is_number else mark)
            except (UnreadableCellError, QuantityError, QuestionError) as error:
                found = error.found if isinstance(error, UnreadableCellError) else typed
                if isinstance(error, QuantityError) and error.mark_undeclared:
                    draft.doubtful.append((column, found or ""))
                draft.refuse(column, error.message, error.remedy, None if found == error.message else found)
                kept = (found or "")[:TEXT_AT_MOST]
                unread = named(column, kept, self.columns.requirements.get(place)) if kept else {}
                draft.unread |= unread
                draft.headings |= {name: column.heading for name in unread if name != column.heading}
                continue
            if told.is_number and column.name.endswith("number") and draft.row not in self.digits[-1:]:
                self.digits.append(draft.row)
            if not told.is_number and mark is None and takes_number(column):
                self.has_decimal_commas |= DECIMAL_COMMA.search(told.text) is not None
                if POINT_AND_THREE.search(told.text) or _COMMA_AND_THREE.search(told.text):
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
                told = next((fault for fault in draft.faults if fault.field == shown(column.heading)), None)
                if told is not None:
                    told.remedy = _with_commas(text)
                else:
                    message = "The sheet writes decimal commas, so this may be a thousand or a small number."
                    draft.refuse(column, message, _with_commas(text), text)
        return tuple(
            Line(
                each.row, each.label, each.asked, tuple(each.faults), each.headings, each.unread, each.aside,
                each.blank_original,
            )
            for each in self.drafts
        )  # fmt: skip

    def notes(self) -> list[str]:
        """What was passed over among the rows."""
        found = []
        if self.passed_over:
            found.append(f"rows without anything under a known heading, passed over: {rows_told(self.passed_over)}")
        if self.aside_ends is not None:
            found.append(f"columns left aside are carried along as far as row {self.aside_ends}: they hold too much")
        return found


_PLAIN = Column("", LABEL)


def is_nameless(text: str) -> bool:
    """Whether a text in the place of an original says that there is none."""
    return text.casefold() in _NAMELESS


def _asks_nothing(original: str | None) -> QuestionError:
    if original is not None:
        remedy = "Name the element to be replaced, or delete the row."
        return fault_at(original, "No original is named, and the row asks nothing else.", remedy)
    return QuestionError("The row asks nothing.", remedy="Name an original or state a duty, or delete the row.")


def _with_commas(text: str) -> str:
    """What to write for a number whose marks may part thousands, in a sheet that writes decimal commas."""
    match = POINT_AND_THREE.search(text) or _COMMA_AND_THREE.search(text)
    if match is None:
        return 'Leave the thousands mark out, such as "1234,5".'
    whole, decimals = re.split("[.,]", match.group())
    # Three digits behind the comma would be in doubt again.
    small = f"{whole},{decimals.rstrip('0') or '0'}"
    small += "0" if len(small) == len(whole) + 4 else ""
    told = (f'"{text[: match.start()]}{number}{text[match.end() :]}"' for number in (f"{whole}{decimals}", small))
    return f'Write {" or ".join(told)}, or add a column "decimal" with "." or "," in it.'


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
    if _RANGE.fullmatch(text):
        raise QuestionError("This is a range.", value=text, remedy="State the one value that is to be judged at.")
    if mark is not None:
        text = with_point(text, mark)
    return with_unit(text, column.kind, column.unit) if column.unit else text
