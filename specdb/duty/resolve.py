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
from specdb.duty.conditions import DutyConditions, Faults
from specdb.duty.original import original_requirements
from specdb.duty.question import AssumptionsAsked, DutyAsked, ElementAsked, Question
from specdb.duty.requirement import NO_ASSUMPTIONS, SAME_FLOW, Assumptions, Note, Requirement
from specdb.duty.stated import read_allowance, stated_requirements
from specdb.errors import NotOnFileError, QuantityError, QuestionError
from specdb.units import read_quantity


@dataclass(frozen=True)
class Duty:
    """What is required. ``original`` is the row of the original element, None where none is named.

    ``unused`` names the stated fields that no rule read.
    """

    requirements: tuple[Requirement, ...]
    assumptions: Assumptions
    original: int | None
    unused: tuple[str, ...]
    notes: tuple[str | Note, ...]


def resolve(question: Question, snapshot: Snapshot, faults: Faults | None = None) -> Duty:
    """Requirements of a question over one state of the catalogue.

    Raises InputError for quantities and requirements that cannot be read or judged, and NotOnFileError
    where all that is wrong is an original that is not on file: every fault at once, in ``faults``, with
    those that were found before in the argument of that name.
    """
    faults = faults or Faults()
    conditions = DutyConditions(question.duty, faults)
    requirements = stated_requirements(question.duty, conditions, faults)
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
        told = {requirement.characteristic for requirement in requirements}
        clearance = _clearance(question.duty, conditions)
        taken, not_taken = original_requirements(snapshot, row, lambda name: name not in told, clearance)
        with faults.at("duty"):
            requirements += [_at_the_duty(requirement, conditions, allow) for requirement in taken]
        faults.raise_any()
        notes += [*not_taken, *_at_other_flows(taken, conditions)]
    if not requirements:
        raise QuestionError(
            "Nothing is required.",
            field="duty.require",
            remedy="Name an original element with ratings on file, or state at least one requirement.",
        )
    return Duty(_named(requirements), assumptions, row, conditions.unused, tuple(dict.fromkeys(notes)))


def _at_the_duty(requirement: Requirement, conditions: DutyConditions, allow: float) -> Requirement:
    """A requirement of the original, relaxed by ``allow``: what its test left unstated is the duty's, if stated."""
    known = CHARACTERISTICS.get(requirement.characteristic)
    if known is None:
        return requirement
    found: dict[str, Any] = {}
    if known.ratio_scale:
        found["allow"] = allow
    if "flow" in known.judged_with and requirement.flow_l_min is None:
        found["flow_l_min"] = conditions.flow_l_min
    if "viscosity" in known.judged_with and requirement.viscosity_low_mm2_s is None:
        found["viscosity_low_mm2_s"], found["viscosity_high_mm2_s"] = conditions.viscosity_mm2_s or (None, None)
    if "density" in known.judged_with and requirement.density_kg_m3 is None:
        found["density_kg_m3"] = conditions.density_kg_m3
    if "terminal_pressure_drop" in known.judged_with and requirement.characteristic == "retained_capacity":
        own = requirement.terminal_pressure_drop_kpa
        found["terminal_pressure_drop_kpa"] = conditions.terminal_pressure_drop_kpa if own is None else own
    return replace(requirement, **found)


def _at_other_flows(taken: list[Requirement], conditions: DutyConditions) -> list[Note]:
    """A note on each characteristic that the original was tested for at other flows than the duty's."""
    stated = conditions.stated_flow_l_min
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
        if stated is not None and all(abs(flow - stated) > SAME_FLOW * stated for flow in flows)
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
        )
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
    rows = np.flatnonzero(elements.number_key == identity_key(number, field="number"))
    if maker is not None:
        rows = rows[elements.maker_key[rows] == identity_key(maker, field="maker")]
    if not len(rows):
        raise not_on_file(number, maker, snapshot.numbers.near_number(number, maker))
    if len(rows) > 1:
        makers = ", ".join(str(elements.maker[r]) for r in rows)
        raise QuestionError("Several makers have this number.", value=number, field="maker", remedy=f"One of {makers}.")
    return int(rows[0])


def find_rows(snapshot: Snapshot, asked: Sequence[ElementAsked], faults: Faults) -> list[int]:
    """Row of each element named, as far as it is on file; to ``faults`` goes what is not, or is named twice."""
    rows: list[int] = []
    named: dict[int, int] = {}
    for place, each in enumerate(asked):
        with faults.at(f"elements.{place}"):
            row = _row(snapshot, each)
            if row in named:
                raise QuestionError(
                    f"This is the same element as elements.{named[row]}.",
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
