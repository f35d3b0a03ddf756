"""What the address of a page asks, and the addresses that a page leads to.

The question stands in the API's dotted names. Beside them a page has a few names of its own, such as ``units``; an
address that leads to another page carries over what that page reads, and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import quote, urlencode

from fastapi import Request

from specdb.answers import FILTERS
from specdb.duty.dotted import compared_names, dotted_names
from specdb.units import UnitSystem

SHEET_NAMES = ("machine", "asked_by", "asked_for", "order_number", "date")
"""What a sheet says of who asked, for what and when. None of it is judged."""

QUESTION = "question"
ELEMENTS = "elements"

PLACES: Mapping[str, tuple[str, ...]] = {
    "/": ("q", *FILTERS, "units", "as_of"),
    "/elements": (QUESTION, "units", *SHEET_NAMES),
    "/replace": (QUESTION, "units", *SHEET_NAMES),
    "/side-by-side": (QUESTION, ELEMENTS, "units", *SHEET_NAMES),
    "/side-by-side.pdf": (QUESTION, ELEMENTS, "units", "paper", *SHEET_NAMES),
    "/ask": (QUESTION, ELEMENTS, "units", *SHEET_NAMES),
    "/load": ("units",),
}
"""The pages by the beginning of their path, and the names that each reads."""


def reads(path: str, name: str) -> bool:
    """Whether the page at ``path`` reads a name."""
    taken = PLACES.get(path) or PLACES[f"/{path.split('/')[1]}"]
    return (
        name in taken
        or (QUESTION in taken and name in dotted_names())
        or (ELEMENTS in taken and name in compared_names())
    )


@dataclass(frozen=True)
class Asked:
    """What an address asks: the path, and the names with the texts that state something, in the order typed."""

    path: str
    names: Mapping[str, str]

    @classmethod
    def of(cls, request: Request) -> Asked:
        names = {name: text.strip() for name, text in request.query_params.items() if text.strip()}
        return cls(request.scope["path"], names)

    @property
    def units(self) -> UnitSystem:
        """What the reader reads in; anything but ``us`` is SI."""
        return "us" if self.names.get("units") == "us" else "si"

    @property
    def question(self) -> dict[str, str]:
        """The dotted names of the question, and those that are nobody's, to be refused by who reads it."""
        own = {*SHEET_NAMES, "units", "paper"}
        return {name: text for name, text in self.names.items() if name not in own}

    def address(
        self,
        path: str | None = None,
        changes: Mapping[str, str | int | None] | None = None,
        without: Iterable[str] = (),
    ) -> str:
        """The address of ``path``, by default this one, that carries over what is asked as far as it reads it, but for
        ``changes``, where None leaves a name out, and names that begin with one of ``without``."""
        target = path or self.path
        begins = tuple(without)
        carried: dict[str, str] = {
            name: text
            for name, text in self.names.items()
            if reads(target, name) and not (begins and name.startswith(begins))
        }
        for name, text in (changes or {}).items():
            carried.pop(name, None) if text is None else carried.update({name: str(text)})
        # What stands in parentheses or after a colon is as plain in a query as any letter (RFC 3986, section 3.4).
        query = urlencode(carried, safe="()/:,;")
        return quote(target) + (f"?{query}" if query else "")

