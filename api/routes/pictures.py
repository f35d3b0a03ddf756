"""Pictures of one element against one question."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Request, Response
from pydantic import BeforeValidator

from api.problems import documented
from api.question import InUnits, asked_by_name, dotted_parameters
from api.representation import MEDIA_TYPES, PictureReplyNeeded
from api.store import CatalogueNeeded
from specdb.duty.dotted import dotted_names, question_of
from specdb.duty.question import ElementId
from specdb.pictures import PictureKey, draw

router = APIRouter(prefix="/v1", tags=["decisions"])


def _as_key(name: object) -> object:
    return name.replace("-", "_") if isinstance(name, str) else name


PictureNamed = Annotated[PictureKey, BeforeValidator(_as_key)]
"""A picture, also as the command line spells it: pressure-drop."""


class SvgResponse(Response):
    media_type = MEDIA_TYPES["svg"]


@router.get(
    "/elements/{element_id}/pictures/{picture}",
    operation_id="get_picture",
    summary="A picture of one element against a question",
    response_class=SvgResponse,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
    openapi_extra={"parameters": dotted_parameters(dotted_names(), InUnits)},
)
def get_picture(
    catalogue: CatalogueNeeded,
    request: Request,
    element_id: ElementId,
    picture: PictureNamed,
    reply: PictureReplyNeeded,
) -> Response:
    """The element against the duty or the original that the dotted names ask of, drawn in black on white as SVG.

    `pressure_drop` needs the flow and the fluid's viscosity over temperature, `criteria` something that is required.
    What the question says of how much to list has no part in a picture.
    """
    with asked_by_name(request, question_of, InUnits) as (question, shown):
        state = reply.at(catalogue.state(question.as_of))
        drawn = draw(picture, element_id, question, catalogue.snapshot(state.revision), shown.units)
        return reply.give_picture(drawn, f"{picture}-{element_id}")
