"""The demo catalogue as scripts have it: read in this process, and asked of a service."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

import specdb
from api import create_app


@pytest.fixture(scope="session")
def here(demo_store_url: str) -> Iterator[specdb.Catalogue]:
    with specdb.open(str(sa.make_url(demo_store_url).database)) as catalogue:
        yield catalogue


@pytest.fixture(scope="session")
def there(demo_store_url: str) -> Iterator[specdb.Catalogue]:
    with TestClient(create_app(demo_store_url)) as client, specdb.connect(client=client) as catalogue:
        yield catalogue
