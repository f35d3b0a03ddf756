"""Random duties, typed as people type them, whose figures fall on and about those of the random catalogues."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

Duty = dict[str, Any]

# Units and how many of the first each is, exact by definition.
UNITS = {
    "flow": {"L/min": 1.0, "gpm": 3.785411784, "m^3/h": 1000 / 60},
    "pressure": {"kPa": 1.0, "bar": 100.0, "psi": 6.894757293168361, "MPa": 1000.0},
    "viscosity": {"mm^2/s": 1.0, "cSt": 1.0},
    "density": {"kg/m^3": 1.0, "g/cm^3": 1000.0},
    "volume": {"L": 1.0, "m^3": 1000.0},
    "mass_rate": {"g/h": 1.0, "mg/h": 0.001},
    "count_rate": {"/min": 1.0, "/s": 60.0, "/h": 1 / 60},
    "time": {"h": 1.0, "d": 24.0},
}

KINDS = {
    "flow": "flow",
    "pump_flow": "flow",
    "working_pressure": "pressure",
    "relief_pressure": "pressure",
    "bypass_cracking_pressure": "pressure",
    "bypass_full_flow_drop": "pressure",
    "maximum_pressure_drop": "pressure",
    "reservoir_volume": "volume",
    "air_flow": "flow",
    "air_pressure_drop": "pressure",
    "service_interval": "time",
    "operating_temperature": "temperature",
    "cold_start_temperature": "temperature",
    "fluid.viscosity": "viscosity",
    "fluid.density": "density",
    "fluid.density_temperature": "temperature",
    "ingression.at_4": "count_rate",
    "ingression.at_6": "count_rate",
    "ingression.at_14": "count_rate",
    "ingression.mass": "mass_rate",
    "capacity_used": "percent",
}
"""Kind of quantity of each field that is one."""

VALUES: dict[str, tuple[Any, ...]] = {
    "working_pressure": (250.0, 500.0, 1000.0),
    "relief_pressure": (995.0, 1000.0, 2000.0),
    "bypass_cracking_pressure": (25.0, 200.0, 500.0, 1000.0),
    "maximum_pressure_drop": (500.0, 1000.0, 1003.0),
    "pressure_cycles": (1e4, 1e5),
    "air_flow": (95.0, 100.0),
    "air_pressure_drop": (2.0, 5.0),
    "service_interval": (500.0, 1000.0),
    "operating_temperature": (40.0, 50.0, 80.0, 100.0),
    "cold_start_temperature": (-30.0, -10.0, 20.0),
    "capacity_used": (50.0, 80.0, 100.0),
    "target_cleanliness": ("19/17/14", "18/16/13", "-/17/14", "19/-/-"),
    "bypass": ("element", "head", "both", "none", "none"),
    "location": ("suction", "pressure", "return", "off-line", "breather"),
    "pump_inlet_pressure": ("76.325 kPa abs", "-25 kPa", "-0.25 bar", "0.8 bar abs"),
}

FLOWS: tuple[Duty, ...] = (
    {"flow": 100.0},
    {"flow": 105.0},
    {"flow": 60.0},
    {"pump_flow": 100.0},
    {"pump_flow": 50.0, "area_ratio": 2.0},
    {"reservoir_volume": 1000.0, "turnovers_per_hour": 6.0},
)

FLUIDS: tuple[Duty, ...] = (
    {"viscosity": 32.0},
    {"grade": "ISO VG 32", "viscosity_index": 100},
    {"grade": "ISO VG 46", "viscosity_index": 120.0},
    {"grade": "ISO VG 46", "viscosity_index": 100, "viscosity": 32.0},
    {"grade": "ISO VG 32"},
    {"points": "46 mm2/s at 40 degC; 6.8 mm2/s at 100 degC"},
    {"points": "32 cSt at 40 degC", "viscosity_index": 100},
    {"points": "32 mm2/s at 104 degF; 5.4 mm2/s at 212 degF", "viscosity": 30.0},
)

FIGURES: dict[str, tuple[Any, ...]] = {
    "bypass_cracking": ("5 %", "20 %"),
    "clean_drop_below_bypass": ("5 %", "50 %", "100 %"),
    "collapse": (2, 1.0, 4.0),
    "burst": (4, 2.5),
    "suction_drop": ("90 kPa abs", "101.325 kPa abs"),
    "breather_particles": ("5 um", "0.005 mm"),
    "cleanliness": ("downstream", "upstream"),
}

RULES = (
    "bypass_valve", "bypass_cracking", "clean_drop_below_bypass", "cold_start_bypass", "collapse",
    "collapse_over_own_drop", "envelope", "burst", "pressure_fatigue", "temperature_range", "seal_and_fluid",
    "media_and_fluid", "zinc_and_water", "suction_drop", "breather_kind", "breather_air", "breather_particles",
    "cleanliness", "service_life",
)  # fmt: skip

STATED: tuple[Duty, ...] = (
    {"characteristic": "filtration_ratio", "at_least": 75, "size": "14 um(c)"},
    {"characteristic": "retained_capacity", "at_least": "60 g"},
    {"characteristic": "clean_pressure_drop", "at_most": "25 kPa"},
    {"characteristic": "collapse_pressure", "at_least": "10 bar"},
)
"""Requirements beside which a rule may set another of the same characteristic."""

CORNERS: tuple[Duty, ...] = (
    # There are no more of 14 µm(c) and larger than of 6 µm(c) and larger, whatever the environment may bring.
    {
        "flow": "100 L/min",
        "target_cleanliness": "-/17/14",
        "ingression": {"at_6": "1e5 /min", "environment": "assembly"},
    },
    # Less than the most may get in: no ratio holds that, and none is asked.
    {"flow": "100 L/min", "target_cleanliness": "-/-/13", "ingression": {"environment": "mobile"}},
    # Neither the relief setting nor the pressure of the line is stated.
    {"bypass": "none", "location": "pressure"},
    # What is stated bounds the drop wherever the filter is.
    {"bypass": "none", "maximum_pressure_drop": "5 bar"},
    # Neither a limit at 4 µm(c) nor an ingression at 6: there nothing is asked.
    {"flow": "100 L/min", "target_cleanliness": ">28/16/13", "ingression": {"at_4": "1e9 /min", "at_14": "1e5 /min"}},
    # No dirt asks for no capacity and no ratio.
    {
        "flow": "100 L/min",
        "target_cleanliness": "19/17/14",
        "ingression": {"at_14": "0 /min", "mass": "0 g/h"},
        "service_interval": "1000 h",
    },
    # Nothing that is measured in liquid is asked of a breather.
    {
        "location": "breather",
        "flow": "100 L/min",
        "fluid": {"viscosity": "32 mm2/s", "class": "HFC"},
        "bypass": "both",
        "bypass_cracking_pressure": "5 kPa",
        "target_cleanliness": "19/17/14",
        "ingression": {"at_14": "1e5 /min", "mass": "0.05 g/h"},
        "service_interval": "1000 h",
    },
    # What is common of the class is asked, at 15 °C where no temperature is stated.
    {
        "flow": "75 L/min",
        "fluid": {"viscosity": "32 mm2/s", "class": "HFDR"},
        "bypass": "element",
        "bypass_cracking_pressure": "25 kPa",
    },
    # A stated density goes before it, and is a band where it is carried to.
    {
        "flow": "75 L/min",
        "fluid": {
            "points": "46 mm2/s at 40 degC; 9 mm2/s at 100 degC",
            "class": "HFC",
            "density": "1080 kg/m^3",
            "density_temperature": "20 degC",
        },
        "operating_temperature": "50 degC",
        "cold_start_temperature": "-10 degC",
        "bypass": "head",
        "bypass_cracking_pressure": "200 kPa",
    },
    # A grade at 40 °C needs no index, but when cold it does.
    {
        "flow": "100 L/min",
        "fluid": {"grade": "ISO VG 46", "density": "870 kg/m^3"},
        "operating_temperature": "40 degC",
        "cold_start_temperature": "0 degC",
        "bypass": "head",
        "bypass_cracking_pressure": "200 kPa",
    },
)
"""Duties at which a rule turns a corner."""

CONTRADICTIONS: tuple[Duty, ...] = (
    {"operating_temperature": "20 degC", "cold_start_temperature": "20.1 degC"},
    {"flow": "100 L/min", "pump_flow": "100 L/min"},
    {"flow": "100 L/min", "reservoir_volume": "1000 L", "turnovers_per_hour": 6},
    {"area_ratio": 2, "pump_flow": None},
    {"fluid": {"grade": "ISO VG 46", "viscosity_index": 100, "points": "46 mm2/s at 40 degC; 7 mm2/s at 100 degC"}},
    {"flow": "100 L/min", "location": "return", "target_cleanliness": "10/9/8", "ingression": {"at_14": "1e9 /min"}},
    {"ingression": {"at_4": "1e5 /min", "at_14": "1e6 /min"}},
    {"ingression": {"at_14": "1e6 /min", "environment": "assembly"}},
    {"fluid": {"density": "5000 kg/m^3"}, "flow": "100 L/min"},
    {"fluid": {"density": "870 kg/m^3"}, "cold_start_temperature": "0 degC"},
    {"bypass": "none", "bypass_full_flow_drop": "500 kPa"},
    {"bypass": "head", "bypass_cracking_pressure": "500 kPa", "bypass_full_flow_drop": "499 kPa"},
    {
        "location": "suction",
        "pump_inlet_pressure": "101.4 kPa abs",
        "flow": "100 L/min",
        "fluid": {"points": "46 mm2/s at 40 degC; 7 mm2/s at 100 degC"},
        "operating_temperature": "50 degC",
    },
    {"location": "suction", "derive": {"suction_drop": "1 bar(g)"}},
    {"location": "off-line", "pump_flow": "100 L/min", "area_ratio": 2},
    {"location": "breather", "require": [{"characteristic": "retained_capacity", "at_least": "60 g"}]},
)


def typed(value: Any, kind: str | None, unit: str | None = None) -> Any:
    """A value as text in a unit, by default the first of its kind; words and plain numbers as they are."""
    if kind is None:
        return value
    if kind == "temperature":
        return f"{value * 1.8 + 32:.15g} degF" if unit == "degF" else f"{value!r} degC"
    if kind == "percent":
        return f"{value!r} %"
    unit = unit or next(iter(UNITS[kind]))
    return f"{value / UNITS[kind][unit]:.15g} {unit}"


def write(duty: Duty, field: str, value: Any) -> None:
    """Set a field by its dotted name."""
    *within, name = field.split(".")
    for part in within:
        duty = duty.setdefault(part, {})
    duty[name] = value


def in_units(plain: Duty, chosen: dict[str, str]) -> Duty:
    """The duty as it is typed: each quantity of ``plain`` (dotted names) in the chosen unit of its kind."""
    duty: Duty = {}
    for field, value in plain.items():
        kind = KINDS.get(field)
        write(duty, field, typed(value, kind, chosen.get(kind or "")))
    return duty


@st.composite
def plain_duties(draw: st.DrawFn) -> Duty:
    """Fields by their dotted names, numbers in the first unit of their kind."""
    often = st.sampled_from((True, True, False))
    duty: Duty = {name: draw(st.sampled_from(values)) for name, values in VALUES.items() if draw(often)}
    if duty.get("bypass") != "none" and draw(st.booleans()):
        duty["bypass_full_flow_drop"] = draw(st.sampled_from((1000.0, 1003.0, 2000.0)))
    if draw(often):
        where = duty.get("location", "return")
        duty |= draw(st.sampled_from([flow for flow in FLOWS if where == "return" or "area_ratio" not in flow]))
    if draw(often):
        duty |= {f"fluid.{name}": value for name, value in draw(st.sampled_from(FLUIDS)).items()}
    if draw(st.booleans()):
        duty["fluid.density"] = draw(st.sampled_from((860.0, 870.0, 900.0)))
        if "operating_temperature" in duty and draw(st.booleans()):
            duty["fluid.density_temperature"] = draw(st.sampled_from((15.0, 50.0)))
    if draw(often):
        duty["fluid.class"] = draw(st.sampled_from(("HM", "HFC", "HFDR", "HEES", "HEPR", "HS")))
    # There are never more of the larger particles than of all.
    counts = sorted(draw(st.lists(st.sampled_from((0.0, 1e5, 4e6, 1e7, 5e7)), min_size=3, max_size=3)), reverse=True)
    for size, count in zip((4, 6, 14), counts, strict=True):
        if draw(st.booleans()):
            duty[f"ingression.at_{size}"] = count
    if "ingression.at_14" not in duty and draw(st.booleans()):
        duty["ingression.environment"] = draw(st.sampled_from(("assembly", "manufacturing")))
    if draw(often):
        duty["ingression.mass"] = draw(st.sampled_from((0.05, 0.06, 0.12, 0.0)))
    return duty


@st.composite
def switches(draw: st.DrawFn) -> Any:
    """Rules on, off, and with other figures."""
    if draw(st.integers(0, 3)) == 0:
        return draw(st.sampled_from(("all", "none")))
    chosen = draw(st.lists(st.sampled_from(RULES), max_size=5, unique=True))
    return {rule: draw(st.sampled_from((False, True, *FIGURES.get(rule, ())))) for rule in chosen}


def units() -> st.SearchStrategy[dict[str, str]]:
    """A unit for each kind of quantity."""
    chosen = {kind: st.sampled_from(tuple(spelled)) for kind, spelled in UNITS.items()}
    return st.fixed_dictionaries(chosen | {"temperature": st.sampled_from(("degC", "degF"))})


@st.composite
def duties(draw: st.DrawFn) -> Duty:
    """Whole duties in any units, rules on, off and with other figures; some contradict themselves."""
    duty = in_units(draw(plain_duties()), draw(units()))
    known = "operating_temperature" in duty or not {"grade", "points"} & duty.get("fluid", {}).keys()
    fitting = [each for each in STATED if known or each["characteristic"] != "clean_pressure_drop"]
    if duty.get("location") != "breather":
        duty["require"] = draw(st.lists(st.sampled_from(fitting), max_size=2, unique_by=str))
    if draw(st.booleans()):
        duty["derive"] = draw(switches())
    if draw(st.integers(0, 2)) == 0:
        duty["assumptions"] = "customary"
    if draw(st.sampled_from((False,) * 12 + (True,))):
        duty |= draw(st.sampled_from(CONTRADICTIONS))
    return duty
