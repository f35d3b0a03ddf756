"""How long an element lasts by the dirt it holds, and what that costs.

A balance of masses: an element that retains all dirt that enters the circuit is spent when its retained capacity, or
the share of it that is used, is full (common practice). A capacity is measured in a laboratory with test dust, at a
steady flow of one fluid; a machine's dirt, cycles and fluid differ. So a life worked out here is an estimate of what a
machine will see, however well the capacity is proven.

Bounds pass through: the interval rises with capacity, so each bound gives its own; costs fall with it, so the lower
bound of one gives the upper bound of the other.
"""

from __future__ import annotations

import math

import numpy as np

from specdb.errors import ConditionsError
from specdb.trade.validity import Number, within_validity

LABORATORY_CAPACITY = (
    "A retained capacity is measured in a laboratory with test dust, at a steady flow of one fluid. Life in a machine "
    "differs with its dirt, its flow and its fluid: it is estimated, never proven. Changing is by the differential "
    "pressure indicator and the machine maker's schedule, whichever comes first."
)
"""To be told wherever a life is worked out from a capacity (common practice)."""


def service_interval_h(capacity_g: Number, ingression_g_h: float, capacity_used: float = 1.0) -> Number:
    """Hours until the used share of a retained capacity is full: capacity × share / ingression (balance of masses).

    Without ingression it never fills: inf, which stands for "not bounded by dirt" and is no number of hours. A capacity
    with no upper bound (inf) gives an interval with none.

    Raises :class:`ConditionsError` for an ingression that is negative or not finite, a share outside 0 to 1 (0 left
    out), or a capacity below 0 or NaN (array elements there give NaN).
    """
    if not 0 <= ingression_g_h < math.inf:
        raise ConditionsError(
            "An ingression cannot be negative.",
            value=ingression_g_h,
            field="ingression_g_h",
            remedy="State the mass of dirt that enters each hour, 0 if there is none.",
        )
    used = _capacity(capacity_g) * _share(capacity_used)
    if ingression_g_h == 0:
        # What is not a capacity has no interval either, with or without ingression.
        return used + math.inf
    return used / ingression_g_h


def changed_after_h(interval_h: float, scheduled_h: float | None) -> float:
    """Hours after which an element is changed: when it is full, and by the schedule where one is stated, whichever
    comes first (common practice). NaN where the interval is NaN; inf where neither ends it.
    """
    if scheduled_h is None or math.isnan(interval_h):
        return interval_h
    return min(interval_h, scheduled_h)


def capacity_needed_g(interval_h: Number, ingression_g_h: float, capacity_used: float = 1.0) -> Number:
    """Retained capacity in g that an interval needs: interval × ingression / share used (balance of masses).

    Raises :class:`ConditionsError` for an ingression that is not above 0 and finite (without it no capacity is needed),
    a share outside 0 to 1 (0 left out), or an interval that is not above 0 and finite (array elements there give NaN).
    """
    if not 0 < ingression_g_h < math.inf:
        raise ConditionsError(
            "Without ingression an interval needs no capacity.",
            value=ingression_g_h,
            field="ingression_g_h",
            remedy="State the mass of dirt that enters each hour.",
        )
    interval = within_validity(
        interval_h,
        np.isfinite(interval_h) & (interval_h > 0),
        "A service interval must be above 0.",
        "State it in hours of work.",
    )
    return interval * ingression_g_h / _share(capacity_used)


def relative_bounds(low: float, high: float, other_low: float, other_high: float) -> tuple[float, float]:
    """Bounds on one positive quantity over another, each known to its bounds: ``low / other_high, high / other_low``.

    For capacities these are the bounds on how many times as long one element lasts as the other in the same circuit.
    A side that nothing bounds is 0 below and inf above.
    """
    least = low / other_high if other_high > 0 else math.inf
    most = high / other_low if other_low > 0 else math.inf
    return least, most


def cost_per_1000_h(interval_h: Number, price: float, change_cost: float = 0.0) -> Number:
    """Cost of 1,000 hours of work: (price + cost of a change) × 1000 / interval, in the currency of the price.

    The interval is the time after which the element is really changed (:func:`changed_after_h`). An unbounded one (inf)
    costs 0 as a bound: no lower bound but that. Falls as the interval grows.

    Raises :class:`ConditionsError` for a price or a cost of a change that is negative or not finite, or an
    interval not above 0 (array elements there give NaN).
    """
    if not 0 <= change_cost < math.inf:
        raise ConditionsError(
            "A change cannot cost less than nothing.",
            value=change_cost,
            field="change_cost",
            remedy="State labour, oil and disposal of one change, 0 if they are not to count.",
        )
    interval = within_validity(
        interval_h, interval_h > 0, "A service interval must be above 0.", "State it in hours of work."
    )
    return (_price(price) + change_cost) * 1000.0 / interval


def cost_per_gram(capacity_g: Number, price: float) -> Number:
    """Price over the grams of test dust that an element retains. Falls as the capacity grows.

    Raises :class:`ConditionsError` for a price that is negative or not finite, or a capacity not above 0 (array
    elements there give NaN).
    """
    capacity = within_validity(
        capacity_g, capacity_g > 0, "A retained capacity must be above 0.", "State it in grams of test dust."
    )
    return _price(price) / capacity


def _capacity(capacity_g: Number) -> Number:
    return within_validity(
        capacity_g, capacity_g >= 0, "A retained capacity cannot be negative.", "State it in grams of test dust."
    )


def _share(capacity_used: float) -> float:
    if not 0 < capacity_used <= 1:
        raise ConditionsError(
            "The share of a capacity that is used lies above 0 and up to 100 %.",
            value=capacity_used,
            field="capacity_used",
            remedy="State the share at which the element is changed, such as 80 %.",
        )
    return capacity_used


def _price(price: float) -> float:
    if not 0 <= price < math.inf:
        raise ConditionsError(
            "A price cannot be negative.", value=price, field="price", remedy="State what one element costs."
        )
    return price
