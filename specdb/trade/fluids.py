"""Hydraulic fluids by their class (ISO 6743-4): families, water in them, and density over temperature.

Densities are in kg/m³, temperatures in °C. A typical density is no measurement of the fluid in hand: the fluid's own
data sheet goes before every figure here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, overload

import numpy as np

from specdb.errors import ConditionsError
from specdb.trade.validity import FloatArray, Number, within_validity

Family = Literal["mineral", "fire-resistant", "environmentally acceptable"]

REFERENCE_DEGC = 15.0
"""Temperature at which data sheets customarily state a density (common practice)."""

LOWEST_DEGC, HIGHEST_DEGC = -70.0, 200.0
"""Temperatures to and from which a density is carried; far beyond those that a hydraulic fluid serves at (ours)."""

LEAST_KG_M3, MOST_KG_M3 = 500.0, 2000.0
"""Densities that a hydraulic fluid can have (ours)."""

CLASSES = "ISO 6743-4, from memory"
MINERAL_CLASSES = "ISO 11158, as ASTM D6158 has it"
ENVIRONMENTAL_CLASSES = "ISO 15380 (base fluid at least 70 % by mass); which base, from memory"
FIRE_RESISTANT_CLASSES = "ISO 12922, as reported of it, for water and phosphate ester; the rest from memory"


@dataclass(frozen=True)
class FluidClass:
    """One class of ISO 6743-4.

    ``water_over_percent`` is the share that its water typically exceeds, None for a class that bears none.
    ``density_kg_m3`` is the typical density at 15 °C between the least and the greatest that is common; None where the
    class leaves the base fluid open. ``falls_kg_m3_degc`` is how much less a warmer fluid weighs for each °C: least,
    usual, greatest. Both are common practice from memory.
    """

    key: str
    family: Family
    meaning: str
    source: str
    density_kg_m3: tuple[float, float, float] | None
    falls_kg_m3_degc: tuple[float, float, float]
    water_over_percent: float | None = None


# Mineral oil: 0.65 from memory; an independent oil laboratory's figures give 0.7; ASTM D1250, lubricating oils, gives
# 0.628 (0.6278 / density per °C, from memory).
_MINERAL = (0.62, 0.65, 0.70)
# Other oils and water-bearing fluids: from memory alone, and wide for that. Water itself falls faster as it warms.
_OTHER_OIL = (0.55, 0.70, 0.90)
_GLYCOL = (0.45, 0.65, 0.90)
_WATER = (0.0, 0.35, 0.70)

_MINERAL_OIL = (840.0, 870.0, 905.0)
_NEARLY_WATER = (980.0, 998.0, 1030.0)

FLUIDS: dict[str, FluidClass] = {
    fluid.key: fluid
    for fluid in (
        FluidClass("HH", "mineral", "mineral oil without additives", MINERAL_CLASSES, _MINERAL_OIL, _MINERAL),
        FluidClass("HL", "mineral", "HH with rust and oxidation inhibitors", MINERAL_CLASSES, _MINERAL_OIL, _MINERAL),
        FluidClass("HM", "mineral", "HL with anti-wear additives", MINERAL_CLASSES, _MINERAL_OIL, _MINERAL),
        FluidClass("HR", "mineral", "HL with a high viscosity index", CLASSES, _MINERAL_OIL, _MINERAL),
        FluidClass("HV", "mineral", "HM with a high viscosity index", MINERAL_CLASSES, _MINERAL_OIL, _MINERAL),
        FluidClass("HG", "mineral", "HM that keeps slideways from sticking", CLASSES, _MINERAL_OIL, _MINERAL),
        FluidClass(
            "HS", "mineral", "synthetic fluid of any base without fire resistance; stands with the mineral oils",
            CLASSES, None, _OTHER_OIL,
        ),
        FluidClass(
            "HFAE", "fire-resistant", "emulsion of oil in water", FIRE_RESISTANT_CLASSES, _NEARLY_WATER, _WATER, 80.0
        ),
        FluidClass(
            "HFAS", "fire-resistant", "solution of chemicals in water", FIRE_RESISTANT_CLASSES, _NEARLY_WATER, _WATER,
            80.0,
        ),
        FluidClass(
            "HFB", "fire-resistant", "emulsion of water in oil", FIRE_RESISTANT_CLASSES, (900.0, 930.0, 970.0),
            _GLYCOL, 40.0,
        ),
        FluidClass(
            "HFC", "fire-resistant", "polymer in water and glycol", FIRE_RESISTANT_CLASSES, (1030.0, 1080.0, 1110.0),
            _GLYCOL, 35.0,
        ),
        FluidClass(
            "HFDR", "fire-resistant", "phosphate ester", FIRE_RESISTANT_CLASSES, (1090.0, 1140.0, 1190.0), _OTHER_OIL
        ),
        FluidClass(
            "HFDU", "fire-resistant", "anhydrous fluid of another base, most often an ester", FIRE_RESISTANT_CLASSES,
            (890.0, 920.0, 1060.0), _OTHER_OIL,
        ),
        FluidClass(
            "HETG", "environmentally acceptable", "vegetable oil", ENVIRONMENTAL_CLASSES, (900.0, 920.0, 935.0),
            _OTHER_OIL,
        ),
        FluidClass(
            "HEPG", "environmentally acceptable", "polyglycol", ENVIRONMENTAL_CLASSES, (980.0, 1040.0, 1110.0),
            _OTHER_OIL,
        ),
        FluidClass(
            "HEES", "environmentally acceptable", "synthetic ester", ENVIRONMENTAL_CLASSES, (880.0, 920.0, 960.0),
            _OTHER_OIL,
        ),
        FluidClass(
            "HEPR", "environmentally acceptable", "polyalphaolefin and related hydrocarbons", ENVIRONMENTAL_CLASSES,
            (820.0, 850.0, 890.0), _OTHER_OIL,
        ),
    )
}  # fmt: skip
"""By key, in the order of the standard."""


def fluid_of(fluid_class: str) -> FluidClass:
    """The class that ``fluid_class`` names. Raises :class:`ConditionsError` where there is none of that name."""
    if fluid_class not in FLUIDS:
        raise ConditionsError(
            "There is no such fluid class.", value=fluid_class, remedy=f"ISO 6743-4 has {', '.join(FLUIDS)}."
        )
    return FLUIDS[fluid_class]


def family_of(fluid_class: str) -> Family:
    """Mineral, fire-resistant or environmentally acceptable. Raises as :func:`fluid_of`."""
    return fluid_of(fluid_class).family


def is_water_bearing(fluid_class: str) -> bool:
    """Whether water is a main part of the class (ISO 12922, as reported of it). Raises as :func:`fluid_of`."""
    return fluid_of(fluid_class).water_over_percent is not None


def density_at(
    density_kg_m3: float, stated_at_degc: float, temperature_degc: float, fluid_class: str
) -> tuple[float, float, float]:
    """Least, usual and greatest density in kg/m³ at a temperature, from the density stated at another.

    ρ(t) = ρ(s) - c (t - s), with the range of c that is common for the class (common practice, from memory). Raises
    :class:`ConditionsError` for an unknown class, a temperature outside -70 to 200 °C, or a density, stated or
    resulting, that no hydraulic fluid has.
    """
    fluid = fluid_of(fluid_class)
    warmer = _covered(temperature_degc) - _covered(stated_at_degc)
    found = sorted(possible_density(density_kg_m3) - falls * warmer for falls in fluid.falls_kg_m3_degc)
    for each in found:
        possible_density(each)
    return found[0], found[1], found[2]


@overload
def density_band_at(
    low_kg_m3: float, high_kg_m3: float, stated_at_degc: float, temperature_degc: float, fluid_class: str
) -> tuple[float, float]: ...
@overload
def density_band_at(
    low_kg_m3: float, high_kg_m3: float, stated_at_degc: float, temperature_degc: FloatArray, fluid_class: str
) -> tuple[FloatArray, FloatArray]: ...
def density_band_at(
    low_kg_m3: float, high_kg_m3: float, stated_at_degc: float, temperature_degc: float | FloatArray, fluid_class: str
) -> tuple[float | FloatArray, float | FloatArray]:
    """Least and greatest density in kg/m³ at a temperature of a fluid that weighs between two figures at another.

    As :func:`density_at` with the whole range of c; an array's elements that it would refuse are NaN.
    """
    wanted: Any = temperature_degc
    colder = _covered(stated_at_degc) - _covered(wanted)
    least, _, most = fluid_of(fluid_class).falls_kg_m3_degc
    low: Any = possible_density(low_kg_m3) + np.minimum(least * colder, most * colder)
    high: Any = possible_density(high_kg_m3) + np.maximum(least * colder, most * colder)
    if isinstance(temperature_degc, np.ndarray):
        return possible_density(low), possible_density(high)
    return possible_density(float(low)), possible_density(float(high))


def typical_density(fluid_class: str, temperature_degc: float = REFERENCE_DEGC) -> tuple[float, float, float] | None:
    """Least, usual and greatest density in kg/m³ that is common in a class; None where it leaves its base fluid open.

    Common practice, from memory. Raises as :func:`density_at`.
    """
    common = fluid_of(fluid_class).density_kg_m3
    if common is None:
        return None
    low, usual, high = (density_at(each, REFERENCE_DEGC, temperature_degc, fluid_class) for each in common)
    return low[0], usual[1], high[2]


def weighs_as_mineral_oil(fluid_class: str) -> bool:
    """Whether what is common in the class is mineral oil's own range. Raises as :func:`fluid_of`."""
    return fluid_of(fluid_class).density_kg_m3 == _MINERAL_OIL


def common_densities(fluid_class: str) -> tuple[float, float]:
    """Least and greatest density in kg/m³ at 15 °C that is common in a class (common practice, from memory).

    A class that leaves its base fluid open may be of any base that bears no water and resists no fire: the widest range
    of those classes (ours). Raises as :func:`fluid_of`.
    """
    own = fluid_of(fluid_class).density_kg_m3
    bases = [each.density_kg_m3 for each in FLUIDS.values() if each.family != "fire-resistant" and each.density_kg_m3]
    ranges = bases if own is None else [own]
    return min(low for low, _, _ in ranges), max(high for _, _, high in ranges)


def possible_density(density_kg_m3: Number) -> Number:
    """The density itself. Raises :class:`ConditionsError` for one that no hydraulic fluid has; an array's is NaN."""
    return within_validity(
        density_kg_m3,
        (density_kg_m3 >= LEAST_KG_M3) & (density_kg_m3 <= MOST_KG_M3),
        "No hydraulic fluid has this density.",
        f"State a density from {LEAST_KG_M3:g} to {MOST_KG_M3:g} kg/m³.",
    )


def _covered(temperature_degc: Number) -> Number:
    return within_validity(
        temperature_degc,
        (temperature_degc >= LOWEST_DEGC) & (temperature_degc <= HIGHEST_DEGC),
        "A density cannot be carried to or from this temperature.",
        f"State a temperature from {LOWEST_DEGC:g} to {HIGHEST_DEGC:g} °C.",
    )
