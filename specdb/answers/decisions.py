"""Answers to decisions: requirements, candidates, and what each criterion shows.

Each has a flat table beside its nested form: a row for each element and criterion, with the requirement it is held
against. ``docs/duty.md`` lists its columns.
"""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import Field
from typing_extensions import override

from specdb.answers.asking import AskShown
from specdb.answers.attainable import AttainableShown
from specdb.answers.claims import ClaimShown
from specdb.answers.life import ServiceLifeShown
from specdb.answers.shape import Answer, BoundsShown, QuantityShown, Tabular
from specdb.answers.tables import Cell, Table, column, numbers, whole_numbers, yes_or_no
from specdb.answers.windows import WholeWindowShown, WindowShown
from specdb.units import UnitSystem


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
    density_range: BoundsShown | None
    terminal_pressure_drop: QuantityShown | None
    cycle_pressure: QuantityShown | None
    test_liquid: str | None
    drop_of: str | None
    capacity_basis: str | None
    standard: str | None
    dust: str | None
    allow: float
    origin: str
    rule: str | None
    advisory: bool
    estimated: bool
    words: str
    notes: list[str]


class DerivationShown(Answer):
    """What a rule made of the duty, or how one of its conditions was worked out."""

    rule: str | None
    title: str
    state: str
    requirements: list[str]
    words: str
    assumption: str | None
    source: str | None


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
    advisory: bool
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
    sentence: str = Field(description="in one sentence that can be read aloud: what it meets, misses and has not shown")
    placed: str | None = Field(
        None,
        description="which figure of the order put it behind the one before it; null for the first, for the original "
        "and where it has no rank",
    )
    misses: list[str]
    not_shown: list[str]
    standing: StandingShown
    criteria: list[CriterionShown]
    claims: list[ClaimShown] = Field(default_factory=list)
    cautions: list[str] = Field(default_factory=list)
    trade_offs: list[str] = Field(default_factory=list)
    unbeaten: bool | None = None
    service_life: ServiceLifeShown | None = None
    attainable_cleanliness: AttainableShown | None = None
    windows: list[WindowShown] | None = None
    whole_window: WholeWindowShown | None = None


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
    derivations: list[DerivationShown]
    advice: list[str]
    considered: int
    without_evidence: int
    order: list[str]
    assumptions: dict[str, str]
    unused: list[str]
    prices_not_used: list[str] = Field(default_factory=list)
    notes: list[str]
    candidates: list[CandidateShown]
    elements_without_evidence: list[ElementNamed] | None
    tests_to_ask_for: list[AskShown] = Field(default_factory=list)

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        """A row for each candidate and criterion."""
        return Table(decision_columns(units), decision_rows(self.requirements, self.candidates))


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
    derivations: list[DerivationShown]
    advice: list[str]
    elements: list[ComparedShown]
    rows: list[RowShown]
    order: list[str]
    assumptions: dict[str, str]
    unused: list[str]
    prices_not_used: list[str] = Field(default_factory=list)
    notes: list[str]

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        """A row for each element and criterion, the original's first; ``role`` tells which is which."""
        original = decision_rows(self.requirements, [self.original] if self.original else [])
        compared = decision_rows(self.requirements, self.elements)
        rows = [["original", *line] for line in original] + [["compared", *line] for line in compared]
        return Table(("role", *decision_columns(units)), rows)


# --- the flat table --------------------------------------------------------------------------------


def decision_columns(units: UnitSystem) -> tuple[str, ...]:
    return (
        *(*whole_numbers("rank"), "element_id", "maker", "number"),
        *("requirement", "characteristic", *numbers("required_low", "required_high"), "required_word", "unit"),
        column("nominal", "length", units),
        *(column("size", "size", units), "size_scale"),
        column("flow", "flow", units),
        *(column("viscosity_low", "viscosity", units), column("viscosity_high", "viscosity", units)),
        *(column(name, "density", units) for name in ("density", "density_low", "density_high")),
        *(column("terminal_pressure_drop", "pressure", units), column("cycle_pressure", "pressure", units)),
        *("test_liquid", "drop_of", "capacity_basis", "standard", "dust", *numbers("allow")),
        *("origin", "rule", *yes_or_no("advisory", "estimated")),
        *("verdict", "verdict_without_assumptions", "assumed", "reason", "lean"),
        *(*numbers("shown_low", "shown_high"), "shown_word", column("difference", "length", units)),
        *(*numbers("estimate", "margin"), "basis", *yes_or_no("by_rounding"), "explanation", "sources"),
        *("claims", "candidate_cautions", "service_life"),
        *(column("largest_flow", "flow", units), column("highest_viscosity", "viscosity", units)),
        *(column("coldest", "temperature", units), "met_beyond"),
        *("trade_offs", *yes_or_no("unbeaten"), "attainable_cleanliness", "windows_together"),
        *numbers(*(f"cost_per_1000_h_{end}" for end in ("low", "high", "estimate"))),
        *numbers(*(f"cost_per_gram_{end}" for end in ("low", "high", "estimate"))),
        "currency",
    )


def decision_rows(
    requirements: Sequence[RequirementShown], candidates: Sequence[CandidateShown]
) -> list[list[Cell]]:
    """One for each candidate and criterion, with a cell for each of the columns. What is told of a candidate
    as a whole, and not of a criterion, stands in its first, once."""
    required = {requirement.id: _required_cells(requirement) for requirement in requirements}
    lines = []
    for shown in candidates:
        named: list[Cell] = [shown.rank, shown.element.element_id, shown.element.maker, shown.element.number]
        claimed = " ".join(claim.words for claim in shown.claims) or None
        warned = " ".join(shown.cautions) or None
        lasts = None if shown.service_life is None else shown.service_life.words
        whole = _whole_cells(shown)
        windows = {window.requirement: window for window in shown.windows or ()}
        lines += [
            [
                *named,
                *required[c.requirement],
                *_shown_cells(c),
                *((claimed, warned, lasts) if place == 0 else (None, None, None)),
                *_window_cells(windows.get(c.requirement)),
                *(whole if place == 0 else [None] * len(whole)),
            ]
            for place, c in enumerate(shown.criteria)
        ]
    return lines


def _required_cells(required: RequirementShown) -> list[Cell]:
    size, viscosity, dense = required.size, required.viscosity, required.density_range
    return [
        *(required.id, required.characteristic, required.low, required.high, required.word, required.unit),
        _value(required.nominal),
        *(_value(size), size.unit.partition("(")[2].rstrip(")") if size else None),
        _value(required.flow),
        *((viscosity.low, viscosity.high) if viscosity else (None, None)),
        *(_value(required.density), *((dense.low, dense.high) if dense else (None, None))),
        *(_value(required.terminal_pressure_drop), _value(required.cycle_pressure)),
        *(required.test_liquid, required.drop_of, required.capacity_basis, required.standard, required.dust),
        *(required.allow, required.origin, required.rule, required.advisory, required.estimated),
    ]


def _shown_cells(shown: CriterionShown) -> list[Cell]:
    sources = dict.fromkeys(source.source for source in shown.sources if source.source)
    return [
        *(shown.verdict, shown.verdict_without_assumptions, "; ".join(shown.assumed), shown.reason, shown.lean),
        *(shown.shown.low, shown.shown.high, shown.shown_word, _value(shown.difference), shown.estimate, shown.margin),
        *(shown.basis, shown.by_rounding, shown.explanation, "; ".join(sources)),
    ]


def _window_cells(window: WindowShown | None) -> list[Cell]:
    """The edges, and the names of those at which the search ended and the criterion is still met."""
    if window is None:
        return [None] * 4
    edges = {"flow": window.flow, "viscosity": window.viscosity, "temperature": window.temperature}
    beyond = "; ".join(name for name, edge in edges.items() if edge is not None and edge.beyond)
    return [*map(_value, edges.values()), beyond or None]


def _whole_cells(shown: CandidateShown) -> list[Cell]:
    """What is told of a candidate beside its criteria, with its costs as numbers that a sheet can be sorted by."""
    attained, together, life = shown.attainable_cleanliness, shown.whole_window, shown.service_life
    costs = (None, None) if life is None else (life.cost_per_1000_h, life.cost_per_gram)
    currency = next((cost.unit for cost in costs if cost is not None), None)
    return [
        *(" ".join(shown.trade_offs) or None, shown.unbeaten),
        *(None if told is None else told.words for told in (attained, together)),
        *(cell for cost in costs for cell in ((cost.low, cost.high, cost.estimate) if cost else (None,) * 3)),
        currency,
    ]


def _value(quantity: QuantityShown | None) -> float | None:
    return None if quantity is None else quantity.value
