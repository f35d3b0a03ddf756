"""The page for many lines at once: a file or pasted rows in, a workbook, CSV or a table on the page out."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, cast, get_args

from fastapi import APIRouter, HTTPException, Request, Response
from markupsafe import escape
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from api.admission import CROSS_CHECKING, UPLOAD_BYTES
from api.cross_checking import HowAnswered, answered, begun, kept_as
from api.long_work import RETRY_AFTER_S, Place
from api.pages.addresses import Asked
from api.pages.failing import Told, faults_of, faulty_page
from api.pages.site import PAGE_HEADERS, render
from api.representation import PageReplyNeeded
from api.store import Catalogue, CatalogueNeeded
from api.uploads import FILE, BrokenFormError, is_of_other_origin, read_form, the_file
from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer, verdict_of
from specdb.answers.decisions import CandidateShown
from specdb.cross_checks.for_all import MODES, CrossCheck, read_common
from specdb.cross_checks.lines import CANDIDATES, MOST_CANDIDATES, MOST_LINES, LinesRead
from specdb.cross_checks.reading import read_lines
from specdb.cross_checks.running import Mode
from specdb.errors import InputError, NotOnFileError, QuestionError
from specdb.units import UnitSystem

router = APIRouter(include_in_schema=False)

LINES_SHOWN = 100
"""Lines that are answered on the page; a file has them all."""
BYTES_SHOWN = 100_000
BYTES_AROUND = 300
"""Of what stands about the texts of a line, of a fault and of a candidate."""
PASTED = "pasted"
_BYTE_ORDER_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"
"""By which a spreadsheet program knows a CSV file for UTF-8."""
_CHOOSE = "Choose one workbook or CSV file, or paste the lines."
_ALONE = ("units", "mode", "limit", "assumptions", "answer", PASTED)
_UNTYPED = {"mode": "each", "limit": str(CANDIDATES), "assumptions": "customary"}
Wanted = Literal["xlsx", "csv", "page"]
_ASSUMING = ("customary", "none")
"""What a click above the answers says: the same once more, with other assumptions."""


@dataclass(frozen=True)
class CandidateTold:
    """A candidate, its verdict on all criteria, what is missed and not shown, and where all of it is told."""

    shown: CandidateShown
    verdict: str
    met: int
    address: str


@dataclass(frozen=True)
class LineTold:
    """A line with its candidates; ``address`` is where the same is asked alone."""

    answer: LineAnswer
    address: str
    candidates: Sequence[CandidateTold]


@dataclass(frozen=True)
class Answered:
    """What the page tells: the first lines, those of them with faults, and how many there are in all."""

    head: CrossCheckAnswer
    lines: Sequence[LineTold]
    faulty: Sequence[LineAnswer]
    total: int

    @property
    def shown(self) -> int:
        return len(self.lines) + len(self.faulty)

    @property
    def meeting(self) -> int:
        """Lines of which a candidate meets all that is asked."""
        return sum(any(each.verdict == "meets" for each in line.candidates) for line in self.lines)

    @property
    def assumptions(self) -> dict[str, str]:
        """What the verdicts of any of the lines rest on, in words."""
        return {name: words for line in self.lines for name, words in line.answer.assumptions.items()}


@dataclass(frozen=True)
class _Shown:
    """What the page shows: what was typed, what is wrong with it, and the answer."""

    typed: Mapping[str, str] = field(default_factory=dict)
    told: Sequence[Told] = ()
    answered: Answered | None = None

    @property
    def context(self) -> dict[str, object]:
        return {
            "page": self,
            "typed": {PASTED: "", **_UNTYPED, **self.typed},
            "most_candidates": MOST_CANDIDATES,
            "most_lines": MOST_LINES,
            "most_mib": UPLOAD_BYTES >> 20,
        }


@router.get(CROSS_CHECKING)
def cross_check(request: Request, reply: PageReplyNeeded) -> Response:
    reply.at()
    return reply.give_page(render("cross_check.html", Asked.of(request), _Shown().context))


@router.post(CROSS_CHECKING)
async def answer(catalogue: CatalogueNeeded, request: Request) -> Response:
    if is_of_other_origin(request):
        told = Told(None, "This form was sent by a page of another site.", "Send the lines from this page.")
        return _page(request, _Shown(told=[told]), 403)
    try:
        form = await read_form(request)
    except BrokenFormError as error:
        told = Told(FILE, error.message, "Choose the file again, or save what was pasted as a file, and send that.")
        return _page(request, _Shown({n: t for n, t in error.texts.items() if n in _ALONE}, [told]), 400)
    typed = {name: text for name in _ALONE if isinstance(text := form.get(name), str)}
    if typed.get("answer") in _ASSUMING:
        typed |= {"assumptions": typed["answer"], "answer": "page"}
    try:
        return await _answer(request, catalogue, form, typed)
    except (InputError, NotOnFileError) as error:
        return _page(request, _Shown(typed, faults_of(error)), 422)
    except HTTPException as error:
        if error.status_code != 503:
            raise
        busy = Told(None, "Other lines are being answered just now.", f"Send it again in {RETRY_AFTER_S} seconds.")
        return _page(request, _Shown(typed, [busy]), 503)
    finally:
        await form.close()


def _page(request: Request, shown: _Shown, status: int) -> Response:
    return faulty_page("cross_check.html", request, shown.context, status)


async def _answer(request: Request, catalogue: Catalogue, form: FormData, typed: Mapping[str, str]) -> Response:
    """Raises InputError and NotOnFileError for what was typed and for lines that cannot be read as a whole."""
    wanted = cast(Wanted, _one_of("answer", typed.get("answer", "xlsx"), get_args(Wanted)))
    mode = cast(Mode, _one_of("mode", typed.get("mode", "each"), MODES))
    units = cast(UnitSystem, _one_of("units", typed.get("units", "si"), get_args(UnitSystem)))
    common = read_common({name: typed.get(name, "").strip() for name in ("limit", "assumptions")})
    source = _source(form, typed)
    if wanted == "page":
        place: Place = request.app.state.long_work.take()
        try:
            told = await run_in_threadpool(lambda: _told(catalogue, CrossCheck(source(), common), mode, units))
        finally:
            place.give_back()
        page = render("cross_check.html", Asked.of(request), _Shown(typed, answered=told).context)
        return Response(page, headers={**PAGE_HEADERS, "Cache-Control": "no-store"}, media_type="text/html")
    how = HowAnswered(wanted, "summary", units, mode)
    headers = {**kept_as(wanted), "Cache-Control": "no-store"}
    return await answered(request, catalogue, lambda: CrossCheck(source(), common), how, headers, _BYTE_ORDER_MARK)


def _one_of(name: str, text: str, words: Sequence[str]) -> str:
    if text not in words:
        remedy = f"One of {', '.join(words)}."
        raise QuestionError("This is none of the choices.", value=text, field=name, remedy=remedy)
    return text


def _source(form: FormData, typed: Mapping[str, str]) -> Callable[[], LinesRead]:
    """What reads the lines: the file that was chosen, or else what was pasted. Raises QuestionError where there is
    neither, or both."""
    chosen = [part for part in form.getlist(FILE) if isinstance(part, UploadFile) and part.filename]
    pasted = typed.get(PASTED, "")
    if pasted.strip() and chosen:
        raise QuestionError("A file was chosen, and lines were pasted.", field=FILE, remedy="Send one of them.")
    if pasted.strip():
        return lambda: read_lines("pasted lines", io.BytesIO(pasted.encode()))
    if not chosen:
        raise QuestionError("No lines were sent.", field=FILE, remedy=_CHOOSE)
    upload = the_file(form, _CHOOSE, _ALONE)
    return lambda: read_lines(str(upload.filename), upload.file)


def _told(catalogue: Catalogue, asked: CrossCheck, mode: Mode, units: UnitSystem) -> Answered:
    """The first lines answered, as many as the page holds."""
    total = len(asked.lines.lines)
    first = CrossCheck(LinesRead(asked.lines.lines[:LINES_SHOWN], asked.lines.notes), asked.common)
    work = begun(catalogue, first, HowAnswered("json", "summary", units, mode))
    lines: list[LineTold] = []
    faulty: list[LineAnswer] = []
    weight = 0
    for told in work.answers:
        line = _line(told, units)
        weight += _weight_bytes(line)
        if weight > BYTES_SHOWN and (lines or faulty):
            break
        if told.problem is None:
            lines.append(line)
        else:
            faulty.append(told)
    return Answered(work.head, lines, faulty, total)


def _weight_bytes(line: LineTold) -> int:
    """About how much a line weighs on the page."""
    faults = [] if line.answer.problem is None else line.answer.problem.errors
    texts = [fault.model_dump_json() for fault in faults] + [line.address, line.answer.line]
    for each in line.candidates:
        texts += [each.address, each.shown.sentence, *each.shown.cautions]
    around = BYTES_AROUND * (1 + len(faults) + len(line.candidates))
    return around + sum(len(escape(text).encode()) for text in texts)


def _line(told: LineAnswer, units: UnitSystem) -> LineTold:
    asked = {**told.asked, "units": units}
    alone = "/side-by-side" if told.mode == "judged" else "/replace"
    question = Asked(alone, {"assumptions": "none", **asked})
    candidates = [
        CandidateTold(
            each,
            verdict_of(each),
            sum(criterion.verdict == "meets" and not criterion.advisory for criterion in each.criteria),
            question.address(f"/elements/{each.element.element_id}", without=("limit",)),
        )
        for each in told.candidates
    ]
    return LineTold(told, question.address(), candidates)
