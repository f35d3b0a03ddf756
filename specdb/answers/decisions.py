"""Answers to decisions: requirements, candidates, and what each criterion shows.

Each has a flat table beside its nested form: a row for each element and criterion, with the requirement it is held
against. ``docs/duty.md`` lists its columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from typing_extensions import override

from specdb.answers.shape import Answer, BoundsShown, QuantityShown, Tabular, bounds, number, quantity
from specdb.answers.tables import Cell, Table, column
from specdb.bounds import NOT_SHOWN
from specdb.catalog.snapshot import Snapshot, Source
from specdb.characteristics import title_of
from specdb.criteria import BASES, REASONS, Judged
from specdb.duty import Requirement
from specdb.duty.question import ComparisonAsked
from specdb.duty.requirement import Note
from specdb.ranking import ORDER, Comparison, Ranking, compare
from specdb.units import express
from specdb.wording import (
    CAUTIONS,
    LEANS,
    ORIGINS,
    VERDICTS,
    UnitSystem,
    amount,
    assumed,
    assumption_words,
    explanation,
    kind_of,
    requirement_words,
    span,
)


class RequirementShown(Answer):
    id: str
    characteristic: str
    title: str
    low: float | None
    high: float | None
    unit: str | None
    word: str | None
    nominal: QuantityShown | None
    size: QuantityShown | None
    flow: QuantityShown | None
    viscosity: BoundsShown | None
    density: QuantityShown | None
    terminal_pressure_drop: QuantityShown | None
    cycle_pressure: QuantityShown | None
    test_liquid: str | None
    drop_of: str | None
    capacity_basis: str | None
    standard: str | None
    dust: str | None
    allow: float
    origin: str
    words: str
    notes: list[str]


class ElementNamed(Answer):
    element_id: str
    maker: str
    number: str
    kind: str | None
    media: str | None
    seal: str | None
    thread: str | None
    bypass_valve: str | None
    status: str | None
    successor: str | None


class SourceShown(Answer):
    source: str
    title: str
    date: str | None
    standard: str | None
    laboratory: str | None


class CriterionShown(Answer):
    requirement: str
    characteristic: str
    verdict: str
    verdict_without_assumptions: str
    assumed: list[str]
    reason: str | None
    lean: str | None
    shown: BoundsShown
    shown_word: str | None
    difference: QuantityShown | None
    estimate: float | None
    margin: float | None
    basis: str | None
    by_rounding: bool
    explanation: str
    sources: list[SourceShown]


class StandingShown(Answer):
    """The figures that the order is made of."""

    gate_misses: int
    not_in_favour: int
    misses: int
    leaning_to_meet: int
    smallest_margin: float | None


class CandidateShown(Answer):
    rank: int | None
    element: ElementNamed
    misses: list[str]
    not_shown: list[str]
    standing: StandingShown
    criteria: list[CriterionShown]


class Decision(Tabular):
    """An answer to a decision: the cautions are to be shown wherever it is read."""

    cautions: list[str]

    @override
    def table(self, units: UnitSystem = "si") -> Table:
        """The cautions stand in the last column, once."""
        made = super().table(units)
        told = " ".join(self.cautions)
        rows = [[*row, told if place == 0 else None] for place, row in enumerate(made.rows)]
        return Table((*made.columns, "cautions"), rows)


class EquivalentsAnswer(Decision):
    original: CandidateShown | None
    requirements: list[RequirementShown]
    considered: int
    without_evidence: int
    order: list[str]
    assumptions: dict[str, str]
    unused: list[str]
    notes: list[str]
    candidates: list[CandidateShown]
    elements_without_evidence: list[ElementNamed] | None

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        """A row for each candidate and criterion."""
        return Table(_columns(units), _lines(self.requirements, self.candidates))


class ComparedShown(CandidateShown):
    """``rank`` is among the elements compared; null where nothing is on file for any criterion."""

    nothing_on_file: bool


class CellShown(Answer):
    """What one element shows for one requirement; ``element`` is its maker and number, ``words`` what is shown."""

    element_id: str
    element: str
    verdict: str
    verdict_without_assumptions: str
    lean: str | None
    reason: str | None
    words: str


class RowShown(Answer):
    """One requirement across: ``cells`` are in the order of ``elements``."""

    requirement: str
    characteristic: str
    title: str
    words: str
    original: CellShown | None
    cells: list[CellShown]


class ComparisonAnswer(Decision):
    original: CandidateShown | None
    requirements: list[RequirementShown]
    elements: list[ComparedShown]
    rows: list[RowShown]
    order: list[str]
    assumptions: dict[str, str]
    unused: list[str]
    notes: list[str]

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        """A row for each element and criterion, the original's first; ``role`` tells which is which."""
        original = _lines(self.requirements, [self.original] if self.original else [])
        compared = _lines(self.requirements, self.elements)
        rows = [["original", *line] for line in original] + [["compared", *line] for line in compared]
        return Table(("role", *_columns(units)), rows)


def equivalents(
    ranking: Ranking, *, limit: int, units: UnitSystem = "si", include_without_evidence: bool = False
) -> EquivalentsAnswer:
    """The answer to which elements serve; at most ``limit`` candidates."""
    duty, snapshot = ranking.duty, ranking.snapshot
    unevident = [element_named(snapshot, int(row)) for row in ranking.without_evidence[:limit]]
    return EquivalentsAnswer(
        catalog_revision=snapshot.revision,
        original=None if duty.original is None else candidate(ranking, duty.original, None, units),
        requirements=[requirement_shown(r, units) for r in duty.requirements],
        considered=ranking.considered,
        without_evidence=len(ranking.without_evidence),
        order=list(ORDER),
        assumptions=assumption_words(duty.assumptions),
        unused=list(duty.unused),
        notes=_notes(duty.notes, units),
        cautions=list(CAUTIONS),
        candidates=[
            candidate(ranking, int(row), place, units) for place, row in enumerate(ranking.candidates[:limit], start=1)
        ],
        elements_without_evidence=unevident if include_without_evidence else None,
    )


def comparison(asked: ComparisonAsked, snapshot: Snapshot, units: UnitSystem = "si") -> ComparisonAnswer:
    """The answer to what these elements show for a duty, side by side. Raises as :func:`specdb.ranking.compare`."""
    compared = compare(asked, snapshot)
    ranking, duty = compared.ranking, compared.ranking.duty
    original = None if duty.original is None else candidate(ranking, duty.original, None, units)
    elements = []
    for row, place in zip(compared.rows, compared.places, strict=True):
        shown = candidate(ranking, row, place, units)
        elements.append(ComparedShown(**dict(shown), nothing_on_file=place is None))
    unknown = [f"{e.element.maker} {e.element.number}" for e in elements if e.nothing_on_file]
    notes = [f"Nothing is on file of {name} for any criterion: it is shown, and has no rank." for name in unknown]
    return ComparisonAnswer(
        catalog_revision=snapshot.revision,
        original=original,
        requirements=[requirement_shown(r, units) for r in duty.requirements],
        elements=elements,
        rows=[_row(compared, judged, units) for judged in ranking.judged],
        order=list(ORDER),
        assumptions=assumption_words(duty.assumptions),
        unused=list(duty.unused),
        notes=[*_notes(duty.notes, units), *notes],
        cautions=list(CAUTIONS),
    )


def _row(compared: Comparison, judged: Judged, units: UnitSystem) -> RowShown:
    snapshot, original = compared.ranking.snapshot, compared.ranking.duty.original
    requirement = requirement_shown(judged.requirement, units)
    return RowShown(
        requirement=requirement.id,
        characteristic=requirement.characteristic,
        title=requirement.title,
        words=requirement.words,
        original=None if original is None else _cell(snapshot, judged, original, units),
        cells=[_cell(snapshot, judged, row, units) for row in compared.rows],
    )


def _cell(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> CellShown:
    elements = snapshot.elements
    return CellShown(
        element_id=elements.element_id[row],
        element=f"{elements.maker[row]} {elements.number[row]}",
        verdict=VERDICTS[int(judged.verdict[row])],
        verdict_without_assumptions=VERDICTS[int(judged.verdict_without_assumptions[row])],
        lean=LEANS[int(judged.lean[row])],
        reason=REASONS[judged.reason[row]] or None,
        words=_shown_words(snapshot, judged, row, units),
    )


def _shown_words(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> str:
    """What is shown in a few words: "at least 60 g", "not proven, estimate 62 g"."""
    reason, kind = REASONS[judged.reason[row]], kind_of(judged.requirement.characteristic)
    if reason == "no_data":
        return "nothing on file"
    if judged.requirement.word is not None:
        return _shown_word(snapshot, judged.requirement, row) or "not listed"
    if reason == "sources_disagree":
        return "sources disagree"
    low, high, estimate = (float(column[row]) for column in (judged.low, judged.high, judged.estimate))
    proven = span(low, high, kind, units) if np.isfinite(low) or np.isfinite(high) else "not proven"
    if judged.verdict[row] == NOT_SHOWN and np.isfinite(estimate):
        return f"{proven}, estimate {amount(estimate, kind, units)}"
    return proven


def candidate(ranking: Ranking, row: int, rank: int | None, units: UnitSystem) -> CandidateShown:
    standing = ranking.standing
    criteria = [criterion(ranking.snapshot, judged, row, units) for judged in ranking.judged]
    return CandidateShown(
        rank=rank,
        element=element_named(ranking.snapshot, row),
        misses=[c.requirement for c in criteria if c.verdict == "misses"],
        not_shown=[c.requirement for c in criteria if c.verdict == "not_shown"],
        standing=StandingShown(
            gate_misses=int(standing.gate_misses[row]),
            not_in_favour=int(standing.not_in_favour[row]),
            misses=int(standing.misses[row]),
            leaning_to_meet=int(standing.leaning_to_meet[row]),
            smallest_margin=number(standing.smallest_margin[row]),
        ),
        criteria=criteria,
    )


def criterion(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> CriterionShown:
    key = judged.requirement.characteristic
    basis, reason = BASES[judged.basis[row]], REASONS[judged.reason[row]]
    kind = kind_of(key)
    estimate = float(judged.estimate[row])
    return CriterionShown(
        requirement=judged.requirement.id,
        characteristic=key,
        verdict=VERDICTS[int(judged.verdict[row])],
        verdict_without_assumptions=VERDICTS[int(judged.verdict_without_assumptions[row])],
        assumed=list(assumed(judged, row)),
        reason=reason or None,
        lean=LEANS[int(judged.lean[row])],
        shown=bounds(float(judged.low[row]), float(judged.high[row]), kind, units),
        shown_word=_shown_word(snapshot, judged.requirement, row),
        difference=_difference(judged, row, units),
        estimate=number(express(estimate, kind, units)[0] if kind else estimate),
        margin=number(judged.margin[row]),
        basis=basis or None,
        by_rounding=bool(judged.by_rounding[row]),
        explanation=explanation(snapshot, judged, row, units),
        sources=_sources(snapshot, judged, row),
    )


def _shown_word(snapshot: Snapshot, requirement: Requirement, row: int) -> str | None:
    if requirement.word is None:
        return None
    key = "fluids_compatible" if requirement.characteristic == "fluid_class" else requirement.characteristic
    return snapshot.elements.words[key].word(row)


def _difference(judged: Judged, row: int, units: UnitSystem) -> QuantityShown | None:
    """Of a measure from the one it is held against."""
    nominal, value = judged.requirement.nominal, float(judged.low[row])
    return None if nominal is None or np.isnan(value) else quantity(value - nominal, "length", units)


def _sources(snapshot: Snapshot, judged: Judged, row: int) -> list[SourceShown]:
    """Documents of the tests that decided, or of the attribute."""
    tests = snapshot.tests
    told = [
        _source(
            snapshot.sources.get(int(tests.source_id[test])), tests.standard.word(test), tests.laboratory.word(test)
        )
        for test in (int(judged.test[row]), int(judged.other_test[row]))
        if test >= 0
    ]
    key = judged.requirement.characteristic
    keys = ("fluids_compatible", "fluids_excluded") if key == "fluid_class" else (key,)
    ids = {int(snapshot.elements.sources[k][row]) for k in keys if k in snapshot.elements.sources}
    return told + [_source(snapshot.sources.get(i), None, None) for i in sorted(ids) if i >= 0]


@lru_cache(maxsize=4096)  # one document stands behind many ratings
def _source(source: Source | None, standard: str | None, laboratory: str | None) -> SourceShown:
    return SourceShown(
        source=source.key if source else "",
        title=source.title if source else "no source named",
        date=source.date if source else None,
        standard=standard,
        laboratory=laboratory,
    )


def element_named(snapshot: Snapshot, row: int) -> ElementNamed:
    elements = snapshot.elements
    words = ("kind", "media", "seal", "thread", "bypass_valve", "status", "successor")
    return ElementNamed(
        element_id=elements.element_id[row],
        maker=elements.maker[row],
        number=elements.number[row],
        **{name: elements.words[name].word(row) for name in words},
    )


def requirement_shown(requirement: Requirement, units: UnitSystem) -> RequirementShown:
    limits = bounds(requirement.low, requirement.high, kind_of(requirement.characteristic), units)
    low, high = requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s
    size = quantity(requirement.size_um, "size", units)
    if size is not None:
        size.unit = f"{size.unit}({requirement.scale})"
    return RequirementShown(
        id=requirement.id,
        characteristic=requirement.characteristic,
        title=title_of(requirement.characteristic),
        low=limits.low,
        high=limits.high,
        unit=limits.unit,
        word=requirement.word,
        nominal=quantity(requirement.nominal, "length", units),
        size=size,
        flow=quantity(requirement.flow_l_min, "flow", units),
        viscosity=None if low is None or high is None else bounds(low, high, "viscosity", units),
        density=quantity(requirement.density_kg_m3, "density", units),
        terminal_pressure_drop=quantity(requirement.terminal_pressure_drop_kpa, "pressure", units),
        cycle_pressure=quantity(requirement.cycle_pressure_kpa, "pressure", units),
        test_liquid=requirement.test_liquid,
        drop_of=requirement.drop_of,
        capacity_basis=requirement.capacity_basis,
        standard=requirement.standard,
        dust=requirement.dust,
        allow=requirement.allow,
        origin=requirement.origin,
        words=f"{requirement_words(requirement, units)}; {ORIGINS[requirement.origin]}",
        notes=_notes(requirement.notes, units),
    )


def _notes(notes: Sequence[str | Note], units: UnitSystem) -> list[str]:
    return [note if isinstance(note, str) else note.words(units) for note in notes]


# --- the flat table --------------------------------------------------------------------------------


def _columns(units: UnitSystem) -> tuple[str, ...]:
    return (
        *("rank", "element_id", "maker", "number"),
        *("requirement", "characteristic", "required_low", "required_high", "required_word", "unit"),
        column("nominal", "length", units),
        *(column("size", "size", units), "size_scale"),
        column("flow", "flow", units),
        *(column("viscosity_low", "viscosity", units), column("viscosity_high", "viscosity", units)),
        column("density", "density", units),
        *(column("terminal_pressure_drop", "pressure", units), column("cycle_pressure", "pressure", units)),
        *("test_liquid", "drop_of", "capacity_basis", "standard", "dust", "allow", "origin"),
        *("verdict", "verdict_without_assumptions", "assumed", "reason", "lean"),
        *("shown_low", "shown_high", "shown_word", column("difference", "length", units), "estimate", "margin"),
        *("basis", "by_rounding", "explanation", "sources"),
    )


def _lines(
    requirements: Sequence[RequirementShown], candidates: Sequence[CandidateShown]
) -> list[list[Cell]]:
    """One for each candidate and criterion, with a cell for each of the columns."""
    required = {requirement.id: _required_cells(requirement) for requirement in requirements}
    lines = []
    for shown in candidates:
        named: list[Cell] = [shown.rank, shown.element.element_id, shown.element.maker, shown.element.number]
        lines += [[*named, *required[c.requirement], *_shown_cells(c)] for c in shown.criteria]
    return lines


def _required_cells(required: RequirementShown) -> list[Cell]:
    size, viscosity = required.size, required.viscosity
    return [
        *(required.id, required.characteristic, required.low, required.high, required.word, required.unit),
        _value(required.nominal),
        *(_value(size), size.unit.partition("(")[2].rstrip(")") if size else None),
        _value(required.flow),
        *((viscosity.low, viscosity.high) if viscosity else (None, None)),
        _value(required.density),
        *(_value(required.terminal_pressure_drop), _value(required.cycle_pressure)),
        *(required.test_liquid, required.drop_of, required.capacity_basis, required.standard, required.dust),
        *(required.allow, required.origin),
    ]


def _shown_cells(shown: CriterionShown) -> list[Cell]:
    sources = dict.fromkeys(source.source for source in shown.sources if source.source)
    return [
        *(shown.verdict, shown.verdict_without_assumptions, "; ".join(shown.assumed), shown.reason, shown.lean),
        *(shown.shown.low, shown.shown.high, shown.shown_word, _value(shown.difference), shown.estimate, shown.margin),
        *(shown.basis, shown.by_rounding, shown.explanation, "; ".join(sources)),
    ]


def _value(quantity: QuantityShown | None) -> float | None:
    return None if quantity is None else quantity.value
