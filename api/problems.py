"""Errors as RFC 9457 problem documents.

``type`` is ``urn:specdb:problem:<code>``, with the codes of ``specdb.errors`` and those of
``HTTP_PROBLEMS``; each has its heading in ``docs/errors.md``. ``errors`` points at each offending
field by JSON pointer, and ``instance`` names the request. Nothing that the caller sent is echoed
beyond one printable line.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable, Sequence
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from sqlalchemy.exc import OperationalError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.operations import operation_id_of, operations_of
from api.pages.failing import is_page_wanted, problem_page
from api.tracing import REQUEST_ID
from specdb.duty.left import faults_in_the_rest
from specdb.errors import (
    ImportRefusedError,
    InputError,
    NotOnFileError,
    RevisionMovedError,
    SpecdbError,
    StoreError,
    StoreUnreachableError,
    WritesRefusedError,
    family,
    in_plain_words,
    meant_by,
    shown,
)

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:specdb:problem:"
MOST_FAULTS = 100
"""Faults of a question that are told one by one. Of an import all are told."""

FIELDS_LISTED = 40
"""Known fields that are named to who asks for an unknown one."""

_LOGGED = "The cause has been logged under the name of this request."
_log = logging.getLogger("specdb.api")

HTTP_PROBLEMS = {
    400: ("malformed", "The request cannot be read"),
    404: ("no-such-address", "There is nothing at this address"),
    405: ("method", "This address does not take this method"),
    406: ("not-acceptable", "The answer cannot be had in this form"),
    413: ("too-large", "The request is too large"),
    414: ("address-too-long", "The address is too long"),
    415: ("media-type", "The request is in a form that is not taken here"),
    422: ("request", "The request has faults"),
    500: ("internal", "The service failed"),
}

_STATUS: dict[type[SpecdbError], int] = {
    InputError: 422,
    NotOnFileError: 404,
    ImportRefusedError: 422,
    RevisionMovedError: 409,
    WritesRefusedError: 403,
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
    instance: str = Field(default_factory=lambda: f"urn:specdb:request:{REQUEST_ID.get()}")
    errors: list[Fault] = []


class ProblemResponse(Response):
    media_type = MEDIA_TYPE

    def __init__(self, content: Any, status_code: int, headers: dict[str, str] | None = None):
        # A 404 may be kept by rule, and what is not on file today may be on file tomorrow.
        super().__init__(content, status_code, headers={"Cache-Control": "no-store"} | (headers or {}))

    def render(self, content: Any) -> bytes:
        return json.dumps(content, ensure_ascii=True, allow_nan=False).encode()


def status_of(error: type[SpecdbError]) -> int:
    """HTTP status of a class of the family."""
    return next(_STATUS[ancestor] for ancestor in error.__mro__ if ancestor in _STATUS)


def documented(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI responses for the problems that an operation may answer."""
    if 304 in statuses:
        rest = documented(*(s for s in statuses if s != 304))
        return {304: {"description": "The caller has this answer already"}} | rest
    titles = {status_of(error): error.title for error in family()} | {s: t for s, (_, t) in HTTP_PROBLEMS.items()}
    schema = {"$ref": "#/components/schemas/Problem"}
    return {s: {"description": titles[s], "content": {MEDIA_TYPE: {"schema": schema}}} for s in statuses}


def answer(problem: Problem, scope: Scope, headers: dict[str, str] | None = None) -> Response:
    """The problem as who asked reads it: a page for a browser at the address of one, else the document."""
    if is_page_wanted(scope):
        return problem_page(problem, scope, headers or {})
    return ProblemResponse(problem.model_dump(exclude_none=True), problem.status, headers=headers)


def of_error(error: SpecdbError) -> Problem:
    """The problem document of one of our own errors."""
    if isinstance(error, ImportRefusedError):
        faults = [
            Fault(pointer=_pointer((f.file, f.row or "", f.column or "")), detail=str(f), remedy=f.remedy)
            for f in error.faults
        ]
    else:
        faults = of_errors(getattr(error, "faults", ()) or (error,))
    return Problem(
        type=TYPE_PREFIX + error.code,
        title=error.title,
        status=status_of(type(error)),
        detail=str(error),
        errors=faults,
    )


def of_errors(errors: Iterable[SpecdbError]) -> list[Fault]:
    """The fault that each of our own errors is, of those that name a field."""
    return [
        Fault(pointer=_pointer([e.field] if e.whole else e.field.split(".")), detail=_detail(e), remedy=e.remedy)
        for e in errors
        if e.field
    ]


def _hidden(error: SpecdbError) -> Problem:
    """The problem document of an error of the service's own, whose words may name its insides."""
    status, detail = status_of(type(error)), f"{error.title}. {_LOGGED}"
    return Problem(type=TYPE_PREFIX + error.code, title=error.title, status=status, detail=detail)


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
    async def ours(request: Request, error: SpecdbError) -> Response:
        if status_of(type(error)) < 500:
            return answer(of_error(error), request.scope)
        _log.error("%s: %s", error.code, error, exc_info=error)
        return answer(_hidden(error), request.scope)

    @app.exception_handler(OperationalError)
    async def unreachable(request: Request, error: OperationalError) -> Response:
        """The database went away, or was locked for too long, after a session had begun."""
        _log.error("the store cannot be reached", exc_info=error)
        return answer(_hidden(StoreUnreachableError(str(error.orig))), request.scope)

    @app.exception_handler(RequestValidationError)
    async def invalid(request: Request, error: RequestValidationError) -> Response:
        # The library's own errors carry the input itself, which may hold what JSON cannot: take the message only.
        unreadable = next((e for e in error.errors() if e["type"] == "json_invalid"), None)
        if unreadable is not None:
            return answer(of_status(400, f"The body is no JSON: {_json_fault(unreadable)}"), request.scope)
        faults = [_invalid(request, e) for e in error.errors()[:MOST_FAULTS]]
        in_body = [e["loc"][1:] for e in error.errors() if e["loc"][:1] == ("body",)]
        rest = faults_in_the_rest(error.body, in_body) if in_body else []
        faults += of_errors(rest)[: MOST_FAULTS - len(faults)]
        count = len(error.errors()) + len(rest)
        more = f"; and {count - 5} more" if count > 5 else ""
        problem = of_status(422, "; ".join(f"{f.pointer or 'body'}: {f.detail}" for f in faults[:5]) + more)
        problem.errors = faults
        return answer(problem, request.scope)

    @app.exception_handler(HTTPException)
    async def http(request: Request, error: HTTPException) -> Response:
        headers = dict(error.headers or {})
        if error.status_code == 304:
            return Response(status_code=304, headers=headers)
        detail = str(error.detail)
        if error.status_code == 404:
            near = operations_of(app).address_near(request.scope["path"])
            meant = f"Is {near} meant? " if near else ""
            detail = f"{meant}The addresses that there are stand in /openapi.json."
        elif error.status_code == 405:
            headers["Allow"] = ", ".join(sorted(operations_of(app).methods_at(request.scope["path"])))
            detail = f"It takes {headers['Allow']}."
        return answer(of_status(error.status_code, detail), request.scope, headers)


class Failures:
    """Answers what nobody foresaw with a problem document that shows nothing inside.

    The framework's own handler stands outside all else, where an answer no longer gets the request's name.
    """

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        begun = False

        async def noting(message: Message) -> None:
            nonlocal begun
            begun = begun or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, receive, noting)
        except ClientDisconnect:
            _log.info("the caller went away")
        except Exception as error:
            if scope["type"] != "http":
                raise
            _log.error("unforeseen failure", exc_info=error)
            if begun:
                raise  # half an answer must not look whole: the server breaks the connection off
            await answer(of_status(500, _LOGGED), scope)(scope, receive, send)


def _invalid(request: Request, error: dict[str, Any]) -> Fault:
    source, *place = error["loc"]
    message, remedy = in_plain_words(error["type"], error["msg"]), None
    if error["type"] == "string_pattern_mismatch" and place[-1:] == ["element_id"]:
        message = "this is no element_id: 16 digits from 0 to 9 and a to f"
        remedy = "Look the number up with /v1/search, which tells the element_id."
    elif error["type"] == "extra_forbidden":
        operations, asked = operations_of(request.app), operation_id_of(request)
        known = operations.fields_at(asked, place[:-1]) if source == "body" else [*operations.query_of(asked)]
        message, remedy = "there is no such field", _nearest(str(place[-1]), known)
    return Fault(pointer=_pointer(place), detail=message, remedy=remedy)


def _nearest(name: str, known: Sequence[str]) -> str:
    """What may have been meant by a field that is not there."""
    if not known:
        return "Nothing is asked for here: leave it out."
    near = meant_by(name, known)
    meant = f'Is "{near}" meant? ' if near else ""
    listed = ", ".join(known[:FIELDS_LISTED]) + (", …" if len(known) > FIELDS_LISTED else "")
    return f"{meant}Known are {listed}."


def _json_fault(error: dict[str, Any]) -> str:
    place = f" at character {error['loc'][-1]}" if error["loc"][-1] else ""
    return f"{shown(error['ctx']['error'])}{place}."
