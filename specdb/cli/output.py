"""Answers on standard output, for people, as JSON or as CSV, and files: whole or not at all."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from specdb.cli.errors import OUTPUT_CLOSED
from specdb.cli.options import Form, Units
from specdb.errors import QuestionError

if TYPE_CHECKING:
    from rich.console import Console

    from specdb.answers.shape import WithTable


def give(answer: WithTable, form: Form, units: Units, printed: Callable[[Console], None]) -> None:
    """Writes an answer in the form that was asked for; ``printed`` prints it for people."""
    if form is Form.json:
        write_json(answer.model_dump_json(indent=2))
    elif form is Form.csv:
        write_utf8(answer.table(units.value).csv())
    else:
        write_for_people(printed)


def write_json(text: str) -> None:
    """JSON is UTF-8 (RFC 8259, section 8.1), whatever the console takes."""
    write_utf8(f"{text}\n")


def write_for_people(printed: Callable[[Console], None]) -> None:
    from specdb.printing.page import console

    out = console()
    with out.capture() as captured:
        printed(out)
    lines = (line.rstrip() for line in captured.get().splitlines())
    write("".join(f"{line}\n" for line in lines))


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
    try:
        with to.open("xb") as file:
            try:
                file.write(content)
            except OSError:
                to.unlink()
                raise
    except FileExistsError:
        message, remedy = "This is there already, and nothing is written over.", "Name a new file."
        raise QuestionError(message, value=str(to), field=option, remedy=remedy) from None
    except OSError as error:
        message, remedy = f"The file cannot be written: {error.strerror or error}.", "Name another."
        raise QuestionError(message, value=str(to), field=option, remedy=remedy) from None
