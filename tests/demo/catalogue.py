"""The demo catalogue in a store, and the same catalogue with one fact changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd
import sqlalchemy as sa

from specdb.catalog import reading, revisions
from specdb.catalog.snapshot import Snapshot, build_snapshot
from specdb.catalog.store import read_session


@dataclass(frozen=True)
class Facts:
    """What is in force at a revision, as it is stored: the tables that a snapshot is built from."""

    revision: int
    elements: pd.DataFrame
    attributes: pd.DataFrame
    tests: pd.DataFrame
    ratings: pd.DataFrame
    sources: Any
    claims: pd.DataFrame

    def snapshot(self) -> Snapshot:
        return build_snapshot(
            self.revision, self.elements, self.attributes, self.tests, self.ratings, self.sources, self.claims
        )

    def element_id(self, number: str) -> str:
        (found,) = self.elements.loc[self.elements["number"] == number, "element_id"]
        return str(found)


@dataclass(frozen=True)
class Demo:
    """The demo catalogue, imported once as revision 1 of a store that holds one correction more.

    ``facts`` and ``snapshot`` are of revision 1. Nothing may be written to ``engine`` any more.
    """

    engine: sa.Engine
    facts: Facts
    snapshot: Snapshot

    def loaded(self, as_of: str) -> Snapshot:
        """Read from the store again, through whatever stands in the program's place by then."""
        with read_session(self.engine) as connection:
            return reading.load_snapshot(connection, revisions.revision_as_of(connection, as_of))


def row_of(snapshot: Snapshot, number: str) -> int:
    """Row of the one element that has ``number``; no two makers of the demo share one."""
    (row,) = (place for place, its in enumerate(snapshot.elements.number) if its == number)
    return row


Change = Callable[[Facts], Facts]


def _tests_of(facts: Facts, number: str) -> pd.Series[bool]:
    return facts.tests["element_id"] == facts.element_id(number)


def _ratings_of(facts: Facts, number: str, characteristic: str, size_um: float | None) -> pd.Series[bool]:
    tests = facts.tests.loc[_tests_of(facts, number), "id"]
    found = facts.ratings["test_id"].isin(tests) & (facts.ratings["characteristic"] == characteristic)
    return found if size_um is None else found & (facts.ratings["size_um"] == size_um)


def _with(table: pd.DataFrame, rows: pd.Series[bool], columns: dict[str, Any]) -> pd.DataFrame:
    assert rows.any(), "the fact to change is not on file"
    changed = table.copy()
    for column, value in columns.items():
        changed.loc[rows, column] = value
    return changed


def rating(number: str, characteristic: str, *, size_um: float | None = None, **columns: Any) -> Change:
    """The catalogue had the ratings of ``characteristic`` (at ``size_um``) other ``columns``."""

    def change(facts: Facts) -> Facts:
        ratings = _with(facts.ratings, _ratings_of(facts, number, characteristic, size_um), columns)
        return Facts(**{**vars(facts), "ratings": ratings})

    return change


def no_rating(number: str, characteristic: str, *, size_um: float | None = None, **where: Any) -> Change:
    """The catalogue did not have these ratings; ``where`` names columns and the values they have."""

    def change(facts: Facts) -> Facts:
        gone = _ratings_of(facts, number, characteristic, size_um)
        for column, value in where.items():
            gone &= facts.ratings[column] == value
        assert gone.any(), "the fact to leave out is not on file"
        return Facts(**{**vars(facts), "ratings": facts.ratings[~gone]})

    return change


def tested(number: str, **columns: Any) -> Change:
    """The catalogue had all tests of an element with other ``columns``."""

    def change(facts: Facts) -> Facts:
        return Facts(**{**vars(facts), "tests": _with(facts.tests, _tests_of(facts, number), columns)})

    return change


def one_test(number: str, characteristic: str) -> Change:
    """All ratings of ``characteristic`` stood in the element's first test that reports it."""

    def change(facts: Facts) -> Facts:
        rows = _ratings_of(facts, number, characteristic, None)
        first = facts.ratings.loc[rows, "test_id"].iloc[0]
        return Facts(**{**vars(facts), "ratings": _with(facts.ratings, rows, {"test_id": first})})

    return change


def attribute(number: str, name: str, **columns: Any) -> Change:
    """The catalogue had an attribute with other ``columns``."""

    def change(facts: Facts) -> Facts:
        rows = (facts.attributes["element_id"] == facts.element_id(number)) & (facts.attributes["name"] == name)
        return Facts(**{**vars(facts), "attributes": _with(facts.attributes, rows, columns)})

    return change


def no_attribute(number: str, name: str) -> Change:
    """The catalogue did not state this attribute of the element."""

    def change(facts: Facts) -> Facts:
        rows = (facts.attributes["element_id"] == facts.element_id(number)) & (facts.attributes["name"] == name)
        assert rows.any(), "the attribute to leave out is not on file"
        return Facts(**{**vars(facts), "attributes": facts.attributes[~rows]})

    return change


def no_claim(number: str, replaces_number: str) -> Change:
    """Nobody had claimed that the one number replaces the other."""

    def change(facts: Facts) -> Facts:
        of_it = (facts.claims["number"] == number) & (facts.claims["replaces_number"] == replaces_number)
        assert of_it.any(), "the claim to leave out is not on file"
        return Facts(**{**vars(facts), "claims": facts.claims[~of_it]})

    return change
