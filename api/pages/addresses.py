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
from specdb.errors import meant_by
from specdb.units import UnitSystem

CARRIED_NAMES = ("machine", "asked_by", "asked_for", "order_number")
"""What a sheet says of who asked and for what, which stays with the question from page to page."""

SHEET_NAMES = (*CARRIED_NAMES, "date")
"""All that a sheet says beside what is judged. Its date is that of the one sheet, and goes to no other page."""

QUESTION = "question"
ELEMENTS = "elements"

PLACES: Mapping[str, tuple[str, ...]] = {
    "/": ("q", *FILTERS, "offset", QUESTION, "units", *CARRIED_NAMES),
    "/elements": (QUESTION, "units", *CARRIED_NAMES),
    "/replace": (QUESTION, "units", *CARRIED_NAMES),
    "/side-by-side": (QUESTION, ELEMENTS, "units", *SHEET_NAMES),
    "/side-by-side.pdf": (QUESTION, ELEMENTS, "units", "paper", *SHEET_NAMES),
    "/ask": (QUESTION, ELEMENTS, "units", *CARRIED_NAMES),
    "/cross-check": ("units",),
    "/load": ("units",),
}
"""The pages by the beginning of their path, and the names that each reads."""


TITLES: Mapping[str, str] = {
    "/": "Find",
    "/replace": "Replace it",
    "/side-by-side": "Side by side",
    "/ask": "Ask the maker",
    "/cross-check": "Cross-check lines",
    "/load": "Load a catalogue",
}
"""The pages that every page leads to, by their addresses."""

BEGUN_ANEW = ("/", "/replace")
"""Pages that a new question begins at: led to from the head of a page, they read the present state of the catalogue."""


def page_near(path: str) -> str | None:
    """The page of ``TITLES`` that a path, at which there is none, most likely stands for."""
    plain = f"/{path.casefold().replace('_', '-').strip('/')}"
    if plain in TITLES:
        return plain
    if plain == "/elements":
        return "/"
    return meant_by(plain, [each for each in TITLES if each != "/"])


def reads(path: str, name: str) -> bool:
    """Whether the page at ``path`` reads a name; one that there is not reads none."""
    taken = PLACES.get(path) or PLACES.get(f"/{path.lstrip('/').split('/')[0]}", ())
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

    @property
    def carried(self) -> dict[str, str]:
        """What is asked and of whom, as a page that judges nothing carries it on to one that does: the names of the
        question and of a sheet, but for the state of the catalogue."""
        taken = (*(name for name in dotted_names() if name != "as_of"), *CARRIED_NAMES)
        return {name: self.names[name] for name in taken if name in self.names}

    @property
    def states_assumptions(self) -> bool:
        """Whether the address says what is assumed: all of it in one word, or any one by its name."""
        return any(name.partition(".")[0] == "assumptions" for name in self.names)

    @property
    def anew(self) -> str:
        """The address at which nothing is asked yet, in the reader's units."""
        return Asked("/", {}).address(changes={"units": self.names.get("units")})

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
        # Two slashes at the beginning would name another host (RFC 3986, section 4.2).
        return quote(f"/{target.lstrip('/')}") + (f"?{query}" if query else "")
