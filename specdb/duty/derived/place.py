"""What the place in the circuit asks: the drop that a suction line can spare, and the air of a breather."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from specdb.duty.circumstances import Circumstances
from specdb.duty.derived.bypass import drop_as_cold_as_known
from specdb.duty.derived.outcome import Applied, Lacks, Outcome, lacking
from specdb.duty.requirement import Note, Requirement
from specdb.trade.circuit import suction_drop_allowed_kpa

_ADVICE: dict[str, tuple[str, ...]] = {
    "suction": (
        "A suction strainer is chosen by its mesh opening and by the drop that the pump's inlet can spare; strainers "
        "lie outside the multi-pass standard (common practice).",
        "Fine media on a suction line starves the pump when the oil is cold or the element fills: cavitation (common "
        "practice). Filter finely elsewhere.",
    ),
    "pressure": (
        "On a pressure line the element sees the pump's pulsation: ask for its flow fatigue (ISO 3724, ISO 23181), and "
        "of a spin-on for its pressure fatigue (common practice).",
    ),
    "return": (
        "While a cylinder retracts more comes back than the pump gives: the pump's flow times the area ratio (common "
        "practice).",
    ),
    "off-line": (
        "An off-line filter cleans by how often an hour it turns the reservoir over, at a steady flow (common "
        "practice).",
    ),
    "breather": (
        "A breather passes the air of the fastest change of level; it is judged by its drop of air, the particles it "
        "holds back in air and the water it holds, never by a ratio measured in liquid (common practice).",
    ),
}
"""What a practitioner would say of each place in the circuit."""

_FEW_RATIOS = "a filtration ratio is shown of few of them."


def advice_of(location: str, requirements: Sequence[Requirement]) -> tuple[str, ...]:
    """What a practitioner would say of a place in the circuit; of what would list strainers alone only what is not
    required yet."""
    if location != "suction":
        return _ADVICE[location]
    is_kind_required = any(each.characteristic == "kind" and each.word == "suction strainer" for each in requirements)
    is_mesh_required = any(each.characteristic == "mesh_opening" for each in requirements)
    lacking = "" if is_kind_required else "To list strainers alone, state fit.kind as suction strainer"
    if not is_mesh_required:
        lacking = f"{lacking}, and require mesh_opening" if lacking else "Of strainers require mesh_opening as well"
    return (*_ADVICE[location], f"{lacking}; {_FEW_RATIOS}") if lacking else _ADVICE[location]


def suction_drop(at: Circumstances, reservoir_kpa_absolute: float) -> Outcome:
    """The clean drop leaves the pump's inlet the least pressure that it needs, cold if a cold start is stated."""
    if at.location != "suction" or at.pump_inlet_kpa_absolute is None:
        return None
    found = drop_as_cold_as_known(at)
    if isinstance(found, Lacks):
        return found
    drops, when, used = found
    spared = suction_drop_allowed_kpa(at.pump_inlet_kpa_absolute, reservoir_kpa_absolute)
    text = "Of the reservoir's {} over a vacuum the pump needs {} at its inlet: {} may be lost, all of it here, " + when
    amounts = ((reservoir_kpa_absolute, "pressure"), (at.pump_inlet_kpa_absolute, "pressure"), (spared, "pressure"))
    required = tuple(drop if drop.open else replace(drop, high=spared) for drop in drops)
    return Applied(required, Note(text + ".", amounts), ("location", "pump_inlet_pressure", "flow", *used))


def breather_kind(at: Circumstances, _: float) -> Outcome:
    if at.location != "breather":
        return None
    words = Note("The air of the reservoir passes a breather.", ())
    return Applied((Requirement("", "kind", "derived", word="breather"),), words, ("location",))


def breather_air(at: Circumstances, _: float) -> Outcome:
    """The drop of the air at the fastest change of level."""
    if at.location != "breather":
        return None
    missing = lacking(at, air_flow_l_min="air_flow", air_pressure_drop_kpa="air_pressure_drop")
    if missing or at.air_flow_l_min is None or at.air_pressure_drop_kpa is None:
        return missing
    high = at.air_pressure_drop_kpa
    required = Requirement("", "air_pressure_drop", "derived", high=high, flow_l_min=at.air_flow_l_min)
    text = "At {} of air, the fastest change of level, the reservoir stands a drop of {}."
    amounts = ((at.air_flow_l_min, "flow"), (high, "pressure"))
    return Applied((required,), Note(text, amounts), ("location", "air_flow", "air_pressure_drop"))


def breather_particles(at: Circumstances, size_um: float) -> Outcome:
    if at.location != "breather":
        return None
    required = Requirement("", "air_particle_size", "derived", high=size_um)
    words = Note("A breather holds back particles of {} in air.", ((size_um, "opening"),))
    return Applied((required,), words, ("location",))
