"""Opening a store, and sessions on it.

A store is an SQLite file or a PostgreSQL database, named by an SQLAlchemy URL. ``open_store`` looks
before it touches: a database that is not ours, or that a later version wrote, is left as it was.

Sessions are plain connections inside one transaction. ``read_session`` sees one state from beginning
to end and cannot write; ``write_session`` is the only writer (SQLite) until it ends, and commits when its
block ends without an error. An attempt to change a fact raises AppendOnlyError.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal
from urllib.parse import quote

import platformdirs
import sqlalchemy as sa

from specdb.catalog.migrations import LATEST
from specdb.catalog.tables import APPLICATION
from specdb.errors import AppendOnlyError, ForeignStoreError, NewerStoreError, StoreError, StoreUnreachableError

if TYPE_CHECKING:
    from alembic.config import Config

ENVIRONMENT_VARIABLE = "SPECDB_DATABASE_URL"
BUSY_SECONDS = 30
CONNECT_SECONDS = 10
MIGRATION_LOCK = 0x53504543  # any number that no other program of the same server takes: "SPEC"
REFUSAL = "specdb: facts are only added"

_ACCESS = "specdb_access"
_SQLITE_BEGIN = {
    # access: (rows may be written, references are enforced, how the transaction begins)
    "read": ("ON", "ON", "BEGIN"),
    "write": ("OFF", "ON", "BEGIN IMMEDIATE"),
    "migrate": ("OFF", "OFF", "BEGIN IMMEDIATE"),
}
_SQLITE_FAULTS: dict[str, tuple[type[StoreError], str, str]] = {
    "SQLITE_NOTADB": (
        ForeignStoreError, "The file is not a database.", "Name another file; this one was left as it was.",
    ),
    "SQLITE_CORRUPT": (
        StoreError, "The file is a damaged database.", "Put a copy from before the damage in its place.",
    ),
    "SQLITE_READONLY_ROLLBACK": (
        StoreError,
        "The file was left in the middle of a write.",
        "Open it once with the program that wrote it; a store that was just being created may be removed.",
    ),
}  # fmt: skip

Condition = Literal["empty", "behind", "current"]


def database_url() -> str:
    """The store named by ``SPECDB_DATABASE_URL``, else ``specdb.sqlite`` in the user's data folder.

    Makes that folder. Raises StoreUnreachableError when it cannot be made.
    """
    stated = os.environ.get(ENVIRONMENT_VARIABLE, "").strip()
    if stated:
        return stated
    folder = platformdirs.user_data_path("specdb", appauthor=False)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreUnreachableError(
            f"The data folder cannot be made: {error.strerror}.",
            value=str(folder),
            remedy=f"Name a store in {ENVIRONMENT_VARIABLE}.",
        ) from error
    return sa.URL.create("sqlite", database=str(folder / "specdb.sqlite")).render_as_string()


# --- engines --------------------------------------------------------------------------------------


def _parsed(url: str) -> sa.URL:
    remedy = "Give sqlite:///FILE or postgresql://USER@HOST/DATABASE."
    try:
        parsed = sa.make_url(url)
    except sa.exc.ArgumentError:
        # The text is not shown: it may hold a password.
        raise StoreError("The address of the store cannot be read.", remedy=remedy) from None
    if parsed.drivername in ("postgres", "postgresql"):
        parsed = parsed.set(drivername="postgresql+psycopg")
    if parsed.drivername not in ("sqlite", "sqlite+pysqlite", "postgresql+psycopg"):
        raise StoreError("A store of this kind cannot be opened.", value=parsed.drivername, remedy=remedy)
    if parsed.get_backend_name() == "sqlite" and (parsed.query or parsed.host):
        raise StoreError("The address of an SQLite store takes no options or host.", remedy="Give sqlite:///FILE.")
    return parsed


def _sqlite_path(url: sa.URL) -> Path | None:
    """The file of the store, None for one in memory."""
    return None if url.database in (None, "", ":memory:") else Path(str(url.database)).absolute()


def _begin_sqlite(connection: sa.Connection) -> None:
    """Every transaction says what it may do, whatever the one before it on this connection did.

    A writer takes the lock at once: one that read first could no longer write after another had.
    """
    options = connection.get_execution_options()
    query_only, foreign_keys, begin = _SQLITE_BEGIN[options.get(_ACCESS, "write")]
    connection.exec_driver_sql(f"PRAGMA query_only = {query_only}")
    connection.exec_driver_sql(f"PRAGMA foreign_keys = {foreign_keys}")
    connection.exec_driver_sql(begin)


def _sqlite_engine(path: Path | None, mode: Literal["ro", "rw"] = "rw") -> sa.Engine:
    if sqlite3.sqlite_version_info < (3, 37):
        raise StoreError("SQLite is too old.", value=sqlite3.sqlite_version, remedy="SQLite 3.37 or later is needed.")
    # Neither mode makes a file that is not there.
    target = ":memory:" if path is None else f"file:{quote(str(path))}?mode={mode}"

    def connect() -> sqlite3.Connection:
        connection = sqlite3.connect(
            target, uri=path is not None, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
        )
        # Without it INSERT OR REPLACE would remove a row past the triggers that refuse it.
        connection.execute("PRAGMA recursive_triggers = ON")
        connection.execute("PRAGMA synchronous = NORMAL")
        return connection

    # A store in memory lives in its one connection, which threads take in turn.
    pool: dict[str, Any] = {"pool_size": 1, "max_overflow": 0} if path is None else {}
    url = sa.URL.create("sqlite", database=":memory:" if path is None else str(path))
    engine = sa.create_engine(url, creator=connect, poolclass=sa.QueuePool, pool_timeout=BUSY_SECONDS, **pool)
    sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _postgresql_engine(url: sa.URL) -> sa.Engine:
    waits = {} if "connect_timeout" in url.query else {"connect_timeout": CONNECT_SECONDS}
    try:
        return sa.create_engine(url, connect_args=waits, pool_pre_ping=True)
    except ModuleNotFoundError as error:
        raise StoreError(
            "The driver for PostgreSQL is not installed.", remedy="Install specdb[postgresql]."
        ) from error


@contextmanager
def _reaching() -> Iterator[None]:
    """What the database's driver says while a store is being reached, in our family of errors."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        name = getattr(error.orig, "sqlite_errorname", "")
        fault = _SQLITE_FAULTS.get(name)
        if fault is not None:
            kind, message, remedy = fault
            raise kind(message, remedy=remedy) from error
        said = str(error.orig).strip().partition("\n")[0].rstrip(".")
        raise StoreUnreachableError(
            f"The store cannot be reached: {said}.",
            remedy="Check its address and that the server runs, then try again.",
        ) from error
    except sa.exc.TimeoutError as error:
        raise StoreUnreachableError(
            "Every connection to the store is in use.", remedy="Try again in a moment."
        ) from error


# --- what a database holds ------------------------------------------------------------------------


def migration_config(connection: sa.Connection) -> Config:
    """Alembic's configuration for commands on ``connection`` (of a ``migration_session``)."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "specdb.catalog:migrations")
    config.set_main_option("file_template", "r%%(rev)s_%%(slug)s")
    config.attributes["connection"] = connection
    return config


def _condition(connection: sa.Connection) -> Condition:
    """What the database holds, by reading alone.

    Raises ForeignStoreError for tables that are not ours, NewerStoreError for a schema this version
    does not know.
    """
    inspector = sa.inspect(connection)
    names = {*inspector.get_table_names(), *inspector.get_view_names()}
    versions: set[str] = set()
    if "alembic_version" in names:
        versions = set(connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars())
    if not versions and names <= {"alembic_version"}:
        return "empty"
    if not versions or not _is_ours(connection, names):
        raise ForeignStoreError(
            "The database holds tables of another program.",
            value=", ".join(sorted(names)),
            remedy="Name an empty database or a new file; this one was left as it was.",
        )
    if versions == {LATEST}:
        return "current"
    location = migration_config(connection).get_main_option("script_location")
    known, head = _schema_versions(str(location))
    unknown = versions - known
    if unknown:
        raise NewerStoreError(
            "The store was written by a later version of the program.",
            value=", ".join(sorted(unknown)),
            remedy="Install that version or a later one; the store was left as it was.",
        )
    return "current" if versions == head else "behind"


@cache
def _schema_versions(script_location: str) -> tuple[frozenset[str], frozenset[str]]:
    """All versions of the schema that this program knows, and the latest. They are programs, read once."""
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", script_location)
    scripts = ScriptDirectory.from_config(config)
    return frozenset(script.revision for script in scripts.walk_revisions()), frozenset(scripts.get_heads())


def _is_ours(connection: sa.Connection, names: set[str]) -> bool:
    if "store_identity" not in names:
        return False
    columns = {column["name"] for column in sa.inspect(connection).get_columns("store_identity")}
    if "application" not in columns:
        return False
    return connection.exec_driver_sql("SELECT application FROM store_identity").scalars().all() == [APPLICATION]


def _looked_at(engine: sa.Engine) -> Condition:
    """The condition of the database behind ``engine``, found without leaving a trace in it."""
    path = _sqlite_path(engine.url) if engine.dialect.name == "sqlite" else None
    if path is not None and not path.exists():
        return "empty"
    if path is not None and path.is_dir():
        raise StoreUnreachableError("This is a folder, and no store.", remedy="Name a file, such as catalog.db in it.")
    looking = engine if path is None else _sqlite_engine(path, "ro")
    try:
        with read_session(looking) as connection, _reaching():
            _refuse_narrow_encoding(connection)
            return _condition(connection)
    finally:
        if looking is not engine:
            looking.dispose()


def _refuse_narrow_encoding(connection: sa.Connection) -> None:
    if connection.dialect.name != "postgresql":
        return
    encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
    if encoding != "UTF8":
        raise StoreError(
            "The database cannot hold every text.", value=encoding, remedy="Create it with ENCODING 'UTF8'."
        )


# --- opening --------------------------------------------------------------------------------------


def open_store(url: str, *, create: bool = False, named_by: str = ENVIRONMENT_VARIABLE) -> sa.Engine:
    """The store at ``url``, verified to be ours and of this version.

    With ``create``, an empty database or a file that is not there becomes a store and one of an
    earlier version is brought up to date, each in one transaction: it is done whole or not at all.
    The caller disposes of the engine.

    Raises StoreUnreachableError; ForeignStoreError and NewerStoreError, having changed nothing;
    StoreError for an address that cannot be read and, without ``create``, for a store that is not
    there or not up to date.
    """
    parsed = _parsed(url)
    sqlite = parsed.get_backend_name() == "sqlite"
    engine = _sqlite_engine(_sqlite_path(parsed)) if sqlite else _postgresql_engine(parsed)
    try:
        condition = _looked_at(engine)
        if condition != "current":
            _refuse_unless(create, condition, named_by)
            upgrade(engine)
        if sqlite:
            _keep_readers_and_writer_apart(engine)
    except StoreError as error:
        engine.dispose()
        error.message = f"{_where(engine)}: {error.message}"
        raise
    except BaseException:
        engine.dispose()
        raise
    return engine


def _where(engine: sa.Engine) -> str:
    """The store as whoever named it knows it again: its file, or its address without the password."""
    path = _sqlite_path(engine.url) if engine.dialect.name == "sqlite" else None
    return engine.url.render_as_string(hide_password=True) if path is None else str(path)


def _refuse_unless(create: bool, condition: Condition, named_by: str) -> None:
    if create:
        return
    if condition == "empty":
        raise StoreError(
            "There is no store here yet.",
            remedy=f"Import a catalogue into it, which creates it, or name another with {named_by}.",
        )
    raise StoreError(
        "The store is of an earlier version of the program.",
        remedy="Keep a copy of it and run an import; that brings it up to date first.",
    )


def _keep_readers_and_writer_apart(engine: sa.Engine) -> None:
    """Write-ahead logging: readers go on while one writes. It stays with the file once set."""
    connection = engine.raw_connection()
    try:
        connection.cursor().execute("PRAGMA journal_mode = WAL")
    except sqlite3.OperationalError as error:
        # A store on a read-only disk is read as it is. One that another program is just opening is
        # set by that program, or by the next to open it; until then readers and writer take turns.
        if not error.sqlite_errorname.startswith(("SQLITE_READONLY", "SQLITE_BUSY")):
            raise
    finally:
        connection.close()


def upgrade(engine: sa.Engine) -> None:
    """Bring the database to this version's schema, from empty or from an earlier version.

    One transaction; of several programs that start at once, one does it and the others wait.
    Raises as ``open_store``.
    """
    path = _sqlite_path(engine.url) if engine.dialect.name == "sqlite" else None
    if path is not None and not path.exists():
        _make_file(path)
    with migration_session(engine) as connection:
        if _condition(connection) != "current":
            from alembic import command

            command.upgrade(migration_config(connection), "head")


def _make_file(path: Path) -> None:
    try:
        path.touch()
    except OSError as error:
        raise StoreUnreachableError(
            f"The file cannot be made: {error.strerror}.",
            value=str(path),
            remedy="Name a file in a folder that is there and may be written.",
        ) from error


# --- sessions -------------------------------------------------------------------------------------


@contextmanager
def append_only_errors() -> Iterator[None]:
    """Raise AppendOnlyError where the database refused to change or remove a fact."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        if REFUSAL not in str(error.orig):
            raise
        raise AppendOnlyError(
            "A fact on file cannot be changed or removed.",
            remedy="Add the right one and let it supersede the other.",
        ) from error


def _begun(engine: sa.Engine, access: Literal["read", "write", "migrate"]) -> sa.Connection:
    with _reaching():
        connection = engine.connect()
        try:
            connection = connection.execution_options(**{_ACCESS: access})
            if access == "read" and engine.dialect.name == "postgresql":
                connection = connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            connection.begin()
        except BaseException:
            connection.close()
            raise
    return connection


@contextmanager
def read_session(engine: sa.Engine) -> Iterator[sa.Connection]:
    """A connection that sees one state of the store and cannot write.

    Raises StoreUnreachableError.
    """
    connection = _begun(engine, "read")
    try:
        yield connection
    finally:
        connection.close()


@contextmanager
def write_session(engine: sa.Engine) -> Iterator[sa.Connection]:
    """A connection whose writes are committed together when the block ends, or not at all.

    Raises StoreUnreachableError, also when another writer keeps the store for longer than
    ``BUSY_SECONDS``, and AppendOnlyError.
    """
    connection = _begun(engine, "write")
    try:
        with append_only_errors():
            yield connection
            connection.commit()
    finally:
        connection.close()


@contextmanager
def migration_session(engine: sa.Engine) -> Iterator[sa.Connection]:
    """As ``write_session``, for changes of the schema: alone on the store, SQLite's enforcement of
    references off until the end of the block."""
    connection = _begun(engine, "migrate")
    try:
        if engine.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(MIGRATION_LOCK)))
        yield connection
        connection.commit()
    finally:
        connection.close()
