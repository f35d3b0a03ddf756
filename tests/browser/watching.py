"""A tab of the browser, and whatever goes wrong in it."""

from __future__ import annotations

from playwright.sync_api import ConsoleMessage, Dialog, Page, Request, Response

REFUSED = (404, 422)
"""Statuses of a document that says what is wrong; the browser notes each on its console as a failure to load. What
scripts ask for is never refused so, since then the console would fill as one types."""


class Tab:
    """A page with a record of what it loads, and of its troubles: what the console warns of, scripts that fail,
    dialogs, and requests that fail or go to anywhere but the service."""

    def __init__(self, page: Page, address: str):
        self.page = page
        self.troubles: list[str] = []
        self.loaded: list[Response] = []
        self._address = address
        self._refused: set[str] = set()
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.troubles.append(f"script: {error}"))
        page.on("dialog", self._dialog)
        page.on("request", self._request)
        page.on("requestfailed", self._failed)
        page.on("response", self._response)

    def go(self, path: str) -> Response:
        """Open the page at ``path``, following where it leads; gives the last response."""
        self.loaded.clear()
        response = self.page.goto(path)
        assert response is not None
        return response

    def weight_bytes(self) -> int:
        """Bytes of everything that was loaded since the page was opened, as it is when it is read."""
        return sum(len(response.body()) for response in self.loaded if not 300 <= response.status < 400)

    def sent_bytes(self) -> int:
        """Bytes of the same as it was sent, headers left out."""
        return sum(response.request.sizes()["responseBodySize"] for response in self.loaded)

    def close(self) -> list[str]:
        """Close the tab; gives its troubles."""
        self.page.context.close()
        return self.troubles

    def _console(self, message: ConsoleMessage) -> None:
        address = message.location["url"]
        is_refusal = message.text.startswith("Failed to load resource") and address in self._refused
        if message.type in ("error", "warning") and not is_refusal:
            self.troubles.append(f"console: {message.text} ({address})")

    def _dialog(self, dialog: Dialog) -> None:
        self.troubles.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    def _request(self, request: Request) -> None:
        if not request.url.startswith((f"{self._address}/", "data:")):
            self.troubles.append(f"request: {request.url}")

    def _failed(self, request: Request) -> None:
        # A request that the next page overtakes is aborted; nobody waits for it any more.
        if request.failure != "net::ERR_ABORTED":
            self.troubles.append(f"failed: {request.url} {request.failure}")

    def _response(self, response: Response) -> None:
        self.loaded.append(response)
        if response.status in REFUSED and response.request.resource_type == "document":
            self._refused.add(response.url)
