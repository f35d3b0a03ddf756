"""Answers as data: the models that the API and ``--json`` print, built from the results that ranked.

Every quantity stands with its unit, in SI or US customary units; a bound that does not exist is null.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict

from specdb.catalog.reading import ElementOnFile
from specdb.catalog.snapshot import Snapshot
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, title_of
from specdb.criteria import BASES, REASONS, Judged
from specdb.duty import Requirement
from specdb.ranking import ORDER, Ranking
from specdb.units import canonical_unit, express
from specdb.wording import (
    CAUTIONS,
    LEANS,
    ORIGINS,
    VERDICTS,
    UnitSystem,
    assumed,
    assumption_words,
    explanation,
    kind_of,
    requirement_words,
)

METHOD_VERSION = "1"
"""Changes whenever the same facts and the same question may get another verdict or order."""


class Answer(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Stamped(Answer):
    catalog_revision: int
    method_version: str = METHOD_VERSION


class QuantityShown(Answer):
    value: float
    unit: str


class BoundsShown(Answer):
    low: float | None
    high: float | None
    unit: str | None


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


class EquivalentsAnswer(Stamped):
    original: CandidateShown | None
    requirements: list[RequirementShown]
    considered: int
    without_evidence: int
    order: list[str]
    assumptions: dict[str, str]
    unused: list[str]
    notes: list[str]
    cautions: list[str]
    candidates: list[CandidateShown]
    elements_without_evidence: list[ElementNamed] | None


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
        notes=list(duty.notes),
        cautions=list(CAUTIONS),
        candidates=[
            candidate(ranking, int(row), place, units) for place, row in enumerate(ranking.candidates[:limit], start=1)
        ],
        elements_without_evidence=unevident if include_without_evidence else None,
    )


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
            smallest_margin=_number(standing.smallest_margin[row]),
        ),
        criteria=criteria,
    )


def criterion(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> CriterionShown:
    key = judged.requirement.characteristic
    basis, reason = BASES[judged.basis[row]], REASONS[judged.reason[row]]
    kind = kind_of(key)
    estimate = _number(judged.estimate[row])
    return CriterionShown(
        requirement=judged.requirement.id,
        characteristic=key,
        verdict=VERDICTS[int(judged.verdict[row])],
        verdict_without_assumptions=VERDICTS[int(judged.verdict_without_assumptions[row])],
        assumed=list(assumed(judged, row)),
        reason=reason or None,
        lean=LEANS[int(judged.lean[row])],
        shown=_bounds(float(judged.low[row]), float(judged.high[row]), kind, units),
        shown_word=_shown_word(snapshot, judged.requirement, row),
        difference=_difference(judged, row, units),
        estimate=None if estimate is None else (express(estimate, kind, units)[0] if kind else estimate),
        margin=_number(judged.margin[row]),
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
    return None if nominal is None or np.isnan(value) else _quantity(value - nominal, "length", units)


def _sources(snapshot: Snapshot, judged: Judged, row: int) -> list[SourceShown]:
    """Documents of the tests that decided, or of the attribute."""
    tests = snapshot.tests
    told = [
        _source(snapshot, int(tests.source_id[test]), tests.standard.word(test), tests.laboratory.word(test))
        for test in (int(judged.test[row]), int(judged.other_test[row]))
        if test >= 0
    ]
    key = judged.requirement.characteristic
    keys = ("fluids_compatible", "fluids_excluded") if key == "fluid_class" else (key,)
    ids = {int(snapshot.elements.sources[k][row]) for k in keys if k in snapshot.elements.sources}
    return told + [_source(snapshot, i, None, None) for i in sorted(ids) if i >= 0]


def _source(snapshot: Snapshot, source_id: int, standard: str | None, laboratory: str | None) -> SourceShown:
    source = snapshot.sources.get(source_id)
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
    bounds = _bounds(requirement.low, requirement.high, kind_of(requirement.characteristic), units)
    low, high = requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s
    size = _quantity(requirement.size_um, "size", units)
    if size is not None:
        size.unit = f"{size.unit}({requirement.scale})"
    return RequirementShown(
        id=requirement.id,
        characteristic=requirement.characteristic,
        title=title_of(requirement.characteristic),
        low=bounds.low,
        high=bounds.high,
        unit=bounds.unit,
        word=requirement.word,
        nominal=_quantity(requirement.nominal, "length", units),
        size=size,
        flow=_quantity(requirement.flow_l_min, "flow", units),
        viscosity=None if low is None or high is None else _bounds(low, high, "viscosity", units),
        density=_quantity(requirement.density_kg_m3, "density", units),
        terminal_pressure_drop=_quantity(requirement.terminal_pressure_drop_kpa, "pressure", units),
        cycle_pressure=_quantity(requirement.cycle_pressure_kpa, "pressure", units),
        test_liquid=requirement.test_liquid,
        drop_of=requirement.drop_of,
        capacity_basis=requirement.capacity_basis,
        standard=requirement.standard,
        dust=requirement.dust,
        allow=requirement.allow,
        origin=requirement.origin,
        words=f"{requirement_words(requirement, units)}; {ORIGINS[requirement.origin]}",
        notes=list(requirement.notes),
    )


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _quantity(value: float | None, kind: str, units: UnitSystem) -> QuantityShown | None:
    if value is None:
        return None
    number, unit = express(value, kind, units)
    return QuantityShown(value=number, unit=unit)


def _bounds(low: float, high: float, kind: str, units: UnitSystem) -> BoundsShown:
    def one(value: float) -> float | None:
        if not np.isfinite(value):
            return None
        return express(value, kind, units)[0] if kind else float(value)

    return BoundsShown(low=one(low), high=one(high), unit=express(1.0, kind, units)[1] if kind else None)


# --- the vocabulary, and one element --------------------------------------------------------


class CharacteristicShown(Answer):
    key: str
    title: str
    unit: str | None
    standards: list[str]
    sense: str
    sentence: str
    judged_with: list[str]
    shown_with: list[str]
    gate: str | None


class AttributeShown(Answer):
    key: str
    title: str
    unit: str | None
    choices: list[str]


class CharacteristicsAnswer(Stamped):
    characteristics: list[CharacteristicShown]
    attributes: list[AttributeShown]


def characteristics(revision: int) -> CharacteristicsAnswer:
    return CharacteristicsAnswer(
        catalog_revision=revision,
        characteristics=[
            CharacteristicShown(
                key=c.key,
                title=c.title,
                unit=canonical_unit(c.kind) if c.kind else None,
                standards=list(c.standards),
                sense=c.sense,
                sentence=c.sentence,
                judged_with=list(c.judged_with),
                shown_with=list(c.shown_with),
                gate=c.gate,
            )
            for c in CHARACTERISTICS.values()
        ],
        attributes=[
            AttributeShown(
                key=a.key,
                title=a.title,
                unit=canonical_unit("length") if a.kind == "length" else None,
                choices=list(a.choices),
            )
            for a in ATTRIBUTES.values()
        ],
    )


class AttributeOnFile(Answer):
    name: str
    title: str
    text: str
    value: float | None
    unit: str | None
    word: str | None
    source: str | None


class RatingOnFile(Answer):
    """One rating: ``text`` is what was typed, ``value`` the same in the answer's units; the conditions stand as typed,
    and in ``converted`` in the answer's units."""

    rating: str
    characteristic: str
    title: str
    qualifier: str
    text: str
    value: float
    unit: str | None
    size: str | None
    flow: str | None
    viscosity: str | None
    density: str | None
    test: str | None
    standard: str | None
    edition: str | None
    dust: str | None
    gravimetric_level: str | None
    terminal_pressure_drop: str | None
    converted: dict[str, QuantityShown]
    test_liquid: str | None
    drop_of: str | None
    capacity_basis: str | None
    cycle_pressure: str | None
    laboratory: str | None
    source: str | None
    page: str | None
    remark: str | None


class ClaimOnFile(Answer):
    maker: str
    number: str
    replaces_maker: str
    replaces_number: str
    source: str | None
    date: str | None
    remark: str | None


class SourceOnFile(Answer):
    source: str
    title: str | None
    kind: str | None
    issuer: str | None
    revision: str | None
    date: str | None


class ElementAnswer(Stamped):
    element_id: str
    maker: str
    number: str
    attributes: list[AttributeOnFile]
    ratings: list[RatingOnFile]
    sources: list[SourceOnFile]
    claimed_to_replace: list[ClaimOnFile]
    claimed_to_be_replaced_by: list[ClaimOnFile]


def element_answer(found: ElementOnFile, revision: int, units: UnitSystem = "si") -> ElementAnswer:
    return ElementAnswer(
        catalog_revision=revision,
        element_id=found.element["element_id"],
        maker=found.element["maker"],
        number=found.element["number"],
        attributes=[_attribute(row, units) for row in found.attributes],
        ratings=[_rating(row, units) for row in found.ratings],
        sources=[
            SourceOnFile(source=s.key, title=s.title, kind=s.kind, issuer=s.issuer, revision=s.revision, date=s.date)
            for s in found.sources
        ],
        claimed_to_replace=[_claim(row) for row in found.replaces],
        claimed_to_be_replaced_by=[_claim(row) for row in found.replaced_by],
    )


def _attribute(row: dict[str, Any], units: UnitSystem) -> AttributeOnFile:
    attribute = ATTRIBUTES[row["name"]]
    value, unit = (None, None) if row["number"] is None else express(row["number"], "length", units)
    return AttributeOnFile(
        name=attribute.key,
        title=attribute.title,
        text=row["text"],
        value=value,
        unit=unit,
        word=row["code"],
        source=row["source"],
    )


_TYPED = {
    # condition: its column in canonical units, and the kind of quantity
    "size": ("size_um", "size"),
    "flow": ("flow_l_min", "flow"),
    "viscosity": ("viscosity_mm2_s", "viscosity"),
    "density": ("density_kg_m3", "density"),
    "gravimetric_level": ("gravimetric_level_mg_l", "concentration"),
    "terminal_pressure_drop": ("terminal_pressure_drop_kpa", "pressure"),
    "cycle_pressure": ("cycle_pressure_kpa", "pressure"),
}
_WORDS = (
    *("qualifier", "text", "characteristic", "test", "standard", "edition", "dust", "test_liquid", "drop_of"),
    *("capacity_basis", "laboratory", "source", "page", "remark"),
)


def _rating(row: dict[str, Any], units: UnitSystem) -> RatingOnFile:
    characteristic = CHARACTERISTICS[row["characteristic"]]
    value, unit = express(row["value"], characteristic.kind, units) if characteristic.kind else (row["value"], None)
    return RatingOnFile(
        rating=row["label"],
        title=characteristic.title,
        value=value,
        unit=unit,
        converted=_converted(row, units),
        **{name: row[f"{name}_text"] for name in _TYPED},
        **{name: row[name] for name in _WORDS},
    )


def _converted(row: dict[str, Any], units: UnitSystem) -> dict[str, QuantityShown]:
    shown = {name: _quantity(row[column], kind, units) for name, (column, kind) in _TYPED.items()}
    return {name: quantity for name, quantity in shown.items() if quantity is not None}


def _claim(row: dict[str, Any]) -> ClaimOnFile:
    return ClaimOnFile(**{name: row[name] for name in ClaimOnFile.model_fields})
