"""The criteria: carry what each test shows to the duty's conditions, and judge it.

Each rule is written once, over the arrays of a :class:`~specdb.catalog.snapshot.Snapshot`, and the
explanation of one element reads the same result that ranked it. ``docs/method.md`` states every
rule in words, with its source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from specdb.catalog.snapshot import Snapshot
from specdb.criteria.air_pressure_drop import air_pressure_drop
from specdb.criteria.attributes import judge_attribute
from specdb.criteria.clean_pressure_drop import clean_pressure_drop
from specdb.criteria.collapse import collapse_over_own_drop
from specdb.criteria.evidence import ASSUMPTION_BITS, BASES, REASON, REASONS, Carried, unspoiled
from specdb.criteria.filtration_ratio import filtration_ratio
from specdb.criteria.retained_capacity import retained_capacity
from specdb.criteria.stated import as_stated, bubble_point, fatigue
from specdb.criteria.verdicts import Judged, exempt, judge_tests, keeping_proof, no_proof, nothing_on_file
from specdb.duty import NO_ASSUMPTIONS, Assumptions, Requirement

__all__ = ["ASSUMPTION_BITS", "BASES", "CARRIERS", "REASONS", "Carried", "Judged", "characteristics_read", "judge"]

CARRIERS: dict[str, Callable[[Snapshot, Requirement, Assumptions], Carried]] = {
    "filtration_ratio": filtration_ratio,
    "retained_capacity": retained_capacity,
    "clean_pressure_drop": clean_pressure_drop,
    "bubble_point": bubble_point,
    "collapse_pressure": as_stated,
    "collapse_over_own_drop": collapse_over_own_drop,
    "flow_fatigue_cycles": fatigue,
    "working_pressure": as_stated,
    "burst_pressure": as_stated,
    "pressure_fatigue_cycles": fatigue,
    "bypass_cracking_pressure": as_stated,
    "temperature_low": as_stated,
    "temperature_high": as_stated,
    "air_pressure_drop": air_pressure_drop,
    "air_particle_size": as_stated,
    "water_capacity": as_stated,
    "mesh_opening": as_stated,
}
"""How the points of each characteristic are carried to a requirement's conditions; a criterion that is none of the
characteristics is worked out from those of several."""

_READS = {"collapse_over_own_drop": ("clean_pressure_drop", "collapse_pressure")}
"""Criteria worked out from several characteristics, that with conditions first."""


def characteristics_read(requirement: Requirement) -> tuple[str, ...]:
    """The characteristics whose points a requirement is judged by; none for what an element is."""
    key = requirement.characteristic
    return _READS.get(key, (key,) if key in CARRIERS else ())


def judge(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions = NO_ASSUMPTIONS) -> Judged:
    """Verdict of every element of ``snapshot`` on one requirement, with and without assumptions."""
    if requirement.open:
        judged = nothing_on_file(requirement, len(snapshot.elements))
        judged.reason[:] = REASON["limit_not_stated"]
    elif requirement.characteristic in CARRIERS:
        judged = _judge_tests(snapshot, requirement, assumptions)
    else:
        judged = judge_attribute(snapshot, requirement)
    if requirement.estimated:
        judged = no_proof(judged)
    if requirement.asked_of:
        kind = snapshot.elements.words["kind"]
        asked = np.logical_or.reduce([kind.equals(word) for word in requirement.asked_of])
        judged = exempt(judged, kind.stated & ~asked)
    return judged


def _judge_tests(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Judged:
    carry, elements = CARRIERS[requirement.characteristic], len(snapshot.elements)
    proven = carry(snapshot, requirement, NO_ASSUMPTIONS)
    without = judge_tests(proven, proven, requirement, elements)
    if assumptions == NO_ASSUMPTIONS:
        return without
    assumed = unspoiled(carry(snapshot, requirement, assumptions), proven)
    return keeping_proof(judge_tests(assumed, proven, requirement, elements), without)
