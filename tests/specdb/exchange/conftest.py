"""Folders written for a test and imported. All names are invented."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
import sqlalchemy as sa

from specdb.errors import ImportRefusedError, RowFault
from specdb.exchange import ImportReport, import_folder

SOURCES = "source,title\nS1,Demo sheet\nS2,Second issue\n"
ELEMENTS = "maker,number,kind\nDemo Works,DW-1,spin-on\nDemo Works,DW-2,spin-on\n"


@pytest.fixture
def write_folder(tmp_path: Path) -> Callable[[Mapping[str, str | bytes]], Path]:
    """Writes a folder afresh: sources and elements as above unless given, and whatever else is given."""

    def write(files: Mapping[str, str | bytes]) -> Path:
        folder = tmp_path / "catalogue"
        folder.mkdir(exist_ok=True)
        for old in folder.iterdir():
            old.unlink()
        for name, content in {"sources.csv": SOURCES, "elements.csv": ELEMENTS, **files}.items():
            data = content if isinstance(content, bytes) else content.encode()
            (folder / name).write_bytes(data)
        return folder

    return write


@pytest.fixture
def take_in(
    store: sa.Engine, write_folder: Callable[[Mapping[str, str | bytes]], Path]
) -> Callable[[Mapping[str, str | bytes]], ImportReport]:
    """Writes a folder and imports it into ``store``."""

    def take(files: Mapping[str, str | bytes]) -> ImportReport:
        return import_folder(store, write_folder(files), actor="test", reason="for a test")

    return take


@pytest.fixture
def refused(take_in: Callable[[Mapping[str, str | bytes]], ImportReport]) -> Callable[..., tuple[RowFault, ...]]:
    """Imports a folder that must be refused and gives the faults."""

    def refuse(files: Mapping[str, str | bytes]) -> tuple[RowFault, ...]:
        with pytest.raises(ImportRefusedError) as refusal:
            take_in(files)
        return refusal.value.faults

    return refuse
