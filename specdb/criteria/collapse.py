"""Collapse pressure over the element's own clean drop: what an element without a bypass must at least stand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from specdb.bounds import FloatArray, IntArray
from specdb.catalog.snapshot import Snapshot
from specdb.criteria.clean_pressure_drop import clean_pressure_drop
from specdb.criteria.evidence import BASIS, REASON, Carried, unspoiled
from specdb.criteria.stated import as_stated
from specdb.duty import NO_ASSUMPTIONS, Assumptions, Requirement


def collapse_over_own_drop(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Carried:
    """Each collapse test over each clean drop test of the element at the required conditions: a ratio of bounds.

    There is a row for each pair of tests, its ``test`` the collapse test: tests are never joined, so that two drop
    tests that contradict each other are sources that disagree.
    """

    def shown(assumptions: Assumptions) -> tuple[Carried, Carried]:
        collapse = as_stated(snapshot, replace(requirement, characteristic="collapse_pressure"), assumptions)
        of_element = replace(requirement, characteristic="clean_pressure_drop", drop_of="element")
        return collapse, clean_pressure_drop(snapshot, replace(of_element, low=-np.inf, high=np.inf), assumptions)

    collapse, drop = map(unspoiled, shown(assumptions), shown(NO_ASSUMPTIONS))
    of_collapse, of_drop = _pairs(collapse.element, drop.element)
    collapse, drop = _rows(collapse, of_collapse), _rows(drop, of_drop)
    inconsistent = (collapse.reason == REASON["inconsistent_test"]) | (drop.reason == REASON["inconsistent_test"])
    known = np.isfinite(drop.high)
    return replace(
        collapse,
        low=np.where(inconsistent, -np.inf, _over(collapse.low, drop.high, -np.inf)),
        high=np.where(inconsistent, np.inf, _over(collapse.high, drop.low, np.inf)),
        estimate=np.where(inconsistent, np.nan, _over(collapse.estimate, drop.estimate, np.nan)),
        slack_low=np.zeros(len(of_drop)),
        slack_high=np.zeros(len(of_drop)),
        basis=np.where(known & ~inconsistent, BASIS["from_curve"], 0),
        reason=np.where(inconsistent, REASON["inconsistent_test"], np.where(known, collapse.reason, drop.reason)),
        assumed=collapse.assumed | drop.assumed,
    )


def _pairs(one: IntArray, other: IntArray) -> tuple[IntArray, IntArray]:
    """Rows of ``one`` and of ``other`` that are of the same element, each with each."""
    order = np.argsort(other, kind="stable")
    first = np.searchsorted(other[order], one, "left")
    times = np.searchsorted(other[order], one, "right") - first
    within = np.arange(times.sum()) - np.repeat(np.cumsum(times) - times, times)
    return np.repeat(np.arange(len(one)), times), order[np.repeat(first, times) + within]


def _rows(tests: Carried, rows: IntArray) -> Carried:
    return Carried(**{name: column[rows] for name, column in vars(tests).items()})


def _over(pressure: FloatArray, drop: FloatArray, otherwise: float) -> FloatArray:
    sound = np.isfinite(pressure) & np.isfinite(drop) & (drop > 0)
    return np.where(sound, pressure / np.where(sound, drop, 1.0), otherwise)
