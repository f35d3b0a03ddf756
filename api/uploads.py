"""Who may write into the store over HTTP, and the form that a catalogue comes in."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import AsyncGenerator, Collection, Mapping

from fastapi import HTTPException, Request
from starlette.datastructures import FormData, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from api.admission import media_type_of
from specdb.errors import QuestionError, SpecdbError, WritesRefusedError, shown

HOSTS_VARIABLE = "SPECDB_HOSTS"
"""Setting: names that the service is reached by, with blanks between. A browser may write under these names."""

_HOST = re.compile(r"(?:\[([0-9a-f:.]+)\]|([a-z0-9._-]+))(?::[0-9]+)?")
"""A host and its port as a header names them (RFC 9110, section 7.2), and nothing beside them."""

PARTS_READ = 8
"""Parts of a form that are read at all; a few too many are named."""

FILE = "file"
"""Name of the part that is the file."""


class BrokenFormError(Exception):
    """The body is no whole form. ``texts`` are its fields that came before the fault."""

    def __init__(self, message: str, texts: Mapping[str, str]):
        super().__init__(message)
        self.message = message
        self.texts = texts


def refuse_unless_allowed(request: Request) -> None:
    """Raises WritesRefusedError unless the service takes writes, and takes them from who asks. No body is read."""
    if not request.app.state.allow_writes:
        raise WritesRefusedError(
            "Imports are not allowed here.", remedy="Import by the command line, or serve with --allow-writes."
        )
    origin = request.headers.get("origin")
    if origin is None:
        return
    if is_of_other_origin(request):
        raise WritesRefusedError(
            "A page of another origin may not import.", value=origin, remedy="Send the file from a program."
        )
    refuse_unknown_name(request)


def is_of_other_origin(request: Request) -> bool:
    """Whether a page of another origin sends this: a browser sends a form from any page to any address."""
    origin = request.headers.get("origin")
    return origin is not None and origin.casefold().partition("://")[2] != request.headers.get("host", "").casefold()


def refuse_unknown_name(request: Request) -> None:
    """Raises WritesRefusedError where a browser was led here by a name that is not known to be the service's own.

    Whoever owns a name may point it at this machine after his page was loaded under it; to the browser that page and
    this service are then one origin. An IP address and ``localhost`` cannot be made to lead elsewhere.
    """
    if is_own_name(request):
        return
    raise WritesRefusedError(
        "This service is not known by the name under which a page of it may import.",
        value=request.headers.get("host", ""),
        remedy=f"Open it by its IP address, or start it with its name in {HOSTS_VARIABLE}.",
    )


def is_own_name(request: Request) -> bool:
    """Whether the name that a request came under is known to be the service's own: what it was sent to says no more
    than whoever sent it."""
    host = _HOST.fullmatch(request.headers.get("host", "").casefold())
    name = "" if host is None else host[1] or host[2]
    return name == "localhost" or name in request.app.state.hosts or _is_address(name)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


class _Parser(MultiPartParser):
    """The framework's parser, which takes a form that was cut short for a whole one."""

    ended = False

    def on_end(self) -> None:
        self.ended = True


async def read_form(request: Request) -> FormData:
    """The form that a request's body is, to be closed by who reads it.

    Raises HTTPException (415) for a body of another kind, BrokenFormError for one that is no whole form.
    """
    media_type, charset = media_type_of(request)
    if media_type != "multipart/form-data" or charset not in ("", "utf-8", "utf8"):
        raise HTTPException(415, "The body must be multipart/form-data with one file.")

    async def whole() -> AsyncGenerator[bytes]:
        async for chunk in request.stream():
            yield chunk
        if not parser.ended:
            raise MultiPartException("The form was cut short: its closing boundary is missing.")

    parser = _Parser(request.headers, whole(), max_files=PARTS_READ, max_fields=PARTS_READ)
    try:
        return await parser.parse()
    except MultiPartException as error:
        texts = {name: text for name, text in parser.items if isinstance(text, str)}
        raise BrokenFormError(error.message, texts) from None


def the_file(form: FormData, remedy: str, beside: Collection[str] = ()) -> UploadFile:
    """The one file that there may be, with fields ``beside`` it. Raises QuestionError that names every part that is too
    much or missing; ``remedy`` is what would be right."""
    faults: list[SpecdbError] = [
        QuestionError("There is no such part.", field=shown(name) or FILE, remedy=remedy)
        for name in form
        if name != FILE and name not in beside
    ]
    found = form.getlist(FILE)
    uploads = [part for part in found if isinstance(part, UploadFile) and part.filename]
    if len(found) > 1:
        faults.append(QuestionError("Several files were sent.", field=FILE, remedy=remedy))
    elif not found:
        faults.append(QuestionError("No file was sent.", field=FILE, remedy=remedy))
    elif not uploads:
        faults.append(QuestionError("No file was chosen: this part has no file name.", field=FILE, remedy=remedy))
    if faults:
        raise QuestionError.of(faults)
    return uploads[0]
