"""Requirements taken from the original element's own ratings, at the conditions they were tested at."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from specdb.catalog.snapshot import Points, Snapshot
from specdb.characteristics import CHARACTERISTICS, DUST_OF_STANDARD, SCALES, STANDARD_OF_SCALE
from specdb.duty.requirement import Requirement
from specdb.duty.stated import MEASURE_TOLERANCE_MM
from specdb.trade.filtration import rounded_down_ratio
from specdb.units import show

CRACKING_WITHIN = 0.10
"""A bypass cracking pressure within this share of the original's serves (common practice)."""

AT_MOST_THE_ORIGINAL = ("outside_diameter", "length")
LENGTH_FITS_BETWEEN_SEATS = ("cartridge", "in-tank")
WORDS_TAKEN = ("kind", "thread", "seal", "seal_type", "end_form", "flow_direction", "core", "bypass_valve")

_FLOOR, _CEILING = ("equal", "at_least"), ("equal", "at_most")

_Rule = Callable[[Snapshot, int, str, list[str]], Iterator[Requirement]]


@dataclass(frozen=True)
class _Rating:
    """One result of the original and the conditions it stands at."""

    value: float
    low: float
    qualifier: str
    conditions: tuple[tuple[str, float | str | None], ...]

    @property
    def place(self) -> str:
        """Its conditions as a key: one condition typed in two units may differ in a last bit."""
        return " ".join(f"{value:.9g}" if isinstance(value, float) else str(value) for _, value in self.conditions)


def original_requirements(
    snapshot: Snapshot, row: int, silent: Callable[[str], bool], clearance_mm: float
) -> tuple[list[Requirement], list[str]]:
    """What the element in ``row`` of ``snapshot`` asks of a stand-in, and notes on what it does not.

    ``silent`` tells of a characteristic or attribute whether the duty states nothing for it.
    ``clearance_mm`` is the room around a spin-on beyond the original's own measures.
    """
    found: list[Requirement] = []
    notes: list[str] = []
    for characteristic, rule in _RULES.items():
        if silent(characteristic):
            found += rule(snapshot, row, characteristic, notes)
    found += _words(snapshot, row, silent)
    found += _measures(snapshot, row, silent, clearance_mm)
    return found, notes


def _ratings(snapshot: Snapshot, row: int, characteristic: str, conditions: tuple[str, ...]) -> Iterator[_Rating]:
    points = snapshot.of(characteristic)
    for place in np.flatnonzero(points.element == row):
        stated = tuple((name, _condition(snapshot, points, int(place), name)) for name in conditions)
        yield _Rating(
            float(points.value[place]), float(points.low[place]), str(points.qualifier.word(int(place))), stated
        )


def _condition(snapshot: Snapshot, points: Points, place: int, name: str) -> float | str | None:
    tests, test = snapshot.tests, int(points.test[place])
    if name == "scale":
        return SCALES[points.scale[place]]
    if name in ("dust", "drop_of", "capacity_basis"):
        word: str | None = getattr(tests, name).word(test)
        return word
    column = tests.terminal_pressure_drop_kpa if name == "terminal_pressure_drop_kpa" else None
    value = float(column[test]) if column is not None else float(getattr(points, name)[place])
    return None if np.isnan(value) else value


def _least_demanding(
    ratings: Iterator[_Rating], demand: Callable[[_Rating], float | None], easier: Callable[[float, float], float]
) -> Iterator[tuple[dict[str, Any], float, list[float]]]:
    """Of tests that differ at the same conditions, the easiest demand; and all that were made."""
    grouped: dict[str, tuple[_Rating, list[float]]] = {}
    for rating in ratings:
        value = demand(rating)
        if value is not None:
            grouped.setdefault(rating.place, (rating, []))[1].append(value)
    for rating, values in grouped.values():
        chosen = values[0]
        for value in values[1:]:
            chosen = easier(chosen, value)
        yield dict(rating.conditions), chosen, values


def _differ(values: list[float], kind: str) -> tuple[str, ...]:
    if len(set(values)) < 2:
        return ()
    stated = ", ".join(show(v, kind) if kind else f"{v:g}" for v in sorted(set(values)))
    return (f"its tests differ ({stated}); the least demanding is required",)


def _filtration_ratio(snapshot: Snapshot, row: int, characteristic: str, notes: list[str]) -> Iterator[Requirement]:
    """Each tested size; a measured ratio is rounded down to the next customary one."""

    def demand(rating: _Rating) -> float | None:
        conditions = dict(rating.conditions)
        size = f"{conditions['size_um']:g} µm"
        if rating.qualifier not in _FLOOR or not np.isfinite(rating.low):
            return None
        if conditions["scale"] == "?":
            notes.append(f"The original's filtration ratio at {size} names no size scale and requires nothing.")
            return None
        if rating.qualifier == "at_least":
            return rating.low
        rounded = rounded_down_ratio(rating.low)
        if rounded is None:
            notes.append(
                f"The original's filtration ratio of {rating.value:g} at {size} lies below 2; nothing is required."
            )
        return rounded

    names = ("size_um", "scale", "flow_l_min", "dust")
    measured = {r.conditions: r.value for r in _ratings(snapshot, row, characteristic, names) if r.qualifier == "equal"}
    for conditions, value, all_values in _least_demanding(_ratings(snapshot, row, characteristic, names), demand, min):
        told = _differ(all_values, "")
        tested = measured.get(tuple(conditions.items()))
        if tested is not None and tested > value:
            told += (f"measured {tested:g}, rounded down to {value:g}",)
        if conditions["dust"] == DUST_OF_STANDARD.get(_standard_of(str(conditions["scale"]))):
            conditions["dust"] = None
        yield Requirement("", characteristic, "original", low=value, notes=told, **conditions)


def _standard_of(scale: str) -> str:
    return next(standard for standard, its in STANDARD_OF_SCALE.items() if its == scale)


def _at_least(*conditions: str) -> _Rule:
    return _limit("low", _FLOOR, min, conditions)


def _at_most(*conditions: str) -> _Rule:
    return _limit("high", _CEILING, max, conditions)


def _limit(
    side: str, qualifiers: tuple[str, ...], easier: Callable[[float, float], float], conditions: tuple[str, ...]
) -> _Rule:
    """One limit at each set of conditions that the original was tested at."""

    def rule(snapshot: Snapshot, row: int, characteristic: str, _notes: list[str]) -> Iterator[Requirement]:
        demands = _least_demanding(
            _ratings(snapshot, row, characteristic, conditions),
            lambda r: r.value if r.qualifier in qualifiers else None,
            easier,
        )
        for where, value, values in demands:
            if where.get("dust") == DUST_OF_STANDARD["ISO 16889"]:
                where["dust"] = None
            if "viscosity_mm2_s" in where:
                where["viscosity_low_mm2_s"] = where["viscosity_high_mm2_s"] = where.pop("viscosity_mm2_s")
            told = _differ(values, CHARACTERISTICS[characteristic].kind)
            yield Requirement("", characteristic, "original", notes=told, **where | {side: value})

    return rule


def _cracking(snapshot: Snapshot, row: int, characteristic: str, _notes: list[str]) -> Iterator[Requirement]:
    ratings = list(_ratings(snapshot, row, characteristic, ()))
    floors = [r.value for r in ratings if r.qualifier in _FLOOR]
    ceilings = [r.value for r in ratings if r.qualifier in _CEILING]
    if floors or ceilings:
        yield Requirement(
            "",
            characteristic,
            "original",
            low=min(floors) * (1 - CRACKING_WITHIN) if floors else -np.inf,
            high=max(ceilings) * (1 + CRACKING_WITHIN) if ceilings else np.inf,
            notes=(f"within {CRACKING_WITHIN:.0%} of the original's (common practice)",),
        )


_RULES: dict[str, _Rule] = {
    # Never the bubble point, which is each maker's own, nor fatigue, which few state.
    "filtration_ratio": _filtration_ratio,
    "retained_capacity": _at_least("flow_l_min", "terminal_pressure_drop_kpa", "capacity_basis", "dust"),
    "clean_pressure_drop": _at_most("flow_l_min", "viscosity_mm2_s", "density_kg_m3", "drop_of"),
    "collapse_pressure": _at_least(),
    "working_pressure": _at_least(),
    "burst_pressure": _at_least(),
    "bypass_cracking_pressure": _cracking,
    "temperature_low": _at_most(),
    "temperature_high": _at_least(),
}


def _words(snapshot: Snapshot, row: int, silent: Callable[[str], bool]) -> Iterator[Requirement]:
    for name in WORDS_TAKEN:
        word = snapshot.elements.words[name].word(row)
        if word is not None and silent(name):
            yield Requirement("", name, "original", word=word)
    # A valve that keeps the housing full is missed when it is gone; one too many does no harm (common practice).
    if snapshot.elements.words["anti_drain_back"].word(row) == "yes" and silent("anti_drain_back"):
        yield Requirement("", "anti_drain_back", "original", word="yes")


def _measures(
    snapshot: Snapshot, row: int, silent: Callable[[str], bool], clearance_mm: float
) -> Iterator[Requirement]:
    """Gaskets and bores by tolerance; length by tolerance between seats; what must fit into a space up to the
    original's own measure plus the clearance (common practice)."""
    kind = snapshot.elements.words["kind"].word(row)
    for name, tolerance in MEASURE_TOLERANCE_MM.items():
        value = float(snapshot.elements.measures[name][row])
        if np.isnan(value) or not silent(name):
            continue
        required = Requirement("", name, "original", low=value - tolerance, high=value + tolerance, nominal=value)
        if name in AT_MOST_THE_ORIGINAL and not (name == "length" and kind in LENGTH_FITS_BETWEEN_SEATS):
            note = f"up to the original's {value:g} mm plus a clearance of {clearance_mm:g} mm (common practice)"
            yield replace(required, low=-np.inf, high=value + clearance_mm, notes=(note,))
        else:
            note = f"the original's {value:g} mm ± {tolerance:g} mm (common practice)"
            yield replace(required, notes=(note,))
