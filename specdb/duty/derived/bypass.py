"""What the bypass valve asks of an element: that there is one, where it opens, and what drop the element can see."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from specdb.duty.circumstances import Circumstances
from specdb.duty.derived.outcome import Applied, Lacks, Outcome, lacking
from specdb.duty.requirement import Note, Requirement
from specdb.trade.circuit import bypass_full_flow_drop_kpa, greatest_element_drop_kpa

IN_ELEMENT = ("element", "both")
SOMEWHERE = ("element", "head", "both")

_CRACKING = "bypass_cracking_pressure"
LINE = "fluid.viscosity_index with fluid.grade (or fluid.points)"
"""What gives the viscosity at the coldest start."""
DENSITY = ("fluid.density", "fluid.density_temperature")
"""What a required drop takes along where it is stated."""


def bypass_valve(at: Circumstances, _: float) -> Outcome:
    """The element has a valve of its own where the circuit counts on it, and none where it does not."""
    if at.bypass is None or at.location == "breather":
        return None
    where = {
        "element": "The bypass valve is in the element: one without is a valve too few.",
        "head": "The bypass valve is in the head: an element with its own is a valve too many.",
        "both": "Element and head each have a bypass valve.",
        "none": "The circuit has no bypass: an element with a valve lets dirt past.",
    }
    word = "yes" if at.bypass in IN_ELEMENT else "no"
    return Applied(
        (Requirement("", "bypass_valve", "derived", word=word),), Note(where[at.bypass], ()), ("bypass",)
    )


def bypass_cracking(at: Circumstances, share_percent: float) -> Outcome:
    """The element's own valve opens where the duty says, within a share of it."""
    if at.bypass not in IN_ELEMENT or at.bypass_cracking_kpa is None or at.location == "breather":
        return None
    cracking, share = at.bypass_cracking_kpa, share_percent / 100
    low, high = cracking * (1 - share), cracking * (1 + share)
    words = Note("The element's own valve opens at {} within {} %.", ((cracking, "pressure"), (share_percent, "")))
    return Applied(
        (Requirement("", "bypass_cracking_pressure", "derived", low=low, high=high),),
        words,
        ("bypass", "bypass_cracking_pressure"),
    )


def clean_drop_below_bypass(at: Circumstances, share_percent: float) -> Outcome:
    """The clean drop at work stays at or below a share of the cracking pressure."""
    if at.bypass not in SOMEWHERE or at.location == "breather":
        return None
    missing = lacking(at, flow_l_min="flow", viscosity_mm2_s="fluid.viscosity", bypass_cracking_kpa=_CRACKING)
    if missing or at.bypass_cracking_kpa is None:
        return missing
    high = at.bypass_cracking_kpa * share_percent / 100
    text = "A clean element may take {} % of the cracking pressure {} at work."
    return Applied(
        (replace(own_drop_at_work(at), high=high),),
        Note(text, ((share_percent, ""), (at.bypass_cracking_kpa, "pressure"))),
        ("bypass", _CRACKING, "flow", "viscosity", *DENSITY),
    )


def cold_start_bypass(at: Circumstances, _: float) -> Outcome:
    """Whether the clean drop opens the bypass at the coldest start: a caution."""
    if at.bypass == "none" or at.location == "breather" or at.cold_start_degc is None:
        return None
    if at.bypass is None:
        return Lacks(("bypass", *(() if at.bypass_cracking_kpa is not None else (_CRACKING,))))
    missing = lacking(at, flow_l_min="flow", cold_viscosity_mm2_s=LINE, bypass_cracking_kpa=_CRACKING)
    if missing or at.bypass_cracking_kpa is None:
        return missing
    text = "Above {} at the coldest start, {}, the bypass opens and the machine starts unfiltered."
    return Applied(
        (replace(own_drop_when_cold(at), high=at.bypass_cracking_kpa, advisory=True),),
        Note(text, ((at.bypass_cracking_kpa, "pressure"), (at.cold_start_degc, "temperature"))),
        ("bypass", _CRACKING, "flow", "cold_viscosity", *DENSITY),
    )


def collapse(at: Circumstances, factor: float) -> Outcome:
    """The element stands what it can really see; see the rule's own words for each case."""
    if at.bypass is None or at.location == "breather":
        return None
    if at.bypass in SOMEWHERE:
        return _collapse_with_bypass(at, factor)
    limit, words, used = _greatest_drop(at)
    if limit is None:
        return _unknown(at)
    required = Requirement("", "collapse_pressure", "derived", low=limit)
    told = Note(words, ((limit, "pressure"),))
    return Applied((required,), told, ("bypass", "location", *used), reads_factor=False)


def _collapse_with_bypass(at: Circumstances, factor: float) -> Outcome:
    limit = bypass_full_flow_drop_kpa(at.bypass_cracking_kpa, at.bypass_full_flow_kpa, factor)
    if limit is None:
        return Lacks((_CRACKING,))
    required = Requirement("", "collapse_pressure", "derived", low=limit)
    if at.bypass_full_flow_kpa is not None or at.bypass_cracking_kpa is None:
        text = "The element sees up to the bypass valve's drop at full flow, {} as stated."
        used = ("bypass", "bypass_full_flow_drop")
        return Applied((required,), Note(text, ((limit, "pressure"),)), used, reads_factor=False)
    text = "The element sees up to the bypass valve's drop at full flow: {} times its cracking pressure {} is {}."
    amounts = ((factor, ""), (at.bypass_cracking_kpa, "pressure"), (limit, "pressure"))
    return Applied((required,), Note(text, amounts), ("bypass", _CRACKING))


_PRESSED_BY = {
    "relief_pressure": "the relief setting",
    "working_pressure": "the system's pressure",
    "maximum_pressure_drop": "the stated maximum",
}


def _greatest_drop(at: Circumstances) -> tuple[float | None, str, tuple[str, ...]]:
    """Greatest drop that an element without a bypass can see, how that was come by, and from which fields."""
    stated = (at.relief_pressure_kpa, at.working_pressure_kpa, at.maximum_drop_kpa)
    known = {field: kpa for field, kpa in zip(_PRESSED_BY, stated, strict=True) if kpa is not None}
    line = [kpa for field, kpa in known.items() if field != "maximum_pressure_drop"]
    limit = greatest_element_drop_kpa(at.location, stated_kpa=at.maximum_drop_kpa, relief_kpa=max(line, default=None))
    if at.location == "suction":
        return limit, "Without a bypass a suction element sees the air's pressure at most, {}.", ()
    if at.location == "pressure" and limit is not None:
        name = next(_PRESSED_BY[field] for field, kpa in known.items() if kpa == limit)
        return limit, f"Without a bypass the element sees up to {name}, {{}}.", tuple(known)
    return limit, "Without a bypass the element sees up to {} as stated.", ("maximum_pressure_drop",)


def _unknown(at: Circumstances) -> Outcome:
    """Without a bypass something is required of every element, whatever it may be."""
    if at.location is None:
        return Lacks(("location",))
    text = {
        "pressure": "Without a bypass the element sees up to the system's pressure, which is not stated: state "
        "relief_pressure or working_pressure.",
    }.get(
        at.location,
        f"Without a bypass nothing stated bounds the drop on a {at.location} filter: state maximum_pressure_drop.",
    )
    required = Requirement("", "collapse_pressure", "derived", open=True)
    return Applied((required,), Note(text, ()), ("bypass", "location"), reads_factor=False)


def collapse_over_own_drop(at: Circumstances, _: float) -> Outcome:
    """Without a bypass the element stands at least its own clean drop, cold if a cold start is stated."""
    if at.bypass != "none" or at.location == "breather":
        return None
    found = drop_as_cold_as_known(at)
    if isinstance(found, Lacks):
        return found
    drops, when, used = found
    required = tuple(
        replace(drop, characteristic="collapse_over_own_drop", low=-np.inf if drop.open else 1.0, drop_of=None)
        for drop in drops
    )
    words = Note(f"Without a bypass the element stands at least its own clean drop {when}.", ())
    return Applied(required, words, ("bypass", "flow", *used))


def drop_as_cold_as_known(at: Circumstances) -> tuple[tuple[Requirement, ...], str, tuple[str, ...]] | Lacks:
    """The clean drop at the coldest start that is stated, else at work; when that is, and the fields read for it.

    Where the viscosity at a stated cold start is not known the drop at work is asked all the same, which is no more,
    and beside it stands a requirement whose limit nobody knows.
    """
    if at.cold_start_degc is not None and at.cold_viscosity_mm2_s is not None:
        missing = lacking(at, flow_l_min="flow")
        return missing or ((own_drop_when_cold(at),), "at the coldest start", ("cold_viscosity", *DENSITY))
    missing = lacking(at, flow_l_min="flow", viscosity_mm2_s="fluid.viscosity")
    if missing:
        return missing
    at_work = own_drop_at_work(at)
    if at.cold_start_degc is None:
        return (at_work,), "at work", ("viscosity", *DENSITY)
    when = f"at work, and at the coldest start, of which nothing is known without {LINE}"
    return (at_work, replace(at_work, open=True)), when, ("viscosity", *DENSITY)


def own_drop_at_work(at: Circumstances) -> Requirement:
    """The clean drop of the element at the duty's flow and operating viscosity, without a limit."""
    return _drop(at, at.viscosity_mm2_s, at.density_kg_m3)


def own_drop_when_cold(at: Circumstances) -> Requirement:
    return replace(_drop(at, at.cold_viscosity_mm2_s, at.cold_density_kg_m3), cold=True)


def _drop(
    at: Circumstances, viscosity: tuple[float, float] | None, density: tuple[float, float] | None
) -> Requirement:
    thin, thick = viscosity or (None, None)
    light, heavy = density or (None, None)
    return Requirement(
        "",
        "clean_pressure_drop",
        "derived",
        flow_l_min=at.flow_l_min,
        viscosity_low_mm2_s=thin,
        viscosity_high_mm2_s=thick,
        density_low_kg_m3=light,
        density_high_kg_m3=heavy,
        drop_of="element",
    )

