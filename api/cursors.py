"""Cursors: where the next page of a list begins, in which state of the catalogue, of which list.

A cursor is opaque to clients, and authenticated: it ends in a digest keyed with the mark of the state that it
pins, over the list and its filters. One of another store, of another list or with any character changed is
refused; so are one of a state that is not there and one that was made up.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import json
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import BeforeValidator, Field, WithJsonSchema

from api.representation import Reading, Reply
from api.store import Catalogue, State
from specdb.duty.question import Text
from specdb.errors import NotOnFileError, QuestionError

ROWS = 50
"""Rows to a page where nothing is asked."""
MOST_ROWS = 500

_BODY = struct.Struct(">BQQ")  # form of the cursor, revision, rows before the page
_FORM = 1
_DIGEST_BYTES = 16
CURSOR_CHARACTERS = 44
"""Length of a cursor: 33 bytes in base64, which leaves no bits over that could be changed unnoticed."""


def cursor(of: str, filters: Mapping[str, object], state: State, offset: int) -> str:
    """The cursor to the page of the list ``of`` that begins after ``offset`` rows, as of ``state``."""
    body = _BODY.pack(_FORM, state.revision, offset)
    return base64.urlsafe_b64encode(body + _digest(of, filters, state, body)).decode()


def position(text: str, of: str, filters: Mapping[str, object], catalogue: Catalogue) -> tuple[State, int]:
    """The state that a cursor pins, and the rows before its page.

    Raises QuestionError for what is no cursor of this list of this store.
    """
    try:
        content = base64.b64decode(text, altchars=b"-_", validate=True)
        body, digest = content[: _BODY.size], content[_BODY.size :]
        form, revision, offset = _BODY.unpack(body)
        state = catalogue.state(str(revision))
    except (binascii.Error, ValueError, struct.error, QuestionError, NotOnFileError):
        raise _refused(text) from None
    if form != _FORM or not hmac.compare_digest(digest, _digest(of, filters, state, body)):
        raise _refused(text)
    return state, int(offset)


def _digest(of: str, filters: Mapping[str, object], state: State, body: bytes) -> bytes:
    key = hashlib.sha256(f"specdb cursor {state.mark}".encode()).digest()
    stated = sorted((name, str(value)) for name, value in filters.items())
    message = body + json.dumps([of, stated]).encode()
    return hmac.digest(key, message, "sha256")[:_DIGEST_BYTES]


def _refused(text: str) -> QuestionError:
    return QuestionError(
        "This is no cursor of this list.",
        value=text,
        field="cursor",
        remedy="Follow the address in next as it was given, or begin again without a cursor.",
    )


# --- what every list takes ------------------------------------------------------------------------


def whole_number(value: object) -> object:
    if isinstance(value, str) and not re.fullmatch("[0-9]{1,9}", value):
        raise ValueError("a whole number is expected")
    return value


CursorText = Annotated[
    Text, WithJsonSchema({"type": "string", "pattern": f"^[A-Za-z0-9_-]{{{CURSOR_CHARACTERS}}}$"})
]
"""Whether a text is a cursor is told in one way only, whatever is wrong with it."""


class Paged(Reading):
    """How to read a list: as any answer, and how much of it at once."""

    limit: Annotated[int, Field(ge=1, le=MOST_ROWS), BeforeValidator(whole_number)] = Field(
        ROWS, description="most rows to a page"
    )
    cursor: CursorText | None = Field(None, description="where the page begins; taken from the address in next")


@dataclass(frozen=True)
class Page:
    """One page of a list: the state it is read from, and the rows before it."""

    of: str
    filters: Mapping[str, object]
    state: State
    offset: int

    @classmethod
    def asked_for(cls, of: str, asked: Paged, filters: Mapping[str, object], catalogue: Catalogue) -> Page:
        """The page of the list ``of`` that was asked for: the first, or the one at the cursor.

        Raises QuestionError and NotOnFileError for a state that there is not, and QuestionError for a
        cursor that is none of this list.
        """
        stated = {**filters, "as_of": asked.as_of}
        if asked.cursor is None:
            return cls(of, stated, catalogue.state(asked.as_of), 0)
        return cls(of, stated, *position(asked.cursor, of, stated, catalogue))

    def next(self, reply: Reply, listed: int, total: int) -> str | None:
        """Address of the page after this one, which lists ``listed`` of ``total`` rows."""
        past = self.offset + listed
        return reply.page(cursor=cursor(self.of, self.filters, self.state, past)) if past < total else None

    def links(self, reply: Reply, following: str | None) -> dict[str, str]:
        """Addresses of the first and the next page."""
        first = {"first": reply.page(cursor=None)}
        return first if following is None else first | {"next": following}
