"""Named elements against one duty, side by side: asked in JSON, or by dotted names in the address."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.admission import StrictRoute
from api.problems import documented
from api.question import Shown, address_of, asked_by_name, dotted_parameters
from api.representation import Reply, ReplyNeeded
from api.store import Catalogue, CatalogueNeeded
from specdb import answers
from specdb.duty.dotted import comparison_names, comparison_of
from specdb.duty.question import ComparisonAsked
from specdb.units import UnitSystem

router = APIRouter(prefix="/v1", tags=["decisions"], route_class=StrictRoute)


@router.post(
    "/comparisons",
    operation_id="compare_elements",
    summary="Compare named elements side by side (JSON)",
    response_model=answers.ComparisonAnswer,
    responses=documented(400, 404, 406, 413, 415, 422, 503),
)
def compare_elements(
    catalogue: CatalogueNeeded, asked: ComparisonAsked, shown: Annotated[Shown, Query()], reply: ReplyNeeded
) -> Response:
    """What each of up to twenty named elements shows for this duty, or beside this original, side by side.

    `Link` with `rel="canonical"` is the address of the same comparison, to be kept or sent to somebody.
    """
    return _compared(catalogue, asked, shown.units, reply, address_of("/v1/comparisons", asked, shown))


@router.get(
    "/comparisons",
    operation_id="get_comparison",
    summary="Compare named elements side by side (dotted names)",
    response_model=answers.ComparisonAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
    openapi_extra={"parameters": dotted_parameters(comparison_names())},
)
def get_comparison(catalogue: CatalogueNeeded, request: Request, reply: ReplyNeeded) -> Response:
    """The same comparison as dotted names, such as `elements.1.number=Dulse 24`; an empty text states nothing."""
    with asked_by_name(request, comparison_of) as (asked, shown):
        return _compared(catalogue, asked, shown.units, reply)


def _compared(
    catalogue: Catalogue,
    asked: ComparisonAsked,
    units: UnitSystem,
    reply: Reply,
    links: Mapping[str, str] | None = None,
) -> Response:
    state = reply.at(catalogue.state(asked.as_of))
    return reply.give(answers.comparison(asked, catalogue.snapshot(state.revision), units), units, links=links)
