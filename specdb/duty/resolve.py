"""From what was asked to the requirements that are judged, each with its origin."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from specdb.catalog.identity import identity_key
from specdb.catalog.search import not_on_file
from specdb.catalog.snapshot import Snapshot
from specdb.characteristics import CHARACTERISTICS, title_of
from specdb.duty.circumstances import Circumstances
from specdb.duty.conditions import DutyConditions, Faults
from specdb.duty.derived import derive
from specdb.duty.derived.bypass import IN_ELEMENT
from specdb.duty.derived.outcome import Derivation
from specdb.duty.derived.place import advice_of
from specdb.duty.original import original_requirements
from specdb.duty.question import (
    AssumptionsAsked,
    CostsAsked,
    DutyAsked,
    ElementAsked,
    IngressionAsked,
    Question,
)
from specdb.duty.requirement import NO_ASSUMPTIONS, SAME_FLOW, Assumptions, Note, Requirement
from specdb.duty.stated import read_allowance, stated_requirements
from specdb.errors import NotOnFileError, QuantityError, QuestionError
from specdb.units import read_quantity


@dataclass(frozen=True)
class Duty:
    """What is required. ``original`` is the row of the original element, None where none is named.

    ``unused`` names the stated fields that no rule read; ``derivations`` tell what each rule made of the duty;
    ``advice`` is what a practitioner would say of the duty and of the place in the circuit.
    """

    requirements: tuple[Requirement, ...]
    assumptions: Assumptions
    original: int | None
    unused: tuple[str, ...]
    notes: tuple[str | Note, ...]
    circumstances: Circumstances
    derivations: tuple[Derivation, ...]
    advice: tuple[str | Note, ...]


def resolve(
    question: Question, snapshot: Snapshot, faults: Faults | None = None, *, may_be_empty: bool = False
) -> Duty:
    """Requirements of a question over one state of the catalogue; there may be none only where that ``may_be_empty``.

    Raises InputError for quantities and requirements that cannot be read or judged, and NotOnFileError
    where all that is wrong is an original that is not on file: every fault at once, in ``faults``, with
    those that were found before in the argument of that name.
    """
    faults = faults or Faults()
    conditions = DutyConditions(question.duty, faults)
    _refuse_liquid_results(question.duty, faults)
    requirements = stated_requirements(question.duty, conditions, faults)
    # Rules work on a duty that can be read; what they would make of another is no fault of its own.
    derived, derivations = ([], []) if faults.found else derive(question.duty.derive, conditions, faults)
    assumptions = NO_ASSUMPTIONS
    with faults.at("duty.assumptions"):
        assumptions = _assumptions(question.duty.assumptions)
    row, allow = None, 0.0
    if question.original is not None:
        with faults.at("original"):
            row = find_row(snapshot, question.original.number, question.original.maker)
        with faults.at("original.allow"):
            allow = read_allowance(question.original.allow)
    faults.raise_any()
    notes: list[str | Note] = [*conditions.notes]
    if row is not None:
        told = {requirement.characteristic for requirement in requirements} | _settled_by(derived, conditions)
        clearance = _clearance(question.duty, conditions)
        taken, not_taken = original_requirements(snapshot, row, lambda name: name not in told, clearance)
        with faults.at("duty"):
            requirements += [_at_the_duty(requirement, conditions, allow) for requirement in taken]
        faults.raise_any()
        notes += [*not_taken, *_at_other_flows(taken, conditions)]
    requirements += derived
    if not requirements and not may_be_empty:
        remedy = _what_would_ask(derivations)
        raise QuestionError("Nothing is required.", field="duty.require", remedy=remedy).worded("nothing_required")
    advice: list[str | Note] = [*_winter(derivations, snapshot, row)]
    place = conditions.circumstances.location
    if place is not None:
        conditions.use("location")
        advice += advice_of(place, requirements)
    conditions.use(*_read_beside_the_rules(question.duty))
    return Duty(
        _named(requirements),
        assumptions,
        row,
        conditions.unused,
        tuple(dict.fromkeys(notes)),
        conditions.circumstances,
        tuple(derivations),
        tuple(advice),
    )


def _what_would_ask(derivations: Sequence[Derivation]) -> str:
    """What to state where nothing is required; of rules that wait for a field, which."""
    remedy = (
        "Name an original element with ratings on file, state a requirement, or say more of the machine: its bypass, "
        "the fluid's class, temperatures, pressures, dirt."
    )
    waiting = [f"{each.rule}: {each.words}" for each in derivations if each.state == "lacks"]
    return " ".join([remedy, *waiting])


MEASURED_IN_LIQUID = ("filtration_ratio", "retained_capacity", "clean_pressure_drop", "flow_fatigue_cycles")


def _refuse_liquid_results(duty: DutyAsked, faults: Faults) -> None:
    """A breather is never judged by what was measured in liquid."""
    for place, asked in enumerate(duty.require):
        if duty.location == "breather" and asked.characteristic in MEASURED_IN_LIQUID:
            with faults.at(f"duty.require.{place}.characteristic"):
                raise QuestionError(
                    f"A breather filters air; a {title_of(asked.characteristic)} is measured in liquid.",
                    value=asked.characteristic,
                    remedy="Require air_pressure_drop, air_particle_size or water_capacity.",
                )


def _settled_by(derived: Sequence[Requirement], conditions: DutyConditions) -> set[str]:
    """What the duty settles, so that the original is not asked: its valve where the duty says where the valve is, and
    what is measured in liquid for a breather."""
    settled: set[str] = set()
    if any(requirement.rule == "bypass_valve" for requirement in derived):
        settled.add("bypass_valve")
        if conditions.circumstances.bypass not in IN_ELEMENT:
            settled.add("bypass_cracking_pressure")
    if conditions.circumstances.location == "breather":
        settled.update(MEASURED_IN_LIQUID)
    return settled


def _winter(derivations: Sequence[Derivation], snapshot: Snapshot, original: int | None) -> list[Note]:
    """Said loudly where a cold start is stated and the rule on it could not look at it: silence would read as yes."""
    waiting = [each for each in derivations if each.rule == "cold_start_bypass" and each.state == "lacks"]
    if not waiting:
        return []
    text = f"THE COLDEST START WAS NOT LOOKED AT: whether the bypass opens then is not told. {waiting[0].words}"
    cracking = snapshot.of("bypass_cracking_pressure")
    own = cracking.value[cracking.element == original] if original is not None else np.zeros(0)
    if not len(own):
        return [Note(text, ())]
    return [Note(f"{text} The original's own valve opens at {{}}.", ((float(own[0]), "pressure"),))]


def _read_beside_the_rules(duty: DutyAsked) -> list[str]:
    """Fields that the answer is worked out from beside the requirements: dirt, time and money."""
    fields = [f"costs.{name}" for name in CostsAsked.model_fields]
    if duty.ingression.mass is not None:
        fields += ["ingression.mass", "capacity_used", "flow", "bypass_cracking_pressure"]
    if (duty.flow or duty.pump_flow) is not None and duty.ingression.model_fields_set - {"mass"}:
        fields += ["flow", *(f"ingression.{name}" for name in IngressionAsked.model_fields if name != "mass")]
    return fields


def _at_the_duty(requirement: Requirement, conditions: DutyConditions, allow: float) -> Requirement:
    """A requirement of the original, relaxed by ``allow``: what its test left unstated is the duty's, if stated."""
    known = CHARACTERISTICS.get(requirement.characteristic)
    if known is None:
        return requirement
    found: dict[str, Any] = {}
    if known.ratio_scale:
        found["allow"] = allow
    if "flow" in known.judged_with and requirement.flow_l_min is None:
        found["flow_l_min"] = conditions.flow_of(requirement.characteristic)
    if "viscosity" in known.judged_with and requirement.viscosity_low_mm2_s is None:
        found["viscosity_low_mm2_s"], found["viscosity_high_mm2_s"] = conditions.viscosity_mm2_s or (None, None)
    if "density" in known.judged_with and requirement.density_low_kg_m3 is None:
        # What is common of the duty's class tells nothing of the liquid that a laboratory ran the original in.
        found["density_low_kg_m3"], found["density_high_kg_m3"] = conditions.stated_density_kg_m3 or (None, None)
    if "terminal_pressure_drop" in known.judged_with and requirement.characteristic == "retained_capacity":
        own = requirement.terminal_pressure_drop_kpa
        found["terminal_pressure_drop_kpa"] = conditions.terminal_pressure_drop_kpa if own is None else own
    return replace(requirement, **found)


def _at_other_flows(taken: list[Requirement], conditions: DutyConditions) -> list[Note]:
    """A note on each characteristic that the original was tested for at other flows than the duty's."""
    tested: dict[str, set[float]] = {}
    for requirement in taken:
        if requirement.flow_l_min is not None:
            tested.setdefault(requirement.characteristic, set()).add(requirement.flow_l_min)
    return [
        Note(
            f"The original's {title_of(key)} was tested at {', '.join('{}' for _ in flows)}, not at the duty's {{}}, "
            "and is required at its own flow. State a requirement to ask it at the duty's.",
            tuple((flow, "flow") for flow in (*sorted(flows), stated)),
        )
        for key, flows in tested.items()
        if (stated := conditions.stated_flow_of(key)) is not None
        and all(abs(flow - stated) > SAME_FLOW * stated for flow in flows)
    ]


def without_contradicted(duty: Duty, contradicted: list[Requirement]) -> Duty:
    """The duty without requirements that the original they were taken from misses itself, and a note of each.

    Raises QuestionError where nothing else is required.
    """
    requirements = tuple(r for r in duty.requirements if r not in contradicted)
    if not requirements:
        raise QuestionError(
            "The original's ratings contradict each other, and nothing else is required.",
            field="duty.require",
            remedy="State at least one requirement.",
        ).worded("nothing_required")
    titles = dict.fromkeys(title_of(r.characteristic) for r in contradicted)
    notes = tuple(f"The original's own ratings contradict its {title}, which is not required." for title in titles)
    return replace(duty, requirements=requirements, notes=duty.notes + notes)


def _clearance(duty: DutyAsked, conditions: DutyConditions) -> float:
    conditions.use("fit.clearance")
    return read_quantity(duty.fit.clearance, "length").value if duty.fit.clearance is not None else 0.0


def find_row(snapshot: Snapshot, number: str, maker: str | None) -> int:
    """Row of the element of this number, and of this maker if one is named.

    Raises NotOnFileError where no element has the number, QuestionError where several makers do.
    """
    elements = snapshot.elements
    rows = snapshot.rows_of_number.get(identity_key(number, field="number"), [])
    if maker is not None:
        its_key = identity_key(maker, field="maker")
        rows = [row for row in rows if elements.maker_key[row] == its_key]
    if not rows:
        raise not_on_file(number, maker, snapshot.numbers.near_number(number, maker))
    if len(rows) > 1:
        makers = ", ".join(str(elements.maker[r]) for r in rows)
        several = QuestionError(
            "Several makers have this number.", value=number, field="maker", remedy=f"One of {makers}."
        )
        raise several.worded("several_makers")
    return rows[0]


def find_rows(snapshot: Snapshot, asked: Sequence[ElementAsked], faults: Faults) -> list[int]:
    """Row of each element named, as far as it is on file; to ``faults`` goes what is not, or is named twice."""
    rows: list[int] = []
    named: dict[int, int] = {}
    for place, each in enumerate(asked):
        with faults.at(f"elements.{place}"):
            row = _row(snapshot, each)
            if row in named:
                raise QuestionError(
                    f"This is the same element as number {named[row] + 1} of those named.",
                    value=f"{snapshot.elements.maker[row]} {snapshot.elements.number[row]}",
                    remedy="Name each element once.",
                )
            named[row] = place
            rows.append(row)
    return rows


def _row(snapshot: Snapshot, asked: ElementAsked) -> int:
    if asked.number is not None:
        return find_row(snapshot, asked.number, asked.maker)
    row = snapshot.find(str(asked.element_id))
    if row is None:
        raise NotOnFileError(
            "No element has this identifier.",
            value=asked.element_id,
            field="element_id",
            remedy="Name it by its number.",
        )
    return row


def _named(requirements: list[Requirement]) -> tuple[Requirement, ...]:
    """Requirements with ids: the characteristic, and a number where there are several of one."""
    total = Counter(r.characteristic for r in requirements)
    so_far: Counter[str] = Counter()
    named = []
    for requirement in requirements:
        key = requirement.characteristic
        so_far[key] += 1
        named.append(replace(requirement, id=key if total[key] == 1 else f"{key}-{so_far[key]}"))
    return tuple(named)


def _assumptions(asked: AssumptionsAsked) -> Assumptions:
    return Assumptions(
        unstated_conditions_match=asked.unstated_conditions_match,
        about_within=_share(asked.about_within, "about_within"),
        viscous_share_at_least=_share(asked.viscous_share_at_least, "viscous_share_at_least"),
        converted_sizes_count=asked.converted_sizes_count,
        bare_size_is=asked.bare_size_is,
    )


def _share(asked: str | None, field: str) -> float | None:
    if asked is None:
        return None
    try:
        share = read_quantity(asked, "percent").value / 100
    except QuantityError as error:
        raise error.at(field) from None
    if not 0 <= share < 1:
        raise QuestionError(
            "A share lies between 0 and 100 %.", value=asked, field=field, remedy='Write it as in "15 %".'
        )
    return share
