"""Opening a store: what is created, what is refused, and that what is refused is left as it was."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from pathlib import Path
from typing import Any

import platformdirs
import pytest
import sqlalchemy as sa
from alembic import command

from specdb.catalog import store
from specdb.catalog.revisions import current_revision
from specdb.catalog.tables import metadata
from specdb.catalog.writing import begin_revision
from specdb.errors import ForeignStoreError, NewerStoreError, StoreError, StoreUnreachableError


def _sqlite_file(path: Path, *statements: str) -> Path:
    connection = sqlite3.connect(path)
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()
    return path


def _tables(url: str) -> set[str]:
    engine = sa.create_engine(url)
    names = set(sa.inspect(engine).get_table_names())
    engine.dispose()
    return names


# --- creating and opening -------------------------------------------------------------------------


def test_a_store_is_created_once_and_opened_again(any_empty_url: str) -> None:
    engine = store.open_store(any_empty_url, create=True)
    with store.write_session(engine) as connection:
        assert begin_revision(connection, "test", "first") == 1
    engine.dispose()
    for create in (False, True):
        engine = store.open_store(any_empty_url, create=create)
        with store.read_session(engine) as connection:
            assert current_revision(connection) == 1
        engine.dispose()
    assert _tables(any_empty_url) == {*metadata.tables, "alembic_version"}


def test_nothing_is_created_unless_asked(any_empty_url: str) -> None:
    with pytest.raises(StoreError, match="no store here") as caught:
        store.open_store(any_empty_url)
    assert caught.value.remedy
    url = sa.make_url(any_empty_url)
    if url.get_backend_name() == "sqlite":
        assert not Path(str(url.database)).exists()
    else:
        assert _tables(any_empty_url) == set()


def test_an_empty_file_becomes_a_store(tmp_path: Path) -> None:
    path = tmp_path / "empty.sqlite"
    path.touch()
    with pytest.raises(StoreError, match="no store here"):
        store.open_store(f"sqlite:///{path}")
    assert path.read_bytes() == b""
    store.open_store(f"sqlite:///{path}", create=True).dispose()
    assert path.read_bytes().startswith(b"SQLite format 3\0")


def test_a_creation_that_fails_leaves_nothing(any_empty_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = command.upgrade

    def interrupted(*arguments: Any) -> None:
        whole(*arguments)
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "upgrade", interrupted)
    with pytest.raises(KeyboardInterrupt):
        store.open_store(any_empty_url, create=True)
    assert _tables(any_empty_url) == set()
    monkeypatch.undo()
    store.open_store(any_empty_url, create=True).dispose()


def test_programs_that_start_at_once_create_one_store(any_empty_url: str) -> None:
    faults: list[BaseException] = []

    def start() -> None:
        try:
            store.open_store(any_empty_url, create=True).dispose()
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=start) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    store.open_store(any_empty_url).dispose()


def test_a_path_may_hold_any_characters(tmp_path: Path) -> None:
    path = tmp_path / "a b%20?#\u00e9.sqlite"
    url = sa.URL.create("sqlite", database=str(path)).render_as_string()
    store.open_store(url, create=True).dispose()
    assert [p.name for p in tmp_path.iterdir()] == [path.name]
    store.open_store(url).dispose()


def test_a_store_in_memory_serves_threads_in_turn() -> None:
    engine = store.open_store("sqlite://", create=True)

    def write() -> None:
        with store.write_session(engine) as connection:
            begin_revision(connection, "thread", "test")

    threads = [threading.Thread(target=write) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.read_session(engine) as connection:
        assert current_revision(connection) == 8
    engine.dispose()


def test_a_store_after_a_crash_is_opened_with_what_was_committed(store_url: str, tmp_path: Path) -> None:
    engine = store.open_store(store_url)
    with store.write_session(engine) as connection:
        begin_revision(connection, "test", "committed, and only in the log so far")
    crashed = tmp_path / "crashed.sqlite"
    for suffix in ("", "-wal"):
        crashed.with_name(crashed.name + suffix).write_bytes(Path(str(engine.url.database) + suffix).read_bytes())
    engine.dispose()
    again = store.open_store(f"sqlite:///{crashed}")
    with store.read_session(again) as connection:
        assert current_revision(connection) == 1
    again.dispose()


def test_a_file_left_in_the_middle_of_a_write_is_not_touched(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "busy.sqlite", isolation_level=None)
    connection.execute("CREATE TABLE invoice (note TEXT)")
    connection.execute("PRAGMA cache_size = 1")  # so that pages go to the file before the commit
    connection.execute("BEGIN")
    connection.executemany("INSERT INTO invoice VALUES (?)", [("x" * 500,)] * 1000)
    for suffix in ("", "-journal"):
        shutil.copy(tmp_path / f"busy.sqlite{suffix}", tmp_path / f"left.sqlite{suffix}")
    connection.close()
    before = (tmp_path / "left.sqlite").read_bytes()
    with pytest.raises(StoreError, match="middle of a write"):
        store.open_store(f"sqlite:///{tmp_path / 'left.sqlite'}", create=True)
    assert (tmp_path / "left.sqlite").read_bytes() == before
    assert (tmp_path / "left.sqlite-journal").exists()


# --- what is not ours -----------------------------------------------------------------------------

IDENTITY = "CREATE TABLE store_identity (application TEXT)"
VERSION = "CREATE TABLE alembic_version (version_num TEXT)"
FOREIGN = {
    "another program's": ("CREATE TABLE invoice (id INTEGER)", "INSERT INTO invoice VALUES (1)"),
    "another program's migrations": (VERSION, "INSERT INTO alembic_version VALUES ('0001')"),
    "another application": (
        IDENTITY, VERSION, "INSERT INTO alembic_version VALUES ('0001')",
        "INSERT INTO store_identity VALUES ('otherdb')",
    ),
    "an identity of another kind": (
        "CREATE TABLE store_identity (id INTEGER)", VERSION, "INSERT INTO alembic_version VALUES ('0001')",
    ),
    "a view": ("CREATE VIEW invoice AS SELECT 1 AS one",),
}  # fmt: skip


@pytest.mark.parametrize("create", [False, True])
@pytest.mark.parametrize("what", FOREIGN)
def test_another_programs_file_is_left_as_it_was(tmp_path: Path, what: str, create: bool) -> None:
    path = _sqlite_file(tmp_path / "other.sqlite", *FOREIGN[what])
    before = path.read_bytes()
    with pytest.raises(ForeignStoreError) as caught:
        store.open_store(f"sqlite:///{path}", create=create)
    assert caught.value.remedy
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["other.sqlite"]


@pytest.mark.parametrize("what", FOREIGN)
def test_another_programs_database_is_left_as_it_was(pg_url: str, what: str) -> None:
    engine = sa.create_engine(pg_url)
    with engine.begin() as connection:
        for statement in FOREIGN[what]:
            connection.exec_driver_sql(statement)
    before = _tables(pg_url)
    with pytest.raises(ForeignStoreError):
        store.open_store(pg_url, create=True)
    assert _tables(pg_url) == before
    engine.dispose()


@pytest.mark.parametrize("create", [False, True])
def test_a_file_that_is_no_database_is_left_as_it_was(tmp_path: Path, create: bool) -> None:
    path = tmp_path / "letter.txt"
    path.write_bytes(b"Dear customer, " * 100)
    with pytest.raises(ForeignStoreError, match="not a database"):
        store.open_store(f"sqlite:///{path}", create=create)
    assert path.read_bytes() == b"Dear customer, " * 100
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


def test_a_damaged_file_is_said_to_be_damaged(store_template: Path, tmp_path: Path) -> None:
    path = tmp_path / "damaged.sqlite"
    data = bytearray(store_template.read_bytes())
    data[100:4096] = b"\xff" * 3996  # the first page, which says what tables there are
    path.write_bytes(data)
    with pytest.raises(StoreError, match="damaged") as caught:
        store.open_store(f"sqlite:///{path}", create=True)
    assert type(caught.value) is StoreError
    assert path.read_bytes() == bytes(data)


def test_a_newer_store_is_left_as_it_was(store_url: str) -> None:
    path = Path(str(sa.make_url(store_url).database))
    _sqlite_file(path, "UPDATE alembic_version SET version_num = '9999'")
    before = path.read_bytes()
    for create in (False, True):
        with pytest.raises(NewerStoreError) as caught:
            store.open_store(store_url, create=create)
        assert caught.value.value == "9999"
    assert path.read_bytes() == before


def test_a_newer_store_on_postgresql_is_refused(pg_store_url: str) -> None:
    engine = sa.create_engine(pg_store_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    engine.dispose()
    with pytest.raises(NewerStoreError):
        store.open_store(pg_store_url, create=True)


# --- addresses ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "url",
    ["", "a.sqlite", "mysql://u:secret@h/d", "postgresql+asyncpg://u:secret@h/d", "sqlite:///a?mode=ro", "::secret"],
)
def test_addresses_that_name_no_store_are_refused_without_their_password(url: str) -> None:
    with pytest.raises(StoreError) as caught:
        store.open_store(url, create=True)
    assert caught.value.remedy
    assert "secret" not in f"{caught.value} {caught.value.value}"


@pytest.mark.parametrize("create", [False, True])
def test_a_server_that_is_not_there_is_unreachable(tmp_path: Path, create: bool) -> None:
    with pytest.raises(StoreUnreachableError) as caught:
        store.open_store(f"postgresql://someone:secret@/specdb?host={tmp_path}", create=create)
    assert "secret" not in str(caught.value)


def test_a_file_that_cannot_be_made_is_unreachable(tmp_path: Path) -> None:
    for path in (tmp_path / "no" / "folder.sqlite", tmp_path):
        with pytest.raises(StoreUnreachableError):
            store.open_store(f"sqlite:///{path}", create=True)


def test_the_store_is_named_by_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SPECDB_DATABASE_URL", " sqlite:///there.sqlite ")
    assert store.database_url() == "sqlite:///there.sqlite"


def test_the_store_is_else_in_the_users_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("SPECDB_DATABASE_URL", raising=False)
    monkeypatch.setattr(platformdirs, "user_data_path", lambda *_, **__: tmp_path / "data" / "specdb")
    store.open_store(store.database_url(), create=True).dispose()
    assert (tmp_path / "data" / "specdb" / "specdb.sqlite").is_file()
    (tmp_path / "file").touch()
    monkeypatch.setattr(platformdirs, "user_data_path", lambda *_, **__: tmp_path / "file" / "specdb")
    with pytest.raises(StoreUnreachableError, match="SPECDB_DATABASE_URL"):
        store.database_url()


# --- sessions -------------------------------------------------------------------------------------


def test_a_reader_cannot_write_and_leaves_the_connection_fit_to(any_store: sa.Engine) -> None:
    for number in (1, 2):
        with store.read_session(any_store) as connection, pytest.raises(sa.exc.DBAPIError):
            begin_revision(connection, "test", "through a reader")
        with store.write_session(any_store) as connection:
            assert begin_revision(connection, "test", "through a writer") == number


def test_a_reader_sees_one_state(any_store: sa.Engine) -> None:
    with store.read_session(any_store) as reader:
        assert current_revision(reader) == 0
        with store.write_session(any_store) as writer:
            begin_revision(writer, "test", "meanwhile")
        assert current_revision(reader) == 0
    with store.read_session(any_store) as reader:
        assert current_revision(reader) == 1


def test_a_write_that_fails_leaves_nothing(any_store: sa.Engine) -> None:
    def write_and_stumble() -> None:
        with store.write_session(any_store) as connection:
            begin_revision(connection, "test", "never")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_and_stumble()
    with store.read_session(any_store) as connection:
        assert current_revision(connection) == 0


def test_writers_take_turns(any_store: sa.Engine) -> None:
    def write() -> None:
        for _ in range(5):
            with store.write_session(any_store) as connection:
                current_revision(connection)
                begin_revision(connection, "thread", "test")

    threads = [threading.Thread(target=write) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.read_session(any_store) as connection:
        assert current_revision(connection) == 20


def test_a_writer_that_waits_too_long_says_so(store_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "BUSY_SECONDS", 0.05)
    engine = store.open_store(store_url)
    with (
        store.write_session(engine),
        pytest.raises(StoreUnreachableError, match="locked"),
        store.write_session(engine),
    ):
        pytest.fail("two writers at once")
    engine.dispose()


def test_a_session_inside_another_in_memory_is_told_to_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "BUSY_SECONDS", 0.05)
    engine = store.open_store("sqlite://", create=True)
    with (
        store.read_session(engine),
        pytest.raises(StoreUnreachableError, match="in use"),
        store.read_session(engine),
    ):
        pytest.fail("two sessions on one connection")
    engine.dispose()


def test_every_connection_to_sqlite_is_set_up_alike(store_url: str) -> None:
    engine = store.open_store(store_url)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar_one() == 1
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1
        assert connection.exec_driver_sql("PRAGMA recursive_triggers").scalar_one() == 1
    engine.dispose()
