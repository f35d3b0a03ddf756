"""Questions and comparisons, in JSON and in dotted names: drawn at random, of parts that the demo can answer."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from hypothesis import strategies as st


def flat(value: Any, name: str = "") -> Iterator[tuple[str, str]]:
    """A question in JSON as dotted names, written down without the program's help."""
    if isinstance(value, dict) and set(value) == {"value", "unit"}:
        yield name, f"{value['value']} {value['unit']}"
    elif isinstance(value, dict):
        for key, inner in value.items():
            place = name if key in ("duty", "value") else f"{name}.{key}".lstrip(".")
            yield from flat(inner, place)
    elif isinstance(value, list) and name == "assumptions":
        yield name, ",".join(value)
    elif isinstance(value, list):
        for number, inner in enumerate(value, start=1):
            yield from flat(inner, f"{name}.{number}")
    else:
        yield name, ("true" if value else "false") if isinstance(value, bool) else str(value)


QUANTITIES = {
    "flow": ["75 L/min", "20 gpm", {"value": 60, "unit": "L/min"}],
    "operating_temperature": ["40 degC", "122 degF"],
    "bypass_cracking_pressure": ["170 kPa", "1.7 bar"],
    "working_pressure": ["1 MPa"],
    "relief_pressure": ["21 MPa"],
    "location": ["return", "Pressure", "suction", "offline", "breather"],
    "cold_start_temperature": ["0 degC", "50 degC"],
    "bypass": ["element", "Head", "none"],
    "pump_inlet_pressure": ["80 kPa abs", "-6 inHg"],
    "target_cleanliness": ["19/17/14", "ISO 10/9/8"],
    "service_interval": ["1000 h", {"value": 50, "unit": "d"}],
    "pressure_cycles": [1e5],
}
DERIVE: list[Any] = ["none", "all", {"collapse": False, "burst": 2.5}, {"cleanliness": "downstream"}]
REQUIREMENTS: list[dict[str, Any]] = [
    {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"},
    {"characteristic": "filtration_ratio", "at_least": "99.5 %", "size": "5 um(c)", "flow": "60 L/min"},
    {"characteristic": "retained_capacity", "at_least": {"value": 60, "unit": "g"}, "allow": "5 %"},
    {"characteristic": "clean_pressure_drop", "at_most": "25 kPa", "viscosity": "32 mm2/s", "drop_of": "element"},
    {"characteristic": "collapse_pressure", "at_least": "150 psi"},
    {"characteristic": "flow_fatigue_cycles", "at_least": 1e5, "standard": "ISO 3724"},
    {"characteristic": "temperature_high", "at_least": "90 degC"},
]
FITS: dict[str, list[Any]] = {
    "kind": ["spin-on", "cartridge"],
    "thread": ["1-12 UNF", "M26 x 1.5"],
    "seal": ["NBR", "fkm"],
    "bypass_valve": ["yes", "no"],
    "outside_diameter": ["96 mm", {"value": "3.75 in", "tolerance": "2 mm"}, {"value": 96, "unit": "mm"}],
    "length": [{"value": {"value": 140, "unit": "mm"}, "tolerance": "3 mm"}],
    "clearance": ["5 mm"],
}
ASSUMPTIONS: list[Any] = [
    "customary",
    "none",
    ["about_within", "bare_size_is"],
    {"about_within": "10 %", "converted_sizes_count": True, "bare_size_is": "acftd"},
    {"unstated_conditions_match": True, "viscous_share_at_least": True, "about_within": False},
]


def some(choices: dict[str, list[Any]]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional={name: st.sampled_from(values) for name, values in choices.items()})


DUTIES = st.fixed_dictionaries(
    {"require": st.lists(st.sampled_from(REQUIREMENTS), min_size=1, max_size=3)},
    optional={
        **{name: st.sampled_from(values) for name, values in QUANTITIES.items()},
        "fluid": some({"grade": ["ISO VG 46", "32"], "viscosity_index": [95, 100.5], "class": ["HM", "hees"]}),
        "ingression": some({"at_14": ["4e6 /min"], "mass": ["50 mg/h"], "environment": ["mobile"]}),
        "costs": some({"currency": ["EUR"], "change_cost": [60], "prices": ["12-2 = 39; Dulse 24 = 48.5"]}),
        "derive": st.sampled_from(DERIVE),
        "fit": some(FITS),
        "assumptions": st.sampled_from(ASSUMPTIONS),
    },
)
QUESTIONS = st.fixed_dictionaries(
    {"duty": DUTIES, "limit": st.sampled_from([1, 2, 3])},
    optional={
        "original": st.fixed_dictionaries(
            {"number": st.sampled_from(["Dulse 23", "2024-07", "nowhere"])},
            optional={"maker": st.just("Quollbeck"), "allow": st.just("5 %")},
        ),
        "include_without_evidence": st.booleans(),
        "include_windows": st.booleans(),
        "as_of": st.sampled_from([1, "1", "1998-05-31"]),
    },
)
COMPARED: list[dict[str, str]] = [
    {"number": "Dulse 23", "maker": "Quollbeck"},
    {"number": "2024-07"},
    {"number": "12-2"},
    {"element_id": "23d2f750f7492a15"},
    {"number": "nowhere"},
]
COMPARISONS = st.fixed_dictionaries(
    {"elements": st.lists(st.sampled_from(COMPARED), min_size=1, max_size=20), "duty": DUTIES},
    optional={
        "original": st.just({"number": "Dulse 24"}),
        "include_windows": st.booleans(),
        "as_of": st.sampled_from([1, "1998-05-31"]),
    },
)
