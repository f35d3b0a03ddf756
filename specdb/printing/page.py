"""What every printed answer is made of: the width, tables, sentences."""

from __future__ import annotations

import os
from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from specdb.printing.signs import printable

UNFOLDED = 100_000
"""Width where nothing says how wide the reader's lines are: a row is one line, for ``grep`` and for files."""


def console() -> Console:
    """As wide as the terminal or as COLUMNS says; without either, lines are never folded."""
    out = Console(markup=False, highlight=False, emoji=False)
    if not out.is_terminal and not os.environ.get("COLUMNS", "").isdigit():
        out.width = UNFOLDED
    return out


def table(*headings: str, whole: Sequence[str] = ()) -> Table:
    """A table for texts; the columns ``whole`` are not broken as long as the others can be."""
    made = Table(box=box.SIMPLE_HEAD, show_edge=False, padding=(0, 1, 0, 0), pad_edge=False, header_style="")
    for heading in headings:
        made.add_column(heading, overflow="fold", no_wrap=heading in whole)
    return made


def row(of: Table, *cells: object) -> None:
    of.add_row(*(Text("" if cell is None else printable(str(cell))) for cell in cells))


def show_table(out: Console, made: Table) -> None:
    if not made.row_count:
        return
    # Columns that are kept whole may take half of a line: past that they would be cut off, not folded.
    wide, room = out.options.update(max_width=UNFOLDED), out.width // 2
    for column in made.columns:
        if column.no_wrap:
            room -= max(out.measure(cell, options=wide).maximum for cell in column.cells)
            column.no_wrap = room >= 0
    out.print(made)
    out.print()


def say(out: Console, sentence: str, indent: int = 0) -> None:
    """A sentence, broken between words where the lines have an end."""
    out.print(Padding(Text(printable(sentence)), (0, 0, 0, indent), expand=False))


def say_hanging(out: Console, mark: str, sentence: str) -> None:
    """A sentence with a mark before it, such as its number, that stands alone in its margin."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    row(grid, mark, sentence)
    out.print(grid)
