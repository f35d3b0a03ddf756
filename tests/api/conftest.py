"""The service over the demo catalogue, as its users see it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

from api import create_app
from tests.api.asking import EQUIVALENTS


@pytest.fixture(scope="session")
def client(demo_store_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(demo_store_url)) as started:
        yield started


@pytest.fixture
def writable(demo_store_url: str, tmp_path: Path) -> Iterator[TestClient]:
    """A service that takes imports, over a store of the test's own with the demo catalogue in it."""
    file = shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path / "store.sqlite")
    with TestClient(create_app(f"sqlite:///{file}", allow_writes=True), raise_server_exceptions=False) as started:
        yield started


@pytest.fixture(scope="session")
def ask(client: TestClient) -> Callable[..., dict[str, Any]]:
    """Asks for equivalents and gives the answer, which must be one."""

    def answer(question: dict[str, Any], **query: str) -> dict[str, Any]:
        response = client.post(EQUIVALENTS, json=question, params=query)
        assert response.status_code == 200, response.text
        assert response.headers["content-type"] == "application/json"
        told: dict[str, Any] = response.json()
        return told

    return answer
