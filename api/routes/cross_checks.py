"""Many lines at once: each ranked or judged as the routes for one are asked, and a faulty one in its own place."""

from __future__ import annotations

import json
from tempfile import SpooledTemporaryFile
from typing import Any, BinaryIO, NoReturn, cast, get_args

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, ValidationError

from api.admission import CROSS_CHECKS, StrictJson, media_type_of
from api.cross_checking import HowAnswered, answered
from api.problems import documented
from api.question import named_parameters
from api.representation import MEDIA_TYPES, LinesReplyNeeded
from api.store import CatalogueNeeded
from api.uploads import FILE, BrokenFormError, read_form, the_file
from specdb.answers.cross_checks import CrossCheckAnswer, TableName
from specdb.cross_checks.for_all import (
    MODES,
    CrossCheck,
    names_for_all,
    read_common,
    read_cross_check,
    read_cross_check_file,
)
from specdb.cross_checks.lines import MOST_CANDIDATES, MOST_LINES
from specdb.cross_checks.running import Mode
from specdb.cross_checks.written import FileForm
from specdb.errors import QuestionError, shown
from specdb.units import UnitSystem

router = APIRouter(tags=["decisions"])

SPOOLED_BYTES = 1 << 20
"""Of a file of lines, what is kept in memory."""
_FILES = {"text/csv": "lines.csv", "text/tab-separated-values": "lines.tsv", MEDIA_TYPES["xlsx"]: "lines.xlsx"}
"""Media types of files of lines, and what such a file is called where its sender does not say."""
_ONE_FILE = f'Send one file as the part "{FILE}", and everything else in the query.'
_TAKEN = f"application/json, {', '.join(_FILES)} or multipart/form-data with one file"


class Shown(BaseModel):
    """How the lines are asked and answered; ``format`` is settled with the other ways to say it."""

    model_config = ConfigDict(extra="forbid")

    mode: Mode | None = None
    units: UnitSystem = "si"
    format: FileForm | None = None
    table: TableName | None = None


def _parameters() -> list[dict[str, Any]]:
    """The query as it is described."""
    named = named_parameters(names_for_all())
    for each in named:
        if each["name"] == "limit":
            each["schema"] = json.loads(json.dumps(each["schema"]).replace("500", str(MOST_CANDIDATES)))
            each["description"] = "most candidates of each line that is ranked; 3 unless said"
    words = {"mode": MODES, "units": get_args(UnitSystem), "format": get_args(FileForm), "table": get_args(TableName)}
    told = {
        "mode": "what each line is asked for: a ranking (rank), a judgement of the alternative that it names (judge), "
        "or whichever it is made for (each), as where nothing is said",
        "table": "which table CSV and Parquet hold: the summary, as where nothing is said, every criterion, or what to "
        "ask makers for",
    }
    how = [
        {"name": name, "in": "query", "required": False, "schema": {"type": "string", "enum": [*these]}}
        | ({"description": told[name]} if name in told else {})
        for name, these in words.items()
    ]
    return [*named, *how]


_TEXT = {"type": "string", "maxLength": 200}
_OF_A_LINE = {
    "type": "object",
    "description": "A question as of POST /v1/equivalents or a comparison as of POST /v1/comparisons, in parts or by "
    "dotted names such as original.number, and what the caller calls it.",
    "properties": {"line": {**_TEXT, "description": "what the caller calls the line; by default its place"}},
    "maxProperties": 500,
}
_JSON = {
    "type": "object",
    "properties": {
        "lines": {"type": "array", "items": _OF_A_LINE, "minItems": 1, "maxItems": MOST_LINES},
        "common": {
            "type": "object",
            "description": "What holds for each line that does not state it itself, named as in a line.",
            "properties": {"as_of": {"anyOf": [{"type": "integer", "minimum": 0, "maximum": 2**53 - 1}, _TEXT]}},
            "maxProperties": 500,
        },
        "mode": {"type": "string", "enum": [*MODES]},
    },
    "required": ["lines"],
    "additionalProperties": False,
}
_SHEET = "line,original.number,flow\r\nA-1,Dulse 23,75 L/min\r\nA-2,00417,60 L/min\r\n"
_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {"schema": _JSON},
            "text/csv": {"schema": {"type": "string"}, "example": _SHEET},
            "text/tab-separated-values": {"schema": {"type": "string"}, "example": _SHEET.replace(",", "\t")},
            MEDIA_TYPES["xlsx"]: {
                "schema": {"type": "string", "format": "binary"},
                "examples": {"workbook": {"summary": "the bytes of a workbook, whose first row are headings"}},
            },
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": {
                        FILE: {"type": "string", "format": "binary", "description": "A workbook, CSV or JSON file."}
                    },
                    "required": [FILE],
                    "additionalProperties": False,
                },
                "example": {FILE: _SHEET},
            },
        },
    }
}


@router.post(
    CROSS_CHECKS,
    operation_id="cross_check",
    summary="Answer many lines at once",
    response_model=CrossCheckAnswer,
    responses=documented(400, 404, 406, 413, 415, 422, 503),
    openapi_extra={**_BODY, "parameters": _parameters()},
)
async def cross_check(catalogue: CatalogueNeeded, request: Request, reply: LinesReplyNeeded) -> Response:
    """Rank the best for each line, or judge the alternative that it names; a faulty line is told in its own place.

    Lines come as JSON or as a file: CSV, a workbook (XLSX), or any of these as a form's one file. What holds for all
    stands in the query by dotted names; over what a JSON file says of it the query has the last word. JSON and CSV are
    sent line by line as they are answered, over one state of the catalogue; a workbook and Parquet when they are
    finished. 503 says that others are being answered.
    """
    how, common = _said(request, cast(FileForm, reply.form))
    media_type, charset = media_type_of(request)
    if request.headers.get("content-length") == "0":
        _refuse_none()
    if charset not in ("", "utf-8", "utf8"):
        _refuse_media_type(request)
    if media_type == "application/json":
        data = await _json_of(request)
        return await answered(request, catalogue, lambda: _with_query(read_cross_check(data), common, how), how)
    if media_type == "multipart/form-data":
        return await _of_form(request, catalogue, common, how)
    if media_type not in _FILES:
        _refuse_media_type(request)
    with SpooledTemporaryFile(SPOOLED_BYTES) as spooled:
        async for chunk in request.stream():
            spooled.write(chunk)
        if spooled.tell() == 0:
            _refuse_none()
        spooled.seek(0)
        return await _of_file(request, catalogue, _FILES[media_type], cast(BinaryIO, spooled), common, how)


async def _of_form(request: Request, catalogue: CatalogueNeeded, common: dict[str, str], how: HowAnswered) -> Response:
    try:
        form = await read_form(request)
    except BrokenFormError as error:
        raise HTTPException(400, error.message) from None
    try:
        upload = the_file(form, _ONE_FILE)
        return await _of_file(request, catalogue, str(upload.filename), upload.file, common, how)
    finally:
        await form.close()


async def _of_file(
    request: Request, catalogue: CatalogueNeeded, name: str, file: BinaryIO, common: dict[str, str], how: HowAnswered
) -> Response:
    # The lines are read whole before any is answered, so the file may be closed when this returns.
    mode = how.mode if "mode" in request.query_params else None
    return await answered(request, catalogue, lambda: read_cross_check_file(name, file).said_anew(common, mode), how)


def _said(request: Request, form: FileForm) -> tuple[HowAnswered, dict[str, str]]:
    """How the query says the lines are answered, and what it says for all of them."""
    beside = tuple(Shown.model_fields)
    try:
        said = Shown.model_validate({n: request.query_params[n] for n in beside if n in request.query_params})
    except ValidationError as error:
        raise RequestValidationError([{**e, "loc": ("query", *e["loc"])} for e in error.errors()]) from None
    common = read_common({name: text for name, text in request.query_params.items() if name not in beside}, beside)
    if said.table is not None and form not in ("csv", "parquet"):
        remedy = "Leave it out, or ask for CSV or Parquet: format=csv."
        raise QuestionError(f"An answer as {form} is no single table.", field="table", remedy=remedy)
    return HowAnswered(form, said.table or "summary", said.units, said.mode or "each"), common


async def _json_of(request: Request) -> Any:
    """The body. Raises what the framework raises for one that is no JSON."""
    try:
        return await StrictJson(request.scope, request.receive).json()
    except json.JSONDecodeError as error:
        told: dict[str, Any] = {"msg": "", "input": {}, "ctx": {"error": error.msg}}
        raise RequestValidationError([{"type": "json_invalid", "loc": ("body", error.pos), **told}]) from None


def _with_query(asked: CrossCheck, common: dict[str, str], how: HowAnswered) -> CrossCheck:
    """What the body asks with what the query says for all. Raises QuestionError for what both say."""
    twice = [f"common.{name}" for name in common if name in asked.common]
    twice += ["mode"] if asked.mode is not None and how.mode not in ("each", asked.mode) else []
    if twice:
        raise QuestionError.of(
            [QuestionError("The query says this too.", field=name, remedy="Say it once.") for name in twice]
        )
    return CrossCheck(asked.lines, {**asked.common, **common}, asked.mode)


def _refuse_none() -> NoReturn:
    raise RequestValidationError([{"type": "missing", "loc": ("body",), "msg": "", "input": None}])


def _refuse_media_type(request: Request) -> NoReturn:
    stated = request.headers.get("content-type")
    says = f"; it says {shown(stated)}" if stated else ""
    needed = "Send the header Content-Type (curl: -H 'Content-Type: text/csv')."
    raise HTTPException(415, f"The body must be {_TAKEN}, in UTF-8{says}. {needed}")
