"""Stores for tests, on SQLite and on PostgreSQL; and the program, quickly started.

PostgreSQL comes from ``SPECDB_TEST_PG_URL`` (an administrator's URL of a server in which databases
may be made), else from server programs on this machine, for which a server is started and stopped.
With neither the tests that need it are skipped, but where ``CI`` is set they fail.
"""

from __future__ import annotations

import gc
import os
import pwd
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from specdb.catalog import identity
from specdb.catalog import store as catalog_store
from specdb.catalog.tables import metadata
from specdb.demo import demo_folder
from specdb.exchange import import_folder
from tests.starting import quick_program

SERVER_PROGRAMS = ("initdb", "pg_ctl", "postgres")


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Modules, tests and generated requests live to the end, a million objects: looking for garbage among them again
    and again took a tenth of the time of all tests. They are set aside; what tests make is looked through as ever."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.set_threshold(10_000, 20, 20)  # tests make tables by the thousand, which go away by themselves
        gc.enable()


SHARING_A_START = ("browser", "office")
"""Folders whose tests share what takes seconds to start."""


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests of one such folder follow one another, so that what they share is started once and by one worker. Within
    a folder the order stays as random as it was."""
    order = {folder: place for place, folder in enumerate(SHARING_A_START)}
    items.sort(key=lambda item: order.get(item.path.parent.name, len(order)))


# --- SQLite ---------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def store_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated, empty store, to be copied."""
    path = tmp_path_factory.mktemp("template") / "store.sqlite"
    catalog_store.open_store(f"sqlite:///{path}", create=True).dispose()
    return path


@pytest.fixture
def store_url(store_template: Path, tmp_path: Path) -> str:
    """URL of a fresh SQLite store in a file of its own."""
    path = shutil.copy(store_template, tmp_path / "store.sqlite")
    return f"sqlite:///{path}"


@pytest.fixture
def store(store_url: str) -> Iterator[sa.Engine]:
    """A fresh SQLite store, opened."""
    engine = catalog_store.open_store(store_url)
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def demo_store_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """URL of a store with the demo catalogue in it, made once. To be read only."""
    url = f"sqlite:///{tmp_path_factory.mktemp('demo') / 'demo.sqlite'}"
    engine = catalog_store.open_store(url, create=True)
    import_folder(engine, demo_folder(), actor="test", reason="the demo catalogue")
    engine.dispose()
    return url


# --- the program ----------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def quick_specdb() -> Iterator[Path]:
    """The program, quickly started. Its path is short: one of a socket has at most 107 bytes."""
    with tempfile.TemporaryDirectory(prefix="specdb") as folder, quick_program(Path(folder)) as program:
        yield program


# --- PostgreSQL -----------------------------------------------------------------------------------


def _without_server(reason: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(f"{reason}; in CI the tests on PostgreSQL must run")
    pytest.skip(reason)


def _server_programs() -> Path | None:
    found = shutil.which("initdb")
    candidates = [
        os.environ.get("PG_BINDIR"),
        os.path.dirname(os.path.realpath(found)) if found else None,
        *sorted(map(str, Path("/usr/lib/postgresql").glob("*/bin")), reverse=True),
    ]
    for candidate in filter(None, candidates):
        if all((Path(candidate) / program).exists() for program in SERVER_PROGRAMS):
            return Path(candidate)
    return None


def _unprivileged() -> dict[str, Any]:
    """Arguments for subprocess: the server refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        try:
            account = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
    _without_server("running as root, and neither user 'postgres' nor 'nobody' exists")
    return {}


def _fast_folder() -> str | None:
    """Memory where there is plenty, else None for the usual place: databases are made twenty times
    sooner there. Either is short; the path of a socket has at most 107 bytes."""
    memory = "/dev/shm"
    roomy = os.access(memory, os.W_OK) and shutil.disk_usage(memory).free > 2**30
    return memory if roomy else None


@pytest.fixture(scope="session")
def pg_server() -> Iterator[str]:
    """URL of an administrator of a PostgreSQL server."""
    stated = os.environ.get("SPECDB_TEST_PG_URL")
    if stated:
        yield stated
        return
    programs = _server_programs()
    if programs is None:
        _without_server("no PostgreSQL: set SPECDB_TEST_PG_URL or install the server (Debian: postgresql)")
        return
    account = _unprivileged()
    folder = Path(tempfile.mkdtemp(prefix="pg", dir=_fast_folder()))
    if account:
        os.chown(folder, account["user"], account["group"])
    environment = {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8", "TZ": "UTC"}

    def run(program: str, *arguments: str) -> None:
        command = [str(programs / program), "-D", str(folder / "data"), *arguments]
        subprocess.run(command, check=True, cwd=folder, env=environment, stdout=subprocess.DEVNULL, **account)

    settings = (
        f"-c listen_addresses='' -c unix_socket_directories='{folder}' "
        "-c fsync=off -c synchronous_commit=off -c full_page_writes=off"
    )
    try:
        run("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
        run("pg_ctl", "-w", "-t", "30", "-l", str(folder / "log"), "-o", settings, "start")
    except subprocess.CalledProcessError as error:
        log = (folder / "log").read_text() if (folder / "log").exists() else ""
        shutil.rmtree(folder, ignore_errors=True)
        pytest.fail(f"PostgreSQL did not start: {error}\n{log}")
    try:
        yield f"postgresql+psycopg://postgres@/postgres?host={folder}"
    finally:
        run("pg_ctl", "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def pg_admin(pg_server: str) -> Iterator[sa.Engine]:
    engine = sa.create_engine(pg_server, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    yield engine
    engine.dispose()


def _pg_database(admin: sa.Engine, template: str) -> Iterator[str]:
    """URL of a new database, dropped afterwards."""
    name = f"specdb_test_{uuid.uuid4().hex[:12]}"
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {template}")
    yield admin.url.set(database=name).render_as_string(hide_password=False)
    with admin.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def pg_url(pg_admin: sa.Engine) -> Iterator[str]:
    """URL of a fresh database without any table."""
    yield from _pg_database(pg_admin, "template0")


@pytest.fixture(scope="session")
def pg_template(pg_admin: sa.Engine) -> Iterator[str]:
    """Name of a database that holds a migrated, empty store, to be copied."""
    for url in _pg_database(pg_admin, "template0"):
        catalog_store.open_store(url, create=True).dispose()
        yield str(sa.make_url(url).database)


@pytest.fixture
def pg_store_url(pg_admin: sa.Engine, pg_template: str) -> Iterator[str]:
    """URL of a fresh PostgreSQL store."""
    yield from _pg_database(pg_admin, pg_template)


@pytest.fixture
def pg_store(pg_store_url: str) -> Iterator[sa.Engine]:
    """A fresh PostgreSQL store, opened."""
    engine = catalog_store.open_store(pg_store_url)
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def pg_demo_store_url(pg_admin: sa.Engine, pg_template: str) -> Iterator[str]:
    """URL of a PostgreSQL store with the demo catalogue in it, which the tests of one module share."""
    for url in _pg_database(pg_admin, pg_template):
        engine = catalog_store.open_store(url)
        import_folder(engine, demo_folder(), actor="test", reason="the demo catalogue")
        engine.dispose()
        yield url


# --- either ---------------------------------------------------------------------------------------


@pytest.fixture(params=["sqlite", "postgresql"])
def any_store(request: pytest.FixtureRequest) -> sa.Engine:
    """A fresh store, the test running once on each database."""
    engine: sa.Engine = request.getfixturevalue("store" if request.param == "sqlite" else "pg_store")
    return engine


@pytest.fixture(params=["sqlite", "postgresql"])
def any_empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """URL of a database that holds nothing yet, on each database in turn."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'empty.sqlite'}"
    return str(request.getfixturevalue("pg_url"))


@pytest.fixture
def valid_rows() -> dict[str, dict[str, Any]]:
    """One row for each table, in an order in which they can be inserted, all of them invented."""
    maker, number = "Demo Works", "DW 12-1"
    keys = {"maker_key": identity.identity_key(maker), "number_key": identity.identity_key(number)}
    named = {"maker": maker, "number": number, "search_key": identity.search_key(number), **keys}
    element_id = identity.element_id(maker, number)
    return {
        "revision": {"id": 1, "at": "2024-01-02T03:04:05.000006Z", "actor": "test", "reason": "first facts"},
        "source": {
            "id": 1, "key": "sheet-1", "title": "Demo sheet", "kind": "data sheet", "issuer": maker,
            "document_revision": "A", "date": "2023-11", "added_in": 1,
        },
        "element": {"element_id": element_id, "added_in": 1, **named},
        "element_attribute": {
            "id": 1, "element_id": element_id, "name": "outside_diameter", "text": "96 mm", "number": 96.0,
            "code": None, "source_id": 1, "added_in": 1,
        },
        "test": {
            "id": 1, "element_id": element_id, "source_id": 1, "label": "T1", "standard": "ISO 16889",
            "edition": "2008", "dust": "ISO 12103-1 A3", "gravimetric_level_mg_l": 10.0,
            "gravimetric_level_text": "10 mg/L", "terminal_pressure_drop_kpa": 170.0,
            "terminal_pressure_drop_text": "1.7 bar", "test_liquid": "demo oil", "drop_of": "element",
            "capacity_basis": "retained", "cycle_pressure_kpa": 500.0, "cycle_pressure_text": "5 bar",
            "laboratory": "independent", "date": "2023", "added_in": 1,
        },
        "rating": {
            "id": 1, "label": "R1", "test_id": 1, "characteristic": "filtration_ratio", "qualifier": "equal",
            "value": 200.0, "text": "99.5 %", "resolution": 1.0, "efficiency_percent": 99.5,
            "efficiency_resolution": 0.1, "size_um": 10.0, "size_scale": "c", "size_text": "10 um(c)",
            "flow_l_min": 75.0, "flow_text": "75 L/min", "viscosity_mm2_s": 32.0, "viscosity_text": "32 cSt",
            "density_kg_m3": 870.0, "density_text": "0.87 kg/L", "page": "3", "remark": "invented", "added_in": 1,
        },
        "interchange_claim": {
            "id": 1, **named, "replaces_maker": "Other Demo", "replaces_maker_key": "OTHERDEMO",
            "replaces_number": "OD 7", "replaces_number_key": "OD7", "replaces_search_key": "0D7",
            "source_id": 1, "date": "2023", "remark": "invented", "added_in": 1,
        },
        "supersession": {"id": 1, "revision_id": 1, "reason": "withdrawn", "old_claim_id": 1},
    }  # fmt: skip


@pytest.fixture
def filled_store(any_store: sa.Engine, valid_rows: dict[str, dict[str, Any]]) -> sa.Engine:
    """``any_store`` with ``valid_rows`` in it."""
    with catalog_store.write_session(any_store) as connection:
        for table, row in valid_rows.items():
            connection.execute(metadata.tables[table].insert().values(row))
    return any_store
