"""What must be said loudly of a candidate: a bypass valve too many or too few, a collapse pressure that falls short, an
unfiltered start, a starved pump."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from specdb.bounds import MEETS, MISSES
from specdb.catalog.snapshot import Snapshot
from specdb.criteria import Judged
from specdb.duty.requirement import Note
from specdb.ranking import Ranking

FINE_MEDIA = ("glass fibre", "cellulose", "polyester", "metal fibre", "water absorbing")
"""Media that are finer than a suction line can bear (common practice)."""


def cautions(ranking: Ranking, row: int) -> tuple[Note, ...]:
    """Of one element, row of the ranking's snapshot, in the order in which they matter."""
    told = [
        *_valves(ranking, row),
        *_collapse(ranking.judged, row),
        *_cold_start(ranking.judged, row),
        *_suction(ranking, row),
    ]
    return tuple(dict.fromkeys(told))


def _valves(ranking: Ranking, row: int) -> Sequence[Note]:
    """A valve too many or too few, by what is asked of the element's own valve."""
    asked = [judged for judged in ranking.judged if judged.requirement.characteristic == "bypass_valve"]
    if not any(judged.verdict[row] == MISSES for judged in asked):
        return ()
    own = ranking.snapshot.elements.words["bypass_valve"].word(row)
    where = ranking.duty.circumstances.bypass
    if own == "yes":
        text = {
            "head": "A VALVE TOO MANY: the element has a bypass valve and so has the head; the one that opens at the "
            "lower pressure decides, and the fluid may pass unfiltered long before the element is full.",
            "none": "A VALVE TOO MANY: the element has a bypass valve where the circuit is to have none; dirt gets "
            "past when it opens.",
        }.get(str(where), "A VALVE TOO MANY: the element has a bypass valve and none is asked for.")
    else:
        text = {
            "element": "A VALVE TOO FEW: the circuit counts on a bypass valve in the element, and this one has none; "
            "once clogged it collapses or starves the line.",
            "both": "A VALVE TOO FEW: the element has no bypass valve of its own where one is asked for.",
        }.get(str(where), "A VALVE TOO FEW: the element has no bypass valve and one is asked for.")
    return (Note(text, ()),)


def _collapse(judged: Sequence[Judged], row: int) -> Sequence[Note]:
    """A collapse pressure that falls short of what the element can see, by its result or by what is stated of it."""
    for each in judged:
        if each.requirement.characteristic != "collapse_pressure" or not np.isfinite(each.requirement.low):
            continue
        shown, lean = float(each.estimate[row]), int(each.lean[row])
        if MISSES not in (int(each.verdict[row]), lean) or not np.isfinite(shown):
            continue
        word = "IT MAY COLLAPSE" if each.verdict[row] != MISSES else "IT COLLAPSES"
        text = f"{word}: {{}} is on file as its collapse pressure, and at least {{}} is required."
        return (Note(text, ((shown, "pressure"), (each.requirement.low, "pressure"))),)
    return ()


def _cold_start(judged: Sequence[Judged], row: int) -> Sequence[Note]:
    """What a clean element does at the coldest start."""
    for each in judged:
        if each.requirement.rule != "cold_start_bypass" or each.verdict[row] == MEETS:
            continue
        cracking = each.requirement.high
        if each.verdict[row] == MISSES:
            text = "At the coldest start its clean drop is at least {}: the bypass opens at {} and the machine starts "
            return (Note(text + "unfiltered.", ((float(each.low[row]), "pressure"), (cracking, "pressure"))),)
        if each.lean[row] == MISSES and np.isfinite(each.estimate[row]):
            text = "At the coldest start its clean drop is about {}, an estimate: the bypass would open at {} and the "
            amounts = ((float(each.estimate[row]), "pressure"), (cracking, "pressure"))
            return (Note(text + "machine start unfiltered.", amounts),)
        if each.lean[row] != MEETS:
            return (Note("Whether the bypass opens at the coldest start is not shown.", ()),)
    return ()


def _suction(ranking: Ranking, row: int) -> Sequence[Note]:
    if ranking.duty.circumstances.location != "suction":
        return ()
    media = _media(ranking.snapshot, row)
    if media not in FINE_MEDIA:
        return ()
    text = f"Fine media ({media}) on a suction line: the pump may cavitate (common practice)."
    return (Note(text, ()),)


def _media(snapshot: Snapshot, row: int) -> str | None:
    return snapshot.elements.words["media"].word(row)
