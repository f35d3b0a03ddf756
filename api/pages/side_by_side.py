"""The page that sets a few elements side by side, and the same sheet as PDF, to be signed and kept with an order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from api.pages.addresses import SHEET_NAMES, Asked
from api.pages.failing import Told, faults_of, faulty_page
from api.pages.site import render
from api.problems import status_of
from api.representation import PageReplyNeeded, PdfReplyNeeded, Reply
from api.store import Catalogue, CatalogueNeeded
from specdb import answers
from specdb.catalog.snapshot import Snapshot
from specdb.duty.dotted import compared_names, comparison_names, comparison_of, dotted_names, faults_as_typed
from specdb.duty.question import MOST_COMPARED, ComparisonAsked
from specdb.errors import InputError, NotOnFileError, QuestionError, SpecdbError
from specdb.ranking import compare
from specdb.sheet.content import MARKS, Sheet, Stated, sheet_of

router = APIRouter(include_in_schema=False)

TEMPLATE = "side_by_side.html"
OFFERED = 4
"""Elements that an empty form has room for."""

HEAD = {
    "asked_by": ("Asked by", "who wants to know"),
    "asked_for": ("For what", "such as an order or a customer"),
    "machine": ("Machine", ""),
    "order_number": ("Order number", ""),
    "date": ("Date", "today unless you say"),
}
"""What stands at the head of a sheet: the label of each field, and a hint."""

_ORIGINAL = {"original.number": "Number", "original.maker": "Maker"}
_HOW = ("assumptions", "as_of", "include_windows")
"""Names of a comparison that ask nothing by themselves."""


@router.get("/side-by-side")
def side_by_side(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    asked = Asked.of(request)
    names = _tidied(asked)
    if sorted(names.items()) != sorted(request.query_params.multi_items()):
        return RedirectResponse(Asked(asked.path, {}).address(changes=names), 303)
    if not _numbers(asked):
        reply.at()
        return reply.give_page(render(TEMPLATE, asked, _form(asked)))
    try:
        sheet = _sheet(catalogue, request, asked, reply)
    except (InputError, NotOnFileError) as error:
        nothing = _nothing_required(error, catalogue, asked)
        if nothing is not None:
            return reply.give_page(render(TEMPLATE, asked, _form(asked) | nothing))
        return faulty_page(TEMPLATE, request, _form(asked, faults_of(error)), status_of(type(error)))
    return reply.give_page(render(TEMPLATE, asked, _form(asked) | _shown(asked, sheet)))


@router.get("/side-by-side.pdf")
def side_by_side_pdf(catalogue: CatalogueNeeded, request: Request, reply: PdfReplyNeeded) -> Response:
    from specdb.sheet.pdf import PAPERS, as_pdf  # which takes a moment that the pages need not wait for

    asked = Asked.of(request)
    paper = asked.names.get("paper", PAPERS[0])
    if paper not in PAPERS:
        raise QuestionError(
            "This is no paper that a sheet is made for.", value=paper, field="paper", remedy="Write a4 or letter."
        )
    names = _tidied(asked)
    if names != dict(asked.names):
        return RedirectResponse(Asked(asked.path, {}).address(changes=names), 303)
    sheet = _sheet(catalogue, request, asked, reply)
    return reply.give_pdf(as_pdf(sheet, paper), f"side-by-side-{sheet.date.isoformat()}")


def _tidied(asked: Asked) -> dict[str, str]:
    """What the address should say: the customary assumptions where it says nothing of any, and nothing that only a
    ranking has, such as how many to list."""
    names = {n: text for n, text in asked.names.items() if n in comparison_names() or n not in dotted_names()}
    asks = any(name.partition(".")[0] not in _HOW for name in names if name in comparison_names())
    if asks and not any(name.partition(".")[0] == "assumptions" for name in names):
        names["assumptions"] = "customary"
    return names


def _numbers(asked: Asked) -> list[int]:
    """Numbers of the elements that are named, in the order in which they are shown."""
    return sorted({int(compared_names()[n].path[1]) + 1 for n in asked.names if n in compared_names()})


# --- the sheet -------------------------------------------------------------------------------------


def _sheet(catalogue: Catalogue, request: Request, asked: Asked, reply: Reply) -> Sheet:
    """The sheet that is asked for. Raises InputError and NotOnFileError, every fault at once, and NotModified."""
    faults: list[SpecdbError] = []
    dated = _date(asked, faults)
    home = str(request.base_url).rstrip("/")
    try:
        comparison = _comparison(asked)
        state = reply.at(catalogue.state(comparison.as_of), f"{dated} {home}")
        with faults_as_typed(asked.question):
            answer = answers.comparison(comparison, catalogue.snapshot(state.revision), asked.units)
    except (InputError, NotOnFileError) as error:
        if not faults:
            raise
        faults += [fault for fault in error.faults if isinstance(fault, SpecdbError)] or [error]
    if faults:
        raise QuestionError.of(faults)
    pinned = asked.address("/side-by-side", {"as_of": state.revision, "date": dated.isoformat()})
    stated = {name: asked.names.get(name, "") for name in SHEET_NAMES if name != "date"}
    return sheet_of(answer, comparison, Stated(date=dated, address=home + pinned, **stated))


def _comparison(asked: Asked) -> ComparisonAsked:
    return comparison_of(asked.question, ("units", *SHEET_NAMES))


def _date(asked: Asked, faults: list[SpecdbError]) -> date:
    """The date of the sheet, by default today's in UTC; to ``faults`` goes what is none."""
    text = asked.names.get("date")
    today = datetime.now(UTC).date()
    try:
        return today if text is None else date.fromisoformat(text)
    except ValueError:
        remedy = f"Write year, month and day, such as {today.isoformat()}."
        faults.append(QuestionError("This is no date.", value=text, field="date", remedy=remedy))
        return today


def _nothing_required(error: SpecdbError, catalogue: Catalogue, asked: Asked) -> dict[str, Any] | None:
    """What the page says where all that is wrong is that elements are named and nothing is asked of them."""
    if error.faults or not isinstance(error, QuestionError) or error.field == "date":
        return None
    try:
        comparison = _comparison(asked)
        snapshot = catalogue.snapshot(catalogue.state(comparison.as_of).revision)
        compared = compare(comparison, snapshot, may_be_empty=True)
    except SpecdbError:
        return None
    return None if compared.ranking.judged else {"nothing": error.remedy, "named": _named(asked, snapshot)}


def _named(asked: Asked, snapshot: Snapshot) -> dict[str, str]:
    """Maker and number of each element that is named by its identifier, by the name that it is typed under."""
    rows = {n: snapshot.find(t) for n, t in asked.names.items() if n in compared_names() and n.endswith("element_id")}
    elements = snapshot.elements
    return {n: f"{elements.maker[row]} {elements.number[row]}" for n, row in rows.items() if row is not None}


def _shown(asked: Asked, sheet: Sheet) -> dict[str, Any]:
    pinned: dict[str, str | int | None] = {"as_of": sheet.revision, "date": sheet.date.isoformat()}
    names = {n: text for n, text in asked.question.items() if n in comparison_names()} | {"as_of": str(sheet.revision)}
    compared = [column for column in sheet.columns if not column.is_original]
    return {
        "sheet": sheet,
        "assumed": dict(enumerate(sheet.assumed)),
        "marks": MARKS,
        "kept": asked.address(changes=pinned),
        "papers": {
            title: asked.address("/side-by-side.pdf", {**pinned, "paper": paper})
            for title, paper in (("A4", "a4"), ("Letter", "letter"))
        },
        "tables": {
            form: f"/v1/comparisons?{urlencode(names | {'units': asked.units, 'format': form})}"
            for form in ("csv", "json")
        },
        "removing": [
            (column.name, asked.address(without=(f"elements.{number}.",)))
            for column, number in zip(compared, _numbers(asked), strict=True)
        ],
    }


# --- the form --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Typed:
    """One field of the form, with what was typed into it and what is wrong with that."""

    id: str
    name: str
    label: str
    text: str
    hint: str
    faults: Sequence[Told]


def _form(asked: Asked, faults: Sequence[Told] = ()) -> dict[str, Any]:
    """What the form shows where there is no sheet yet, and the parts of it that stand beside one."""
    elements = {n: _element_fields(asked, n) for n in _offered(asked)}
    own = [*HEAD, *_ORIGINAL, *(name for fields in elements.values() for name in fields)]
    placed = [(_place_of(told, own), told) for told in faults]

    def typed(name: str, label: str, hint: str = "", own_id: str = "") -> Typed:
        at = [told for place, told in placed if place == name]
        return Typed(own_id or f"f-{name.replace('.', '-')}", name, label, asked.names.get(name, ""), hint, at)

    # A name that no field shows, and that is at fault, gets a field of its own: else it could not be mended.
    strange = list(dict.fromkeys(place for place, _ in placed if place is not None and place not in own))
    adding = _next(asked)
    return {
        "sheet": None,
        "nothing": None,
        "named": {},
        "faults": faults,
        "elements": {n: [typed(name, label) for name, label in fields.items()] for n, fields in elements.items()},
        "original": [typed(name, label) for name, label in _ORIGINAL.items()],
        "head": [typed(name, label, hint) for name, (label, hint) in HEAD.items()],
        "strange": [typed(name, name, own_id=f"f-strange-{at}") for at, name in enumerate(strange)],
        "hidden": _left(asked, [*own, *strange]),
        "hidden_beside_head": _left(asked, HEAD),
        "adding": adding and [typed(f"elements.{adding}.number", "Number"), typed(f"elements.{adding}.maker", "Maker")],
        "most": MOST_COMPARED,
    }


def _offered(asked: Asked) -> list[int]:
    """Numbers of the elements that the form has fields for: those named, one more, and at least a few."""
    named = _numbers(asked)
    free = [n for n in range(1, MOST_COMPARED + 1) if n not in named]
    return sorted(named + free[: max(1, OFFERED - len(named))])


def _next(asked: Asked) -> int | None:
    """The number of an element that is added: behind the others if there is one, None where no more are taken."""
    named = _numbers(asked)
    free = [n for n in range(1, MOST_COMPARED + 1) if n not in named]
    return next((n for n in free if n > max(named, default=0)), free[0] if free else None)


def _element_fields(asked: Asked, number: int) -> dict[str, str]:
    """Fields of one element by their names: its number and maker, and its identifier where that is stated."""
    fields = {"element_id": "Identifier", "number": "Number", "maker": "Maker"}
    stated = {own for own in fields if f"elements.{number}.{own}" in asked.names}
    wanted = [own for own in fields if own in stated or (own != "element_id" and stated != {"element_id"})]
    return {f"elements.{number}.{own}": fields[own] for own in wanted}


def _place_of(told: Told, own: Sequence[str]) -> str | None:
    """The field that a fault stands beside; one of an element as a whole beside its first field."""
    if told.field is None or told.field in own:
        return told.field
    return next((name for name in own if name.startswith(f"{told.field}.")), told.field)


def _left(asked: Asked, own: Iterable[str]) -> Mapping[str, str]:
    """What is asked and no field of a form shows, to be sent along with it."""
    shown = set(own)
    return {name: text for name, text in asked.names.items() if name not in shown}
