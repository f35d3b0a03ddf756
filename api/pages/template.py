"""The workbook that fills itself, with this service's own address in it."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response

from api.admission import no_query
from api.representation import MEDIA_TYPES
from api.uploads import is_own_name
from specdb.cross_checks.template import template_workbook

router = APIRouter(include_in_schema=False)


@router.get("/template.xlsx", dependencies=[Depends(no_query)])
def template(request: Request) -> Response:
    headers = {
        "Content-Disposition": 'attachment; filename="template.xlsx"',
        "Cache-Control": "no-cache",
        "X-Content-Type-Options": "nosniff",
    }
    # Under a name that may be anybody's the workbook would ask whoever that is.
    address = str(request.base_url) if is_own_name(request) else ""
    return Response(template_workbook(address), headers=headers, media_type=MEDIA_TYPES["xlsx"])
