"""What stands on the sheets of a finished workbook: headings with their units, and the rows of one answer.

Each says in plain words and numbers what the flat tables say by their stable names; the first columns of a sheet are
those that are printed.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from specdb.answers.cross_checks import (
    LineAnswer,
    met_on_assumptions,
    original_named,
    verdict_of,
    what_is_wrong,
)
from specdb.answers.decisions import CandidateShown, CriterionShown, RequirementShown
from specdb.answers.requests import BeyondTestsShown, RequestShown, UnsettledShown
from specdb.answers.shape import BoundsShown, QuantityShown, tidy
from specdb.answers.tables import Cell
from specdb.sheet.duty import FIELD_WORDS
from specdb.units import UnitSystem, express

MARKS = {"meets": "✓ meets", "misses": "✗ misses", "not_shown": "? not shown"}
"""Verdicts with signs that are told apart without colour."""
ON_ASSUMPTIONS = "✓ meets on assumptions"
"""In the place of ``meets`` where proof alone does not show it."""
_VERDICT_WIDTH = 23
NOT_ANSWERED, NONE_FOUND = "! not answered", "– none found"
"""In the place of a verdict: of a line with faults, of a line that no element on file serves."""


@dataclass(frozen=True)
class SheetColumn:
    """``words`` are texts of any length, wrapped; a ``share`` is a number that is shown in percent. ``width`` is in
    characters."""

    heading: str
    holds: Literal["text", "words", "number", "share", "verdict"] = "text"
    width: float = 12


@dataclass(frozen=True)
class SheetOfAnswers:
    """``rows`` gives those of one answer, a cell for each column; ``printed`` is how many columns go on paper."""

    name: str
    columns: Callable[[UnitSystem], tuple[SheetColumn, ...]]
    rows: Callable[[LineAnswer], list[list[Cell]]]
    printed: int


def _texts(*headings: str, width: float = 14) -> tuple[SheetColumn, ...]:
    return tuple(SheetColumn(heading, "text", width) for heading in headings)


def _numbers(*headings: str, width: float = 10) -> tuple[SheetColumn, ...]:
    return tuple(SheetColumn(heading, "number", width) for heading in headings)


def _quantities(kind: str, units: UnitSystem, *headings: str) -> tuple[SheetColumn, ...]:
    """Columns of one kind of quantity, its unit in the heading: "at flow [L/min]"."""
    return _numbers(*(f"{heading} [{express(1.0, kind, units)[1]}]" for heading in headings))


# --- the summary ------------------------------------------------------------------------------------


def _summary_columns(units: UnitSystem) -> tuple[SheetColumn, ...]:  # noqa: ARG001 - as the others, whose units differ
    return (
        *(SheetColumn("line", width=10), SheetColumn("row", "number", 6)),
        *_texts("original's maker", "original", width=16),
        *(SheetColumn("rank", "number", 6), *_texts("maker", "number", width=16)),
        SheetColumn("verdict", "verdict", _VERDICT_WIDTH),
        *_numbers("criteria met", "criteria missed", "criteria not shown", width=9),
        SheetColumn("smallest margin [%]", "share", 10),
        *(SheetColumn("in words", "words", 56), SheetColumn("cautions for this element", "words", 24)),
        *(SheetColumn("stated and not used", "words", 20), *_texts("tightest criterion", width=24)),
        *_texts("misses", "not shown", width=30),
        *_texts("kind", "status", "successor"),
        *_texts("asked for", "claims", "notes", width=30),
        *_texts("what is wrong", "what would be right", width=30),
        SheetColumn("element_id", width=18),
    )


def aside_columns(headings: Iterable[str]) -> tuple[SheetColumn, ...]:
    """Columns of a sheet of lines that are no part of what is asked, as they were headed."""
    return _texts(*headings, width=18)


_ASKED_FOR = {"ranked": "the best on file", "judged": "a judgement of this element", None: None}


def _summary_rows(answer: LineAnswer) -> list[list[Cell]]:
    """A row for each candidate; one for a line that has none. What is told of a line as a whole stands in its first."""
    line = [answer.line, answer.row, *original_named(answer)]
    problem = answer.problem
    remedies = [] if problem is None else [fault.remedy for fault in problem.errors if fault.remedy]
    wrong = None if problem is None else what_is_wrong(problem)
    right = " ".join(dict.fromkeys(remedies)) or None
    once: list[Cell] = [" ".join(answer.notes) or None, wrong, right]
    asked_for = _ASKED_FOR[answer.mode]
    if not answer.candidates:
        mark = NONE_FOUND if problem is None else NOT_ANSWERED
        told = [each.rstrip(".") + "." for each in (wrong, right) if each]
        words = " ".join(told) or "No element on file serves."
        summed_up = [None, None, None, mark, *[None] * 4, words, None, _unused(answer), *[None] * 6]
        return [[*line, *summed_up, asked_for, None, *once, None]]
    return [
        [
            *line,
            *_summed_up(answer, candidate, _unused(answer) if place == 0 else None),
            asked_for,
            " ".join(claim.words for claim in candidate.claims) or None,
            *(once if place == 0 else [None] * len(once)),
            candidate.element.element_id,
        ]
        for place, candidate in enumerate(answer.candidates)
    ]


def _unused(answer: LineAnswer) -> str | None:
    """What was stated and no rule read, by the headings that it stood under, else in words."""
    names = [name.removeprefix("duty.") for name in answer.unused]
    return "; ".join(answer.headings.get(name) or FIELD_WORDS[name] for name in names) or None


def _summed_up(answer: LineAnswer, candidate: CandidateShown, unused: str | None) -> list[Cell]:
    titles = {required.id: required.title for required in answer.requirements}
    element = candidate.element
    counted = sum(not each.advisory for each in candidate.criteria)
    missed, unshown = len(candidate.misses), len(candidate.not_shown)
    margin = candidate.standing.smallest_margin
    verdict = verdict_of(candidate)
    by_grace = verdict == "meets" and met_on_assumptions(candidate) > 0
    return [
        *(_rank(answer, candidate.rank), element.maker, element.number),
        *(ON_ASSUMPTIONS if by_grace else MARKS[verdict], counted - missed - unshown, missed, unshown),
        *(_share(margin), candidate.sentence, " ".join(candidate.cautions) or None, unused),
        None if margin is None else _tightest(candidate, margin, titles),
        *(_by_title(candidate.misses, titles), _by_title(candidate.not_shown, titles)),
        *(element.kind, element.status, element.successor),
    ]


def _rank(answer: LineAnswer, rank: int | None) -> int | None:
    """The place of a candidate; of one that is judged by itself none, as first of one says nothing."""
    return None if answer.mode == "judged" and len(answer.candidates) == 1 else rank


def _tightest(candidate: CandidateShown, margin: float, titles: Mapping[str, str]) -> str:
    """The criterion that has the smallest margin; where that is below zero, its verdict rests on the digits printed."""
    tightest = next(each for each in candidate.criteria if each.margin == margin)
    return titles[tightest.requirement] + (", equal by rounding" if tightest.by_rounding else "")


def _by_title(requirements: Iterable[str], titles: Mapping[str, str]) -> str | None:
    """Titles once each, with how many requirements of them there are if there are several."""
    counts = Counter(titles[each] for each in requirements)
    return "; ".join(title if count == 1 else f"{title} ({count})" for title, count in counts.items()) or None


def _share(margin: float | None) -> float | None:
    """A margin, kept as a logarithm, as a share of what is required. Only what is met has one: below zero it is met by
    rounding, which is told in words, and the share is none."""
    return None if margin is None else tidy(math.expm1(max(margin, 0.0)))


# --- every criterion --------------------------------------------------------------------------------


def _criteria_columns(units: UnitSystem) -> tuple[SheetColumn, ...]:
    return (
        *_candidate_columns(),
        *(SheetColumn("verdict", "verdict", _VERDICT_WIDTH), SheetColumn("margin [%]", "share", 10)),
        *(SheetColumn("in words", "words", 68), SheetColumn("documents", "words", 12)),
        *_numbers("required, at least", "required, at most"),
        *(SheetColumn("required word", width=14), SheetColumn("required, in words", width=30)),
        *_numbers("shown, at least", "shown, at most", "shown, estimate"),
        *_texts("shown word", "unit of required and shown"),
        *_condition_columns(units),
        *_texts("test liquid", "drop of", "capacity basis", "by standard", "with dust"),
        SheetColumn("allowance [%]", "share", 10),
        *_quantities("length", units, "nominal", "difference from nominal"),
        *_texts("counts in the order", "required is an estimate", width=10),
        SheetColumn("verdict without assumptions", "verdict", 15),
        *_texts("taken for granted", "why not shown", "leans to", "how it was come by", width=18),
        SheetColumn("equal by rounding", width=10),
        *_texts("requirement", "characteristic", width=24),
        *(SheetColumn("row", "number", 6), SheetColumn("element_id", width=18)),
    )


def _candidate_columns() -> tuple[SheetColumn, ...]:
    return (
        *(SheetColumn("line", width=10), SheetColumn("rank", "number", 6), *_texts("maker", "number", width=16)),
        SheetColumn("criterion", "words", 26),
    )


def _condition_columns(units: UnitSystem) -> tuple[SheetColumn, ...]:
    return (
        *_quantities("size", units, "at size"),
        SheetColumn("size scale", width=8),
        *_quantities("flow", units, "at flow"),
        *_quantities("viscosity", units, "at viscosity, from", "at viscosity, to"),
        *_quantities("density", units, "at density, from", "at density, to"),
        *_quantities("pressure", units, "to terminal drop", "at cycle pressure"),
    )


def _criteria_rows(answer: LineAnswer) -> list[list[Cell]]:
    required = {each.id: each for each in answer.requirements}
    return [
        _criterion_cells(answer, candidate, required[each.requirement], each)
        for candidate in answer.candidates
        for each in candidate.criteria
    ]


def _criterion_cells(
    answer: LineAnswer, candidate: CandidateShown, required: RequirementShown, shown: CriterionShown
) -> list[Cell]:
    element = candidate.element
    by_grace = shown.verdict == "meets" and shown.verdict_without_assumptions != "meets"
    documents = dict.fromkeys(source.source for source in shown.sources if source.source)
    return [
        *(answer.line, _rank(answer, candidate.rank), element.maker, element.number, required.title),
        *(ON_ASSUMPTIONS if by_grace else MARKS[shown.verdict], _share(shown.margin)),
        *(shown.explanation, "; ".join(documents) or None),
        *(required.low, required.high, required.word, required.words.removeprefix(f"{required.title}: ")),
        *(shown.shown.low, shown.shown.high, shown.estimate, shown.shown_word, required.unit),
        *_condition_cells(required),
        *(required.test_liquid, required.drop_of, required.capacity_basis, required.standard, required.dust),
        *(required.allow, _value(required.nominal), _value(shown.difference)),
        *(not required.advisory, required.estimated, MARKS[shown.verdict_without_assumptions]),
        *(_plain("; ".join(shown.assumed) or None), _plain(shown.reason), shown.lean, _plain(shown.basis)),
        *(shown.by_rounding, required.id, required.characteristic, answer.row, element.element_id),
    ]


def _condition_cells(of: RequirementShown | RequestShown) -> list[Cell]:
    scale = None if of.size is None else of.size.unit.partition("(")[2].rstrip(")")
    return [
        *(_value(of.size), scale, _value(of.flow), *_ends(of.viscosity), *_ends(of.density_range)),
        *(_value(of.terminal_pressure_drop), _value(of.cycle_pressure)),
    ]


def _value(quantity: QuantityShown | None) -> float | None:
    return None if quantity is None else quantity.value


def _ends(bounds: BoundsShown | None) -> tuple[Cell, Cell]:
    return (None, None) if bounds is None else (bounds.low, bounds.high)


def _plain(key: str | None) -> str | None:
    return None if key is None else key.replace("_", " ")


# --- what to ask for --------------------------------------------------------------------------------


def _requests_columns(units: UnitSystem) -> tuple[SheetColumn, ...]:
    return (
        *_candidate_columns(),
        *(SheetColumn("ask for", "words", 56), SheetColumn("why", "words", 56)),
        *(SheetColumn("a test settles it", width=9), SheetColumn("standards", width=22), SheetColumn("dust", width=16)),
        *_condition_columns(units),
        SheetColumn("cycles", "number", 10),
        *_texts("test liquid", "drop of", "capacity basis", "fluid class"),
        SheetColumn("candidates that it would settle", "number", 14),
        *_texts("why not shown", "what its tests do not state", "documents on file", width=24),
        *_texts("requirement", "characteristic", width=24),
        *(SheetColumn("row", "number", 6), SheetColumn("element_id", width=18)),
    )


def _requests_rows(answer: LineAnswer) -> list[list[Cell]]:
    """A row for each candidate and test, those that no test can settle after them."""
    asked: list[RequestShown | BeyondTestsShown] = [*answer.requests, *answer.beyond_tests]
    return [_request_cells(answer, each, _test_cells(each), one) for each in asked for one in each.candidates]


def _test_cells(asked: RequestShown | BeyondTestsShown) -> list[Cell]:
    if isinstance(asked, BeyondTestsShown):
        return [False, *[None] * 17]
    return [
        *(True, "; ".join(asked.standards) or None, asked.dust, *_condition_cells(asked), asked.cycles),
        *(asked.test_liquid, asked.drop_of, asked.capacity_basis, asked.fluid_class, asked.settles),
    ]


def _request_cells(
    answer: LineAnswer, asked: RequestShown | BeyondTestsShown, test: list[Cell], one: UnsettledShown
) -> list[Cell]:
    return [
        *(answer.line, _rank(answer, one.rank), one.maker, one.number, asked.title, asked.words, one.explanation),
        *test,
        *(_plain(one.reason), "; ".join(one.lacks) or None, "; ".join(one.documents) or None),
        *(asked.requirement, asked.characteristic, answer.row, one.element_id),
    ]


SUMMARY = SheetOfAnswers("Summary", _summary_columns, _summary_rows, printed=15)
CRITERIA = SheetOfAnswers("Criteria", _criteria_columns, _criteria_rows, printed=9)
REQUESTS = SheetOfAnswers("What to ask for", _requests_columns, _requests_rows, printed=7)
