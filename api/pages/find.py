"""The page that finds an element: by half a number, by its maker, or by what can be measured."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from api.pages.addresses import Asked
from api.pages.failing import faults_of, faulty_page
from api.pages.site import render
from api.problems import status_of
from api.representation import PageReplyNeeded
from api.store import Catalogue, CatalogueNeeded, State
from specdb import answers
from specdb.advice.spoken import where_the_valve_is
from specdb.answers.decisions import ElementNamed
from specdb.answers.lists import parted, without_each
from specdb.answers.search import HitShown
from specdb.catalog.identity import identity_key
from specdb.catalog.measured import UNIT_WHERE_NONE, Measured, read_measured, with_unit
from specdb.catalog.search import SearchIndex, SearchResult, without_words_beside
from specdb.catalog.snapshot import MEASURES, Snapshot
from specdb.catalog.store import read_session
from specdb.characteristics import KINDS, title_of
from specdb.duty.dotted import dotted_names
from specdb.errors import InputError, NotOnFileError, QuestionError, SpecdbError

router = APIRouter(include_in_schema=False)

SHOWN_AT_MOST = 25
"""Numbers or elements in one list; of more it is said how to narrow them."""

SHOWN_AS_NEAREST = 5
"""Numbers that begin as what was asked begins, or differ least from it, where nothing is near the whole of it."""

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

_OWN = ("q", "units", "as_of", "offset")
_SAID_OF_HOW = ("assumptions", "limit", "include_without_evidence", "include_windows")
"""Names of a question that ask nothing by themselves."""
_NEAR = ("same_number", "other_signs", "reads_like", "begins_with", "contains")
"""How near a number is that was not found by a slip."""
_ANOTHER_PART = (
    "one_character_differs", "one_character_missing", "one_character_added", "two_characters_swapped",
    "begins_with_a_slip",
)  # fmt: skip
_IN_PLACE = "HX-Request"
"""The header of a request for what is put into the page as one types."""

@dataclass
class _Found:
    """What the page shows. ``number`` is the text that was searched, without what stands beside a number on a label;
    ``numbers`` are how many different ones are near it; ``stated`` are the texts in the fields for measures, from the
    address or as read from the box; ``offered`` is how many elements the text in the box fits as measures, where it was
    searched as a number; ``nearest`` are numbers that begin with ``beginning``, or without one those that differ
    least, and ``nearest_numbers`` how many there are."""

    on_file: int
    revision: int
    latest: int
    number: str = ""
    hits: answers.SearchAnswer | None = None
    numbers: int = 0
    measured: Measured | None = None
    offered: int = 0
    beginning: str | None = None
    nearest: answers.SearchAnswer | None = None
    nearest_numbers: int = 0
    offset: int = 0
    stated: dict[str, str] = field(default_factory=dict)
    listed: answers.ElementsAnswer | None = None
    without: dict[str, int] = field(default_factory=dict)
    errors: list[SpecdbError] = field(default_factory=list)


@dataclass(frozen=True)
class _Number:
    """One number near what was asked, with its element, or with the claims that it is known from, each with what stands
    at its other side: ``replaced_by`` and ``replaces``."""

    hit: HitShown
    claims: tuple[HitShown, ...] = ()

    @property
    def near(self) -> str:
        return self.hit.near

    @property
    def replaced_by(self) -> list[_OtherSide]:
        return [_OtherSide.of(each) for each in self.claims if each.claim and each.claim.number_is == "replaced"]

    @property
    def replaces(self) -> list[_OtherSide]:
        return [_OtherSide.of(each) for each in self.claims if each.claim and each.claim.number_is == "replacing"]

    @property
    def replaced_on_file(self) -> list[ElementNamed]:
        """Elements on file that the number is said to replace, and that may therefore be replaced in its stead."""
        found = {each.element.element_id: each.element for each in self.replaces if each.element}
        return list(found.values())


@dataclass(frozen=True)
class _OtherSide:
    """What stands at the other side of a claim, and which document says so; ``element`` where it is on file."""

    maker: str
    number: str
    said_in: str
    element: ElementNamed | None

    @classmethod
    def of(cls, hit: HitShown) -> _OtherSide:
        claim = hit.claim
        assert claim is not None
        is_replaced = claim.number_is == "replaced"
        maker, number = (claim.maker, claim.number) if is_replaced else (claim.replaces_maker, claim.replaces_number)
        return cls(maker, number, ", ".join(filter(None, (claim.source, claim.date))), hit.element)


def _numbers_of(answer: answers.SearchAnswer) -> list[_Number]:
    """Each number once, in the order of what was found."""
    together: dict[tuple[str, str, str], list[HitShown]] = {}
    for hit in answer.hits:
        key = (hit.through, identity_key(hit.maker), identity_key(hit.number))
        together.setdefault(key, []).append(hit)
    return [_Number(of[0], tuple(of) if of[0].claim else ()) for of in together.values()]


@router.get("/favicon.ico")
def favicon() -> Response:
    """Nothing: a page names its own, and browsers ask here beside a PDF."""
    return Response(status_code=204, headers={"Cache-Control": "max-age=86400"})


@router.get("/")
def find(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    asked = Asked.of(request)
    if to := _tidier(request, asked):
        return RedirectResponse(to, 303)
    state, errors = _state(catalogue, asked)
    latest = catalogue.state() if "as_of" in asked.names else state
    reply.at(state, beside=latest.mark)
    index = catalogue.search_index(state.revision)
    found = _Found(index.elements, state.revision, latest.revision, errors=errors)
    found.stated = {name: text for name, text in asked.names.items() if name not in (*_OWN, *asked.carried)}
    if not errors:
        _search(found, asked, catalogue, index)
        _list(found, asked, catalogue)
    is_in_place = _IN_PLACE in request.headers
    context = _context(found, asked, is_in_place)
    if found.errors:
        # A browser's console takes a refusal for a failure, and what is half typed may well be one.
        status = 200 if is_in_place else max(status_of(type(error)) for error in found.errors)
        answer = faulty_page("find.html", request, context, status)
    else:
        answer = reply.give_page(render("find.html", asked, context))
    answer.headers["Vary"] = f"Accept, {_IN_PLACE}"
    return answer


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
    try:
        with read_session(catalogue.engine) as connection:
            found.number, hits = _near(index, text)
            found.hits = answers.found_answer(connection, index, found.revision, hits, SHOWN_AT_MOST)
            found.numbers = hits.numbers
            fits = _fitting(catalogue, found.revision, measured) if measured else 0
            if measured and measured.is_guess and not fits:
                measured = None
            if not found.hits.total and measured is None and not found.stated:
                _nearest(connection, found, index)
    except InputError as error:
        found.errors.append(error)
        return
    if measured and not found.hits.total:
        found.measured, found.stated = measured, measured.filters
    elif measured and fits and not measured.unread:
        found.measured, found.offered = measured, fits


def _near(index: SearchIndex, text: str) -> tuple[str, SearchResult]:
    """What was searched, and what is near it: the text as typed, or without what stands beside a number on a label,
    where only that is near anything but for a slip."""
    hits = index.search(text, SHOWN_AT_MOST)
    bare = without_words_beside(text)
    if bare == text or (hits.hits and hits.hits[0].near in _NEAR):
        return text, hits
    others = index.search(bare, SHOWN_AT_MOST)
    return (bare, others) if others.total or not hits.total else (text, hits)


def _nearest(connection: sa.Connection, found: _Found, index: SearchIndex) -> None:
    """Of a number that nothing is near: what begins as it begins, else what differs least from it."""
    found.beginning = index.longest_beginning(found.number)
    search = index.search if found.beginning else index.least_far
    nearest = search(found.beginning or found.number, SHOWN_AS_NEAREST)
    if nearest.total:
        found.nearest = answers.found_answer(connection, index, found.revision, nearest, SHOWN_AS_NEAREST)
        found.nearest_numbers = nearest.numbers


def _fitting(catalogue: Catalogue, revision: int, measured: Measured) -> int:
    """How many elements state what was read, 0 where nothing was or it cannot be read as a list would."""
    if not measured.filters:
        return 0
    try:
        return answers.listing(catalogue.snapshot(revision), measured.filters, limit=0).total
    except (InputError, NotOnFileError):
        return 0


def _list(found: _Found, asked: Asked, catalogue: Catalogue) -> None:
    if not found.stated:
        return
    snapshot = catalogue.snapshot(found.revision)
    try:
        found.offset = _offset(asked)
        found.listed = _part(snapshot, found, asked)
        if not found.listed.elements and found.offset:
            found.offset = 0
            found.listed = _part(snapshot, found, asked)
        if not found.listed.total and len(found.stated) > 1:
            found.without = without_each(snapshot, found.stated)
    except (InputError, NotOnFileError) as error:
        found.errors.append(error)


def _part(snapshot: Snapshot, found: _Found, asked: Asked) -> answers.ElementsAnswer:
    """The part of the list that is shown, in the order of how near the measures are."""
    return answers.listing(
        snapshot, found.stated, asked.units, limit=SHOWN_AT_MOST, offset=found.offset, by_measures=True
    )


def _offset(asked: Asked) -> int:
    """How many elements of the list are passed over. Raises QuestionError for what is no whole number."""
    text = asked.names.get("offset", "0")
    if not re.fullmatch("[0-9]{1,9}", text):
        raise QuestionError("This is no whole number.", value=text, field="offset", remedy="Leave it out.")
    return int(text)


# --- what the page says ---------------------------------------------------------------------------


def _context(found: _Found, asked: Asked, is_in_place: bool) -> dict[str, Any]:
    told = [each for error in found.errors for each in faults_of(error)]
    fields = [*FIELDS, *(name for name in found.stated if name not in FIELDS and name in answers.FILTERS)]
    by_field = {each.field: each for each in told if each.field in ("q", *fields)}
    fit = _fit(found.stated) if found.listed else {}
    measures_left = dict.fromkeys((*found.stated, "offset"))
    return {
        "found": found,
        "numbers_of": _numbers_of,
        "text": asked.names.get("q", ""),
        "told": _told(found, bool(told)),
        "faults": [each for each in told if each.field not in by_field],
        "fault_at": by_field,
        # Who types in the box stays there.
        "focused": None if is_in_place else next((name for name in fields if name in by_field), None),
        "fields": [(name, title_of(name) if name != "maker" else name, FIELDS.get(name, "")) for name in fields],
        "kinds": KINDS,
        "listed_words": {shown.name: shown.words for shown in found.listed.filters} if found.listed else {},
        "most": SHOWN_AT_MOST,
        "another_part": _ANOTHER_PART,
        "fit": fit,
        "fit_words": ", ".join(name.removeprefix("fit.").replace("_", " ") for name in fit if "tolerance" not in name),
        "is_by_measures": any(name in MEASURES for name in found.stated),
        "following": _part_of_the_list(found, asked, found.offset + SHOWN_AT_MOST),
        "preceding": _part_of_the_list(found, asked, found.offset - SHOWN_AT_MOST),
        "latest": found.latest,
        "is_state_read": not any(each.field == "as_of" for each in told),
        "kept": {n: t for n, t in asked.names.items() if n in ("units", "as_of", *asked.carried)},
        "carries": {n: t for n, t in asked.carried.items() if n.partition(".")[0] not in _SAID_OF_HOW},
        "uncarried": asked.address(changes=dict.fromkeys(asked.carried)),
        "valve": where_the_valve_is,
        "is_form_open": bool(found.stated or (found.hits and not found.hits.total)),
        "elsewhere": lambda path, **names: asked.address(path, names),
        "to_element": lambda element_id: asked.address(f"/elements/{element_id}"),
        "to_replace": lambda element: asked.address("/replace", _original(element, asked), without=("original.",)),
        "to_fitting": lambda fit: asked.address("/replace", _from_assumptions(asked) | fit),
        "to_list": lambda filters: asked.address(changes={"q": None, **measures_left, **filters}),
        "to_list_without": lambda name: asked.address(changes={**found.stated, name: None, "q": None, "offset": None}),
        "to_search": lambda text: asked.address(changes={**measures_left, "q": text}),
    }


def _original(element: ElementNamed, asked: Asked) -> dict[str, str]:
    named = {"original.maker": element.maker, "original.number": element.number}
    return named | _from_assumptions(asked)


def _from_assumptions(asked: Asked) -> dict[str, str]:
    """What a question that is begun here is judged from."""
    return {} if asked.states_assumptions else {"assumptions": "customary"}


def _fit(stated: Mapping[str, str]) -> dict[str, str]:
    """Of the filters those that a question can ask of the fit, in its names."""
    fit: dict[str, str] = {}
    for name, text in stated.items():
        if f"fit.{name}" not in dotted_names():
            continue
        value, tolerance = parted(text) if name in MEASURES else (text, None)
        fit[f"fit.{name}"] = value
        if tolerance:
            fit[f"fit.{name}.tolerance"] = tolerance
    return fit


def _part_of_the_list(found: _Found, asked: Asked, offset: int) -> str | None:
    """The address of the list from one element on, None where there are none."""
    if not found.listed or not -SHOWN_AT_MOST < offset < found.listed.total or offset == found.offset:
        return None
    return asked.address(changes={"offset": max(offset, 0) or None})


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
        same = sum(each.near == "same_number" for each in _numbers_of(found.hits))
        if not same or same == found.numbers:
            return f"{_counted(found.numbers, 'number')} found."
        return f"{_counted(same, 'number')}, and {found.numbers - same} near {'it' if same == 1 else 'them'}."
    if not found.nearest:
        return "Nothing found."
    counted = _counted(found.nearest_numbers, "number")
    return f"Nothing found. {counted} {'near its beginning' if found.beginning else 'that differ least'}."


def _counted(count: int, what: str) -> str:
    return f"{count or 'No'} {what}{'' if count == 1 else 's'}"
