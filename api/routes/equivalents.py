"""Candidates ranked for a duty: asked in JSON, or by dotted names in the address."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, ValidationError

from api.admission import StrictRoute
from api.problems import documented
from api.representation import Reply, ReplyNeeded
from api.store import Catalogue, CatalogueNeeded
from specdb import answers
from specdb.duty.dotted import dotted_names, dotted_of, faults_as_typed, question_of
from specdb.duty.question import Question
from specdb.ranking import rank
from specdb.wording import UnitSystem

router = APIRouter(prefix="/v1", tags=["decisions"], route_class=StrictRoute)


LINKED_BYTES = 4096
"""Longest address of a question that is given with its answer: headers have limits of their own."""


class Shown(BaseModel):
    """The units and the form of an answer."""

    model_config = ConfigDict(extra="forbid")

    units: UnitSystem = "si"
    format: Literal["json", "csv"] | None = None


@router.post(
    "/equivalents",
    operation_id="find_equivalents",
    summary="Rank candidates for a duty (JSON)",
    response_model=answers.EquivalentsAnswer,
    responses=documented(400, 404, 406, 413, 415, 422, 503),
)
def find_equivalents(
    catalogue: CatalogueNeeded, question: Question, shown: Annotated[Shown, Query()], reply: ReplyNeeded
) -> Response:
    """Which elements serve this duty, or may stand in for this original: what each meets, misses or has not shown.

    `Link` with `rel="canonical"` is the address of the same question, to be kept or sent to somebody.
    """
    return _ranked(catalogue, question, shown.units, reply, _address(question, shown))


def _address(question: Question, shown: Shown) -> dict[str, str]:
    """Where the same is answered to GET, unless that is too long."""
    names = dotted_of(question) | shown.model_dump(exclude_defaults=True)
    address = f"/v1/equivalents?{urlencode(names)}"
    return {"canonical": address} if len(address) <= LINKED_BYTES else {}


def _parameters() -> list[dict[str, Any]]:
    """The names of a question as query parameters, then those that say how to answer."""
    question = [
        {"name": name, "in": "query", "required": False, "schema": field.schema, "description": field.description}
        for name, field in dotted_names().items()
    ]
    how = [
        {"name": name, "in": "query", "required": False, "schema": {"type": "string", "enum": words}}
        for name, words in (("units", ["si", "us"]), ("format", ["json", "csv"]))
    ]
    return question + how


@router.get(
    "/equivalents",
    operation_id="get_equivalents",
    summary="Rank candidates for a duty (dotted names)",
    response_model=answers.EquivalentsAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
    openapi_extra={"parameters": _parameters()},
)
def get_equivalents(catalogue: CatalogueNeeded, request: Request, reply: ReplyNeeded) -> Response:
    """The same question as dotted names, such as `require.1.at_least=200`; an empty text states nothing."""
    shown = _shown(request.query_params)
    dotted = {name: text for name, text in request.query_params.items() if name not in Shown.model_fields}
    with faults_as_typed(dotted):
        return _ranked(catalogue, question_of(dotted, tuple(Shown.model_fields)), shown.units, reply)


def _shown(query: Mapping[str, str]) -> Shown:
    # Read by hand: a model of every dotted name would be validated whole on each request.
    try:
        return Shown.model_validate({name: query[name] for name in Shown.model_fields if name in query})
    except ValidationError as error:
        raise RequestValidationError([{**e, "loc": ("query", *e["loc"])} for e in error.errors()]) from None


def _ranked(
    catalogue: Catalogue, question: Question, units: UnitSystem, reply: Reply, links: Mapping[str, str] | None = None
) -> Response:
    state = reply.at(catalogue.state(question.as_of))
    answer = answers.equivalents(
        rank(question, catalogue.snapshot(state.revision)),
        limit=question.limit,
        units=units,
        include_without_evidence=question.include_without_evidence,
    )
    return reply.give(answer, units, links=links)
