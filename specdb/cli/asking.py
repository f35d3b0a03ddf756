"""Questions to the catalogue."""

from __future__ import annotations

from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

import typer

from specdb.cli import completion
from specdb.cli.duty import Assume, DutyTyped, Require, part, with_duty
from specdb.cli.options import AsCsv, AsJson, AsOf, AsParquet, Form, InUnits, Maker, Units, form_of
from specdb.cli.output import give, keep, write
from specdb.cli.store import pointed_at, reading, refuse_one_number_in_parts
from specdb.cli.typed import assumptions_of
from specdb.errors import QuestionError

if TYPE_CHECKING:
    from specdb.answers import ComparisonAnswer
    from specdb.duty.question import ComparisonAsked, Question
    from specdb.ranking import Ranking

LISTED = 10
"""Candidates at a terminal, where nothing else is said."""

Number = Annotated[
    list[str],
    typer.Argument(
        metavar="NUMBER",
        help='Part number of an element on file, "maker: number" or an element\'s identifier.',
        autocompletion=completion.numbers,
    ),
]
Explain = Annotated[bool, typer.Option("--explain", help="Every sentence, with sources and margins.")]


OriginalNumber = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="NUMBER",
        help='Part number of the original element, if there is one, "maker: number" or its identifier.',
        autocompletion=completion.numbers,
    ),
]
Limit = Annotated[
    int | None, typer.Option(min=1, max=500, help=f"Most candidates to list; {LISTED} unless --duty says.")
]
WithoutEvidence = Annotated[
    bool, typer.Option("--without-evidence", help="List elements with nothing on file as well.")
]
Windows = Annotated[
    bool, typer.Option("--windows", help="Tell at which flow, viscosity and temperature each met criterion ends.")
]


@with_duty
def rank(
    duty: DutyTyped,
    number: OriginalNumber = None,
    maker: Maker = None,
    limit: Limit = None,
    without_evidence: WithoutEvidence = False,
    windows: Windows = False,
    explain: Explain = False,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    as_parquet: AsParquet = None,
) -> None:
    """Rank what serves a duty or stands in for an original.

    Every element on file is judged; of each candidate it is told what it meets, misses and has not shown.
    """
    from specdb import answers
    from specdb.printing.decisions import print_equivalents

    question, ranking = _ranked(duty, number, maker, limit, without_evidence, as_of)
    answer = answers.equivalents(
        ranking,
        limit=question.limit,
        units=units.value,
        include_without_evidence=question.include_without_evidence,
        include_windows=windows or question.include_windows,
    )
    give(answer, form_of(as_json, as_csv), units, lambda out: print_equivalents(out, answer, explain), as_parquet)


@with_duty
def ask(
    duty: DutyTyped,
    number: OriginalNumber = None,
    maker: Maker = None,
    limit: Limit = None,
    without_evidence: WithoutEvidence = False,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    as_parquet: AsParquet = None,
) -> None:
    """Write to makers for the tests that are not shown.

    Of the candidates that rank lists: which test would settle what, and a letter to each maker.
    """
    from specdb import answers
    from specdb.printing.requests import print_requests

    question, ranking = _ranked(duty, number, maker, limit, without_evidence, as_of)
    answer = answers.requests_answer(
        ranking,
        limit=question.limit,
        units=units.value,
        include_without_evidence=question.include_without_evidence,
    )
    give(answer, form_of(as_json, as_csv), units, lambda out: print_requests(out, answer), as_parquet)


def _ranked(
    duty: DutyTyped,
    number: list[str] | None,
    maker: str | None,
    limit: int | None,
    without_evidence: bool,
    as_of: str | None,
) -> tuple[Question, Ranking]:
    """What was asked, and every element on file judged by it."""
    from specdb import ranking
    from specdb.catalog.reading import load_snapshot
    from specdb.duty.question import read_question

    asked = duty.asked()
    if number:
        part(asked, "original")["number"] = " ".join(number)
        if maker is not None:
            part(asked, "original")["maker"] = maker
    else:
        _refuse_lone(maker)
    _refuse_nothing(asked, "Name the original element, or state a requirement with --require or --fit.")
    if limit is not None or "limit" not in asked:
        asked["limit"] = LISTED if limit is None else limit
    if without_evidence:
        asked["include_without_evidence"] = True
    if as_of is not None:
        asked["as_of"] = as_of
    question = read_question(asked)
    with reading(question.as_of) as (connection, revision):
        if number and question.original is not None:
            original = question.original
            original.number, original.maker = pointed_at(connection, number, maker, revision)
        snapshot = load_snapshot(connection, revision)
    return question, ranking.rank(question, snapshot)


class Paper(StrEnum):
    a4 = "a4"
    letter = "letter"


@with_duty
def compare(
    duty: DutyTyped,
    number: Annotated[
        list[str],
        typer.Argument(
            metavar="NUMBER...",
            help='Part numbers of elements on file, each in quotes if it holds spaces; "maker: number" where several '
            "have the number, or identifiers.",
            autocompletion=completion.whole_numbers,
        ),
    ],
    original: Annotated[
        str | None,
        typer.Option(
            metavar="NUMBER",
            help="The element they may stand in for, named in the same ways.",
            autocompletion=completion.whole_numbers,
        ),
    ] = None,
    windows: Windows = False,
    explain: Explain = False,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    as_parquet: AsParquet = None,
    pdf: Annotated[
        Path | None,
        typer.Option("--pdf", metavar="FILE", help="Keep it as a sheet to sign, in a new file that ends in .pdf."),
    ] = None,
    paper: Annotated[Paper | None, typer.Option("--paper", help="Of the sheet; A4 unless said otherwise.")] = None,
) -> None:
    """Set elements side by side, for a duty or an original.

    A row for each requirement, what is missed first, and a column for each element.
    """
    from specdb import answers
    from specdb.catalog.reading import load_snapshot
    from specdb.duty.question import ElementAsked, read_comparison
    from specdb.printing.comparison import print_comparison

    form = form_of(as_json, as_csv)
    _refuse_forms_of_sheet(pdf, paper, form is not Form.people or as_parquet is not None)
    asked = duty.asked()
    asked["elements"] = [*part(asked, "elements", list), *({"number": each} for each in number)]
    if original is not None:
        part(asked, "original")["number"] = original
    if _asks_nothing(asked):
        with reading(as_of) as (connection, revision):
            refuse_one_number_in_parts(connection, number, revision)
    _refuse_nothing(asked, "Say what they are compared for: --original NUMBER, or --require or --fit.")
    if as_of is not None:
        asked["as_of"] = as_of
    if windows:
        asked["include_windows"] = True
    question = read_comparison(asked)
    with reading(question.as_of) as (connection, revision):
        refuse_one_number_in_parts(connection, number, revision)
        typed = len(question.elements) - len(number)
        for place, each in enumerate(number, start=typed):
            its_number, its_maker = pointed_at(connection, [each], None, revision)
            question.elements[place] = ElementAsked(number=its_number, maker=its_maker)
        if original is not None and question.original is not None:
            question.original.number, question.original.maker = pointed_at(connection, [original], None, revision)
        snapshot = load_snapshot(connection, revision)
    answer = answers.comparison(question, snapshot, units.value)
    if pdf is None:
        give(answer, form, units, lambda out: print_comparison(out, answer, explain), as_parquet)
        return
    keep(pdf, _sheet(answer, question, paper or Paper.a4, units), "--pdf")
    write(f"The sheet is in {pdf}.\n")


def _refuse_forms_of_sheet(pdf: Path | None, paper: Paper | None, other_form: bool) -> None:
    """Raises QuestionError for what makes no sheet."""
    if pdf is None and paper is not None:
        raise QuestionError("Nothing goes on paper.", field="--paper", remedy="Name the file with --pdf.")
    if pdf is not None and other_form:
        remedy = "Leave out --json, --csv or --parquet."
        raise QuestionError("An answer has one form.", field="--pdf", remedy=remedy)
    if pdf is not None and pdf.suffix.casefold() != ".pdf":
        raise QuestionError("The sheet is a PDF.", value=pdf.name, field="--pdf", remedy="End the name in .pdf.")


def _sheet(answer: ComparisonAnswer, question: ComparisonAsked, paper: Paper, units: Units) -> bytes:
    """The sheet of today. Its address is where a service over this store shows it again."""
    from specdb.duty.dotted import dotted_of
    from specdb.sheet.content import Stated, sheet_of
    from specdb.sheet.pdf import as_pdf

    today = datetime.now(UTC).date()
    pinned = {"as_of": str(answer.catalog_revision), "date": today.isoformat()}
    # A page that is told of no assumptions makes the customary ones.
    names = {"assumptions": "none", "units": units.value} | dotted_of(question) | pinned
    if any(name.startswith("assumptions.") for name in names):
        del names["assumptions"]
    stated = Stated(date=today, address=f"/side-by-side?{urlencode(names)}")
    return as_pdf(sheet_of(answer, question, stated), paper.value)


def show(
    number: Number,
    maker: Maker = None,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    as_parquet: AsParquet = None,
) -> None:
    """Show one element: what it is, its ratings, the claims."""
    from specdb.answers import element_answer
    from specdb.catalog.reading import find_element, read_element
    from specdb.printing.elements import print_element

    with reading(as_of) as (connection, revision):
        element_id = find_element(connection, *pointed_at(connection, number, maker, revision), revision)
        found = read_element(connection, element_id, revision)
    answer = element_answer(found, revision, units.value)
    give(answer, form_of(as_json, as_csv), units, lambda out: print_element(out, answer), as_parquet)



def search(
    text: Annotated[
        list[str],
        typer.Argument(metavar="TEXT", help="A number, half of one, or a maker's name; no quotes are needed."),
    ],
    limit: Annotated[int, typer.Option(min=1, max=100, help="Most numbers to list.")] = 20,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    as_parquet: AsParquet = None,
) -> None:
    """Find numbers near a text, and say how near they are.

    A search decides nothing: a number with one character changed is another part. Claims are told as claims.
    """
    from specdb.answers.search import search_answer
    from specdb.catalog.search import SearchIndex
    from specdb.printing.finding import print_hits

    with reading(as_of) as (connection, revision):
        answer = search_answer(connection, SearchIndex.of(connection, revision), revision, " ".join(text), limit)
    give(answer, form_of(as_json, as_csv), units, lambda out: print_hits(out, answer), as_parquet)


def list_(
    maker: Annotated[str | None, typer.Option(help="Of this maker.", autocompletion=completion.makers)] = None,
    kind: Annotated[
        str | None, typer.Option(help="Of this kind: spin-on, cartridge, ...", autocompletion=completion.kinds)
    ] = None,
    fit: Annotated[
        list[str] | None,
        typer.Option(
            "--fit",
            metavar="TEXT",
            help='That state this, such as "thread 1-12 UNF" or "outside_diameter 96 mm +- 2 mm". May be repeated.',
            autocompletion=completion.filters,
        ),
    ] = None,
    require: Require = None,
    assume: Assume = None,
    might: Annotated[
        bool, typer.Option("--might", help="After those that surely fit, list those that might: some of it is open.")
    ] = False,
    limit: Annotated[int, typer.Option(min=1, max=500, help="Most elements to list.")] = 50,
    offset: Annotated[int, typer.Option(min=0, help="Leave out this many at the beginning.")] = 0,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    as_parquet: AsParquet = None,
) -> None:
    """List elements by maker, kind, fit and ratings.

    Listed is what states and meets all that is asked; of how many some of it is open is told.
    """
    from specdb.answers.lists import FILTERS, listing
    from specdb.catalog.reading import load_snapshot
    from specdb.duty.question import read_question
    from specdb.duty.typed import named_value, requirement_of
    from specdb.printing.finding import print_elements

    stated: dict[str, Any] = {"require": [requirement_of(each) for each in require or ()]}
    if assume:
        stated["assumptions"] = assumptions_of(assume)
    duty = read_question({"duty": stated}).duty
    asked: dict[str, str] = {}
    for name, value in (("maker", maker), ("kind", kind), *map(named_value, fit or ())):
        if value is not None and name in asked:
            raise QuestionError("This is asked twice.", value=value, field=name, remedy="Ask it once.")
        if value is not None:
            asked[name] = value
    known = {name: asked[name] for name in FILTERS if name in asked}
    with reading(as_of) as (connection, revision):
        snapshot = load_snapshot(connection, revision)
    answer = listing(snapshot, known | asked, units.value, duty=duty, might=might, limit=limit, offset=offset)
    give(answer, form_of(as_json, as_csv), units, lambda out: print_elements(out, answer, offset, might), as_parquet)


def history(
    number: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="NUMBER",
            help='Part number of an element on file, "maker: number" or its identifier; without it, the revisions.',
            autocompletion=completion.numbers,
        ),
    ] = None,
    maker: Maker = None,
    limit: Annotated[int, typer.Option(min=1, max=500, help="Most revisions to list, without a number.")] = 50,
    as_of: AsOf = None,
    units: InUnits = Units.si,
    as_json: AsJson = False,
    as_csv: AsCsv = False,
    as_parquet: AsParquet = None,
) -> None:
    """Tell what was believed of an element, and when.

    Without a number: the revisions of the catalogue, newest first.
    """
    from specdb.answers import element_answer
    from specdb.answers.history import revisions_answer
    from specdb.catalog.history import read_history, read_revisions
    from specdb.catalog.reading import find_element, read_element
    from specdb.printing.history import print_history, print_revisions

    form = form_of(as_json, as_csv)
    if not number:
        _refuse_lone(maker)
        with reading(as_of) as (connection, revision):
            listed, total = read_revisions(connection, revision, limit=limit)
        revisions = revisions_answer(revision, listed, total, limit)
        give(revisions, form, units, lambda out: print_revisions(out, revisions), as_parquet)
        return
    with reading(as_of) as (connection, revision):
        element_id = find_element(connection, *pointed_at(connection, number, maker, revision), revision)
        steps = read_history(connection, element_id, revision)
        answer = element_answer(read_element(connection, element_id, revision), revision, units.value, steps)
    give(answer, form, units, lambda out: print_history(out, answer), as_parquet)


def _refuse_lone(maker: str | None) -> None:
    if maker is not None:
        raise QuestionError("A maker alone names no element.", field="--maker", remedy="Give the part number too.")


def characteristics(as_json: AsJson = False, as_csv: AsCsv = False, as_parquet: AsParquet = None) -> None:
    """List what can be required, and what an element is."""
    from specdb import answers
    from specdb.printing.vocabulary import print_characteristics

    with reading(None) as (_, revision):
        answer = answers.characteristics(revision)
    give(answer, form_of(as_json, as_csv), Units.si, lambda out: print_characteristics(out, answer), as_parquet)


def _refuse_nothing(asked: dict[str, Any], remedy: str) -> None:
    """Raises QuestionError for a question that names no original and states nothing."""
    if _asks_nothing(asked):
        raise QuestionError("Nothing is required.", field="duty.require", remedy=remedy)


def _asks_nothing(asked: dict[str, Any]) -> bool:
    return not asked.get("original") and not asked["duty"]
