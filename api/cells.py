"""Answers of the addresses that a spreadsheet's web function reads: plain text whatever happens.

Such a function shows no body of a refusal, so that what cannot be answered is a short word, with status 200; two
headers tell the problem's code and its detail. A method that is not taken alone keeps its status.
"""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import Response
from starlette.datastructures import QueryParams
from starlette.types import Scope

from specdb.answers.cells import cell_text, in_ascii, problem_text
from specdb.problems import Problem

PREFIX = "/v1/cells"
CODE_HEADER = "Specdb-Problem"
DETAIL_HEADER = "Specdb-Detail"
CONTENT_TYPE = "text/plain; charset=utf-8"
YES, NO = ("yes", "true"), ("no", "false")

_LONGEST_DETAIL = 1000
_WORDS = {
    "malformed": "bad_address",
    "no-such-address": "no_such_cell",
    "address-too-long": "too_long",
    "method": "method",
    "request": "bad_name",
    "internal": "failed",
}
"""Code of a problem that befalls a request outside of any route: its short word."""


def is_cell(scope: Scope) -> bool:
    path: str = scope["path"]
    return path == PREFIX or path.startswith(f"{PREFIX}/")


def cell(text: str, query: QueryParams, headers: Mapping[str, str]) -> Response:
    """An answer."""
    told = cell_text(text, ascii_only=_is_said(query, "ascii"))
    return Response(told.encode(), headers={**_HEADERS, **headers})


def problem_cell(
    word: str, problem: Problem, query: QueryParams, headers: Mapping[str, str], status: int = 200
) -> Response:
    """What could not be answered."""
    detail = problem.detail if _is_said(query, "detail") else ""
    told = problem_text(word, detail, ascii_only=_is_said(query, "ascii"))
    code = problem.type.rpartition(":")[2]
    named = {CODE_HEADER: code, DETAIL_HEADER: in_ascii(problem.detail)[:_LONGEST_DETAIL]}
    kept = {"Cache-Control": "no-store"}
    return Response(told.encode(), status, headers={**_HEADERS, **kept, **headers, **named})


def cell_of_problem(problem: Problem, scope: Scope, headers: Mapping[str, str]) -> Response:
    """What befell a request outside of any route, or in one unforeseen."""
    code = problem.type.rpartition(":")[2]
    word = _WORDS.get(code) or ("store" if code.startswith("store") else "failed")
    status = problem.status if problem.status == 405 else 200
    return problem_cell(word, problem, QueryParams(scope["query_string"]), headers, status)


_HEADERS = {"Content-Type": CONTENT_TYPE, "X-Content-Type-Options": "nosniff"}


def _is_said(query: QueryParams, name: str) -> bool:
    return query.get(name, "").strip().casefold() in YES
