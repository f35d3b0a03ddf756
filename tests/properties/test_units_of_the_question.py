"""A verdict hangs on what is asked, never on the units it is typed in."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from specdb import ranking
from specdb.characteristics import CHARACTERISTICS
from specdb.duty import Question
from specdb.duty.requirement import Requirement
from tests.reference.catalogues import JUDGED, catalogues, requirements_on, snapshot_of, thorough

# Units and how many of the canonical unit each is, exact by definition.
FACTORS = {
    "flow": {"L/min": 1.0, "gpm": 3.785411784, "m^3/h": 1000 / 60},
    "pressure": {"kPa": 1.0, "bar": 100.0, "psi": 6.894757293168361, "MPa": 1000.0},
    "mass": {"g": 1.0, "kg": 1000.0, "lb": 453.59237},
    "viscosity": {"mm^2/s": 1.0, "cSt": 1.0},
    "density": {"kg/m^3": 1.0, "g/cm^3": 1000.0},
    "size": {"um({scale})": 1.0},
    "opening": {"um": 1.0, "mm": 1000.0, "mil": 25.4, "in": 25400.0},
}
LIMITS = (("low", "at_least"), ("high", "at_most"))
CONDITIONS = (
    ("flow_l_min", "flow", "flow"),
    ("viscosity_low_mm2_s", "viscosity", "viscosity"),
    ("density_low_kg_m3", "density", "density"),
    ("terminal_pressure_drop_kpa", "terminal_pressure_drop", "pressure"),
    ("cycle_pressure_kpa", "cycle_pressure", "pressure"),
    ("size_um", "size", "size"),
)
WORDS = ("test_liquid", "drop_of", "capacity_basis", "standard", "dust")


def typed(draw: st.DrawFn, value: float, kind: str, canonical: bool, scale: str | None) -> str:
    if kind == "temperature":
        if canonical or draw(st.booleans()):
            return f"{value!r} degC"
        return f"{value * 1.8 + 32:.15g} degF"
    if kind == "":
        return f"{value!r}"
    units = FACTORS[kind]
    unit = next(iter(units)) if canonical else draw(st.sampled_from(tuple(units)))
    return f"{value / units[unit]:.15g} {unit.format(scale=scale)}"


def asked(draw: st.DrawFn, required: Requirement, canonical: bool) -> dict[str, Any]:
    """The requirement as it would be typed into a question."""
    kind = CHARACTERISTICS[required.characteristic].kind
    entry: dict[str, Any] = {"characteristic": required.characteristic}
    for name, key in LIMITS:
        limit = getattr(required, name)
        if abs(limit) != float("inf"):
            entry[key] = typed(draw, limit, kind, canonical, None)
    for name, key, its_kind in CONDITIONS:
        if getattr(required, name) is not None:
            entry[key] = typed(draw, getattr(required, name), its_kind, canonical, required.scale)
    entry |= {name: getattr(required, name) for name in WORDS if getattr(required, name) is not None}
    if required.allow and kind != "temperature":
        entry["allow"] = f"{required.allow:.0%}"
    return entry


# The limit that asks for less than a range of temperatures is refused.
WRONG_WAY = {"covers_below": "low", "covers_above": "high"}


def askable(required: Requirement) -> bool:
    """Whether it is a question at all, in whichever units: a range not empty by rounding, a way and a standard."""
    wrong = WRONG_WAY.get(CHARACTERISTICS[required.characteristic].sense)
    joins_two_ways = required.characteristic == "flow_fatigue_cycles" and required.standard is None
    asks_for_less = wrong is not None and abs(getattr(required, wrong)) != float("inf")
    return required.low != required.high and not asks_for_less and not joins_two_ways


@given(st.data())
@thorough
def test_verdicts_are_the_same_in_any_units(data: st.DataObject) -> None:
    keys = tuple(data.draw(st.lists(st.sampled_from(JUDGED), min_size=1, max_size=3, unique=True)))
    elements = data.draw(catalogues(keys, 1, 4, 2))
    required = [data.draw(requirements_on(key, key).filter(askable)) for key in keys]
    assumptions = data.draw(st.sampled_from(("none", "customary")))

    def rank(canonical: bool) -> ranking.Ranking:
        require = [asked(data.draw, r, canonical) for r in required]
        question = Question.model_validate({"duty": {"require": require, "assumptions": assumptions}})
        return ranking.rank(question, snapshot_of(elements))

    one, other = rank(True), rank(False)
    for judged, again in zip(one.judged, other.judged, strict=True):
        for name in ("verdict", "reason", "lean", "by_rounding", "verdict_without_assumptions"):
            assert getattr(judged, name).tolist() == getattr(again, name).tolist(), name
    assert one.candidates.tolist() == other.candidates.tolist()
    assert one.without_evidence.tolist() == other.without_evidence.tolist()
