"""The demo catalogue as arrays, loaded once."""

from __future__ import annotations

import pytest

from specdb.catalog.reading import load_snapshot
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import open_store, read_session


@pytest.fixture(scope="session")
def demo(demo_store_url: str) -> Snapshot:
    engine = open_store(demo_store_url)
    with read_session(engine) as connection:
        snapshot = load_snapshot(connection, 1)
    engine.dispose()
    return snapshot
