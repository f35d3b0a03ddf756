"""Pages of any origin may read what is answered here: it does not depend on who asks.

The framework's own layer allows only answers to requests that name their origin; one kept by a
browser without it would then be refused to the next page that asks.
"""

from __future__ import annotations

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.cells import CODE_HEADER, DETAIL_HEADER
from api.tracing import HEADER as REQUEST_ID_HEADER

EXPOSED_HEADERS = (
    *("ETag", "Link", "Allow", "Accept-Ranges", "Content-Range"),
    *(CODE_HEADER, DETAIL_HEADER, REQUEST_ID_HEADER),
)
"""What a page of another origin may read of an answer beside its body and the headers that are safe anyway."""

_PREFLIGHT = {
    "Access-Control-Allow-Methods": "GET, HEAD, POST",
    "Access-Control-Allow-Headers": "*",
    "Access-Control-Max-Age": "600",
}


class CrossOrigin:
    """Allows every origin to read each answer, and answers the question that a browser asks beforehand."""

    def __init__(self, app: ASGIApp):
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def allowing(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["Access-Control-Allow-Origin"] = "*"
                headers["Access-Control-Expose-Headers"] = ", ".join(EXPOSED_HEADERS)
            await send(message)

        asked = Headers(scope=scope)
        if scope["method"] == "OPTIONS" and "origin" in asked and "access-control-request-method" in asked:
            await Response(status_code=204, headers=_PREFLIGHT)(scope, receive, allowing)
        else:
            await self.app(scope, receive, allowing)
