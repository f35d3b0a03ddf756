"""Options that several commands share."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from specdb.cli import completion


class Units(StrEnum):
    si = "si"
    us = "us"


class Form(StrEnum):
    people = "people"
    json = "json"
    csv = "csv"


def _one_form(context: typer.Context, asked: bool) -> bool:
    if asked and (context.params.get("as_json") or context.params.get("as_csv")):
        raise typer.BadParameter(
            "an answer is printed in one form, --json or --csv.", ctx=context, param_hint="--json, --csv"
        )
    return asked


def form_of(as_json: bool, as_csv: bool) -> Form:
    return Form.json if as_json else Form.csv if as_csv else Form.people


AsJson = Annotated[bool, typer.Option("--json", callback=_one_form, help="Print the answer as JSON.")]
AsCsv = Annotated[bool, typer.Option("--csv", callback=_one_form, help="Print the answer's rows as CSV.")]
InUnits = Annotated[Units, typer.Option("--units", help="SI or US customary units.")]
AsOf = Annotated[
    str | None,
    typer.Option("--as-of", metavar="WHEN", help="A revision number or a date: the catalogue as it was then."),
]
Maker = Annotated[
    str | None,
    typer.Option("--maker", help="The maker, where several have the number.", autocompletion=completion.makers),
]
