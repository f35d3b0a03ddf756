"""The command line.

Exit status: 0 answered; 1 failed; 2 the question cannot be read; 3 not on file; 4 an import was
refused; 6 the store cannot be used. Heavy modules are loaded by the command
that needs them, so that ``specdb --help`` answers at once.
"""

from __future__ import annotations

import getpass
import io
import json
import os
import re
import socket
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from specdb.errors import ImportRefusedError, QuestionError, RowFault, SpecdbError

if TYPE_CHECKING:
    import sqlalchemy as sa

    from specdb.duty import Question

LOOPBACK = "127.0.0.1"
LISTED = 10
"""Candidates at a terminal, where nothing else is said."""

app = typer.Typer(
    help="Which hydraulic filter element serves a duty, which may stand in for another, and what is not shown.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


class Units(StrEnum):
    si = "si"
    us = "us"


AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON.")]
InUnits = Annotated[Units, typer.Option("--units", help="SI or US customary units.")]
AsOf = Annotated[str | None, typer.Option("--as-of", help="A revision number or a date: the catalogue as it was then.")]
Maker = Annotated[str | None, typer.Option("--maker", help="The maker, where several have the number.")]


def main() -> None:
    """Run the command line, and turn our errors into one line and an exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a console that lacks µ or ≥ is no reason to fail
    try:
        app()
    except SpecdbError as error:
        _say(error)
        sys.exit(error.exit_status)


def _print_json(text: str) -> None:
    """JSON is UTF-8 (RFC 8259, section 8.1), whatever the console takes."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8")
    print(text)


def _say(error: SpecdbError) -> None:
    faults = error.faults if isinstance(error, ImportRefusedError) else getattr(error, "faults", ())
    if "--json" in sys.argv:
        print(json.dumps(_told(error, faults), ensure_ascii=False), file=sys.stderr)
        return
    if faults:
        whole = error.message if isinstance(error, ImportRefusedError) else f"{len(faults)} fields are wrong."
        print(f"specdb: {whole}", file=sys.stderr)
    for fault in faults or [error]:
        text = str(fault) if isinstance(fault, RowFault) else _as_typed(fault)
        print(f"  {text}" if faults else f"specdb: {text}", file=sys.stderr)


def _as_typed(error: SpecdbError) -> str:
    """An error in one line, its field named as the option that it was typed in."""
    place = f"{_option_of(error.field)}: " if error.field else ""
    found = f" Found: {error.value}." if error.value is not None and error.value not in error.message else ""
    return f"{place}{error.message}{found}" + (f" {error.remedy}" if error.remedy else "")


def _option_of(field: str) -> str:
    if "--duty" in sys.argv:
        return field
    if match := re.fullmatch(r"duty\.require\.(\d+)(?:\.(.+))?", field):
        return f"--require no. {int(match[1]) + 1}" + (f", {match[2]}" if match[2] else "")
    if match := re.fullmatch(r"duty\.(fit|assumptions)\.?(.*)", field):
        return f"{'--fit' if match[1] == 'fit' else '--assume'} {match[2]}".rstrip()
    if match := re.fullmatch(r"duty\.(?:fluid\.)?(\w+)", field):
        return "--fluid-class" if match[1] == "class" else f"--{match[1].replace('_', '-')}"
    others = {"original.number": "NUMBER", "as_of": "--as-of"}
    return others.get(field, field.replace("original.", "--"))


def _told(error: SpecdbError, faults: Sequence[SpecdbError | RowFault]) -> dict[str, Any]:
    """An error as data; ``errors`` holds each fault with its place, what was found and what would be right."""
    each = [
        asdict(fault)
        if isinstance(fault, RowFault)
        else {"field": fault.field, "message": fault.message, "found": fault.value, "remedy": fault.remedy}
        for fault in faults or (error,)
    ]
    return {"code": error.code, "message": str(error), "errors": each}


@contextmanager
def _store(*, create: bool = False) -> Iterator[sa.Engine]:
    from specdb.catalog.store import database_url, open_store

    engine = open_store(database_url(), create=create)
    try:
        yield engine
    finally:
        engine.dispose()


# --- taking in ------------------------------------------------------------------------------


@app.command("import")
def import_(
    folder: Annotated[Path, typer.Argument(help="A catalogue folder: sources, elements, ratings, interchanges.")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check everything, write nothing.")] = False,
    actor: Annotated[str | None, typer.Option(help="Who imports; by default the user's name.")] = None,
    reason: Annotated[str | None, typer.Option(help="Why; by default the folder's name.")] = None,
    as_json: AsJson = False,
) -> None:
    """Take a catalogue folder in, all or nothing. Twice is the same as once."""
    from specdb.exchange import import_folder
    from specdb.printing import print_import

    with _store(create=True) as engine, _progress() as progress:
        report = import_folder(
            engine,
            folder,
            actor=actor or _user(),
            reason=reason or f"import of {folder.resolve().name}",
            dry_run=dry_run,
            progress=progress,
        )
    if as_json:
        _print_json(json.dumps(asdict(report), ensure_ascii=False, indent=2))
    else:
        print_import(report)


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown user"


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error for work that takes longer than a second."""
    from rich.console import Console
    from rich.progress import Progress

    started = time.monotonic()
    terminal = Console(stderr=True)
    bar = Progress(console=terminal, transient=True, disable=not terminal.is_terminal)
    task = bar.add_task("importing", total=None)

    def advance(done: int, total: int) -> None:
        if not bar.live.is_started and time.monotonic() - started > 1.0:
            bar.start()
        bar.update(task, completed=done, total=total)

    try:
        yield advance
    finally:
        if bar.live.is_started:
            bar.stop()


# --- asking ---------------------------------------------------------------------------------


@app.command()
def rank(
    number: Annotated[str | None, typer.Argument(help="Part number of the original element, if there is one.")] = None,
    maker: Maker = None,
    allow: Annotated[
        str | None, typer.Option("--allow", help='Relax what is taken from the original by this share: "5 %".')
    ] = None,
    require: Annotated[
        list[str] | None,
        typer.Option(
            "--require",
            help='A requirement, such as "filtration_ratio >= 200; size 10 um(c)" or '
            '"clean_pressure_drop <= 25 kPa; flow 75 L/min; viscosity 32 mm2/s; drop_of element". May be repeated.',
        ),
    ] = None,
    fit: Annotated[
        list[str] | None,
        typer.Option(
            "--fit", help='What must fit, such as "thread 1-12 UNF" or "length 140 mm +- 1 mm". May be repeated.'
        ),
    ] = None,
    flow: Annotated[str | None, typer.Option(help="Flow through the filter.")] = None,
    grade: Annotated[str | None, typer.Option(help="Viscosity grade of the fluid: ISO VG 46.")] = None,
    viscosity_index: Annotated[float | None, typer.Option(help="Viscosity index of the fluid.")] = None,
    viscosity: Annotated[str | None, typer.Option(help="Viscosity at operating temperature.")] = None,
    density: Annotated[str | None, typer.Option(help="Density of the fluid.")] = None,
    fluid_class: Annotated[str | None, typer.Option(help="Class of the fluid by ISO 6743-4: HM, HFC, HEES.")] = None,
    operating_temperature: Annotated[str | None, typer.Option(help='Operating temperature: "50 degC".')] = None,
    bypass_cracking_pressure: Annotated[
        str | None, typer.Option(help="Drop at which the bypass opens: the terminal drop of a capacity.")
    ] = None,
    assume: Annotated[
        list[str] | None,
        typer.Option(
            "--assume", help='"customary" for all, or one by name, such as "about_within=15 %". May be repeated.'
        ),
    ] = None,
    duty: Annotated[
        Path | None, typer.Option("--duty", help="A file with the question in JSON, as the API takes it; - for input.")
    ] = None,
    limit: Annotated[
        int | None, typer.Option(min=1, max=500, help=f"Most candidates to list; {LISTED} unless --duty says.")
    ] = None,
    without_evidence: Annotated[
        bool, typer.Option("--without-evidence", help="List elements with nothing on file as well.")
    ] = False,
    explain: Annotated[bool, typer.Option("--explain", help="Every sentence, with sources and margins.")] = False,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
) -> None:
    """Rank the elements that may serve a duty or stand in for an original, and say what each has shown."""
    from specdb.duty.question import read_question

    asked = _question_file(duty) if duty is not None else {}
    if number is not None:
        asked["original"] = {"number": number} | ({"maker": maker} if maker else {})
    elif maker is not None:
        raise QuestionError("A maker alone names no element.", field="--maker", remedy="Give the part number too.")
    if allow is not None:
        _part(asked, "original")["allow"] = allow
    stated = _part(asked, "duty")
    fluid = {"grade": grade, "viscosity_index": viscosity_index, "viscosity": viscosity, "density": density}
    _put(stated, "fluid", fluid | {"class": fluid_class})
    for name, value in (
        ("flow", flow),
        ("operating_temperature", operating_temperature),
        ("bypass_cracking_pressure", bypass_cracking_pressure),
    ):
        if value is not None:
            stated[name] = value
    if require:
        stated["require"] = [*_part(stated, "require", list), *map(requirement_of, require)]
    _put(stated, "fit", dict(map(fit_of, fit or [])))
    if assume:
        stated["assumptions"] = assumptions_of(assume)
    if limit is not None or "limit" not in asked:
        asked["limit"] = LISTED if limit is None else limit
    if without_evidence:
        asked["include_without_evidence"] = True
    if as_of is not None:
        asked["as_of"] = as_of
    _answer(read_question(asked), units, as_json, explain)


def _answer(question: Question, units: Units, as_json: bool, explain: bool) -> None:
    from specdb import answers, ranking
    from specdb.catalog.reading import load_snapshot
    from specdb.catalog.store import read_session
    from specdb.printing import print_equivalents

    with _store() as engine, read_session(engine) as connection:
        snapshot = load_snapshot(connection, _revision(connection, question.as_of))
    answer = answers.equivalents(
        ranking.rank(question, snapshot),
        limit=question.limit,
        units=units.value,
        include_without_evidence=question.include_without_evidence,
    )
    if as_json:
        _print_json(answer.model_dump_json(indent=2))
    else:
        print_equivalents(answer, explain)


def _put(stated: dict[str, Any], group: str, values: dict[str, Any]) -> None:
    given = {name: value for name, value in values.items() if value is not None}
    if given:
        stated[group] = _part(stated, group) | given


def _part(asked: dict[str, Any], name: str, kind: type = dict) -> Any:
    """The object or list at ``name`` in a question from a file, to which options are added."""
    part = asked.setdefault(name, kind())
    if not isinstance(part, kind):
        what = "object" if kind is dict else "list"
        raise QuestionError(f"This is no JSON {what}.", value=part, field=name, remedy="See docs/duty.md.")
    return part


def _revision(connection: sa.Connection, as_of: str | None) -> int:
    from specdb.catalog.revisions import current_revision, revision_as_of

    return current_revision(connection) if as_of is None else revision_as_of(connection, as_of)


def _question_file(path: Path) -> dict[str, Any]:
    field = str(path)
    try:
        text = sys.stdin.read() if field == "-" else path.read_text(encoding="utf-8")
        asked = json.loads(text)
    except (OSError, ValueError, RecursionError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise QuestionError(f"The file cannot be read: {why}.", field=field, remedy="Give a JSON question.") from None
    if not isinstance(asked, dict):
        raise QuestionError("The file holds no JSON object.", field=field, remedy="Give a JSON question.")
    return asked


_LIMITS = {
    ">=": "at_least",
    "at least": "at_least",
    "<=": "at_most",
    "at most": "at_most",
    "≥": "at_least",
    "≤": "at_most",
}


def requirement_of(text: str) -> dict[str, str]:
    """A requirement as typed: "filtration_ratio >= 200; size 10 um(c)". Raises QuestionError."""
    first, *rest = (clause.strip() for clause in text.split(";"))
    match = re.fullmatch(r"([\w ]+?)\s*(>=|<=|≥|≤|at least\b|at most\b)\s*(.+)", first, re.IGNORECASE)
    if match is None:
        raise QuestionError(
            "This is no requirement.",
            value=text,
            field="--require",
            remedy='Write a characteristic, >= or <= and a limit, then conditions after ";": '
            '"filtration_ratio >= 200; size 10 um(c)".',
        )
    asked = {"characteristic": match[1].strip().replace(" ", "_"), _LIMITS[match[2].casefold()]: match[3].strip()}
    for clause in filter(None, rest):
        name, _, value = clause.replace("=", " ", 1).partition(" ")
        asked[name] = value.strip()
    return asked


def fit_of(text: str) -> tuple[str, str | dict[str, str]]:
    """A fit measure or word as typed: "thread 1-12 UNF", "length 140 mm +- 1 mm"."""
    name, _, value = text.strip().replace("=", " ", 1).partition(" ")
    measure, sign, tolerance = re.sub(r"\+/?-|±", "±", value).partition("±")
    return (name, {"value": measure.strip(), "tolerance": tolerance.strip()}) if sign else (name, value.strip())


def assumptions_of(texts: list[str]) -> str | dict[str, Any]:
    """Assumptions as typed: "customary", names with or without a value, or both, where the names have the last word."""
    from specdb.duty.question import AssumptionsAsked

    if texts == ["customary"]:
        return "customary"
    all_of_them = dict.fromkeys(AssumptionsAsked.model_fields, True) if "customary" in texts else {}
    pairs = (text.partition("=") for text in texts if text != "customary")
    return all_of_them | {name.strip(): value.strip() if sign else True for name, sign, value in pairs}


@app.command()
def show(
    number: Annotated[str, typer.Argument(help="Part number of an element on file.")],
    maker: Maker = None,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
) -> None:
    """Show one element: what it is, its ratings as stated, and the claims made of it."""
    from specdb.answers import element_answer
    from specdb.catalog.reading import find_element, read_element
    from specdb.catalog.store import read_session
    from specdb.printing import print_element

    with _store() as engine, read_session(engine) as connection:
        revision = _revision(connection, as_of)
        found = read_element(connection, find_element(connection, number, maker, revision), revision)
    answer = element_answer(found, revision, units.value)
    if as_json:
        _print_json(answer.model_dump_json(indent=2))
    else:
        print_element(answer)


# --- serving --------------------------------------------------------------------------------


@app.command()
def serve(
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")] = 8000,
    host: Annotated[
        str, typer.Option(help="Address to bind; the loopback address reaches this machine only.")
    ] = LOOPBACK,
) -> None:
    """Serve the API over the store that SPECDB_DATABASE_URL names."""
    with _store():
        pass  # a store that cannot be used is said here, before the server starts
    _refuse_taken(host, port)
    _run_server(host, port)


def _refuse_taken(host: str, port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise QuestionError(
                f"The server cannot listen on {host} port {port}: {error.strerror}.",
                field="--port",
                remedy="Choose another with --port.",
            ) from None


def _run_server(host: str, port: int) -> None:
    import uvicorn

    uvicorn.run("api:app", host=host, port=port, log_level="info")


@app.command()
def demo(
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")] = 8000,
    load_only: Annotated[
        bool, typer.Option("--load-only", help="Load the catalogue and stop, without serving.")
    ] = False,
) -> None:
    """Load the invented demo catalogue into a store of its own, say what to try, and serve it."""
    from specdb.catalog.store import ENVIRONMENT_VARIABLE
    from specdb.demo import demo_folder, demo_url, what_to_try

    os.environ[ENVIRONMENT_VARIABLE] = url = demo_url()
    from specdb.exchange import import_folder

    if not load_only:
        _refuse_taken(LOOPBACK, port)
    with _store(create=True) as engine, _progress() as progress:
        import_folder(engine, demo_folder(), actor="specdb demo", reason="the demo catalogue", progress=progress)
    print(what_to_try(url, None if load_only else f"http://{LOOPBACK}:{port}", sys.argv[0]), flush=True)
    if not load_only:
        _run_server(LOOPBACK, port)
