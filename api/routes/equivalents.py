"""Candidates ranked for a duty: asked in JSON, or by dotted names in the address."""

from __future__ import annotations

from functools import partial
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.admission import StrictRoute
from api.problems import documented
from api.question import Shown, address_of, answered, asked_by_name, dotted_parameters
from api.representation import ReplyNeeded
from api.store import CatalogueNeeded
from specdb import answers
from specdb.duty.dotted import dotted_names, question_of
from specdb.duty.question import Question

router = APIRouter(prefix="/v1", tags=["decisions"], route_class=StrictRoute)


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
    links = address_of("/v1/equivalents", question, shown)
    made = partial(answers.equivalents, include_windows=question.include_windows)
    return answered(made, catalogue, question, shown.units, reply, links)


@router.get(
    "/equivalents",
    operation_id="get_equivalents",
    summary="Rank candidates for a duty (dotted names)",
    response_model=answers.EquivalentsAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
    openapi_extra={"parameters": dotted_parameters(dotted_names())},
)
def get_equivalents(catalogue: CatalogueNeeded, request: Request, reply: ReplyNeeded) -> Response:
    """The same question as dotted names, such as `require.1.at_least=200`; an empty text states nothing."""
    with asked_by_name(request, question_of) as (question, shown):
        made = partial(answers.equivalents, include_windows=question.include_windows)
        return answered(made, catalogue, question, shown.units, reply)
