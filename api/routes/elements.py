"""The vocabulary, and one element with its ratings."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Path, Query
from pydantic import BaseModel, ConfigDict

from api.admission import no_query
from api.problems import documented
from api.store import CatalogueNeeded
from specdb import answers
from specdb.catalog.reading import read_element
from specdb.catalog.store import read_session
from specdb.duty.question import AsOfText

router = APIRouter(prefix="/v1", tags=["catalogue"])


class Reading(BaseModel):
    """How to read: the unit system of the answer, and the state of the catalogue."""

    model_config = ConfigDict(extra="forbid")

    units: Literal["si", "us"] = "si"
    as_of: AsOfText | None = None


@router.get(
    "/characteristics",
    operation_id="list_characteristics",
    responses=documented(422, 503),
    dependencies=[Depends(no_query)],
)
def list_characteristics(catalogue: CatalogueNeeded) -> answers.CharacteristicsAnswer:
    """The vocabulary: what standard tests report, and what an element is."""
    return answers.characteristics(catalogue.revision())


@router.get("/elements/{element_id}", operation_id="get_element", responses=documented(404, 422, 503))
def get_element(
    catalogue: CatalogueNeeded,
    element_id: Annotated[str, Path(pattern="^[0-9a-f]{16}$")],
    reading: Annotated[Reading, Query()],
) -> answers.ElementAnswer:
    """One element: what it is, its ratings as typed and converted, and the claims made of it."""
    revision = catalogue.revision(reading.as_of)
    with read_session(catalogue.engine) as connection:
        found = read_element(connection, element_id, revision)
    return answers.element_answer(found, revision, reading.units)
