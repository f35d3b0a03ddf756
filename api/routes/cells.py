"""One cell of a sheet: short plain texts for a spreadsheet's web function."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Annotated, Any, cast

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.responses import PlainTextResponse
from typing_extensions import override

from api.admission import FORM_IN_ADDRESS
from api.cells import NO, YES, cell, problem_cell
from api.problems import documented, of_error
from api.representation import NotModified, Reply
from api.store import Catalogue, CatalogueNeeded
from specdb.answers import cells
from specdb.catalog.reading import read_element
from specdb.catalog.store import read_session
from specdb.cross_checks.lines import MOST_CANDIDATES
from specdb.duty.conditions import Faults
from specdb.duty.dotted import comparison_names, comparison_of, dotted_names, faults_as_typed, question_of
from specdb.duty.question import UNIT_AT_MOST
from specdb.duty.resolve import find_rows
from specdb.errors import InputError, NotOnFileError
from specdb.ranking import compare
from specdb.units import UnitSystem

router = APIRouter(prefix="/v1/cells", tags=["cells"])

Parameters = Mapping[str, tuple[str, dict[str, Any]]]
"""Name in the address: what it is, and the schema of its text."""

_SYSTEMS = ("si", "us")


def _text(at_most: int = 200) -> dict[str, Any]:
    return {"type": "string", "maxLength": at_most}


def _one_of(*words: str) -> dict[str, Any]:
    return {"type": "string", "enum": [*words, ""]}


HOW: Parameters = {
    "units": ("units of what is told", _one_of(*_SYSTEMS)),
    "ascii": ("yes: ASCII alone", _one_of(*YES, *NO)),
    "detail": ("yes: behind a short word what is wrong and what would be right", _one_of(*YES, *NO)),
}
"""What every cell takes beside its own names."""

_PLACE = {"anyOf": [{"type": "integer", "minimum": 1, "maximum": MOST_CANDIDATES}, {"type": "string", "maxLength": 0}]}


def _dotted(names: Mapping[str, str]) -> Parameters:
    fields = {**dotted_names(), **comparison_names()}
    return {name: (told, dict(fields[name].schema) if name in fields else _text()) for name, told in names.items()}


OF_VERDICT: Parameters = {**_dotted(cells.verdict_names()), **HOW}
OF_BEST: Parameters = {
    "place": ("place in the ranking, 1 for the best", _PLACE),
    "give": ("what is told of the candidate, by default its maker and number", _one_of(*cells.GIVES)),
    **_dotted(cells.best_names()),
    **HOW,
}
OF_RATING: Parameters = {
    **_dotted(cells.rating_names()),
    "unit": ("unit of the value, by default that of the system of units", _text(UNIT_AT_MOST)),
    "bare": ("yes: the number alone, also where the value is a bound", _one_of(*YES, *NO)),
    **HOW,
}


def _described(known: Parameters) -> dict[str, Any]:
    told = [
        {"name": name, "in": "query", "required": False, "schema": schema, "description": what}
        for name, (what, schema) in known.items()
    ]
    return {"parameters": told}


class _Cell(Reply):
    """A cell in the making: plain text, whatever the caller would rather have."""

    def __init__(self, request: Request):
        super().__init__(request, ("text",))
        self._query = request.query_params

    @override
    def _settle(self, forms: tuple[str, ...]) -> str:
        if self._request.scope.get(FORM_IN_ADDRESS):
            raise HTTPException(404)
        return forms[0]

    @property
    def stated(self) -> dict[str, str]:
        """What the address states, but for how it is to be told."""
        return {name: cells.text_of_cell(text) for name, text in self._query.items() if name not in HOW}

    @property
    def units(self) -> UnitSystem:
        return cast(UnitSystem, cells.choice(self._query, "units", _SYSTEMS, "si"))

    def is_said(self, name: str) -> bool:
        """Raises QuestionError for what is neither yes nor no."""
        return cells.choice(self._query, name, (*YES, *NO), "no") in YES

    def give_cell(self, known: Parameters, tell: Callable[[], str]) -> Response:
        """What ``tell`` tells, or the short word of why it cannot; ``known`` are the names that may be stated."""
        try:
            cells.refuse_unknown(self._query, known)
            for name in ("ascii", "detail"):
                self.is_said(name)
            told = tell()
        except (InputError, NotOnFileError) as error:
            cells.name_as_typed(error, self._query)
            return problem_cell(cells.word_of(error), of_error(error), self._query, {})
        if self._any_known:
            raise NotModified(self._headers)
        return cell(told, self._query, self._headers)


async def _cell(request: Request) -> _Cell:
    return _Cell(request)


CellNeeded = Annotated[_Cell, Depends(_cell)]


@router.get(
    "/verdict",
    operation_id="get_verdict_cell",
    summary="One cell: the verdict of an element",
    response_class=PlainTextResponse,
    responses=documented(304),
    openapi_extra=_described(OF_VERDICT),
)
def get_verdict_cell(catalogue: CatalogueNeeded, reply: CellNeeded) -> Response:
    """Whether an element meets what is required, as an original has shown it or as the dotted names state it.

    `meets`, `meets on assumptions`, `misses: …`, `misses: …; not shown: …` or `not shown: …`, with the titles of the
    criteria. Empty where the number is.
    """
    return reply.give_cell(OF_VERDICT, partial(_verdict, catalogue, reply))


def _verdict(catalogue: Catalogue, reply: _Cell) -> str:
    texts = cells.compared_texts(reply.stated)
    if texts is None:
        reply.at()
        return ""
    with faults_as_typed(texts):
        asked = comparison_of(texts)
        state = reply.at(catalogue.state(asked.as_of))
        compared = compare(asked, catalogue.snapshot(state.revision))
    return cells.verdict_words(compared.ranking, compared.rows[0])


@router.get(
    "/best",
    operation_id="get_best_cell",
    summary="One cell: the best candidate",
    response_class=PlainTextResponse,
    responses=documented(304),
    openapi_extra=_described(OF_BEST),
)
def get_best_cell(catalogue: CatalogueNeeded, reply: CellNeeded) -> Response:
    """The best candidate for an original or a duty, or the one at a later place.

    Its maker and number, or what `give` says. Empty where the number of the original is and no requirement is stated.
    """
    return reply.give_cell(OF_BEST, partial(_best, catalogue, reply))


def _best(catalogue: Catalogue, reply: _Cell) -> str:
    stated = reply.stated
    place = cells.place_asked(stated.pop("place", ""), MOST_CANDIDATES)
    give = cast(cells.Give, cells.choice(stated, "give", cells.GIVES, cells.GIVES[0]))
    stated.pop("give", None)
    units = reply.units
    if cells.is_unasked(stated):
        reply.at()
        return ""
    with faults_as_typed(stated):
        question = question_of(stated)
        state = reply.at(catalogue.state(question.as_of))
        found = catalogue.best(state.revision, question, place)
    if len(found.rows) < place:
        raise cells.no_candidate(place, len(found.rows))
    return cells.candidate_words(found.ranking, found.rows[place - 1], give, units)


@router.get(
    "/rating",
    operation_id="get_rating_cell",
    summary="One cell: one rating",
    response_class=PlainTextResponse,
    responses=documented(304),
    openapi_extra=_described(OF_RATING),
)
def get_rating_cell(catalogue: CatalogueNeeded, reply: CellNeeded) -> Response:
    """One rating of an element as it was stated, in a unit of choice; an attribute as well.

    A number with a point, before it `>=`, `<=` or `~` where it is a bound or about; with `bare` never. Conditions tell
    one rating from others. Empty where the number is.
    """
    return reply.give_cell(OF_RATING, partial(_rating, catalogue, reply))


def _rating(catalogue: Catalogue, reply: _Cell) -> str:
    stated, units, bare = reply.stated, reply.units, reply.is_said("bare")
    texts = cells.compared_texts({name: text for name, text in stated.items() if name in (*cells.NAMED, "as_of")})
    if texts is None:
        reply.at()
        return ""
    faults = Faults()
    with faults_as_typed(texts):
        asked = comparison_of(texts)
        state = reply.at(catalogue.state(asked.as_of))
        snapshot = catalogue.snapshot(state.revision)
        rows = find_rows(snapshot, asked.elements, faults)
        faults.raise_any()
    with read_session(catalogue.engine) as connection:
        found = read_element(connection, snapshot.elements.element_id[rows[0]], state.revision)
    return cells.rating_words(found, stated, units, bare=bare)
