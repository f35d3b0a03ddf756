"""Which facts hold at a revision, and rows as plain dictionaries."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from specdb.catalog.tables import supersession

Row = dict[str, Any]


def in_force(table: sa.Table, kind: str, revision: int) -> sa.ColumnElement[bool]:
    """Added by then, and not superseded by then. ``kind`` is rating, attribute or claim."""
    old = supersession.c[f"old_{kind}_id"]
    ended = sa.select(old).where(old.is_not(None), supersession.c.revision_id <= revision)
    return sa.and_(table.c.added_in <= revision, table.c.id.not_in(ended))


def rows_of(connection: sa.Connection, query: sa.Select[Any]) -> list[Row]:
    return [dict(row) for row in connection.execute(query).mappings()]
