"""A catalogue in and out: ``import``, ``export``, and ``blank``, a workbook to fill in; ``template``, one that asks."""

from __future__ import annotations

import getpass
import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from specdb.cli.options import AsJson, AsOf
from specdb.cli.output import write_for_people, write_json
from specdb.cli.store import store


def import_(
    source: Annotated[
        Path,
        typer.Argument(
            metavar="SOURCE", help="A catalogue folder, a zip file of one, a workbook (.xlsx) or one CSV file."
        ),
    ],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check everything, write nothing.")] = False,
    actor: Annotated[str | None, typer.Option(help="Who imports; by default the user's name.")] = None,
    reason: Annotated[str | None, typer.Option(help="Why; by default the name of the source.")] = None,
    expected_revision: Annotated[
        int | None,
        typer.Option(min=0, help="Import only if the catalogue is still at this revision; 0 is an empty one."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Take a catalogue in, all or nothing. Twice is the same as once."""
    from specdb.exchange import import_catalogue
    from specdb.printing.exchange import print_import

    with store(create=True) as engine, progress("importing") as advance:
        report = import_catalogue(
            engine,
            source,
            actor=actor or _user(),
            reason=reason or f"import of {source.resolve().name}",
            dry_run=dry_run,
            expected_revision=expected_revision,
            progress=advance,
        )
    if as_json:
        from specdb.answers.imports import import_answer

        write_json(import_answer(report).model_dump_json(indent=2))
    else:
        write_for_people(lambda out: print_import(out, report))


def export(
    target: Annotated[
        Path,
        typer.Argument(
            metavar="TARGET",
            help="Where to: a workbook if the name ends in .xlsx, a zip file if in .zip, else a folder.",
        ),
    ],
    formula_safe: Annotated[
        bool,
        typer.Option(
            "--formula-safe",
            help="For reading in a spreadsheet program: an apostrophe before texts that it would take for formulas. "
            "Such files are not taken in again; a workbook needs none.",
        ),
    ] = False,
    as_of: AsOf = None,
    as_json: AsJson = False,
) -> None:
    """Write the catalogue out as a folder, zip or workbook.

    What was written can be imported again and holds the same facts, with what took the place of what. A target that
    is there already is refused, unless it is an empty folder.
    """
    from specdb.exchange import export_catalogue
    from specdb.printing.exchange import print_export

    with store() as engine:
        report = export_catalogue(engine, target, as_of=as_of, formula_safe=formula_safe)
    if as_json:
        write_json(json.dumps(asdict(report) | {"target": str(target)}, ensure_ascii=False, indent=2))
    else:
        write_for_people(lambda out: print_export(out, report))


def blank(
    target: Annotated[
        Path, typer.Argument(metavar="TARGET", help="Where to: a file whose name ends in .xlsx, not there yet.")
    ],
    as_json: AsJson = False,
) -> None:
    """Write a blank workbook to fill in and import.

    It has every sheet and heading, lists of words where there are any, and a first sheet that says what each column is.
    """
    from specdb.exchange.blank import write_blank
    from specdb.printing.page import say

    write_blank(target)
    if as_json:
        write_json(json.dumps({"target": str(target)}, ensure_ascii=False, indent=2))
    else:
        write_for_people(lambda out: say(out, f"A blank workbook is in {target}."))


def template(
    target: Annotated[
        Path, typer.Argument(metavar="TARGET", help="Where to: a file whose name ends in .xlsx, not there yet.")
    ],
    service: Annotated[
        str | None, typer.Option(help="Address of the service that it asks; by default the one on this machine.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write a workbook that asks a running service as its rows are filled in.

    Its first sheet says how, and what a spreadsheet program must have for it.
    """
    from specdb.cross_checks.template import LOCAL_SERVICE, write_template
    from specdb.printing.page import say

    address = LOCAL_SERVICE if service is None else service
    write_template(target, address)
    if as_json:
        write_json(json.dumps({"target": str(target), "service": address}, ensure_ascii=False, indent=2))
    else:
        write_for_people(lambda out: say(out, f"A workbook that asks {address or 'no service yet'} is in {target}."))


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown user"


@contextmanager
def progress(doing: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error for work that takes longer than a second."""
    from rich.console import Console
    from rich.progress import Progress

    started = time.monotonic()
    terminal = Console(stderr=True)
    bar = Progress(console=terminal, transient=True, disable=not terminal.is_terminal)
    task = bar.add_task(doing, total=None)

    def advance(done: int, total: int) -> None:
        if not bar.live.is_started and time.monotonic() - started > 1.0:
            bar.start()
        bar.update(task, completed=done, total=total)

    try:
        yield advance
    finally:
        if bar.live.is_started:
            bar.stop()
