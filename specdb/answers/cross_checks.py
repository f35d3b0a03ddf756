"""Answers to many lines at once, and their three flat tables: the summary, every criterion, what to ask for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pydantic import Field

from specdb.answers.decisions import (
    CandidateShown,
    RequirementShown,
    decision_columns,
    decision_rows,
)
from specdb.answers.requests import BeyondTestsShown, RequestShown, request_columns, request_rows
from specdb.answers.shape import Answer, MadeInUnits, Stamped
from specdb.answers.tables import Cell, Table, numbers, whole_numbers
from specdb.units import UnitSystem

if TYPE_CHECKING:
    import pandas as pd


class FaultShown(Answer):
    """One fault of a line; ``field`` is the heading or the name that it stands under, as typed."""

    field: str | None
    detail: str
    remedy: str | None


class LineProblem(Answer):
    """Why a line has no answer: ``code`` is that of the problem documents."""

    code: str = Field(description="code of the problem, as problem documents have it")
    title: str
    detail: str
    errors: list[FaultShown]


class LineAnswer(Answer):
    """One line with its answer or its problem. ``asked`` are the dotted names and texts that it was read as, with what
    was said for all lines."""

    line: str = Field(description="what the caller calls the line: its label, else its row")
    row: int = Field(description="row of the sheet, or place in the list from 1")
    status: Literal["answered", "fault"]
    mode: Literal["ranked", "judged"] | None = Field(
        description="ranked: the best of all on file; judged: the elements that the line names"
    )
    asked: dict[str, str]
    headings: dict[str, str] = Field(
        default_factory=dict, description="heading under which a name of what was asked stood, where it was another"
    )
    unread: dict[str, str] = Field(
        default_factory=dict, description="by the name, texts of cells that could not be read, as typed"
    )
    aside: dict[str, str] = Field(
        default_factory=dict, description="by the heading, what stands in columns that are no part of the question"
    )
    original: CandidateShown | None = None
    requirements: list[RequirementShown] = Field(default_factory=list)
    candidates: list[CandidateShown] = Field(
        default_factory=list, description="ranked: the best first; judged: in the order in which they are named"
    )
    requests: list[RequestShown] = Field(
        default_factory=list, description="tests that would settle what is not shown of the candidates"
    )
    beyond_tests: list[BeyondTestsShown] = Field(default_factory=list)
    assumptions: dict[str, str] = Field(default_factory=dict)
    unused: list[str] = Field(default_factory=list)
    notes: list[str] = Field(default_factory=list)
    problem: LineProblem | None = None


class CrossCheckAnswer(Stamped, MadeInUnits):
    """Lines in the order in which they were asked."""

    order: list[str]
    cautions: list[str]
    notes: list[str] = Field(description="what was passed over in reading the lines: sheets, columns, macros")
    lines: list[LineAnswer]
    answered: int
    faulty: int

    def frame(self, table: TableName = "summary") -> pd.DataFrame:
        """One of the flat tables as a data frame, in the units that the answer was made in."""
        rows = [row for rows in lines_rows(self, self.lines, table) for row in rows]
        return Table(lines_columns(table, self._units), rows).frame()


TableName = Literal["summary", "criteria", "requests"]


@dataclass(frozen=True)
class LinesTable:
    """A flat table of lines, made line by line, so that a long one need never stand in memory whole."""

    columns: Callable[[UnitSystem], tuple[str, ...]]
    rows: Callable[[LineAnswer], list[list[Cell]]]


def verdict_of(candidate: CandidateShown) -> str:
    """Of all criteria that count: ``misses`` if any is missed, else ``not_shown`` if any is not shown, else
    ``meets``."""
    return "misses" if candidate.misses else "not_shown" if candidate.not_shown else "meets"


def verdict_by_proof(candidate: CandidateShown) -> str:
    """As :func:`verdict_of`, with nothing assumed."""
    verdicts = {each.verdict_without_assumptions for each in candidate.criteria if not each.advisory}
    return next((verdict for verdict in ("misses", "not_shown") if verdict in verdicts), "meets")


def met_on_assumptions(candidate: CandidateShown) -> int:
    """How many criteria that count are met only by what is assumed: proof alone does not show them."""
    counted = (each for each in candidate.criteria if not each.advisory)
    return sum(each.verdict == "meets" and each.verdict_without_assumptions != "meets" for each in counted)


def original_named(answer: LineAnswer) -> tuple[str | None, str | None]:
    """Maker and number of a line's original; of a line that has none on file, as they were asked."""
    if answer.original is None:
        typed = answer.asked | answer.unread
        return typed.get("original.maker"), typed.get("original.number")
    return answer.original.element.maker, answer.original.element.number


def what_is_wrong(problem: LineProblem) -> str:
    """The faults of a line in words, each with the heading or the name that it stands under."""
    told = (f"{each.field}: {each.detail}" if each.field else each.detail for each in problem.errors)
    return "; ".join(told) or problem.detail


def _summary_columns(units: UnitSystem) -> tuple[str, ...]:  # noqa: ARG001 - as the others, whose units differ
    return (
        *("line", *whole_numbers("row"), "status", "mode", "original_maker", "original_number"),
        *(*whole_numbers("rank"), "element_id", "maker", "number", "kind", "element_status", "successor", "verdict"),
        *whole_numbers("criteria_met", "criteria_met_on_assumptions", "criteria_missed", "criteria_not_shown"),
        *("misses", "not_shown", *numbers("smallest_margin")),
        *("sentence", "claims", "candidate_cautions", "notes", "problem", "remedy"),
    )


def _summary_rows(answer: LineAnswer) -> list[list[Cell]]:
    """A row for each candidate; one for a line that has none."""
    notes = " ".join(answer.notes) or None
    begun: list[Cell] = [answer.line, answer.row, answer.status, answer.mode, *original_named(answer)]
    problem = answer.problem
    remedies = [] if problem is None else [fault.remedy for fault in problem.errors if fault.remedy]
    ended: list[Cell] = [None if problem is None else what_is_wrong(problem), " ".join(dict.fromkeys(remedies)) or None]
    rows = [
        [*begun, *_candidate_cells(candidate), notes if place == 0 else None, *ended]
        for place, candidate in enumerate(answer.candidates)
    ]
    return rows or [[*begun, *([None] * 18), notes, *ended]]


def _candidate_cells(candidate: CandidateShown) -> list[Cell]:
    element = candidate.element
    counted = sum(not each.advisory for each in candidate.criteria)
    missed, unshown = len(candidate.misses), len(candidate.not_shown)
    return [
        *(candidate.rank, element.element_id, element.maker, element.number, element.kind),
        *(element.status, element.successor, verdict_of(candidate)),
        *(counted - missed - unshown, met_on_assumptions(candidate), missed, unshown),
        *("; ".join(candidate.misses) or None, "; ".join(candidate.not_shown) or None),
        *(candidate.standing.smallest_margin, candidate.sentence),
        *(" ".join(claim.words for claim in candidate.claims) or None, " ".join(candidate.cautions) or None),
    ]


def _criteria_columns(units: UnitSystem) -> tuple[str, ...]:
    return ("line", *whole_numbers("row"), *decision_columns(units))


def _criteria_rows(answer: LineAnswer) -> list[list[Cell]]:
    return [[answer.line, answer.row, *row] for row in decision_rows(answer.requirements, answer.candidates)]


def _requests_columns(units: UnitSystem) -> tuple[str, ...]:
    return ("line", *whole_numbers("row"), *request_columns(units))


def _requests_rows(answer: LineAnswer) -> list[list[Cell]]:
    return [[answer.line, answer.row, *row] for row in request_rows(answer.requests, answer.beyond_tests)]


TABLES: dict[TableName, LinesTable] = {
    "summary": LinesTable(_summary_columns, _summary_rows),
    "criteria": LinesTable(_criteria_columns, _criteria_rows),
    "requests": LinesTable(_requests_columns, _requests_rows),
}


def lines_columns(table: TableName, units: UnitSystem) -> tuple[str, ...]:
    """The columns of a table of lines, with what they were made from and how."""
    told = ("method_version", "cautions", "passed_over")
    return (*TABLES[table].columns(units), *whole_numbers("catalog_revision"), *told)


def lines_rows(
    head: CrossCheckAnswer, answers: Iterable[LineAnswer], table: TableName
) -> Iterator[list[Sequence[Cell]]]:
    """The rows of each answer, with what they were made from and how; the cautions, and what was passed over in reading
    the lines, stand in the first row, once."""
    told: list[Cell] = [" ".join(head.cautions), "; ".join(head.notes) or None]
    for answer in answers:
        rows: list[Sequence[Cell]] = []
        for row in TABLES[table].rows(answer):
            rows.append([*row, head.catalog_revision, head.method_version, *told])
            told = [None, None]
        if rows:
            yield rows
