"""What elements cost, cheapest first, at a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from specdb.answers import CandidateShown
from specdb.answers.life import EstimatedShown, ServiceLifeShown
from specdb.printing.page import row, say, show_table, table

NAMED_AT_MOST = 5
"""Elements without a price that are named; the others are counted."""

_Lasting = tuple[CandidateShown, ServiceLifeShown]


def print_costs(
    out: Console, original: CandidateShown | None, candidates: Sequence[CandidateShown], not_used: Sequence[str]
) -> None:
    """A line for each element whose price is stated, and below it what is left out. Nothing where no price is."""
    others = [each for each in candidates if original is None or each.element != original.element]
    told = [each for each in (original, *others) if each is not None]
    lasting = [(each, each.service_life) for each in told if each.service_life is not None]
    priced = [(each, life) for each, life in lasting if life.price is not None]
    if not priced and not not_used:
        return
    out.print()
    if priced:
        show_table(out, _table(original, sorted(priced, key=_dearness)))
        say(out, "Cheapest first, by the estimate, else by the most that it may cost; no rank is by cost.")
        _left_out(out, [each for each, life in lasting if life.price is None])
    for sentence in not_used:
        say(out, sentence)
    out.print()


def _table(original: CandidateShown | None, priced: Sequence[_Lasting]) -> Table:
    """A candidate that misses a gate, and so cannot serve, is marked."""
    units = (life.cost_per_1000_h.unit for _, life in priced if life.cost_per_1000_h is not None)
    currency = next(filter(None, units), None)
    cost = "cost per 1000 h" if currency is None else f"cost per 1000 h, {currency}"
    made = table("maker", "number", "life, h", "changed after, h", cost, "gates", whole=("maker", "number"))
    for each, life in priced:
        mark = "original" if each is original else "misses" if each.standing.gate_misses else ""
        figures = (life.interval, life.changed_after, life.cost_per_1000_h)
        row(made, each.element.maker, each.element.number, *map(_figures, figures), mark)
    return made


def _figures(of: EstimatedShown | None) -> str:
    return "no dirt ends it" if of is None else of.figures()


def _left_out(out: Console, unpriced: Sequence[CandidateShown]) -> None:
    if not unpriced:
        return
    named = ", ".join(f"{each.element.maker} {each.element.number}" for each in unpriced[:NAMED_AT_MOST])
    more = f" and {len(unpriced) - NAMED_AT_MOST} more" if len(unpriced) > NAMED_AT_MOST else ""
    say(out, f"Left out, as no price of them is stated: {named}{more}.")


def _dearness(lasting: _Lasting) -> tuple[int, float]:
    """By the estimate, else by the most; what has neither comes after, by the least, and what has nothing last."""
    cost = lasting[1].cost_per_1000_h
    if cost is None:
        return 2, 0.0
    most = cost.high if cost.estimate is None else cost.estimate
    return (1, cost.low or 0.0) if most is None else (0, most)
