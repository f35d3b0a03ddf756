"""The page that takes a catalogue in: every problem by its row first, then what would be new, then the commit."""

from __future__ import annotations

import asyncio
import codecs
import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import accumulate, chain
from typing import TypeVar

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from markupsafe import escape
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from api.admission import LOADING, UPLOAD_BYTES
from api.pages.addresses import Asked
from api.pages.failing import Told, faults_of, faulty_page
from api.pages.shelf import KEPT_S, Checked, Kept, Shelf
from api.pages.site import render
from api.representation import PageReplyNeeded
from api.store import Catalogue, CatalogueNeeded
from api.uploads import (
    FILE,
    BrokenFormError,
    read_form,
    refuse_unknown_name,
    refuse_unless_allowed,
    the_file,
)
from specdb import answers
from specdb.catalog.history import read_revisions
from specdb.catalog.store import read_session
from specdb.duty.question import text_of
from specdb.errors import (
    ImportRefusedError,
    InputError,
    NotOnFileError,
    QuestionError,
    RevisionMovedError,
    RowFault,
    SpecdbError,
    WritesRefusedError,
    shown,
)
from specdb.exchange import import_upload
from specdb.exchange.blank import blank_workbook
from specdb.exchange.news import News
from specdb.formula_guard import guarded

router = APIRouter(include_in_schema=False)

FAULTS_LISTED = 100
FAULTS_KEPT = 20_000
"""Of one file, to be had as a table; the page lists fewer, and less than ``FAULTS_BYTES``."""
FAULTS_BYTES = 40_000
NEWS_BYTES = 40_000
CELL_BYTES = 45
"""Of what stands about the text of a cell."""
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

_KEPT_WITH_IT = {"actor": "Say who takes the file in, in a line.", "reason": "Say why in a line, or leave it blank."}
_TYPED = tuple(_KEPT_WITH_IT)
_FIELDS = ("action", "checked", "expected_revision", *_TYPED)
_CHOOSE = "Choose one file: a zip of the catalogue folder, a workbook (XLSX) or one CSV file."
_LONGEST_REVISION_DIGITS = 15
_FAULT_HEADINGS = ("file", "row", "column", "found", "what is wrong", "what would be right")

Cells = tuple[str | None, ...]
Texts = TypeVar("Texts", bound=Cells)


@dataclass(frozen=True)
class _Found:
    """What a check found, under the address that it is kept at."""

    token: str
    name: str
    reason: str
    checked: Checked
    revision: int | None
    """In which the file was taken in, once it was."""

    @property
    def is_new(self) -> bool:
        """Whether there is anything to take in."""
        report = self.checked.report
        return report is not None and (any(report.added.values()) or report.superseded + report.withdrawn > 0)

    @property
    def news(self) -> list[News]:
        """What would be new, as much of it as the page may hold."""
        news = self.checked.report.news if self.checked.report else ()
        most = NEWS_BYTES // max(len(news), 1)
        return [replace(each, rows=_fitting(each.rows, most)) for each in news]


@dataclass(frozen=True)
class _Shown:
    """What the page shows beside the form: why nothing is taken, what is wrong with the form, and what was found.
    ``moved`` is the revision that a file had been checked with before it was checked anew."""

    refused: SpecdbError | None = None
    typed: Mapping[str, str] = field(default_factory=dict)
    told: Sequence[Told] = ()
    moved: int | None = None
    found: _Found | None = None
    heading: str = "This cannot be taken in"
    done: answers.RevisionShown | None = None

    @property
    def context(self) -> dict[str, object]:
        elsewhere = [fault for fault in self.told if fault.field not in (FILE, *_TYPED)]
        most_mib = UPLOAD_BYTES >> 20
        return {"load": self, "elsewhere": elsewhere, "most_mib": most_mib, "kept_minutes": KEPT_S // 60}


def _fitting(rows: Sequence[Texts], most_bytes: int) -> tuple[Texts, ...]:
    """The first of the rows, as many as a page holds in so many bytes."""
    weights = accumulate(sum(len(escape(text or "").encode()) + CELL_BYTES for text in row) for row in rows)
    return tuple(row for row, weight in zip(rows, weights, strict=True) if weight <= most_bytes)


@router.get(LOADING)
def load(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    asked = Asked.of(request)
    refused = _refusal(request)
    if refused is None and "checked" in asked.names:
        return _checked_page(catalogue, request, asked.names["checked"], asked.names.get("since", ""))
    state = reply.at(catalogue.state(), str(refused))
    try:
        done = _revision(catalogue, asked.names.get("revision"), state.revision)
    except (InputError, NotOnFileError) as error:
        told = faults_of(error)
        return _page(request, _Shown(refused, told=told, heading="This cannot be shown"), 404)
    return reply.give_page(render("load.html", asked, _Shown(refused, done=done).context))


@router.get(f"{LOADING}/faults.csv")
def faults(request: Request, checked: str = "") -> Response:
    """Every fault of a checked file, as a table."""
    refuse_unless_allowed(request)
    kept = request.app.state.shelf.kept(checked)
    try:
        listed = None if kept is None else kept.faults_path.read_bytes()
    except FileNotFoundError:
        listed = None
    if kept is None or listed is None:
        raise NotOnFileError("The file that was checked is not kept here any more.", remedy="Check it once more.")
    headers = {
        "Content-Disposition": 'attachment; filename="faults.csv"',
        "Cache-Control": "no-store",
        "X-Content-Type-Options": "nosniff",
    }
    return Response(listed, headers=headers, media_type="text/csv")


@router.get(f"{LOADING}/blank.xlsx")
def blank() -> Response:
    headers = {
        "Content-Disposition": 'attachment; filename="blank-catalogue.xlsx"',
        "Cache-Control": "no-cache",
        "X-Content-Type-Options": "nosniff",
    }
    return Response(blank_workbook(), headers=headers, media_type=XLSX)


@router.post(LOADING)
async def take_in(catalogue: CatalogueNeeded, request: Request) -> Response:
    try:
        refuse_unless_allowed(request)
    except WritesRefusedError as error:
        return _page(request, _Shown(error), 403)
    try:
        form = await read_form(request)
    except BrokenFormError as error:
        typed = {name: error.texts.get(name, "") for name in _TYPED}
        told = [Told(FILE, error.message, "Choose the file again, and send it once more.")]
        return _page(request, _Shown(typed=typed, told=told), 400)
    shelf: Shelf = request.app.state.shelf
    loop = asyncio.get_running_loop()
    # What is kept goes when its time is over, whether or not anybody asks again.
    loop.call_later(KEPT_S, lambda: loop.run_in_executor(None, shelf.drop_old))
    try:
        return await run_in_threadpool(_answer, request, catalogue, shelf, form)
    finally:
        await form.close()


def _refusal(request: Request) -> SpecdbError | None:
    """Why a form of this page would be refused, if it would."""
    try:
        refuse_unless_allowed(request)
        refuse_unknown_name(request)
    except WritesRefusedError as error:
        return error
    return None


def _page(request: Request, shown: _Shown, status: int = 200) -> Response:
    return faulty_page("load.html", request, shown.context, status)


def _revision(catalogue: Catalogue, number: str | None, current: int) -> answers.RevisionShown | None:
    """The revision of that number, if one is asked for. Raises InputError and NotOnFileError."""
    if number is None:
        return None
    if not number.isdecimal() or len(number) > _LONGEST_REVISION_DIGITS:
        raise QuestionError("This is no number of a revision.", value=number, remedy="It is a whole number, such as 5.")
    if not 0 < int(number) <= current:
        last = f"The last one is revision {current}." if current else "Nothing has been put on file yet."
        raise NotOnFileError(f"There is no revision {int(number)} of the catalogue.", remedy=last)
    with read_session(catalogue.engine) as connection:
        listed, total = read_revisions(connection, int(number), limit=1, offset=0)
    return next(iter(answers.revisions_answer(current, listed, total, 1).revisions), None)


def _checked_page(catalogue: Catalogue, request: Request, token: str, since: str) -> Response:
    """What the check of a kept file found, told as often as it is asked for; it is checked anew where the catalogue
    has moved on since. ``since`` is the revision that it had been checked with when it was to be taken in."""
    shelf: Shelf = request.app.state.shelf
    kept = shelf.kept(token)
    if kept is not None and (kept.checked is None or kept.checked.revision != catalogue.state().revision):
        kept = _check(catalogue, shelf, token)
    if kept is None or kept.checked is None:
        return _page(request, _Shown(told=faults_of(_not_kept())), 404)
    found = _Found(token, kept.name, _reason(kept.reason, kept.name), kept.checked, kept.revision)
    moved = int(since) if since.isdecimal() and len(since) <= _LONGEST_REVISION_DIGITS else None
    return _page(request, _Shown(typed={"actor": kept.actor, "reason": kept.reason}, moved=moved, found=found))


def _check(catalogue: Catalogue, shelf: Shelf, token: str) -> Kept | None:
    """The file with every fault of it, or what taking it in would do; None where it is not kept any more."""
    revision = catalogue.state().revision
    kept, file = shelf.kept(token), shelf.take(token)
    if kept is None or file is None:
        return None
    listed: Sequence[RowFault] = ()
    with file:
        try:
            report = import_upload(
                catalogue.engine, kept.name, file, actor=kept.actor, reason=_reason(kept.reason, kept.name),
                dry_run=True, most_faults=FAULTS_KEPT,
            )  # fmt: skip
            checked = Checked(report.catalog_revision, report)
        except ImportRefusedError as error:
            listed = error.faults[:-1] if error.not_listed else error.faults
            shown_first = len(_fitting([_cells_of(fault) for fault in listed[:FAULTS_LISTED]], FAULTS_BYTES))
            checked = Checked(revision, None, listed[:shown_first], len(listed) + error.not_listed, len(listed))
    shelf.note_checked(token, checked, _lines_of(listed))
    return shelf.kept(token)


def _cells_of(fault: RowFault) -> Cells:
    row = None if fault.row is None else str(fault.row)
    return fault.file, row, fault.column, fault.found, fault.message, fault.remedy


def _lines_of(listed: Iterable[RowFault]) -> Iterator[bytes]:
    """The faults as lines of a CSV file that a spreadsheet program opens as what it is, and takes nothing in it for a
    formula."""
    line = io.StringIO()
    writer = csv.writer(line)
    for cells in chain([_FAULT_HEADINGS], map(_cells_of, listed)):
        writer.writerow([guarded(text or "") for text in cells])
        yield (codecs.BOM_UTF8 if cells is _FAULT_HEADINGS else b"") + line.getvalue().encode()
        line.seek(0)
        line.truncate()


def _not_kept() -> QuestionError:
    return QuestionError(
        "The file that was checked is not kept here any more.", field=FILE,
        remedy=f"Choose it again and check it once more: a checked file is kept for {KEPT_S // 60} minutes.",
    )  # fmt: skip


def _reason(typed: str, name: str) -> str:
    return typed or f"import of {shown(name)}"


def _answer(request: Request, catalogue: Catalogue, shelf: Shelf, form: FormData) -> Response:
    """What a form is answered with; what was typed comes back with whatever is wrong."""
    typed = {name: _typed(form, name) for name in _TYPED}
    try:
        _refuse_unsaid(form)
        if form.get("action") == "commit":
            return _commit(catalogue, shelf, _typed(form, "checked"), _expected(form))
        upload = the_file(form, _CHOOSE, _FIELDS)
        token = shelf.put(str(upload.filename), upload.file, typed["actor"], typed["reason"])
        if _check(catalogue, shelf, token) is None:
            raise _not_kept()
        return _led_to(f"{LOADING}?checked={token}")
    except InputError as error:
        return _page(request, _Shown(typed=typed, told=faults_of(error)), 422)


def _led_to(address: str) -> Response:
    """An answer to be fetched anew: who loads it again, or goes back to it, sends nothing again."""
    return RedirectResponse(address, 303, {"Cache-Control": "no-store"})


def _commit(catalogue: Catalogue, shelf: Shelf, token: str, expected_revision: int) -> Response:
    """Leads to the revision that was written, or that the file was taken in before, else to the file checked anew.

    Raises QuestionError where the file is not kept any more.
    """
    kept, file = shelf.kept(token), shelf.take(token)
    if kept is None or file is None:
        raise _not_kept()
    since = ""
    with file:
        try:
            report = import_upload(
                catalogue.engine, kept.name, file, actor=kept.actor, reason=_reason(kept.reason, kept.name),
                expected_revision=expected_revision,
            )  # fmt: skip
        except RevisionMovedError:
            since = f"&since={expected_revision}"
        except ImportRefusedError:
            pass  # its faults stand where it was checked
        else:
            if report.revision is not None:
                shelf.note_taken_in(token, report.revision)
                catalogue.load_ahead()
    now = shelf.kept(token)
    if now is not None and now.revision is not None:
        return _led_to(f"{LOADING}?revision={now.revision}")
    return _led_to(f"{LOADING}?checked={token}{since}")


def _typed(form: FormData, name: str) -> str:
    text = form.get(name, "")
    return text.strip() if isinstance(text, str) else ""


def _refuse_unsaid(form: FormData) -> None:
    """Raises QuestionError that names what cannot be kept of who takes the file in and why, which may be left open,
    and a file that is missing with it."""
    faults: list[SpecdbError] = []
    for name in _TYPED:
        text = _typed(form, name)
        try:
            if text or name == "actor":
                text_of(text)
        except ValueError as error:
            message = f"This cannot be kept: {error}." if text else "This is blank."
            faults.append(QuestionError(message, field=name, remedy=_KEPT_WITH_IT[name]))
    if faults and form.get("action") != "commit":
        try:
            the_file(form, _CHOOSE, _FIELDS)
        except InputError as error:
            faults += [fault for fault in error.faults if isinstance(fault, SpecdbError)] or [error]
    if faults:
        raise QuestionError.of(faults)


def _expected(form: FormData) -> int:
    text = _typed(form, "expected_revision")
    if not text.isdecimal() or len(text) > _LONGEST_REVISION_DIGITS:
        message = "It is not said which revision the file was checked with."
        raise QuestionError(message, field="expected_revision", remedy="Check the file again.")
    return int(text)
