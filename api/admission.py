"""What every request must satisfy before a route reads it: its weight, its media type, its query keys."""

from __future__ import annotations

from collections import Counter
from typing import Any

from fastapi import HTTPException, Request
from fastapi.exceptions import RequestValidationError
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api import problems

BODY_BYTES = 1 << 20
"""Most that a question may weigh."""


TOO_LARGE = f"The body weighs more than {BODY_BYTES} bytes."


class WeightLimit:
    """Refuses a body that weighs too much, by the length it announces or else as it comes in.

    The framework has such a limit, but answers it in plain text, where ours is a problem document.
    """

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        announced = Request(scope).headers.get("content-length", "")
        if announced.isdecimal() and int(announced[:20]) > BODY_BYTES:
            await problems.answer(problems.of_status(413, TOO_LARGE))(scope, receive, send)
            return
        weighed = 0

        async def weighing() -> Message:
            nonlocal weighed
            message = await receive()
            weighed += len(message.get("body", b""))
            if weighed > BODY_BYTES:
                raise HTTPException(413, TOO_LARGE)
            return message

        await self.app(scope, weighing, send)


async def once_each(request: Request) -> None:
    """Refuse a query key that is stated twice: which of the two was meant cannot be known."""
    counted = Counter(key for key, _ in request.query_params.multi_items())
    _refuse([key for key, count in counted.items() if count > 1], "repeated", "this is stated more than once")


async def no_query(request: Request) -> None:
    """Refuse every query key, at an address that takes none."""
    _refuse(list(request.query_params), "extra_forbidden", "there is no such field")


def _refuse(keys: list[str], kind: str, message: str) -> None:
    if keys:
        faults: list[dict[str, Any]] = [{"type": kind, "loc": ("query", key), "msg": message} for key in keys]
        raise RequestValidationError(faults)


async def json_body(request: Request) -> None:
    """Refuse a body that does not say it is JSON; one that is absent is the route's to refuse."""
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().casefold()
    if media_type != "application/json" and await request.body():
        raise HTTPException(415, "The body must be application/json.")
