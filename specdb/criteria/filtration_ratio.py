"""Filtration ratio at a required size, read off one multi-pass test at a time."""

from __future__ import annotations

import numpy as np

from specdb.bounds import BoolArray, FloatArray, IntArray
from specdb.catalog.snapshot import Points, Snapshot
from specdb.characteristics import DUST_OF_STANDARD, SCALES, STANDARD_OF_SCALE
from specdb.criteria.evidence import (
    ASSUMPTION_BITS,
    BASIS,
    LOST_TO_SCALE,
    Carried,
    Evidence,
    carried,
    nothing_carried,
    sizes_of,
    slack_of,
    starts_of,
)
from specdb.criteria.retained_capacity import ask_dust
from specdb.duty import SAME_FLOW, Assumptions, Requirement
from specdb.trade.filtration import interpolate_ratio
from specdb.trade.size_scales import acftd_to_c, c_to_acftd

_EDGE = 1e-9
_DUST_OF_SCALE = {scale: DUST_OF_STANDARD[standard] for standard, scale in STANDARD_OF_SCALE.items()}


def filtration_ratio(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Carried:
    """Bounds at the required size: the ratio does not fall as size grows.

    Between two neighbouring measured points it is read on a straight line, logarithm of the ratio
    over size (ISO 16889, from memory); nothing is extrapolated.
    """
    evidence = Evidence.of(snapshot.of("filtration_ratio"), assumptions)
    if requirement.size_um is None or requirement.scale is None or not len(evidence.points):
        return nothing_carried()
    size, scale = _on_scale(evidence, requirement.scale, assumptions)
    evidence.ask_falling(evidence.points.flow_l_min, requirement.flow_l_min, SAME_FLOW, assumptions)
    for code, name in enumerate(SCALES):
        usual = _DUST_OF_SCALE.get(name, _DUST_OF_SCALE[requirement.scale])
        ask_dust(snapshot, evidence, requirement.dust, usual, assumptions, scale == code)
    order = np.lexsort((size, evidence.points.test))
    return _read_curve(evidence.sorted_by(order), size[order], requirement.size_um)


def _on_scale(evidence: Evidence, wanted: str, assumptions: Assumptions) -> tuple[FloatArray, IntArray]:
    """Tested sizes on the required scale (NaN beyond the table), and the scale that each was tested on.

    A size that had to be converted or guessed proves nothing.
    """
    points = evidence.points
    scale = points.scale.copy()
    if assumptions.bare_size_is is not None:
        bare = scale == SCALES.index("?")
        evidence.assumed[bare] |= ASSUMPTION_BITS["bare_size_is"]
        scale[bare] = SCALES.index(assumptions.bare_size_is)
    bare = scale == SCALES.index("?")
    other = ~bare & (scale != SCALES.index(wanted))
    size = points.size_um.copy()
    size[other] = (acftd_to_c if wanted == "c" else c_to_acftd)(points.size_um[other])
    evidence.drop(bare, bare, LOST_TO_SCALE)
    if assumptions.converted_sizes_count:
        evidence.drop(np.isnan(size), np.isnan(size), LOST_TO_SCALE)
        evidence.assumed[other] |= ASSUMPTION_BITS["converted_sizes_count"]
    else:
        evidence.drop(other, other, LOST_TO_SCALE)
    evidence.carried |= other | bare
    return size, scale


def _read_curve(evidence: Evidence, size: FloatArray, wanted_um: float) -> Carried:
    """``evidence`` in order of test and size."""
    points, starts = evidence.points, evidence.starts
    below, above = size <= wanted_um * (1 + _EDGE), size >= wanted_um * (1 - _EDGE)
    low = np.where(evidence.keep_low & below, evidence.low, -np.inf)
    high = np.where(evidence.keep_high & above, evidence.high, np.inf)
    test_low, test_high = np.maximum.reduceat(low, starts), np.minimum.reduceat(high, starts)
    at_size = below & above & ~evidence.carried
    slack = np.where(at_size, evidence.slack, 0.0)
    slack_low, slack_high = slack_of(low, test_low, slack, starts), slack_of(high, test_high, slack, starts)

    measured = evidence.keep_low & evidence.keep_high & (evidence.low > 0) & np.isfinite(evidence.high)
    last, first = _neighbours(measured, below, above, starts)
    # What clips a line may stand between its ends; a point that says nothing may not, for the line would skip it.
    clips = (evidence.keep_low & np.isfinite(evidence.low)) | (evidence.keep_high & np.isfinite(evidence.high))
    last_of_all, first_of_all = _neighbours(measured | ~clips, below, above, starts)
    between = (last >= 0) & (first >= 0) & (size[last] >= size[last_of_all]) & (size[first] <= size[first_of_all])
    between &= (size[last] < wanted_um * (1 - _EDGE)) & (size[first] > wanted_um * (1 + _EDGE))
    read_low = _on_the_line(size, evidence.low, last, first, wanted_um, between)
    read_high = _on_the_line(size, evidence.high, last, first, wanted_um, between)
    # A one-sided point between the neighbours that the line contradicts leaves only what is proven.
    between &= (read_low <= test_high) & (read_high >= test_low)
    curve_low, curve_high = np.fmax(read_low, test_low), np.fmin(read_high, test_high)
    as_tested = np.logical_or.reduceat(at_size & (evidence.keep_low | evidence.keep_high), starts)
    basis = np.where(as_tested, BASIS["as_stated"], BASIS["carried"])
    return carried(
        points,
        low=np.where(between, curve_low, test_low),
        high=np.where(between, curve_high, test_high),
        estimate=_estimate_at(size, evidence.estimate, below, above, wanted_um, starts),
        # A stated bound at the size itself may clip what was read.
        slack_low=np.where(between & (curve_low != test_low), 0.0, slack_low),
        slack_high=np.where(between & (curve_high != test_high), 0.0, slack_high),
        basis=np.where(between, BASIS["interpolated"], basis),
        lost=np.bitwise_or.reduceat(evidence.lost, starts),
        assumed=np.bitwise_or.reduceat(evidence.assumed, starts),
        inconsistent=_contradictory(evidence, size) | (test_low - slack_low > test_high + slack_high),
    )


def _neighbours(usable: BoolArray, below: BoolArray, above: BoolArray, starts: IntArray) -> tuple[IntArray, IntArray]:
    """Rows of each test's last usable point up to the wanted size and first from it up; -1 for none."""
    rows = np.arange(len(usable))
    last = np.maximum.reduceat(np.where(usable & below, rows, -1), starts)
    first = np.minimum.reduceat(np.where(usable & above, rows, len(rows)), starts)
    return last, np.where(first == len(rows), -1, first)


def _on_the_line(
    size: FloatArray, ratio: FloatArray, last: IntArray, first: IntArray, wanted_um: float, where: BoolArray
) -> FloatArray:
    """Ratio read between rows ``last`` and ``first`` of the tests ``where`` there are two; else NaN."""
    read = np.full(len(last), np.nan)
    lower, upper = last[where], first[where]
    read[where] = interpolate_ratio(
        np.full(len(lower), wanted_um), size[lower], ratio[lower], size[upper], ratio[upper]
    )
    return read


def _estimate_at(
    size: FloatArray, estimate: FloatArray, below: BoolArray, above: BoolArray, wanted_um: float, starts: IntArray
) -> FloatArray:
    """Along the curve of all points; above the largest tested size its value, below the smallest none."""
    last, first = _neighbours(np.isfinite(estimate) & np.isfinite(size), below, above, starts)
    at_last = last >= 0
    exact = at_last & (size[last] >= wanted_um * (1 - _EDGE))
    between = at_last & (first >= 0) & ~exact
    read = np.where(between, _on_the_line(size, estimate, last, first, wanted_um, between), estimate[last])
    return np.where(at_last, read, np.nan)


def _contradictory(evidence: Evidence, size: FloatArray) -> BoolArray:
    """Tests whose ratio falls as size grows: as they were run, or as their points were carried."""
    points, starts = evidence.points, evidence.starts
    curve = _one_curve(points)
    falls = _falls_with_size(points.test, curve, points.size_um, points.low, points.high, points.slack)
    # Carrying can only join what stood apart, so only tests with something carried, or several curves, are looked at.
    moved = evidence.carried | (evidence.assumed > 0)
    again = np.logical_or.reduceat(moved, starts)
    again |= np.minimum.reduceat(curve, starts) != np.maximum.reduceat(curve, starts)
    if again.any():
        rows = np.repeat(again, sizes_of(starts, len(points)))
        low = np.where(evidence.keep_low, evidence.low, -np.inf)[rows]
        high = np.where(evidence.keep_high, evidence.high, np.inf)[rows]
        slack = np.where(evidence.carried, 0.0, evidence.slack)[rows]
        falls[again] |= _falls_with_size(points.test[rows], np.zeros_like(low), size[rows], low, high, slack)
    return falls


def _one_curve(points: Points) -> FloatArray:
    """A number that points at one flow and on one scale share; a flow typed in two units may differ in a last bit."""
    flow = np.where(np.isnan(points.flow_l_min), 1.0, points.flow_l_min)
    stated = np.where(np.isnan(points.flow_l_min), -100.0, np.round(np.log(flow), 8))
    return np.asarray(stated * len(SCALES) + points.scale)


def _falls_with_size(
    test: IntArray, curve: FloatArray, size: FloatArray, low: FloatArray, high: FloatArray, slack: FloatArray
) -> BoolArray:
    """Tests (in order) in which, on one curve, a larger size is held below what a smaller one proves."""
    order = np.lexsort((-low, size, curve, test))
    changes = (test[order][1:] != test[order][:-1]) | (curve[order][1:] != curve[order][:-1])
    proven = _running_maximum((low - slack)[order], np.cumsum(np.r_[0, changes]))
    falls = (proven > (high + slack)[order] * (1 + _EDGE)) & np.isfinite(size[order])
    return np.isin(test[starts_of(test)], test[order][falls])


def _running_maximum(values: FloatArray, group: IntArray) -> FloatArray:
    """Running maximum within each group; ``group`` never falls."""
    in_order = np.argsort(values, kind="stable")
    rank = np.empty(len(values), np.int64)
    rank[in_order] = np.arange(len(values))
    best = np.maximum.accumulate(rank + group * len(values)) - group * len(values)
    return np.asarray(values[in_order][best])
