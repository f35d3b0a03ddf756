"""The API's description of itself is valid, and generated requests find it true."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import settings
from schemathesis import Case, GenerationMode
from starlette.testclient import TestClient

from api import create_app
from specdb.catalog.store import ENVIRONMENT_VARIABLE
from specdb.errors import InputError, family

BUSINESS = {f"urn:specdb:problem:{error.code}" for error in family(InputError)}
"""Problems of a request that has the form of its schema: a unit, a limit or a state that is none."""

# A question can have the form that the schema asks for and still ask for what cannot be judged, or name
# a part or a state of the catalogue that is not there; so can the state of an element. No fault of form
# may be among those refusals, and every other address must take whatever its schema allows.
CONFIG = schemathesis.Config.from_dict(
    {
        "operations": [
            {
                "include-operation-id": "find_equivalents",
                "checks": {"positive_data_acceptance": {"expected-statuses": ["2xx", "404", "422"]}},
            },
            {
                "include-operation-id": "get_element",
                "checks": {"positive_data_acceptance": {"expected-statuses": ["2xx", "404", "422"]}},
            },
        ]
    }
)


app = create_app()  # over the store that the environment names by the time a test runs
schema = schemathesis.openapi.from_dict(app.openapi(), config=CONFIG)
schema.app = app


@pytest.fixture(scope="module", autouse=True)
def _named_store(demo_store_url: str) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(ENVIRONMENT_VARIABLE, demo_store_url)
        yield


@schema.parametrize()
@settings(max_examples=20, deadline=None)
def test_generated_requests(case: Case) -> None:
    response = case.call_and_validate()
    formed = case.meta is not None and case.meta.generation.mode == GenerationMode.POSITIVE
    if formed and response.status_code == 422:
        assert response.json()["type"] in BUSINESS


def _values(node: Any, name: str) -> Iterator[Any]:
    """Every value under the key ``name``, at any depth."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key == name:
                yield value
            yield from _values(value, name)
    elif isinstance(node, list):
        for value in node:
            yield from _values(value, name)


def test_the_description_is_valid_and_whole(client: TestClient) -> None:
    schema.validate()
    document = client.get("/openapi.json").json()
    defined = document["components"]["schemas"]
    named = {reference.rpartition("/")[2] for reference in _values(document, "$ref")}
    assert named <= set(defined)


def test_every_operation_names_its_refusals_as_problem_documents(client: TestClient) -> None:
    paths = client.get("/openapi.json").json()["paths"]
    operations = [operation for path in paths.values() for operation in path.values()]
    assert {operation["operationId"] for operation in operations} == {
        "get_health",
        "list_characteristics",
        "get_element",
        "find_equivalents",
    }
    for operation in operations:
        assert operation["summary"]
        assert operation["description"]
        for status, answer in operation["responses"].items():
            expected = "application/json" if status == "200" else "application/problem+json"
            assert set(answer["content"]) == {expected}
        assert "503" in operation["responses"]
