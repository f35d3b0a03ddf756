"""A service that loads its catalogue before anybody asks: at the start, and after each import."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api import create_app
from specdb import held

SOURCES = "source,title,kind,issuer,revision,date\nS-1,Sheet one,data sheet,Makewell,,2026-01-01\n"


@pytest.fixture
def loaded(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Revisions whose columnar view was loaded, in order."""
    found: list[int] = []
    load = held.load_snapshot

    def counted(connection: Any, revision: int) -> Any:
        found.append(revision)
        return load(connection, revision)

    monkeypatch.setattr(held, "load_snapshot", counted)
    return found


def wait() -> None:
    for thread in threading.enumerate():
        if thread.name == "loading":
            thread.join(30)


@pytest.fixture
def client(store_url: str, loaded: list[int]) -> Iterator[TestClient]:
    assert not loaded
    with TestClient(create_app(store_url, allow_writes=True, ahead=True)) as client:
        yield client
        wait()


def test_the_catalogue_is_loaded_at_the_start_and_after_an_import(client: TestClient, loaded: list[int]) -> None:
    wait()
    assert loaded == [0]
    for _ in range(2):  # the second import changes nothing
        file = {"file": ("sources.csv", SOURCES.encode(), "text/csv")}
        assert client.post("/v1/imports", files=file).status_code == 200
        wait()
    assert loaded == [0, 1]
    assert client.get("/v1/elements").status_code == 200
    assert loaded == [0, 1]


def test_a_store_that_cannot_be_loaded_is_told_to_who_asks(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    wait()
    monkeypatch.setattr(client.app.state.catalogue, "state", lambda: 1 / 0)  # type: ignore[attr-defined]
    client.app.state.catalogue.load_ahead()  # type: ignore[attr-defined]
    wait()
    assert "could not be loaded ahead" in caplog.text
