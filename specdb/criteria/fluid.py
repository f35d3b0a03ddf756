"""Whether mounting seal and media stand the duty's fluid: by the maker's ISO 2943 result, else by the table, else by
the fluid classes that the maker lists.

A result of ISO 2943 speaks of the element that was soaked, media and adhesive, and goes before the table for them; of
the mounting seal it says nothing, which is judged by itself (ISO 2943:1998, scope). Where the table says nothing of a
material, the maker's list does, which is of the whole element; it undoes no warning of the table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from specdb.bounds import MEETS, MISSES, NOT_SHOWN, BoolArray
from specdb.catalog.snapshot import Snapshot
from specdb.criteria.evidence import BASIS, REASON
from specdb.criteria.verdicts import Judged
from specdb.duty import Requirement
from specdb.trade.compatibility import Cell, Level, media_with, seal_with

Tested = Literal["passed", "failed", "passed and failed"]

PART_OF = {"seal_compatibility": "seal", "media_compatibility": "media"}
"""Criterion: the attribute that names the material which the table is asked of."""

SOAKED = "ISO 2943"

SOAKED_IN: dict[str, tuple[str, ...]] = {"seal": (), "media": ("fluids_tested", "fluids_failed")}
"""Part: the attributes that list the classes it passed and failed ISO 2943 in. Of the mounting seal the test says
nothing."""

_TABLES = {"seal": seal_with, "media": media_with}
_JUDGED_AS: dict[Level, tuple[int, str]] = {
    "suitable": (MEETS, ""),
    "depends": (NOT_SHOWN, "depends"),
    "not_suitable": (MISSES, ""),
    "unknown": (NOT_SHOWN, "not_in_table"),
}


@dataclass(frozen=True)
class Ground:
    """What the verdict on one element rests on: the result of ISO 2943 where there is one, else the table's cell, else
    nothing. ``material`` is what the element states, None where it states nothing; ``attributes`` are those that say
    so; ``listed``: the table says nothing, and the maker lists the fluid class as compatible."""

    material: str | None
    tested: Tested | None
    cell: Cell | None
    attributes: tuple[str, ...]
    listed: bool = False


def ground_of(snapshot: Snapshot, requirement: Requirement, row: int) -> Ground:
    """What the verdict on one element rests on."""
    part, fluid, words = PART_OF[requirement.characteristic], str(requirement.word), snapshot.elements.words
    material = words[part].word(row)
    listed = [key for key in SOAKED_IN[part] if fluid in (words[key].word(row) or "").split()]
    if listed:
        tested: Tested = "passed and failed" if len(listed) > 1 else "passed" if "fluids_tested" in listed else "failed"
        return Ground(material, tested, None, tuple(listed))
    cell = None if material is None else _TABLES[part](material, fluid)
    by_maker = cell is not None and cell.level == "unknown" and bool(_lists(snapshot, fluid)[row])
    return Ground(material, None, cell, (part, "fluids_compatible") if by_maker else (part,), by_maker)


def _lists(snapshot: Snapshot, fluid: str) -> BoolArray:
    """Elements whose maker lists the class as compatible, and not as excluded too."""
    words = snapshot.elements.words
    return words["fluids_compatible"].lists(fluid) & ~words["fluids_excluded"].lists(fluid)


def judge_fluid(snapshot: Snapshot, requirement: Requirement, result: Judged) -> None:
    """Writes verdict, reason, lean and basis of every element that states something onto ``result``."""
    part, fluid = PART_OF[requirement.characteristic], str(requirement.word)
    column = snapshot.elements.words[part]
    for code, material in enumerate(column.words):
        rows = column.codes == code
        verdict, reason = _JUDGED_AS[_TABLES[part](material, fluid).level]
        result.verdict[rows], result.reason[rows] = verdict, REASON[reason]
        decided = "not_applicable" if part == "seal" and material == "none" else "from_table"
        result.basis[rows] = BASIS[decided if verdict != NOT_SHOWN else ""]
    listed = _lists(snapshot, fluid) & (result.reason == REASON["not_in_table"])
    result.verdict[listed], result.reason[listed], result.basis[listed] = MEETS, REASON[""], BASIS["as_stated"]
    if not SOAKED_IN[part]:
        return
    passed, failed = (snapshot.elements.words[key].lists(fluid) for key in SOAKED_IN[part])
    result.basis[passed | failed] = BASIS["as_stated"]
    result.verdict[passed], result.verdict[failed] = MEETS, MISSES
    both = passed & failed
    result.verdict[both], result.reason[both], result.basis[both] = NOT_SHOWN, REASON["sources_disagree"], BASIS[""]
    result.lean[both] = MISSES
