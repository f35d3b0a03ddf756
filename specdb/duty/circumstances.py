"""What a duty says of the machine, read: plain numbers in canonical units, None where nothing is stated or known."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import overload

from specdb.trade.cleanliness import CleanlinessCode
from specdb.trade.fluids import density_band_at
from specdb.trade.validity import FloatArray
from specdb.trade.viscosity import temperature_at, viscosity_at

Point = tuple[float, float]
"""A viscosity in mm²/s and its temperature in °C."""


@dataclass(frozen=True)
class FluidLine:
    """Viscosity of a fluid over temperature (ASTM D341): the thin and the thick edge of what it may be, each through
    two points. An oil of which two points are stated has one line for both."""

    thin: tuple[Point, Point]
    thick: tuple[Point, Point]

    def viscosity_at(self, temperature_degc: float) -> tuple[float, float]:
        """Least and greatest viscosity in mm²/s. Raises ConditionsError beyond the equation's range."""
        least, greatest = (viscosity_at(temperature_degc, *first, *second) for first, second in (self.thin, self.thick))
        return least, greatest

    def temperature_of(self, viscosity_mm2_s: float) -> float | None:
        """Temperature in °C at which the thick edge has this viscosity, None beyond the equation's range."""
        return temperature_at(viscosity_mm2_s, *self.thick[0], *self.thick[1])


@dataclass(frozen=True)
class FluidDensity:
    """Density of a fluid over temperature: between two figures at one, and its class tells what it loses as it warms.
    A fluid whose density is stated has one figure for both."""

    low_kg_m3: float
    high_kg_m3: float
    at_degc: float
    fluid_class: str

    @overload
    def density_at(self, temperature_degc: float) -> tuple[float, float]: ...
    @overload
    def density_at(self, temperature_degc: FloatArray) -> tuple[FloatArray, FloatArray]: ...
    def density_at(
        self, temperature_degc: float | FloatArray
    ) -> tuple[float, float] | tuple[FloatArray, FloatArray]:
        """Least and greatest density in kg/m³. Raises ConditionsError beyond what it can be carried to."""
        return density_band_at(self.low_kg_m3, self.high_kg_m3, self.at_degc, temperature_degc, self.fluid_class)


@dataclass(frozen=True)
class Price:
    """Price of one element, named by its number and perhaps its maker."""

    maker: str | None
    number: str
    price: float


@dataclass(frozen=True)
class Costs:
    """All in one ``currency``, a word that nothing is read from."""

    currency: str | None = None
    change_cost: float | None = None
    prices: tuple[Price, ...] = ()


@dataclass(frozen=True)
class Circumstances:
    """``flow_l_min`` is the flow through the filter. Viscosities and densities are (least, greatest) at the operating
    temperature and at the coldest start, a density None where none is asked; ``fluid_density`` is None as well where
    one is stated at no temperature; ``bypass_full_flow_kpa`` what is stated. ``ingression_per_min`` counts particles of
    a size in µm(c) and larger; where ``environment`` is stated, at 14 µm(c) the most that may get in. ``capacity_used``
    is a share from 0 to 1."""

    flow_l_min: float | None = None
    fluid_class: str | None = None
    fluid_line: FluidLine | None = None
    operating_degc: float | None = None
    cold_start_degc: float | None = None
    viscosity_mm2_s: tuple[float, float] | None = None
    cold_viscosity_mm2_s: tuple[float, float] | None = None
    fluid_density: FluidDensity | None = None
    density_kg_m3: tuple[float, float] | None = None
    cold_density_kg_m3: tuple[float, float] | None = None
    working_pressure_kpa: float | None = None
    relief_pressure_kpa: float | None = None
    location: str | None = None
    bypass: str | None = None
    bypass_cracking_kpa: float | None = None
    bypass_full_flow_kpa: float | None = None
    maximum_drop_kpa: float | None = None
    pressure_cycles: float | None = None
    pump_inlet_kpa_absolute: float | None = None
    reservoir_volume_l: float | None = None
    turnovers_per_hour: float | None = None
    air_flow_l_min: float | None = None
    air_pressure_drop_kpa: float | None = None
    target: CleanlinessCode | None = None
    target_typed: str | None = None
    ingression_per_min: dict[float, float] = field(default_factory=dict)
    environment: str | None = None
    ingression_g_h: float | None = None
    service_interval_h: float | None = None
    capacity_used: float = 1.0
    costs: Costs = Costs()
