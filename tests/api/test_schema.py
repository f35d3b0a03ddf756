"""The API's description of itself is valid, whole and true: generated requests, what asks the database on each of
them, and its examples.

Every check and every phase of the generator is on (examples, coverage, fuzzing, and below stateful), and a
status that it does not expect is allowed to single operations only. To keep the two runs short, ten requests are
made up for each operation beside those of the other phases, and of the names that are alike in the GET form of a
question (requirements, switches of rules, measures and words of fit) the generator is told of a few.
"""

from __future__ import annotations

import copy
import re
import shutil
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import schemathesis
import sqlalchemy as sa
from hypothesis import settings
from schemathesis import Case, GenerationMode
from starlette.applications import Starlette
from starlette.testclient import TestClient
from starlette.types import ASGIApp, Receive, Scope, Send

from api import create_app
from api.admission import CROSS_CHECKS, IMPORTS
from api.description import HEADERS, TAGS, example_of
from api.glossary import MEANING, WORDS
from api.representation import MEDIA_TYPES
from api.routes.calculations import OPERATION_IDS
from specdb.errors import ImportRefusedError, InputError, NotOnFileError, RevisionMovedError, WritesRefusedError, family
from tests.api import examples

CLASSES = (InputError, NotOnFileError, ImportRefusedError, RevisionMovedError, WritesRefusedError)
BUSINESS = {f"urn:specdb:problem:{error.code}" for root in CLASSES for error in family(root)}
"""Problems of a request that has the form of its schema, but asks for what cannot be told or is not there."""


def _may(operation_id: str, *statuses: str) -> dict[str, Any]:
    accepted = {"positive_data_acceptance": {"expected-statuses": ["2xx", *statuses]}}
    return {"include-operation-id": operation_id, "checks": accepted}


def _takes_anything(operation_id: str) -> dict[str, Any]:
    """What is answered with 200 whatever it is asked."""
    accepted = {"negative_data_rejection": {"expected-statuses": ["200"]}}
    return {"include-operation-id": operation_id, "checks": accepted}


CELLS = ("get_verdict_cell", "get_best_cell", "get_rating_cell")
NOT_THERE, NOT_TOLD, MOVED, NOT_ALLOWED = "404", "422", "409", "403"

# A question can have the form that the schema asks for and still ask for what cannot be judged (422: a text
# that is no quantity, a sum outside its range, a cursor of another list, bytes that are no catalogue), or name a
# part or a state of the catalogue that is not there (404), or one that has passed (409). No fault of form may be
# among those refusals, which BUSINESS holds the test to; every other operation must take whatever its schema
# allows.
OPERATIONS = [
    *(_may(each, NOT_THERE, NOT_TOLD) for each in ("find_equivalents", "get_equivalents")),
    *(_may(each, NOT_THERE, NOT_TOLD) for each in ("compare_elements", "get_comparison")),
    *(_may(each, NOT_THERE, NOT_TOLD) for each in ("find_test_requests", "get_test_requests", "cross_check")),
    *(_may(each, NOT_THERE, NOT_TOLD) for each in ("get_element", "get_element_by_number")),
    *(_may(each, NOT_THERE, NOT_TOLD) for each in ("list_elements", "list_revisions", "search")),
    _may("get_picture", NOT_THERE, NOT_TOLD),
    *(_takes_anything(each) for each in CELLS),
    _may("import_catalogue", NOT_TOLD, MOVED),
    *(_may(each, NOT_TOLD) for each in OPERATION_IDS.values()),
]


# --- generated requests ---------------------------------------------------------------------------


class Service:
    """The application under test, which is there once a fixture has put it there."""

    app: ASGIApp | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        app = Starlette() if scope["type"] == "lifespan" else self.app
        assert app is not None
        await app(scope, receive, send)

    @contextmanager
    def over(self, url: str, *, allow_writes: bool) -> Iterator[None]:
        with TestClient(create_app(url, allow_writes=allow_writes)) as started:
            self.app = started.app
            yield
        self.app = None


BY_QUERIES = ("/health", "/v1/elements", "/v1/elements/{element_id}", "/v1/revisions", "/v1/search", IMPORTS)
"""What asks the database itself. All else is worked out from a view of the catalogue that is the same from either."""

PICTURES_AT = "/v1/elements/{element_id}/pictures/{picture}"
COMPARED = "/v1/comparisons"
CELLS_AT = "/v1/cells/"
OF_A_PICTURE = {"element_id", "picture", "units", "as_of", *example_of("get_picture")["request"]["query"]}
OF_A_COMPARISON = {"original.number", "units", "format", *example_of("get_comparison")["request"]["query"]}
OF_A_COMPARISON |= {"elements.1.maker", "elements.2.element_id"}
OF_A_LIST = {*example_of("list_elements")["request"]["query"]}
OF_REQUESTS = {"original.number", "units", "format", *example_of("get_test_requests")["request"]["query"]}
OF_A_CELL = {"number", "original.number", "place", "give", "ascii", "as_of", "characteristic", "size", "unit"}
OF_LINES = {"original.number", "flow", "units", "format", "table", "mode", "limit"}
OF_LINES |= {*example_of("cross_check")["request"]["query"]}
ALIKE = re.compile(
    r"require\.([3-9]|1[0-6])\.|derive\.(?!collapse$|burst$|cleanliness$)|fit\.(?!thread|length|kind|clearance)"
)
"""Names that have the same fields, or the same form, as those that are left."""


def described(service: Service, operations: list[dict[str, Any]], *, only: Collection[str] = ()) -> Any:
    """The schema by which requests are generated; ``only`` are the addresses that it has, if not all."""
    document = copy.deepcopy(create_app().openapi())
    _tell_of_few(document["components"]["schemas"])
    asked = document["paths"]["/v1/equivalents"]["get"]
    asked["parameters"] = [each for each in asked["parameters"] if not ALIKE.match(each["name"])]
    # What takes the same question is tried with a part of it.
    listed = document["paths"]["/v1/elements"]["get"]
    listed["parameters"] = [p for p in listed["parameters"] if p["name"] in OF_A_LIST or "." not in p["name"]]
    again = document["paths"]["/v1/test-requests"]
    again["get"]["parameters"] = [each for each in again["get"]["parameters"] if each["name"] in OF_REQUESTS]
    of_lines = document["paths"][CROSS_CHECKS]["post"]
    of_lines["parameters"] = [each for each in of_lines["parameters"] if each["name"] in OF_LINES]
    del of_lines["requestBody"]["content"][MEDIA_TYPES["xlsx"]]  # the generator makes none
    compared = document["paths"][COMPARED]
    compared["get"]["parameters"] = [p for p in compared["get"]["parameters"] if p["name"] in OF_A_COMPARISON]
    for operation, question in ((again["post"], "Question"), (compared["post"], "ComparisonAsked")):
        operation["requestBody"]["content"]["application/json"]["schema"] = _without_duty(document, question)
    for path in document["paths"]:
        if path.startswith(CELLS_AT):
            cell = document["paths"][path]["get"]
            cell["parameters"] = [each for each in cell["parameters"] if each["name"] in OF_A_CELL]
    drawn = document["paths"][PICTURES_AT]["get"]  # the rest of its question's names are tried of equivalents
    drawn["parameters"] = [each for each in drawn["parameters"] if each["name"] in OF_A_PICTURE]
    if only:
        document["paths"] = {address: document["paths"][address] for address in only}
    schema = schemathesis.openapi.from_dict(document, config=schemathesis.Config.from_dict({"operations": operations}))
    schema.app = service
    return schema


def _tell_of_few(schemas: dict[str, Any]) -> None:
    """Leave out of a question in JSON what is alike in it, as of one in dotted names."""
    _, switches = schemas["DutyAsked"]["properties"]["derive"]["anyOf"]
    for group, fields in (("derive", switches["properties"]), ("fit", schemas["FitAsked"]["properties"])):
        for name in [each for each in fields if ALIKE.match(f"{group}.{each}")]:
            del fields[name]


def _without_duty(document: dict[str, Any], name: str) -> dict[str, Any]:
    question: dict[str, Any] = copy.deepcopy(document["components"]["schemas"][name])
    del question["properties"]["duty"]
    return question


def check(case: Case) -> None:
    response = case.call_and_validate()
    formed = case.meta is not None and case.meta.generation.mode == GenerationMode.POSITIVE
    if formed and 400 <= response.status_code < 500:
        assert response.json()["type"] in BUSINESS


on_sqlite = described(sqlite_service := Service(), OPERATIONS)
on_postgresql = described(postgresql_service := Service(), OPERATIONS, only=BY_QUERIES)
without_writes = described(reading_service := Service(), [_may("import_catalogue", NOT_ALLOWED)], only=(IMPORTS,))
TABLES = {"text/csv", "application/vnd.apache.parquet"}
few = settings(max_examples=4, deadline=None)


@pytest.fixture(scope="module")
def sqlite(demo_store_url: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    file = shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path_factory.mktemp("generated") / "store.sqlite")
    with sqlite_service.over(f"sqlite:///{file}", allow_writes=True):
        yield


@pytest.fixture(scope="module")
def postgresql(pg_demo_store_url: str) -> Iterator[None]:
    with postgresql_service.over(pg_demo_store_url, allow_writes=True):
        yield


@pytest.fixture(scope="module")
def reading(demo_store_url: str) -> Iterator[None]:
    with reading_service.over(demo_store_url, allow_writes=False):
        yield


@on_sqlite.parametrize()
@few
@pytest.mark.usefixtures("sqlite")
def test_generated_requests_on_sqlite(case: Case) -> None:
    check(case)


@on_postgresql.parametrize()
@few
@pytest.mark.usefixtures("postgresql")
def test_generated_requests_on_postgresql(case: Case) -> None:
    check(case)


@without_writes.parametrize()
@few
@pytest.mark.usefixtures("reading")
def test_generated_imports_where_none_are_allowed(case: Case) -> None:
    check(case)


steps = settings(max_examples=8, stateful_step_count=6, deadline=None)


@pytest.mark.usefixtures("sqlite")
class TestStepsOnSqlite(on_sqlite.as_state_machine().TestCase):
    """Requests made of earlier answers, along the links of the description."""

    settings = steps


@pytest.mark.usefixtures("postgresql")
class TestStepsOnPostgresql(on_postgresql.as_state_machine().TestCase):
    """Requests made of earlier answers, along the links of the description."""

    settings = steps


# --- the description ------------------------------------------------------------------------------


def values_of(node: Any, name: str) -> Iterator[Any]:
    """Every value under the key ``name``, at any depth."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key == name:
                yield value
            yield from values_of(value, name)
    elif isinstance(node, list):
        for value in node:
            yield from values_of(value, name)


@pytest.fixture(scope="module")
def document(client: TestClient) -> dict[str, Any]:
    response = client.get("/openapi.json")
    found: dict[str, Any] = response.json()
    return found


@pytest.fixture(scope="module")
def operations(document: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {each["operationId"]: each for path in document["paths"].values() for each in path.values()}


def test_the_description_is_valid_and_whole(document: dict[str, Any]) -> None:
    on_sqlite.validate()
    for reference in values_of(document, "$ref"):
        found = document
        for part in reference.removeprefix("#/").split("/"):
            found = found[part]
        assert found
    assert "Problem" in document["components"]["schemas"]
    assert "servers" not in document


def test_operations_are_named_by_hand_and_told_apart(operations: dict[str, dict[str, Any]]) -> None:
    assert set(operations) == {
        *("get_health", "list_characteristics", "list_elements", "get_element", "search", "list_revisions"),
        "get_element_by_number",
        *("import_catalogue", "find_equivalents", "get_equivalents", "compare_elements", "list_calculations"),
        *("find_test_requests", "get_test_requests", "get_picture", "get_comparison", "cross_check", *CELLS),
        *OPERATION_IDS.values(),
    }
    summaries = [operation["summary"] for operation in operations.values()]
    assert len(set(summaries)) == len(summaries)
    for operation in operations.values():
        assert operation["description"].strip()
        assert operation["tags"][0] in {tag["name"] for tag in TAGS}
    assert {operation["tags"][0] for operation in operations.values()} == {tag["name"] for tag in TAGS}


def test_every_answer_and_refusal_is_described(document: dict[str, Any]) -> None:
    for path, each in document["paths"].items():
        if path.startswith(CELLS_AT):
            assert {status: set(its.get("content", ())) for status, its in each["get"]["responses"].items()} == {
                "200": {"text/plain"}, "304": set(),
            }  # fmt: skip
            continue
        for method, operation in each.items():
            calculated = path.startswith("/v1/calculations")
            assert set(operation["responses"]) >= {"200", "400", "406", "414", "422", "500"}
            assert calculated or "503" in operation["responses"]
            assert ("304" in operation["responses"]) == (method == "get")
            assert ("413" in operation["responses"]) == ("415" in operation["responses"]) == (method == "post")
            for status, answer in operation["responses"].items():
                assert "X-Request-ID" in answer["headers"]
                assert ("ETag" in answer["headers"]) == (method == "get" and status in ("200", "206", "304"))
                forms = set(answer.get("content", ()))
                if status == "304":
                    assert not forms
                elif status == "206":
                    assert forms == TABLES
                elif status != "200":
                    assert forms == {"application/problem+json"}
                else:
                    rows = any(parameter["name"] == "format" for parameter in operation.get("parameters", ()))
                    told = {"application/json", *(TABLES if rows else ())}
                    told |= {MEDIA_TYPES["xlsx"]} if path == CROSS_CHECKS else set()
                    assert forms == ({"image/svg+xml"} if path == PICTURES_AT else told)
                    assert {"206", "416"} <= operation["responses"].keys() or not (rows and method == "get")


def test_lists_say_that_they_link(operations: dict[str, dict[str, Any]]) -> None:
    for each in ("list_elements", "list_revisions"):
        assert "Link" in operations[each]["responses"]["200"]["headers"]


def test_every_link_leads_to_a_field_that_there_is(operations: dict[str, dict[str, Any]]) -> None:
    linked = set()
    for name, operation in operations.items():
        for link in operation["responses"]["200"].get("links", {}).values():
            taken = {parameter["name"] for parameter in operations[link["operationId"]]["parameters"]}
            assert set(link["parameters"]) <= taken
            for expression in link["parameters"].values():
                found = example_of(name)["answer"]
                for part in expression.removeprefix("$response.body#/").split("/"):
                    found = found[int(part)] if part.isdigit() else found[part]
                assert found
            linked.add(name)
    assert linked >= {
        *("list_elements", "search", "find_equivalents", "get_equivalents", "compare_elements", "get_comparison")
    }


def inputs_of(operation: dict[str, Any], document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema of a single value that may be sent to an operation, with where it stands."""
    for parameter in operation.get("parameters", ()):
        yield from within(parameter["schema"], parameter["name"], document)
    body = operation.get("requestBody", {}).get("content", {}).get("application/json")
    if body:
        yield from within(body["schema"], "", document)


def within(schema: dict[str, Any], place: str, document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    if "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    yield place, schema
    for each in schema.get("anyOf", ()):
        yield from within(each, place, document)
    for name, each in schema.get("properties", {}).items():
        yield from within(each, f"{place}/{name}", document)
    if "items" in schema:
        yield from within(schema["items"], f"{place}/0", document)


def test_everything_that_may_be_sent_has_bounds(
    operations: dict[str, dict[str, Any]], document: dict[str, Any]
) -> None:
    for name, operation in operations.items():
        for place, schema in inputs_of(operation, document):
            kind = schema.get("type")
            if kind == "string":
                counted = re.search(r"\{([0-9]+,)?[0-9]+\}\$$", schema.get("pattern", ""))
                bounded = {"maxLength", "enum"} & set(schema) or counted
            elif kind == "array":
                bounded = "maxItems" in schema or "enum" in schema["items"]
            elif kind == "integer":
                bounded = "minimum" in schema and "maximum" in schema
            elif kind == "object":
                bounded = schema.get("additionalProperties") is False or "maxProperties" in schema
            else:
                bounded = True
            assert bounded, (name, place, schema)


# --- worked examples ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def importing(demo_store_url: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A service that takes imports, over a store like the one that the examples are of."""
    file = shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path_factory.mktemp("examples") / "store.sqlite")
    with TestClient(create_app(f"sqlite:///{file}", allow_writes=True)) as started:
        yield started


def test_every_operation_has_an_example_in_the_description(operations: dict[str, dict[str, Any]]) -> None:
    assert {file.stem for file in examples.FOLDER.glob("*.json")} == set(operations)
    for name, operation in operations.items():
        example, content = example_of(name), operation["responses"]["200"]["content"]
        assert content.get("application/json", {}).get("example") == example.get("answer")
        assert ("text/csv" in content) == ("table" in example)
        assert ("image/svg+xml" in content) == ("picture" in example)
        assert ("text/plain" in content) == ("text" in example)
        assert ("application/json" in content) == ("answer" in example)
        assert content.get("text/plain", {}).get("example") == example.get("text")
        asked = example["request"].get("query", {}) | example["request"].get("path", {})
        told = {p["name"]: p["example"] for p in operation.get("parameters", ()) if "example" in p}
        assert told == asked
        bodies = operation.get("requestBody", {}).get("content", {})
        assert bool(bodies) == bool({"body", "file"} & set(example["request"]))
        for body in bodies.values():
            assert "example" in body or "examples" in body


@pytest.mark.parametrize("file", sorted(examples.FOLDER.glob("*.json")), ids=lambda file: file.stem)
def test_an_example_is_answered_as_it_says(importing: TestClient, file: Any) -> None:
    example = example_of(file.stem)
    asked = example.pop("request")
    assert examples.answered(importing, file.stem, asked) == example


def test_the_headers_described_are_those_that_are_sent(client: TestClient) -> None:
    response = client.get("/v1/elements", params={"limit": 1})
    for name, header in HEADERS.items():
        assert re.fullmatch(header["schema"].get("pattern", ".*"), response.headers[name])


def test_every_field_and_parameter_is_described(client: TestClient) -> None:
    document = client.get("/openapi.json").json()
    for name, defined in document["components"]["schemas"].items():
        bare = [field for field, its in defined.get("properties", {}).items() if not its.get("description")]
        assert not bare, f"{name}: {bare}"
    for operation in _operations_of(document):
        bare = [its["name"] for its in operation.get("parameters", ()) if not its.get("description")]
        assert not bare, f"{operation['operationId']}: {bare}"


def test_the_glossary_says_nothing_of_what_is_not_there(client: TestClient) -> None:
    document = client.get("/openapi.json").json()
    there = {field for defined in document["components"]["schemas"].values() for field in defined.get("properties", {})}
    there |= {its["name"] for operation in _operations_of(document) for its in operation.get("parameters", ())}
    assert set(MEANING) | set(WORDS) <= there


def test_answers_may_grow_and_questions_refuse_what_they_do_not_know(client: TestClient) -> None:
    document = client.get("/openapi.json").json()
    schemas = document["components"]["schemas"]
    asked, answered = set(), set()
    for operation in _operations_of(document):
        asked |= _referred_to([operation.get("requestBody", {}), operation.get("parameters", [])], schemas)
        answered |= _referred_to(operation["responses"], schemas)
    assert {"Question", "DutyAsked", "RequirementAsked"} <= asked
    assert {"EquivalentsAnswer", "CriterionShown", "Problem"} <= answered
    assert asked | answered == set(schemas)
    assert {name for name, its in schemas.items() if its.get("additionalProperties") is False} == asked
    assert not asked & answered


def _referred_to(part: Any, schemas: dict[str, Any]) -> set[str]:
    direct = {each.rpartition("/")[2] for each in values_of(part, "$ref")} & set(schemas)
    return direct.union(*(_referred_to(schemas[name], schemas) for name in direct))


def _operations_of(document: dict[str, Any]) -> list[dict[str, Any]]:
    return [operation for path in document["paths"].values() for operation in path.values()]
