"""What a machine is at each place of a filter in its circuit: the whole duty, and nothing required by hand."""

from __future__ import annotations

from typing import Any

OIL = {"grade": "ISO VG 46", "viscosity_index": 100, "class": "HM"}
TEMPERATURES = {"operating_temperature": "50 degC", "cold_start_temperature": "-5 degC"}

MACHINES: dict[str, dict[str, Any]] = {
    "suction": {
        "location": "suction",
        "flow": "60 L/min",
        "fluid": {"points": "46 mm2/s at 40 degC; 6.8 mm2/s at 100 degC"},
        **TEMPERATURES,
        "bypass": "none",
        "pump_inlet_pressure": "80 kPa abs",
    },
    "pressure": {
        "location": "pressure",
        "flow": "120 L/min",
        "fluid": OIL | {"density": "880 kg/m3", "density_temperature": "15 degC"},
        **TEMPERATURES,
        "working_pressure": "16 MPa",
        "relief_pressure": "20 MPa",
        "pressure_cycles": 1e5,
        "bypass": "none",
    },
    "return": {
        "location": "return",
        "pump_flow": "60 L/min",
        "area_ratio": 1.25,
        "fluid": OIL,
        **TEMPERATURES,
        "working_pressure": "800 kPa",
        "bypass": "head",
        "bypass_cracking_pressure": "170 kPa",
        "target_cleanliness": "ISO 19/17/14",
        "ingression": {"at_14": "4e6 /min", "mass": "0.05 g/h"},
        "service_interval": "1000 h",
        "capacity_used": "80 %",
        "costs": {"currency": "EUR", "change_cost": 60, "prices": "Dulse 23/B = 52.5; 9-K = 39"},
        "derive": {"burst": 2.5, "bypass_cracking": False},
    },
    "off-line": {
        "location": "off-line",
        "reservoir_volume": "400 L",
        "turnovers_per_hour": 3,
        "fluid": {"viscosity": "32 mm2/s", "class": "HFC"},
        "operating_temperature": "40 degC",
        "bypass": "element",
        "bypass_cracking_pressure": "200 kPa",
        "bypass_full_flow_drop": "350 kPa",
    },
    "breather": {
        "location": "breather",
        "air_flow": "300 L/min",
        "air_pressure_drop": "0.5 kPa",
        "require": [{"characteristic": "water_capacity", "at_least": "1 g"}],
    },
}
"""Place: duty."""

RULES_AT_WORK = {
    "suction": {
        *("bypass_valve", "collapse", "collapse_over_own_drop", "temperature_range", "suction_drop"),
    },
    "pressure": {
        *("bypass_valve", "collapse", "collapse_over_own_drop", "envelope", "burst", "pressure_fatigue"),
        *("temperature_range", "seal_and_fluid", "media_and_fluid"),
    },
    "return": {
        *("bypass_valve", "clean_drop_below_bypass", "cold_start_bypass", "collapse", "envelope", "burst"),
        *("temperature_range", "seal_and_fluid", "media_and_fluid", "cleanliness", "service_life"),
    },
    "off-line": {
        *("bypass_valve", "bypass_cracking", "clean_drop_below_bypass", "collapse", "temperature_range"),
        *("seal_and_fluid", "media_and_fluid", "zinc_and_water"),
    },
    "breather": {"breather_kind", "breather_air", "breather_particles"},
}
"""Rules that derive a requirement from each."""

MISTAKES: dict[str, tuple[dict[str, Any], str, str]] = {
    # what is stated, the field that is at fault, and what is told
    "a cold start above the work": (
        {"operating_temperature": "50 degC", "cold_start_temperature": "60 degC"},
        "cold_start_temperature", "up to the operating one, 50 degC",
    ),
    "a cold start without a unit": ({"cold_start_temperature": "-5"}, "cold_start_temperature", "no unit"),
    "a cold start beyond the equation": (
        {"fluid": {"grade": "ISO VG 46", "viscosity_index": 100}, "cold_start_temperature": "-65 degC"},
        "cold_start_temperature", "does not cover",
    ),
    "an area ratio without the pump's flow": ({"area_ratio": 1.5}, "area_ratio", "State pump_flow beside it"),
    "two flows": ({"flow": "60 L/min", "pump_flow": "60 L/min"}, "pump_flow", "stated already"),
    "two grades": ({"fluid": {"grade": "VG 32/46"}}, "fluid.grade", "several grades"),
    "a grade and points": (
        {"fluid": {"grade": "ISO VG 46", "points": "46 cSt at 40 degC; 6.8 cSt at 100 degC"}},
        "fluid.points", "State one of them",
    ),
    "a target that no ratio holds": (
        {"flow": "75 L/min", "target_cleanliness": "10/9/8", "ingression": {"at_14": "1e7 /min"}},
        "target_cleanliness", "more than 4000 L/min",
    ),
    "a target in two numbers": ({"target_cleanliness": "18/16"}, "target_cleanliness", "three numbers"),
    "an ingression without a unit": ({"ingression": {"at_4": "1e8"}}, "ingression.at_4", "1/min"),
    "a pump inlet over who knows what": ({"pump_inlet_pressure": "80 kPa"}, "pump_inlet_pressure", "80 kPa abs"),
    "a bypass that is not there": (
        {"bypass": "none", "bypass_full_flow_drop": "200 kPa"}, "bypass_full_flow_drop", "no bypass",
    ),
    "a price without =": ({"costs": {"prices": "12-2 39"}}, "costs.prices", "Dulse 23 = 48.50"),
    "a price with its currency": ({"costs": {"prices": "12-2 = 39 EUR"}}, "costs.prices", "--currency"),
    "a figure for a rule that has none": ({"derive": {"envelope": 2}}, "derive.envelope", "no figure to change"),
    "a ratio in liquid for a breather": (
        {
            "location": "breather",
            "require": [{"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}],
        },
        "require.0.characteristic", "measured in liquid",
    ),
}  # fmt: skip
