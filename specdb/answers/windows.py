"""How far each met criterion reaches, as an answer shows it: numbers, and words in the reader's units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pydantic import Field

from specdb.advice.windows import CONDITIONS, Condition, Edge, Taken, Whole, Window, whole, windows
from specdb.amounts import listed, span
from specdb.answers.shape import Answer, QuantityShown, tidy
from specdb.characteristics import title_of
from specdb.duty import Requirement
from specdb.duty.circumstances import Circumstances
from specdb.ranking import Ranking
from specdb.units import UnitSystem, express, show
from specdb.wording import limits


class EdgeShown(QuantityShown):
    """The last value of one condition, the others as required, at which the criterion is still met."""

    own: float = Field(description="where it was judged, in the same unit")
    beyond: bool = Field(description="it is met at the value too, and further was not searched")


class WindowShown(Answer):
    """How far one met criterion reaches; null for a condition that it does not ask."""

    requirement: str
    flow: EdgeShown | None = Field(description="the largest flow")
    viscosity: EdgeShown | None = Field(description="the highest viscosity, of the thickest that the fluid may be")
    temperature: EdgeShown | None = Field(description="the coldest temperature of the duty's fluid")
    words: str


class SetEdgeShown(EdgeShown):
    """The narrowest edge of all that is met; ``requirement`` is the one that sets it."""

    requirement: str


class WholeWindowShown(Answer):
    """How far all that is met reaches together, but for flows of air and what is required at a flow of its own."""

    flow: SetEdgeShown | None = Field(description="the least of the largest flows")
    viscosity: SetEdgeShown | None = Field(description="the least of the highest viscosities")
    temperature: SetEdgeShown | None = Field(description="the warmest of the coldest temperatures")
    words: str


@dataclass(frozen=True)
class Reach:
    """What is shown of one candidate."""

    each: list[WindowShown]
    together: WholeWindowShown


def windows_shown(ranking: Ranking, rows: Sequence[int], units: UnitSystem) -> dict[int, Reach]:
    """Of each of ``rows`` the windows of its met criteria."""
    duty = ranking.duty.circumstances
    return {
        row: Reach([_window(each, duty, units) for each in found], _together(whole(found, duty), units))
        for row, found in windows(ranking, rows).items()
    }


def _window(of: Window, duty: Circumstances, units: UnitSystem) -> WindowShown:
    edges = {name: _edge(getattr(of, name), name, units) for name in CONDITIONS}
    return WindowShown(requirement=of.requirement.id, **edges, words=_words(of, duty, units))


def _edge(edge: Edge | None, name: Condition, units: UnitSystem) -> EdgeShown | None:
    if edge is None:
        return None
    value, unit = express(edge.value, name, units)
    own, _ = express(edge.own, name, units)
    return EdgeShown(value=tidy(value), unit=unit, own=tidy(own), beyond=edge.beyond)


def _together(of: Whole, units: UnitSystem) -> WholeWindowShown:
    edges: dict[str, SetEdgeShown | None] = {}
    told: list[str] = []
    for name in CONDITIONS:
        found: tuple[Edge, Requirement] | None = getattr(of, name)
        shown = None if found is None else _edge(found[0], name, units)
        edges[name] = None
        if found is not None and shown is not None:
            edges[name] = SetEdgeShown(**dict(shown), requirement=found[1].id)
            told.append(f"{_reach(found[0], name, units)} (set by {title_of(found[1].characteristic)})")
    words = f"Met together: {'; '.join(told)}." if told else "Nothing that is met asks a flow or a viscosity."
    return WholeWindowShown(**edges, words=words)


# --- words ----------------------------------------------------------------------------------------


def _words(of: Window, duty: Circumstances, units: UnitSystem) -> str:
    """ "Meets clean pressure drop (at most 25 kPa) at 75 L/min and 32 mm²/s; up to 78.5 L/min; ..." """
    requirement = of.requirement
    edges = [(getattr(of, name), name) for name in CONDITIONS]
    reach = [_reach(edge, name, units) for edge, name in edges if edge is not None]
    title = f"{title_of(requirement.characteristic)} ({limits(requirement, units)})"
    sentences = ["; ".join([f"Meets {title} at {listed(_own(of, units))}", *reach])]
    sentences += [
        f"A {name} that a test leaves unstated is taken to be {_own_of(requirement, name, units)}" for name in of.taken
    ]
    if of.not_over_fluid_degc is not None:
        degc = show(of.not_over_fluid_degc, "temperature", units)
        sentences.append(f"No temperature is told: it is not shown over all that the fluid may be at {degc}")
    if requirement.flow_l_min is not None and _at_another_flow(requirement, duty):
        flow = show(duty.flow_l_min or 0.0, "flow", units)
        sentences.append(f"This is about its own flow, not the duty's {flow}")
    return ". ".join(sentences) + "."


def _at_another_flow(requirement: Requirement, duty: Circumstances) -> bool:
    own, asked = requirement.flow_l_min, duty.flow_l_min
    if requirement.characteristic == "air_pressure_drop" or own is None or asked is None:
        return False
    return not math.isclose(own, asked, rel_tol=1e-9)


def _own(of: Window, units: UnitSystem) -> list[str]:
    told = [_own_of(of.requirement, "flow", units), _own_of(of.requirement, "viscosity", units)]
    if of.temperature is not None:
        told.append(show(of.temperature.own, "temperature", units))
    return [each for each in told if each]


def _own_of(requirement: Requirement, name: Taken, units: UnitSystem) -> str:
    """What the requirement itself asks of a condition, "" where it asks nothing."""
    if name == "flow":
        air = " of air" if requirement.characteristic == "air_pressure_drop" else ""
        flow = requirement.flow_l_min
        return "" if flow is None else show(flow, "flow", units) + air
    low, high = requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s
    if name == "density":
        low, high = requirement.density_low_kg_m3, requirement.density_high_kg_m3
    return "" if low is None or high is None else span(low, high, name, units)


def _reach(edge: Edge, name: Condition, units: UnitSystem) -> str:
    if edge.beyond:
        return f"still at {show(edge.value, name, units)}, further was not searched"
    return f"{'down' if name == 'temperature' else 'up'} to {_inward(edge.value, name, units)}"


def _inward(value: float, name: Condition, units: UnitSystem) -> str:
    """An edge for reading aloud, rounded to the side on which the criterion is met."""
    number, unit = express(value, name, units)
    if name == "temperature":
        return f"{math.ceil(number * 10 - 1e-6) / 10 + 0.0:g} {unit}"
    digits = 3 - math.floor(math.log10(number))
    kept = math.floor(number * 10**digits * (1 + 2e-9)) / 10**digits
    text = f"{kept:.{max(0, digits)}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}"
