"""What stands on a sheet: elements side by side, who asked and for what, where it comes from, and a place to sign.

The page and the PDF are made from one :class:`Sheet`, so that they say the same. Its texts are as they are in the
catalogue or were typed: whoever shows them makes them harmless for where they stand.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Literal

from specdb.answers import CandidateShown, ComparedShown, ComparisonAnswer, CriterionShown
from specdb.answers.decisions import CellShown, DerivationShown, RequirementShown, RowShown, SourceShown
from specdb.duty.dotted import dotted_of
from specdb.duty.question import ComparisonAsked
from specdb.wording import margin_words

Verdict = Literal["misses", "not_shown", "meets"]

VERDICT_WORDS: Mapping[str, str] = {"misses": "misses", "not_shown": "not shown", "meets": "meets"}
MARKS: Mapping[str, str] = {"misses": "✗", "not_shown": "?", "meets": "✓"}
"""A sign beside each verdict, told apart without colour."""

TITLE = "Side by side"
PORTRAIT_AT_MOST = 3
"""Columns that an upright page takes."""

ABREAST_AT_MOST = 6
"""Columns that a page takes at all; further elements follow in a table of their own."""

_HEADINGS: Mapping[Verdict, str] = {
    "misses": "Missed by one or more of them",
    "not_shown": "Not shown by one or more of them",
    "meets": "Met by all of them",
}
_BYPASS = {"yes": "bypass valve in the element", "no": "no bypass valve in the element"}
_UNBEATEN = "Unbeaten: none of the others is at least as good on every measured criterion and better on one."
_NOT_ASKED = "not asked of this kind of element"
_QUESTIONS_OWN = ("elements.", "original.", "assumptions", "as_of", "include_")
"""How names begin that state nothing of the duty, or that the sheet tells elsewhere."""


@dataclass(frozen=True)
class Stated:
    """What whoever keeps a sheet states of it; none of it is judged. ``address`` is where it can be had again."""

    date: date
    machine: str = ""
    asked_by: str = ""
    asked_for: str = ""
    order_number: str = ""
    address: str = ""


@dataclass(frozen=True)
class Fact:
    """An empty text leaves room to write by hand."""

    label: str
    text: str


@dataclass(frozen=True)
class Sentence:
    """A sentence, and the numbers of its sources."""

    text: str
    sources: tuple[int, ...]


@dataclass(frozen=True)
class Section:
    heading: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Column:
    """One element. ``place`` is among those compared, ``alarms`` says how many of the sheet's are of it; ``wanting``
    has a sentence for each criterion that it misses or has not shown, and ``beside`` what is told of it beside its
    verdicts."""

    element_id: str
    name: str
    is_original: bool
    place: str
    status: str
    bypass: str
    alarms: str
    wanting: tuple[Sentence, ...]
    beside: tuple[str, ...]

    @property
    def is_told(self) -> bool:
        """Whether there is anything to tell of it below the table."""
        return bool(self.wanting or self.beside)


@dataclass(frozen=True)
class Cell:
    """What one element shows for one criterion. ``remark`` says what the verdict would be by proof alone, where that
    differs."""

    verdict: Verdict
    words: str
    remark: str
    sources: tuple[int, ...]


@dataclass(frozen=True)
class Row:
    """One criterion: what is required, where that comes from, and a cell for each column."""

    required: str
    origin: str
    notes: tuple[str, ...]
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Band:
    """The rows of which the worst verdict on the elements compared is one and the same."""

    verdict: Verdict
    heading: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Alarm:
    """What must be said loudly, and of which elements."""

    text: str
    of: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """``assumed`` and ``alarms`` stand where the verdicts are read; ``sources`` are numbered from 1, in their order."""

    title: str
    date: date
    revision: int
    head: tuple[Fact, ...]
    assumed: tuple[str, ...]
    alarms: tuple[Alarm, ...]
    columns: tuple[Column, ...]
    bands: tuple[Band, ...]
    sections: tuple[Section, ...]
    sources: tuple[str, ...]
    cautions: tuple[str, ...]
    signatures: tuple[str, ...]
    address: str

    @property
    def is_wide(self) -> bool:
        """Whether it needs its pages across."""
        return len(self.columns) > PORTRAIT_AT_MOST

    @property
    def groups(self) -> tuple[range, ...]:
        """Places of the columns that stand in one table: as few tables as there can be, about equally wide."""
        tables = max(1, math.ceil(len(self.columns) / ABREAST_AT_MOST))
        ends = [round(len(self.columns) * table / tables) for table in range(tables + 1)]
        return tuple(range(first, end) for first, end in pairwise(ends))


def sheet_of(answer: ComparisonAnswer, asked: ComparisonAsked, stated: Stated) -> Sheet:
    """The sheet of an answer to what was asked."""
    sources = _Sources()
    shown = [*([answer.original] if answer.original else []), *answer.elements]
    unbeaten = [element.element.element_id for element in answer.elements if element.unbeaten]
    is_told = 0 < len(unbeaten) < len(answer.elements)
    bands = tuple(_bands(answer, shown, sources))  # first, so that sources are numbered as the table cites them
    columns = tuple(_column(each, answer, sources, unbeaten if is_told else ()) for each in shown)
    return Sheet(
        title=TITLE,
        date=stated.date,
        revision=answer.catalog_revision,
        head=tuple(_head(answer, stated)),
        assumed=tuple(answer.assumptions.values()),
        alarms=tuple(_alarms(shown)),
        columns=columns,
        bands=bands,
        sections=tuple(section for section in _sections(answer, asked) if section.sentences),
        sources=sources.words(),
        cautions=tuple(answer.cautions),
        signatures=("Checked by", "Date", "Approved by", "Date"),
        address=stated.address,
    )


def name_of(shown: CandidateShown) -> str:
    return f"{shown.element.maker} {shown.element.number}"


# --- its head --------------------------------------------------------------------------------------


def _head(answer: ComparisonAnswer, stated: Stated) -> Iterator[Fact]:
    yield Fact("Asked by", stated.asked_by)
    yield Fact("For what", stated.asked_for)
    yield Fact("Machine", stated.machine)
    yield Fact("Order number", stated.order_number)
    yield Fact("Date", stated.date.isoformat())
    if answer.original is not None:
        yield Fact("In place of", name_of(answer.original))
    yield Fact("Catalogue revision", str(answer.catalog_revision))
    yield Fact("Method version", answer.method_version)


# --- the elements ----------------------------------------------------------------------------------


def _column(shown: CandidateShown, answer: ComparisonAnswer, sources: _Sources, unbeaten: Sequence[str]) -> Column:
    element = shown.element
    return Column(
        element_id=element.element_id,
        name=name_of(shown),
        is_original=not isinstance(shown, ComparedShown),
        place=_place(shown, len(answer.elements)),
        status=(element.status or "not stated") + (f", successor {element.successor}" if element.successor else ""),
        bypass=_BYPASS.get(element.bypass_valve or "", "not stated"),
        alarms=f"{len(shown.cautions)} above" if shown.cautions else "none",
        wanting=tuple(
            Sentence(criterion.explanation, sources.numbers(criterion.sources))
            for criterion in sorted(shown.criteria, key=lambda criterion: _worse_first(criterion.verdict))
            if criterion.verdict != "meets"
        ),
        beside=tuple(_beside(shown, is_unbeaten=element.element_id in unbeaten)),
    )


def _alarms(shown: Sequence[CandidateShown]) -> Iterator[Alarm]:
    """Each caution once, in the order in which it is first told."""
    of: dict[str, list[str]] = {}
    for each in shown:
        for caution in each.cautions:
            of.setdefault(caution, []).append(name_of(each))
    for text, names in of.items():
        yield Alarm(text, tuple(names))


def _place(shown: CandidateShown, of: int) -> str:
    met = sum(criterion.verdict == "meets" and not criterion.advisory for criterion in shown.criteria)
    counted = f"meets {met}, misses {len(shown.misses)}, not shown {len(shown.not_shown)}"
    if not isinstance(shown, ComparedShown):
        return f"original: {counted}"
    if shown.rank is None:
        return f"no place, as nothing is on file for any criterion: {counted}"
    return f"{shown.rank} of {of}: {counted}"


def _beside(shown: CandidateShown, *, is_unbeaten: bool) -> Iterator[str]:
    if shown.placed is not None:
        yield f"Why here: {shown.placed}."
    if is_unbeaten and isinstance(shown, ComparedShown):
        yield _UNBEATEN
    yield from shown.trade_offs
    yield from (claim.words for claim in shown.claims)
    yield from (told.words for told in (shown.attainable_cleanliness, shown.service_life) if told is not None)
    yield from (window.words for window in shown.windows or ())
    if shown.whole_window is not None:
        yield shown.whole_window.words


# --- the criteria ----------------------------------------------------------------------------------


def _worse_first(verdict: str) -> int:
    return list(_HEADINGS).index(_as_verdict(verdict))


def _as_verdict(word: str) -> Verdict:
    return next(verdict for verdict in _HEADINGS if verdict == word)


def _bands(answer: ComparisonAnswer, shown: Sequence[CandidateShown], sources: _Sources) -> Iterator[Band]:
    required = {requirement.id: requirement for requirement in answer.requirements}
    criteria = [{criterion.requirement: criterion for criterion in each.criteria} for each in shown]
    for verdict, heading in _HEADINGS.items():
        rows = [row for row in answer.rows if _worst(row) == verdict]
        if rows:
            yield Band(verdict, heading, tuple(_row(row, required[row.requirement], criteria, sources) for row in rows))


def _worst(row: RowShown) -> Verdict:
    return min((_as_verdict(cell.verdict) for cell in row.cells), key=_worse_first)


def _row(
    row: RowShown, requirement: RequirementShown, criteria: Sequence[Mapping[str, CriterionShown]], sources: _Sources
) -> Row:
    required, _, origin = row.words.rpartition("; ")
    cells = [*([row.original] if row.original else []), *row.cells]
    return Row(
        required=required,
        origin=origin,
        notes=tuple(requirement.notes),
        cells=tuple(
            _cell(cell, of[row.requirement], sources) for cell, of in zip(cells, criteria, strict=True)
        ),
    )


def _cell(cell: CellShown, criterion: CriterionShown, sources: _Sources) -> Cell:
    by_proof = VERDICT_WORDS[cell.verdict_without_assumptions]
    differs = cell.verdict != cell.verdict_without_assumptions
    is_unasked = criterion.basis == "not_applicable" and cell.words in ("not proven", "not listed")
    margin = "" if criterion.margin is None else f" ({margin_words(criterion.margin)})"
    return Cell(
        verdict=_as_verdict(cell.verdict),
        words=_NOT_ASKED if is_unasked else f"{cell.words}{margin}",
        remark=f"by proof alone: {by_proof}" if differs else "",
        sources=sources.numbers(criterion.sources),
    )


# --- what stands below the table -------------------------------------------------------------------


def _sections(answer: ComparisonAnswer, asked: ComparisonAsked) -> Iterator[Section]:
    duty = {name: text for name, text in dotted_of(asked).items() if not name.startswith(_QUESTIONS_OWN)}
    yield _section("The duty as it was stated", ["; ".join(f"{name}: {text}" for name, text in duty.items())])
    yield _section("What rules made of the duty", map(_derivation, answer.derivations))
    names = ", ".join(name.removeprefix("duty.") for name in answer.unused)
    unused = [f"Stated but read by no rule: {names}."] if names else []
    yield _section("To be noted", [*answer.advice, *answer.notes, *answer.prices_not_used, *unused])
    if answer.order:
        yield _section("How the places come about", [f"By {'; then '.join(answer.order)}."])


def _section(heading: str, texts: Iterable[str]) -> Section:
    return Section(heading, tuple(text for text in texts if text))


def _derivation(derivation: DerivationShown) -> str:
    is_cited = derivation.source is not None and derivation.state == "applied"
    source = f" Source: {derivation.source}." if is_cited else ""
    return f"{derivation.title}: {derivation.words}{source}"


class _Sources:
    """Documents by the number that stands for them on the sheet, with the standards of their tests by laboratory."""

    def __init__(self) -> None:
        self._numbers: dict[tuple[str, str, str | None], int] = {}
        self._tests: dict[int, dict[str | None, dict[str, None]]] = {}

    def numbers(self, cited: Sequence[SourceShown]) -> tuple[int, ...]:
        return tuple(sorted({self._number(source) for source in cited}))

    def _number(self, source: SourceShown) -> int:
        number = self._numbers.setdefault((source.source, source.title, source.date), len(self._numbers) + 1)
        standards = self._tests.setdefault(number, {}).setdefault(source.laboratory, {})
        standards.update({source.standard: None} if source.standard else {})
        return number

    def words(self) -> tuple[str, ...]:
        told = []
        for (key, title, dated), number in self._numbers.items():
            named = ", ".join(filter(None, (f"{key}: {title}" if key else title, dated)))
            tests = "; ".join(filter(None, map(_tested, self._tests[number].items())))
            told.append(f"{named} ({tests})" if tests else named)
        return tuple(told)


def _tested(tests: tuple[str | None, Iterable[str]]) -> str:
    laboratory, standards = tests
    return ", ".join([*standards, *([f"laboratory: {laboratory}"] if laboratory else [])])
