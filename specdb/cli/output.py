"""Answers on standard output, for people, as JSON or as CSV, and files, Parquet among them: whole or not at all."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import typer

from specdb.cli.errors import OUTPUT_CLOSED
from specdb.cli.options import Form, Units
from specdb.errors import QuestionError

if TYPE_CHECKING:
    from rich.console import Console

    from specdb.answers.shape import WithTable


def give(
    answer: WithTable, form: Form, units: Units, printed: Callable[[Console], None], parquet: Path | None = None
) -> None:
    """Writes an answer in the form that was asked for; ``printed`` prints it for people. With ``parquet`` its rows go
    to that new file instead. Raises QuestionError where they cannot."""
    if parquet is not None:
        if parquet.suffix.casefold() != ".parquet":
            message, remedy = "The rows are kept as Parquet.", "End the name in .parquet."
            raise QuestionError(message, value=parquet.name, field="--parquet", remedy=remedy)
        keep(parquet, answer.table(units.value).parquet(), "--parquet")
        write(f"The rows are in {parquet}.\n")
    elif form is Form.json:
        write_json(answer.model_dump_json(indent=2))
    elif form is Form.csv:
        write_utf8(answer.table(units.value).csv())
    else:
        write_for_people(printed)


def write_json(text: str) -> None:
    """JSON is UTF-8 (RFC 8259, section 8.1), whatever the console takes."""
    write_utf8(f"{text}\n")


def write_for_people(printed: Callable[[Console], None], aside: bool = False) -> None:
    """Writes what is ``printed``; ``aside``, on standard error, where standard output is for data."""
    from specdb.printing.page import console

    out = console()
    with out.capture() as captured:
        printed(out)
    text = "".join(f"{line.rstrip()}\n" for line in captured.get().splitlines())
    if aside:
        sys.stderr.write(text)
    else:
        write(text)


def write(text: str) -> None:
    """Text as the console takes it. A reader that has gone away, as ``head`` does, ends the program quietly."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        # What is still held back would be tried again, and complained about, when the program ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise typer.Exit(OUTPUT_CLOSED) from None


def write_utf8(text: str) -> None:
    """The bytes of ``text`` in UTF-8, its line ends as they are."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8", newline="")
    write(text)


def keep(to: Path, content: bytes, option: str) -> None:
    """Writes a new file, whole or not at all. Raises QuestionError for ``option`` where it is there or cannot be
    written."""
    with kept_file(to, option) as file:
        file.write(content)


@contextmanager
def kept_file(to: Path, option: str) -> Iterator[BinaryIO]:
    """A new file to be written, which gets its name when it is whole, and is gone where that fails or is broken off.
    Raises as :func:`keep`."""
    part = to.with_name(f".{to.name}.{os.getpid()}.part")
    try:
        if to.exists():
            raise FileExistsError
        try:
            with part.open("xb") as file:
                yield file
            _name_anew(part, to)
        finally:
            part.unlink(missing_ok=True)
    except FileExistsError:
        message, remedy = "This is there already, and nothing is written over.", "Name a new file."
        raise QuestionError(message, value=str(to), field=option, remedy=remedy) from None
    except OSError as error:
        message, remedy = f"The file cannot be written: {error.strerror or error}.", "Name another."
        raise QuestionError(message, value=str(to), field=option, remedy=remedy) from None


def _name_anew(part: Path, to: Path) -> None:
    """Raises FileExistsError where something came there meanwhile."""
    try:
        to.hardlink_to(part)
    except FileExistsError:
        raise
    except OSError:  # not every file system has links
        if to.exists():
            raise FileExistsError from None
        part.rename(to)
