"""A name for every request: in its answer, in every line that is logged while it is served.

The name is the caller's own ``X-Request-ID`` where it is a plain word, else a new one.
"""

from __future__ import annotations

import logging
import re
import time
import uuid
from contextvars import ContextVar

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from specdb.errors import shown

HEADER = "X-Request-ID"
REQUEST_ID: ContextVar[str] = ContextVar("request_id", default="-")

_PLAIN_WORD = re.compile(r"[A-Za-z0-9_.-]{1,64}")
_log = logging.getLogger("specdb.api")


class RequestIdFilter(logging.Filter):
    """Gives each record the name of the request that it belongs to, "-" outside of any."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = REQUEST_ID.get()
        return True


class Tracing:
    """Names each request and logs one line when it has been answered."""

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        asked = Headers(scope=scope).get(HEADER, "")
        name = asked if _PLAIN_WORD.fullmatch(asked) else uuid.uuid4().hex
        began, status = time.perf_counter(), 0

        async def naming(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[HEADER] = name
            await send(message)

        token = REQUEST_ID.set(name)
        try:
            await self.app(scope, receive, naming)
        finally:
            milliseconds = (time.perf_counter() - began) * 1e3
            # Decoded, a path could hold a line of its own.
            asked_of = shown(f"{scope['method']} {scope['path']}")
            _log.info("%s %s %.1f ms", asked_of, status or "no answer", milliseconds)
            REQUEST_ID.reset(token)
