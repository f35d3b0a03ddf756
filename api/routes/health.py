"""Whether the service is alive and its store can be read."""

from __future__ import annotations

from fastapi import APIRouter, Depends
from pydantic import BaseModel

from api.admission import no_query
from api.problems import documented
from api.store import CatalogueNeeded
from specdb.answers import METHOD_VERSION

router = APIRouter(tags=["service"])


class Health(BaseModel):
    alive: bool
    store_reachable: bool
    catalog_revision: int
    method_version: str


@router.get("/health", operation_id="get_health", responses=documented(422, 503), dependencies=[Depends(no_query)])
def get_health(catalogue: CatalogueNeeded) -> Health:
    """Alive, the store reachable, and the catalogue's revision."""
    return Health(
        alive=True, store_reachable=True, catalog_revision=catalogue.revision(), method_version=METHOD_VERSION
    )
