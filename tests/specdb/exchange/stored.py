"""What an import leaves in the store, for tests to look at."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from specdb.catalog import tables
from specdb.catalog.store import read_session

RATING_HEADINGS = "maker,number,characteristic,value"


def held(engine: sa.Engine, table: sa.Table) -> list[dict[str, Any]]:
    """Rows of a table in the order of their numbers."""
    order = table.c.id if "id" in table.c else table.c.element_id
    with read_session(engine) as connection:
        return [dict(row) for row in connection.execute(sa.select(table).order_by(order)).mappings()]


def counts(engine: sa.Engine) -> dict[str, int]:
    with read_session(engine) as connection:
        return {
            name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for name, table in tables.metadata.tables.items()
        }


def facts(engine: sa.Engine) -> dict[str, list[tuple[Any, ...]]]:
    """Everything on file with labels and keys in place of numbers, sorted: what does not depend on order."""
    t = tables
    old, new = t.rating.alias("old"), t.rating.alias("new")
    plain = [c for c in t.rating.c if c.name not in ("id", "test_id")]
    tested = [c for c in t.test.c if c.name not in ("id", "source_id", "added_in")]
    attributes = sa.select(
        t.element_attribute.c["element_id", "name", "text", "number", "code"], t.source.c.key
    ).join_from(t.element_attribute, t.source, isouter=True)
    ratings = sa.select(*plain, *tested, t.source.c.key).select_from(
        t.rating.join(t.test).join(t.source, t.source.c.id == t.test.c.source_id, isouter=True)
    )
    chains = sa.select(old.c.label, new.c.label).select_from(
        t.supersession.join(old, old.c.id == t.supersession.c.old_rating_id)
        .join(new, new.c.id == t.supersession.c.new_rating_id)
    )  # fmt: skip
    asked = {"attributes": attributes, "ratings": ratings, "chains": chains, "tests": sa.select(*tested)}
    with read_session(engine) as connection:
        return {
            name: sorted((tuple(row) for row in connection.execute(query)), key=repr) for name, query in asked.items()
        }
