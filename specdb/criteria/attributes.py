"""Criteria on what an element is: kind, fit, seal, valves and the fluids it is listed for."""

from __future__ import annotations

import numpy as np

from specdb.bounds import MEETS, MISSES, NOT_SHOWN, verdict
from specdb.catalog.snapshot import MEASURES, Snapshot
from specdb.criteria.evidence import BASIS, REASON
from specdb.criteria.fluid import PART_OF, judge_fluid
from specdb.criteria.verdicts import Judged, nothing_on_file
from specdb.duty import Requirement


def judge_attribute(snapshot: Snapshot, requirement: Requirement) -> Judged:
    """A measure lies within its limits or misses; a word is equal or a miss; unstated is *not shown*."""
    result = nothing_on_file(requirement, len(snapshot.elements))
    if requirement.characteristic in MEASURES:
        _measure(snapshot, requirement, result)
    elif requirement.characteristic == "fluid_class":
        _fluid_class(snapshot, requirement, result)
    elif requirement.characteristic in PART_OF:
        judge_fluid(snapshot, requirement, result)
    else:
        _word(snapshot, requirement, result)
    known = result.verdict != NOT_SHOWN
    result.reason[known] = 0
    result.basis[known & (result.basis == 0)] = BASIS["as_stated"]
    result.verdict_without_assumptions[:] = result.verdict
    return result


def _measure(snapshot: Snapshot, requirement: Requirement, result: Judged) -> None:
    value = snapshot.elements.measures[requirement.characteristic]
    known = np.isfinite(value)
    found, slack = value[known], snapshot.elements.slacks[requirement.characteristic][known]
    low, high = requirement.allowed_low, requirement.allowed_high
    result.verdict[known] = verdict(found, found, low, high, slack, slack)
    result.by_rounding[known] = result.verdict[known] != verdict(found, found, low, high)
    for column in (result.low, result.high, result.estimate):
        column[known] = value[known]


def _word(snapshot: Snapshot, requirement: Requirement, result: Judged) -> None:
    column = snapshot.elements.words[requirement.characteristic]
    result.verdict[column.stated] = MISSES
    result.verdict[column.equals(str(requirement.word))] = MEETS


def _fluid_class(snapshot: Snapshot, requirement: Requirement, result: Judged) -> None:
    """Listed as compatible, listed as excluded, or not listed: which proves nothing."""
    words = snapshot.elements.words
    lists_any = words["fluids_compatible"].stated | words["fluids_excluded"].stated
    result.reason[lists_any] = REASON["not_listed"]
    result.verdict[words["fluids_compatible"].lists(str(requirement.word))] = MEETS
    result.verdict[words["fluids_excluded"].lists(str(requirement.word))] = MISSES
