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
from specdb.duty.question import ComparisonAsked
from specdb.duty.rules import RULES
from specdb.sheet.duty import FIELD_WORDS, in_words, stated_duty
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
_HOW_TO_READ = (
    "A row is one thing that is required. “Meets” and “misses” are shown by what is on file; “not shown” is neither: "
    "nothing on file decides it, and it may be asked of the maker.",
    "A percentage in brackets is how far what is shown lies on the good side of what is required.",
    "An element leans to a miss, or to meeting, where a best estimate on file says so and nothing proves it.",
)
_PROOF_ALONE = "“By proof alone” is the verdict without the assumptions at the head of the sheet, where it differs."
_SAME_AGAIN = (
    "The catalogue revision is the state of what is on file, and the method version how verdicts are drawn from it. "
    "Two sheets with both the same, and the same asked, say the same."
)
_EQUAL_NAMED_AT_MOST = 2
"""Others that an element is equal to by their names; more are told by their places, which follow one another."""

_FOOT_NAME_AT_MOST = 40
"""Characters of a name in the foot of a page, where a long one ends in an ellipsis."""


@dataclass(frozen=True)
class Stated:
    """What whoever keeps a sheet states of it; none of it is judged. ``address`` is where it can be had again, and
    ``reached`` from where, in words, if not from everywhere."""

    date: date
    machine: str = ""
    asked_by: str = ""
    asked_for: str = ""
    order_number: str = ""
    address: str = ""
    reached: str = ""


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
    """``assumed`` and ``alarms`` stand where the verdicts are read; ``sources`` are numbered from 1, in their order.
    ``foot`` is what each page says at its foot, beside its number: which sheet it is of, and which elements; ``again``
    where the sheet can be had again."""

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
    again: str
    foot: tuple[str, ...]

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
        again=_again(stated),
        foot=tuple(_foot(answer, columns, stated)),
    )


def name_of(shown: CandidateShown) -> str:
    return f"{shown.element.maker} {shown.element.number}"


# --- its head and its foot -------------------------------------------------------------------------


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


def _again(stated: Stated) -> str:
    if not stated.address:
        return ""
    return f"This sheet again{', ' if stated.reached else ''}{stated.reached}: {stated.address}"


def _foot(answer: ComparisonAnswer, columns: Sequence[Column], stated: Stated) -> Iterator[str]:
    order = [f"order {_cut(stated.order_number)}"] if stated.order_number else []
    yield " – ".join([TITLE, stated.date.isoformat(), f"catalogue revision {answer.catalog_revision}", *order])
    compared = ", ".join(_cut(column.name) for column in columns if not column.is_original)
    replaced = [f"in place of {_cut(column.name)}" for column in columns if column.is_original]
    yield ": ".join([*replaced, compared])


def _cut(name: str) -> str:
    return name if len(name) <= _FOOT_NAME_AT_MOST else f"{name[: _FOOT_NAME_AT_MOST - 1]}…"


# --- the elements ----------------------------------------------------------------------------------


def _column(shown: CandidateShown, answer: ComparisonAnswer, sources: _Sources, unbeaten: Sequence[str]) -> Column:
    element = shown.element
    return Column(
        element_id=element.element_id,
        name=name_of(shown),
        is_original=not isinstance(shown, ComparedShown),
        place=_place(shown, answer.elements),
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


def _place(shown: CandidateShown, compared: Sequence[ComparedShown]) -> str:
    """Its place, and with which others it shares every figure of the order, where maker and number alone decided."""
    met = sum(criterion.verdict == "meets" and not criterion.advisory for criterion in shown.criteria)
    counted = f"meets {met}, misses {len(shown.misses)}, not shown {len(shown.not_shown)}"
    if not isinstance(shown, ComparedShown):
        return f"original: {counted}"
    if shown.rank is None:
        return f"no place, as nothing is on file for any criterion: {counted}"
    equal = [each for each in compared if each.rank is not None and each.standing == shown.standing]
    others = [name_of(each) for each in equal if each is not shown]
    if len(others) > _EQUAL_NAMED_AT_MOST:
        ranks = sorted(each.rank for each in equal if each.rank is not None)
        others = [f"all from {ranks[0]} to {ranks[-1]}"]
    told = f" (equal to {', '.join(others)})" if others else ""
    return f"{shown.rank} of {len(compared)}{told}: {counted}"


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
    required, origin = _required(row.words)
    if requirement.rule is not None:
        origin = origin.replace(f"({requirement.rule})", f"by the rule “{RULES[requirement.rule].title}”")
    cells = [*([row.original] if row.original else []), *row.cells]
    return Row(
        required=required,
        origin=origin,
        notes=tuple(map(in_words, requirement.notes)),
        cells=tuple(
            _cell(cell, of[row.requirement], sources) for cell, of in zip(cells, criteria, strict=True)
        ),
    )


def _required(words: str) -> tuple[str, str]:
    """What is required, and where that comes from."""
    required, _, origin = words.rpartition("; ")
    return required, origin


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
    # Those that were stated one by one come first of all that is required.
    required = [_required(requirement.words)[0] for requirement in answer.requirements[: len(asked.duty.require)]]
    yield _section("The duty as it was stated", stated_duty(asked, required))
    yield _section("What rules made of the duty", map(_derivation, answer.derivations))
    names = ", ".join(FIELD_WORDS[name.removeprefix("duty.")] for name in answer.unused)
    unused = [f"Stated, but nothing here depends on it: {names}."] if names else []
    noted = [*map(in_words, [*answer.advice, *answer.notes]), *answer.prices_not_used, *unused]
    yield _section("To be noted", noted)
    if answer.order:
        yield _section("How the places come about", [f"By {'; then '.join(answer.order)}."])
    proof_alone = [_PROOF_ALONE] if answer.assumptions else []
    yield _section("How to read this sheet", [*_HOW_TO_READ, *proof_alone, _SAME_AGAIN])


def _section(heading: str, texts: Iterable[str]) -> Section:
    return Section(heading, tuple(text for text in texts if text))


def _derivation(derivation: DerivationShown) -> str:
    is_cited = derivation.source is not None and derivation.state == "applied"
    source = f" Source: {derivation.source}." if is_cited else ""
    return f"{derivation.title}: {in_words(derivation.words)}{source}"


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
