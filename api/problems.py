"""How a service tells its errors: as problem documents of RFC 9457, which :mod:`specdb.problems` makes.

``instance`` names the request. To a browser at the address of a page the problem is a page.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Sequence
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import Field
from sqlalchemy.exc import OperationalError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.cells import cell_of_problem, is_cell
from api.operations import operation_id_of, operations_of
from api.pages.failing import is_page_wanted, problem_page
from api.tracing import REQUEST_ID
from specdb import problems
from specdb.duty.left import faults_in_the_rest
from specdb.duty.question import fields_below, known_fields
from specdb.errors import ServiceBusyError, SpecdbError, StoreUnreachableError, family, shown
from specdb.problems import (
    HTTP_PROBLEMS,
    MEDIA_TYPE,
    MOST_FAULTS,
    TYPE_PREFIX,
    of_error,
    of_faulty_form,
    of_status,
    status_of,
)

__all__ = ["HTTP_PROBLEMS", "MOST_FAULTS", "of_error", "of_status", "status_of"]

_LOGGED = "The cause has been logged under the name of this request."
_log = logging.getLogger("specdb.api")


class Problem(problems.Problem):
    """A problem document of RFC 9457."""

    instance: str = Field(default_factory=lambda: f"urn:specdb:request:{REQUEST_ID.get()}")


class ProblemResponse(Response):
    media_type = MEDIA_TYPE

    def __init__(self, content: Any, status_code: int, headers: dict[str, str] | None = None):
        # A 404 may be kept by rule, and what is not on file today may be on file tomorrow.
        super().__init__(content, status_code, headers={"Cache-Control": "no-store"} | (headers or {}))

    def render(self, content: Any) -> bytes:
        return json.dumps(content, ensure_ascii=True, allow_nan=False).encode()


def documented(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI responses for the problems that an operation may answer."""
    if 304 in statuses:
        rest = documented(*(s for s in statuses if s != 304))
        return {304: {"description": "The caller has this answer already"}} | rest
    titles = {status_of(error): error.title for error in family()} | {s: t for s, (_, t) in HTTP_PROBLEMS.items()}
    titles[status_of(ServiceBusyError)] = ServiceBusyError.title
    schema = {"$ref": "#/components/schemas/Problem"}
    return {s: {"description": titles[s], "content": {MEDIA_TYPE: {"schema": schema}}} for s in statuses}


def answer(found: problems.Problem, scope: Scope, headers: dict[str, str] | None = None) -> Response:
    """The problem as who asked reads it: a page for a browser at the address of one, a short word in a cell of a sheet,
    else the document."""
    if is_cell(scope):
        return cell_of_problem(found, scope, headers or {})
    problem = Problem.model_validate(found.model_dump(exclude_none=True))
    if is_page_wanted(scope):
        return problem_page(problem, scope, headers or {})
    return ProblemResponse(problem.model_dump(exclude_none=True), problem.status, headers=headers)


def _hidden(error: SpecdbError) -> problems.Problem:
    """The problem document of an error of the service's own, whose words may name its insides."""
    status, detail = status_of(type(error)), f"{error.title}. {_LOGGED}"
    return problems.Problem(type=TYPE_PREFIX + error.code, title=error.title, status=status, detail=detail)


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
        found = error.errors()
        unreadable = next((e for e in found if e["type"] == "json_invalid"), None)
        if unreadable is not None:
            return answer(of_status(400, f"The body is no JSON: {_json_fault(unreadable)}"), request.scope)
        in_body = [e["loc"][1:] for e in found if e["loc"][:1] == ("body",)]
        rest = faults_in_the_rest(error.body, in_body) if in_body else []
        within = [{**e, "loc": e["loc"][1:], **_fields_about(request, e["loc"])} for e in found[:MOST_FAULTS]]
        return answer(of_faulty_form(within, rest, len(found)), request.scope)

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


def _fields_about(request: Request, place: Sequence[int | str]) -> dict[str, Any]:
    """The fields that may stand where a fault was found, and those below: of the body that a request was led to, or of
    its query."""
    body = getattr(request.scope["route"], "body_field", None)
    if place[0] != "body" or body is None:
        return {"known": [*operations_of(request.app).query_of(operation_id_of(request))]}
    within, model = place[1:-1], body.field_info.annotation
    return {"known": known_fields(within, model), "below": fields_below(within, model)}


def _json_fault(error: dict[str, Any]) -> str:
    place = f" at character {error['loc'][-1]}" if error["loc"][-1] else ""
    return f"{shown(error['ctx']['error'])}{place}."
