"""The migrations make what the tables describe, there and back, without losing a row."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from specdb.catalog import store
from specdb.catalog.migrations import LATEST
from specdb.catalog.tables import metadata
from specdb.errors import StoreError

VERSIONS = Path(store.__file__).parent / "migrations"


def _schema(connection: sa.Connection, schema: str | None = None) -> dict[str, Any]:
    """All that the database says of our tables: CHECKs too, which Alembic does not compare."""
    inspector = sa.inspect(connection)

    def described(items: list[Any]) -> list[str]:
        plain = [{k: v for k, v in item.items() if k not in ("referred_schema", "comment")} for item in items]
        return sorted(repr(sorted(item.items(), key=str)).replace(f"{schema}.", "") for item in plain)

    return {
        table: {
            "columns": [(c["name"], str(c["type"]), c["nullable"]) for c in inspector.get_columns(table, schema)],
            "checks": described(inspector.get_check_constraints(table, schema)),
            "keys": described(inspector.get_unique_constraints(table, schema)),
            "references": described(inspector.get_foreign_keys(table, schema)),
            "indexes": described(inspector.get_indexes(table, schema)),
            "primary": inspector.get_pk_constraint(table, schema)["constrained_columns"],
            "strict": inspector.get_table_options(table, schema).get("sqlite_strict"),
        }
        for table in sorted(metadata.tables)
    }


def test_alembic_finds_no_difference(any_store: sa.Engine) -> None:
    with any_store.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
        assert compare_metadata(context, metadata) == []


def test_sqlite_holds_the_tables_as_described(store_url: str) -> None:
    engine = store.open_store(store_url)
    described = sa.create_engine("sqlite://")
    metadata.create_all(described)
    with engine.connect() as migrated, described.connect() as expected:
        assert _schema(migrated) == _schema(expected)
        assert sum(len(t["checks"]) for t in _schema(migrated).values()) > 90
    described.dispose()
    engine.dispose()


def test_postgresql_holds_the_tables_as_described(pg_store: sa.Engine) -> None:
    with pg_store.begin() as connection:
        connection.exec_driver_sql("CREATE SCHEMA described")
        metadata.create_all(connection.execution_options(schema_translate_map={None: "described"}))
        assert _schema(connection) == _schema(connection, "described")
        assert sum(len(t["checks"]) for t in _schema(connection).values()) > 90


def test_down_to_nothing_and_up_again(any_store: sa.Engine) -> None:
    with any_store.connect() as connection:
        before = _schema(connection)
    with store.migration_session(any_store) as connection:
        command.downgrade(store.migration_config(connection), "base")
    with any_store.connect() as connection:
        assert sa.inspect(connection).get_table_names() == ["alembic_version"]
    store.upgrade(any_store)
    with any_store.connect() as connection:
        assert _schema(connection) == before
        assert connection.exec_driver_sql("SELECT application FROM store_identity").scalars().all() == ["specdb"]


def test_up_with_rows_and_down_again(filled_store: sa.Engine) -> None:
    store.upgrade(filled_store)  # nothing to do, nothing done
    with store.read_session(filled_store) as connection:
        assert all(connection.execute(sa.select(t)).all() for t in metadata.tables.values())
    with store.migration_session(filled_store) as connection:
        command.downgrade(store.migration_config(connection), "base")
    with filled_store.connect() as connection:
        assert sa.inspect(connection).get_table_names() == ["alembic_version"]


def _one_version_ahead(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Make the program one version later, whose step copies the table of elements to add a column."""
    scripts = tmp_path / "migrations"
    shutil.copytree(VERSIONS, scripts, ignore=shutil.ignore_patterns("__pycache__"))
    (scripts / "versions" / "r0003_next.py").write_text(
        "import sqlalchemy as sa\n"
        "from alembic import op\n"
        "revision, down_revision = '0003', '0002'\n"
        "def upgrade():\n"
        "    with op.batch_alter_table('element') as batch:\n"
        "        batch.add_column(sa.Column('note', sa.Text()))\n"
        "        batch.create_check_constraint('note', \"note <> ''\")\n"
    )
    plain = store.migration_config

    def ahead(connection: sa.Connection) -> Any:
        config = plain(connection)
        config.set_main_option("script_location", str(scripts))
        return config

    monkeypatch.setattr(store, "migration_config", ahead)
    monkeypatch.setattr(store, "LATEST", "0003")


def test_a_store_of_an_earlier_version_is_brought_up_when_asked(
    filled_store: sa.Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = filled_store.url.render_as_string(hide_password=False)
    tables = list(metadata.tables.values())
    with store.read_session(filled_store) as connection:
        before = [connection.execute(sa.select(t)).all() for t in tables]
    _one_version_ahead(tmp_path, monkeypatch)
    with pytest.raises(StoreError, match="earlier version") as caught:
        store.open_store(url)
    assert caught.value.remedy
    engine = store.open_store(url, create=True)
    with store.read_session(engine) as connection:
        assert [connection.execute(sa.select(t)).all() for t in tables] == before
        assert "note" in {c["name"] for c in sa.inspect(connection).get_columns("element")}
        assert connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars().all() == ["0003"]
    engine.dispose()


FURTHER = (
    ("element_attribute", {"id": 2, "name": "zinc_parts", "text": "Yes", "number": None, "code": "yes"}),
    ("rating", {"id": 2, "label": "R2", "characteristic": "mesh_opening", "value": 125.0, "text": "125 um",
                "efficiency_percent": None, "efficiency_resolution": None}),
)  # fmt: skip


def _refused(connection: sa.Connection, table: str, row: dict[str, Any]) -> bool:
    try:
        with connection.begin_nested():
            connection.execute(metadata.tables[table].insert().values(row))
    except sa.exc.IntegrityError:
        return True
    return False


def test_a_store_of_the_first_version_keeps_its_rows_and_takes_what_a_duty_asks(
    filled_store: sa.Engine, valid_rows: dict[str, dict[str, Any]]
) -> None:
    tables = list(metadata.tables.values())

    def move(to: str) -> None:
        with store.migration_session(filled_store) as connection:
            step = command.upgrade if to == "head" else command.downgrade
            step(store.migration_config(connection), to)

    def seen() -> tuple[Any, Any]:
        with store.read_session(filled_store) as connection:
            return _schema(connection), [connection.execute(sa.select(t)).all() for t in tables]

    latest = seen()
    move("0001")
    earlier, rows = seen()
    assert (earlier != latest[0], rows) == (True, latest[1])
    with store.write_session(filled_store) as connection:
        assert [_refused(connection, table, valid_rows[table] | more) for table, more in FURTHER] == [True, True]
    move("head")
    assert seen() == latest
    with store.write_session(filled_store) as connection:
        wrong = valid_rows["element_attribute"] | FURTHER[0][1] | {"code": "perhaps"}
        assert _refused(connection, "element_attribute", wrong)
        assert [_refused(connection, table, valid_rows[table] | more) for table, more in FURTHER] == [False, False]
        for attempt in ("UPDATE {} SET text = 'x'", "DELETE FROM {}"):
            for table, _ in FURTHER:
                with pytest.raises(sa.exc.DBAPIError, match="only added"), connection.begin_nested():
                    connection.exec_driver_sql(attempt.format(table))
        orphan = valid_rows["rating"] | {"id": 3, "label": "R3", "test_id": 99}
        assert _refused(connection, "rating", orphan)
    with_more = seen()
    with pytest.raises(sa.exc.IntegrityError):  # the earlier schema has no place for what was added
        move("0001")
    assert seen() == with_more


def test_a_migration_that_breaks_references_is_undone(store_url: str) -> None:
    engine = store.open_store(store_url)

    def migrate_badly() -> None:
        with store.migration_session(engine) as connection:
            connection.exec_driver_sql("INSERT INTO source (key, added_in) VALUES ('of no revision', 7)")
            command.upgrade(store.migration_config(connection), "head")

    with pytest.raises(StoreError, match="refer to"):
        migrate_badly()
    with store.read_session(engine) as connection:
        assert connection.execute(sa.select(metadata.tables["source"])).all() == []
    engine.dispose()


def test_the_next_migration_can_be_drafted(store_url: str, tmp_path: Path) -> None:
    scripts = tmp_path / "migrations"
    shutil.copytree(VERSIONS, scripts, ignore=shutil.ignore_patterns("__pycache__"))
    engine = store.open_store(store_url)
    with store.migration_session(engine) as connection:
        config = store.migration_config(connection)
        config.set_main_option("script_location", str(scripts))
        command.revision(config, "what changes", rev_id="0003", autogenerate=True)
    engine.dispose()
    drafted = (scripts / "versions" / "r0003_what_changes.py").read_text()
    compile(drafted, "drafted", "exec")
    assert "import sqlmodel" in drafted
    assert drafted.count("pass") == 2  # nothing differs


def test_the_latest_step_is_the_one_that_a_store_is_compared_with(filled_store: sa.Engine) -> None:
    with store.migration_session(filled_store) as connection:
        scripts = ScriptDirectory.from_config(store.migration_config(connection))
    assert scripts.get_heads() == [LATEST]
