"""Which elements of one state of the catalogue are of a maker, a kind and a fit: over arrays, in the order of
maker and number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from specdb.bounds import MEETS, BoolArray, IntArray, verdict
from specdb.catalog.identity import identity_key
from specdb.catalog.search import names_alike
from specdb.catalog.snapshot import Coded, Snapshot
from specdb.errors import NotOnFileError

SHOWN_AT_MOST = 8
"""Makers or series that are named in place of one that is not on file."""


@dataclass(frozen=True)
class Wanted:
    """What a listed element must state. ``words`` are codes by attribute; ``measures`` are least and greatest, in mm,
    both inclusive. A ``fluid_class`` must be listed as compatible and not as excluded."""

    maker: str | None = None
    series: str | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    fluid_class: str | None = None
    measures: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class Listing:
    """``rows`` of the snapshot that state all that is wanted, and those that contradict none of it and leave some of it
    unstated: ``left_open``. Both rise."""

    rows: IntArray
    left_open: IntArray


def list_elements(snapshot: Snapshot, wanted: Wanted) -> Listing:
    """Raises NotOnFileError for a maker or a series that no element is of, naming those that are like it."""
    elements = snapshot.elements
    met, open_ = np.ones(len(elements), bool), np.ones(len(elements), bool)
    for meets, unstated in _each(snapshot, wanted).values():
        met &= meets
        open_ &= meets | unstated
    return Listing(np.flatnonzero(met), np.flatnonzero(open_ & ~met))


def unstated_by(snapshot: Snapshot, wanted: Wanted, rows: IntArray) -> list[list[str]]:
    """Names of what is wanted that each of the elements in ``rows`` leaves unstated. Raises as ``list_elements``."""
    each = {name: unstated[rows] for name, (_, unstated) in _each(snapshot, wanted).items()}
    return [[name for name, unstated in each.items() if unstated[place]] for place in range(len(rows))]


def nearest_first(snapshot: Snapshot, rows: IntArray, measures: Mapping[str, tuple[float, float]]) -> IntArray:
    """Elements in the order of how far their measures are off the middle of what is wanted: the sum of the differences,
    each as a part of what is wanted. Those that are equally far stay in their order."""
    off = np.zeros(len(rows))
    for name, (low, high) in measures.items():
        middle = (low + high) / 2
        off += np.abs(snapshot.elements.measures[name][rows] - middle) / middle
    # What differs by the last bits of a sum of fractions is equally far.
    return rows[np.argsort(np.round(off, 9), kind="stable")]


def _each(snapshot: Snapshot, wanted: Wanted) -> dict[str, tuple[BoolArray, BoolArray]]:
    """For each thing wanted, by its name: which elements state it, and which leave it unstated."""
    elements = snapshot.elements
    found: dict[str, tuple[BoolArray, BoolArray]] = {}
    if wanted.maker is not None:
        found["maker"] = _of_maker(snapshot, wanted.maker), np.zeros(len(elements), bool)
    if wanted.series is not None:
        series = elements.words["series"]
        found["series"] = _of_series(series, wanted.series), ~series.stated
    for name, word in wanted.words.items():
        found[name] = elements.words[name].equals(word), ~elements.words[name].stated
    if wanted.fluid_class is not None:
        compatible = elements.words["fluids_compatible"].lists(wanted.fluid_class)
        excluded = elements.words["fluids_excluded"].lists(wanted.fluid_class)
        found["fluid_class"] = compatible & ~excluded, ~compatible & ~excluded
    for name, (low, high) in wanted.measures.items():
        value, slack = elements.measures[name], elements.slacks[name]
        found[name] = verdict(value, value, low, high, slack, slack) == MEETS, np.isnan(value)
    return found


def _of_maker(snapshot: Snapshot, maker: str) -> BoolArray:
    elements = snapshot.elements
    of_maker = np.asarray(elements.maker_key == identity_key(maker, field="maker"), bool)
    if not of_maker.any():
        makers = list(dict.fromkeys(elements.maker))
        raise _not_on_file("No maker of this name is on file.", maker, "maker", names_alike(maker, makers), makers)
    return of_maker


def _of_series(series: Coded, name: str) -> BoolArray:
    key = identity_key(name, field="series")
    same = [code for code, word in enumerate(series.words) if identity_key(word) == key]
    if not same:
        alike = names_alike(name, series.words)
        raise _not_on_file("No series of this name is on file.", name, "series", alike, list(series.words))
    return np.isin(series.codes, same)


def _not_on_file(message: str, value: str, field: str, alike: list[str], names: list[str]) -> NotOnFileError:
    if alike:
        remedy = f"Near it on file: {', '.join(alike)}."
    else:
        more = ", and others" if len(names) > SHOWN_AT_MOST else ""
        remedy = f"On file: {', '.join(names[:SHOWN_AT_MOST])}{more}." if names else "Nothing is on file yet."
    return NotOnFileError(message, value=value, field=field, remedy=remedy)


def tests_on_file(snapshot: Snapshot, rows: IntArray) -> IntArray:
    """How many tests each of the elements in ``rows`` has."""
    return _counted(snapshot.tests.element, rows)


def ratings_on_file(snapshot: Snapshot, rows: IntArray) -> dict[str, IntArray]:
    """How many ratings of each characteristic each of the elements in ``rows`` has."""
    return {key: _counted(snapshot.points.element[those], rows) for key, those in snapshot.slices.items()}


def _counted(rising: IntArray, rows: IntArray) -> IntArray:
    """How often a column that rises holds each of ``rows``."""
    return np.searchsorted(rising, rows, side="right") - np.searchsorted(rising, rows, side="left")
