"""What every request must satisfy before a route reads it: its weight, its media type, its query keys, its JSON."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Coroutine
from typing import Any
from urllib.parse import unquote_to_bytes

from fastapi import HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api import problems
from api.operations import operation_id_of, operations_of
from specdb.errors import shown
from specdb.problems import Problem

BODY_BYTES = 1 << 20
"""Most that a question may weigh."""

UPLOAD_BYTES = 64 << 20
"""Most that an import may weigh, and a file of lines for a cross-check."""

LINES_BYTES = 16 << 20
"""Most that the lines of a cross-check may weigh as JSON."""

ADDRESS_BYTES = 32 << 10
"""Longest address with its query; sixteen requirements with every condition take about a quarter of it."""

IMPORTS = "/v1/imports"
LOADING = "/load"
"""The page that takes a catalogue in."""

CROSS_CHECKS = "/v1/cross-checks"
CROSS_CHECKING = "/cross-check"
"""The page that takes many lines."""

FORM_IN_ADDRESS = "specdb.form_in_address"
"""Key of the scope: the form that the end of the address, which was taken off it, asked for."""

FORMS_IN_ADDRESS = ("csv", "parquet", "xlsx")

_JSON_NUMBER = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
_PLAIN = {
    "integer": (_JSON_NUMBER, "a whole number such as 5"),
    "number": (_JSON_NUMBER, "a number such as 0.5"),
    "boolean": (re.compile("true|false"), "true or false"),
}
"""How a query field that is no text is written. The framework would read " 5", "+5", "1_0", "inf" and "on" too."""


class Limits:
    """Refuses an address that is too long, and a body that weighs too much or is packed: by the length it announces,
    or else as it comes in.

    The framework has such a limit, but answers it in plain text, where ours is a problem document.
    """

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        most = _most_bytes(scope)
        refusal = _unread(scope, most)
        if refusal is not None:
            await problems.answer(refusal, scope)(scope, receive, send)
            return
        weighed = 0

        async def weighing() -> Message:
            nonlocal weighed
            message = await receive()
            weighed += len(message.get("body", b""))
            if weighed > most:
                raise HTTPException(413, _too_large(most))
            return message

        await self.app(scope, weighing, send)


def _most_bytes(scope: Scope) -> int:
    """Most that the body of a request may weigh."""
    if scope["path"] == CROSS_CHECKS:
        is_json = Headers(scope=scope).get("content-type", "").strip().casefold().startswith("application/json")
        return LINES_BYTES if is_json else UPLOAD_BYTES
    return UPLOAD_BYTES if scope["path"] in (IMPORTS, LOADING, CROSS_CHECKING) else BODY_BYTES


def _unread(scope: Scope, most: int) -> Problem | None:
    """Why a request is refused before any of its body is read."""
    if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > ADDRESS_BYTES:
        too_long = f"The address is longer than {ADDRESS_BYTES} bytes. Equivalents can be asked by POST."
        return problems.of_status(414, too_long)
    headers = Headers(scope=scope)
    announced = headers.get("content-length", "").strip().lstrip("0")
    if announced.isdecimal() and (len(announced) > len(str(most)) or int(announced) > most):
        return problems.of_status(413, _too_large(most))
    if headers.get("content-encoding", "identity").strip().casefold() != "identity":
        return problems.of_status(415, "The body must not be packed: send it without Content-Encoding.")
    return None


def _too_large(most: int) -> str:
    return f"The body weighs more than {most} bytes."


class Addresses:
    """HEAD is GET without the body, and without parts of it (RFC 9110, section 14.2); an address that ends in ``.csv``,
    ``.parquet`` or ``.xlsx`` is the one without, answered in that form."""

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        path: str = scope["path"]
        without, _, form = path.rpartition(".")
        if path.startswith("/v1/") and form in FORMS_IN_ADDRESS:
            scope = {**scope, "path": without, FORM_IN_ADDRESS: form}
        if scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def without_body(message: Message) -> None:
            await send({**message, "body": b""} if message["type"] == "http.response.body" else message)

        headers = [(name, value) for name, value in scope["headers"] if name != b"range"]
        await self.app({**scope, "method": "GET", "headers": headers}, receive, without_body)


def media_type_of(request: Request) -> tuple[str, str]:
    """Media type of a request's body and the character set that it says, in small letters, empty where not said."""
    media_type, _, parameters = request.headers.get("content-type", "").partition(";")
    charset = re.search(r"(?:^|;)\s*charset\s*=\s*\"?([^\s;\"]*)", parameters, re.IGNORECASE)
    return media_type.strip().casefold(), charset[1].casefold() if charset else ""


class StrictJson(Request):
    """A request whose JSON is what RFC 8259 says: UTF-8, no NaN, and no name twice in one object, where the last
    would win. A byte order mark is passed over."""

    async def json(self) -> Any:
        body = await self.body()
        try:
            return json.loads(body.decode("utf-8-sig"), object_pairs_hook=_once_each, parse_constant=_no_number)
        except json.JSONDecodeError:
            raise
        except UnicodeDecodeError as error:
            raise json.JSONDecodeError(f"it is not UTF-8 from byte {error.start} on", "", 0) from None
        except RecursionError:
            raise json.JSONDecodeError("it is nested too deeply", "", 0) from None
        except ValueError:
            raise json.JSONDecodeError("it holds a number of too many digits", "", 0) from None


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        name = Counter(name for name, _ in pairs).most_common(1)[0][0]
        raise json.JSONDecodeError(f"the name {json.dumps(name)[:80]} stands twice in one object", "", 0)
    return found


def _no_number(constant: str) -> float:
    raise json.JSONDecodeError(f"{constant} is no JSON number", "", 0)


class StrictRoute(APIRoute):
    """A route that takes JSON alone, and reads it strictly."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        handler = super().get_route_handler()
        if self.body_field is None:
            return handler

        async def strict(request: Request) -> Response:
            asked = StrictJson(request.scope, request.receive)
            media_type, charset = media_type_of(asked)
            # A body that is absent is the route's to refuse.
            if (media_type != "application/json" or charset not in ("", "utf-8", "utf8")) and await asked.body():
                stated = f"; it says {shown(asked.headers['content-type'])}" if media_type else ""
                needed = "Send the header Content-Type: application/json (curl: -H 'Content-Type: application/json')."
                raise HTTPException(415, f"The body must be application/json, in UTF-8{stated}. {needed}")
            return await handler(asked)

        return strict


async def plain_query(request: Request) -> None:
    """Refuse a query that can be read two ways: a key stated twice, a number or a truth value oddly written."""
    if not request.scope["query_string"]:
        return
    try:
        unquote_to_bytes(request.scope["query_string"]).decode()
    except UnicodeDecodeError:
        raise HTTPException(400, "The query is not percent-encoded UTF-8.") from None
    stated = request.query_params.multi_items()
    counted = Counter(key for key, _ in stated)
    _refuse([key for key, count in counted.items() if count > 1], "repeated", "this is stated more than once")
    operations = operations_of(request.app)
    declared = operations.query_of(operation_id_of(request))
    for key, value in stated:
        kinds = operations.kinds_of(declared[key]) - {"null"} if key in declared else set()
        if kinds and kinds <= _PLAIN.keys() and not any(_PLAIN[kind][0].fullmatch(value) for kind in kinds):
            _refuse([key], "misspelt", f"{' or '.join(_PLAIN[kind][1] for kind in sorted(kinds))} is expected")


async def no_query(request: Request) -> None:
    """Refuse every query key, at an address that takes none."""
    _refuse(list(request.query_params), "extra_forbidden", "there is no such field")


def _refuse(keys: list[str], kind: str, message: str) -> None:
    if keys:
        faults: list[dict[str, Any]] = [{"type": kind, "loc": ("query", key), "msg": message} for key in keys]
        raise RequestValidationError(faults)
