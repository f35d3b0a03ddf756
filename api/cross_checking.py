"""Many lines answered at once, as the route and the page send them: JSON and CSV while they are worked out, a workbook
and Parquet when they are finished."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from types import MappingProxyType
from typing import BinaryIO

from fastapi import Request, Response
from starlette.concurrency import run_in_threadpool

from api.long_work import Place, Streamed, chunks, written
from api.representation import CSV_CONTENT_TYPE, MEDIA_TYPES, VARY
from api.store import Catalogue
from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer, TableName
from specdb.cross_checks.for_all import CrossCheck
from specdb.cross_checks.running import Mode, answer_lines
from specdb.cross_checks.written import FileForm, csv_pieces, head_of, json_pieces, write_file
from specdb.units import UnitSystem


@dataclass(frozen=True)
class HowAnswered:
    """``mode`` holds where the lines do not come with one of their own; ``table`` is the one that a flat form holds."""

    form: FileForm = "json"
    table: TableName = "summary"
    units: UnitSystem = "si"
    mode: Mode = "each"


@dataclass(frozen=True)
class Begun:
    """A cross-check over one state of the catalogue; ``answers`` are worked out as they are asked for."""

    head: CrossCheckAnswer
    answers: Iterator[LineAnswer]
    mode: Mode


def begun(catalogue: Catalogue, asked: CrossCheck, how: HowAnswered) -> Begun:
    """Raises QuestionError and NotOnFileError for a state of the catalogue that there is not."""
    snapshot = catalogue.snapshot(catalogue.state(asked.common.get("as_of")).revision)
    mode = asked.mode or how.mode
    answers = answer_lines(asked.lines.lines, snapshot, asked.common, mode=mode, units=how.units)
    return Begun(head_of(snapshot, asked.lines), answers, mode)


async def answered(
    request: Request,
    catalogue: Catalogue,
    read: Callable[[], CrossCheck],
    how: HowAnswered,
    headers: Mapping[str, str] = MappingProxyType({}),
    begins: str = "",
) -> Response:
    """The answer to the lines that ``read`` reads; ``begins`` stands before one that is sent while it is worked out. A
    place for long work is held as long as it is worked at.

    Raises HTTPException (503) where there is none, what ``read`` raises, and as :func:`begun`.
    """
    place: Place = request.app.state.long_work.take()
    try:
        work = await run_in_threadpool(lambda: begun(catalogue, read(), how))
        if how.form in ("json", "csv"):
            return _streamed(work, how, place, headers, begins)
        file = await written(request, lambda file, go_on: _write(work, how, file, go_on))
    except BaseException:
        place.give_back()
        raise
    place.give_back()
    length = str(file.seek(0, os.SEEK_END))
    file.seek(0)
    sent = {**VARY, "Content-Type": MEDIA_TYPES[how.form], "Content-Length": length, **kept_as(how.form), **headers}
    return Streamed(chunks(file), file.close, sent)


def kept_as(form: FileForm) -> dict[str, str]:
    """Headers of an answer that is to be kept as a file."""
    return {
        "Content-Disposition": f'attachment; filename="cross-check.{form}"',
        "X-Content-Type-Options": "nosniff",
    }


def _streamed(work: Begun, how: HowAnswered, place: Place, headers: Mapping[str, str], begins: str) -> Response:
    if how.form == "json":
        pieces, media_type = json_pieces(work.head, work.answers), MEDIA_TYPES["json"]
    else:
        pieces, media_type = csv_pieces(work.head, work.answers, how.table, how.units), CSV_CONTENT_TYPE
    sent = {**VARY, "Content-Type": media_type, **headers}
    return Streamed((piece.encode() for piece in chain([begins], pieces) if piece), place.give_back, sent)


def _write(work: Begun, how: HowAnswered, file: BinaryIO, go_on: Callable[[], None]) -> None:
    def answers() -> Iterator[LineAnswer]:
        for answer in work.answers:
            go_on()
            yield answer

    write_file(how.form, file, work.head, answers(), table=how.table, units=how.units, mode=work.mode)
