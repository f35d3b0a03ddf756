"""What is required of an element: one characteristic, its limits, and the conditions they hold at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from specdb.characteristics import CHARACTERISTICS, Gate
from specdb.units import show, show_plain

SAME_FLOW = 0.05
"""Flows within this share of the required one are one flow: a test there speaks on both sides (common practice)."""

Origin = Literal["stated", "original", "derived"]

GATE_OF_ATTRIBUTE: dict[str, Gate] = {
    "kind": "fit",
    "thread": "fit",
    "seal_type": "fit",
    "end_form": "fit",
    "flow_direction": "fit",
    "core": "fit",
    "outside_diameter": "fit",
    "inside_diameter": "fit",
    "second_inside_diameter": "fit",
    "length": "fit",
    "gasket_outside_diameter": "fit",
    "gasket_inside_diameter": "fit",
    "anti_drain_back": "fit",
    "seal": "seal_and_fluid",
    "fluid_class": "seal_and_fluid",
    "seal_compatibility": "seal_and_fluid",
    "media_compatibility": "seal_and_fluid",
    "zinc_parts": "seal_and_fluid",
    "bypass_valve": "bypass",
    "collapse_over_own_drop": "collapse",
}
"""Criteria on what an element is, and the gate that each belongs to."""


@dataclass(frozen=True)
class Note:
    """A remark with amounts in it: each is a value in the canonical unit and its kind of quantity ("" for a plain
    number), and stands where ``text`` has ``{}``."""

    text: str
    amounts: tuple[tuple[float, str], ...]

    def words(self, units: Literal["si", "us"] = "si") -> str:
        told = (show(value, kind, units) if kind else show_plain(value) for value, kind in self.amounts)
        return self.text.format(*told)

    def __str__(self) -> str:
        return self.words()


@dataclass(frozen=True)
class Requirement:
    """``low <= value <= high`` in the canonical unit of the characteristic, or ``word`` for an attribute.

    Conditions that are None are not asked. ``allow`` is the share by which the limits are relaxed; ``nominal``
    the measure that a difference is told from.

    Of a derived requirement ``rule`` names the rule. ``advisory``: judged and told, never counted. ``estimated``: the
    limit is an estimate itself, so that no verdict on it is proof. ``open``: something is required whose limit is not
    known. ``asked_of``: kinds of element that it is asked of; others have no such thing, and are exempt. ``cold``: it
    holds at the coldest start, whose viscosity no test that leaves its own unstated is taken to have been run at.
    """

    id: str
    characteristic: str
    origin: Origin
    low: float = -np.inf
    high: float = np.inf
    word: str | None = None
    allow: float = 0.0
    nominal: float | None = None
    size_um: float | None = None
    scale: str | None = None
    flow_l_min: float | None = None
    viscosity_low_mm2_s: float | None = None
    viscosity_high_mm2_s: float | None = None
    density_low_kg_m3: float | None = None
    density_high_kg_m3: float | None = None
    terminal_pressure_drop_kpa: float | None = None
    cycle_pressure_kpa: float | None = None
    test_liquid: str | None = None
    drop_of: str | None = None
    capacity_basis: str | None = None
    standard: str | None = None
    dust: str | None = None
    notes: tuple[str | Note, ...] = ()
    rule: str | None = None
    advisory: bool = False
    estimated: bool = False
    open: bool = False
    asked_of: tuple[str, ...] = ()
    cold: bool = False

    @property
    def allowed_low(self) -> float:
        return self.low - self.allow * abs(self.low) if np.isfinite(self.low) else self.low

    @property
    def allowed_high(self) -> float:
        return self.high + self.allow * abs(self.high) if np.isfinite(self.high) else self.high

    @property
    def gate(self) -> Gate | None:
        if self.characteristic in CHARACTERISTICS:
            return CHARACTERISTICS[self.characteristic].gate
        return GATE_OF_ATTRIBUTE[self.characteristic]

    @property
    def counts(self) -> bool:
        """Whether it takes part in margin and order."""
        ordinary = self.characteristic not in CHARACTERISTICS or CHARACTERISTICS[self.characteristic].ordinary
        return ordinary and not self.advisory


@dataclass(frozen=True)
class Assumptions:
    """What is taken for granted beyond proof; the defaults assume nothing. Shares are fractions of 1."""

    unstated_conditions_match: bool = False
    about_within: float | None = None
    viscous_share_at_least: float | None = None
    converted_sizes_count: bool = False
    bare_size_is: str | None = None

    def named(self) -> dict[str, bool | float | str]:
        """Those that are made, by name."""
        return {name: value for name, value in vars(self).items() if value not in (None, False)}


NO_ASSUMPTIONS = Assumptions()

CUSTOMARY = Assumptions(
    unstated_conditions_match=True,
    about_within=0.15,
    viscous_share_at_least=0.7,
    converted_sizes_count=True,
    bare_size_is="c",
)
"""Every assumption at its default (common practice)."""

ASSUMPTION_SENTENCES = {
    "unstated_conditions_match": "a condition that only the test leaves unstated is taken to be the required one",
    "about_within": "a typical, nominal or 'about' value is taken to hold within {:.0%}",
    "viscous_share_at_least": "at a test point of an element at least {:.0%} of the drop is taken to be viscous",
    "converted_sizes_count": "sizes converted between the ACFTD and the µm(c) scale are taken at their converted value",
    "bare_size_is": "a size with no scale is taken to be µm({})",
}
