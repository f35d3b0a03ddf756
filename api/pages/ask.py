"""The page of what to ask makers for: the tests that would settle what is not shown, and a letter to each maker."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from api.pages.addresses import SHEET_NAMES, Asked
from api.pages.failing import faults_of, faulty_page
from api.pages.site import render
from api.problems import status_of
from api.question import Shown, address_of
from api.representation import PageReplyNeeded, Reply
from api.store import Catalogue, CatalogueNeeded
from specdb import answers
from specdb.answers.requests import UnsettledShown
from specdb.bounds import MISSES
from specdb.catalog.snapshot import Snapshot
from specdb.duty.dotted import comparison_of, faults_as_typed, question_of
from specdb.errors import InputError, NotOnFileError, SpecdbError
from specdb.ranking import Ranking, compare, rank

LIMITS = (10, 20, 50)
"""How many candidates are asked about: the first where the address says nothing, the others by a click."""

_OWN_NAMES = ("units", *SHEET_NAMES)
_NOT_COMPARED = ("limit", "include_without_evidence")
"""Names of a question that say how much to list, which elements that are named say themselves."""
_ASKS_NOTHING = ("assumptions", "as_of", "include_windows", *_NOT_COMPARED)

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class Looked:
    """One element that is asked about; ``open`` counts what is not shown of it, ``missed`` are titles of what it misses
    already, whatever its maker may answer."""

    rank: int | None
    element_id: str
    maker: str
    number: str
    is_original: bool
    open: int
    missed: tuple[str, ...]


@dataclass(frozen=True)
class Told:
    """What the page tells: the answer, the elements looked at by their ids, how many candidates there are, how many
    elements have nothing on file, and where the same list is as a table, None where elements are named or that address
    would be too long."""

    answer: answers.RequestsAnswer
    looked: dict[str, Looked]
    candidates: int
    without_evidence: int
    table: str | None

    @property
    def required(self) -> dict[str, str]:
        """Each requirement in words, by its id."""
        return {each.id: each.words for each in self.answer.requirements}

    @property
    def best(self) -> int:
        """Candidates looked at."""
        return sum(one.rank is not None for one in self.looked.values())

    @property
    def unranked(self) -> int:
        """Elements looked at with nothing on file."""
        return sum(one.rank is None and not one.is_original for one in self.looked.values())

    @staticmethod
    def alike(unsettled: Sequence[UnsettledShown]) -> list[list[UnsettledShown]]:
        """Elements of which the same is to be told, together."""
        found: dict[tuple[str, ...], list[UnsettledShown]] = {}
        for one in unsettled:
            found.setdefault((one.explanation, *one.lacks, *one.documents), []).append(one)
        return list(found.values())

    @property
    def more(self) -> int | None:
        """How many candidates to ask about next, None where there are no more, or would be too many."""
        return next((most for most in LIMITS if self.best < min(most, self.candidates)), None)


@router.get("/ask")
def ask(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    """What makers can settle of the best candidates, or of the elements that the address names."""
    asked = Asked.of(request)
    if all(name in _ASKS_NOTHING for name in asked.question):
        reply.at()
        return reply.give_page(render("ask.html", asked, _context(asked)))
    if (changes := _to_be_whole(asked)) != {}:
        return RedirectResponse(asked.address(changes={**asked.names, **changes}), 303)
    try:
        with faults_as_typed(asked.question):
            told = _told(catalogue, asked, reply)
    except (InputError, NotOnFileError) as error:
        near = _near_originals(catalogue, asked, error)
        return faulty_page("ask.html", request, _context(asked, error=error, near=near), status_of(type(error)))
    return reply.give_page(render("ask.html", asked, _context(asked, told)))


def _context(
    asked: Asked,
    told: Told | None = None,
    error: SpecdbError | None = None,
    near: Sequence[tuple[str, str]] = (),
) -> dict[str, object]:
    faults = faults_of(error) if error else []
    return {"told": told, "faults": faults, "near": near, "names_elements": _names_elements(asked)}


def _names_elements(asked: Asked) -> bool:
    return any(name.startswith("elements.") for name in asked.names)


def _to_be_whole(asked: Asked) -> dict[str, str | int | None]:
    """What the address must state, or leave out, to hold the whole question."""
    changes: dict[str, str | int | None] = {}
    if "assumptions" not in asked.names:
        changes["assumptions"] = "customary"
    if _names_elements(asked):
        changes |= {name: None for name in _NOT_COMPARED if name in asked.names}
    elif "limit" not in asked.names:
        changes["limit"] = LIMITS[0]
    return changes


def _told(catalogue: Catalogue, asked: Asked, reply: Reply) -> Told:
    """Raises as :func:`specdb.ranking.rank` and :func:`specdb.ranking.compare`."""
    places: dict[int, int | None]
    if _names_elements(asked):
        comparison = comparison_of(asked.question, _OWN_NAMES)
        compared = compare(comparison, _snapshot(catalogue, reply, comparison.as_of))
        ranking, table = compared.ranking, None
        places = dict(zip(compared.rows, compared.places, strict=True))
    else:
        question = question_of(asked.question, _OWN_NAMES)
        ranking = rank(question, _snapshot(catalogue, reply, question.as_of))
        places = answers.listed_places(ranking, question.limit, question.include_without_evidence)
        table = address_of("/v1/test-requests.csv", question, Shown(units=asked.units)).get("canonical")
    if ranking.duty.original is not None:
        places.setdefault(ranking.duty.original, None)  # what is stated beside it may not be shown of it either
    answer = answers.requests_about(ranking, places, asked.units)
    looked = {one.element_id: one for one in _looked(ranking, places, answer)}
    return Told(answer, looked, len(ranking.candidates), len(ranking.without_evidence), table)


def _snapshot(catalogue: Catalogue, reply: Reply, as_of: str | None) -> Snapshot:
    return catalogue.snapshot(reply.at(catalogue.state(as_of)).revision)


def _looked(ranking: Ranking, places: Mapping[int, int | None], answer: answers.RequestsAnswer) -> Iterator[Looked]:
    elements = ranking.snapshot.elements
    unsettled = [one.element_id for each in answer.requests for one in each.candidates]
    unsettled += [one.element_id for each in answer.beyond_tests for one in each.candidates]
    titles = {each.id: each.title for each in answer.requirements}
    for row, place in places.items():
        missed = (j.requirement for j in ranking.judged if j.requirement.counts and j.verdict[row] == MISSES)
        yield Looked(
            rank=place,
            element_id=str(elements.element_id[row]),
            maker=str(elements.maker[row]),
            number=str(elements.number[row]),
            is_original=row == ranking.duty.original,
            open=unsettled.count(elements.element_id[row]),
            missed=tuple(dict.fromkeys(titles[requirement.id] for requirement in missed)),
        )


def _near_originals(catalogue: Catalogue, asked: Asked, error: SpecdbError) -> list[tuple[str, str]]:
    """Makers and numbers on file that may have been meant where the original is not on file."""
    told = [fault for fault in error.faults or (error,) if isinstance(fault, NotOnFileError)]
    unknown = next((fault for fault in told if fault.field == "original.number"), None)
    if unknown is None:
        return []
    numbers = catalogue.snapshot(catalogue.state(asked.names.get("as_of")).revision).numbers
    hits = numbers.near_number(asked.names["original.number"], asked.names.get("original.maker"))
    on_file = ((hit.entry.maker, hit.entry.number) for hit in hits if not hit.entry.claim)
    return list(dict.fromkeys((*unknown.instead, *on_file)))
