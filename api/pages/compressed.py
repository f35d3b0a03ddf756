"""Pages, and the files they are shown with, are sent compressed to browsers that take it. The API's answers and the PDF
are sent as they are."""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_AS_THEY_ARE = ("/v1/", "/health", "/openapi.json")
_SMALLEST_BYTES = 1000
_LEVEL = 6


class Compressed:
    def __init__(self, app: ASGIApp):
        self.app = app
        self.compressing = GZipMiddleware(app, _SMALLEST_BYTES, _LEVEL, exclude_content_types=("application/*",))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith(_AS_THEY_ARE):
            await self.app(scope, receive, send)
            return

        async def marking(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                # The same to whoever reads it, but not byte for byte: such a tag is weak (RFC 9110, section 8.8.1).
                if "content-encoding" in headers and headers.get("etag", "W/").startswith('"'):
                    headers["etag"] = f"W/{headers['etag']}"
            await send(message)

        await self.compressing(scope, receive, marking)
