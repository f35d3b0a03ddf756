"""Requirements taken from the original element's own ratings, at the conditions they were tested at."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any

import numpy as np

from specdb.catalog.snapshot import Points, Snapshot
from specdb.characteristics import CHARACTERISTICS, DUST_OF_STANDARD, SCALES, STANDARD_OF_SCALE
from specdb.duty.requirement import Note, Requirement
from specdb.duty.stated import MEASURE_TOLERANCE_MM
from specdb.trade.filtration import rounded_down_ratio

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
            taken = list(rule(snapshot, row, characteristic, notes))
            title = CHARACTERISTICS[characteristic].title
            if not taken and (snapshot.of(characteristic).element == row).any() and not any(title in n for n in notes):
                notes.append(f"What is on file of the original's {title} is no limit that a stand-in could be held to.")
            found += taken
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
        by_standard = name == "capacity_basis" and tests.standard.word(test) == "ISO 16889"
        return "retained" if word is None and by_standard else word
    column = tests.terminal_pressure_drop_kpa if name == "terminal_pressure_drop_kpa" else None
    value = float(column[test]) if column is not None else float(getattr(points, name)[place])
    return None if np.isnan(value) else value


@dataclass(frozen=True)
class _Demand:
    """What is required at one set of conditions, and the ratings it was chosen from with what each demands."""

    conditions: dict[str, Any]
    value: float
    rated: tuple[tuple[_Rating, float], ...]

    def notes(self, kind: str) -> tuple[str | Note, ...]:
        stated = sorted({rating.value for rating, _ in self.rated})
        if len({demand for _, demand in self.rated}) < 2:
            return ()
        places = ", ".join("{}" for _ in stated)
        text = f"its tests differ ({places}); the least demanding is required"
        return (Note(text, tuple((value, kind) for value in stated)),)


def _least_demanding(
    ratings: Iterator[_Rating], demand: Callable[[_Rating], float | None], easier: Callable[[float, float], float]
) -> Iterator[_Demand]:
    """Of tests that differ at the same conditions, the easiest demand; and all that were made."""
    grouped: dict[str, list[tuple[_Rating, float]]] = {}
    for rating in ratings:
        value = demand(rating)
        if value is not None:
            grouped.setdefault(rating.place, []).append((rating, value))
    for rated in grouped.values():
        yield _Demand(dict(rated[0][0].conditions), reduce(easier, [value for _, value in rated]), tuple(rated))


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
    for asked in _least_demanding(_ratings(snapshot, row, characteristic, names), demand, min):
        told = asked.notes("")
        rounded = sorted(
            r.value for r, its in asked.rated if its == asked.value and its < r.value and r.qualifier == "equal"
        )
        if rounded:
            told += (f"measured {rounded[0]:g}, rounded down to {asked.value:g}",)
        conditions = asked.conditions
        if conditions["dust"] == DUST_OF_STANDARD.get(_standard_of(str(conditions["scale"]))):
            conditions["dust"] = None
        yield Requirement("", characteristic, "original", low=asked.value, notes=told, **conditions)


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
        def demand(rating: _Rating) -> float | None:
            # What bounds the retained mass from above alone is no floor.
            unknown_basis = dict(rating.conditions).get("capacity_basis", "") is None
            return rating.value if rating.qualifier in qualifiers and not unknown_basis else None

        for asked in _least_demanding(_ratings(snapshot, row, characteristic, conditions), demand, easier):
            where = asked.conditions
            if where.get("dust") == DUST_OF_STANDARD["ISO 16889"]:
                where["dust"] = None
            if "viscosity_mm2_s" in where:
                where["viscosity_low_mm2_s"] = where["viscosity_high_mm2_s"] = where.pop("viscosity_mm2_s")
            if "density_kg_m3" in where:
                where["density_low_kg_m3"] = where["density_high_kg_m3"] = where.pop("density_kg_m3")
            told = asked.notes(CHARACTERISTICS[characteristic].kind)
            yield Requirement("", characteristic, "original", notes=told, **where | {side: asked.value})

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
    "air_pressure_drop": _at_most("flow_l_min"),
    "air_particle_size": _at_most(),
    "water_capacity": _at_least(),
    "mesh_opening": _at_most(),
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
            text = "up to the original's {} plus a clearance of {} (common practice)"
            note = Note(text, ((value, "length"), (clearance_mm, "length")))
            yield replace(required, low=-np.inf, high=value + clearance_mm, notes=(note,))
        else:
            note = Note("the original's {} ± {} (common practice)", ((value, "length"), (tolerance, "length")))
            yield replace(required, notes=(note,))
