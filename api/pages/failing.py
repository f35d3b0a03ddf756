"""Errors as pages: what a browser shows of a problem, and the faults of a question as a page tells them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import Request, Response
from fastapi.responses import HTMLResponse
from starlette.datastructures import Headers
from starlette.types import Scope

from api.pages.addresses import TITLES, Asked, page_near, reads
from api.pages.site import PAGE_HEADERS, render
from specdb.errors import SpecdbError

if TYPE_CHECKING:
    from api.problems import Problem

_NO_PAGES = ("/v1/", "/health", "/openapi.json", "/static/")


def is_page_wanted(scope: Scope) -> bool:
    """Whether who asks reads pages, at an address that is none of the API's."""
    is_page = not scope["path"].startswith(_NO_PAGES)
    return is_page and "text/html" in Headers(scope=scope).get("accept", "")


def problem_page(problem: Problem, scope: Scope, headers: Mapping[str, str]) -> Response:
    """A problem as a page. Its links keep what is asked of a page that there is or is meant, and of any other nothing
    but the units."""
    asked = Asked.of(Request(scope)) if problem.status != 414 else Asked("/", {})
    path = asked.path
    is_no_address = problem.type.endswith(":no-such-address")
    near = page_near(path) if is_no_address else None
    names = {name: text for name, text in asked.names.items() if name == "units" or reads(near or path, name)}
    told = {
        "problem": problem,
        # Programs are told of the addresses that are theirs, people of the pages.
        "detail": f"There is no page at {path}." if is_no_address else problem.detail,
        "near": near,
        "near_title": TITLES.get(near or "", ""),
        "is_number_sought": path.startswith("/elements/"),
    }
    page = render("problem.html", Asked("", names), told)
    return HTMLResponse(page, problem.status, {**PAGE_HEADERS, "Cache-Control": "no-store", **headers})


@dataclass(frozen=True)
class Told:
    """One fault: the dotted name it is found at, None if at none, what is wrong, and what would be right."""

    field: str | None
    message: str
    remedy: str | None


def faults_of(error: SpecdbError) -> list[Told]:
    """Each fault that an error holds, or is."""
    each = [fault for fault in error.faults if isinstance(fault, SpecdbError)] or [error]
    return [Told(one.field, _with_what_was_typed(one), one.remedy) for one in each]


def _with_what_was_typed(error: SpecdbError) -> str:
    """The message as sentences, whatever follows it."""
    told = _stopped(error.message)
    return told if error.value is None or error.value in told else f"{told} You typed {_stopped(error.value)}"


def _stopped(text: str) -> str:
    return text if text[-1:] in (*".?!",) else f"{text}."


def faulty_page(template: str, request: Request, context: Mapping[str, object], status: int) -> Response:
    """A page that shows what was asked with its faults, for the reader to mend; nothing of it is to be kept."""
    page = render(template, Asked.of(request), context)
    return HTMLResponse(page, status, {**PAGE_HEADERS, "Cache-Control": "no-store"})
