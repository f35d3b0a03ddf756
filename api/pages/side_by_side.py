"""The page that sets a few elements side by side, and the same sheet as PDF, to be signed and kept with an order."""

from __future__ import annotations

import dataclasses
import ipaddress
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from api.pages.addresses import SHEET_NAMES, Asked
from api.pages.failing import Told, faults_of, faulty_page, is_page_wanted
from api.pages.meant import Meant, elements_meant, told_above
from api.pages.site import render
from api.problems import status_of
from api.representation import PageReplyNeeded, PdfReplyNeeded, Reply
from api.store import Catalogue, CatalogueNeeded
from api.uploads import is_own_name
from specdb import answers
from specdb.catalog.snapshot import Snapshot
from specdb.duty.dotted import (
    compared_names,
    comparison_names,
    comparison_of,
    dotted_names,
    faults_as_typed,
    question_of,
)
from specdb.duty.question import MOST_COMPARED, ComparisonAsked
from specdb.duty.resolve import find_row, resolve
from specdb.errors import InputError, NotOnFileError, QuestionError, SpecdbError
from specdb.ranking import compare
from specdb.sheet.content import Sheet, Stated, sheet_of
from specdb.sheet.duty import FIELD_WORDS, in_words

router = APIRouter(include_in_schema=False)

TEMPLATE = "side_by_side.html"
PAGE = "/side-by-side"
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

CHANGE, SHOWN = "change", "shown"
"""Names that only the form beside a sheet sends, and no address keeps: what one of its buttons changes, or where it
leads, and the revision that the sheet was read from when a PDF of it or its address was asked for."""

_KEEP = "keep"
_AWAY = {"ask": "/ask", "question": "/replace"}
"""Pages that a button beside a sheet leads to, by what it sends: what was typed into the head goes along."""

_FILE_NAME_AT_MOST = 40
"""Characters of an order or of an original in the name of a file."""

_FIRST = "elements.1.number"
_TYPED_NUMBER = re.compile(r"(original|elements\.[0-9]+)\.(?:number|maker)")
"""A fault at which other elements may be meant."""


@router.get("/side-by-side")
def side_by_side(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    asked = Asked.of(request)
    names = _tidied(asked)
    change = asked.names.get(CHANGE, "")
    if change in _AWAY:
        # The next sheet is of its own day, and of the catalogue as it is then.
        return RedirectResponse(Asked(PAGE, names).address(_AWAY[change], {"as_of": None}), 303)
    if change == _KEEP:
        names = _pinned(asked, names)
    if sorted(names.items()) != sorted(request.query_params.multi_items()):
        return RedirectResponse(Asked(PAGE, {}).address(changes=names), 303)
    if not _numbers(asked):
        return _without_elements(catalogue, request, asked, reply)
    try:
        sheet = _sheet(catalogue, request, asked, reply)
    except (InputError, NotOnFileError) as error:
        nothing = _nothing_required(error, catalogue, asked)
        if nothing is not None:
            return reply.give_page(render(TEMPLATE, asked, _form(asked) | nothing))
        return _faulty(error, catalogue, request, asked, reply)
    return reply.give_page(render(TEMPLATE, asked, _form(asked) | _shown(catalogue, asked, sheet)))


@router.get("/side-by-side.pdf")
def side_by_side_pdf(catalogue: CatalogueNeeded, request: Request, reply: PdfReplyNeeded) -> Response:
    from specdb.sheet.pdf import PAPERS, as_pdf  # which takes a moment that the pages need not wait for

    asked = Asked.of(request)
    paper = asked.names.get("paper", PAPERS[0])
    if paper not in PAPERS:
        raise QuestionError(
            "This is no paper that a sheet is made for.", value=paper, field="paper", remedy="Write a4 or letter."
        )
    names = _pinned(asked, _tidied(asked))
    if names != dict(asked.names):
        return RedirectResponse(Asked(asked.path, {}).address(changes=names), 303)
    try:
        sheet = _sheet(catalogue, request, asked, reply)
    except (InputError, NotOnFileError):
        if not is_page_wanted(request.scope):
            raise
        # The page tells each fault beside its field, with all that was typed.
        return RedirectResponse(Asked(PAGE, {}).address(changes=names | {"paper": None}), 303)
    return reply.give_pdf(as_pdf(sheet, paper), _file_name(sheet, asked))


def _file_name(sheet: Sheet, asked: Asked) -> str:
    """What a PDF is called where it is kept: its date, and the order, else the original. Of both it has letters and
    digits of ASCII alone, which neither a header nor a folder takes for anything else."""
    originals = [column.name for column in sheet.columns if column.is_original]
    told = ("-".join(re.findall("[A-Za-z0-9]+", each)) for each in (asked.names.get("order_number", ""), *originals))
    known = next(filter(None, told), "")[:_FILE_NAME_AT_MOST].rstrip("-")
    return "-".join(filter(None, ("side-by-side", sheet.date.isoformat(), known)))


def _pinned(asked: Asked, names: Mapping[str, str]) -> dict[str, str]:
    """The names, with the revision that the sheet was read from and today's date where they state no other."""
    if SHOWN not in asked.names:
        return dict(names)
    pins = {"as_of": asked.names[SHOWN], "date": _today().isoformat()}
    return {**names, **{name: text for name, text in pins.items() if name not in names}}


def _tidied(asked: Asked) -> dict[str, str]:
    """What the address should say: with what a button changes, the customary assumptions where it says nothing of any,
    and nothing that only a ranking has, such as how many to list."""
    change, _, which = asked.names.get(CHANGE, "").partition(" ")
    left_out = {"remove": f"elements.{which}.", "assume": "assumptions"}.get(change)
    names = {
        name: text
        for name, text in asked.names.items()
        if (name in comparison_names() or name not in (*dotted_names(), CHANGE, SHOWN))
        and not (left_out and name.startswith(left_out))
    }
    asks = any(name.partition(".")[0] not in _HOW for name in names if name in comparison_names())
    if change == "assume":
        names["assumptions"] = which
    elif asks and not Asked(asked.path, names).states_assumptions:
        names["assumptions"] = "customary"
    return names


def _numbers(asked: Asked) -> list[int]:
    """Numbers of the elements that are named, in the order in which they are shown."""
    return sorted({int(compared_names()[n].path[1]) + 1 for n in asked.names if n in compared_names()})


def _asks(asked: Asked) -> bool:
    return any(name.partition(".")[0] not in _HOW for name in asked.question)


# --- the sheet -------------------------------------------------------------------------------------


def _sheet(catalogue: Catalogue, request: Request, asked: Asked, reply: Reply) -> Sheet:
    """The sheet that is asked for. Raises InputError and NotOnFileError, every fault at once, and NotModified."""
    faults: list[SpecdbError] = []
    dated = _date(asked, faults)
    home, reached = _home(request)
    try:
        comparison = _comparison(asked)
        state = catalogue.state(comparison.as_of)
        # A page that is read from an old state says what the present one is.
        reply.at(state, f"{dated} {home} {catalogue.state().mark}")
        with faults_as_typed(asked.question):
            answer = answers.comparison(comparison, catalogue.snapshot(state.revision), asked.units)
    except (InputError, NotOnFileError) as error:
        if not faults:
            raise
        faults += _each(error)
    if faults:
        raise QuestionError.of(faults)
    pinned = asked.address(PAGE, {"as_of": state.revision, "date": dated.isoformat()})
    stated = {name: asked.names.get(name, "") for name in SHEET_NAMES if name != "date"}
    return sheet_of(answer, comparison, Stated(date=dated, address=home + pinned, reached=reached, **stated))


def _home(request: Request) -> tuple[str, str]:
    """How the addresses of this service begin, and from where they lead to it, in words. Of a host that may be any, as
    whoever asks writes it, nothing is printed on what others are to sign."""
    if not is_own_name(request):
        return "", "at the address of this service"
    home, name = str(request.base_url).rstrip("/"), request.base_url.hostname or ""
    try:
        is_here = name == "localhost" or ipaddress.ip_address(name).is_loopback
    except ValueError:
        is_here = False
    return home, "on this machine" if is_here else ""


def _each(error: SpecdbError) -> list[SpecdbError]:
    return [fault for fault in error.faults if isinstance(fault, SpecdbError)] or [error]


def _comparison(asked: Asked) -> ComparisonAsked:
    return comparison_of(asked.question, ("units", *SHEET_NAMES))


def _today() -> date:
    return datetime.now(UTC).date()


def _date(asked: Asked, faults: list[SpecdbError]) -> date:
    """The date of the sheet, by default today's in UTC; to ``faults`` goes what is none."""
    text = asked.names.get("date")
    today = _today()
    try:
        return today if text is None else date.fromisoformat(text)
    except ValueError:
        remedy = f"Write year, month and day, such as {today.isoformat()}."
        faults.append(QuestionError("This is no date.", value=text, field="date", remedy=remedy))
        return today


def _shown(catalogue: Catalogue, asked: Asked, sheet: Sheet) -> dict[str, Any]:
    names = {n: text for n, text in asked.question.items() if n in comparison_names()} | {"as_of": str(sheet.revision)}
    compared = [column for column in sheet.columns if not column.is_original]
    return {
        "sheet": sheet,
        "latest": catalogue.state().revision,
        "tables": {
            form: f"/v1/comparisons?{urlencode(names | {'units': asked.units, 'format': form})}"
            for form in ("csv", "json")
        },
        "removing": list(zip(_numbers(asked), [column.name for column in compared], strict=True)),
        "beside_sheet": {**_left(asked, HEAD), SHOWN: sheet.revision},
    }


# --- where there is no sheet, or not all of it -----------------------------------------------------


def _without_elements(catalogue: Catalogue, request: Request, asked: Asked, reply: Reply) -> Response:
    """The form, with what is wrong with what is stated already."""
    faults: list[SpecdbError] = []
    _date(asked, faults)
    try:
        _comparison(asked)
    except InputError as error:
        faults += [fault for fault in _each(error) if fault.field != _FIRST]
    try:
        if faults:
            raise QuestionError.of(faults)
        state = catalogue.state(asked.names.get("as_of"))
        with faults_as_typed(asked.question):
            question = question_of(asked.question)
            resolve(question, catalogue.snapshot(state.revision), may_be_empty=True)
    except (InputError, NotOnFileError) as error:
        return _faulty(error, catalogue, request, asked, reply)
    reply.at(state)
    return reply.give_page(render(TEMPLATE, asked, _form(asked) | {"unticked": _asks(asked)}))


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
    if compared.ranking.judged:
        return None
    return {"nothing": in_words(error.remedy or ""), "named": _named(asked, snapshot)}


def _named(asked: Asked, snapshot: Snapshot) -> dict[str, str]:
    """Maker and number of each element that is named by its identifier, by the name that it is typed under."""
    rows = {n: snapshot.find(t) for n, t in asked.names.items() if n in compared_names() and n.endswith("element_id")}
    elements = snapshot.elements
    return {n: f"{elements.maker[row]} {elements.number[row]}" for n, row in rows.items() if row is not None}


def _faulty(error: SpecdbError, catalogue: Catalogue, request: Request, asked: Asked, reply: Reply) -> Response:
    """The form with each fault beside its field; where all that is wrong is some of the elements, the sheet of the
    others with the fields of those."""
    snapshot = _snapshot(catalogue, asked)
    found = faults_of(error)
    meant = {told.field: _meant(asked, told.field, snapshot) for told in found if told.field is not None}
    faults = [_told(told_above(told, meant.get(told.field or "", ()))) for told in found]
    form = _form(asked, faults, meant)
    status = max(status_of(type(each)) for each in _each(error))
    amiss = {number for number in _numbers(asked) if any(_is_of(number, told.field) for told in found)}
    rest = Asked(asked.path, {n: t for n, t in asked.names.items() if not any(_is_of(number, n) for number in amiss)})
    if _numbers(rest) and all(any(_is_of(number, told.field) for number in amiss) for told in found):
        try:
            shown = _shown(catalogue, rest, _sheet(catalogue, request, rest, reply))
        except (InputError, NotOnFileError):
            return faulty_page(TEMPLATE, request, form, status)
        form |= shown | {"amiss": [form["elements"][number] for number in sorted(amiss)], "adding": None}
    return faulty_page(TEMPLATE, request, form, status)


def _is_of(number: int, name: str | None) -> bool:
    return name is not None and name.startswith(f"elements.{number}.")


def _snapshot(catalogue: Catalogue, asked: Asked) -> Snapshot:
    """The state that is asked of; the present one where there is no such."""
    try:
        state = catalogue.state(asked.names.get("as_of"))
    except (InputError, NotOnFileError):
        state = catalogue.state()
    return catalogue.snapshot(state.revision)


def _told(told: Told) -> Told:
    """A fault as somebody reads it who sees fields, and not their names; one at a name that is nobody's as it is."""
    if told.field is not None and told.field not in comparison_names() and told.field not in HEAD:
        return told
    return dataclasses.replace(told, message=in_words(told.message), remedy=told.remedy and in_words(told.remedy))


def _meant(asked: Asked, field: str, snapshot: Snapshot) -> list[Meant]:
    """Elements on file that may be meant by a number at fault: none where it is that of one element."""
    match = _TYPED_NUMBER.fullmatch(field)
    if match is None:
        return []
    try:
        find_row(snapshot, asked.names.get(f"{match[1]}.number", ""), asked.names.get(f"{match[1]}.maker"))
    except (InputError, NotOnFileError):
        return elements_meant(asked, match[1], snapshot)
    return []


# --- the form --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Typed:
    """One field of the form, with what was typed into it, what is wrong with that, and what may be meant."""

    id: str
    name: str
    label: str
    text: str
    hint: str
    faults: Sequence[Told]
    meant: Sequence[Meant]


def _form(
    asked: Asked, faults: Sequence[Told] = (), meant: Mapping[str, Sequence[Meant]] | None = None
) -> dict[str, Any]:
    """What the form shows where there is no sheet yet, and the parts of it that stand beside one."""
    fields = {n: _element_fields(asked, n) for n in _offered(asked)}
    own = [*HEAD, *_ORIGINAL, *(name for each in fields.values() for name in each)]
    placed = [(_place_of(told, own), told) for told in faults]
    near = {place: (meant or {}).get(told.field or "", ()) for place, told in placed}

    def typed(name: str, label: str, hint: str = "", own_id: str = "") -> Typed:
        at = [told for place, told in placed if place == name]
        shown_id = own_id or f"f-{name.replace('.', '-')}"
        return Typed(shown_id, name, label, asked.names.get(name, ""), hint, at, near.get(name, ()))

    # A name that no field shows, and that is at fault, gets a field of its own: else it could not be mended.
    others = list(dict.fromkeys(place for place, _ in placed if place is not None and place not in own))
    strange = [typed(name, _label(name), own_id=f"f-strange-{at}") for at, name in enumerate(others)]
    elements = {n: [typed(name, label) for name, label in each.items()] for n, each in fields.items()}
    original = [typed(name, label) for name, label in _ORIGINAL.items()]
    head = [typed(name, label, hint) for name, (label, hint) in HEAD.items()]
    shown = [
        *(("", field) for field in (*strange, *head)),
        *((f"Element {n}, ", field) for n, each in elements.items() for field in each),
        *(("The original, ", field) for field in original),
    ]
    adding = _next(asked)
    return {
        "sheet": None,
        "nothing": None,
        "unticked": False,
        "amiss": [],
        "named": {},
        "elements": elements,
        "original": original,
        "head": head,
        "strange": strange,
        "homeless": [told for place, told in placed if place is None],
        "told": [(f"{group}{field.label if not group else field.label.lower()}", field) for group, field in shown],
        "hidden": _left(asked, [*own, *others]),
        "adding": adding and [typed(f"elements.{adding}.number", "Number"), typed(f"elements.{adding}.maker", "Maker")],
        "most": MOST_COMPARED,
    }


_REQUIREMENT = re.compile(r"require\.([0-9]+)\.(.+)")


def _label(name: str) -> str:
    """What a field of a name is called that a question has; another's as it was typed."""
    if name not in comparison_names():
        return name
    if match := _REQUIREMENT.fullmatch(name):
        return f"Requirement {match[1]}, {match[2].replace('_', ' ')}"
    words = FIELD_WORDS.get(name, {"as_of": "state of the catalogue"}.get(name, name))
    return words[0].upper() + words[1:]


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
