"""Answers to decisions, made from the results that ranked: see :mod:`specdb.answers.decisions` for their shapes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from specdb.advice.attainable import Attainable, attainable
from specdb.advice.cautions import cautions
from specdb.advice.life import ServiceLife, life_notes, prices_not_used, service_lives
from specdb.advice.spoken import placed, sentence
from specdb.advice.trade_offs import UNWEIGHED, Weighed, weigh
from specdb.amounts import amount, span
from specdb.answers.asking import asks_shown
from specdb.answers.attainable import attainable_shown
from specdb.answers.claims import ClaimShown, claims_shown
from specdb.answers.decisions import (
    CandidateShown,
    CellShown,
    ComparedShown,
    ComparisonAnswer,
    CriterionShown,
    DerivationShown,
    ElementNamed,
    EquivalentsAnswer,
    RequirementShown,
    RowShown,
    SourceShown,
    StandingShown,
)
from specdb.answers.life import life_shown
from specdb.answers.shape import BoundsShown, QuantityShown, bounds, number, quantity
from specdb.answers.windows import Reach, windows_shown
from specdb.bounds import MEETS, NOT_SHOWN, IntArray
from specdb.catalog.snapshot import Snapshot, Source
from specdb.characteristics import title_of
from specdb.criteria import BASES, REASONS, Judged
from specdb.criteria.fluid import PART_OF, SOAKED, ground_of
from specdb.duty import Requirement
from specdb.duty.derived.outcome import Derivation
from specdb.duty.question import ComparisonAsked
from specdb.duty.requirement import Note
from specdb.duty.resolve import Duty
from specdb.duty.rules import RULES
from specdb.ranking import ORDER, Comparison, Ranking, compare
from specdb.units import UnitSystem, express
from specdb.wording import (
    CAUTIONS,
    LEANS,
    ORIGINS,
    VERDICTS,
    assumed,
    assumption_words,
    explanation,
    ground_words,
    kind_of,
    requirement_words,
)

WINDOWED = 50
"""Candidates that windows are told of: beyond, an answer would take seconds."""


def equivalents(
    ranking: Ranking,
    *,
    limit: int,
    units: UnitSystem = "si",
    include_without_evidence: bool = False,
    include_windows: bool = False,
) -> EquivalentsAnswer:
    """The answer to which elements serve; at most ``limit`` candidates."""
    duty, snapshot = ranking.duty, ranking.snapshot
    unevident = [element_named(snapshot, int(row)) for row in ranking.without_evidence[:limit]]
    rows = [int(row) for row in ranking.candidates[:limit]]
    beside = Beside.of(ranking, rows, ranking.candidates, rows[:WINDOWED] if include_windows else (), units)
    unwindowed = [_UNWINDOWED] if include_windows and len(rows) > WINDOWED else []
    return EquivalentsAnswer(
        catalog_revision=snapshot.revision,
        original=_original(ranking, beside, units),
        requirements=[requirement_shown(r, units) for r in duty.requirements],
        derivations=[_derivation(each, duty, units) for each in duty.derivations],
        advice=notes_shown(duty.advice, units),
        considered=ranking.considered,
        without_evidence=len(ranking.without_evidence),
        order=list(ORDER),
        assumptions=assumption_words(duty.assumptions),
        unused=list(duty.unused),
        prices_not_used=prices_not_used(ranking, rows),
        notes=[*notes_shown(duty.notes, units), *life_notes(ranking), *unwindowed],
        cautions=list(CAUTIONS),
        candidates=[
            candidate(ranking, row, place, units, beside, before)
            for place, (row, before) in enumerate(zip(rows, [None, *rows], strict=False), start=1)
        ],
        elements_without_evidence=unevident if include_without_evidence else None,
        tests_to_ask_for=asks_shown(ranking, rows, units),
    )


def comparison(asked: ComparisonAsked, snapshot: Snapshot, units: UnitSystem = "si") -> ComparisonAnswer:
    """The answer to what these elements show for a duty, side by side. Raises as :func:`specdb.ranking.compare`."""
    compared = compare(asked, snapshot)
    ranking, duty, rows = compared.ranking, compared.ranking.duty, compared.rows
    beside = Beside.of(ranking, rows, np.asarray(rows), rows if asked.include_windows else (), units)
    elements = []
    at_place = dict(zip(compared.places, rows, strict=True))
    for row, place in zip(rows, compared.places, strict=True):
        before = None if place is None else at_place.get(place - 1)
        shown = candidate(ranking, row, place, units, beside, before)
        elements.append(ComparedShown(**dict(shown), nothing_on_file=place is None))
    unknown = [f"{e.element.maker} {e.element.number}" for e in elements if e.nothing_on_file]
    notes = [f"Nothing is on file of {name} for any criterion: it is shown, and has no rank." for name in unknown]
    return ComparisonAnswer(
        catalog_revision=snapshot.revision,
        original=_original(ranking, beside, units),
        requirements=[requirement_shown(r, units) for r in duty.requirements],
        derivations=[_derivation(each, duty, units) for each in duty.derivations],
        advice=notes_shown(duty.advice, units),
        elements=elements,
        rows=[_row(compared, judged, units) for judged in ranking.judged],
        order=list(ORDER),
        assumptions=assumption_words(duty.assumptions),
        unused=list(duty.unused),
        prices_not_used=prices_not_used(ranking, rows),
        notes=[*notes_shown(duty.notes, units), *life_notes(ranking), *notes],
        cautions=list(CAUTIONS),
    )


_UNWINDOWED = f"Windows are told of the first {WINDOWED} candidates."


@dataclass(frozen=True)
class Beside:
    """What is told of elements beside their verdicts, by row of the ranking's snapshot; a row that is not there has
    nothing of the kind."""

    claims: Mapping[int, Sequence[ClaimShown]]
    weighed: Mapping[int, Weighed]
    lives: Mapping[int, ServiceLife]
    attained: Mapping[int, Attainable]
    reaches: Mapping[int, Reach]

    @classmethod
    def of(
        cls, ranking: Ranking, rows: Sequence[int], among: IntArray, windowed: Sequence[int], units: UnitSystem
    ) -> Beside:
        """Of ``rows``, and of the original what is told of it too. ``among`` are all candidates that those are weighed
        against, ``windowed`` the rows whose windows are wanted."""
        original = () if ranking.duty.original is None else (ranking.duty.original,)
        return cls(
            claims=claims_shown(ranking, rows),
            weighed=weigh(ranking, rows, among),
            lives=service_lives(ranking, rows),
            attained=attainable(ranking, [*rows, *original]),
            reaches=windows_shown(ranking, [*windowed, *original], units) if windowed else {},
        )


UNTOLD = Beside({}, {}, {}, {}, {})
"""Of an element nothing beside its verdicts."""


def _original(ranking: Ranking, beside: Beside, units: UnitSystem) -> CandidateShown | None:
    """The original is weighed against nobody and replaces nobody."""
    row = ranking.duty.original
    return None if row is None else candidate(ranking, row, None, units, replace(beside, claims={}, weighed={}))


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
        words=shown_words(snapshot, judged, row, units),
    )


def shown_words(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> str:
    """What is shown in a few words: "at least 60 g", "not proven, estimate 62 g"."""
    reason, kind = REASONS[judged.reason[row]], kind_of(judged.requirement.characteristic)
    if reason == "no_data":
        return "nothing on file"
    if judged.requirement.characteristic in PART_OF:
        return ground_words(ground_of(snapshot, judged.requirement, row))
    if judged.requirement.word is not None:
        return _shown_word(snapshot, judged.requirement, row) or "not listed"
    if reason == "sources_disagree":
        return "sources disagree"
    low, high, estimate = (float(column[row]) for column in (judged.low, judged.high, judged.estimate))
    proven = span(low, high, kind, units) if np.isfinite(low) or np.isfinite(high) else "not proven"
    if reason == "requirement_is_estimate":
        return f"{proven}, would {'serve' if judged.lean[row] == MEETS else 'not serve'}"
    if judged.verdict[row] == NOT_SHOWN and np.isfinite(estimate):
        return f"{proven}, estimate {amount(estimate, kind, units)}"
    return proven


def candidate(
    ranking: Ranking, row: int, rank: int | None, units: UnitSystem, beside: Beside, before: int | None = None
) -> CandidateShown:
    """What is told of the element in ``row``; ``before`` is the row of the next better one, None for the first."""
    standing = ranking.standing
    criteria = [criterion(ranking.snapshot, judged, row, units) for judged in ranking.judged]
    counted = [c for c in criteria if not c.advisory]
    weighed = beside.weighed.get(row, UNWEIGHED)
    life, attained, reach = beside.lives.get(row), beside.attained.get(row), beside.reaches.get(row)
    return CandidateShown(
        rank=rank,
        element=element_named(ranking.snapshot, row),
        sentence=sentence(ranking, row, units),
        placed=None if before is None else placed(ranking, row, before),
        misses=[c.requirement for c in counted if c.verdict == "misses"],
        not_shown=[c.requirement for c in counted if c.verdict == "not_shown"],
        standing=StandingShown(
            gate_misses=int(standing.gate_misses[row]),
            not_in_favour=int(standing.not_in_favour[row]),
            misses=int(standing.misses[row]),
            leaning_to_meet=int(standing.leaning_to_meet[row]),
            smallest_margin=number(standing.smallest_margin[row]),
        ),
        criteria=criteria,
        claims=list(beside.claims.get(row, ())),
        cautions=notes_shown(cautions(ranking, row), units),
        trade_offs=[each.words(units) for each in weighed.trade_offs],
        unbeaten=weighed.unbeaten,
        service_life=None if life is None else life_shown(life, units),
        attainable_cleanliness=None if attained is None else attainable_shown(attained, units),
        windows=None if reach is None else reach.each,
        whole_window=None if reach is None else reach.together,
    )


def criterion(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> CriterionShown:
    key = judged.requirement.characteristic
    basis, reason = BASES[judged.basis[row]], REASONS[judged.reason[row]]
    kind = kind_of(key)
    estimate = float(judged.estimate[row])
    return CriterionShown(
        requirement=judged.requirement.id,
        characteristic=key,
        advisory=judged.requirement.advisory,
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
    key = PART_OF.get(key, key)
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
    key, standard = judged.requirement.characteristic, None
    keys: tuple[str, ...] = ("fluids_compatible", "fluids_excluded") if key == "fluid_class" else (key,)
    if key in PART_OF:
        ground = ground_of(snapshot, judged.requirement, row)
        keys, standard = ground.attributes, SOAKED if ground.tested else None
    ids = {int(snapshot.elements.sources[k][row]) for k in keys if k in snapshot.elements.sources}
    return told + [_source(snapshot.sources.get(i), standard, None) for i in sorted(ids) if i >= 0]


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


def densities_shown(requirement: Requirement, units: UnitSystem) -> tuple[QuantityShown | None, BoundsShown | None]:
    """The one density that is asked, None for a range of them; and the range, of one density its own on both sides."""
    light, heavy = requirement.density_low_kg_m3, requirement.density_high_kg_m3
    if light is None or heavy is None:
        return None, None
    one = quantity(light, "density", units) if light == heavy else None
    return one, bounds(light, heavy, "density", units)


def requirement_shown(requirement: Requirement, units: UnitSystem) -> RequirementShown:
    limits = bounds(requirement.low, requirement.high, kind_of(requirement.characteristic), units)
    low, high = requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s
    density, density_range = densities_shown(requirement, units)
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
        density=density,
        density_range=density_range,
        terminal_pressure_drop=quantity(requirement.terminal_pressure_drop_kpa, "pressure", units),
        cycle_pressure=quantity(requirement.cycle_pressure_kpa, "pressure", units),
        test_liquid=requirement.test_liquid,
        drop_of=requirement.drop_of,
        capacity_basis=requirement.capacity_basis,
        standard=requirement.standard,
        dust=requirement.dust,
        allow=requirement.allow,
        origin=requirement.origin,
        rule=requirement.rule,
        advisory=requirement.advisory,
        estimated=requirement.estimated,
        words=f"{requirement_words(requirement, units)}; {_origin(requirement)}",
        notes=notes_shown(requirement.notes, units),
    )


def _origin(requirement: Requirement) -> str:
    told = [ORIGINS[requirement.origin]]
    if requirement.rule is not None:
        told[0] += f" ({requirement.rule})"
    if requirement.advisory:
        told.append("a caution, which counts for nothing in the order")
    if requirement.estimated:
        told.append("an estimate, on which nothing is proof")
    return ", ".join(told)


def _derivation(derivation: Derivation, duty: Duty, units: UnitSystem) -> DerivationShown:
    rule = None if derivation.rule is None else RULES[derivation.rule]
    return DerivationShown(
        rule=derivation.rule,
        title="condition worked out" if rule is None else rule.title,
        state=derivation.state,
        requirements=[r.id for r in duty.requirements if rule is not None and r.rule == rule.key],
        words=derivation.words.words(units),
        assumption=None if rule is None else rule.assumption,
        source=None if rule is None else rule.source,
    )


def notes_shown(notes: Sequence[str | Note], units: UnitSystem) -> list[str]:
    return [note if isinstance(note, str) else note.words(units) for note in notes]
