"""The schema of the store, one step after another, run by ``specdb.catalog.store``.

A step is frozen once released: it spells out its tables and words and imports none of ours, so that
an old store passes through it years later as it did on the first day. To draft the next one against
an up-to-date store (Alembic sees no CHECK constraints and no triggers; write those by hand)::

    from alembic import command
    from specdb.catalog import store

    with store.migration_session(store.open_store("sqlite://", create=True)) as connection:
        command.revision(store.migration_config(connection), "what changes", rev_id="0003", autogenerate=True)
"""

LATEST = "0002"
"""The last step, so that a store that is up to date is known without loading Alembic."""
