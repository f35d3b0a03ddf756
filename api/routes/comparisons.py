"""Named elements against one duty, side by side."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from api.admission import StrictRoute
from api.problems import documented
from api.question import Shown
from api.representation import ReplyNeeded
from api.store import CatalogueNeeded
from specdb import answers
from specdb.duty.question import ComparisonAsked

router = APIRouter(prefix="/v1", tags=["decisions"], route_class=StrictRoute)


@router.post(
    "/comparisons",
    operation_id="compare_elements",
    summary="Compare named elements side by side",
    response_model=answers.ComparisonAnswer,
    responses=documented(400, 404, 406, 413, 415, 422, 503),
)
def compare_elements(
    catalogue: CatalogueNeeded, asked: ComparisonAsked, shown: Annotated[Shown, Query()], reply: ReplyNeeded
) -> Response:
    """What each of up to twenty named elements shows for this duty, or beside this original, side by side."""
    state = reply.at(catalogue.state(asked.as_of))
    return reply.give(answers.comparison(asked, catalogue.snapshot(state.revision), shown.units), shown.units)
