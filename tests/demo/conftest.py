"""The demo catalogue, imported once for all tests of this folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from specdb.catalog import reading
from specdb.catalog.store import open_store, read_session
from specdb.demo import demo_folder
from specdb.exchange import import_folder
from tests.demo.catalogue import Demo, Facts


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    path: Path = tmp_path_factory.mktemp("demo") / "demo.sqlite"
    engine = open_store(f"sqlite:///{path}", create=True)
    import_folder(engine, demo_folder(), actor="test", reason="the demo catalogue")
    with read_session(engine) as connection, pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading, "build_snapshot", lambda *tables: Facts(*tables))
        facts: Facts = reading.load_snapshot(connection, 1)  # type: ignore[assignment]
    yield Demo(engine, facts, facts.snapshot())
    engine.dispose()
