"""The vocabulary at a terminal."""

from __future__ import annotations

from rich.console import Console

from specdb.answers import CharacteristicsAnswer
from specdb.answers.vocabulary import CharacteristicShown
from specdb.printing.page import row, say, show_table, table

_ASKED = {
    "higher": "at least",
    "lower": "at most",
    "as_required": "between limits",
    "covers_below": "at most",
    "covers_above": "at least",
    "shown": "not judged",
}


def print_characteristics(out: Console, answer: CharacteristicsAnswer) -> None:
    characteristics = table("characteristic", "unit", "required", "what it is", whole=("characteristic", "unit"))
    for c in answer.characteristics:
        row(characteristics, c.key, c.unit, _ASKED[c.sense], _what_it_is(c))
    show_table(out, characteristics)
    attributes = table("attribute", "unit", "what it is", "one of", whole=("attribute", "unit"))
    for a in answer.attributes:
        row(attributes, a.key, a.unit, a.title, ", ".join(a.choices))
    show_table(out, attributes)
    say(out, "State a requirement with --require, what must fit with --fit; docs/duty.md tells how.")


def _what_it_is(c: CharacteristicShown) -> str:
    told = f"{c.sentence} ({', '.join(c.standards)})" if c.standards else c.sentence
    if c.judged_with:
        told += f"; judged with {', '.join(c.judged_with)}"
    return told + (f"; shown with {', '.join(c.shown_with)}" if c.shown_with else "")
