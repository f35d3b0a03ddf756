"""Pressure drop of air through a breather, carried to another flow of air."""

from __future__ import annotations

import numpy as np

from specdb.bounds import BoolArray, FloatArray
from specdb.catalog.snapshot import Snapshot
from specdb.criteria.evidence import Carried, Evidence, asked_of, asked_range, fold
from specdb.duty import SAME_FLOW, Assumptions, Requirement


def air_pressure_drop(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Carried:
    """The drop of air does not fall as its flow rises (common practice).

    So a test at the required flow of air or above keeps its upper bound, one at or below it its lower bound, one
    within 5 % both. The estimate from a smaller flow is raised in proportion to flow (ours), which errs low where the
    flow is turbulent; that from a larger flow is left as it stands.
    """
    evidence = Evidence.of(snapshot.of("air_pressure_drop"), assumptions)
    flow, wanted = evidence.points.flow_l_min, requirement.flow_l_min
    wanted_low, wanted_high, unstated = asked_range(flow, wanted, wanted, evidence.starts)
    with np.errstate(invalid="ignore"):
        no_more = flow <= wanted_low * (1 + SAME_FLOW + 1e-9)
        enough = flow >= wanted_high * (1 - SAME_FLOW - 1e-9)
    stated = asked_of(flow, unstated, assumptions)
    evidence.ask(stated, no_more | np.isnan(flow), enough | np.isnan(flow), assumptions)
    if wanted is not None:
        _raise_estimates(evidence, no_more & ~enough, wanted_low)
    return fold(evidence, requirement)


def _raise_estimates(evidence: Evidence, below: BoolArray, wanted_l_min: FloatArray) -> None:
    """In proportion from smaller flows of air to the one that is asked."""
    evidence.estimate[below] *= wanted_l_min[below] / evidence.points.flow_l_min[below]
