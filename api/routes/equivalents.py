"""Candidates ranked for a duty."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query
from pydantic import BaseModel, ConfigDict

from api.admission import json_body
from api.problems import documented
from api.store import CatalogueNeeded
from specdb import answers
from specdb.duty.question import Question
from specdb.ranking import rank

router = APIRouter(prefix="/v1", tags=["decisions"])


class Shown(BaseModel):
    model_config = ConfigDict(extra="forbid")

    units: Literal["si", "us"] = "si"


@router.post(
    "/equivalents",
    operation_id="find_equivalents",
    responses=documented(400, 404, 413, 415, 422, 503),
    dependencies=[Depends(json_body)],
)
def find_equivalents(
    catalogue: CatalogueNeeded, question: Question, shown: Annotated[Shown, Query()]
) -> answers.EquivalentsAnswer:
    """Which elements serve this duty, or may stand in for this original: what each meets, misses or has not shown."""
    ranking = rank(question, catalogue.snapshot(question.as_of))
    return answers.equivalents(
        ranking,
        limit=question.limit,
        units=shown.units,
        include_without_evidence=question.include_without_evidence,
    )
