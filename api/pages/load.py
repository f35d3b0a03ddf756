"""The page that takes a catalogue in: every problem by its row first, then what would be new, then the commit."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import BinaryIO

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from api.admission import LOADING, UPLOAD_BYTES
from api.pages.addresses import Asked
from api.pages.failing import Told, faults_of, faulty_page
from api.pages.shelf import KEPT_S, Shelf
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
from specdb.catalog.revisions import revision_as_of
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
from specdb.exchange import ImportReport, import_upload
from specdb.exchange.blank import blank_workbook

router = APIRouter(include_in_schema=False)

FAULTS_LISTED = 500
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

_KEPT_WITH_IT = {"actor": "Say who takes the file in, in a line.", "reason": "Say why in a line, or leave it blank."}
_TYPED = tuple(_KEPT_WITH_IT)
_FIELDS = ("action", "checked", "expected_revision", *_TYPED)
_CHOOSE = "Choose one file: a zip of the catalogue folder, a workbook (XLSX) or one CSV file."
_LONGEST_REVISION_DIGITS = 15


@dataclass(frozen=True)
class _Checked:
    """A file without faults: what it is kept under, and what taking it in would do."""

    token: str
    name: str
    reason: str
    report: ImportReport

    @property
    def is_new(self) -> bool:
        """Whether there is anything to take in."""
        return any(self.report.added.values()) or self.report.superseded + self.report.withdrawn > 0


@dataclass(frozen=True)
class _Faulty:
    """The faults of a file, as many as are listed, and how many there are."""

    name: str
    faults: Sequence[RowFault]
    count: int


@dataclass(frozen=True)
class _Shown:
    """What the page shows beside the form: why nothing is taken, what is wrong with the form, and what was found."""

    refused: SpecdbError | None = None
    typed: Mapping[str, str] = field(default_factory=dict)
    told: Sequence[Told] = ()
    moved: str | None = None
    faulty: _Faulty | None = None
    checked: _Checked | None = None
    done: answers.RevisionShown | None = None

    @property
    def context(self) -> dict[str, object]:
        elsewhere = [fault for fault in self.told if fault.field not in (FILE, *_TYPED)]
        most_mib = UPLOAD_BYTES >> 20
        return {"load": self, "elsewhere": elsewhere, "most_mib": most_mib, "kept_minutes": KEPT_S // 60}


@router.get(LOADING)
def load(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    asked = Asked.of(request)
    refused = _refusal(request)
    state = reply.at(catalogue.state(), str(refused))
    try:
        done = _revision(catalogue, asked.names.get("revision"), state.revision)
    except (InputError, NotOnFileError) as error:
        told = faults_of(error.at("revision"))
        return faulty_page("load.html", request, _Shown(refused, told=told).context, 404)
    return reply.give_page(render("load.html", asked, _Shown(refused, done=done).context))


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
    with read_session(catalogue.engine) as connection:
        at_revision = revision_as_of(connection, int(number))
        listed, total = read_revisions(connection, at_revision, limit=1, offset=0)
    return next(iter(answers.revisions_answer(current, listed, total, 1).revisions), None)


def _answer(request: Request, catalogue: Catalogue, shelf: Shelf, form: FormData) -> Response:
    """What a form is answered with; what was typed comes back with whatever is wrong."""
    typed = {name: _typed(form, name) for name in _TYPED}
    try:
        taking = _Taking(request, catalogue, shelf, typed, *_said(form))
        if form.get("action") == "commit":
            return taking.commit(_typed(form, "checked"), _expected(form))
        upload = the_file(form, _CHOOSE, _FIELDS)
        return taking.check(str(upload.filename), upload.file)
    except InputError as error:
        return _page(request, _Shown(typed=typed, told=faults_of(error)), 422)


def _typed(form: FormData, name: str) -> str:
    text = form.get(name, "")
    return text.strip() if isinstance(text, str) else ""


def _said(form: FormData) -> tuple[str, str | None]:
    """Who takes the file in, and why, which may be left open.

    Raises QuestionError that names what cannot be kept, and a file that is missing with it.
    """
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
    return _typed(form, "actor"), _typed(form, "reason") or None


def _expected(form: FormData) -> int:
    text = _typed(form, "expected_revision")
    if not text.isdecimal() or len(text) > _LONGEST_REVISION_DIGITS:
        message = "It is not said which revision the file was checked with."
        raise QuestionError(message, field="expected_revision", remedy="Check the file again.")
    return int(text)


@dataclass(frozen=True)
class _Taking:
    """A file being taken in: by whom and why, and what the page tells of it."""

    request: Request
    catalogue: Catalogue
    shelf: Shelf
    typed: Mapping[str, str]
    actor: str
    reason: str | None

    def check(self, name: str, file: BinaryIO, moved: str | None = None) -> Response:
        """Every fault of the file, or what taking it in would do; ``moved`` says that it had been checked before."""
        try:
            report = self._import(name, file, dry_run=True)
        except ImportRefusedError as error:
            told = error.faults[:-1] if error.not_listed else error.faults
            faulty = _Faulty(name, told[:FAULTS_LISTED], len(told) + error.not_listed)
            return _page(self.request, _Shown(typed=self.typed, moved=moved, faulty=faulty), 409 if moved else 422)
        checked = _Checked(self.shelf.put(name, file), name, self._reason(name), report)
        return _page(self.request, _Shown(typed=self.typed, moved=moved, checked=checked), 409 if moved else 200)

    def commit(self, token: str, expected_revision: int) -> Response:
        """Leads to the revision that was written; checks again where the catalogue has moved on. Raises QuestionError
        where the file is not kept any more."""
        kept = self.shelf.take(token)
        if kept is None:
            raise QuestionError(
                "The file that was checked is not kept here any more.", field=FILE,
                remedy=f"Choose it again and check it once more: a checked file is kept for {KEPT_S // 60} minutes.",
            )  # fmt: skip
        name, file = kept
        with file:
            try:
                report = self._import(name, file, expected_revision=expected_revision)
            except RevisionMovedError as error:
                return self.check(name, file, moved=error.message)
        if report.revision is None:
            return _page(self.request, _Shown(typed=self.typed, checked=_Checked(token, name, "", report)))
        self.catalogue.load_ahead()
        # An answer to be fetched anew: who loads it again takes nothing in.
        return RedirectResponse(f"{LOADING}?revision={report.revision}", 303, {"Cache-Control": "no-store"})

    def _import(
        self, name: str, file: BinaryIO, *, dry_run: bool = False, expected_revision: int | None = None
    ) -> ImportReport:
        return import_upload(
            self.catalogue.engine, name, file, actor=self.actor, reason=self._reason(name), dry_run=dry_run,
            expected_revision=expected_revision,
        )  # fmt: skip

    def _reason(self, name: str) -> str:
        return self.reason or f"import of {shown(name)}"
