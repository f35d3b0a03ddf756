"""The service's description of itself: OpenAPI with our problem document, worked examples, headers and links."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from importlib import resources
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from api import problems
from api.cells import CODE_HEADER, DETAIL_HEADER
from api.glossary import JUDGED_SCHEMAS, MEANING, REASONS_OF_A_VERDICT, WORDS
from api.representation import MEDIA_TYPES
from api.tracing import HEADER as REQUEST_ID_HEADER

ABOUT = """\
Everything is computed from ratings on file, each with its source; nothing is an approval by an equipment maker.
Quantities are asked with their unit ("75 L/min") and answered in SI, or in US customary units with `units=us`.
Errors are problem documents (RFC 9457). GET answers carry an ETag; HEAD is answered wherever GET is. What has rows is
answered as CSV and as Parquet too: by `Accept: text/csv` or `application/vnd.apache.parquet`, by `format=csv` or
`format=parquet`, or at the address with `.csv` or `.parquet` at its end; of these, parts are given by `Range`.
"""

TAGS = [
    {"name": "service", "description": "The service itself."},
    {"name": "catalogue", "description": "What is on file: elements, their ratings, sources and history."},
    {"name": "decisions", "description": "Which element serves a duty, which may stand in, and what is not shown."},
    {"name": "cells", "description": "Short plain texts for a spreadsheet's web function, whatever is asked."},
    {"name": "calculations", "description": "The small sums of the trade, each with its source."},
]

HEADERS: dict[str, dict[str, Any]] = {
    REQUEST_ID_HEADER: {
        "description": "Name of the request: the caller's own where it is a plain word, else a new one.",
        "required": True,
        "schema": {"type": "string", "pattern": "^[A-Za-z0-9_.-]{1,64}$"},
    },
    "ETag": {
        "description": "Names this answer; sent back in `If-None-Match` while it is still right, 304 is the answer.",
        "required": True,
        "schema": {"type": "string", "pattern": '^"[0-9a-f]{32}"$'},
    },
    "Link": {
        "description": 'Addresses beside this one (RFC 8288), such as `<...>; rel="next"`.',
        "schema": {"type": "string"},
    },
}

OF_CELLS = {
    "ETag": {name: its for name, its in HEADERS["ETag"].items() if name != "required"},
    CODE_HEADER: {
        "description": "Of a short word: the code of the problem.",
        "schema": {"type": "string", "pattern": "^[a-z-]{1,64}$"},
    },
    DETAIL_HEADER: {
        "description": "Of a short word: what is wrong and what would be right.",
        "schema": {"type": "string"},
    },
}
"""Headers of a cell, which has an ETag where it is no short word."""

LINKS = {
    "list_elements": {"element": ("get_element", {"element_id": "$response.body#/elements/0/element_id"})},
    "search": {"element": ("get_element", {"element_id": "$response.body#/hits/0/element/element_id"})},
    "find_equivalents": {"element": ("get_element", {"element_id": "$response.body#/candidates/0/element/element_id"})},
    "get_equivalents": {"element": ("get_element", {"element_id": "$response.body#/candidates/0/element/element_id"})},
    "find_test_requests": {
        "element": ("get_element", {"element_id": "$response.body#/requests/0/candidates/0/element_id"})
    },
    "get_test_requests": {
        "element": ("get_element", {"element_id": "$response.body#/requests/0/candidates/0/element_id"})
    },
    "get_comparison": {"element": ("get_element", {"element_id": "$response.body#/elements/0/element/element_id"})},
    "compare_elements": {"element": ("get_element", {"element_id": "$response.body#/elements/0/element/element_id"})},
    "list_revisions": {"elements": ("list_elements", {"as_of": "$response.body#/revisions/0/revision"})},
}
"""By operation: the name of each link, the operation it leads to, and what of the answer that one's fields take."""

_EXAMPLES = resources.files("api") / "examples"


_described: dict[str, Any] = {}
"""Made once for all services of this program, since it takes a while and they differ in their stores alone."""


def install(app: FastAPI) -> None:
    """Describe ``app`` with our own problem document in place of the framework's error models."""

    def openapi() -> dict[str, Any]:
        if not _described:
            _described.update(_description_of(app))
        return _described

    app.openapi = openapi  # type: ignore[method-assign]  # the documented way to replace it


def example_of(operation_id: str) -> dict[str, Any]:
    """The worked example of an operation: its ``request`` (``path``, ``query``, ``body`` or ``file``), the true
    ``answer``, and the ``table`` of an answer that is had as CSV; of a picture, what it tells in words, of a cell its
    ``text``."""
    found: dict[str, Any] = json.loads((_EXAMPLES / f"{operation_id}.json").read_text(encoding="utf-8"))
    return found


def _description_of(app: FastAPI) -> dict[str, Any]:
    described = get_openapi(
        title=app.title, summary=app.summary, description=ABOUT, version=app.version, routes=app.routes, tags=TAGS
    )
    components = described.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    problem = problems.Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas |= problem.pop("$defs") | {"Problem": problem}
    components["headers"] = HEADERS
    asked = _named_in_questions(described)
    for name, schema in schemas.items():
        _say_meaning(schema.get("properties", {}), MEANING)
        if name not in asked:
            schema.pop("additionalProperties", None)  # fields may be added to answers
            _say_words(schema.get("properties", {}), WORDS)
        if name in JUDGED_SCHEMAS:
            _say_words(schema["properties"], {"reason": REASONS_OF_A_VERDICT})
    for method, operation in _operations(described):
        _say_meaning({p["name"]: p for p in operation.get("parameters", ())}, MEANING)
        _say_refusals(operation)
        _say_tables(operation, method)
        _say_headers(operation, method)
        _say_links(operation)
        _say_example(operation)
    for name in set(schemas) - _named_in(described, [described["paths"]]):
        del schemas[name]  # one that is written out where it is asked, and named nowhere
    return described


def _operations(described: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for operations in described["paths"].values():
        yield from operations.items()


def _named_in_questions(described: dict[str, Any]) -> set[str]:
    """Names of the schemas that questions are made of."""
    asked = [o.get("requestBody", {}) for _, o in _operations(described)]
    return _named_in(described, asked + [o.get("parameters", []) for _, o in _operations(described)])


def _named_in(described: dict[str, Any], parts: list[Any]) -> set[str]:
    """Names of the schemas that ``parts`` refer to, and those refer to in turn."""
    schemas = described["components"]["schemas"]
    found: set[str] = set()
    left = list(parts)
    while left:
        part = left.pop()
        if isinstance(part, dict):
            name = str(part.get("$ref", "")).rpartition("/")[2]
            if name in schemas and name not in found:
                found.add(name)
                left.append(schemas[name])
            left += part.values()
        elif isinstance(part, list):
            left += part
    return found


def _say_meaning(fields: dict[str, dict[str, Any]], meaning: Mapping[str, str]) -> None:
    """Describe what does not describe itself."""
    for name, field in fields.items():
        if not field.get("description") and name in meaning:
            field["description"] = meaning[name]


def _say_words(fields: dict[str, dict[str, Any]], words: Mapping[str, Sequence[str]]) -> None:
    """Name all that a word may be."""
    for name, field in fields.items():
        for branch in field.get("anyOf", [field]):
            if name in words and branch.get("type") == "string":
                branch["enum"] = list(words[name])


def _say_refusals(operation: dict[str, Any]) -> None:
    """What is refused before any route is asked, and what may befall each. A cell is answered whatever befalls it."""
    if operation["tags"] == ["cells"]:
        return
    bodied = (413, 415) if "requestBody" in operation else ()
    common = problems.documented(400, 406, *bodied, 414, 422, 500)
    responses = operation["responses"] | {str(status): response for status, response in common.items()}
    operation["responses"] = dict(sorted(responses.items()))


def _say_headers(operation: dict[str, Any], method: str) -> None:
    for status, response in operation["responses"].items():
        names = [REQUEST_ID_HEADER]
        if method == "get" and status in ("200", "206", "304"):
            names.append("ETag")
        if status == "200" and any(parameter["name"] == "cursor" for parameter in operation.get("parameters", ())):
            names.append("Link")
        response["headers"] = {name: {"$ref": f"#/components/headers/{name}"} for name in names}
        if operation["tags"] == ["cells"] and status == "200":
            response["headers"] |= OF_CELLS


def _say_tables(operation: dict[str, Any], method: str) -> None:
    """What takes ``format`` is answered as a table too, and by GET in parts."""
    taken = [parameter["schema"] for parameter in operation.get("parameters", ()) if parameter["name"] == "format"]
    if taken:
        tables = {
            MEDIA_TYPES["csv"]: {"schema": {"type": "string"}},
            MEDIA_TYPES["parquet"]: {"schema": {"type": "string", "format": "binary"}},
        }
        if "xlsx" in taken[0].get("enum", ()):
            tables[MEDIA_TYPES["xlsx"]] = {"schema": {"type": "string", "format": "binary"}}
        operation["responses"]["200"]["content"] |= tables
        if method == "get":
            part = {"description": "The bytes that `Range` asks for, of a table", "content": tables}
            responses = operation["responses"] | {"206": part, "416": problems.documented(416)[416]}
            operation["responses"] = dict(sorted(responses.items()))


def _say_links(operation: dict[str, Any]) -> None:
    links = LINKS.get(operation["operationId"], {})
    if links:
        operation["responses"]["200"]["links"] = {
            name: {"operationId": target, "parameters": fields} for name, (target, fields) in links.items()
        }


def _say_example(operation: dict[str, Any]) -> None:
    if not (_EXAMPLES / f"{operation['operationId']}.json").is_file():
        return
    example = example_of(operation["operationId"])
    asked, content = example["request"], operation["responses"]["200"]["content"]
    stated = {"path": asked.get("path", {}), "query": asked.get("query", {})}
    for parameter in operation.get("parameters", ()):
        if parameter["name"] in stated[parameter["in"]]:
            parameter["example"] = stated[parameter["in"]][parameter["name"]]
    bodies = operation.get("requestBody", {}).get("content", {})
    if "body" in asked:
        bodies["application/json"]["examples"] = {"worked": {"value": asked["body"]}}
    if "file" in asked:
        bodies["multipart/form-data"]["example"] = {"file": asked["file"]["text"]}
    for form, name in (("application/json", "answer"), ("text/csv", "table"), ("text/plain", "text")):
        if name in example:
            content[form]["example"] = example[name]
