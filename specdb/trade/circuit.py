"""Sums of the place in the circuit: what flow passes an element, what drop it can see, what air a breather takes.

Nothing here is of a standard: the sums follow from the geometry and the balance of volumes, and what is custom says so.
"""

from __future__ import annotations

import math

import numpy as np

from specdb.errors import ConditionsError
from specdb.trade.validity import Number, within_validity

STANDARD_ATMOSPHERE_KPA = 101.325
"""Pressure over an open reservoir unless another is stated (standard atmosphere, by definition)."""

BYPASS_FULL_FLOW_FACTOR = 1.5
"""Drop over a bypass valve at full flow, over its cracking pressure, where the drop is not stated (common practice)."""

SUCTION_DROP_AT_MOST_KPA = 100.0
"""A pump draws with no more than the atmosphere behind it, so a suction element sees no more (common practice)."""


def area_ratio_of(bore_mm: Number, rod_mm: Number) -> Number:
    """Area ratio of a single-rod cylinder, ``D² / (D² - d²)``: full bore over the ring around the rod (geometry).

    Raises :class:`ConditionsError` unless the rod is thinner than the bore, both finite, and the rod not below 0 (0 is
    a cylinder with equal areas); array elements there give NaN.
    """
    bore = within_validity(
        bore_mm,
        np.isfinite(bore_mm) & (rod_mm >= 0) & (rod_mm < bore_mm),
        "The rod of a cylinder must be thinner than its bore.",
        "State both diameters, the bore the larger.",
    )
    return bore**2 / (bore**2 - rod_mm**2)


def return_flow_l_min(pump_flow_l_min: Number, area_ratio: float = 1.0) -> Number:
    """Greatest return flow in L/min of one cylinder that a pump retracts: pump flow × area ratio (geometry).

    The pump fills the ring around the rod while the full bore drains, so more comes back than the pump gives.

    Raises :class:`ConditionsError` for a ratio below 1 or not finite, or a flow that is negative or not finite (array
    elements there give NaN).
    """
    if not 1 <= area_ratio < math.inf:
        raise ConditionsError(
            "The area ratio of a cylinder is 1 or more.",
            value=area_ratio,
            field="area_ratio",
            remedy="State full bore area over ring area: 2 for a ratio of 2 : 1.",
        )
    return _not_negative(pump_flow_l_min, "flow") * area_ratio


def turnover_flow_l_min(reservoir_volume_l: Number, turnovers_per_hour: float) -> Number:
    """Flow in L/min that passes the volume of the reservoir so many times an hour: volume × turnovers / 60.

    Raises :class:`ConditionsError` unless turnovers are above 0 and finite, or for a volume that is negative or not
    finite (array elements there give NaN).
    """
    _above_zero(turnovers_per_hour, "number of turnovers")
    return _not_negative(reservoir_volume_l, "volume") * turnovers_per_hour / 60.0


def turnovers_per_hour_of(flow_l_min: Number, reservoir_volume_l: float) -> Number:
    """How often an hour a flow in L/min passes the volume of the reservoir: flow × 60 / volume.

    Raises :class:`ConditionsError` unless the volume is above 0 and finite, or for a flow that is negative or not
    finite (array elements there give NaN).
    """
    _above_zero(reservoir_volume_l, "volume of a reservoir")
    return _not_negative(flow_l_min, "flow") * 60.0 / reservoir_volume_l


def bypass_full_flow_drop_kpa(
    cracking_kpa: float | None, stated_kpa: float | None = None, factor: float = BYPASS_FULL_FLOW_FACTOR
) -> float | None:
    """Drop in kPa across an element whose bypass passes the full flow: what is stated, else ``factor`` × cracking
    pressure (common practice), else None.

    Raises :class:`ConditionsError` for a pressure that is not above 0 and finite, a factor below 1, or a drop at full
    flow below the cracking pressure, which no such valve has.
    """
    for pressure in (cracking_kpa, stated_kpa):
        if pressure is not None:
            _above_zero(pressure, "pressure of a bypass")
    if not 1 <= factor < math.inf:
        raise ConditionsError(
            "At full flow a bypass takes no less than its cracking pressure.",
            value=factor,
            field="factor",
            remedy="State a factor of 1 or more.",
        )
    if stated_kpa is None:
        return None if cracking_kpa is None else cracking_kpa * factor
    if cracking_kpa is not None and stated_kpa < cracking_kpa:
        raise ConditionsError(
            "The drop of a bypass at full flow cannot lie below its cracking pressure.",
            value=stated_kpa,
            remedy="Check both; full flow comes after cracking.",
        )
    return stated_kpa


def greatest_element_drop_kpa(
    location: str | None,
    *,
    stated_kpa: float | None = None,
    relief_kpa: float | None = None,
    cold_drop_kpa: float | None = None,
) -> float | None:
    """Greatest drop in kPa that an element without a bypass can see, by its place in the circuit; None where nothing
    stated bounds it (common practice).

    A ``pressure`` element that dirt or cold oil stops is pressed by what the relief valve lets through, ``relief_kpa``
    (the working pressure where no relief is known), by its own cold drop or by what is stated, whichever is largest; a
    ``suction`` element by the atmosphere at most; on a return or off-line only what is stated bounds it.
    """
    if location == "suction":
        return SUCTION_DROP_AT_MOST_KPA
    if location != "pressure":
        return stated_kpa
    if relief_kpa is None:
        return None
    return max(relief_kpa, cold_drop_kpa or 0.0, stated_kpa or 0.0)


def suction_drop_allowed_kpa(
    pump_inlet_kpa_absolute: float, reservoir_kpa_absolute: float = STANDARD_ATMOSPHERE_KPA
) -> float:
    """Drop in kPa left for the whole suction line: pressure over the reservoir less the least the pump's inlet may
    have, both absolute (balance of pressures; height and speed of the oil left out).

    Raises :class:`ConditionsError` where nothing is left, or for a pressure that is not above 0 and finite.
    """
    _above_zero(pump_inlet_kpa_absolute, "absolute pressure at a pump's inlet")
    _above_zero(reservoir_kpa_absolute, "absolute pressure over a reservoir")
    if not pump_inlet_kpa_absolute < reservoir_kpa_absolute:
        raise ConditionsError(
            "Nothing is left for the suction line: the pump asks for the reservoir's pressure or more.",
            value=pump_inlet_kpa_absolute,
            remedy="Check that both are absolute pressures; a pump that asks for more needs a charged inlet.",
        )
    return reservoir_kpa_absolute - pump_inlet_kpa_absolute


def rod_volume_l(rod_mm: float, stroke_mm: float) -> float:
    """Volume in L by which one stroke of a single-rod cylinder changes the oil in the reservoir: that of its rod,
    ``π d² / 4 × stroke`` (geometry). Raises :class:`ConditionsError` for a measure that is not above 0 and finite."""
    _above_zero(rod_mm, "diameter of a rod")
    _above_zero(stroke_mm, "stroke")
    return math.pi * rod_mm**2 / 4.0 * stroke_mm * 1e-6


def breather_air_flow_l_min(volume_change_l: float, within_min: float) -> float:
    """Air in L/min that a breather passes while the oil in the reservoir changes by a volume within a time: volume /
    time (balance of volumes). The fastest change counts.

    Raises :class:`ConditionsError` for a volume or a time that is not above 0 and finite.
    """
    _above_zero(volume_change_l, "change of volume")
    _above_zero(within_min, "time of a change")
    return volume_change_l / within_min


def breather_air_flow_of_cycles_l_min(volume_change_l: float, cycles_per_min: float) -> float:
    """Least that the fastest flow of air in L/min can be where the oil falls and rises by a volume once a cycle:
    volume × 2 × cycles (balance of volumes).

    The quicker of the two strokes takes half of a cycle at most; how much quicker it is, cycles do not tell.

    Raises :class:`ConditionsError` for a volume or a number of cycles that is not above 0 and finite.
    """
    _above_zero(cycles_per_min, "number of cycles")
    return breather_air_flow_l_min(volume_change_l, 0.5 / cycles_per_min)


def _not_negative(value: Number, what: str) -> Number:
    return within_validity(
        value,
        np.isfinite(value) & (value >= 0),
        f"A {what} cannot be negative.",
        f"State the {what} as a finite number.",
    )


def _above_zero(value: float, what: str) -> None:
    if not 0 < value < math.inf:
        raise ConditionsError(
            f"The {what} must be above 0 and finite.", value=value, remedy="Leave it out if it is not known."
        )
