"""Whether the service is alive and its store can be read."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Response

from api.admission import no_query
from api.problems import documented
from api.representation import JsonReplyNeeded
from api.store import CatalogueNeeded
from specdb.answers.shape import Stamped

router = APIRouter(tags=["service"])


class Health(Stamped):
    alive: bool = True
    store_reachable: bool = True


@router.get(
    "/health",
    operation_id="get_health",
    summary="Whether the service and its store are well",
    response_model=Health,
    responses=documented(304, 406, 422, 503),
    dependencies=[Depends(no_query)],
)
def get_health(catalogue: CatalogueNeeded, reply: JsonReplyNeeded) -> Response:
    """Alive, the store reachable, and the catalogue's revision."""
    state = reply.at(catalogue.state())
    return reply.give(Health(catalog_revision=state.revision))
