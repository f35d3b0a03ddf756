"""Errors as RFC 9457 problem documents: the same from a service, and from a catalogue that is read without one.

``type`` is ``urn:specdb:problem:<code>``, with the codes of :mod:`specdb.errors` and those of ``HTTP_PROBLEMS``; each
has its heading in ``docs/errors.md``. ``errors`` points at each offending field by JSON pointer. Nothing that the
caller sent is echoed beyond one printable line.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from pydantic import BaseModel

from specdb.errors import (
    ImportRefusedError,
    InputError,
    NotOnFileError,
    RevisionMovedError,
    ServiceBusyError,
    ServiceUnreachableError,
    SpecdbError,
    StoreError,
    WritesRefusedError,
    in_plain_words,
    meant_by,
    object_wanted,
    shown,
)

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:specdb:problem:"
MOST_FAULTS = 100
"""Faults of a question that are told one by one. Of an import all are told."""

FIELDS_LISTED = 40
"""Known fields that are named to who asks for an unknown one."""

HTTP_PROBLEMS = {
    400: ("malformed", "The request cannot be read"),
    404: ("no-such-address", "There is nothing at this address"),
    405: ("method", "This address does not take this method"),
    406: ("not-acceptable", "The answer cannot be had in this form"),
    413: ("too-large", "The request is too large"),
    414: ("address-too-long", "The address is too long"),
    415: ("media-type", "The request is in a form that is not taken here"),
    416: ("range", "The answer has no such bytes"),
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
    ServiceBusyError: 503,
    ServiceUnreachableError: 503,
    SpecdbError: 500,
}
"""Status of each branch of the family; the nearest ancestor decides."""


class Fault(BaseModel):
    pointer: str
    detail: str
    found: str | None = None
    remedy: str | None = None


class Problem(BaseModel):
    """A problem document of RFC 9457. A service names the request in ``instance``."""

    type: str
    title: str
    status: int
    detail: str
    instance: str | None = None
    errors: list[Fault] = []


def status_of(error: type[SpecdbError]) -> int:
    """HTTP status of a class of the family."""
    return next(_STATUS[ancestor] for ancestor in error.__mro__ if ancestor in _STATUS)


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
        Fault(
            pointer=_pointer([e.field] if e.whole else e.field.split(".")),
            detail=e.said,
            found=e.value,
            remedy=e.remedy,
        )
        for e in errors
        if e.field
    ]


def _pointer(parts: Iterable[object]) -> str:
    return "".join("/" + shown(str(part)).replace("~", "~0").replace("/", "~1") for part in parts if part != "")


def of_status(status: int, detail: str) -> Problem:
    if status == status_of(ServiceBusyError):
        return of_error(ServiceBusyError(detail))
    code, title = HTTP_PROBLEMS.get(status, HTTP_PROBLEMS[500 if status >= 500 else 400])
    return Problem(type=TYPE_PREFIX + code, title=title, status=status, detail=detail)


# --- what is asked in a wrong form ------------------------------------------------------------------


def of_faulty_form(
    errors: Sequence[Mapping[str, Any]], rest: Sequence[SpecdbError] = (), count: int | None = None
) -> Problem:
    """The problem document for what a library that checks forms found wrong, of which there were ``count``, by default
    as many as are given. ``errors`` are its own, each with the place within what was asked as ``loc``, and as ``known``
    the fields that may stand there, as ``below`` the places of those that stand deeper, by their names; ``rest`` is
    what else is wrong."""
    # The library's own errors carry the input itself, which may hold what JSON cannot: take the message only.
    faults = [_faulty_field(error) for error in errors[:MOST_FAULTS]]
    faults += of_errors(rest)[: MOST_FAULTS - len(faults)]
    count = (len(errors) if count is None else count) + len(rest)
    more = f"; and {count - 5} more" if count > 5 else ""
    problem = of_status(422, "; ".join(f"{f.pointer or 'body'}: {f.detail}" for f in faults[:5]) + more)
    problem.errors = faults
    return problem


def _faulty_field(error: Mapping[str, Any]) -> Fault:
    place = error["loc"]
    message, remedy = in_plain_words(error["type"], error["msg"]), None
    if error["type"] == "string_pattern_mismatch" and place[-1:] == ("element_id",):
        message = "this is no element_id: 16 digits from 0 to 9 and a to f"
        remedy = "Look the number up with /v1/search, which tells the element_id."
    elif error["type"] == "extra_forbidden":
        message, remedy = "there is no such field", _nearest(str(place[-1]), error["known"], error.get("below", {}))
    else:
        remedy = object_wanted(error["type"], place)
    return Fault(pointer=_pointer(place), detail=message, remedy=remedy)


def _nearest(name: str, known: Sequence[str], below: Mapping[str, str]) -> str | None:
    """What may have been meant by a field that is not there."""
    if name in below:
        return f"Is {below[name]} meant?"
    if not known:
        return "Nothing is asked for here: leave it out."
    near = meant_by(name, known)
    meant = f'Is "{near}" meant? ' if near else ""
    listed = ", ".join(known[:FIELDS_LISTED]) + (", …" if len(known) > FIELDS_LISTED else "")
    return f"{meant}Known are {listed}."
