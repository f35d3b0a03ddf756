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

CORRECTION = """\
rating,supersedes,maker,number,characteristic,qualifier,value,unit,flow,test,standard,terminal_pressure_drop,source
QB-cap-22-4,QB-cap-22-3,Quollbeck,Dulse 22,retained_capacity,equal,57,g,75 L/min,mp,ISO 16889,170 kPa,QB-1
"""


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder: Path = tmp_path_factory.mktemp("demo")
    engine = open_store(f"sqlite:///{folder / 'demo.sqlite'}", create=True)
    import_folder(engine, demo_folder(), actor="test", reason="the demo catalogue")
    (folder / "correction").mkdir()
    (folder / "correction" / "ratings.csv").write_text(CORRECTION, encoding="utf-8")
    import_folder(engine, folder / "correction", actor="test", reason="a correction of one rating")
    with read_session(engine) as connection, pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading, "build_snapshot", lambda *tables: Facts(*tables))
        facts: Facts = reading.load_snapshot(connection, 1)
    yield Demo(engine, facts, facts.snapshot())
    engine.dispose()
