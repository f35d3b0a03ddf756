"""What the store holds, looked up in memory: one query a table, however many rows come in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from specdb.catalog import tables
from specdb.exchange.columns import TEST_COLUMNS, TEST_QUANTITIES
from specdb.exchange.rows import Named, RatingRow, Stated, digits

TestKey = tuple[str, str, str, str]
"""Maker key, number key, source key, label of a test ("" for none)."""
RatingKey = tuple[str, ...]
"""What makes two rows one result: the test and the conditions, without the value."""

COLUMN_OF_QUANTITY = {
    "gravimetric_level": "gravimetric_level_mg_l",
    "terminal_pressure_drop": "terminal_pressure_drop_kpa",
    "cycle_pressure": "cycle_pressure_kpa",
}
SOURCE_COLUMNS = ("title", "kind", "issuer", "document_revision", "date")


@dataclass(frozen=True, slots=True)
class RatingOnFile:
    id: int
    label: str
    key: RatingKey
    value: str
    element: tuple[str, str]
    characteristic: str
    test_id: int
    wording: tuple[str | None, ...]


@dataclass
class OnFile:
    """Facts by what identifies them. ``ended`` maps a fact's id to what took its place, None for withdrawn."""

    sources: dict[str, tuple[int, tuple[str | None, ...]]] = field(default_factory=dict)
    elements: dict[tuple[str, str], str] = field(default_factory=dict)
    numbers: dict[tuple[str, str], dict[str, str]] = field(default_factory=lambda: defaultdict(dict))
    attributes: dict[tuple[str, str], list[sa.Row[Any]]] = field(default_factory=lambda: defaultdict(list))
    tests: dict[TestKey, list[int]] = field(default_factory=lambda: defaultdict(list))
    conditions: dict[int, dict[str, Stated]] = field(default_factory=dict)
    ratings: dict[int, RatingOnFile] = field(default_factory=dict)
    rating_of_label: dict[str, int] = field(default_factory=dict)
    ratings_of_key: dict[RatingKey, list[int]] = field(default_factory=lambda: defaultdict(list))
    claims: dict[tuple[str, ...], str | None] = field(default_factory=dict)
    ended_ratings: dict[int, int | None] = field(default_factory=dict)
    ended_attributes: dict[int, int | None] = field(default_factory=dict)
    reason_of_attribute: dict[int, str] = field(default_factory=dict)

    def successor(self, rating_id: int) -> int | None:
        """The rating that stands in the place of this one now, None where it was withdrawn."""
        place: int | None = rating_id
        while place is not None and place in self.ended_ratings:
            place = self.ended_ratings[place]
        return place


def key_of_test(named: Named, source: str | None, test: str | None) -> TestKey:
    return named.maker_key, named.number_key, source or "", test or ""


def rating_key(
    test: TestKey, point: tuple[str, ...], conditions: Mapping[str, Stated]
) -> RatingKey:
    """The natural key. A result without a named test is told apart by all of the test's columns as well."""
    if test[3]:
        return (*test, *point)
    return (*test, *point, *(conditions[c].key if c in conditions else "" for c in TEST_COLUMNS))


def key_of_row(row: RatingRow, conditions: Mapping[str, Stated]) -> RatingKey:
    numbers = (row.flow, row.viscosity, row.density)
    point = (
        row.characteristic, row.qualifier, digits(row.size.number if row.size else None), row.scale or "",
        *(digits(n.number if n else None) for n in numbers),
    )  # fmt: skip
    return rating_key(key_of_test(row.named, row.source, row.test), point, conditions)


def load(connection: sa.Connection) -> OnFile:
    """Everything an import is compared with. The connection must keep other writers out until it ends."""
    held = OnFile()
    _load_supersessions(connection, held)
    key_of_source: dict[int | None, str] = {None: ""}
    for row in connection.execute(sa.select(tables.source)):
        held.sources[row.key] = (row.id, tuple(getattr(row, column) for column in SOURCE_COLUMNS))
        key_of_source[row.id] = row.key
    keys_of_element = {}
    for row in connection.execute(sa.select(tables.element)):
        keys = (row.maker_key, row.number_key)
        held.elements[keys] = row.element_id
        held.numbers[row.maker_key, row.search_key][row.number_key] = row.number
        keys_of_element[row.element_id] = keys
    for row in connection.execute(sa.select(tables.element_attribute).order_by(tables.element_attribute.c.id)):
        held.attributes[row.element_id, row.name].append(row)
    tests = _load_tests(connection, held, key_of_source, keys_of_element)
    _load_ratings(connection, held, tests)
    for row in connection.execute(sa.select(tables.interchange_claim)):
        key = claim_key(
            (row.maker_key, row.number_key), (row.replaces_maker_key, row.replaces_number_key),
            key_of_source[row.source_id], row.date,
        )  # fmt: skip
        held.claims[key] = row.remark
    return held


def claim_key(
    named: tuple[str, str], replaces: tuple[str, str], source: str | None, date: str | None
) -> tuple[str, ...]:
    return (*named, *replaces, source or "", date or "")


def _load_supersessions(connection: sa.Connection, held: OnFile) -> None:
    for row in connection.execute(sa.select(tables.supersession)):
        if row.old_rating_id is not None:
            held.ended_ratings[row.old_rating_id] = row.new_rating_id
        elif row.old_attribute_id is not None:
            held.ended_attributes[row.old_attribute_id] = row.new_attribute_id
            if row.new_attribute_id is not None:
                held.reason_of_attribute[row.new_attribute_id] = row.reason


def _load_tests(
    connection: sa.Connection,
    held: OnFile,
    key_of_source: Mapping[int | None, str],
    keys_of_element: Mapping[str, tuple[str, str]],
) -> dict[int, TestKey]:
    key_of_test = {}
    for row in connection.execute(sa.select(tables.test).order_by(tables.test.c.id)):
        key = (*keys_of_element[row.element_id], key_of_source[row.source_id], row.label or "")
        key_of_test[row.id] = key
        held.tests[key].append(row.id)
        conditions = {}
        for column in TEST_COLUMNS:
            if column in TEST_QUANTITIES:
                number = getattr(row, COLUMN_OF_QUANTITY[column])
                if number is not None:
                    conditions[column] = Stated(digits(number), number, getattr(row, f"{column}_text"))
            elif (word := getattr(row, column)) is not None:
                conditions[column] = Stated(word, None, word)
        held.conditions[row.id] = conditions
    return key_of_test


def _load_ratings(connection: sa.Connection, held: OnFile, tests: Mapping[int, TestKey]) -> None:
    for row in connection.execute(sa.select(tables.rating)):
        test = tests[row.test_id]
        numbers = (row.flow_l_min, row.viscosity_mm2_s, row.density_kg_m3)
        point = (
            row.characteristic, row.qualifier, digits(row.size_um), row.size_scale or "",
            *(digits(number) for number in numbers),
        )  # fmt: skip
        key = rating_key(test, point, held.conditions[row.test_id])
        held.ratings[row.id] = RatingOnFile(
            row.id, row.label, key, digits(row.value), test[:2], row.characteristic, row.test_id,
            (row.text, row.page, row.remark),
        )  # fmt: skip
        held.rating_of_label[row.label] = row.id
        held.ratings_of_key[key].append(row.id)
