"""Amounts and pairs of bounds in words, in the reader's units."""

from __future__ import annotations

import math

from specdb.units import UnitSystem, show


def amount(value: float, kind: str, units: UnitSystem) -> str:
    if kind:
        return show(value, kind, units)
    return f"{value:.0f}" if value >= 1e4 else f"{value:.4g}"


def span(low: float, high: float, kind: str, units: UnitSystem) -> str:
    """A pair of bounds in words: "at least 60 g", "20 to 24 kPa"."""
    if math.isfinite(low) and math.isfinite(high):
        if math.isclose(low, high, rel_tol=1e-9):
            return amount(low, kind, units)
        ends = amount(low, kind, units), amount(high, kind, units)
        return f"{ends[0]} to {ends[1]}" if ends[0] != ends[1] else f"about {ends[0]}"
    if math.isfinite(low):
        return f"at least {amount(low, kind, units)}"
    if math.isfinite(high):
        return f"at most {amount(high, kind, units)}"
    return "nothing"


def listed(words: list[str]) -> str:
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))
