"""Answers to many lines at once, and their three flat tables: the summary, every criterion, what to ask for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from pydantic import Field

from specdb.answers.decisions import (
    CandidateShown,
    ElementNamed,
    RequirementShown,
    decision_columns,
    decision_rows,
)
from specdb.answers.requests import BeyondTestsShown, RequestShown, request_columns, request_rows
from specdb.answers.shape import Answer, Stamped
from specdb.answers.tables import Cell
from specdb.units import UnitSystem


class FaultShown(Answer):
    """One fault of a line; ``field`` is the heading or the name that it stands under, as typed."""

    field: str | None
    detail: str
    remedy: str | None


class LineProblem(Answer):
    """Why a line has no answer: ``code`` is that of the problem documents."""

    code: str
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


class CrossCheckAnswer(Stamped):
    """Lines in the order in which they were asked."""

    order: list[str]
    cautions: list[str]
    notes: list[str] = Field(description="what was passed over in reading the lines: sheets, columns, macros")
    lines: list[LineAnswer]
    answered: int
    faulty: int


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


def _summary_columns(units: UnitSystem) -> tuple[str, ...]:  # noqa: ARG001 - as the others, whose units differ
    return (
        *("line", "row", "status", "mode", "original_maker", "original_number"),
        *("rank", "element_id", "maker", "number", "kind", "element_status", "successor", "verdict"),
        *("criteria_met", "criteria_missed", "criteria_not_shown", "misses", "not_shown", "smallest_margin"),
        *("sentence", "claims", "candidate_cautions", "notes", "problem", "remedy"),
    )


def _summary_rows(answer: LineAnswer) -> list[list[Cell]]:
    """A row for each candidate; one for a line that has none."""
    original = None if answer.original is None else answer.original.element
    notes = " ".join(answer.notes) or None
    begun: list[Cell] = [answer.line, answer.row, answer.status, answer.mode, *_named(original)]
    problem = answer.problem
    remedies = [] if problem is None else [fault.remedy for fault in problem.errors if fault.remedy]
    ended: list[Cell] = [None if problem is None else problem.detail, " ".join(dict.fromkeys(remedies)) or None]
    rows = [
        [*begun, *_candidate_cells(candidate), notes if place == 0 else None, *ended]
        for place, candidate in enumerate(answer.candidates)
    ]
    return rows or [[*begun, *([None] * 17), notes, *ended]]


def _named(element: ElementNamed | None) -> list[Cell]:
    return [None, None] if element is None else [element.maker, element.number]


def _candidate_cells(candidate: CandidateShown) -> list[Cell]:
    element = candidate.element
    counted = sum(not each.advisory for each in candidate.criteria)
    missed, unshown = len(candidate.misses), len(candidate.not_shown)
    return [
        *(candidate.rank, element.element_id, element.maker, element.number, element.kind),
        *(element.status, element.successor, verdict_of(candidate)),
        *(counted - missed - unshown, missed, unshown),
        *("; ".join(candidate.misses) or None, "; ".join(candidate.not_shown) or None),
        *(candidate.standing.smallest_margin, candidate.sentence),
        *(" ".join(claim.words for claim in candidate.claims) or None, " ".join(candidate.cautions) or None),
    ]


def _criteria_columns(units: UnitSystem) -> tuple[str, ...]:
    return ("line", "row", *decision_columns(units))


def _criteria_rows(answer: LineAnswer) -> list[list[Cell]]:
    return [[answer.line, answer.row, *row] for row in decision_rows(answer.requirements, answer.candidates)]


def _requests_columns(units: UnitSystem) -> tuple[str, ...]:
    return ("line", "row", *request_columns(units))


def _requests_rows(answer: LineAnswer) -> list[list[Cell]]:
    return [[answer.line, answer.row, *row] for row in request_rows(answer.requests, answer.beyond_tests)]


TABLES: dict[TableName, LinesTable] = {
    "summary": LinesTable(_summary_columns, _summary_rows),
    "criteria": LinesTable(_criteria_columns, _criteria_rows),
    "requests": LinesTable(_requests_columns, _requests_rows),
}
