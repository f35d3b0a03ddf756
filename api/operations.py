"""What each address takes, read off the service's own description."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any

from fastapi import FastAPI, Request

from specdb.errors import meant_by

Schema = Mapping[str, Any]


class Operations:
    """The operations of an OpenAPI document, by address and by id."""

    def __init__(self, document: Mapping[str, Any], beside: Sequence[tuple[str, Iterable[str]]] = ()):
        """``beside`` are addresses that the document does not tell of, with their methods."""
        self._document = document
        self._beside = beside

    @cached_property
    def _by_address(self) -> list[tuple[re.Pattern[str], set[str]]]:
        told = [(template, operations) for template, operations in self._document["paths"].items()]
        return [
            (re.compile(re.sub(r"\\\{[^/]+?\\\}", "[^/]+", re.escape(template))), {each.upper() for each in methods})
            for template, methods in [*told, *self._beside]
        ]

    @cached_property
    def _by_id(self) -> dict[str, Schema]:
        paths = self._document["paths"].values()
        return {operation["operationId"]: operation for path in paths for operation in path.values()}

    @cached_property
    def _queries(self) -> dict[str, dict[str, Schema]]:
        return {
            each: {p["name"]: p["schema"] for p in operation.get("parameters", ()) if p["in"] == "query"}
            for each, operation in self._by_id.items()
        }

    def methods_at(self, path: str) -> set[str]:
        """Methods that any operation at ``path`` takes: the framework itself names those of the first one only."""
        found: set[str] = set()
        for pattern, methods in self._by_address:
            if pattern.fullmatch(path):
                found |= methods
        return found | {"HEAD"} if "GET" in found else found

    def address_near(self, path: str) -> str | None:
        """The address without any name to fill in that ``path``, which is none, most likely stands for."""
        fixed = [template for template in self._document["paths"] if "{" not in template]
        return meant_by(path.replace("_", "-"), fixed)

    def query_of(self, operation_id: str) -> Mapping[str, Schema]:
        """Query fields of an operation with their schemas."""
        return self._queries.get(operation_id, {})

    def kinds_of(self, schema: Schema) -> set[str]:
        """Names of the JSON types that a schema takes."""
        return {str(branch["type"]) for branch in self._branches([schema]) if "type" in branch}

    def _branches(self, schemas: Sequence[Schema]) -> Iterator[Schema]:
        """Each schema, its references followed and its alternatives one by one."""
        for schema in schemas:
            if "$ref" in schema:
                yield from self._branches([self._document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]])
            else:
                yield schema
                yield from self._branches(schema.get("anyOf", ()))


def operations_of(app: FastAPI) -> Operations:
    """The operations of ``app``, read once; ``app.state.beside`` are the addresses that they do not tell of."""
    found = getattr(app.state, "operations", None)
    if found is None:
        found = app.state.operations = Operations(app.openapi(), app.state.beside)
    return found


def operation_id_of(request: Request) -> str:
    """Id of the operation that a request was led to, empty if it was led to none."""
    return getattr(request.scope.get("route"), "operation_id", None) or ""
