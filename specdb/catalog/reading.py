"""Facts that are in force at a revision: the columnar view of all, and one element whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlmodel import SQLModel

from specdb.catalog.identity import identity_key, search_key
from specdb.catalog.snapshot import Snapshot, Source, build_snapshot
from specdb.catalog.tables import (
    Element,
    ElementAttribute,
    ElementTest,
    InterchangeClaim,
    Rating,
    Supersession,
)
from specdb.catalog.tables import Source as SourceRow
from specdb.characteristics import CHARACTERISTICS
from specdb.errors import NotOnFileError, QuestionError

Row = dict[str, Any]

ALIKE_AT_MOST = 5
"""Numbers that are offered in place of one that is not on file."""


def _table(model: type[SQLModel]) -> sa.Table:
    table = model.metadata.tables[str(model.__tablename__)]
    assert isinstance(table, sa.Table)
    return table


element, attribute, test, rating, claim, source, supersession = (
    _table(m) for m in (Element, ElementAttribute, ElementTest, Rating, InterchangeClaim, SourceRow, Supersession)
)


def _in_force(table: sa.Table, kind: str, revision: int) -> sa.ColumnElement[bool]:
    """Added by then, and not superseded by then."""
    old = supersession.c[f"old_{kind}_id"]
    ended = sa.select(old).where(old.is_not(None), supersession.c.revision_id <= revision)
    return sa.and_(table.c.added_in <= revision, table.c.id.not_in(ended))


def _frame(connection: sa.Connection, query: sa.Select[Any]) -> pd.DataFrame:
    result = connection.execute(query)
    return pd.DataFrame(result.all(), columns=list(result.keys()), dtype=object)


def load_snapshot(connection: sa.Connection, revision: int) -> Snapshot:
    """The catalogue as it was at ``revision``, as arrays."""
    elements = _frame(connection, sa.select(element).where(element.c.added_in <= revision))
    attributes = _frame(
        connection,
        sa.select(
            attribute.c.element_id,
            attribute.c.name,
            attribute.c.text,
            attribute.c.number,
            attribute.c.code,
            attribute.c.source_id,
        ).where(_in_force(attribute, "attribute", revision)),
    )
    tests = _frame(connection, sa.select(test).where(test.c.added_in <= revision))
    ratings = _frame(connection, sa.select(rating).where(_in_force(rating, "rating", revision)))
    return build_snapshot(revision, elements, attributes, tests, ratings, _sources(connection, revision))


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
    attributes = sa.select(attribute, source.c.key.label("source")).join(source, isouter=True)
    attributes = attributes.where(attribute.c.element_id == element_id, _in_force(attribute, "attribute", revision))
    # Where both tables have a column of one name the rating's is kept.
    test_columns = [c for c in test.c if c.name not in rating.c and c.name != "element_id"]
    ratings = sa.select(rating, *test_columns, test.c.label.label("test"), source.c.key.label("source"))
    ratings = ratings.join(test, rating.c.test_id == test.c.id).join(
        source, source.c.id == test.c.source_id, isouter=True
    )
    ratings = ratings.where(test.c.element_id == element_id, _in_force(rating, "rating", revision)).order_by(
        rating.c.id
    )
    found_attributes = _rows(connection, attributes.order_by(attribute.c.id))
    found_ratings = sorted(_rows(connection, ratings), key=_as_a_sheet)
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
        sa.select(claim, source.c.key.label("source"))
        .join(source, isouter=True)
        .where(
            claim.c[f"{side}maker_key"] == of["maker_key"],
            claim.c[f"{side}number_key"] == of["number_key"],
            _in_force(claim, "claim", revision),
        )
    )
    return _rows(connection, query.order_by(claim.c.id))


def _rows(connection: sa.Connection, query: sa.Select[Any]) -> list[Row]:
    return [dict(r._mapping) for r in connection.execute(query)]


def find_element(connection: sa.Connection, number: str, maker: str | None, revision: int) -> str:
    """Identifier of the one element that has this number.

    Raises NotOnFileError where none has it, naming numbers that look alike, and QuestionError where
    several makers do.
    """
    whole = sa.select(element).where(element.c.added_in <= revision).order_by(element.c.maker_key, element.c.number_key)
    query = whole
    if maker is not None:
        query = query.where(element.c.maker_key == identity_key(maker, field="maker"))
    found = connection.execute(query.where(element.c.number_key == identity_key(number, field="number"))).all()
    if len(found) == 1:
        return str(found[0].element_id)
    if found:
        makers = ", ".join(row.maker for row in found)
        raise QuestionError("Several makers have this number.", value=number, field="maker", remedy=f"One of {makers}.")
    everything = [(row.maker, row.number) for row in connection.execute(whole)]
    key = search_key(number)
    named = sa.or_(claim.c.search_key == key, claim.c.replaces_search_key == key)
    claimed = connection.execute(
        sa.select(claim).where(named, _in_force(claim, "claim", revision)).order_by(claim.c.id).limit(ALIKE_AT_MOST)
    )
    claims = [f"{c.maker} {c.number} is claimed to replace {c.replaces_maker} {c.replaces_number}" for c in claimed]
    raise not_on_file(number, maker, alike(number, everything), claims)


def alike(number: str, everything: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Makers and numbers that are easily taken for ``number``; else those whose number it is part of."""
    key = search_key(number)
    keys = [(search_key(its), search_key(whose)) for whose, its in everything]
    same = [pair for pair, (its, whose) in zip(everything, keys, strict=True) if key in (its, whose + its)]
    part = [pair for pair, (its, _) in zip(everything, keys, strict=True) if key in its]
    return (same or part)[:ALIKE_AT_MOST]


def not_on_file(
    number: str, maker: str | None, alike: Sequence[tuple[str, str]], claims: Sequence[str] = ()
) -> NotOnFileError:
    """The error for a number that nobody has, naming those that look like it or hold it, and claims of it."""
    told = [f"{claim} (a claim, no proof)." for claim in claims]
    same = [whose for whose, its in alike if identity_key(its) == identity_key(number)]
    if same:
        told.append(f"This number is on file of {' and of '.join(same)}.")
    elif alike:
        told.append(
            f"Alike on file, each an element of its own: {', '.join(f'{whose} {its}' for whose, its in alike)}."
        )
    return NotOnFileError(
        f"No element{f' of {maker}' if maker else ''} has this number.",
        value=number,
        field="number",
        remedy=" ".join(told) or "Check its dashes and letters.",
    )
