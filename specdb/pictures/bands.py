"""What each test of one element shows along an axis: the criterion itself, asked at one place after another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from specdb.bounds import FloatArray
from specdb.catalog.snapshot import Points, Snapshot
from specdb.criteria import CARRIERS
from specdb.criteria.evidence import unspoiled
from specdb.duty import NO_ASSUMPTIONS, Assumptions, Requirement
from specdb.units import UnitSystem, show

_HALVINGS = 10
"""A jump is found to the thousandth part of the distance between two places."""


@dataclass(frozen=True)
class Band:
    """Bounds and estimate of one test, in the canonical unit, at each of ``places`` along the axis; infinite where
    nothing bounds it, NaN where nothing is estimated. ``test`` is its row; shapes (places,)."""

    test: int
    places: FloatArray
    low: FloatArray
    high: FloatArray
    estimate: FloatArray

    @property
    def proves(self) -> bool:
        return bool((np.isfinite(self.low) | np.isfinite(self.high)).any())


def bands(
    snapshot: Snapshot,
    row: int,
    places: Sequence[float],
    asked_at: Callable[[float], Requirement],
    assumptions: Assumptions,
    *,
    rising: bool = False,
) -> list[Band]:
    """One for each test of the element in ``row`` with results of the characteristic that is required.

    ``asked_at`` gives the requirement at a place; its limits have no part in it. Tests are never joined. Of a value
    that is ``rising`` along the axis, a bound that falls has jumped: the place where it does is looked for.
    """
    found = {place: _at(snapshot, row, asked_at(place), assumptions) for place in map(float, places)}
    for _ in range(_HALVINGS if rising else 0):
        jumps = [(a, b) for a, b in pairwise(sorted(found)) if _falls(found[a], found[b])]
        for before, after in jumps:
            between = (before + after) / 2
            found[between] = _at(snapshot, row, asked_at(between), assumptions)
    at = sorted(found)
    tests = sorted({test for shown in found.values() for test in shown})
    return [Band(test, np.array(at), *np.array([found[place][test] for place in at]).T) for test in tests]


_Shown = dict[int, tuple[float, float, float]]
"""Test: lower bound, upper bound and estimate."""


def _at(snapshot: Snapshot, row: int, requirement: Requirement, assumptions: Assumptions) -> _Shown:
    carry = CARRIERS[requirement.characteristic]
    carried = carry(snapshot, requirement, NO_ASSUMPTIONS)
    if assumptions != NO_ASSUMPTIONS:
        carried = unspoiled(carry(snapshot, requirement, assumptions), carried)
    return {
        int(carried.test[each]): (float(carried.low[each]), float(carried.high[each]), float(carried.estimate[each]))
        for each in np.flatnonzero(carried.element == row)
    }


def _falls(before: _Shown, after: _Shown) -> bool:
    return any(after[test][side] < before[test][side] * (1 - 1e-9) for test in before for side in (0, 1))


def runs(wanted: Sequence[bool]) -> list[slice]:
    """Stretches of neighbours that are all wanted."""
    edges = np.flatnonzero(np.diff(np.r_[False, np.asarray(wanted, bool), False]))
    return [slice(int(begin), int(end)) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


def letter_of(place: int) -> str:
    """A, B, C, ... Z, AA, AB, ...: what tests are called in a picture."""
    letters = ""
    while place >= 0:
        letters, place = chr(ord("A") + place % 26) + letters, place // 26 - 1
    return letters


def words_of_test(snapshot: Snapshot, test: int, points: Points, units: UnitSystem) -> str:
    """A test in words: its standard, the document, who ran it, and the flow: "ISO 16889, QB-3 (report 23-118)"."""
    tests = snapshot.tests
    source = snapshot.sources.get(int(tests.source_id[test]))
    by = {"maker": "by the maker", "independent": "by an independent laboratory"}
    flows = points.flow_l_min[np.isfinite(points.flow_l_min)]
    ends = [show(float(flow), "flow", units) for flow in ([flows.min(), flows.max()] if len(flows) else [])]
    told = [
        tests.standard.word(test) or "no standard named",
        f"{source.key} ({source.title})" if source else "no source named",
        by.get(tests.laboratory.word(test) or "", ""),
        f"at {' to '.join(dict.fromkeys(ends))}" if ends else "no flow stated",
    ]
    return ", ".join(word for word in told if word)
