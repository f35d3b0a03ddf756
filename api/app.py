"""The service: routes, problem documents, and the store they read."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import version
from typing import Any

from fastapi import Depends, FastAPI
from fastapi.openapi.utils import get_openapi

from api import problems
from api.admission import WeightLimit, once_each
from api.routes import elements, equivalents, health
from api.store import Catalogue
from specdb.catalog.store import database_url, open_store


def create_app(url: str | None = None) -> FastAPI:
    """The service over the store at ``url``, by default the one that ``SPECDB_DATABASE_URL`` names.

    The store is opened when the service starts; it must exist and be up to date.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        engine = open_store(url or database_url())
        app.state.catalogue = Catalogue(engine)
        try:
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
        dependencies=[Depends(once_each)],
    )
    app.add_middleware(WeightLimit)
    problems.install(app)
    for routes in (health, elements, equivalents):
        app.include_router(routes.router)
    _describe(app)
    return app


def _describe(app: FastAPI) -> None:
    """OpenAPI with our problem document in place of the framework's own error models."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            described = get_openapi(title=app.title, summary=app.summary, version=app.version, routes=app.routes)
            schemas = described.setdefault("components", {}).setdefault("schemas", {})
            for name in ("HTTPValidationError", "ValidationError"):
                schemas.pop(name, None)
            problem = problems.Problem.model_json_schema(ref_template="#/components/schemas/{model}")
            schemas |= problem.pop("$defs") | {"Problem": problem}
            app.openapi_schema = described
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]  # the documented way to replace it
