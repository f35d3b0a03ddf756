"""Clean pressure drop at the required flow and viscosity, from the points of one test at a time.

The law is drop = a·x + b·y with x = viscosity·density·flow and y = density·flow², a and b unknown
and not negative (see :mod:`specdb.trade.pressure_drop`). The points of a test leave a polygon of
(a, b); the bounds are the least and greatest drop over it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from specdb.bounds import BoolArray, FloatArray, IntArray
from specdb.catalog.snapshot import Coded, Points, Snapshot
from specdb.criteria.evidence import (
    ASSUMPTION_BITS,
    BASIS,
    LOST_TO_CONDITIONS,
    LOST_UNSTATED,
    SAME_POINT,
    Carried,
    Evidence,
    asked_range,
    carried,
    near,
    nothing_carried,
    sizes_of,
    slack_of,
)
from specdb.duty import Assumptions, Requirement
from specdb.trade.pressure_drop import drop_bounds, drop_estimate

BAND_AT_LEAST = 0.02
"""A measured point of a drop curve is taken to be known to this share at best (ours)."""

_ROUNDING = 1e-9


@dataclass(frozen=True)
class _Conditions:
    """Terms of the law at each point (points,) and at the target of each test (tests,). ``unlike`` are points whose
    unstated viscosity cannot be taken to be the required one."""

    x: FloatArray
    y: FloatArray
    here: BoolArray
    unstated: BoolArray
    unplaced: BoolArray
    unlike: BoolArray
    x_low: FloatArray
    x_high: FloatArray
    y_low: FloatArray
    y_high: FloatArray


def clean_pressure_drop(snapshot: Snapshot, requirement: Requirement, assumptions: Assumptions) -> Carried:
    """A point at the required conditions (within 0.5 %) as stated; elsewhere the polygon of its test."""
    evidence = Evidence.of(snapshot.of("clean_pressure_drop"), assumptions)
    if not len(evidence.points):
        return nothing_carried()
    points, starts = evidence.points, evidence.starts
    at = _conditions(points, requirement, starts)
    taken = assumptions.unstated_conditions_match & ~at.unlike
    evidence.assumed[at.unstated & taken] |= ASSUMPTION_BITS["unstated_conditions_match"]
    evidence.drop(at.unstated & ~taken, at.unstated & ~taken, LOST_UNSTATED)
    assumed = np.bitwise_or.reduceat(evidence.assumed, starts)
    lost = np.bitwise_or.reduceat(evidence.lost, starts)

    what = _of_what(snapshot, points.test[starts])
    curve_low, curve_high, empty, shared = _over_polygon(evidence, at, assumptions, what.equals("element"))
    here_low = np.where(at.here & evidence.keep_low, evidence.low, -np.inf)
    here_high = np.where(at.here & evidence.keep_high, evidence.high, np.inf)
    stated_low, stated_high = np.maximum.reduceat(here_low, starts), np.minimum.reduceat(here_high, starts)
    # A point stated on both sides is taken as it is; a one-sided one, and the curve, leave the tighter of the two.
    measured = np.isfinite(stated_low) & np.isfinite(stated_high)
    low = np.where(measured | (stated_low >= curve_low * (1 - _ROUNDING)), stated_low, curve_low)
    high = np.where(measured | (stated_high <= curve_high * (1 + _ROUNDING)), stated_high, curve_high)
    as_stated = (np.isfinite(low) & (low == stated_low)) | (np.isfinite(high) & (high == stated_high))
    assumed |= np.where(shared & ~measured, ASSUMPTION_BITS["viscous_share_at_least"], 0)
    placed = ~at.unstated | taken
    stood = np.logical_or.reduceat(at.here & placed, starts)
    lost |= np.where(stood | (lost & LOST_UNSTATED > 0), 0, LOST_TO_CONDITIONS)
    # What an assembly drops is no printing of what its element drops: no room at a limit.
    other = what.stated & ~what.equals(requirement.drop_of) if requirement.drop_of else np.zeros(len(starts), bool)
    low, high = _between_element_and_assembly(what, requirement.drop_of, assumptions, low, high, lost, assumed)
    return carried(
        points,
        low=low,
        high=high,
        estimate=_estimate(evidence, at, ~at.unplaced | taken, what.equals("element")),
        slack_low=np.where(other, 0.0, slack_of(here_low, low, evidence.slack, starts)),
        slack_high=np.where(other, 0.0, slack_of(here_high, high, evidence.slack, starts)),
        basis=np.where(as_stated, BASIS["as_stated"], BASIS["from_curve"]),
        lost=lost,
        assumed=assumed,
        inconsistent=empty,
    )


def _conditions(points: Points, requirement: Requirement, starts: IntArray) -> _Conditions:
    flow, flow_low, flow_high, no_flow = _asked(
        points.flow_l_min, requirement.flow_l_min, requirement.flow_l_min, starts
    )
    viscosity, thin, thick, no_viscosity = _asked(
        points.viscosity_mm2_s, requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s, starts
    )
    # One test is run in one oil: what one of its points states of density holds for all.
    own_density = _first_stated(points.density_kg_m3, starts)
    density, light, heavy, no_density = _asked(
        own_density, requirement.density_low_kg_m3, requirement.density_high_kg_m3, starts
    )
    here = np.logical_and.reduce(
        [
            near(column, limit, SAME_POINT)
            for column, limits in ((flow, (flow_low, flow_high)), (viscosity, (thin, thick)), (density, (light, heavy)))
            for limit in limits
        ]
    )
    return _Conditions(
        x=viscosity * density * flow,
        y=density * flow**2,
        here=here,
        unstated=no_flow | no_viscosity | no_density,
        # An oil's density varies little: for an estimate the required one may stand in.
        unplaced=no_flow | no_viscosity,
        # No maker tests in oil as thick as at a cold start without saying so.
        unlike=no_viscosity & requirement.cold,
        x_low=(thin * light * flow_low)[starts],
        x_high=(thick * heavy * flow_high)[starts],
        y_low=(light * flow_low**2)[starts],
        y_high=(heavy * flow_high**2)[starts],
    )


def _asked(
    column: FloatArray, low: float | FloatArray | None, high: float | FloatArray | None, starts: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """A condition of each point, the required one standing in where it is unstated; and that range."""
    wanted_low, wanted_high, unstated = asked_range(column, low, high, starts)
    return np.where(np.isnan(column), np.sqrt(wanted_low * wanted_high), column), wanted_low, wanted_high, unstated


def _first_stated(column: FloatArray, starts: IntArray) -> FloatArray:
    sizes = sizes_of(starts, len(column))
    rows = np.where(np.isfinite(column), np.arange(len(column)), len(column))
    first = np.minimum.reduceat(rows, starts)
    stated = np.where(first < len(column), column[np.minimum(first, len(column) - 1)], np.nan)
    return np.where(np.isnan(column), np.repeat(stated, sizes), column)


def _of_what(snapshot: Snapshot, test: IntArray) -> Coded:
    """Whether each test's drop is of an element or of an assembly, -1 where unstated."""
    return Coded(snapshot.tests.drop_of.codes[test], snapshot.tests.drop_of.words)


def _padded(column: FloatArray, starts: IntArray) -> FloatArray:
    """A column of points as (tests, most points of a test), NaN where a test has fewer."""
    sizes = sizes_of(starts, len(column))
    grid = np.full((len(starts), int(sizes.max())), np.nan)
    grid[np.repeat(np.arange(len(starts)), sizes), np.arange(len(column)) - np.repeat(starts, sizes)] = column
    return grid


def _over_polygon(
    evidence: Evidence, at: _Conditions, assumptions: Assumptions, of_element: BoolArray
) -> tuple[FloatArray, FloatArray, BoolArray, BoolArray]:
    """Least and greatest drop of each test, where nothing is possible, where the viscous share told."""
    starts = evidence.starts
    equal = evidence.points.qualifier.equals("equal")
    band = np.where(equal, np.maximum(evidence.points.band, BAND_AT_LEAST * evidence.points.value), 0.0)
    x, y = _padded(at.x, starts), _padded(at.y, starts)
    low = _padded(np.where(evidence.keep_low, evidence.low - band, -np.inf), starts)
    high = _padded(np.where(evidence.keep_high, evidence.high + band, np.inf), starts)
    target = (at.x_low, at.x_high, at.y_low, at.y_high)
    least, most, empty = drop_bounds(x, y, low, high, *target)
    # A test of which nothing is known shows nothing; that a drop is not negative is no evidence.
    proves = np.isfinite(np.where(np.isfinite(low), low, high)).any(axis=1)
    least = np.where(proves, least, -np.inf)
    share = assumptions.viscous_share_at_least
    if share is None:
        return least, most, empty, np.zeros(len(starts), bool)
    where = of_element[:, None] & np.isfinite(x) & np.isfinite(np.where(np.isfinite(low), low, high))
    shared_least, shared_most, contradicts = drop_bounds(x, y, low, high, *target, np.where(where, share, np.nan))
    told = ~contradicts & ~empty & where.any(axis=1) & ((shared_least > least) | (shared_most < most))
    return np.where(told, shared_least, least), np.where(told, shared_most, most), empty, told


def _between_element_and_assembly(
    what: Coded,
    wanted: str | None,
    assumptions: Assumptions,
    low: FloatArray,
    high: FloatArray,
    lost: IntArray,
    assumed: IntArray,
) -> tuple[FloatArray, FloatArray]:
    """An assembly's drop bounds its element's from above, an element's its assembly's from below.

    Marks ``lost`` and ``assumed`` in place.
    """
    if wanted is None:
        return low, high
    other = what.stated & ~what.equals(wanted)
    unstated = ~what.stated
    if assumptions.unstated_conditions_match:
        assumed[unstated] |= ASSUMPTION_BITS["unstated_conditions_match"]
        unstated = np.zeros_like(unstated)
    no_low = unstated | (other & (wanted == "element"))
    no_high = unstated | (other & (wanted == "assembly"))
    lost[no_low & np.isfinite(low) | no_high & np.isfinite(high)] |= LOST_TO_CONDITIONS
    lost[unstated & (np.isfinite(low) | np.isfinite(high))] |= LOST_UNSTATED
    return np.where(no_low, -np.inf, low), np.where(no_high, np.inf, high)


def _estimate(evidence: Evidence, at: _Conditions, placed: BoolArray, of_element: BoolArray) -> FloatArray:
    """The value at the required conditions; else a least-squares fit; else the worst value on file.

    Points ``placed`` have conditions, their own or assumed.
    """
    points, starts = evidence.points, evidence.starts
    estimate = evidence.estimate
    fitted = drop_estimate(
        _padded(np.where(placed, at.x, np.nan), starts),
        _padded(np.where(placed, at.y, np.nan), starts),
        _padded(np.where(placed, estimate, np.nan), starts),
        at.x_high,
        at.y_high,
        np.where(of_element, "viscous", "worse"),
    )
    told = points.qualifier.equals("equal") | points.qualifier.equals("about")
    here = np.fmax.reduceat(np.where(at.here & placed & told, estimate, np.nan), starts)
    worst = np.fmax.reduceat(estimate, starts)
    worst = np.where(np.logical_or.reduceat(at.unlike, starts), np.nan, worst)
    best = np.where(np.isfinite(here), here, np.where(np.isfinite(fitted), fitted, worst))
    return np.where(np.isfinite(points.value[starts]), best, np.nan)
