"""What the pressure of the line asks of a spin-on's can, and the oil's temperature of any element."""

from __future__ import annotations

from specdb.duty.circumstances import Circumstances
from specdb.duty.derived.outcome import Applied, Lacks, Outcome
from specdb.duty.requirement import Note, Requirement

WITH_A_CAN = ("spin-on",)
"""Kinds that hold the pressure themselves; of others the housing does."""


def envelope(at: Circumstances, _: float) -> Outcome:
    if at.working_pressure_kpa is None or at.location == "breather":
        return None
    required = Requirement("", "working_pressure", "derived", low=at.working_pressure_kpa, asked_of=WITH_A_CAN)
    text = "A spin-on's can is rated for the pressure of its line, {}."
    return Applied((required,), Note(text, ((at.working_pressure_kpa, "pressure"),)), ("working_pressure",))


def burst(at: Circumstances, factor: float) -> Outcome:
    if at.working_pressure_kpa is None or at.location == "breather":
        return None
    low = factor * at.working_pressure_kpa
    required = Requirement("", "burst_pressure", "derived", low=low, asked_of=WITH_A_CAN)
    amounts = ((factor, ""), (at.working_pressure_kpa, "pressure"), (low, "pressure"))
    text = "A spin-on's can bursts at no less than {} times the working pressure {}, {}."
    return Applied((required,), Note(text, amounts), ("working_pressure",))


def pressure_fatigue(at: Circumstances, _: float) -> Outcome:
    if at.pressure_cycles is None or at.location == "breather":
        return None
    if at.working_pressure_kpa is None:
        return Lacks(("working_pressure",))
    required = Requirement(
        "",
        "pressure_fatigue_cycles",
        "derived",
        low=at.pressure_cycles,
        cycle_pressure_kpa=at.working_pressure_kpa,
        asked_of=WITH_A_CAN,
    )
    text = "A spin-on's can stands {} cycles of the working pressure {}."
    amounts = ((at.pressure_cycles, ""), (at.working_pressure_kpa, "pressure"))
    return Applied((required,), Note(text, amounts), ("pressure_cycles", "working_pressure"))


def temperature_range(at: Circumstances, _: float) -> Outcome:
    """The element covers the temperature at work and that of the coldest start."""
    if at.location == "breather":
        return None
    found: list[Requirement] = []
    told: list[str] = []
    amounts: list[tuple[float, str]] = []
    used: list[str] = []
    if at.operating_degc is not None:
        found.append(Requirement("", "temperature_high", "derived", low=at.operating_degc))
        told.append("{} at work")
        amounts.append((at.operating_degc, "temperature"))
        used.append("operating_temperature")
    if at.cold_start_degc is not None:
        found.append(Requirement("", "temperature_low", "derived", high=at.cold_start_degc))
        told.append("{} at the coldest start")
        amounts.append((at.cold_start_degc, "temperature"))
        used.append("cold_start_temperature")
    if not found:
        return None
    return Applied(tuple(found), Note(f"The element covers {' and '.join(told)}.", tuple(amounts)), tuple(used))
