"""Kinematic viscosity of hydraulic oils: grades (ISO 3448), temperature (ASTM D341), viscosity index (ASTM D2270).

All viscosities are kinematic, in mm²/s; all temperatures in °C.
"""

from __future__ import annotations

import math
from typing import Any, overload

import numpy as np

from specdb.errors import ConditionsError
from specdb.trade.validity import FloatArray, Number, within_validity

ISO_VG = {
    2: 2.2, 3: 3.2, 5: 4.6, 7: 6.8, 10: 10.0, 15: 15.0, 22: 22.0, 32: 32.0, 46: 46.0, 68: 68.0,
    100: 100.0, 150: 150.0, 220: 220.0, 320: 320.0, 460: 460.0, 680: 680.0, 1000: 1000.0, 1500: 1500.0,
    2200: 2200.0, 3200: 3200.0,
}  # fmt: skip
"""Grade and its midpoint in mm²/s at 40 °C (ISO 3448:1992: 20 grades, each midpoint ± 10 %)."""

LOWEST_DEGC = -70.0
"""Lowest temperature taken: the cold end of the ASTM D341 charts (from memory)."""

HIGHEST_DEGC = 340.0
"""Highest temperature taken: up to it the charts are straight (ASTM D341, from memory)."""

LOWEST_MM2_S, HIGHEST_MM2_S = 0.21, 2e7
"""Viscosities the ASTM D341 equation covers (from memory)."""

LOWEST_NU100_MM2_S = 2.0
"""A viscosity index needs at least this viscosity at 100 °C (ASTM D2270, from memory)."""

_ABSOLUTE_ZERO_DEGC = -273.15


def grade_band(grade: int) -> tuple[float, float, float]:
    """Least, middle and greatest viscosity in mm²/s at 40 °C of an ISO VG grade (ISO 3448:1992, midpoint ± 10 %).

    Raises :class:`ConditionsError` for a number that is no grade.
    """
    if grade not in ISO_VG:
        raise ConditionsError(
            "There is no such ISO viscosity grade.",
            value=grade,
            remedy=f"The grades are {', '.join(str(known) for known in ISO_VG)}.",
        )
    middle = ISO_VG[grade]
    return middle * 9 / 10, middle, middle * 11 / 10


def walther_constants(nu1_mm2_s: float, t1_degc: float, nu2_mm2_s: float, t2_degc: float) -> tuple[float, float]:
    """``(A, B)`` of the line ``log log Z = A - B log T`` through two points (ASTM D341), T in K, decimal logarithms.

    ``Z = ν + 0.7 + exp(-1.47 - 1.84 ν - 0.51 ν²)``; the last term matters only below 2 mm²/s. Raises
    :class:`ConditionsError` as :func:`viscosity_at` does for the two points.
    """
    anchor, slope, log_t1 = _line(nu1_mm2_s, t1_degc, nu2_mm2_s, t2_degc)
    return float(anchor + slope * log_t1), float(slope)


def temperature_at(
    viscosity_mm2_s: float, nu1_mm2_s: float, t1_degc: float, nu2_mm2_s: float, t2_degc: float
) -> float | None:
    """Temperature in °C at which an oil of two known points has this viscosity (ASTM D341, solved for temperature).

    None where that lies outside what the equation covers, in viscosity or in temperature. Raises
    :class:`ConditionsError` as :func:`viscosity_at` does for the two points.
    """
    constant, slope = walther_constants(nu1_mm2_s, t1_degc, nu2_mm2_s, t2_degc)
    if not LOWEST_MM2_S <= viscosity_mm2_s <= HIGHEST_MM2_S:
        return None
    log_log_z = math.log10(math.log10(_z_of_viscosity(viscosity_mm2_s)))
    temperature = 10.0 ** ((constant - log_log_z) / slope) + _ABSOLUTE_ZERO_DEGC
    return temperature if LOWEST_DEGC <= temperature <= HIGHEST_DEGC else None


@overload
def viscosity_at(
    temperature_degc: float, nu1_mm2_s: float, t1_degc: float, nu2_mm2_s: float, t2_degc: float
) -> float: ...
@overload
def viscosity_at(
    temperature_degc: FloatArray,
    nu1_mm2_s: float | FloatArray,
    t1_degc: float | FloatArray,
    nu2_mm2_s: float | FloatArray,
    t2_degc: float | FloatArray,
) -> FloatArray: ...
@overload
def viscosity_at(
    temperature_degc: float, nu1_mm2_s: FloatArray, t1_degc: float, nu2_mm2_s: FloatArray, t2_degc: float
) -> FloatArray: ...
def viscosity_at(
    temperature_degc: float | FloatArray,
    nu1_mm2_s: float | FloatArray,
    t1_degc: float | FloatArray,
    nu2_mm2_s: float | FloatArray,
    t2_degc: float | FloatArray,
) -> float | FloatArray:
    """Viscosity in mm²/s at a temperature from the viscosities at two temperatures (ASTM D341).

    ``log log Z = A - B log T`` with ``Z = ν + 0.7 + exp(-1.47 - 1.84 ν - 0.51 ν²)``, which serves below 2 mm²/s too;
    Z is turned back into ν exactly, not by the standard's polynomial. Arrays broadcast.

    Raises :class:`ConditionsError` for a temperature outside -70 to 340 °C, a viscosity given or resulting outside
    0.21 to 2e7 mm²/s, or two points whose viscosity does not fall as temperature rises; where the offending
    value is an array's element the result there is NaN.
    """
    anchor, slope, log_t1 = _line(nu1_mm2_s, t1_degc, nu2_mm2_s, t2_degc)
    log_log_z = anchor + slope * (log_t1 - np.log10(_kelvin(temperature_degc)))
    # Beyond the highest viscosity the double power would overflow; 1 is already 1e10 mm²/s and is refused below.
    viscosity = _viscosity_of_z(10.0 ** (10.0 ** np.minimum(log_log_z, 1.0)))
    checked = _covered(viscosity)
    return checked if isinstance(checked, np.ndarray) else float(checked)


def _line(nu1: Any, t1: Any, nu2: Any, t2: Any) -> tuple[Any, Any, Any]:
    """``log log Z`` at the first point, the slope B, and ``log T`` at the first point."""
    falling = within_validity(
        nu1 - nu2,
        (nu1 - nu2) * (t2 - t1) > 0,
        "The viscosity of a liquid falls as its temperature rises; these two points do not.",
        "State two different temperatures, the higher with the lower viscosity.",
    )
    log_t1, log_t2 = np.log10(_kelvin(t1)), np.log10(_kelvin(t2))
    first, second = (np.log10(np.log10(_z_of_viscosity(_covered(nu)))) for nu in (nu1, nu2))
    # Adding 0 × the checked difference hands its NaN on to array elements whose points do not fall.
    slope = (first - second) / (log_t2 - log_t1 + 0.0 * falling)
    return first, slope, log_t1


def covered_temperature(temperature_degc: Number) -> Number:
    """The temperature itself. Raises :class:`ConditionsError` outside -70 to 340 °C; an array's are NaN there."""
    return within_validity(
        temperature_degc,
        (temperature_degc >= LOWEST_DEGC) & (temperature_degc <= HIGHEST_DEGC),
        "Viscosity cannot be carried to or from this temperature.",
        f"State a temperature from {LOWEST_DEGC:g} to {HIGHEST_DEGC:g} °C.",
    )


def _kelvin(temperature_degc: Any) -> Any:
    return covered_temperature(temperature_degc) - _ABSOLUTE_ZERO_DEGC


def _covered(nu_mm2_s: Any) -> Any:
    return within_validity(
        nu_mm2_s,
        (nu_mm2_s >= LOWEST_MM2_S) & (nu_mm2_s <= HIGHEST_MM2_S),
        "The viscosity-temperature equation does not cover a viscosity this low or high.",
        f"It serves from {LOWEST_MM2_S:g} to {HIGHEST_MM2_S:g} mm²/s.",
    )


def _z_of_viscosity(nu: Any) -> Any:
    return nu + 0.7 + np.exp(-1.47 - 1.84 * nu - 0.51 * nu * nu)


def _viscosity_of_z(z: Any) -> Any:
    """Newton's method from above: Z is convex and rising in ν, so it comes down on the root, quickly."""
    nu = z - 0.7
    for _ in range(8):
        bend = np.exp(-1.47 - 1.84 * nu - 0.51 * nu * nu)
        nu = nu - (nu + 0.7 + bend - z) / (1.0 - (1.84 + 1.02 * nu) * bend)
    return nu


def viscosity_index(nu40_mm2_s: float, nu100_mm2_s: float) -> float:
    """Viscosity index, not rounded, from the viscosities at 40 and 100 °C (ASTM D2270).

    Single numbers only. Raises :class:`ConditionsError` below 2 mm²/s at 100 °C, where the index is not defined, or
    unless the viscosity at 40 °C is finite and the higher.
    """
    if not nu100_mm2_s >= LOWEST_NU100_MM2_S:
        raise ConditionsError(
            "The viscosity index is not defined below 2 mm²/s at 100 °C.",
            value=nu100_mm2_s,
            remedy="State the viscosity at two temperatures instead.",
        )
    if not nu100_mm2_s < nu40_mm2_s < math.inf:
        raise ConditionsError(
            "The viscosity at 40 °C must be above the viscosity at 100 °C.",
            value=nu40_mm2_s,
            remedy="State both in mm²/s, the one at 40 °C first.",
        )
    return _index(nu40_mm2_s, nu100_mm2_s)


def _index(nu40_mm2_s: float, nu100_mm2_s: float) -> float:
    from chemicals.viscosity import viscosity_index as d2270_index  # as slow to load as seldom needed

    # chemicals takes m²/s and answers None below 2 mm²/s, which the product of two roundings must not fall to.
    index = d2270_index(nu40_mm2_s * 1e-6, max(nu100_mm2_s, LOWEST_NU100_MM2_S * (1 + 1e-15)) * 1e-6)
    if index is None:
        raise AssertionError("the viscosity at 100 °C was checked to be at least 2 mm²/s")
    return float(index)


def nu100_from_index(nu40_mm2_s: float, viscosity_index: float) -> float:
    """Viscosity in mm²/s at 100 °C that gives this viscosity index (ASTM D2270, solved backwards by bisection).

    Single numbers only. Raises :class:`ConditionsError` where that viscosity would be below 2 mm²/s, where the index
    is not defined, or would not be below the viscosity at 40 °C.
    """
    low, high = LOWEST_NU100_MM2_S, nu40_mm2_s * (1 - 1e-9)
    reachable = low < high < math.inf and _index(nu40_mm2_s, low) <= viscosity_index <= _index(nu40_mm2_s, high)
    if not reachable:
        raise ConditionsError(
            "No oil of at least 2 mm²/s at 100 °C has this viscosity index at this viscosity at 40 °C.",
            value=f"{viscosity_index:g} at {nu40_mm2_s:g} mm²/s",
            remedy="State the viscosity at two temperatures instead.",
        )
    while high - low > 1e-13 * high:
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if _index(nu40_mm2_s, middle) < viscosity_index:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def viscosity_band_at(temperature_degc: Number, grade: int, viscosity_index: float) -> tuple[Number, Number, Number]:
    """Least, middle and greatest viscosity in mm²/s of a grade at a temperature.

    The three viscosities of the grade's band at 40 °C (ISO 3448) each with the viscosity index (ASTM D2270), carried
    to the temperature (ASTM D341). Raises :class:`ConditionsError` as :func:`grade_band`, :func:`nu100_from_index`
    and :func:`viscosity_at` do; a temperature's array elements out of range give NaN.
    """
    low, middle, high = (
        viscosity_at(temperature_degc, nu40, 40.0, nu100_from_index(nu40, viscosity_index), 100.0)
        for nu40 in grade_band(grade)
    )
    return low, middle, high
