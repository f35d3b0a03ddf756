"""Many lines at once, from a file into a file or to the terminal."""

from __future__ import annotations

import io
import sys
import time
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from specdb.cli.duty import DutyTyped, with_duty
from specdb.cli.errors import SOME_FAULTY
from specdb.cli.exchanging import progress
from specdb.cli.options import AsCsv, AsJson, AsOf, Form, InUnits, Units, form_of
from specdb.cli.output import kept_file, write_for_people, write_utf8
from specdb.cli.store import reading
from specdb.cross_checks.lines import CANDIDATES, MOST_CANDIDATES
from specdb.errors import QuestionError

if TYPE_CHECKING:
    from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer
    from specdb.cross_checks.for_all import CrossCheck
    from specdb.cross_checks.running import Mode
    from specdb.cross_checks.written import FileForm

QUIET_S = 1.0
"""Work that is done within so long is not told of."""
_FORMS = ("csv", "xlsx", "json", "parquet")


class ModeName(StrEnum):
    each = "each"
    rank = "rank"
    judge = "judge"


class TableWanted(StrEnum):
    summary = "summary"
    criteria = "criteria"
    requests = "requests"


Lines = Annotated[
    Path,
    typer.Argument(
        metavar="FILE",
        help="Lines with a row of headings, as CSV or a workbook (XLSX), or lines as JSON; - for input.",
    ),
]
Out = Annotated[
    Path | None,
    typer.Option(
        "--out", metavar="FILE", help="Keep the answers in a new file that ends in .xlsx, .csv, .json or .parquet."
    ),
]
Limit = Annotated[
    int | None, typer.Option(min=1, max=MOST_CANDIDATES, help=f"Most candidates of a line; {CANDIDATES} unless said.")
]


@with_duty
def cross_check(
    duty: DutyTyped,
    file: Lines,
    out: Out = None,
    table: Annotated[
        TableWanted | None, typer.Option("--table", help="Which table CSV and Parquet hold; the summary unless said.")
    ] = None,
    mode: Annotated[
        ModeName | None,
        typer.Option(
            "--mode", help="Rank for each line, judge the alternative it names, or each for what it is made for."
        ),
    ] = None,
    limit: Limit = None,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
) -> None:
    """Rank or judge for many lines at once.

    Each line is a question of its own; options hold for all lines that do not state them. A faulty line is told in its
    own row, and the others are answered.
    """
    from specdb.catalog.reading import load_snapshot
    from specdb.cross_checks.processes import answer_lines_at_once, processes_for
    from specdb.cross_checks.written import head_of
    from specdb.printing.cross_checks import LinesTold

    form = _form_of(out, form_of(as_json, as_csv), table)
    common = _common(duty, limit)
    asked = _read(file, common, mode)
    as_of = as_of or asked.common.get("as_of")
    with reading(as_of) as (connection, revision):
        snapshot = load_snapshot(connection, revision)
    said = {**asked.common, **({} if as_of is None else {"as_of": as_of})}
    chosen = asked.mode or "each"
    lines = asked.lines.lines
    answers = answer_lines_at_once(
        lines, snapshot, said, mode=chosen, units=units.value,
        processes=processes_for(len(lines), len(snapshot.elements.number)),
    )  # fmt: skip
    head, told = head_of(snapshot, asked.lines), LinesTold(in_a_table=form is None)
    with _told_of(told.counted(answers), len(lines)) as counted:
        _give(form, out, head, counted, table or TableWanted.summary, units, chosen)
    kept_in = None if out is None else str(out)
    write_for_people(lambda console: told.print(console, head, kept_in), aside=form is not None and out is None)
    if told.tally.faulty:
        raise typer.Exit(SOME_FAULTY)


def _form_of(out: Path | None, printed: Form, table: TableWanted | None) -> FileForm | None:
    """The form of the file, or of what is printed; None for people. Raises QuestionError for options that do not go
    together."""
    if out is not None and printed is not Form.people:
        raise QuestionError("An answer has one form.", field="--out", remedy="Leave out --json or --csv.")
    form = printed.value if out is None else out.suffix.casefold().removeprefix(".")
    if form not in (*_FORMS, Form.people.value):
        remedy = f"End it in {', '.join(f'.{each}' for each in _FORMS[:-1])} or .{_FORMS[-1]}."
        raise QuestionError("The name of the file does not say its form.", value=str(out), field="--out", remedy=remedy)
    if table is not None and form not in ("csv", "parquet"):
        raise QuestionError(
            "Only CSV and Parquet hold one table.", field="--table", remedy="Leave it out, or ask for one of these."
        )
    return None if form == Form.people.value else cast("FileForm", form)


def _common(duty: DutyTyped, limit: int | None) -> dict[str, str]:
    """What the options say for all lines, by dotted names. Raises InputError for what could be right in no line."""
    from specdb.cross_checks.for_all import read_common
    from specdb.duty.dotted import dotted_of
    from specdb.duty.left import faults_in_the_rest
    from specdb.duty.question import read_question

    asked = duty.asked()
    original: dict[str, Any] = asked.get("original") or {}
    is_lone = isinstance(original, dict) and bool(original) and "number" not in original
    question = read_question({**asked, "original": {"number": "-", **original}} if is_lone else asked)
    if faults := faults_in_the_rest(asked, ()):
        raise QuestionError.of(faults)
    dotted = dotted_of(question)
    if is_lone:
        del dotted["original.number"]
    if limit is not None or "limit" in asked:
        dotted["limit"] = str(question.limit if limit is None else limit)
    return read_common(dotted)


def _read(file: Path, common: dict[str, str], mode: ModeName | None) -> CrossCheck:
    """The lines of the file, with what it says for all of them and what options say, which have the last word. Raises
    QuestionError for a file that cannot be read."""
    from specdb.cross_checks.for_all import read_cross_check_file

    if str(file) == "-":
        asked = read_cross_check_file("input", io.BytesIO(_input()))
    else:
        try:
            with file.open("rb") as opened:
                asked = read_cross_check_file(file.name, opened)
        except OSError as error:
            message = f"The file cannot be read: {error.strerror or error}."
            raise QuestionError(message, value=str(file), field="FILE", remedy="Name a file of lines.") from None
    return asked.said_anew(common, None if mode is None else mode.value)


def _input() -> bytes:
    """What comes in, as bytes where it can be had as bytes."""
    if isinstance(sys.stdin, io.TextIOWrapper):
        content: bytes = sys.stdin.buffer.read()
        return content
    return str(sys.stdin.read()).encode()


def _give(
    form: FileForm | None,
    out: Path | None,
    head: CrossCheckAnswer,
    answers: Iterable[LineAnswer],
    table: TableWanted,
    units: Units,
    mode: Mode,
) -> None:
    """Prints or keeps the answers as data; those for people only pass."""
    from specdb.cross_checks.written import csv_pieces, json_pieces, write_file

    if form is None:
        deque(answers, maxlen=0)
    elif out is None:
        pieces = json_pieces(head, answers) if form == "json" else csv_pieces(head, answers, table.value, units.value)
        for piece in chain(pieces, ["\n"] if form == "json" else []):
            write_utf8(piece)
    else:
        with kept_file(out, "--out") as kept:
            write_file(form, kept, head, answers, table=table.value, units=units.value, mode=mode)


@contextmanager
def _told_of(answers: Iterable[LineAnswer], total: int) -> Iterator[Iterator[LineAnswer]]:
    """The answers, of which standard error tells how many there are by now: a bar at a terminal, elsewhere a line for
    each tenth."""
    if not sys.stderr.isatty():
        yield _in_tenths(answers, total)
        return
    with progress("answering lines") as advance:

        def counted() -> Iterator[LineAnswer]:
            for done, answer in enumerate(answers, start=1):
                advance(done, total)
                yield answer

        yield counted()


def _in_tenths(answers: Iterable[LineAnswer], total: int) -> Iterator[LineAnswer]:
    started, told = time.monotonic(), 0
    for done, answer in enumerate(answers, start=1):
        yield answer
        if done * 10 // total > told and time.monotonic() - started > QUIET_S:
            told = done * 10 // total
            print(f"{done} of {total} lines answered", file=sys.stderr)
