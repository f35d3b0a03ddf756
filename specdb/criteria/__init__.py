"""The criteria: carry what each test shows to the duty's conditions, and judge it.

Each rule is written once, over the arrays of a :class:`~specdb.catalog.snapshot.Snapshot`, and the
explanation of one element reads the same result that ranked it. ``docs/method.md`` states every
rule in words, with its source.
"""

from __future__ import annotations

from collections.abc import Callable

from specdb.catalog.snapshot import Snapshot
from specdb.characteristics import CHARACTERISTICS
from specdb.criteria.attributes import judge_attribute
from specdb.criteria.clean_pressure_drop import clean_pressure_drop
from specdb.criteria.evidence import ASSUMPTION_BITS, BASES, REASONS, Carried, unspoiled
from specdb.criteria.filtration_ratio import filtration_ratio
from specdb.criteria.retained_capacity import retained_capacity
from specdb.criteria.stated import as_stated, bubble_point, fatigue
from specdb.criteria.verdicts import Judged, judge_tests, keeping_proof
from specdb.duty import NO_ASSUMPTIONS, Assumptions, Requirement

__all__ = ["ASSUMPTION_BITS", "BASES", "CARRIERS", "REASONS", "Carried", "Judged", "judge"]

CARRIERS: dict[str, Callable[[Snapshot, Requirement, Assumptions], Carried]] = {
    "filtration_ratio": filtration_ratio,
    "retained_capacity": retained_capacity,
    "clean_pressure_drop": clean_pressure_drop,
    "bubble_point": bubble_point,
    "collapse_pressure": as_stated,
    "flow_fatigue_cycles": fatigue,
    "working_pressure": as_stated,
    "burst_pressure": as_stated,
    "pressure_fatigue_cycles": fatigue,
    "bypass_cracking_pressure": as_stated,
    "temperature_low": as_stated,
    "temperature_high": as_stated,
}
"""How the points of each characteristic are carried to a requirement's conditions."""


def judge(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions = NO_ASSUMPTIONS) -> Judged:
    """Verdict of every element of ``snapshot`` on one requirement, with and without assumptions."""
    if requirement.characteristic not in CHARACTERISTICS:
        return judge_attribute(snapshot, requirement)
    carry, elements = CARRIERS[requirement.characteristic], len(snapshot.elements)
    proven = carry(snapshot, requirement, NO_ASSUMPTIONS)
    without = judge_tests(proven, proven, requirement, elements)
    if assumptions == NO_ASSUMPTIONS:
        return without
    assumed = unspoiled(carry(snapshot, requirement, assumptions), proven)
    return keeping_proof(judge_tests(assumed, proven, requirement, elements), without)
