"""The service: routes, problem documents, and the store they read."""

from __future__ import annotations

import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import version

from fastapi import Depends, FastAPI
from fastapi.routing import APIRoute
from starlette.staticfiles import StaticFiles

from api import description, problems, representation
from api.admission import Addresses, Limits, plain_query
from api.crossorigin import CrossOrigin
from api.long_work import Places
from api.operations import operations_of
from api.pages import ask, cross_check, element, find, load, replace, side_by_side, template
from api.pages.compressed import Compressed
from api.pages.shelf import Shelf
from api.pages.site import STATIC
from api.routes import (
    asking,
    calculations,
    cells,
    comparisons,
    cross_checks,
    elements,
    equivalents,
    health,
    imports,
    numbers,
    pictures,
    revisions,
    search,
    vocabulary,
)
from api.store import Catalogue
from api.tracing import Tracing
from api.uploads import HOSTS_VARIABLE
from specdb.catalog.store import database_url, open_store

WRITES_VARIABLE = "SPECDB_ALLOW_WRITES"
"""Setting: 1 lets everyone who reaches the service import into its store."""


def create_app(url: str | None = None, *, allow_writes: bool | None = None, ahead: bool = False) -> FastAPI:
    """The service over the store at ``url``, by default the one that ``SPECDB_DATABASE_URL`` names.

    The store is opened when the service starts; it must exist and be up to date. Imports are refused
    unless ``allow_writes``, by default what ``SPECDB_ALLOW_WRITES`` says. ``ahead`` loads the catalogue
    before anybody asks.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        engine = open_store(url or database_url())
        app.state.catalogue = Catalogue(engine, ahead=ahead)
        app.state.catalogue.load_ahead()
        operations_of(app)  # read now, since it takes a moment that the first to ask would wait for
        app.state.allow_writes = os.environ.get(WRITES_VARIABLE) == "1" if allow_writes is None else allow_writes
        app.state.hosts = frozenset(os.environ.get(HOSTS_VARIABLE, "").casefold().split())
        try:
            with Shelf() as app.state.shelf:
                yield
        finally:
            engine.dispose()

    app = FastAPI(
        title="specdb",
        summary="Which filter element serves a duty, which may stand in for another, and what is not shown",
        version=version("specdb"),
        lifespan=lifespan,
        redirect_slashes=False,
        docs_url=None,  # those pages fetch scripts from outside
        redoc_url=None,
        dependencies=[Depends(plain_query)],
    )
    # Each stands around those before it.
    for layer in (Compressed, Limits, Addresses, problems.Failures, CrossOrigin, Tracing):
        app.add_middleware(layer)
    app.state.long_work = Places()
    problems.install(app)
    representation.install(app)
    decisions = (equivalents, comparisons, cross_checks, cells, asking, pictures)
    for routes in (health, vocabulary, numbers, elements, search, revisions, imports, *decisions, calculations):
        app.include_router(routes.router)
    app.state.beside = [("/openapi.json", {"GET"}), ("/static/{name}", {"GET"})]
    for pages in (find, element, replace, side_by_side, ask, cross_check, load, template):
        app.include_router(pages.router)
        routes_of_it = (route for route in pages.router.routes if isinstance(route, APIRoute))
        app.state.beside += [(route.path, route.methods) for route in routes_of_it]
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    description.install(app)
    return app
