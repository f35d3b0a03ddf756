"""Elements side by side, at a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from specdb.answers import ComparisonAnswer
from specdb.answers.decisions import CellShown, ComparedShown, CriterionShown, RowShown
from specdb.printing.decisions import margin, print_remarks, tell_criteria
from specdb.printing.page import row, say, show_table, table
from specdb.wording import ORIGINS

_NARROWEST = 18
"""Characters of a line that the cell of one element needs."""
_WORST_FIRST = {"misses": 0, "not_shown": 1, "meets": 2}


def print_comparison(out: Console, answer: ComparisonAnswer, every_sentence: bool) -> None:
    beside = answer.original
    if beside is not None:
        say(out, f"Original: {beside.element.maker} {beside.element.number}")
    say(
        out,
        f"Elements compared: {len(answer.elements)}. Catalogue revision {answer.catalog_revision}, "
        f"method {answer.method_version}.",
    )
    out.print()
    fixed = 1 if beside is None else 2
    together = max(1, out.width // _NARROWEST - fixed)
    for first in range(0, len(answer.elements), together):
        show_table(out, _side_by_side(answer, range(first, min(first + together, len(answer.elements)))))
    for element in answer.elements:
        if element.nothing_on_file:
            say(out, f"Nothing on file for any criterion: {element.element.maker} {element.element.number}")
    if every_sentence:
        for element in answer.elements:
            say(out, f"{element.element.maker} {element.element.number}:")
            tell_criteria(out, element.criteria, every_sentence)
            out.print()
    if answer.order:
        say(out, "Place among them, by: " + "; then ".join(answer.order) + ".")
    print_remarks(out, answer)


def _side_by_side(answer: ComparisonAnswer, places: Sequence[int]) -> Table:
    """A column for the original and for each element at ``places``; what is missed stands above what is met."""
    elements = [answer.elements[place] for place in places]
    named = [f"{each.element.maker} {each.element.number}" for each in elements]
    made = table("required", *(["original"] if answer.original else []), *named)
    blank = [""] if answer.original else []
    taken = f"; {ORIGINS['original']}" if answer.original else ""  # which its column says already
    row(made, "place among them", *blank, *(_place(each, len(answer.elements)) for each in elements))
    for line in sorted(answer.rows, key=_worst):
        beside = [] if line.original is None else [line.original.words]
        cells = [_cell(line.cells[at], answer.elements[at].criteria, line.requirement) for at in places]
        row(made, line.words.removesuffix(taken), *beside, *cells)
    row(made, "status", *blank, *(_status(each) for each in elements))
    return made


def _worst(line: RowShown) -> int:
    return min((_WORST_FIRST[cell.verdict] for cell in line.cells), default=0)


def _place(element: ComparedShown, of: int) -> str:
    met = len(element.criteria) - len(element.misses) - len(element.not_shown)
    place = "none" if element.rank is None else f"{element.rank} of {of}"
    return f"{place}: meets {met}, misses {len(element.misses)}, not shown {len(element.not_shown)}"


def _cell(cell: CellShown, criteria: Sequence[CriterionShown], requirement: str) -> str:
    """The verdict first, then what is shown, and by how much it meets or misses."""
    judged = next(c for c in criteria if c.requirement == requirement)
    share = "" if judged.margin is None else f" ({margin(judged.margin)})"
    return f"{cell.verdict.replace('_', ' ')}: {cell.words}{share}"


def _status(element: ComparedShown) -> str:
    successor = element.element.successor
    return (element.element.status or "not stated") + (f", successor {successor}" if successor else "")
