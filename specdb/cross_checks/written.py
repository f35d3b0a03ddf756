"""Answers to many lines as they are written: piece by piece as JSON and CSV, whole files as Parquet and as a workbook.

Nothing here holds more than one answer at a time, so that neither does who writes them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import BinaryIO, Literal

from specdb.answers.cross_checks import (
    CrossCheckAnswer,
    LineAnswer,
    TableName,
    lines_columns,
    lines_rows,
    verdict_of,
)
from specdb.answers.tables import csv_lines
from specdb.catalog.snapshot import Snapshot
from specdb.cross_checks.lines import LinesRead
from specdb.cross_checks.running import Mode
from specdb.ranking import ORDER
from specdb.units import UnitSystem
from specdb.wording import CAUTIONS

FileForm = Literal["json", "csv", "parquet", "xlsx"]
"""What answers can be written as. Of the flat ones, CSV and Parquet hold one table, a workbook holds all."""


@dataclass
class Tally:
    """Counts answers as they pass."""

    answered: int = 0
    meeting: int = 0
    """Lines of which at least one candidate meets all that is asked."""
    faulty: list[tuple[str, int]] = field(default_factory=list)
    """Label and row of each line with faults."""

    def counted(self, answers: Iterable[LineAnswer]) -> Iterator[LineAnswer]:
        for answer in answers:
            if answer.problem is not None:
                self.faulty.append((answer.line, answer.row))
            else:
                self.answered += 1
                self.meeting += any(verdict_of(candidate) == "meets" for candidate in answer.candidates)
            yield answer


def head_of(snapshot: Snapshot, read: LinesRead) -> CrossCheckAnswer:
    """What an answer says beside its lines, of which none stands in it yet."""
    return CrossCheckAnswer(
        catalog_revision=snapshot.revision,
        order=list(ORDER),
        cautions=list(CAUTIONS),
        notes=list(read.notes),
        lines=[],
        answered=0,
        faulty=0,
    )


def json_pieces(head: CrossCheckAnswer, answers: Iterable[LineAnswer]) -> Iterator[str]:
    """The answer as JSON: its head, a piece for each line as it is answered, and the counts."""
    yield head.model_dump_json(exclude={"lines", "answered", "faulty"}).removesuffix("}") + ',"lines":['
    tally = Tally()
    for place, answer in enumerate(tally.counted(answers)):
        yield ("," if place else "") + answer.model_dump_json()
    yield f'],"answered":{tally.answered},"faulty":{len(tally.faulty)}}}'


def csv_pieces(
    head: CrossCheckAnswer, answers: Iterable[LineAnswer], table: TableName, units: UnitSystem
) -> Iterator[str]:
    """One of the flat tables as CSV: its headings, and the rows of each line as it is answered."""
    yield csv_lines([lines_columns(table, units)])
    for rows in lines_rows(head, answers, table):
        yield csv_lines(rows)


def write_file(
    form: FileForm,
    file: BinaryIO,
    head: CrossCheckAnswer,
    answers: Iterable[LineAnswer],
    *,
    table: TableName = "summary",
    units: UnitSystem = "si",
    mode: Mode = "each",
) -> None:
    """Writes all answers to an open file. ``table`` is the one that a flat form holds; ``units`` and ``mode`` are those
    that the answers were made in."""
    if form == "xlsx":
        from specdb.cross_checks.workbook import write_answers

        write_answers(file, answers, head, units, mode=mode, date=datetime.now(UTC).date())
    elif form == "parquet":
        from specdb.answers.parquet import ParquetRows

        with ParquetRows(file, lines_columns(table, units)) as out:
            for rows in lines_rows(head, answers, table):
                out.write(rows)
    else:
        made = json_pieces(head, answers) if form == "json" else csv_pieces(head, answers, table, units)
        for piece in made:
            file.write(piece.encode())
