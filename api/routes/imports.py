"""Taking a catalogue in, where the service was started to allow it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, HTTPException, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from api.admission import IMPORTS
from api.problems import documented
from api.representation import JsonReplyNeeded
from api.store import CatalogueNeeded
from api.uploads import FILE, BrokenFormError, read_form, refuse_unless_allowed, the_file
from specdb import answers
from specdb.duty.question import Text
from specdb.errors import shown
from specdb.exchange.importing import ImportReport, import_upload

router = APIRouter(tags=["catalogue"])

_ONE_FILE = f'Send one file as the part "{FILE}", and everything else in the query.'
_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": {
                        FILE: {
                            "type": "string",
                            "format": "binary",
                            "description": "A zip of the catalogue folder, a workbook (XLSX) or one CSV file.",
                        }
                    },
                    "required": [FILE],
                    "additionalProperties": False,
                }
            }
        },
    }
}


class ImportAsked(BaseModel):
    """How to take the file in."""

    model_config = ConfigDict(extra="forbid")

    dry_run: bool = Field(False, description="check everything, write nothing")
    actor: Text = Field("unnamed caller", description="who imports; kept with the revision")
    reason: Text | None = Field(None, description="why; kept with the revision; by default the file's name")
    expected_revision: Annotated[int, Field(ge=0, le=2**53 - 1)] | None = Field(
        None, description="take the file in only if the catalogue is still at this revision"
    )


@router.post(
    IMPORTS,
    operation_id="import_catalogue",
    summary="Take a catalogue in",
    response_model=answers.ImportAnswer,
    responses=documented(400, 403, 406, 409, 413, 415, 422, 503),
    openapi_extra=_BODY,
)
async def import_catalogue(
    request: Request, catalogue: CatalogueNeeded, asked: Annotated[ImportAsked, Query()], reply: JsonReplyNeeded
) -> Response:
    """Take a catalogue in, all or nothing: one revision, or every fault with its file, row and column.

    Refused unless the service was started with `--allow-writes`. The same file again changes nothing.
    """
    refuse_unless_allowed(request)
    try:
        form = await read_form(request)
    except BrokenFormError as error:
        raise HTTPException(400, error.message) from None
    try:
        upload = the_file(form, _ONE_FILE)
        name = str(upload.filename)
        report: ImportReport = await run_in_threadpool(
            import_upload,
            catalogue.engine,
            name,
            upload.file,
            actor=asked.actor,
            reason=asked.reason or f"import of {shown(name)}",
            dry_run=asked.dry_run,
            expected_revision=asked.expected_revision,
        )
    finally:
        await form.close()
    if report.revision is not None:
        catalogue.load_ahead()
    return reply.give(answers.import_answer(report))
