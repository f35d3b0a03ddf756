"""The revisions of the catalogue: what was written when, by whom and why."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from api.cursors import Page, Paged
from api.problems import documented
from api.representation import ReplyNeeded
from api.store import CatalogueNeeded
from specdb import answers
from specdb.catalog.history import read_revisions
from specdb.catalog.store import read_session

router = APIRouter(prefix="/v1", tags=["catalogue"])


@router.get(
    "/revisions",
    operation_id="list_revisions",
    summary="What was written when, by whom and why",
    response_model=answers.RevisionsAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
)
def list_revisions(catalogue: CatalogueNeeded, asked: Annotated[Paged, Query()], reply: ReplyNeeded) -> Response:
    """All revisions, newest first, each with what it added and ended."""
    page = Page.asked_for("revisions", asked, {}, catalogue)
    reply.at(page.state)
    revision = page.state.revision
    with read_session(catalogue.engine) as connection:
        listed, total = read_revisions(connection, revision, limit=asked.limit, offset=page.offset)
    answer = answers.revisions_answer(revision, listed, total, asked.limit)
    answer.next = page.next(reply, len(listed), total)
    return reply.give(answer, asked.units, links=page.links(reply, answer.next))
