"""The requirements that follow from a duty, in plain Python: one rule after another, as docs/method.md has them.

Nothing here is shared with ``specdb.duty``: a duty comes in as plain data, as it would be typed, and a table of its own
reads the units. The viscosity of an oil over temperature (ASTM D341, D2270) is taken from ``specdb.trade.viscosity``,
which has checks of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from specdb.errors import ConditionsError
from specdb.trade.viscosity import nu100_from_index, viscosity_at

INF = math.inf
AIR_KPA = 101.325

# How many of the unit in which the method works each is.
UNITS = {
    "L/min": 1.0,
    "gpm": 3.785411784,
    "m^3/h": 1000 / 60,
    "kPa": 1.0,
    "bar": 100.0,
    "psi": 6.894757293168361,
    "MPa": 1000.0,
    "mm^2/s": 1.0,
    "mm2/s": 1.0,
    "cSt": 1.0,
    "kg/m^3": 1.0,
    "g/cm^3": 1000.0,
    "L": 1.0,
    "m^3": 1000.0,
    "g": 1.0,
    "kg": 1000.0,
    "g/h": 1.0,
    "mg/h": 0.001,
    "/min": 1.0,
    "/s": 60.0,
    "/h": 1 / 60,
    "h": 1.0,
    "d": 24.0,
    "%": 0.01,
    "um": 1.0,
    "mm": 1000.0,
}

MIDPOINTS = {10: 10.0, 15: 15.0, 22: 22.0, 32: 32.0, 46: 46.0, 68: 68.0, 100: 100.0, 150: 150.0}
WATER_BEARING = ("HFAE", "HFAS", "HFB", "HFC")
MINERAL_OILS = ("HH", "HL", "HM", "HR", "HV", "HG")
LOSS_OF_DENSITY = {
    **dict.fromkeys(MINERAL_OILS, (0.62, 0.7)),
    **dict.fromkeys(("HFAE", "HFAS"), (0.0, 0.7)),
    **dict.fromkeys(("HFB", "HFC"), (0.45, 0.9)),
    **dict.fromkeys(("HS", "HFDR", "HFDU", "HETG", "HEPG", "HEES", "HEPR"), (0.55, 0.9)),
}
"""kg/m³ that a class loses for each °C, at least and at most."""

WEIGHS_AT_15_DEGC = {
    "HFC": (1030.0, 1110.0), "HFDR": (1090.0, 1190.0), "HEES": (880.0, 960.0), "HEPR": (820.0, 890.0),
    "HS": (820.0, 1110.0),
}  # fmt: skip
"""kg/m³, at least and at most, of the classes that duties draw from and that are no mineral oils."""

MOST_BROUGHT_IN_AT_14 = {"assembly": 1e7, "manufacturing": 1e8, "mobile": 1e10}
"""Particles of 14 µm(c) and larger in a minute."""

# Particles per mL up to and including which a fluid has each scale number, from 0 on (ISO 4406:2021, table 1).
UP_TO = (
    0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64, 1.3, 2.5, 5, 10, 20, 40, 80, 160, 320, 640, 1300, 2500, 5000, 10_000,
    20_000, 40_000, 80_000, 160_000, 320_000, 640_000, 1_300_000, 2_500_000,
)  # fmt: skip

FIGURES: dict[str, float | str] = {
    "bypass_cracking": 0.1,
    "clean_drop_below_bypass": 1.0,
    "collapse": 1.5,
    "burst": 2.0,
    "suction_drop": AIR_KPA,
    "breather_particles": 3.0,
    "cleanliness": "upstream",
}
"""What a duty may set otherwise."""


class RefusedError(Exception):
    """The duty contradicts itself."""


@dataclass(frozen=True)
class Asked:
    """One requirement; names and units as those of ``specdb.duty.requirement``. ``rule`` is None where it is stated."""

    rule: str | None
    characteristic: str
    low: float = -INF
    high: float = INF
    word: str | None = None
    size_um: float | None = None
    scale: str | None = None
    flow_l_min: float | None = None
    viscosity_low_mm2_s: float | None = None
    viscosity_high_mm2_s: float | None = None
    density_low_kg_m3: float | None = None
    density_high_kg_m3: float | None = None
    terminal_pressure_drop_kpa: float | None = None
    cycle_pressure_kpa: float | None = None
    drop_of: str | None = None
    advisory: bool = False
    estimated: bool = False
    open: bool = False
    asked_of: tuple[str, ...] = ()
    cold: bool = False


# --- reading --------------------------------------------------------------------------------------


def number(stated: Any) -> float | None:
    """A quantity in the unit of the method, a plain number as it is."""
    if stated is None or isinstance(stated, int | float):
        return stated
    if isinstance(stated, Mapping):
        stated = f"{stated['value']!r} {stated['unit']}"
    figure, unit = stated.split(" ", 1)
    if unit == "degC":
        return float(figure)
    if unit == "degF":
        return (float(figure) - 32) / 1.8
    return float(figure) * UNITS[unit]


def absolute_kpa(stated: str | None) -> float | None:
    """A pressure that says it is absolute, or one that is told against the air's."""
    if stated is None:
        return None
    if stated.endswith(" abs"):
        return number(stated.removesuffix(" abs"))
    return AIR_KPA + (number(stated) or 0.0)


@dataclass(frozen=True)
class Drop:
    """Conditions at which a clean drop holds."""

    viscosity: tuple[float, float] | None
    density: tuple[float, float] | None
    cold: bool = False


class Machine:
    """What a duty says, in plain numbers; None where it says nothing."""

    def __init__(self, duty: Mapping[str, Any]) -> None:
        self.duty = duty
        self.fluid: Mapping[str, Any] = duty.get("fluid", {})
        self.fluid_class: str | None = self.fluid.get("class")
        self.location: str | None = duty.get("location")
        self.bypass: str | None = duty.get("bypass")
        self.temperature, self.coldest = self.of("operating_temperature"), self.of("cold_start_temperature")
        if self.temperature is not None and self.coldest is not None and self.coldest > self.temperature:
            raise RefusedError("a cold start above the temperature at work")
        if "density_temperature" in self.fluid and self.temperature is None:
            raise RefusedError("a density that is to be carried to a temperature at work, which is not stated")
        density = number(self.fluid.get("density"))
        if density is not None and not 500 <= density <= 2000:
            raise RefusedError("a density that no fluid has")
        if density is not None and self.coldest is not None and self.temperature is None:
            raise RefusedError("a density that cannot be carried to the coldest start from nowhere")
        self.flow = self.flow_through_the_filter()
        self.cracking, self.working = self.of("bypass_cracking_pressure"), self.of("working_pressure")
        self.full_flow = self.of("bypass_full_flow_drop")
        if self.full_flow is not None and (self.bypass == "none" or self.full_flow < (self.cracking or 0.0)):
            raise RefusedError("a valve that is not there, or takes less at full flow than where it opens")
        self.entering = self.particles_per_min()
        self.line = self.viscosities_at_two_temperatures()
        self.at_work = Drop(self.viscosity_at_work(), self.density_at(self.temperature))
        self.when_cold = Drop(self.viscosity_on_line(self.coldest), self.density_at(self.coldest), cold=True)

    def of(self, name: str) -> float | None:
        return number(self.duty.get(name))

    def flow_through_the_filter(self) -> float | None:
        pump, ratio, turnovers = self.of("pump_flow"), self.of("area_ratio"), self.of("turnovers_per_hour")
        stated = [
            self.of("flow"),
            None if pump is None else pump * (ratio or 1.0),
            None if turnovers is None else (self.of("reservoir_volume") or math.nan) * turnovers / 60,
        ]
        told = [flow for flow in stated if flow is not None]
        if len(told) > 1:
            raise RefusedError("the flow is stated twice")
        if ratio is not None and pump is None:
            raise RefusedError("an area ratio without the pump's flow")
        if ratio is not None and self.location not in (None, "return"):
            raise RefusedError("an area ratio away from a return line")
        return told[0] if told else None

    def viscosities_at_two_temperatures(self) -> list[tuple[float, float, float, float]] | None:
        """Thin and thick edge of what the oil may be, each as viscosity and temperature twice."""
        grade, points, index = self.fluid.get("grade"), self.fluid.get("points"), self.fluid.get("viscosity_index")
        if grade is not None and points is not None:
            raise RefusedError("two grades")
        if points is not None:
            stated = [tuple(map(number, point.split(" at "))) for point in points.split("; ")]
            if len(stated) == 2:
                return [(*stated[0], *stated[1])] * 2  # type: ignore[list-item]
            edges = [stated[0][0] or math.nan]
        elif grade is not None:
            midpoint = MIDPOINTS[int(grade.removeprefix("ISO VG "))]
            edges = [midpoint * 9 / 10, midpoint * 11 / 10]
        else:
            return None
        if index is None:
            return None
        lines = [(edge, 40.0, nu100_from_index(edge, index), 100.0) for edge in edges]
        return [lines[0], lines[-1]]

    def viscosity_on_line(self, temperature: float | None) -> tuple[float, float] | None:
        if self.line is None or temperature is None:
            return None
        try:
            thin, thick = (viscosity_at(temperature, *edge) for edge in self.line)
        except ConditionsError as error:
            raise RefusedError(str(error)) from None
        return thin, thick

    def viscosity_at_work(self) -> tuple[float, float] | None:
        stated = number(self.fluid.get("viscosity"))
        if stated is not None:
            return stated, stated
        if self.line is None and self.temperature == 40 and "grade" in self.fluid:
            midpoint = MIDPOINTS[int(self.fluid["grade"].removeprefix("ISO VG "))]
            return midpoint * 9 / 10, midpoint * 11 / 10
        return self.viscosity_on_line(self.temperature)

    def density_at(self, temperature: float | None) -> tuple[float, float] | None:
        stated, at = number(self.fluid.get("density")), number(self.fluid.get("density_temperature"))
        at = self.temperature if at is None else at
        if stated is not None:
            least = most = stated
        elif self.fluid_class is None or self.fluid_class in MINERAL_OILS:
            return None
        else:
            (least, most), at = WEIGHS_AT_15_DEGC[self.fluid_class], 15.0
        if at is None or temperature is None:
            return least, most
        gains = [loss * (at - temperature) for loss in LOSS_OF_DENSITY[self.fluid_class or "HM"]]
        return least + min(gains), most + max(gains)

    def particles_per_min(self) -> dict[int, float]:
        """What gets in of each size in µm(c) and larger, as far as it is told; an environment bounds it from above."""
        stated = self.duty.get("ingression", {})
        found = {size: number(stated[f"at_{size}"]) or 0.0 for size in (4, 6, 14) if f"at_{size}" in stated}
        if list(found.values()) != sorted(found.values(), reverse=True):
            raise RefusedError("more of the larger particles than of all")
        if "environment" in stated:
            if 14 in found:
                raise RefusedError("what gets in at 14 µm(c) is stated twice")
            found[14] = min([MOST_BROUGHT_IN_AT_14[stated["environment"]], *found.values()])
        return found

    def as_cold_as_known(self) -> tuple[Drop, bool]:
        """The coldest drop that can be told, and whether a colder one that is stated cannot be."""
        if self.coldest is None:
            return self.at_work, False
        known = self.when_cold.viscosity is not None
        return (self.when_cold if known else self.at_work), not known

    def has_bypass(self) -> bool:
        return self.bypass in ("element", "head", "both")


# --- the rules ------------------------------------------------------------------------------------


def clean_drop(rule: str, m: Machine, drop: Drop, high_kpa: float, advisory: bool = False) -> Iterator[Asked]:
    if m.location != "breather" and m.flow is not None and drop.viscosity is not None:
        yield Asked(
            rule,
            "clean_pressure_drop",
            high=high_kpa,
            flow_l_min=m.flow,
            viscosity_low_mm2_s=drop.viscosity[0],
            viscosity_high_mm2_s=drop.viscosity[1],
            density_low_kg_m3=None if drop.density is None else drop.density[0],
            density_high_kg_m3=None if drop.density is None else drop.density[1],
            drop_of="element",
            advisory=advisory,
            cold=drop.cold,
        )


def bypass_valve(m: Machine, _: Any) -> Iterator[Asked]:
    if m.location != "breather" and m.bypass is not None:
        yield Asked("bypass_valve", "bypass_valve", word="yes" if m.bypass in ("element", "both") else "no")


def bypass_cracking(m: Machine, within: float) -> Iterator[Asked]:
    if m.location != "breather" and m.bypass in ("element", "both") and m.cracking is not None:
        low, high = m.cracking * (1 - within), m.cracking * (1 + within)
        yield Asked("bypass_cracking", "bypass_cracking_pressure", low, high)


def clean_drop_below_bypass(m: Machine, share: float) -> Iterator[Asked]:
    if m.has_bypass() and m.cracking is not None:
        yield from clean_drop("clean_drop_below_bypass", m, m.at_work, share * m.cracking)


def cold_start_bypass(m: Machine, _: Any) -> Iterator[Asked]:
    if m.has_bypass() and m.cracking is not None and m.coldest is not None:
        yield from clean_drop("cold_start_bypass", m, m.when_cold, m.cracking, advisory=True)


def collapse(m: Machine, times: float) -> Iterator[Asked]:
    seen: float | None = None
    unknown = False
    if m.has_bypass():
        seen = m.full_flow
        if seen is None and m.cracking is not None:
            seen = times * m.cracking
    elif m.bypass == "none":
        most, line = m.of("maximum_pressure_drop"), [m.of("relief_pressure"), m.working]
        pressures = [pressure for pressure in line if pressure is not None]
        if m.location == "suction":
            seen = 100.0
        elif m.location == "pressure":
            seen = max([*pressures, most or 0.0]) if pressures else None
        else:
            seen = most
        unknown = seen is None and m.location is not None
    if m.location != "breather" and (seen is not None or unknown):
        yield Asked("collapse", "collapse_pressure", -INF if seen is None else seen, open=unknown)


def collapse_over_own_drop(m: Machine, _: Any) -> Iterator[Asked]:
    if m.bypass == "none":
        drop, colder = m.as_cold_as_known()
        for asked in clean_drop("collapse_over_own_drop", m, drop, INF):
            own = replace(asked, characteristic="collapse_over_own_drop", drop_of=None)
            yield replace(own, low=1.0)
            if colder:
                yield replace(own, open=True)


def envelope(m: Machine, _: Any) -> Iterator[Asked]:
    if m.location != "breather" and m.working is not None:
        yield Asked("envelope", "working_pressure", m.working, asked_of=("spin-on",))


def burst(m: Machine, times: float) -> Iterator[Asked]:
    if m.location != "breather" and m.working is not None:
        yield Asked("burst", "burst_pressure", times * m.working, asked_of=("spin-on",))


def pressure_fatigue(m: Machine, _: Any) -> Iterator[Asked]:
    cycles = m.of("pressure_cycles")
    if m.location != "breather" and m.working is not None and cycles is not None:
        yield Asked(
            "pressure_fatigue",
            "pressure_fatigue_cycles",
            cycles,
            cycle_pressure_kpa=m.working,
            asked_of=("spin-on",),
        )


def temperature_range(m: Machine, _: Any) -> Iterator[Asked]:
    if m.location == "breather":
        return
    if m.temperature is not None:
        yield Asked("temperature_range", "temperature_high", low=m.temperature)
    if m.coldest is not None:
        yield Asked("temperature_range", "temperature_low", high=m.coldest)


def seal_and_fluid(m: Machine, _: Any) -> Iterator[Asked]:
    if m.location != "breather" and m.fluid_class is not None:
        yield Asked("seal_and_fluid", "seal_compatibility", word=m.fluid_class)


def media_and_fluid(m: Machine, _: Any) -> Iterator[Asked]:
    if m.location != "breather" and m.fluid_class is not None:
        yield Asked("media_and_fluid", "media_compatibility", word=m.fluid_class)


def zinc_and_water(m: Machine, _: Any) -> Iterator[Asked]:
    if m.location != "breather" and m.fluid_class in WATER_BEARING:
        yield Asked("zinc_and_water", "zinc_parts", word="no")


def suction_drop(m: Machine, reservoir_kpa: float) -> Iterator[Asked]:
    inlet = absolute_kpa(m.duty.get("pump_inlet_pressure"))
    if m.location == "suction" and inlet is not None:
        drop, colder = m.as_cold_as_known()
        for asked in clean_drop("suction_drop", m, drop, reservoir_kpa - inlet):
            if inlet >= reservoir_kpa:
                raise RefusedError("a pump that asks for the reservoir's pressure or more")
            yield asked
            if colder:
                yield replace(asked, high=INF, open=True)


def breather_kind(m: Machine, _: Any) -> Iterator[Asked]:
    if m.location == "breather":
        yield Asked("breather_kind", "kind", word="breather")


def breather_air(m: Machine, _: Any) -> Iterator[Asked]:
    air, most = m.of("air_flow"), m.of("air_pressure_drop")
    if m.location == "breather" and air is not None and most is not None:
        yield Asked("breather_air", "air_pressure_drop", high=most, flow_l_min=air)


def breather_particles(m: Machine, size_um: float) -> Iterator[Asked]:
    if m.location == "breather":
        yield Asked("breather_particles", "air_particle_size", high=size_um)


def cleanliness(m: Machine, side: str) -> Iterator[Asked]:
    code = m.duty.get("target_cleanliness")
    if code is None or m.flow is None or m.location == "breather":
        return
    for size, scale_number in zip((4, 6, 14), code.split("/"), strict=True):
        if size not in m.entering or scale_number in ("-", "*", ">28") or not m.entering[size]:
            continue  # nothing is asked, or nothing gets in
        # As many as get in, for each one that passes with the flow at the count that is allowed.
        entering = m.entering[size] / (UP_TO[int(scale_number)] * m.flow * 1000)
        if side == "upstream" and entering >= 1:
            if size == 14 and "environment" in m.duty["ingression"]:
                continue  # less than the most may get in
            raise RefusedError("a target that no filtration ratio could hold")
        ratio = 1 / (1 - entering) if side == "upstream" else 1 + entering
        yield Asked(
            "cleanliness",
            "filtration_ratio",
            ratio,
            size_um=float(size),
            scale="c",
            flow_l_min=m.flow,
            estimated=True,
        )


def service_life(m: Machine, _: Any) -> Iterator[Asked]:
    interval, per_hour = m.of("service_interval"), number(m.duty.get("ingression", {}).get("mass"))
    if m.location != "breather" and interval is not None and per_hour:
        used = m.of("capacity_used")
        yield Asked(
            "service_life",
            "retained_capacity",
            interval * per_hour / (1.0 if used is None else used),
            flow_l_min=m.flow,
            terminal_pressure_drop_kpa=m.cracking,
            estimated=True,
        )


RULES = {
    rule.__name__: rule
    for rule in (
        bypass_valve,
        bypass_cracking,
        clean_drop_below_bypass,
        cold_start_bypass,
        collapse,
        collapse_over_own_drop,
        envelope,
        burst,
        pressure_fatigue,
        temperature_range,
        seal_and_fluid,
        media_and_fluid,
        zinc_and_water,
        suction_drop,
        breather_kind,
        breather_air,
        breather_particles,
        cleanliness,
        service_life,
    )
}


def figure_of(rule: str, switch: Any) -> Any:
    if switch is None or switch is True:
        return FIGURES.get(rule)
    if rule not in FIGURES:
        raise RefusedError(f"{rule} has no figure")
    if rule == "cleanliness":
        return switch
    if rule == "suction_drop" and not switch.endswith("abs"):
        raise RefusedError("a pressure over the reservoir that is not told against a vacuum")
    figure = absolute_kpa(switch) if rule == "suction_drop" else number(switch)
    if rule in ("collapse", "burst") and figure < 1:
        raise RefusedError("less than the pressure that it is a factor on")
    if rule in ("bypass_cracking", "clean_drop_below_bypass") and figure > 1:
        raise RefusedError("more than the whole cracking pressure")
    return figure


def stated(m: Machine) -> Iterator[Asked]:
    """What the duty says outright: conditions that a requirement leaves out are the duty's."""
    for asked in m.duty.get("require", []):
        key = asked["characteristic"]
        if m.location == "breather" and key in ("filtration_ratio", "retained_capacity", "clean_pressure_drop"):
            raise RefusedError("a breather that is to be judged by what is measured in liquid")
        found = Asked(None, key, low=number(asked.get("at_least", -INF)), high=number(asked.get("at_most", INF)))
        if key == "filtration_ratio":
            found = replace(found, size_um=number(asked["size"].removesuffix("(c)")), scale="c", flow_l_min=m.flow)
        elif key == "retained_capacity":
            found = replace(found, flow_l_min=m.flow, terminal_pressure_drop_kpa=m.cracking)
        elif key == "clean_pressure_drop":
            if m.at_work.viscosity is None and m.fluid.keys() & {"grade", "points"}:
                raise RefusedError("a drop of a fluid whose viscosity at work is not known")
            viscosity = m.at_work.viscosity or (None, None)
            density = m.at_work.density or (None, None)
            found = replace(
                found,
                flow_l_min=m.flow,
                viscosity_low_mm2_s=viscosity[0],
                viscosity_high_mm2_s=viscosity[1],
                density_low_kg_m3=density[0],
                density_high_kg_m3=density[1],
            )
        yield found
    if m.fluid_class is not None and m.location != "breather":
        yield Asked(None, "fluid_class", word=m.fluid_class)


def required(duty: Mapping[str, Any]) -> list[Asked]:
    """What is stated, and what follows by rules that are on. Raises RefusedError where the duty contradicts itself."""
    machine, switches = Machine(duty), duty.get("derive", {})
    found = list(stated(machine))
    if switches == "none":
        return found
    for name, rule in RULES.items():
        switch = None if switches == "all" else switches.get(name)
        if switch is not False:
            found += rule(machine, figure_of(name, switch))
    return found
