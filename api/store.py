"""The service's hold on the store, as routes ask for it."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

from specdb.held import Catalogue, State

__all__ = ["Catalogue", "CatalogueNeeded", "State"]


async def _catalogue(request: Request) -> Catalogue:
    catalogue: Catalogue = request.app.state.catalogue
    return catalogue


CatalogueNeeded = Annotated[Catalogue, Depends(_catalogue)]
