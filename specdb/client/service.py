"""A catalogue that a service holds, asked over HTTP."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from typing import Any, TypeVar
from urllib.parse import urlsplit

import httpx2

from specdb.answers import (
    CharacteristicsAnswer,
    ComparisonAnswer,
    ElementAnswer,
    ElementsAnswer,
    EquivalentsAnswer,
    RequestsAnswer,
    RevisionsAnswer,
    SearchAnswer,
)
from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer
from specdb.answers.shape import Answer
from specdb.calculations import Calculated, Calculation, CalculationsAnswer
from specdb.client.catalogue import Catalogue, LinesAsked
from specdb.client.telling import error_of, telling, with_problem
from specdb.errors import ServiceBusyError, ServiceUnreachableError
from specdb.problems import MEDIA_TYPE
from specdb.units import UnitSystem

CONNECT_SECONDS = 10.0
ANSWER_SECONDS = 120.0
"""Longest silence of a service that is working on an answer, where nothing else is asked."""

CROSS_CHECKS = "v1/cross-checks"
ROWS_OF_A_PAGE = 500
"""Rows of a list that are asked for at once: as many as a service gives."""

_Model = TypeVar("_Model", bound=Answer)
_Listed = TypeVar("_Listed", ElementsAnswer, RevisionsAnswer)


@telling
def connect(
    address: str = "http://127.0.0.1:8000",
    *,
    seconds: float = ANSWER_SECONDS,
    client: httpx2.Client | None = None,
) -> Catalogue:
    """The catalogue of the service at an address. Nothing is asked of it yet.

    ``seconds`` is how long it may keep silent. A ``client`` that is handed in is used as it is, with its own address
    and waits, and left open. Raises ServiceUnreachableError for what is no address.
    """
    if client is not None:
        return _ServiceCatalogue(client, owned=False)
    parts = urlsplit(address)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise ServiceUnreachableError(
            "This is no address of a service.", value=address, remedy="Write it such as http://127.0.0.1:8000."
        )
    waits = httpx2.Timeout(seconds, connect=min(seconds, CONNECT_SECONDS))
    return _ServiceCatalogue(httpx2.Client(base_url=address, timeout=waits), owned=True)


class _ServiceCatalogue(Catalogue):
    def __init__(self, client: httpx2.Client, *, owned: bool):
        self._client = client
        self._owned = owned

    def __repr__(self) -> str:
        return f"<catalogue at {self._client.base_url}>"

    def close(self) -> None:
        if self._owned:
            self._client.close()

    # --- asking -----------------------------------------------------------------------------------

    def _get(self, model: type[_Model], path: str, query: Mapping[str, object] | None = None) -> _Model:
        stated = {name: _written(value) for name, value in (query or {}).items() if value is not None}
        return self._answer(model, self._client.build_request("GET", path, params=stated or None))

    def _post(self, model: type[_Model], path: str, asked: object, units: UnitSystem) -> _Model:
        return self._answer(model, self._posted(path, asked, units, {}))

    def _posted(self, path: str, asked: object, units: UnitSystem, said: Mapping[str, str]) -> httpx2.Request:
        # Written here, since texts with broken Unicode must reach the service to be refused there.
        body = json.dumps(asked, allow_nan=False).encode()
        headers = {"content-type": "application/json"}
        query = {**said, "units": units}
        return self._client.build_request("POST", path, params=query, content=body, headers=headers)

    @contextmanager
    def _reached(self) -> Iterator[None]:
        """What befalls on the way to the service and back, in our family of errors."""
        try:
            yield
        except httpx2.TimeoutException as error:
            raise self._unreachable("The service does not answer in time.") from error
        except httpx2.TransportError as error:
            said = str(error).strip().rstrip(".")
            raise self._unreachable("The service cannot be reached" + (f": {said}." if said else ".")) from error

    def _send(self, request: httpx2.Request, *, stream: bool = False) -> httpx2.Response:
        request.headers["accept"] = f"application/json, {MEDIA_TYPE}"
        with self._reached():
            return self._client.send(request, stream=stream)

    def _answer(self, model: type[_Model], request: httpx2.Request) -> _Model:
        response = self._send(request)
        if response.is_success:
            try:
                return model.model_validate_json(response.content, extra="ignore")
            except ValueError as error:
                raise self._unreachable("What answers at this address is no specdb service of this version.") from error
        raise self._problem(response)

    def _problem(self, response: httpx2.Response) -> Exception:
        media_type = response.headers.get("content-type", "").partition(";")[0].strip()
        document: Any = None
        if media_type == MEDIA_TYPE:
            with suppress(ValueError):
                document = response.json()
        if isinstance(document, dict):
            error = error_of(document)
            wait = response.headers.get("retry-after", "")
            if isinstance(error, ServiceBusyError) and wait.isdecimal():
                error.retry_after_s = int(wait)
            return error
        return self._unreachable(f"What answers at this address is no specdb service: status {response.status_code}.")

    def _unreachable(self, message: str) -> ServiceUnreachableError:
        error = ServiceUnreachableError(
            message, value=str(self._client.base_url), remedy="Check the address, and that specdb serve runs there."
        )
        with_problem(error)
        return error

    def _pages(self, model: type[_Listed], path: str, query: Mapping[str, object]) -> Iterator[_Listed]:
        """The pages of a list, each asked for when it is wanted."""
        page = self._get(model, path, query)
        yield page
        while page.next is not None:
            page = self._get(model, f"{path}?{urlsplit(page.next).query}")
            yield page

    # --- what is on file --------------------------------------------------------------------------

    def _search(self, text: str, limit: int, as_of: str | None) -> SearchAnswer:
        return self._get(SearchAnswer, "v1/search", {"q": text, "limit": limit, "as_of": as_of})

    def _elements(
        self,
        filters: dict[str, str],
        required: dict[str, str],
        might: bool,
        limit: int | None,
        units: UnitSystem,
        as_of: str | None,
    ) -> ElementsAnswer:
        how = {"might": might or None, "limit": _at_once(limit), "units": units, "as_of": as_of}
        pages = self._pages(ElementsAnswer, "v1/elements", {**filters, **required, **how})
        answer = next(pages)
        while answer.next is not None and (limit is None or len(answer.elements) < limit):
            page = next(pages)
            answer.elements += page.elements
            answer.next = page.next
        answer.elements, answer.next, answer.limit = answer.elements[:limit], None, limit or answer.total
        return answer

    def _element(self, named: dict[str, str], history: bool, units: UnitSystem, as_of: str | None) -> ElementAnswer:
        how = {"history": history or None, "units": units, "as_of": as_of}
        if (element_id := named.get("element_id")) is not None:
            return self._get(ElementAnswer, f"v1/elements/{element_id}", how)
        return self._get(ElementAnswer, "v1/elements/by-number", {**named, **how})

    def _characteristics(self) -> CharacteristicsAnswer:
        return self._get(CharacteristicsAnswer, "v1/characteristics")

    def _revisions(self, limit: int | None, as_of: str | None) -> RevisionsAnswer:
        pages = self._pages(RevisionsAnswer, "v1/revisions", {"limit": _at_once(limit), "as_of": as_of})
        answer = next(pages)
        while answer.next is not None and (limit is None or len(answer.revisions) < limit):
            page = next(pages)
            answer.revisions += page.revisions
            answer.next = page.next
        answer.revisions, answer.next, answer.limit = answer.revisions[:limit], None, limit or answer.total
        return answer

    # --- decisions --------------------------------------------------------------------------------

    def _equivalents(self, asked: dict[str, Any], units: UnitSystem) -> EquivalentsAnswer:
        return self._post(EquivalentsAnswer, "v1/equivalents", asked, units)

    def _compared(self, asked: dict[str, Any], units: UnitSystem) -> ComparisonAnswer:
        return self._post(ComparisonAnswer, "v1/comparisons", asked, units)

    def _requests(self, asked: dict[str, Any], units: UnitSystem) -> RequestsAnswer:
        return self._post(RequestsAnswer, "v1/test-requests", asked, units)

    def _cross_checked(self, asked: LinesAsked, units: UnitSystem) -> CrossCheckAnswer:
        return self._answer(CrossCheckAnswer, self._lines(asked, units))

    def _each_cross_checked(self, asked: LinesAsked, units: UnitSystem) -> Iterator[LineAnswer]:
        response = self._send(self._lines(asked, units), stream=True)
        if not response.is_success:
            with closing(response):
                response.read()
                raise self._problem(response)
        return self._lines_of(response)

    def _lines(self, asked: LinesAsked, units: UnitSystem) -> httpx2.Request:
        if isinstance(asked.lines, list):
            return self._posted(CROSS_CHECKS, {"lines": asked.lines, "mode": asked.mode}, units, asked.common)
        said = {**asked.common, "mode": asked.mode, "units": units}
        return self._client.build_request("POST", CROSS_CHECKS, params=said, files={"file": asked.lines})

    def _lines_of(self, response: httpx2.Response) -> Iterator[LineAnswer]:
        """The lines of an answer while it comes in."""
        with closing(response), self._reached():
            for line in lines_within(response.iter_text()):
                if line is None:
                    raise self._unreachable("The answer of the service broke off.")
                yield LineAnswer.model_validate(line, extra="ignore")

    # --- the trade's small sums -------------------------------------------------------------------

    def _calculations(self) -> CalculationsAnswer:
        return self._get(CalculationsAnswer, "v1/calculations")

    def _calculated(self, calculation: Calculation, asked: dict[str, str], units: UnitSystem) -> Calculated:
        return self._get(calculation.answer, f"v1/calculations/{calculation.name}", asked | {"units": units})


def lines_within(pieces: Iterable[str]) -> Iterator[Any]:
    """The lines within an answer that comes in pieces, each as soon as it is whole; None where the pieces end before
    the answer does."""
    decoder, held, begun = json.JSONDecoder(), "", False
    for piece in pieces:
        held += piece
        if not begun:
            # Within a text of the head the mark would have its quotes escaped.
            _, mark, rest = held.partition('"lines":[')
            if not mark:
                continue
            begun, held = True, rest
        while not held.startswith("]"):
            try:
                line, end = decoder.raw_decode(held.removeprefix(","))
            except ValueError:  # the rest of it is still to come
                break
            yield line
            held = held.removeprefix(",")[end:]
        else:
            return
    yield None


def _at_once(limit: int | None) -> int:
    return ROWS_OF_A_PAGE if limit is None else min(limit, ROWS_OF_A_PAGE)


def _written(value: object) -> str:
    return "true" if value is True else str(value)
