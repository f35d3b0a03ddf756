"""Errors as RFC 9457 problem documents.

``type`` is ``urn:specdb:problem:<code>``, with the codes of ``specdb.errors`` and those of
``HTTP_PROBLEMS``; each has its heading in ``docs/errors.md``. ``errors`` points at each offending
field by JSON pointer. Nothing that the caller sent is echoed beyond one printable line.
"""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Iterable, Sequence
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel
from starlette.exceptions import HTTPException

from specdb.duty.question import known_fields
from specdb.errors import (
    ImportRefusedError,
    InputError,
    NotOnFileError,
    SpecdbError,
    StoreError,
    family,
    shown,
)

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:specdb:problem:"

HTTP_PROBLEMS = {
    400: ("malformed", "The request cannot be read"),
    404: ("no-such-address", "There is nothing at this address"),
    405: ("method", "This address does not take this method"),
    413: ("too-large", "The request is too large"),
    415: ("media-type", "The request is in a form that is not taken here"),
    422: ("request", "The request has faults"),
    500: ("internal", "The service failed"),
}

_STATUS: dict[type[SpecdbError], int] = {
    InputError: 422,
    NotOnFileError: 404,
    ImportRefusedError: 422,
    StoreError: 503,
    SpecdbError: 500,
}
"""Status of each branch of the family; the nearest ancestor decides."""


class Fault(BaseModel):
    pointer: str
    detail: str
    remedy: str | None = None


class Problem(BaseModel):
    """A problem document of RFC 9457."""

    type: str
    title: str
    status: int
    detail: str
    errors: list[Fault] = []


class ProblemResponse(Response):
    media_type = MEDIA_TYPE

    def render(self, content: Any) -> bytes:
        return json.dumps(content, ensure_ascii=True, allow_nan=False).encode()


def status_of(error: type[SpecdbError]) -> int:
    """HTTP status of a class of the family."""
    return next(_STATUS[ancestor] for ancestor in error.__mro__ if ancestor in _STATUS)


def documented(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI responses for the problems that an operation may answer."""
    titles = {status_of(error): error.title for error in family()} | {s: t for s, (_, t) in HTTP_PROBLEMS.items()}
    schema = {"$ref": "#/components/schemas/Problem"}
    return {s: {"description": titles[s], "content": {MEDIA_TYPE: {"schema": schema}}} for s in statuses}


def answer(problem: Problem, headers: dict[str, str] | None = None) -> ProblemResponse:
    return ProblemResponse(problem.model_dump(exclude_none=True), problem.status, headers=headers)


def of_error(error: SpecdbError) -> Problem:
    """The problem document of one of our own errors."""
    if isinstance(error, ImportRefusedError):
        faults = [
            Fault(pointer=_pointer((f.file, f.row or "", f.column or "")), detail=str(f), remedy=f.remedy)
            for f in error.faults
        ]
    else:
        each: Sequence[SpecdbError] = getattr(error, "faults", ()) or (error,)
        faults = [
            Fault(pointer=_pointer(e.field.split(".")), detail=_detail(e), remedy=e.remedy) for e in each if e.field
        ]
    return Problem(
        type=TYPE_PREFIX + error.code,
        title=error.title,
        status=status_of(type(error)),
        detail=str(error),
        errors=faults,
    )


def _detail(error: SpecdbError) -> str:
    return error.message if error.value is None else f"{error.message} Found: {error.value}"


def _pointer(parts: Iterable[object]) -> str:
    return "".join("/" + shown(str(part)).replace("~", "~0").replace("/", "~1") for part in parts if part != "")


def of_status(status: int, detail: str) -> Problem:
    code, title = HTTP_PROBLEMS.get(status, HTTP_PROBLEMS[500 if status >= 500 else 400])
    return Problem(type=TYPE_PREFIX + code, title=title, status=status, detail=detail)


def install(app: FastAPI) -> None:
    """Answer every error of ``app`` with a problem document."""

    @app.exception_handler(SpecdbError)
    async def ours(_request: Request, error: SpecdbError) -> Response:
        return answer(of_error(error))

    @app.exception_handler(RequestValidationError)
    async def invalid(_request: Request, error: RequestValidationError) -> Response:
        # The library's own errors carry the input itself, which may hold what JSON cannot: take the message only.
        unreadable = next((e for e in error.errors() if e["type"] == "json_invalid"), None)
        if unreadable is not None:
            return answer(of_status(400, f"The body is no JSON: {_json_fault(unreadable)}"))
        faults = [_invalid(e) for e in error.errors()]
        problem = of_status(422, "; ".join(f"{f.pointer or 'body'}: {f.detail}" for f in faults[:5]))
        problem.errors = faults
        return answer(problem)

    @app.exception_handler(HTTPException)
    async def http(request: Request, error: HTTPException) -> Response:
        headers = dict(error.headers or {})
        if error.status_code == 405:
            headers["Allow"] = ", ".join(sorted(_methods_of(app, request.url.path)))
        return answer(of_status(error.status_code, shown(str(error.detail))), headers)

    @app.exception_handler(Exception)
    async def unforeseen(_request: Request, error: Exception) -> Response:
        logging.getLogger("specdb.api").exception("unforeseen failure", exc_info=error)
        return answer(of_status(500, "The failure has been logged; nothing was changed."))


def _invalid(error: dict[str, Any]) -> Fault:
    place = [part for part in error["loc"] if part not in ("body", "query", "path", "header")]
    message, remedy = error["msg"].removeprefix("Value error, "), None
    if error["type"] == "extra_forbidden":
        message = "there is no such field"
        if error["loc"][0] == "body":
            remedy = f"Known are {', '.join(known_fields(place[:-1]))}."
    return Fault(pointer=_pointer(place), detail=message, remedy=remedy)


def _json_fault(error: dict[str, Any]) -> str:
    return f"{shown(error['ctx']['error'])} at character {error['loc'][-1]}."


def _methods_of(app: FastAPI, path: str) -> set[str]:
    """Methods that any route at ``path`` takes: the framework itself names those of the first one only."""
    found = {"GET", "HEAD"} if path == app.openapi_url else set()
    for template, operations in app.openapi()["paths"].items():
        if re.fullmatch(re.sub(r"\\\{[^/]+?\\\}", "[^/]+", re.escape(template)), path):
            found |= {method.upper() for method in operations}
    return found
