"""Criteria whose ratings are compared as stated: collapse, envelope, bypass, temperature, bubble point, fatigue."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from specdb.catalog.snapshot import Snapshot
from specdb.characteristics import CHARACTERISTICS
from specdb.criteria.evidence import LOST_TO_CONDITIONS, SAME_POINT, Carried, Evidence, fold, near
from specdb.duty import Assumptions, Requirement


def as_stated(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Carried:
    """Collapse, working, burst and cracking pressure and temperatures: the value on file."""
    if CHARACTERISTICS[requirement.characteristic].kind == "temperature":
        # A share of a temperature means nothing.
        assumptions = replace(assumptions, about_within=None)
    return fold(Evidence.of(snapshot.of(requirement.characteristic), assumptions), requirement)


def bubble_point(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Carried:
    """ISO 2942: like with like. A test to the standard that names no liquid used 2-propanol."""
    evidence = Evidence.of(snapshot.of("bubble_point"), assumptions)
    tests, rows = snapshot.tests, evidence.points.test
    wanted = requirement.test_liquid or "2-propanol"
    by_standard = ~tests.test_liquid.stated & tests.standard.equals("ISO 2942")
    same = tests.test_liquid.equals(wanted) | (by_standard & (wanted == "2-propanol"))
    evidence.ask((tests.test_liquid.stated | by_standard)[rows], same[rows], same[rows], assumptions)
    return fold(evidence, requirement)


def fatigue(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Carried:
    """A test at the required cycle pressure or above keeps its lower bound (common practice).

    ISO 3724 and ISO 23181 load the element differently: where the requirement names one, results
    of the other say nothing, not even an estimate.
    """
    evidence = Evidence.of(snapshot.of(requirement.characteristic), assumptions)
    tests, rows = snapshot.tests, evidence.points.test
    if requirement.standard is not None:
        same = tests.standard.equals(requirement.standard)[rows]
        other = tests.standard.stated[rows] & ~same
        evidence.low[other], evidence.high[other], evidence.estimate[other] = -np.inf, np.inf, np.nan
        evidence.lost[other] = LOST_TO_CONDITIONS
        evidence.ask(tests.standard.stated[rows], same, same, assumptions)
    if requirement.cycle_pressure_kpa is not None:
        pressure = tests.cycle_pressure_kpa[rows]
        with np.errstate(invalid="ignore"):
            same = near(pressure, requirement.cycle_pressure_kpa, SAME_POINT)
            evidence.ask(np.isfinite(pressure), same | (pressure >= requirement.cycle_pressure_kpa), same, assumptions)
    return fold(evidence, requirement)
