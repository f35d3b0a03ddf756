"""The page that finds an element: by half a number, by its maker, or by what can be measured."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.pages.addresses import Asked
from api.pages.site import render
from api.representation import PageReplyNeeded
from api.store import CatalogueNeeded

router = APIRouter(include_in_schema=False)


@router.get("/")
def find(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    asked = Asked.of(request)
    reply.at(catalogue.state(asked.names.get("as_of")))
    return reply.give_page(render("find.html", asked, {}))
