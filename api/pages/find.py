"""The page that finds an element: by half a number, by its maker, or by what can be measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from api.pages.addresses import Asked
from api.pages.failing import faults_of, faulty_page
from api.pages.site import render
from api.problems import status_of
from api.representation import PageReplyNeeded
from api.store import Catalogue, CatalogueNeeded, State
from specdb import answers
from specdb.answers.decisions import ElementNamed
from specdb.answers.lists import without_each
from specdb.catalog.measured import UNIT_WHERE_NONE, Measured, read_measured, with_unit
from specdb.catalog.search import SearchIndex
from specdb.catalog.snapshot import MEASURES
from specdb.catalog.store import read_session
from specdb.characteristics import KINDS, title_of
from specdb.errors import InputError, NotOnFileError, SpecdbError

router = APIRouter(include_in_schema=False)

SHOWN_AT_MOST = 25
"""Numbers or elements in one list; of more it is said how to narrow them."""

SHOWN_AS_NEAREST = 5
"""Numbers that begin as what was asked begins, where nothing is near the whole of it."""

FIELDS: Mapping[str, str] = {
    "thread": "as in 1-12 UNF, M20x1.5",
    "outside_diameter": "as in 96 mm, 3.78 in",
    "gasket_outside_diameter": "as in 72 mm",
    "length": "as in 140 mm ± 2 mm",
    "inside_diameter": "of a cartridge, as in 42 mm",
    "kind": "",
    "maker": "the whole name",
}
"""The fields for measures: names of filters, and what may be typed."""

_OWN = ("q", "units", "as_of")
_BYPASS = {"yes": "yes, in the element", "no": "none in the element: in the head, if anywhere", None: "not on file"}


@dataclass
class _Found:
    """What the page shows. ``stated`` are the texts in the fields for measures, from the address or as read from the
    box; ``offered`` is how many elements the text in the box fits as measures, where it was searched as a number."""

    on_file: int
    revision: int
    hits: answers.SearchAnswer | None = None
    measured: Measured | None = None
    offered: int = 0
    beginning: str | None = None
    nearest: answers.SearchAnswer | None = None
    stated: dict[str, str] = field(default_factory=dict)
    listed: answers.ElementsAnswer | None = None
    without: dict[str, int] = field(default_factory=dict)
    errors: list[SpecdbError] = field(default_factory=list)


@router.get("/")
def find(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    asked = Asked.of(request)
    if to := _tidier(request, asked):
        return RedirectResponse(to, 303)
    state, errors = _state(catalogue, asked)
    reply.at(state)
    index = catalogue.search_index(state.revision)
    found = _Found(index.elements, state.revision, errors=errors)
    found.stated = {name: text for name, text in asked.names.items() if name not in _OWN}
    if not errors:
        _search(found, asked, catalogue, index)
        _list(found, asked, catalogue)
    if found.errors:
        status = max(status_of(type(error)) for error in found.errors)
        return faulty_page("find.html", request, _context(found, asked), status)
    return reply.give_page(render("find.html", asked, _context(found, asked)))


def _tidier(request: Request, asked: Asked) -> str | None:
    """The address that asks the same with nothing in it that states nothing, and with the units of bare measures."""
    unit = UNIT_WHERE_NONE[asked.units]
    names = {name: with_unit(text, unit) if name in MEASURES else text for name, text in asked.names.items()}
    is_tidy = names == asked.names and len(names) == len(request.query_params)
    return None if is_tidy else asked.address(changes=names)


def _state(catalogue: Catalogue, asked: Asked) -> tuple[State, list[SpecdbError]]:
    """The state asked for, or the latest where that cannot be read."""
    try:
        return catalogue.state(asked.names.get("as_of")), []
    except (InputError, NotOnFileError) as error:
        error.field = "as_of"
        return catalogue.state(), [error]


def _search(found: _Found, asked: Asked, catalogue: Catalogue, index: SearchIndex) -> None:
    """What stands in the box: a number or a maker first, and by measures what is none."""
    text = asked.names.get("q")
    if text is None:
        return
    measured = None if found.stated else read_measured(text, asked.units, index.maker_of)
    with read_session(catalogue.engine) as connection:
        try:
            hits = answers.search_answer(connection, index, found.revision, text, SHOWN_AT_MOST)
        except InputError as error:
            found.errors.append(error)
            return
        if not hits.total and measured is None and not found.stated and (beginning := index.longest_beginning(text)):
            found.beginning = beginning
            found.nearest = answers.search_answer(connection, index, found.revision, beginning, SHOWN_AS_NEAREST)
    found.hits = hits
    if measured and not hits.total:
        found.measured, found.stated = measured, measured.filters
    elif measured and not measured.unread:
        found.offered = _fitting(catalogue, found.revision, measured)
        found.measured = measured if found.offered else None


def _fitting(catalogue: Catalogue, revision: int, measured: Measured) -> int:
    """How many elements state what was read, 0 where it cannot be read as a list would."""
    try:
        return answers.listing(catalogue.snapshot(revision), measured.filters, limit=0).total
    except (InputError, NotOnFileError):
        return 0


def _list(found: _Found, asked: Asked, catalogue: Catalogue) -> None:
    if not found.stated:
        return
    snapshot = catalogue.snapshot(found.revision)
    try:
        found.listed = answers.listing(snapshot, found.stated, asked.units, limit=SHOWN_AT_MOST)
        if not found.listed.total and len(found.stated) > 1:
            found.without = without_each(snapshot, found.stated)
    except (InputError, NotOnFileError) as error:
        found.errors.append(error)


# --- what the page says ---------------------------------------------------------------------------


def _context(found: _Found, asked: Asked) -> dict[str, Any]:
    told = [each for error in found.errors for each in faults_of(error)]
    fields = [*FIELDS, *(name for name in found.stated if name not in FIELDS and name in answers.FILTERS)]
    by_field = {each.field: each for each in told if each.field in ("q", *fields)}
    return {
        "found": found,
        "text": asked.names.get("q", ""),
        "told": _told(found, bool(told)),
        "faults": [each for each in told if each.field not in by_field],
        "fault_at": by_field,
        "focused": next((name for name in fields if name in by_field), None),
        "fields": [(name, title_of(name) if name != "maker" else name, FIELDS.get(name, "")) for name in fields],
        "kinds": KINDS,
        "listed_words": {shown.name: shown.words for shown in found.listed.filters} if found.listed else {},
        "most": SHOWN_AT_MOST,
        "bypass": _BYPASS,
        "is_form_open": bool(found.stated or (found.hits and not found.hits.total)),
        "elsewhere": lambda path, **names: asked.address(path, names),
        "to_element": lambda element_id: asked.address(f"/elements/{element_id}"),
        "to_replace": lambda element: asked.address("/replace", _original(element)),
        "to_list": lambda filters: asked.address(changes={"q": None, **dict.fromkeys(found.stated), **filters}),
        "to_list_without": lambda name: asked.address(changes={**found.stated, name: None, "q": None}),
        "to_search": lambda text: asked.address(changes={**dict.fromkeys(found.stated), "q": text}),
    }


def _original(element: ElementNamed) -> dict[str, str]:
    return {"original.maker": element.maker, "original.number": element.number, "assumptions": "customary"}


def _told(found: _Found, is_faulty: bool) -> str:
    """In one sentence what was found: read aloud as it changes."""
    if is_faulty:
        return "This cannot be read as it stands."
    if found.listed and not (found.hits and found.hits.total):
        total = found.listed.total
        return f"{_counted(total, 'element')} {'states' if total == 1 else 'state'} what is asked."
    if found.hits is None:
        return ""
    if found.hits.total:
        return f"{_counted(found.hits.total, 'number')} found."
    near = f" {_counted(found.nearest.total, 'number')} near its beginning." if found.nearest else ""
    return f"Nothing found.{near}"


def _counted(count: int, what: str) -> str:
    return f"{count or 'No'} {what}{'' if count == 1 else 's'}"
