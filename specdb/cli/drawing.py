"""Pictures of an element, written to files."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from specdb.cli import completion
from specdb.cli.duty import DutyTyped, part, with_duty
from specdb.cli.options import AsOf, InUnits, Maker, Units
from specdb.cli.output import keep, write, write_utf8
from specdb.cli.store import pointed_at, reading
from specdb.errors import QuestionError
from specdb.pictures import PICTURES, PictureKey, draw


class PictureName(StrEnum):
    pressure_drop = "pressure-drop"
    filtration_ratio = "filtration-ratio"
    criteria = "criteria"


DRAWN: dict[PictureName, PictureKey] = {
    PictureName.pressure_drop: "pressure_drop",
    PictureName.filtration_ratio: "filtration_ratio",
    PictureName.criteria: "criteria",
}
"""Each name as it is typed, and the picture that it stands for."""

WHAT = "; ".join(f"{name.value}, {PICTURES[key].about}" for name, key in DRAWN.items())


@with_duty
def picture(
    duty: DutyTyped,
    name: Annotated[PictureName, typer.Argument(metavar="PICTURE", help=f"What is drawn: {WHAT}.")],
    number: Annotated[
        list[str],
        typer.Argument(
            metavar="NUMBER",
            help='Part number of an element on file, "maker: number" or an element\'s identifier.',
            autocompletion=completion.numbers,
        ),
    ],
    to: Annotated[
        Path, typer.Option("--to", metavar="FILE", help="Where to: a name that ends in .svg, or - for standard output.")
    ],
    original: Annotated[
        str | None,
        typer.Option(
            metavar="NUMBER",
            help="The element it may stand in for, named in the same ways.",
            autocompletion=completion.whole_numbers,
        ),
    ] = None,
    maker: Maker = None,
    as_of: AsOf = None,
    units: InUnits = Units.si,
) -> None:
    """Draw an element against a duty or an original, as SVG.

    Black on white, its words as text. A file that is there already is refused.
    """
    from specdb.catalog.reading import find_element, load_snapshot
    from specdb.duty.question import read_question

    _refuse_ending(to)
    asked = duty.asked()
    if original is not None:
        part(asked, "original")["number"] = original
    if as_of is not None:
        asked["as_of"] = as_of
    question = read_question(asked)
    with reading(question.as_of) as (connection, revision):
        element_id = find_element(connection, *pointed_at(connection, number, maker, revision), revision)
        if original is not None and question.original is not None:
            question.original.number, question.original.maker = pointed_at(connection, [original], None, revision)
        snapshot = load_snapshot(connection, revision)
    drawn = draw(DRAWN[name], element_id, question, snapshot, units.value)
    if str(to) == "-":
        write_utf8(drawn)
        return
    keep(to, drawn.encode(), "--to")
    write(f"The picture is in {to}.\n")


def _refuse_ending(to: Path) -> None:
    if str(to) != "-" and to.suffix.casefold() != ".svg":
        raise QuestionError(
            "A picture is written as SVG.", value=to.name, field="--to", remedy="End the name in .svg, or write -."
        )
