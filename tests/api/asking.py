"""A question that uses most of the contract, the rows of its table, and the shape that every refusal has."""

from __future__ import annotations

import asyncio
import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from starlette.types import ASGIApp, Message

from api.problems import HTTP_PROBLEMS
from specdb.errors import family
from specdb.formula_guard import unguarded

JSON = {"content-type": "application/json"}
EQUIVALENTS = "/v1/equivalents"

EXAMPLE: dict[str, Any] = {
    "original": {"maker": "Quollbeck", "number": "Dulse 23"},
    "duty": {
        "flow": "75 L/min",
        "fluid": {"grade": "ISO VG 46", "viscosity_index": 100, "class": "HM"},
        "operating_temperature": "50 degC",
        "cold_start_temperature": "0 degC",
        "working_pressure": "1 MPa",
        "bypass_cracking_pressure": "170 kPa",
        "location": "return",
        "require": [
            {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"},
            {"characteristic": "retained_capacity", "at_least": "60 g"},
            {"characteristic": "collapse_pressure", "at_least": "1 MPa"},
            {
                "characteristic": "clean_pressure_drop",
                "at_most": "25 kPa",
                "flow": "75 L/min",
                "viscosity": "32 mm^2/s",
                "drop_of": "element",
            },
        ],
        "fit": {"thread": "1-12 UNF", "outside_diameter": {"value": "96 mm", "tolerance": "2 mm"}},
        "assumptions": "customary",
    },
    "limit": 20,
    "include_without_evidence": False,
}

CODES = {error.code for error in family()} | {code for code, _ in HTTP_PROBLEMS.values()}


def rows_of_csv(table: str) -> list[dict[str, str]]:
    """The rows of a table, with texts as they are."""
    rows = csv.DictReader(io.StringIO(table, newline=""))
    return [{name: unguarded(cell) for name, cell in row.items()} for row in rows]


def requiring(**requirement: Any) -> dict[str, Any]:
    """A question with one requirement."""
    return {"duty": {"require": [requirement]}}


def refusal(response: Any, status: int, code: str, *pointers: str) -> dict[str, Any]:
    """The problem document of ``response``, which must have the shape of all, and point at ``pointers``."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    document: dict[str, Any] = response.json()
    assert set(document) == {"type", "title", "status", "detail", "instance", "errors"}
    assert document["instance"] == f"urn:specdb:request:{response.headers['x-request-id']}"
    assert response.headers["access-control-allow-origin"] == "*"
    assert response.headers["cache-control"] == "no-store"
    assert document["type"] == f"urn:specdb:problem:{code}"
    assert code in CODES
    assert document["status"] == status
    for name in ("title", "detail"):
        assert isinstance(document[name], str)
        assert document[name].strip()
    for fault in document["errors"]:
        assert {"pointer", "detail"} <= set(fault) <= {"pointer", "detail", "found", "remedy"}
        assert fault["pointer"] == "" or fault["pointer"].startswith("/")
        assert fault["detail"].strip()
    assert [fault["pointer"] for fault in document["errors"]] == list(pointers)
    return document


@dataclass
class Spoken:
    """What an application said to a server, and how far it read what the server had for it."""

    sent: list[Message] = field(default_factory=list)
    read: int = 0

    @property
    def status(self) -> int:
        return int(self.sent[0]["status"])

    @property
    def body(self) -> bytes:
        return b"".join(message["body"] for message in self.sent[1:])


def spoken(
    app: ASGIApp,
    method: str,
    path: str,
    *,
    query: bytes = b"",
    headers: Iterable[tuple[bytes, bytes]] = (),
    messages: Iterable[Message] = (),
    told: Spoken | None = None,
) -> Spoken:
    """What ``app`` does with one request, spoken to without any client or server between."""
    told, coming = told or Spoken(), iter(messages)
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "root_path": "",
        "query_string": query,
        "headers": list(headers),
        "server": ("testserver", 80),
        "client": ("testclient", 1),
    }

    async def receive() -> Message:
        told.read += 1
        return next(coming, {"type": "http.disconnect"})

    async def send(message: Message) -> None:
        told.sent.append(message)

    asyncio.run(app(scope, receive, send))
    return told
