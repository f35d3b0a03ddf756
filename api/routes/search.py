"""Search by part number, interchange number or maker's name."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response
from pydantic import BeforeValidator, Field

from api.cursors import whole_number
from api.problems import documented
from api.representation import Reading, ReplyNeeded
from api.store import CatalogueNeeded
from specdb import answers
from specdb.catalog.store import read_session
from specdb.duty.question import Text

router = APIRouter(prefix="/v1", tags=["catalogue"])


class SearchAsked(Reading):
    """What to look for, and how many hits to list."""

    q: Text = Field(description="a number or a part of one, a maker's name, or both")
    limit: Annotated[int, Field(ge=1, le=100), BeforeValidator(whole_number)] = Field(
        20, description="most hits to list"
    )


@router.get(
    "/search",
    operation_id="search",
    summary="Search by part number, interchange number or maker",
    response_model=answers.SearchAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
)
def search(catalogue: CatalogueNeeded, asked: Annotated[SearchAsked, Query()], reply: ReplyNeeded) -> Response:
    """Numbers near what was read off a label, nearest first, each with how near it is.

    Forgiving of dashes, spaces, letter case, look-alikes and one slip. It decides nothing: a number with one
    character changed is another part, and the hit says so.
    """
    state = reply.at(catalogue.state(asked.as_of))
    index = catalogue.search_index(state.revision)
    with read_session(catalogue.engine) as connection:
        answer = answers.search_answer(connection, index, state.revision, asked.q, asked.limit)
    return reply.give(answer, asked.units)
