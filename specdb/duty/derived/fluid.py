"""What the fluid's class asks of an element's materials."""

from __future__ import annotations

from specdb.duty.circumstances import Circumstances
from specdb.duty.derived.outcome import Applied, Outcome
from specdb.duty.requirement import Note, Requirement
from specdb.trade.fluids import is_water_bearing


def seal_and_fluid(at: Circumstances, _: float) -> Outcome:
    text = "The mounting seal suits {}, by the table of seals and fluids, else by the maker's list."
    return _suits(at, "seal_compatibility", text)


def media_and_fluid(at: Circumstances, _: float) -> Outcome:
    text = "The media suits {}, by the maker's ISO 2943 test, else by the table of media and fluids, else by his list."
    return _suits(at, "media_compatibility", text)


def _suits(at: Circumstances, criterion: str, text: str) -> Outcome:
    if at.fluid_class is None or at.location == "breather":
        return None
    required = Requirement("", criterion, "derived", word=at.fluid_class)
    return Applied((required,), Note(text.format(at.fluid_class), ()), ("fluid.class",))


def zinc_and_water(at: Circumstances, _: float) -> Outcome:
    """Water-bearing fluids and parts that bear zinc."""
    if at.fluid_class is None or at.location == "breather" or not is_water_bearing(at.fluid_class):
        return None
    required = Requirement("", "zinc_parts", "derived", word="no")
    words = Note(f"{at.fluid_class} bears water, which attacks zinc: no part of the element may bear any.", ())
    return Applied((required,), words, ("fluid.class",))
