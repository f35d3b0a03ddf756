"""All that a store holds, with labels, keys and contents in place of numbers and times: equal for equal catalogues."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import sqlalchemy as sa

from specdb.catalog import tables
from tests.specdb.exchange.stored import held

NUMBERS = {"id", "added_in", "test_id", "source_id", "revision_id"}


def _content(row: dict[str, Any]) -> tuple[tuple[str, Any], ...]:
    return tuple(sorted((name, value) for name, value in row.items() if name not in NUMBERS))


def everything(engine: sa.Engine) -> dict[str, list[Any]]:
    """Each table's rows without numbering. A rating's test is its content and the labels of all its ratings; an
    attribute is told apart from others of the same content by what stands before it."""
    found = {name: held(engine, table) for name, table in tables.metadata.tables.items() if name != "store_identity"}
    source_key = {row["id"]: row["key"] for row in found["source"]} | {None: None}
    labels_of_test = defaultdict(list)
    for row in found["rating"]:
        labels_of_test[row["test_id"]].append(row["label"])
    ends = found["supersession"]
    label_of = {row["id"]: row["label"] for row in found["rating"]}
    attribute_of = {row["id"]: row for row in found["element_attribute"]}
    replaced = {row["new_attribute_id"]: row["old_attribute_id"] for row in ends if row["new_attribute_id"]}

    def chain(number: int | None) -> tuple[Any, ...]:
        if number is None:
            return ()
        row = attribute_of[number]
        return (*chain(replaced.get(number)), _content(row), source_key[row["source_id"]])

    return {
        "sources": sorted(repr(_content(row)) for row in found["source"]),
        "elements": sorted(repr(_content(row)) for row in found["element"]),
        "attributes": sorted(map(repr, (chain(number) for number in attribute_of))),
        "tests": sorted(
            repr((_content(row), source_key[row["source_id"]], sorted(labels_of_test[row["id"]])))
            for row in found["test"]
        ),
        "ratings": sorted(repr(_content(row)) for row in found["rating"]),
        "claims": sorted(repr((_content(row), source_key[row["source_id"]])) for row in found["interchange_claim"]),
        "ends": sorted(
            repr((label_of.get(row["old_rating_id"]), label_of.get(row["new_rating_id"]),
                  chain(row["old_attribute_id"]), chain(row["new_attribute_id"]), row["reason"]))
            for row in ends
        ),
    }  # fmt: skip
