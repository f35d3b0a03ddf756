"""Elements side by side, at a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from specdb.answers import ComparisonAnswer
from specdb.answers.decisions import CellShown, ComparedShown, CriterionShown, RequirementShown, RowShown
from specdb.printing.costs import print_costs
from specdb.printing.decisions import (
    UNBEATEN,
    print_derivations,
    print_remarks,
    tell_cautions,
    tell_criteria,
    tell_windows,
)
from specdb.printing.page import row, say, show_table, table
from specdb.wording import ORIGINS, margin_words

_NARROWEST = 18
"""Characters of a line that the cell of one element needs."""
_WORST_FIRST = {"misses": 0, "not_shown": 1, "meets": 2}


def print_comparison(out: Console, answer: ComparisonAnswer, every_sentence: bool) -> None:
    beside = answer.original
    if beside is not None:
        say(out, f"Original: {beside.element.maker} {beside.element.number}")
        if beside.service_life is not None:
            say(out, beside.service_life.words, indent=3)
        tell_cautions(out, beside)
        tell_windows(out, beside)
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
        for caution in element.cautions:
            say(out, f"! {element.element.maker} {element.element.number}: {caution}")
        for claim in element.claims:
            say(out, claim.words)
        for trade_off in element.trade_offs:
            say(out, f"{element.element.maker} {element.element.number}: {trade_off}")
        if element.attainable_cleanliness is not None:
            say(out, f"{element.element.maker} {element.element.number}: {element.attainable_cleanliness.words}")
        if element.service_life is not None:
            say(out, f"{element.element.maker} {element.element.number}: {element.service_life.words}")
        if element.windows:
            say(out, f"{element.element.maker} {element.element.number}:")
            tell_windows(out, element)
    best = [element.element for element in answer.elements if element.unbeaten]
    if 0 < len(best) < len(answer.elements):
        say(out, f"Unbeaten: {', '.join(f'{e.maker} {e.number}' for e in best)}: {UNBEATEN}.")
    print_costs(out, answer.original, answer.elements, answer.prices_not_used)
    if every_sentence:
        for element in answer.elements:
            say(out, f"{element.element.maker} {element.element.number}:")
            tell_criteria(out, element.criteria, every_sentence)
            out.print()
    if answer.derivations or answer.advice:
        out.print()
    print_derivations(out, answer)
    if answer.order:
        say(out, "Place among them, by: " + "; then ".join(answer.order) + ".")
    print_remarks(out, answer)


def _side_by_side(answer: ComparisonAnswer, places: Sequence[int]) -> Table:
    """A column for the original and for each element at ``places``; what is missed stands above what is met."""
    elements = [answer.elements[place] for place in places]
    named = [f"{each.element.maker} {each.element.number}" for each in elements]
    made = table("required", *(["original"] if answer.original else []), *named)
    blank = [""] if answer.original else []
    required = {requirement.id: requirement for requirement in answer.requirements}
    row(made, "place among them", *blank, *(_place(each, len(answer.elements)) for each in elements))
    for line in sorted(answer.rows, key=_worst):
        beside = [] if line.original is None else [line.original.words]
        cells = [_cell(line.cells[at], answer.elements[at].criteria, line.requirement) for at in places]
        row(made, _required(line, required[line.requirement], bool(beside)), *beside, *cells)
    row(made, "status", *blank, *(_status(each) for each in elements))
    return made


def _required(line: RowShown, requirement: RequirementShown, beside_original: bool) -> str:
    """What is required, and where that comes from in few words: the rule of what is derived is told below."""
    words = line.words.rpartition("; ")[0]
    told = [ORIGINS[requirement.origin], "a caution" * requirement.advisory, "an estimate" * requirement.estimated]
    if requirement.origin == "original" and beside_original:
        told = []  # which its column says already
    return "; ".join([words, *filter(None, [", ".join(filter(None, told))])])


def _worst(line: RowShown) -> int:
    return min((_WORST_FIRST[cell.verdict] for cell in line.cells), default=0)


def _place(element: ComparedShown, of: int) -> str:
    met = sum(criterion.verdict == "meets" and not criterion.advisory for criterion in element.criteria)
    place = "none" if element.rank is None else f"{element.rank} of {of}"
    return f"{place}: meets {met}, misses {len(element.misses)}, not shown {len(element.not_shown)}"


def _cell(cell: CellShown, criteria: Sequence[CriterionShown], requirement: str) -> str:
    """The verdict first, then what is shown, and by how much it meets or misses."""
    judged = next(c for c in criteria if c.requirement == requirement)
    share = "" if judged.margin is None else f" ({margin_words(judged.margin)})"
    return f"{cell.verdict.replace('_', ' ')}: {cell.words}{share}"


def _status(element: ComparedShown) -> str:
    successor = element.element.successor
    return (element.element.status or "not stated") + (f", successor {successor}" if successor else "")
