"""What to ask makers for, so that a ranking need not leave it open: asked as the ranking is."""

from __future__ import annotations

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
    "/test-requests",
    operation_id="find_test_requests",
    summary="Say what to ask makers for (JSON)",
    response_model=answers.RequestsAnswer,
    responses=documented(400, 404, 406, 413, 415, 422, 503),
)
def find_test_requests(
    catalogue: CatalogueNeeded, question: Question, shown: Annotated[Shown, Query()], reply: ReplyNeeded
) -> Response:
    """Which tests would settle what is not shown of the candidates that a ranking lists, and a letter to each maker.

    `Link` with `rel="canonical"` is the address of the same question, to be kept or sent to somebody.
    """
    links = address_of("/v1/test-requests", question, shown)
    return answered(answers.requests_answer, catalogue, question, shown.units, reply, links)


@router.get(
    "/test-requests",
    operation_id="get_test_requests",
    summary="Say what to ask makers for (dotted names)",
    response_model=answers.RequestsAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
    openapi_extra={"parameters": dotted_parameters(dotted_names())},
)
def get_test_requests(catalogue: CatalogueNeeded, request: Request, reply: ReplyNeeded) -> Response:
    """The same question as dotted names, such as `require.1.at_least=200`; an empty text states nothing."""
    with asked_by_name(request, question_of) as (question, shown):
        return answered(answers.requests_answer, catalogue, question, shown.units, reply)
