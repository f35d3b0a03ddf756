"""The page for many lines at once: a file or pasted rows in, a workbook, CSV or a table on the page out."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import BinaryIO, Literal, cast, get_args

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
from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer, verdict_by_proof, verdict_of
from specdb.answers.decisions import CandidateShown
from specdb.answers.requests import BeyondTestsShown, RequestShown
from specdb.cross_checks.for_all import MODES, CrossCheck, read_common, read_cross_check_file
from specdb.cross_checks.lines import CANDIDATES, MOST_CANDIDATES, MOST_LINES
from specdb.cross_checks.remarks import Remarks, notes_told
from specdb.cross_checks.running import Mode
from specdb.cross_checks.tabbed import tabbed
from specdb.cross_checks.workbook_sheets import REQUESTS
from specdb.errors import InputError, NotOnFileError, QuestionError
from specdb.units import UnitSystem

router = APIRouter(include_in_schema=False)

LINES_SHOWN = 100
"""Lines that are answered on the page; a file has them all."""
BYTES_SHOWN = 100_000
BYTES_AROUND = 250
"""Of what stands about the texts of a line, of a fault and of a candidate."""
LINES_KEPT = 200
BYTES_KEPT = 100_000
"""Of a file that is answered on the page: up to so much of it stands there to be mended and sent again."""
LINKS_OPEN = 12
"""Lines of a group that are named without being asked for."""
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
    """A candidate with its verdict on all criteria, ``by_proof`` alone where that is another, how many it meets, the
    titles of what is missed and not shown, what to ask its maker for, and where all of it is told."""

    shown: CandidateShown
    verdict: str
    by_proof: str
    met: int
    missed: str
    unshown: str
    asks: Sequence[str]
    address: str


@dataclass(frozen=True)
class LineTold:
    """A line with its candidates and notes; ``address`` is where the same is asked alone."""

    answer: LineAnswer
    address: str
    candidates: Sequence[CandidateTold]
    notes: Sequence[str]

    @property
    def group(self) -> str:
        """The best verdict of its candidates: "meets", "not_shown" or "misses"; "nothing" where it has none."""
        verdicts = {each.verdict for each in self.candidates}
        return next((verdict for verdict in ("meets", "not_shown", "misses") if verdict in verdicts), "nothing")


@dataclass(frozen=True)
class Group:
    """Lines that came out alike."""

    name: str
    lines: Sequence[LineAnswer]

    @property
    def is_open(self) -> bool:
        return len(self.lines) <= LINKS_OPEN


@dataclass(frozen=True)
class Answered:
    """What the page tells: the first lines, those of them with faults, how many there are in all, and what is said of
    those that are answered. ``kept`` are the lines as they can be sent again, None where they stand here no more."""

    head: CrossCheckAnswer
    lines: Sequence[LineTold]
    faulty: Sequence[LineAnswer]
    total: int
    remarks: Remarks
    kept: str | None

    @property
    def shown(self) -> int:
        return len(self.lines) + len(self.faulty)

    @property
    def groups(self) -> list[Group]:
        """The lines by the best verdict of their candidates, and those with faults."""
        names = ("meets", "not_shown", "misses", "nothing")
        found = [Group(name, [line.answer for line in self.lines if line.group == name]) for name in names]
        return [group for group in (*found, Group("faulty", self.faulty)) if group.lines]

    @property
    def meeting(self) -> str:
        """How many lines have a candidate that meets all that is asked, in words."""
        meets, what = [line for line in self.lines if line.group == "meets"], "a candidate that meets all that is asked"
        if len(self.lines) == 1:
            told = f"It has {what}" if meets else f"It has no{what.removeprefix('a')}"
        else:
            share = {
                0: "None of those answered has",
                1: "One of those answered has",
                len(self.lines): "Each of them has",
            }
            told = f"{share.get(len(meets), f'{len(meets)} of those answered have')} {what}"
        by_proof = sum(any(each.verdict == "meets" and not each.by_proof for each in line.candidates) for line in meets)
        if by_proof < len(meets):
            told += ", not by proof alone" if len(meets) == 1 else f", {by_proof or 'none'} of them by proof alone"
        return f"{told}."

    @property
    def leaves_open(self) -> bool:
        return any(candidate.asks for line in self.lines for candidate in line.candidates)


@dataclass(frozen=True)
class _Shown:
    """What the page shows: what was typed, the name of a file that was chosen, what is wrong, and the answer."""

    typed: Mapping[str, str] = field(default_factory=dict)
    told: Sequence[Told] = ()
    answered: Answered | None = None
    file: str = ""

    @property
    def context(self) -> dict[str, object]:
        return {
            "page": self,
            "typed": {PASTED: "", **_UNTYPED, **self.typed},
            "most_candidates": MOST_CANDIDATES,
            "most_lines": MOST_LINES,
            "most_mib": UPLOAD_BYTES >> 20,
            "requests_sheet": REQUESTS.name,
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
            told = await run_in_threadpool(lambda: _told(catalogue, source, common, mode, units))
        finally:
            place.give_back()
        shown = _Shown({**typed, PASTED: told.kept or ""}, answered=told, file=source.name)
        page = render("cross_check.html", Asked.of(request), shown.context)
        return Response(page, headers={**PAGE_HEADERS, "Cache-Control": "no-store"}, media_type="text/html")
    how = HowAnswered(wanted, "summary", units, mode)
    headers = {**kept_as(wanted), "Cache-Control": "no-store"}
    return await answered(request, catalogue, lambda: source.read(common, mode), how, headers, _BYTE_ORDER_MARK)


def _one_of(name: str, text: str, words: Sequence[str]) -> str:
    if text not in words:
        remedy = f"One of {', '.join(words)}."
        raise QuestionError("This is none of the choices.", value=text, field=name, remedy=remedy)
    return text


@dataclass(frozen=True)
class _Source:
    """Where the lines come from: a file of this name, or with none what was pasted."""

    name: str
    file: BinaryIO

    def read(self, common: Mapping[str, str], mode: Mode) -> CrossCheck:
        """The lines; what the form says for all of them goes before what a file says."""
        asked = read_cross_check_file(self.name or "pasted lines", self.file)
        return asked.said_anew(common, None if mode == "each" else mode)

    def kept(self, asked: CrossCheck) -> str | None:
        """The lines as they can be pasted: the text that came, or what stood in the cells of a small workbook."""
        self.file.seek(0)
        came = self.file.read(BYTES_KEPT + 1)
        if not self.name:
            return (came + self.file.read()).decode()
        if len(asked.lines.lines) > LINES_KEPT:
            return None
        try:
            text = came.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = None
        if text is None or "\0" in text:
            text = tabbed(asked.lines.lines)
        return text if text is not None and len(text.encode()) <= BYTES_KEPT else None


def _source(form: FormData, typed: Mapping[str, str]) -> _Source:
    """The file that was chosen, or else what was pasted. Raises QuestionError where there is neither, or both."""
    chosen = [part for part in form.getlist(FILE) if isinstance(part, UploadFile) and part.filename]
    pasted = typed.get(PASTED, "")
    if pasted.strip() and chosen:
        raise QuestionError("A file was chosen, and lines were pasted.", field=FILE, remedy="Send one of them.")
    if pasted.strip():
        return _Source("", io.BytesIO(pasted.encode()))
    if not chosen:
        raise QuestionError("No lines were sent.", field=FILE, remedy=_CHOOSE)
    upload = the_file(form, _CHOOSE, _ALONE)
    return _Source(str(upload.filename), upload.file)


def _told(catalogue: Catalogue, source: _Source, common: Mapping[str, str], mode: Mode, units: UnitSystem) -> Answered:
    """The first lines answered, as many as the page holds."""
    asked = source.read(common, mode)
    all_lines = asked.lines.lines
    first = replace(asked, lines=replace(asked.lines, lines=all_lines[:LINES_SHOWN]))
    work = begun(catalogue, first, HowAnswered("json", "summary", units, mode))
    remarks = Remarks()
    lines: list[LineTold] = []
    faulty: list[LineAnswer] = []
    weight = 0
    for told in work.answers:
        line = _line(told, units)
        weight += _weight_bytes(line)
        if weight > BYTES_SHOWN and (lines or faulty):
            break
        remarks.take(told)
        if told.problem is None:
            lines.append(line)
        else:
            faulty.append(told)
    return Answered(work.head, lines, faulty, len(all_lines), remarks, source.kept(asked))


def _weight_bytes(line: LineTold) -> int:
    """About how much a line weighs on the page."""
    faults = [] if line.answer.problem is None else line.answer.problem.errors
    texts = [*(fault.model_dump_json() for fault in faults), line.address, line.answer.line, line.answer.line]
    texts += line.notes
    for each in line.candidates:
        texts += [each.address, each.shown.sentence, *each.shown.cautions, each.missed, each.unshown, *each.asks]
    with_more = sum(bool(each.missed or each.unshown) for each in line.candidates)
    around = BYTES_AROUND * (1 + len(faults) + len(line.candidates) + with_more)
    return around + sum(len(escape(text).encode()) for text in texts)


def _line(told: LineAnswer, units: UnitSystem) -> LineTold:
    alone = "/side-by-side" if told.mode == "judged" else "/replace"
    question = Asked(alone, {"assumptions": "none", **told.asked, "units": units})
    candidates = [_candidate(told, each, question) for each in told.candidates]
    return LineTold(told, question.address(), candidates, notes_told(told))


def _candidate(told: LineAnswer, shown: CandidateShown, question: Asked) -> CandidateTold:
    titles = {each.id: each.title for each in told.requirements}
    own = shown.element.element_id
    asked_for: list[RequestShown | BeyondTestsShown] = [*told.requests, *told.beyond_tests]
    asks = [each.words for each in asked_for if any(one.element_id == own for one in each.candidates)]
    return CandidateTold(
        shown,
        verdict_of(shown),
        "" if (by_proof := verdict_by_proof(shown)) == verdict_of(shown) else by_proof,
        sum(criterion.verdict == "meets" and not criterion.advisory for criterion in shown.criteria),
        _titles(shown.misses, titles),
        _titles(shown.not_shown, titles),
        asks,
        question.address(f"/elements/{own}", without=("limit",)),
    )


def _titles(requirements: Sequence[str], titles: Mapping[str, str]) -> str:
    """Each title once, with how many requirements it is that of where they are several."""
    counts = Counter(titles[each] for each in requirements)
    return ", ".join(title if count == 1 else f"{title} ({count})" for title, count in counts.items())
