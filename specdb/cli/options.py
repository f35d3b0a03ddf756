"""Options that several commands share."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from specdb.cli import completion


class Units(StrEnum):
    si = "si"
    us = "us"


class Form(StrEnum):
    people = "people"
    json = "json"
    csv = "csv"


_Asked = TypeVar("_Asked", bool, Path | None)
_FORMS = ("as_json", "as_csv", "as_parquet")


def _one_form(context: typer.Context, asked: _Asked) -> _Asked:
    if asked and any(context.params.get(form) for form in _FORMS):
        raise typer.BadParameter(
            "an answer is given in one form: --json or --csv or --parquet.",
            ctx=context,
            param_hint="--json, --csv, --parquet",
        )
    return asked


def form_of(as_json: bool, as_csv: bool) -> Form:
    return Form.json if as_json else Form.csv if as_csv else Form.people


AsJson = Annotated[bool, typer.Option("--json", callback=_one_form, help="Print the answer as JSON.")]
AsCsv = Annotated[bool, typer.Option("--csv", callback=_one_form, help="Print the answer's rows as CSV.")]
AsParquet = Annotated[
    Path | None,
    typer.Option(
        "--parquet",
        metavar="FILE",
        callback=_one_form,
        help="Keep the answer's rows in a new Parquet file, whose name ends in .parquet.",
    ),
]
InUnits = Annotated[Units, typer.Option("--units", help="SI or US customary units.")]
AsOf = Annotated[
    str | None,
    typer.Option("--as-of", metavar="WHEN", help="A revision number or a date: the catalogue as it was then."),
]
Maker = Annotated[
    str | None,
    typer.Option("--maker", help="The maker, where several have the number.", autocompletion=completion.makers),
]
