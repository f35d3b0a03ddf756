"""Run by Alembic for every command. The connection, inside its transaction, comes from
``specdb.catalog.store``, which has switched SQLite's enforcement of foreign keys off before the
transaction began: it cannot be switched inside one, and a table that is copied to alter it
would otherwise take its children's rows along.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import context

from specdb.catalog.tables import metadata
from specdb.errors import StoreError


def refuse_broken_references(connection: sa.Connection) -> None:
    """Raise StoreError, and so roll the migration back, when a row refers to one that is not there."""
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if broken:
        raise StoreError(
            f"The migration would leave {len(broken)} rows of {broken[0][0]} and others without what they refer to.",
            remedy="Nothing was changed. Keep the store as it is and report this.",
        )


def run(connection: sa.Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=True,
        compare_type=True,
        compare_server_default=True,
    )
    with context.begin_transaction():
        context.run_migrations()
    if connection.dialect.name == "sqlite":
        refuse_broken_references(connection)


run(context.config.attributes["connection"])
