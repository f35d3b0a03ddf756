"""One element by its number, for who has no identifier of it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response
from pydantic import Field

from api.problems import documented
from api.representation import ReplyNeeded
from api.routes.elements import ElementAsked
from api.store import CatalogueNeeded
from specdb import answers
from specdb.catalog.history import read_history
from specdb.catalog.reading import find_element, read_element
from specdb.catalog.store import read_session
from specdb.duty.question import Text

router = APIRouter(prefix="/v1", tags=["catalogue"])


class NumberAsked(ElementAsked):
    """The element that is meant, and how to read it."""

    number: Text = Field(description="part number")
    maker: Text | None = Field(None, description="its maker, where several have the number")


@router.get(
    "/elements/by-number",
    operation_id="get_element_by_number",
    summary="One element by its number",
    response_model=answers.ElementAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
)
def get_element_by_number(
    catalogue: CatalogueNeeded, asked: Annotated[NumberAsked, Query()], reply: ReplyNeeded
) -> Response:
    """The element that has this number and no other, as its own address answers it.

    Dashes, spaces and letters count as they do in identity: a number that is only near is not taken, but named.
    """
    state = reply.at(catalogue.state(asked.as_of))
    with read_session(catalogue.engine) as connection:
        element_id = find_element(connection, asked.number, asked.maker, state.revision)
        found = read_element(connection, element_id, state.revision)
        history = read_history(connection, element_id, state.revision) if asked.history else None
    return reply.give(answers.element_answer(found, state.revision, asked.units, history), asked.units)
