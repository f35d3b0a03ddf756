"""A calculation for people at a terminal."""

from __future__ import annotations

from rich.console import Console

from specdb.calculations import Calculated
from specdb.printing.page import row, say, show_table, table
from specdb.units import UnitSystem


def print_calculation(out: Console, answer: Calculated, units: UnitSystem) -> None:
    """The sentence first; a table only where there is more than one row; then what goes with the number."""
    say(out, answer.words)
    rows = answer.plain_table(units)
    if len(rows.rows) > 1:
        made = table(*rows.columns)
        for cells in rows.rows:
            row(made, *(f"{cell:.10g}" if isinstance(cell, float) else cell for cell in cells))
        out.print()
        show_table(out, made)
    for title, sentences in (("Note", answer.notes), ("Caution", answer.cautions), ("Source", [answer.source])):
        for sentence in sentences:
            say(out, f"{title}: {sentence}")
