"""Facts that are in force at a revision: the columnar view of all, and one element whole."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from specdb.catalog.facts import Row, in_force, rows_of
from specdb.catalog.identity import identity_key
from specdb.catalog.search import SearchIndex, not_on_file
from specdb.catalog.snapshot import Snapshot, Source, build_snapshot
from specdb.catalog.tables import element, element_attribute, interchange_claim, rating, source, test
from specdb.characteristics import CHARACTERISTICS
from specdb.errors import NotOnFileError, QuestionError

if TYPE_CHECKING:
    import pandas as pd


def _frame(connection: sa.Connection, query: sa.Select[Any]) -> pd.DataFrame:
    import pandas as pd

    result = connection.execute(query)
    rows = [tuple(row) for row in result.all()]  # pandas would ask every row of a result what kind of thing it is
    return pd.DataFrame(rows, columns=list(result.keys()), dtype=object)


def load_snapshot(connection: sa.Connection, revision: int) -> Snapshot:
    """The catalogue as it was at ``revision``, as arrays."""
    elements = _frame(connection, sa.select(element).where(element.c.added_in <= revision))
    attributes = _frame(
        connection,
        sa.select(
            element_attribute.c.element_id,
            element_attribute.c.name,
            element_attribute.c.text,
            element_attribute.c.number,
            element_attribute.c.code,
            element_attribute.c.source_id,
        ).where(in_force(element_attribute, "attribute", revision)),
    )
    tests = _frame(connection, sa.select(test).where(test.c.added_in <= revision))
    ratings = _frame(connection, sa.select(rating).where(in_force(rating, "rating", revision)))
    claims = _frame(connection, sa.select(interchange_claim).where(in_force(interchange_claim, "claim", revision)))
    return build_snapshot(revision, elements, attributes, tests, ratings, _sources(connection, revision), claims)


def _sources(connection: sa.Connection, revision: int) -> dict[int, Source]:
    rows = connection.execute(sa.select(source).where(source.c.added_in <= revision))
    return {r.id: Source(r.key, r.title or r.key, r.kind, r.issuer, r.document_revision, r.date) for r in rows.all()}


@dataclass(frozen=True)
class ElementOnFile:
    """One element with what is in force for it; rows carry the columns of ``specdb.catalog.tables``.

    ``ratings`` hold the columns of their test and their source's key beside their own;
    ``replaces`` are the claims that it may stand in for another, ``replaced_by`` the reverse.
    """

    element: Row
    attributes: list[Row]
    ratings: list[Row]
    replaces: list[Row]
    replaced_by: list[Row]
    sources: list[Source]


def read_element(connection: sa.Connection, element_id: str, revision: int) -> ElementOnFile:
    """Raises NotOnFileError where the catalogue did not hold the element at ``revision``."""
    found = connection.execute(
        sa.select(element).where(element.c.element_id == element_id, element.c.added_in <= revision)
    ).first()
    if found is None:
        raise NotOnFileError(
            "No element has this identifier.", value=element_id, field="element_id", remedy="Find it by its number."
        )
    row = dict(found._mapping)
    attributes = sa.select(element_attribute, source.c.key.label("source")).join(source, isouter=True)
    attributes = attributes.where(
        element_attribute.c.element_id == element_id, in_force(element_attribute, "attribute", revision)
    )
    # Where both tables have a column of one name the rating's is kept.
    test_columns = [c for c in test.c if c.name not in rating.c and c.name != "element_id"]
    ratings = sa.select(rating, *test_columns, test.c.label.label("test"), source.c.key.label("source"))
    ratings = ratings.join(test, rating.c.test_id == test.c.id).join(
        source, source.c.id == test.c.source_id, isouter=True
    )
    ratings = ratings.where(test.c.element_id == element_id, in_force(rating, "rating", revision)).order_by(
        rating.c.id
    )
    found_attributes = rows_of(connection, attributes.order_by(element_attribute.c.id))
    found_ratings = sorted(rows_of(connection, ratings), key=_as_a_sheet)
    replaces, replaced_by = _claims(connection, row, "", revision), _claims(connection, row, "replaces_", revision)
    named = {r["source"] for r in (*found_attributes, *found_ratings, *replaces, *replaced_by)}
    sources = [s for s in _sources(connection, revision).values() if s.key in named]
    return ElementOnFile(row, found_attributes, found_ratings, replaces, replaced_by, sources)


def _as_a_sheet(row: Row) -> tuple[object, ...]:
    """Ratings as a data sheet lists them: by characteristic, test, size and flow."""
    place = list(CHARACTERISTICS).index(row["characteristic"])
    return (place, row["test_id"], row["size_um"] or 0.0, row["viscosity_mm2_s"] or 0.0, row["flow_l_min"] or 0.0)


def _claims(connection: sa.Connection, of: Row, side: str, revision: int) -> list[Row]:
    query = (
        sa.select(interchange_claim, source.c.key.label("source"))
        .join(source, isouter=True)
        .where(
            interchange_claim.c[f"{side}maker_key"] == of["maker_key"],
            interchange_claim.c[f"{side}number_key"] == of["number_key"],
            in_force(interchange_claim, "claim", revision),
        )
    )
    return rows_of(connection, query.order_by(interchange_claim.c.id))


def read_words(connection: sa.Connection, element_ids: Collection[str], revision: int) -> dict[str, dict[str, str]]:
    """What each of a few elements is, in words: the code of each attribute that has one, else its text."""
    query = sa.select(
        element_attribute.c.element_id,
        element_attribute.c.name,
        sa.func.coalesce(element_attribute.c.code, element_attribute.c.text),
    ).where(element_attribute.c.element_id.in_(element_ids), in_force(element_attribute, "attribute", revision))
    found: dict[str, dict[str, str]] = {element_id: {} for element_id in element_ids}
    for element_id, name, word in connection.execute(query):
        found[element_id][name] = word
    return found


def find_element(connection: sa.Connection, number: str, maker: str | None, revision: int) -> str:
    """Identifier of the one element that has this number.

    Raises NotOnFileError where none has it, naming numbers that are near, and QuestionError where
    several makers do.
    """
    query = sa.select(element.c.element_id, element.c.maker).order_by(element.c.maker_key)
    query = query.where(element.c.added_in <= revision)
    if maker is not None:
        query = query.where(element.c.maker_key == identity_key(maker, field="maker"))
    found = connection.execute(query.where(element.c.number_key == identity_key(number, field="number"))).all()
    if len(found) == 1:
        return str(found[0].element_id)
    if found:
        makers = ", ".join(row.maker for row in found)
        raise QuestionError("Several makers have this number.", value=number, field="maker", remedy=f"One of {makers}.")
    raise not_on_file(number, maker, SearchIndex.of(connection, revision).near_number(number, maker))
