"""What was found, at a terminal: hits of a search, and lists of elements."""

from __future__ import annotations

import shlex

from rich.console import Console

from specdb.answers.lists import ElementListed, ElementsAnswer
from specdb.answers.search import HitShown, SearchAnswer
from specdb.printing.page import row, say, show_table, table


def print_hits(out: Console, answer: SearchAnswer) -> None:
    if answer.hits:
        hits = table("maker", "number", "how near", "what it is", whole=("maker", "number"))
        for hit in answer.hits:
            row(hits, hit.maker, hit.number, hit.words, _what_it_is(hit))
        show_table(out, hits)
    if answer.total > len(answer.hits):
        say(out, f"{answer.total - len(answer.hits)} more; type more of the number, or add --limit.")
    for note in answer.notes:
        say(out, note)
    if (command := _next_command(answer)) is not None:
        decided = answer.total == 1 or answer.hits[0].near == "same_number"
        say(out, f"Next: {command}" if decided else f"Next, if it is this one: {command}")


def _what_it_is(hit: HitShown) -> str:
    if hit.claim is not None:
        return hit.claim.words
    element = hit.element
    if element is None:
        return ""
    told = [element.kind, element.thread, element.seal, element.status]
    if element.successor:
        told.append(f"successor {element.successor}")
    return ", ".join(filter(None, told))


def _next_command(answer: SearchAnswer) -> str | None:
    """What shows the first element that was found, or looks for more."""
    element = next((hit.element for hit in answer.hits if hit.element is not None), None)
    if element is None:
        return None
    return f"specdb show {shlex.quote(f'{element.maker}: {element.number}')}"


def print_elements(out: Console, answer: ElementsAnswer, offset: int) -> None:
    for asked in answer.filters:
        say(out, f"Asked: {asked.words}")
    found = table("maker", "number", "kind", "fit", "seal", "ratings", "status", whole=("maker", "number"))
    for element in answer.elements:
        named = (element.maker, element.number, element.kind, _fit(element), element.seal)
        row(found, *named, element.ratings, element.status)
    show_table(out, found)
    last = offset + len(answer.elements)
    if answer.total == 0:
        say(out, "No element on file states all of this. Ask for less, or give a measure more room: \"96 mm +- 3 mm\".")
    elif answer.elements:
        say(out, f"{offset + 1} to {last} of {answer.total}. Catalogue revision {answer.catalog_revision}.")
    else:
        say(out, f"There are {answer.total}; --offset leaves out all of them.")
    if 0 < last < answer.total:
        say(out, f"For those that follow, add --offset {last}.")
    if answer.not_stated:
        say(out, f"Besides, {answer.not_stated} contradict nothing asked, but leave some of it unstated; not listed.")


def _fit(element: ElementListed) -> str:
    """Thread and measures, as short as they can be told: outside diameter, then length."""
    measures = element.measures
    told = [element.thread]
    for sign, measure in (("OD", measures.outside_diameter), ("ID", measures.inside_diameter), ("L", measures.length)):
        if measure is not None:
            told.append(f"{sign} {measure.value:.5g} {measure.unit}")
    return ", ".join(filter(None, told))
