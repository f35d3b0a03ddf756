"""The command line, a file a subject.

Heavy modules are loaded by the command that needs them, so that ``specdb --help`` answers at once.
"""

from __future__ import annotations

import io
import sys
from typing import Annotated

import typer

from specdb.cli import asking, calculating, cross_checking, drawing, errors, exchanging, serving
from specdb.cli.output import write
from specdb.errors import SpecdbError

__all__ = ["app", "main"]


def _tell_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        from specdb.answers.shape import METHOD_VERSION

        write(f"specdb {version('specdb')}, method {METHOD_VERSION}\n")
        raise typer.Exit


app = typer.Typer(
    help="Which hydraulic filter element serves a duty, which may stand in for another, and what is not shown.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


@app.callback()
def _program(
    version: Annotated[
        bool, typer.Option("--version", is_eager=True, callback=_tell_version, help="Tell the versions and stop.")
    ] = False,
) -> None:
    pass


app.command()(asking.search)
app.command()(asking.show)
app.command()(asking.rank)
app.command()(asking.ask)
app.command()(asking.compare)
app.command()(cross_checking.cross_check)
app.command()(drawing.picture)
app.command("list")(asking.list_)
app.command()(asking.history)
app.command()(asking.characteristics)
app.add_typer(calculating.calc_app, short_help="Work out the trade's small sums.")
app.command("import")(exchanging.import_)
app.command()(exchanging.export)
app.command()(exchanging.blank)
app.command()(exchanging.template)
app.command()(serving.serve)
app.command()(serving.demo)


def main() -> None:
    """Run the command line; every fault ends in one line on standard error and an exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a console that lacks µ or ≥ is no reason to fail
    try:
        status = typer.main.get_command(app)(prog_name="specdb", standalone_mode=False)
    except SpecdbError as error:
        sys.exit(errors.tell(error))
    except typer.TyperException as error:
        sys.exit(errors.tell_usage(error))
    except (KeyboardInterrupt, typer.Abort):
        sys.exit(errors.INTERRUPTED)
    sys.exit(status if isinstance(status, int) else 0)
