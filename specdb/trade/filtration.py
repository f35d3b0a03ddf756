"""Filtration ratio (β), efficiency, and reading one from a multi-pass curve.

β at a size is the count of particles larger than that size upstream over the count downstream; efficiency in
percent is ``100 (β - 1) / β`` (ISO 16889, multi-pass test). A β below 1 occurs in real data and is a negative
efficiency. For arrays, elements outside a function's range of validity come back as NaN.
"""

from __future__ import annotations

import math

import numpy as np

from specdb.errors import ConditionsError
from specdb.trade.validity import FloatArray, Number, within_validity

CUSTOMARY_PAIRS = {50.0: 2.0, 90.0: 10.0, 95.0: 20.0, 98.7: 75.0, 99.0: 100.0, 99.5: 200.0, 99.9: 1000.0}
"""Printed efficiency in percent and the β it stands for (common practice; "98.7 %" is β 75 rounded)."""

CUSTOMARY_RATIOS = tuple(CUSTOMARY_PAIRS.values())
"""The β that data sheets report sizes for (common practice)."""

SAME = 1e-9
"""Relative difference within which two numbers are taken for one."""


def beta_from_efficiency(efficiency_percent: Number) -> Number:
    """β of an efficiency in percent: ``100 / (100 - efficiency)``, from efficiency = 100 (β - 1) / β (ISO 16889).

    Raises :class:`ConditionsError` at 100 % and above, which no finite β has; array elements there give NaN.
    """
    efficiency = within_validity(
        efficiency_percent,
        np.isfinite(efficiency_percent) & (efficiency_percent < 100),
        "No finite filtration ratio has an efficiency of 100 % or more.",
        "State an efficiency below 100 %, or the filtration ratio itself.",
    )
    return 100.0 / (100.0 - efficiency)


def efficiency_from_beta(beta: Number) -> Number:
    """Efficiency in percent of a β: ``100 (β - 1) / β`` (ISO 16889). An infinite β gives 100 %.

    Raises :class:`ConditionsError` at or below 0; array elements there give NaN.
    """
    ratio = within_validity(beta, beta > 0, "A filtration ratio must be above 0.", "State a ratio of two counts.")
    return 100.0 - 100.0 / ratio


def ratio_from_counts(upstream_per_ml: Number, downstream_per_ml: Number) -> Number:
    """β from particle counts of one size, upstream over downstream (ISO 16889): 2000 over 1000 is β 2.

    Any one unit serves for both counts. Raises :class:`ConditionsError` unless both are above 0 (nothing counted
    downstream proves no ratio); array elements where they are not give NaN.
    """
    counted = (upstream_per_ml > 0) & (downstream_per_ml > 0) & np.isfinite(upstream_per_ml)
    downstream = within_validity(
        downstream_per_ml,
        counted & np.isfinite(downstream_per_ml),
        "A filtration ratio needs particles counted on both sides of the element.",
        "State both counts above 0.",
    )
    return upstream_per_ml / downstream


def customary_beta(efficiency_percent: float) -> float | None:
    """β that a customarily printed efficiency stands for (common practice), or None for any other efficiency."""
    for printed, beta in CUSTOMARY_PAIRS.items():
        if math.isclose(efficiency_percent, printed, rel_tol=SAME):
            return beta
    return None


def rounded_down_ratio(beta: float) -> float | None:
    """Largest of :data:`CUSTOMARY_RATIOS` up to ``beta`` (within 1e-9 relative), or None below the smallest."""
    reached = [ratio for ratio in CUSTOMARY_RATIOS if ratio <= beta * (1 + SAME)]
    return max(reached, default=None)


def efficiency_band(efficiency_percent: float, resolution_percent: float) -> tuple[float, float]:
    """Least and greatest β that print as this efficiency, half of the last printed digit both ways.

    ``resolution_percent`` is one step of the last printed digit: 0.1 for "98.7 %". The greatest is inf where the
    band reaches 100 %. Raises :class:`ConditionsError` above 100 % or for a resolution that is not above 0.
    """
    if not efficiency_percent <= 100:
        raise ConditionsError(
            "An efficiency cannot exceed 100 %.", value=efficiency_percent, remedy="State at most 100 %."
        )
    if not 0 < resolution_percent < math.inf:
        raise ConditionsError(
            "The last printed digit must be worth more than 0.",
            value=resolution_percent,
            remedy='State the step of the last digit, such as 0.1 for "98.7 %".',
        )
    half = resolution_percent / 2
    # The step of a printed digit is decimal, so "99.5" ± 0.5 must reach 100 although floats may fall short of it.
    reaches_all = efficiency_percent + half >= 100 * (1 - 1e-12)
    high = math.inf if reaches_all else beta_from_efficiency(efficiency_percent + half)
    return beta_from_efficiency(efficiency_percent - half), high


def interpolate_ratio(
    size_um: Number, size_below_um: Number, beta_below: Number, size_above_um: Number, beta_above: Number
) -> Number:
    """β at a size between two tested sizes: a straight line in log β over size, as on the semi-log plot that the
    multi-pass standard reads sizes from (ISO 16889; the plot's form from memory). All sizes on one scale.

    Raises :class:`ConditionsError` for a size outside the two (nothing is extrapolated), for tested sizes that are
    not in rising order, or a β that is not above 0 and finite; array elements there give NaN.
    """
    fraction = _fraction_of_the_way(size_um, size_below_um, size_above_um)
    low, high = _plottable(beta_below), _plottable(beta_above)
    # Powers rather than logarithms: exact at either tested size.
    ratio: Number = low ** (1.0 - fraction) * high**fraction
    return ratio


def size_at_ratio(
    beta: Number, size_below_um: Number, beta_below: Number, size_above_um: Number, beta_above: Number
) -> Number:
    """Size in µm at which β is reached between two tested sizes; the inverse of :func:`interpolate_ratio`.

    Raises :class:`ConditionsError` for a β outside the two (nothing is extrapolated), or unless size and β both
    rise; array elements there give NaN.
    """
    fraction = _fraction_of_the_way(
        _log(_plottable(beta)), _log(_plottable(beta_below)), _log(_plottable(beta_above)), what="filtration ratio"
    )
    above = within_validity(
        size_above_um,
        size_below_um < size_above_um,
        "The two tested sizes must differ and stand in rising order.",
        "State the smaller size first.",
    )
    return size_below_um * (1.0 - fraction) + above * fraction


def _log(value: Number) -> Number:
    if isinstance(value, np.ndarray):
        logarithm: FloatArray = np.log(value)
        return logarithm
    return math.log(value)


def _plottable(beta: Number) -> Number:
    return within_validity(
        beta,
        (beta > 0) & np.isfinite(beta),
        "A filtration ratio on a curve must be above 0 and finite.",
        "State ratios of two counts.",
    )


def _fraction_of_the_way(value: Number, below: Number, above: Number, what: str = "size") -> Number:
    inside = within_validity(
        value,
        (below < above) & (below <= value) & (value <= above),
        f"The {what} does not lie between the two tested points, and nothing is extrapolated.",
        "State two tested points in rising order, one on either side.",
    )
    return (inside - below) / (above - below)
