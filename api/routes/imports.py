"""Taking a catalogue in, where the service was started to allow it."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from typing import Annotated

from fastapi import APIRouter, HTTPException, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from api.admission import IMPORTS, media_type_of
from api.problems import documented
from api.representation import JsonReplyNeeded
from api.store import CatalogueNeeded
from specdb import answers
from specdb.duty.question import Text
from specdb.errors import QuestionError, SpecdbError, WritesRefusedError, shown
from specdb.exchange.importing import ImportReport, import_upload

router = APIRouter(tags=["catalogue"])

PARTS_READ = 8
"""Parts of a form that are read at all; one is right, and a few too many are named."""

_PART = "file"
_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": {
                        _PART: {
                            "type": "string",
                            "format": "binary",
                            "description": "A zip of the catalogue folder, a workbook (XLSX) or one CSV file.",
                        }
                    },
                    "required": [_PART],
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
    _refuse_unless_allowed(request)
    media_type, charset = media_type_of(request)
    if media_type != "multipart/form-data" or charset not in ("", "utf-8", "utf8"):
        raise HTTPException(415, "The body must be multipart/form-data with one file.")
    form = await _form(request)
    try:
        upload = _the_file(form)
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
    return reply.give(answers.import_answer(report))


def _refuse_unless_allowed(request: Request) -> None:
    if not request.app.state.allow_writes:
        raise WritesRefusedError(
            "Imports are not allowed here.", remedy="Import by the command line, or serve with --allow-writes."
        )
    # A browser sends a form from any page to any address: only a page of this service may.
    origin = request.headers.get("origin")
    if origin is not None and origin.casefold().partition("://")[2] != request.headers.get("host", "").casefold():
        raise WritesRefusedError(
            "A page of another origin may not import.", value=origin, remedy="Send the file from a program."
        )


class _Form(MultiPartParser):
    """The framework's parser, which takes a form that was cut short for a whole one."""

    ended = False

    def on_end(self) -> None:
        self.ended = True


async def _form(request: Request) -> FormData:
    async def whole() -> AsyncGenerator[bytes]:
        async for chunk in request.stream():
            yield chunk
        if not parser.ended:
            raise MultiPartException("The form was cut short: its closing boundary is missing.")

    parser = _Form(request.headers, whole(), max_files=PARTS_READ, max_fields=PARTS_READ)
    try:
        return await parser.parse()
    except MultiPartException as error:
        raise HTTPException(400, error.message) from None


def _the_file(form: FormData) -> UploadFile:
    """The one part that there may be. Raises InputError that names every part that is too much."""
    remedy = f'Send one file as the part "{_PART}", and everything else in the query.'
    faults: list[SpecdbError] = [
        QuestionError("There is no such part.", field=shown(name) or _PART, remedy=remedy)
        for name in form
        if name != _PART
    ]
    found = form.getlist(_PART)
    uploads = [part for part in found if isinstance(part, UploadFile) and part.filename]
    if len(found) > 1:
        faults.append(QuestionError("Several files were sent.", field=_PART, remedy=remedy))
    elif not found:
        faults.append(QuestionError("No file was sent.", field=_PART, remedy=remedy))
    elif not uploads:
        faults.append(QuestionError("This part has no file name.", field=_PART, remedy=remedy))
    if faults:
        raise QuestionError.of(faults)
    return uploads[0]
