"""The page of what to ask makers for: the tests that would settle what is not shown, and a letter to each maker."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Response
from fastapi import Request as HttpRequest
from fastapi.responses import RedirectResponse

from api.pages.addresses import SHEET_NAMES, Asked
from api.pages.failing import faults_of, faulty_page
from api.pages.meant import Meant, elements_meant, told_above
from api.pages.site import render
from api.problems import status_of
from api.question import Shown, address_of
from api.representation import PageReplyNeeded, Reply
from api.store import Catalogue, CatalogueNeeded
from specdb import answers
from specdb.advice.asking import Document, Request, Unsettled, places_asked, requests, results_words, run_words
from specdb.advice.gaps import Gaps, asked_of_makers, gaps
from specdb.advice.letters import Letter, gap_letters, place_on_curve
from specdb.answers.decisions import RequirementShown
from specdb.answers.requests import UnsettledShown
from specdb.bounds import MISSES
from specdb.catalog.snapshot import Snapshot
from specdb.duty import Requirement
from specdb.duty.dotted import comparison_of, faults_as_typed, question_of
from specdb.duty.rules import RULES
from specdb.errors import InputError, NotOnFileError, SpecdbError
from specdb.ranking import Ranking, compare, rank
from specdb.sheet.duty import FIELD_WORDS
from specdb.units import UnitSystem
from specdb.wording import LEANS, why_not_shown

LIMITS = (10, 20, 50)
"""How many candidates are asked about: the first where the address says nothing, the others by a click."""

_OWN_NAMES = ("units", *SHEET_NAMES)
_NOT_COMPARED = ("limit", "include_without_evidence")
"""Names of a question that say how much to list, which elements that are named say themselves."""
_ASKS_NOTHING = ("assumptions", "derive", "costs", "as_of", "include_windows", *_NOT_COMPARED)
"""Names, or groups of them, that require nothing of an element."""

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
class Open:
    """What is not shown of an element for one reason: where on the curves of the test, each with the way that the best
    estimate leans there, None where there is none; why, and what says so."""

    places: tuple[tuple[str, str | None], ...]
    why: str
    lacks: tuple[str, ...]
    documents: tuple[Document, ...]


@dataclass(frozen=True)
class RunAsked:
    """One test, or the maker's own statement, with all that is asked of it: in ``words``, what is ``required``, how
    many verdicts it ``settles``, and rows of its table: elements of which the same is told, and what is."""

    words: str
    required: Sequence[str]
    settles: int
    rows: Sequence[tuple[Sequence[Looked], Sequence[Open]]]

    @property
    def elements(self) -> int:
        return sum(len(alike) for alike, _ in self.rows)


@dataclass(frozen=True)
class Told:
    """What the page tells: the answer, its tests, each requirement in words by its id, the elements looked at by their
    ids, how many candidates there are, how many elements have nothing on file, and where the same list is as a table,
    None where elements are named or that address would be too long."""

    answer: answers.RequestsAnswer
    tests: Sequence[RunAsked]
    required: Mapping[str, str]
    looked: dict[str, Looked]
    candidates: int
    without_evidence: int
    table: str | None

    @property
    def unused(self) -> list[str]:
        """What is stated and used for nothing, in words."""
        return [FIELD_WORDS.get(name.removeprefix("duty."), name) for name in self.answer.unused]

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


@dataclass(frozen=True)
class ToldAlone:
    """What is asked where nothing is required: of elements that are named, what is missing on file; ``tests`` are in
    words with each result and the elements that lack it."""

    elements: Sequence[Looked]
    tests: Sequence[tuple[str, Sequence[tuple[str, Sequence[Looked]]]]]
    unstated: Sequence[tuple[Looked, Sequence[str]]]
    letters: Sequence[Letter]


@router.get("/ask")
def ask(catalogue: CatalogueNeeded, request: HttpRequest, reply: PageReplyNeeded) -> Response:
    """What makers can settle of the best candidates, or of the elements that the address names."""
    asked, is_alone = Asked.of(request), False
    if not _requires(asked):
        if not _names_elements(asked):
            reply.at()
            return reply.give_page(render("ask.html", asked, _context(asked)))
        is_alone = True
    elif (changes := _to_be_whole(asked)) != {}:
        return RedirectResponse(asked.address(changes={**asked.names, **changes}), 303)
    try:
        with faults_as_typed(asked.question):
            told = None if is_alone else _told(catalogue, asked, reply)
            alone = _alone(catalogue, asked, reply) if is_alone else None
    except (InputError, NotOnFileError) as error:
        near = _near_originals(catalogue, asked, error)
        return faulty_page("ask.html", request, _context(asked, error=error, near=near), status_of(type(error)))
    return reply.give_page(render("ask.html", asked, _context(asked, told, alone) | _read(catalogue, asked)))


def _context(
    asked: Asked,
    told: Told | None = None,
    alone: ToldAlone | None = None,
    error: SpecdbError | None = None,
    near: Sequence[Meant] = (),
) -> dict[str, object]:
    faults = faults_of(error) if error else []
    faults = [told_above(each, near) if each.field == "original.number" else each for each in faults]
    return {
        "told": told,
        "alone": alone,
        "faults": faults,
        "near": near,
        "most": LIMITS[-1],
        "names_elements": _names_elements(asked),
        "revision": None,
        "latest": None,
    }


def _read(catalogue: Catalogue, asked: Asked) -> dict[str, int]:
    """The state that is read, and the present one."""
    return {"revision": catalogue.state(asked.names.get("as_of")).revision, "latest": catalogue.state().revision}


def _requires(asked: Asked) -> bool:
    """Whether the address requires anything of an element, or has names that are nobody's."""
    return any(name.partition(".")[0] not in (*_ASKS_NOTHING, "elements") for name in asked.question)


def _names_elements(asked: Asked) -> bool:
    return any(name.startswith("elements.") for name in asked.names)


def _to_be_whole(asked: Asked) -> dict[str, str | int | None]:
    """What the address must state, or leave out, to hold the whole question."""
    changes: dict[str, str | int | None] = {}
    if not asked.states_assumptions:
        changes["assumptions"] = "customary"
    if _names_elements(asked):
        changes |= {name: None for name in _NOT_COMPARED if name in asked.names}
    elif "limit" not in asked.names:
        changes["limit"] = LIMITS[0]
    elif re.fullmatch(r"\d{1,9}", asked.names["limit"]) and int(asked.names["limit"]) > LIMITS[-1]:
        changes["limit"] = LIMITS[-1]  # a page of more could not be read; the table has them
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
    required = {each.id: _required(each) for each in answer.requirements}
    found = requests(ranking, list(places)).by_test
    tests = _tests(ranking.snapshot, found, looked, required, asked.units)
    return Told(answer, tests, required, looked, len(ranking.candidates), len(ranking.without_evidence), table)


def _snapshot(catalogue: Catalogue, reply: Reply, as_of: str | None) -> Snapshot:
    return catalogue.snapshot(reply.at(catalogue.state(as_of), beside=catalogue.state().mark).revision)


def _required(requirement: RequirementShown) -> str:
    """What is required, in words, a rule by its title."""
    rule = RULES.get(requirement.rule or "")
    return requirement.words.replace(f"({rule.key})", f"({rule.title})") if rule else requirement.words


# --- tests, each with all that is asked of it -----------------------------------------------------


def _tests(
    snapshot: Snapshot,
    found: Iterable[Request],
    looked: Mapping[str, Looked],
    required: Mapping[str, str],
    units: UnitSystem,
) -> list[RunAsked]:
    """Requests that one test settles together, those first that settle most."""
    runs: dict[str, list[Request]] = {}
    for each in found:
        runs.setdefault(run_words(each.asked, units), []).append(each)
    for of in runs.values():
        of.sort(key=lambda each: place_on_curve(each.asked))
    tests = [
        RunAsked(
            f"{run}: {'; '.join(results_words((each.asked for each in of), units))}",
            list(dict.fromkeys(required[each.requirement.id] for each in of)),
            sum(len(each.unsettled) for each in of),
            _rows(snapshot, of, looked, units),
        )
        for run, of in runs.items()
    ]
    return sorted(tests, key=lambda test: -test.settles)


def _rows(
    snapshot: Snapshot, of: Sequence[Request], looked: Mapping[str, Looked], units: UnitSystem
) -> list[tuple[Sequence[Looked], Sequence[Open]]]:
    """What is open of each element, in the order of the elements; those of which the same is told together."""
    by_row: dict[int, list[tuple[Request, Unsettled]]] = {}
    for each in of:
        for one in each.unsettled:
            by_row.setdefault(one.row, []).append((each, one))
    together: dict[tuple[Open, ...], list[Looked]] = {}
    has_one_title = len({each.requirement.characteristic for each in of}) == 1
    place_of = {each: place for place, each in enumerate(looked)}
    ids = {row: str(snapshot.elements.element_id[row]) for row in by_row}
    for row in sorted(by_row, key=lambda row: place_of[ids[row]]):
        told = tuple(_open(snapshot, by_row[row], has_one_title, units))
        together.setdefault(told, []).append(looked[ids[row]])
    return [(alike, parts) for parts, alike in together.items()]


def _open(
    snapshot: Snapshot, of_row: Sequence[tuple[Request, Unsettled]], has_one_title: bool, units: UnitSystem
) -> Iterator[Open]:
    """What is open of one element, together what is so for one reason; where the test has one title, without it."""
    alike: dict[tuple[str, Unsettled], dict[str | None, list[Requirement]]] = {}
    for each, one in of_row:
        why, lean = why_not_shown(snapshot, each.judged, one.row, units), LEANS[int(each.judged.lean[one.row])]
        alike.setdefault((why, one), {}).setdefault(lean, []).append(each.asked)
    for (why, one), leaning in alike.items():
        told = [
            (place if has_one_title else f"{title} {place}".strip(), lean)
            for lean, asked in leaning.items()
            for title, place in places_asked(asked, units)
        ]
        yield Open(tuple(told), why, one.lacks, one.documents)


# --- where nothing is required ---------------------------------------------------------------------


def _alone(catalogue: Catalogue, asked: Asked, reply: Reply) -> ToldAlone:
    """Raises as :func:`specdb.ranking.compare`."""
    named = {name: text for name, text in asked.question.items() if name not in _NOT_COMPARED}
    comparison = comparison_of(named, _OWN_NAMES)
    compared = compare(comparison, _snapshot(catalogue, reply, comparison.as_of), may_be_empty=True)
    snapshot = compared.ranking.snapshot
    missing = {row: gaps(snapshot, row) for row in compared.rows}
    looked = {row: _named(snapshot, row, its) for row, its in missing.items()}
    return ToldAlone(
        elements=list(looked.values()),
        tests=[
            (run, [(result, [looked[row] for row in rows]) for result, rows in results.items()])
            for run, results in asked_of_makers(missing).items()
        ],
        unstated=[(looked[row], [each.words for each in its.unstated]) for row, its in missing.items() if its.unstated],
        letters=gap_letters(snapshot, missing),
    )


def _named(snapshot: Snapshot, row: int, its: Gaps) -> Looked:
    elements, lacking = snapshot.elements, len(its.characteristics) + len(its.attributes) + len(its.unstated)
    return Looked(
        None, str(elements.element_id[row]), str(elements.maker[row]), str(elements.number[row]), False, lacking, ()
    )


# --- the elements ----------------------------------------------------------------------------------


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


def _near_originals(catalogue: Catalogue, asked: Asked, error: SpecdbError) -> list[Meant]:
    """Elements on file that may be meant where the original is not on file."""
    told = error.faults or (error,)
    if not any(isinstance(fault, NotOnFileError) and fault.field == "original.number" for fault in told):
        return []
    state = catalogue.state(asked.names.get("as_of"))
    return elements_meant(asked, "original", catalogue.snapshot(state.revision))
