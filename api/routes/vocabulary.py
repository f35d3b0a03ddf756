"""The vocabulary of the catalogue."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, ConfigDict

from api.problems import documented
from api.representation import ReplyNeeded, TableForm
from api.store import CatalogueNeeded
from specdb import answers

router = APIRouter(prefix="/v1", tags=["catalogue"])


class VocabularyAsked(BaseModel):
    """The form of the answer."""

    model_config = ConfigDict(extra="forbid")

    format: TableForm | None = None


@router.get(
    "/characteristics",
    operation_id="list_characteristics",
    summary="The vocabulary",
    response_model=answers.CharacteristicsAnswer,
    responses=documented(304, 400, 406, 414, 422, 503),
)
def list_characteristics(
    catalogue: CatalogueNeeded, _asked: Annotated[VocabularyAsked, Query()], reply: ReplyNeeded
) -> Response:
    """The vocabulary: what standard tests report, and what an element is."""
    return reply.give(answers.characteristics(reply.at(catalogue.state()).revision))
