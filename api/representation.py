"""In which form an answer is given, and whether the caller has it already.

JSON, CSV or Parquet: by the end of the address (``.csv``, ``.parquet``), by ``format``, else by ``Accept`` (RFC 9110,
section 12.5.1); a picture is SVG alone, a page HTML, and a sheet PDF. A GET or HEAD answer has an ``ETag`` over the
state of the catalogue, the method, the question and the form; a caller that names it in ``If-None-Match`` is answered
304. Of a table, one that asks for a range of bytes is answered these.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from importlib.metadata import version
from typing import Annotated, Any, Literal, get_args
from urllib.parse import quote, urlencode

from fastapi import Depends, FastAPI, HTTPException, Request, Response
from pydantic import BaseModel, ConfigDict

from api.admission import FORM_IN_ADDRESS
from api.pages.site import PAGE_HEADERS, look
from api.ranges import Given, GivenLately
from api.store import State
from specdb.answers.shape import METHOD_VERSION, Answer, WithTable
from specdb.answers.tables import Table
from specdb.duty.question import AsOfText
from specdb.units import UnitSystem

MEDIA_TYPES = {
    "json": "application/json",
    "csv": "text/csv",
    "parquet": "application/vnd.apache.parquet",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "svg": "image/svg+xml",
    "html": "text/html",
    "pdf": "application/pdf",
}
CSV_CONTENT_TYPE = "text/csv; charset=utf-8; header=present"

TableForm = Literal["json", "csv", "parquet"]
"""Forms of an answer that has rows."""
_FLAT = ("csv", "parquet")

NO_CATALOGUE = State(0, "")
VARY = {"Vary": "Accept"}
PICTURE_HEADERS = {
    # A picture is looked at: it runs nothing and fetches nothing, whatever it may be opened in.
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox",
    "X-Content-Type-Options": "nosniff",
}
_PROGRAM = version("specdb")
_DRAWN_WITH = version("matplotlib")
_WRITTEN_WITH = version("fpdf2")
_PACKED_WITH = version("pyarrow")
_QUALITY = re.compile(r"0(\.[0-9]{0,3})?|1(\.0{0,3})?")


class Reading(BaseModel):
    """How to read: the units and the form of the answer, and the state of the catalogue."""

    model_config = ConfigDict(extra="forbid")

    units: Literal["si", "us"] = "si"
    as_of: AsOfText | None = None
    format: TableForm | None = None


class NotModified(HTTPException):
    """The caller has this answer already."""

    def __init__(self, headers: Mapping[str, str]):
        super().__init__(304, headers=dict(headers))


class GivenAgain(Exception):  # noqa: N818 - no error: it ends the work, since there is none left
    """The answer was given lately, and is given again."""

    def __init__(self, response: Response):
        self.response = response


def install(app: FastAPI) -> None:
    """Let ``app`` give an answer again that it gave lately."""
    app.state.given_lately = GivenLately()

    @app.exception_handler(GivenAgain)
    async def again(_: Request, given: GivenAgain) -> Response:
        return given.response


def preferred(accept: str, offered: tuple[str, ...]) -> str | None:
    """Of the media types ``offered``, the first that an ``Accept`` header likes best; None if it takes none."""
    ranges = [part.split(";") for part in accept.split(",") if part.strip()]
    likings = {media: _liking(media, ranges) for media in offered} if ranges else dict.fromkeys(offered, 1.0)
    best = max(offered, key=lambda media: likings[media])
    return best if likings[best] > 0 else None


def _liking(media: str, ranges: list[list[str]]) -> float:
    """The quality that the most specific range for ``media`` states."""
    found = (-1, 0.0)
    for name, *parameters in ranges:
        wanted = name.strip().casefold()
        matching = (media, media.partition("/")[0] + "/*", "*/*")
        if wanted in matching:
            found = max(found, (-matching.index(wanted) + len(matching), _quality(parameters)))
    return found[1]


def _quality(parameters: list[str]) -> float:
    """The weight that stands among the parameters of a media range; one that cannot be read is none at all."""
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip().casefold() == "q":
            return float(value) if _QUALITY.fullmatch(value.strip()) else 0.0
    return 1.0


def _listed(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


class Reply:
    """One answer in the making: its form is settled before any work is done."""

    def __init__(self, request: Request, forms: tuple[str, ...]):
        self._request = request
        self._headers = dict(VARY)
        self._any_known = False
        self.form = self._settle(forms)

    def _settle(self, forms: tuple[str, ...]) -> str:
        by_address: str | None = self._request.scope.get(FORM_IN_ADDRESS)
        stated = self._request.query_params.get("format")
        if by_address and by_address not in forms:
            raise HTTPException(404)
        if by_address and stated not in (None, by_address):
            raise HTTPException(406, f"The address ends in .{by_address}, and format asks for something else.", VARY)
        if by_address or stated in forms:
            return by_address or str(stated)
        offered = tuple(MEDIA_TYPES[form] for form in forms)
        media = preferred(", ".join(self._request.headers.getlist("accept")), offered)
        if media is None:
            raise HTTPException(406, f"This address answers {_listed(offered)}.", VARY)
        return forms[offered.index(media)]

    def at(self, state: State = NO_CATALOGUE, beside: str = "") -> State:
        """The state that is answered from, by default none, for an answer that no catalogue has part in. ``beside`` is
        what else the answer depends on, such as the date.

        A GET or HEAD gets its ETag here. Raises NotModified where the caller has the answer already, and GivenAgain
        where it is a table that was given lately.
        """
        if self._request.method == "GET":
            tag = self._tag(state.mark, beside)
            self._headers |= {"ETag": tag, "Cache-Control": "no-cache"}
            stated = ",".join(self._request.headers.getlist("if-none-match")).split(",")
            known = {each.strip().removeprefix("W/") for each in stated}
            if tag in known:
                raise NotModified(self._headers)
            # "*" is any answer that there is: whether there is one shows only when it is given.
            self._any_known = "*" in known
            given = self._given_lately.get(self._name) if self.form in _FLAT else None
            if given is not None and not self._any_known:
                raise GivenAgain(given.to(self._request))
        return state

    @property
    def _given_lately(self) -> GivenLately:
        lately: GivenLately = self._request.app.state.given_lately
        return lately

    @property
    def _name(self) -> tuple[str, ...]:
        """What tells a GET answer from all others. The links beside it end as the address that was asked does."""
        return self._headers["ETag"], self._request.scope.get(FORM_IN_ADDRESS, "")

    def _tag(self, mark: str, beside: str) -> str:
        question = sorted(self._request.query_params.multi_items())
        made_by = {"svg": _DRAWN_WITH, "html": look(), "pdf": _WRITTEN_WITH, "parquet": _PACKED_WITH}
        program = (_PROGRAM, made_by[self.form]) if self.form in made_by else _PROGRAM
        parts = [mark, METHOD_VERSION, program, self._request.scope["path"], question, self.form]
        parts += [beside] if beside else []
        return f'"{hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]}"'

    def give(self, answer: Answer, units: UnitSystem = "si", *, links: Mapping[str, str] | None = None) -> Response:
        """The answer, written once. ``links`` are addresses by their relation."""
        if self._any_known:
            raise NotModified(self._headers)
        if links:
            self._headers["Link"] = ", ".join(f'<{address}>; rel="{name}"' for name, address in links.items())
        if self.form in _FLAT:
            assert isinstance(answer, WithTable)
            return self._give_table(answer.table(units))
        return Response(answer.model_dump_json(), headers=self._headers, media_type=MEDIA_TYPES["json"])

    def _give_table(self, table: Table) -> Response:
        if self.form == "csv":
            body, media_type = table.csv().encode(), CSV_CONTENT_TYPE
        else:
            body, media_type = table.parquet(), MEDIA_TYPES["parquet"]
        given = Given(body, self._headers | {"Content-Type": media_type})
        if "ETag" not in self._headers:  # an answer to POST, which has no parts
            return Response(given.body, headers=dict(given.headers))
        self._given_lately.keep(self._name, given)
        return given.to(self._request)

    def give_picture(self, svg: str, name: str) -> Response:
        """A picture, written once, which whoever keeps it finds under this name."""
        if self._any_known:
            raise NotModified(self._headers)
        named = {"Content-Disposition": f'inline; filename="{name}.svg"'}
        return Response(svg.encode(), headers=self._headers | PICTURE_HEADERS | named, media_type=MEDIA_TYPES["svg"])

    def give_page(self, html: str) -> Response:
        """A page, which runs and fetches nothing but what this service gives it."""
        if self._any_known:
            raise NotModified(self._headers)
        return Response(html.encode(), headers=self._headers | PAGE_HEADERS, media_type=MEDIA_TYPES["html"])

    def give_pdf(self, pdf: bytes, name: str) -> Response:
        """A sheet, written once, which whoever keeps it finds under this name."""
        if self._any_known:
            raise NotModified(self._headers)
        named = {"Content-Disposition": f'inline; filename="{name}.pdf"', "X-Content-Type-Options": "nosniff"}
        return Response(pdf, headers=self._headers | named, media_type=MEDIA_TYPES["pdf"])

    def page(self, **changed: str | int | None) -> str:
        """This address with other query fields; None leaves one out."""
        asked: dict[str, Any] = {**self._request.query_params, **changed}
        query = urlencode({name: value for name, value in asked.items() if value is not None})
        form = self._request.scope.get(FORM_IN_ADDRESS)
        suffix = f".{form}" if form else ""
        return f"{quote(self._request.scope['path'])}{suffix}" + (f"?{query}" if query else "")


def _reply(*forms: str) -> Callable[[Request], Awaitable[Reply]]:
    # No thread is worth its while for this; the framework would take one for a plain function.
    async def reply(request: Request) -> Reply:
        return Reply(request, forms)

    return reply


ReplyNeeded = Annotated[Reply, Depends(_reply(*get_args(TableForm)))]
"""For answers that have rows."""

LinesReplyNeeded = Annotated[Reply, Depends(_reply(*get_args(TableForm), "xlsx"))]
"""For answers to many lines."""

JsonReplyNeeded = Annotated[Reply, Depends(_reply("json"))]

PageReplyNeeded = Annotated[Reply, Depends(_reply("html"))]

PdfReplyNeeded = Annotated[Reply, Depends(_reply("pdf"))]

PictureReplyNeeded = Annotated[Reply, Depends(_reply("svg"))]
