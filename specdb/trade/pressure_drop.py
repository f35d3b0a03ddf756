"""Clean pressure drop carried from test points to other flows, viscosities and densities.

The law is the two-term (Forchheimer) form ``drop = a * x + b * y`` with ``x = viscosity * density * flow``
(the viscous part, which alone is Darcy's law) and ``y = density * flow ** 2`` (the inertial part), where
``a, b >= 0`` belong to the element alone. Two terms of this form for sintered filters in air and water:
A. Lorenzi, *Meccanica*, 1975. That an element's drop goes with viscosity and flow and a housing's with
density and flow squared is common practice.

``a`` and ``b`` are never published, so the points of a test leave a polygon of possible ``(a, b)``; its
corners decide the least and the greatest drop at other conditions. Any consistent units serve, because
``a`` and ``b`` take up whatever ``x`` and ``y`` are in: a drop comes out in the unit the points' drops are in.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from specdb.errors import ConditionsError
from specdb.trade.validity import FloatArray

BoolArray = npt.NDArray[np.bool_]

ROUNDING = 1e-12
"""Relative slack of every side of the polygon: the rounding of float arithmetic and no more."""

TOUCHING = 1e-9
"""Relative slack within which points that would leave nothing are still taken to agree."""

SAME_DIRECTION = 1e-9
"""Two-term fits whose points all have the same ``x : y`` (to this sine squared) cannot tell ``a`` from ``b``."""

SINGLE_POINT_RULES = ("viscous", "worse")

CHUNK_ELEMENTS = 500_000
"""Elements of the largest intermediate array; bounds the memory for any number of tests."""


def drop_bounds(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    low: npt.ArrayLike,
    high: npt.ArrayLike,
    target_x_low: npt.ArrayLike,
    target_x_high: npt.ArrayLike,
    target_y_low: npt.ArrayLike,
    target_y_high: npt.ArrayLike,
    viscous_share: npt.ArrayLike | None = None,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Least and greatest drop at the target that the points of each test leave possible.

    Parameters (``n`` tests of at most ``m`` points, padded with NaN):

    - ``x``, ``y`` (n, m): the two terms at each point, above 0; NaN for an absent point.
    - ``low``, ``high`` (n, m): band of the drop at each point; NaN or an infinity for a side that is not there.
    - ``target_x_low``, ``target_x_high``, ``target_y_low``, ``target_y_high`` (n,): band of the two terms at the
      conditions asked for, 0 or above and finite. NaN in any of them makes that test's bounds NaN.
    - ``viscous_share`` (n, m): least share of ``a * x`` in the drop at that point, 0 to 1; NaN where none is assumed.

    Returns ``(least, greatest, empty)``, each (n,). ``greatest`` is inf where no point has an upper side.
    Where ``empty``, no ``(a, b)`` fits all points (within 1e-9 of each band) and the bounds are ``(-inf, inf)``.

    Raises :class:`ConditionsError` for a term that is not positive and finite, a target that is negative, infinite
    or has its low above its high, or a share outside 0 to 1.
    """
    points = _Points(x, y, low, high, viscous_share)
    given_targets = (target_x_low, target_x_high, target_y_low, target_y_high)
    targets = [_one_for_each(target, points.tests) for target in given_targets]
    _check_targets(*targets)
    least = np.empty(points.tests)
    greatest = np.empty(points.tests)
    empty = np.empty(points.tests, dtype=np.bool_)
    chunk = max(1, CHUNK_ELEMENTS // max(1, 2 * points.width**2))
    for start in range(0, points.tests, chunk):
        part = slice(start, start + chunk)
        least[part], greatest[part], empty[part] = _bounds_of_chunk(points, part, *(target[part] for target in targets))
    return least, greatest, empty


class _Points:
    """Checked points of many tests. An absent point has terms 1 and no sides; an absent side is an infinity."""

    def __init__(
        self,
        x: npt.ArrayLike,
        y: npt.ArrayLike,
        low: npt.ArrayLike,
        high: npt.ArrayLike,
        viscous_share: npt.ArrayLike | None,
    ):
        given_x, given_y, given_low, given_high = (np.asarray(part, dtype=np.float64) for part in (x, y, low, high))
        if given_x.ndim != 2 or not (given_x.shape == given_y.shape == given_low.shape == given_high.shape):
            raise ValueError("x, y, low and high must be arrays of one shape, (tests, points)")
        _check_terms(given_x, given_y)
        self.tests, self.width = given_x.shape
        absent = np.isnan(given_x) | np.isnan(given_y)
        self.x = np.where(absent, 1.0, given_x)
        self.y = np.where(absent, 1.0, given_y)
        self.low = np.where(absent | np.isnan(given_low), -np.inf, given_low)
        self.high = np.where(absent | np.isnan(given_high), np.inf, given_high)
        self.steepest = _steepest(given_x, given_y, viscous_share)


def _check_terms(x: FloatArray, y: FloatArray) -> None:
    for name, term in (("x", x), ("y", y)):
        bad = ~np.isnan(term) & ~((term > 0) & np.isfinite(term))
        if bad.any():
            raise ConditionsError(
                "Flow, viscosity and density of a pressure drop point must be above 0 and finite.",
                value=float(term[bad][0]),
                field=name,
                remedy="Leave the point out or state its conditions.",
            )


def _check_targets(x_low: FloatArray, x_high: FloatArray, y_low: FloatArray, y_high: FloatArray) -> None:
    for name, low, high in (("target_x", x_low, x_high), ("target_y", y_low, y_high)):
        bad = (low < 0) | np.isinf(low) | np.isinf(high) | (low > high)
        if bad.any():
            raise ConditionsError(
                "The conditions a pressure drop is carried to must be finite, not negative, and low before high.",
                value=(float(low[bad][0]), float(high[bad][0])),
                field=name,
                remedy="State flow, viscosity and density as finite numbers above 0.",
            )


def _one_for_each(value: npt.ArrayLike, tests: int) -> FloatArray:
    return np.broadcast_to(np.asarray(value, dtype=np.float64), (tests,))


def _steepest(x: FloatArray, y: FloatArray, viscous_share: npt.ArrayLike | None) -> FloatArray:
    """Greatest ``b / a`` the assumed shares allow, (n,): ``a x >= s (a x + b y)`` is ``b <= a x (1 - s) / (s y)``."""
    if viscous_share is None:
        return np.full(x.shape[0], np.inf)
    share = np.asarray(viscous_share, dtype=np.float64)
    bad = (share < 0) | (share > 1)
    if bad.any():
        raise ConditionsError(
            "A viscous share must lie between 0 and 1.", value=float(share[bad][0]), remedy="State a share such as 0.7."
        )
    with np.errstate(divide="ignore"):
        limit = x * (1 - share) / (share * y)
    steepest: FloatArray = np.where(np.isnan(limit), np.inf, limit).min(axis=1, initial=np.inf)
    return steepest


def _bounds_of_chunk(
    points: _Points, part: slice, x_low: FloatArray, x_high: FloatArray, y_low: FloatArray, y_high: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Bounds from the corners of each polygon.

    With the assumed share the possible ``(a, b)`` lie in a wedge from the axis ``b = 0`` to the ray
    ``b = steepest * a`` (the axis ``a = 0`` where none is assumed), and every band is a strip that cuts both rays.
    So each side of a band is a segment with one end on either ray, and the polygon's corners are the ends of these
    segments after clipping by all bands, and the origin. Clipping one segment at a time keeps nearly parallel
    sides harmless: no system of two equations is ever solved.
    """
    x, y, low, high = points.x[part], points.y[part], points.low[part], points.high[part]
    sides = np.concatenate([low, high], axis=1)
    drawn = np.isfinite(sides) & (sides > 0)
    length = np.where(drawn, sides, 1.0)
    start_a, end_a, end_b = _segment_ends(np.tile(x, 2), np.tile(y, 2), length, points.steepest[part, np.newaxis])

    at_start = start_a[:, :, np.newaxis] * x[:, np.newaxis, :]
    at_end = end_a[:, :, np.newaxis] * x[:, np.newaxis, :] + end_b[:, :, np.newaxis] * y[:, np.newaxis, :]
    first, last = _clip(at_start, at_end, low, high, ROUNDING)
    at_origin = (low <= 0).all(axis=1) & (high >= 0).all(axis=1)
    lost = ~at_origin & ~(drawn & (first <= last)).any(axis=1)
    if lost.any():
        first[lost], last[lost] = _clip(at_start[lost], at_end[lost], low[lost], high[lost], TOUCHING)
    kept = drawn & (first <= last)

    least = np.where(at_origin, 0.0, np.inf)
    greatest = np.where(at_origin, 0.0, -np.inf)
    low_start, low_end = _carried(start_a, end_a, end_b, x_low, y_low)
    high_start, high_end = _carried(start_a, end_a, end_b, x_high, y_high)
    for along in (first, last):
        to_low = low_start * (1 - along) + low_end * along
        to_high = high_start * (1 - along) + high_end * along
        least = np.minimum(least, np.where(kept, to_low, np.inf).min(axis=1, initial=np.inf))
        greatest = np.maximum(greatest, np.where(kept, to_high, -np.inf).max(axis=1, initial=-np.inf))
    empty = ~at_origin & ~kept.any(axis=1)
    # Both terms are positive at every point, so a single upper side closes the polygon in all directions.
    open_above = ~np.isfinite(high).any(axis=1) & ~empty
    greatest = np.where(open_above, np.inf, greatest)
    least = np.where(empty, -np.inf, least)
    greatest = np.where(empty, np.inf, greatest)
    unknown = np.isnan(x_low) | np.isnan(x_high) | np.isnan(y_low) | np.isnan(y_high)
    return np.where(unknown, np.nan, least), np.where(unknown, np.nan, greatest), empty


def _segment_ends(
    x: FloatArray, y: FloatArray, side: FloatArray, steepest: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Where ``a x + b y = side`` meets ``b = 0`` (its ``a``) and the ray ``b = steepest * a`` (its ``a`` and ``b``)."""
    with np.errstate(divide="ignore"):
        return side / x, side / (x + steepest * y), side / (x / steepest + y)


def _clip(
    at_start: FloatArray, at_end: FloatArray, low: FloatArray, high: FloatArray, slack: float
) -> tuple[FloatArray, FloatArray]:
    """The stretch of each segment, as fractions of its length, on which every point's drop is within its band.

    ``at_start`` and ``at_end`` (n, sides, m) are the drops at the points for the segment's two ends; the drop is
    linear between. Nothing is left where the first fraction is above the last.
    """
    first = np.zeros(at_start.shape[:2])
    last = np.ones(at_start.shape[:2])
    for limit, sign in ((high, 1.0), (low, -1.0)):
        edge = (limit + sign * slack * np.abs(limit))[:, np.newaxis, :]
        start_over = sign * (at_start - edge) > 0
        end_over = sign * (at_end - edge) > 0
        crossed = start_over != end_over
        crossing = np.where(crossed, edge - at_start, 0.0) / np.where(crossed, at_end - at_start, 1.0)
        enters = np.where(start_over, np.where(end_over, np.inf, crossing), 0.0)
        leaves = np.where(end_over & ~start_over, crossing, 1.0)
        first = np.maximum(first, enters.max(axis=2, initial=0.0))
        last = np.minimum(last, leaves.min(axis=2, initial=1.0))
    # A fraction that is not on the segment at all becomes a plain "nothing left".
    gone = first > last
    return np.where(gone, 1.0, first), np.where(gone, 0.0, last)


def _carried(
    start_a: FloatArray, end_a: FloatArray, end_b: FloatArray, target_x: FloatArray, target_y: FloatArray
) -> tuple[FloatArray, FloatArray]:
    return (
        start_a * target_x[:, np.newaxis],
        end_a * target_x[:, np.newaxis] + end_b * target_y[:, np.newaxis],
    )


def drop_estimate(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    value: npt.ArrayLike,
    target_x: npt.ArrayLike,
    target_y: npt.ArrayLike,
    single_point_rule: npt.ArrayLike,
) -> FloatArray:
    """Best estimate of the drop at the target: non-negative least squares on the relative error of each point.

    ``x``, ``y``, ``value`` are (n, m), padded with NaN; ``target_x``, ``target_y`` (n,), NaN in either makes that
    estimate NaN; returns (n,). ``single_point_rule`` is one of :data:`SINGLE_POINT_RULES` or (n,) of them, and
    serves where the points cannot tell the two terms apart (a single point, or all at one ``x : y``): ``"viscous"``
    puts the whole drop into ``a`` (an element: common practice), ``"worse"`` takes the larger of all in ``a`` and
    all in ``b`` (an assembly). A point whose drop is 0 or below has no relative error and takes no part; a test
    without points gives NaN.

    Raises :class:`ConditionsError` for a term that is not positive and finite, ``ValueError`` for an unknown rule.
    """
    given_x, given_y, drop = (np.asarray(part, dtype=np.float64) for part in (x, y, value))
    _check_terms(given_x, given_y)
    rule = np.broadcast_to(np.asarray(single_point_rule), given_x.shape[:1])
    if not np.isin(rule, SINGLE_POINT_RULES).all():
        raise ValueError(f"single_point_rule must be one of {SINGLE_POINT_RULES}")
    goal_x, goal_y = _one_for_each(target_x, len(rule)), _one_for_each(target_y, len(rule))
    _check_targets(goal_x, goal_x, goal_y, goal_y)

    used = ~np.isnan(given_x) & ~np.isnan(given_y) & (drop > 0)
    weight = np.where(used, drop, 1.0)
    p = np.where(used, given_x, 0.0) / weight
    q = np.where(used, given_y, 0.0) / weight
    pp, qq, pq = (p * p).sum(axis=1), (q * q).sum(axis=1), (p * q).sum(axis=1)
    p_sum, q_sum = p.sum(axis=1), q.sum(axis=1)
    some = used.any(axis=1)
    determinant = pp * qq - pq * pq
    apart = some & (determinant > SAME_DIRECTION * pp * qq)
    solvable = np.where(apart, determinant, 1.0)
    a = (qq * p_sum - pq * q_sum) / solvable
    b = (pp * q_sum - pq * p_sum) / solvable
    all_viscous = p_sum / np.where(some, pp, 1.0) * goal_x
    all_inertial = q_sum / np.where(some, qq, 1.0) * goal_y

    both = apart & (a >= 0) & (b >= 0)
    viscous_fits_better = p_sum**2 * qq >= q_sum**2 * pp
    one_term = np.where(viscous_fits_better, all_viscous, all_inertial)
    by_rule = np.where(rule == "worse", np.maximum(all_viscous, all_inertial), all_viscous)
    estimate = np.where(both, a * goal_x + b * goal_y, np.where(apart, one_term, by_rule))
    return np.where(some, estimate, np.nan)
