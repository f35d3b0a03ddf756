"""The rules that turn a duty into requirements: what each asks, what it assumes, and where it comes from.

A rule works where its inputs are stated. Each can be switched off, and one with a factor be given another. What a rule
does stands in :mod:`specdb.duty.derived`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

SIDES = ("upstream", "downstream")


@dataclass(frozen=True)
class Rule:
    """``factor`` is the default of the one figure that may be changed, in the unit of ``kind``: a kind of quantity, ""
    for a plain number, "side" for one of :data:`SIDES`; None where there is none. ``least`` and ``most`` bound another
    figure in its place: beyond them the rule would ask the reverse of what it is for."""

    key: str
    title: str
    assumption: str
    source: str
    factor: float | str | None = None
    kind: str | None = None
    least: float = 0.0
    most: float = math.inf


_COMMON = "common practice"

RULES: dict[str, Rule] = {
    rule.key: rule
    for rule in (
        Rule(
            "bypass_valve", "bypass valve where the circuit has it",
            "one valve too many or too few is the classic error: two valves open at the lower of two pressures, none "
            "lets a clogged element collapse",
            _COMMON,
        ),
        Rule(
            "bypass_cracking", "cracking pressure of the element's own valve",
            "a cracking pressure within this share of the duty's serves",
            _COMMON, 10.0, "percent", most=100.0,
        ),
        Rule(
            "clean_drop_below_bypass", "clean drop at work below the bypass",
            "a clean element whose drop at work opens the bypass filters nothing; the clean drop may be at most this "
            "share of the cracking pressure",
            _COMMON, 100.0, "percent", most=100.0,
        ),
        Rule(
            "cold_start_bypass", "clean drop at the coldest start",
            "above the cracking pressure the machine starts unfiltered, which is a caution and no fault of structure",
            _COMMON,
        ),
        Rule(
            "collapse", "collapse above what the element can see",
            "with a bypass its drop at full flow and cold oil, stated or this factor on its cracking pressure; without "
            "one the larger of relief setting and system pressure on a pressure line, 100 kPa on a suction line, the "
            "stated maximum elsewhere",
            _COMMON, 1.5, "", least=1.0,
        ),
        Rule(
            "collapse_over_own_drop", "collapse above the element's own clean drop",
            "without a bypass the whole flow goes through the element however cold it is",
            _COMMON,
        ),
        Rule("envelope", "working pressure of a spin-on's can", "the can sees the pressure of its line", _COMMON),
        Rule(
            "burst", "burst pressure of a spin-on's can",
            "a can bursts at no less than this factor on the working pressure, as in the three customary pressure "
            "classes of spin-ons",
            _COMMON, 2.0, "", least=1.0,
        ),
        Rule(
            "pressure_fatigue", "pressure cycles of a spin-on's can",
            "each cycle is one from no pressure to the working pressure",
            _COMMON,
        ),
        Rule(
            "temperature_range", "temperatures that the element covers",
            "the element sees the oil's temperature at work and at the coldest start",
            _COMMON,
        ),
        Rule(
            "seal_and_fluid", "mounting seal suits the fluid",
            "by the table of seal materials and fluid classes, each cell with its source, and where it says nothing "
            "by the maker's list of fluids",
            "the table's cells",
        ),
        Rule(
            "media_and_fluid", "media suits the fluid",
            "by the maker's ISO 2943 result, else by the table of media and fluid classes, each cell with its source, "
            "and where it says nothing by the maker's list of fluids",
            "ISO 2943 results on file; the table's cells",
        ),
        Rule("zinc_and_water", "no zinc in water-bearing fluids", "water-bearing fluids attack zinc", _COMMON),
        Rule(
            "suction_drop", "drop that a suction line can spare",
            "the reservoir stands under this absolute pressure and level with the pump; the line's own drop is none",
            _COMMON, 101.325, "pressure",
        ),
        Rule("breather_kind", "a breather", "only a breather is made for the air of a reservoir", _COMMON),
        Rule(
            "breather_air", "drop of the air at the fastest change of level",
            "the air that moves is as much as the oil whose level changes",
            _COMMON,
        ),
        Rule(
            "breather_particles", "particle size held back in air",
            "a breather holds back particles of this size in air; a ratio measured in liquid says nothing of it",
            _COMMON, 3.0, "opening",
        ),
        Rule(
            "cleanliness", "filtration ratio for the target cleanliness",
            "steady state of one full-flow filter in one well mixed loop, all of whose ingression is stated; the code "
            "is that of the fluid on this side of the filter; a laboratory's ratio bounds no machine",
            "contamination balance, from memory (E. C. Fitch, Oklahoma State University)", "upstream", "side",
        ),
        Rule(
            "service_life", "retained capacity for the service interval",
            "the element takes up all of the stated ingression, and holds as much of it as of test dust",
            _COMMON,
        ),
    )
}
"""By key, in the order in which they are told."""
