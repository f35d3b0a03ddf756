"""Which decimal mark a row must declare, so that each of its numbers reads back as the one that it was typed for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

MARKS = (".", ",")


@dataclass(frozen=True)
class Differing:
    """Columns that do not read back the same; where the row was not read ``whole``, those at fault alone."""

    columns: set[str | None]
    whole: bool


@dataclass(frozen=True)
class Declared:
    """A row's cells with what they declare. ``replaced`` are columns whose text is read to no right number
    under either mark: their cells hold the number itself."""

    cells: dict[str, str]
    replaced: list[str]


def declare_marks(
    cells: Mapping[str, str], canonical: Mapping[str, str], differing: Callable[[dict[str, str]], Differing]
) -> Declared:
    """``cells`` with the column ``decimal`` filled, where a number of theirs needs it.

    ``canonical`` holds each number of the row, to its last bit, by column; ``differing`` reads a row
    and compares it. Rows with a comma in a number always declare a mark, so that the others may hold
    a point without one; whatever reads right undeclared reads right under one of the marks as well.
    """
    commas = any("," in cells[column] for column in canonical)
    undeclared = set() if commas else differing(dict(cells)).columns & canonical.keys()
    if not commas and not undeclared:
        return Declared(dict(cells), [])
    agreeing = {mark: _agreeing(cells, mark, canonical, differing) for mark in MARKS}
    base = max(MARKS, key=lambda mark: len(agreeing[mark]))
    other = MARKS[1 - MARKS.index(base)]
    excepted = [c for c in canonical if c not in agreeing[base] and c in agreeing[other]]
    replaced = [c for c in canonical if c not in agreeing[base] and c not in agreeing[other]]
    told = {**cells, **{column: _marked(canonical[column], base) for column in replaced}}
    if commas or undeclared - set(replaced):
        told["decimal"] = " ".join([base, *(f"{column}:{other}" for column in excepted)])
    return Declared(told, replaced)


def _marked(number: str, mark: str) -> str:
    return number.replace(".", mark)


def _agreeing(
    cells: Mapping[str, str],
    mark: str,
    canonical: Mapping[str, str],
    differing: Callable[[dict[str, str]], Differing],
) -> set[str]:
    """Columns whose numbers read right under ``mark``; one at fault is set right to see the others."""
    trial = {**cells, "decimal": mark}
    wrong: set[str] = set()
    while True:
        found = differing(trial)
        fresh = {column for column in canonical if column in found.columns} - wrong
        if not found.whole and "density" in fresh:
            fresh -= {"viscosity"}  # one in cP is read with the density, and may be right once that is
        wrong |= fresh
        if found.whole or not fresh:
            return set(canonical) - wrong
        trial |= {column: _marked(canonical[column], mark) for column in fresh}
