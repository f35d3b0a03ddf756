"""Retained capacity: how much test dust an element holds by its terminal pressure drop."""

from __future__ import annotations

import numpy as np

from specdb.bounds import BoolArray
from specdb.catalog.snapshot import Snapshot
from specdb.criteria.evidence import (
    ASSUMPTION_BITS,
    LOST_TO_CONDITIONS,
    LOST_UNSTATED,
    SAME_POINT,
    Carried,
    Evidence,
    fold,
    near,
)
from specdb.duty import SAME_FLOW, Assumptions, Requirement


def retained_capacity(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Carried:
    """Capacity grows with terminal drop and falls with flow (common practice)."""
    evidence = Evidence.of(snapshot.of("retained_capacity"), assumptions)
    tests, rows = snapshot.tests, evidence.points.test
    evidence.ask_falling(evidence.points.flow_l_min, requirement.flow_l_min, SAME_FLOW, assumptions)
    wanted = requirement.terminal_pressure_drop_kpa
    if wanted is not None:
        terminal = tests.terminal_pressure_drop_kpa[rows]
        with np.errstate(invalid="ignore"):
            same = near(terminal, wanted, SAME_POINT)
            evidence.ask(np.isfinite(terminal), same | (terminal <= wanted), same | (terminal >= wanted), assumptions)
    _ask_basis(snapshot, evidence, requirement.capacity_basis or "retained", assumptions)
    ask_dust(snapshot, evidence, requirement.dust, "ISO 12103-1 A3", assumptions)
    return fold(evidence, requirement)


def ask_dust(
    snapshot: Snapshot,
    evidence: Evidence,
    asked: str | None,
    usual: str,
    assumptions: Assumptions,
    where: BoolArray | bool = True,
) -> None:
    """A result with a dust other than the one ``asked``, else the ``usual`` one, is an estimate; so is one with a
    dust that nobody names, if one is asked. Asks the points ``where``."""
    dust, rows = snapshot.tests.dust, evidence.points.test
    same = dust.equals(asked or usual)[rows] | np.logical_not(where)
    silent = ~dust.stated[rows] & where
    if asked is None:
        evidence.drop(~same & ~silent, ~same & ~silent, LOST_TO_CONDITIONS)
        evidence.carried |= ~same & ~silent
    else:
        evidence.ask(~silent, same, same, assumptions)


def _ask_basis(snapshot: Snapshot, evidence: Evidence, wanted: str, assumptions: Assumptions) -> None:
    """What was injected is at least what was retained. ISO 16889 reports what was retained (from memory)."""
    tests, rows = snapshot.tests, evidence.points.test
    injected = tests.capacity_basis.equals("injected")[rows]
    retained = tests.capacity_basis.equals("retained")[rows]
    retained |= (~tests.capacity_basis.stated & tests.standard.equals("ISO 16889"))[rows]
    unstated = ~injected & ~retained
    if assumptions.unstated_conditions_match:
        evidence.assumed[unstated] |= ASSUMPTION_BITS["unstated_conditions_match"]
        unstated[:] = False
    # Whichever of the two an unstated basis is, it bounds the retained mass from above.
    for doubtful, why in (
        (injected if wanted == "retained" else retained, LOST_TO_CONDITIONS),
        (unstated, LOST_UNSTATED),
    ):
        low, high = (doubtful, False) if wanted == "retained" else (False, doubtful)
        evidence.drop(low, high, why)
        evidence.carried |= doubtful
