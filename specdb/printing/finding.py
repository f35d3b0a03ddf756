"""What was found, at a terminal: hits of a search, and lists of elements."""

from __future__ import annotations

import shlex
from collections import Counter

from rich.console import Console

from specdb.answers.decisions import CriterionShown
from specdb.answers.lists import ElementListed, ElementsAnswer
from specdb.answers.search import HitShown, SearchAnswer
from specdb.printing.page import row, say, show_table, table
from specdb.units import show_plain


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


def print_elements(out: Console, answer: ElementsAnswer, offset: int, might: bool) -> None:
    """``might`` tells whether those that might fit were asked for."""
    for asked in answer.filters:
        say(out, f"Asked: {asked.words}")
    for requirement in answer.requirements:
        say(out, f"Required: {requirement.id}: {requirement.words}")
    # Blanks let a narrow terminal break a heading; what is shown goes before what else is on file.
    shown = [requirement.id.replace("_", " ") for requirement in answer.requirements]
    further = () if shown else ("seal", "ratings")
    open_ = might and bool(answer.filters)
    marked = ("fits", "unstated") if open_ else ("fits",) if might else ()
    whole = ("fits", "maker", "number")
    found = table(*marked, "maker", "number", *shown, "kind", "fit", *further, "status", whole=whole)
    for element in answer.elements:
        fits = (element.fits, ", ".join(element.unstated))[: len(marked)]
        named = (element.maker, element.number, *map(_shown, element.criteria))
        beside = (element.seal, element.ratings)[: len(further)]
        row(found, *fits, *named, element.kind, _fit(element), *beside, element.status)
    show_table(out, found)
    _tell_counts(out, answer, offset, might)
    _tell_what_to_ask_for(out, answer)
    for name, sentence in answer.assumptions.items():
        say(out, f"Assumed ({name}): {sentence}.")


def _shown(criterion: CriterionShown) -> str:
    """What is shown, with a question mark where it does not tell: "at least 82 g", "? 19.5 to 32.8 kPa"."""
    low, high = criterion.shown.low, criterion.shown.high
    if criterion.shown_word is not None:
        told = criterion.shown_word
    elif low is None and high is None:
        told = "nothing on file" if criterion.reason == "no_data" else "nothing proven"
    elif low is None or high is None:
        told = f"at least {show_plain(low)}" if low is not None else f"at most {show_plain(high or 0)}"
    else:
        told = show_plain(low) if low == high else f"{show_plain(low)} to {show_plain(high)}"
    unit = "" if criterion.shown.unit is None or low is high is None else f" {criterion.shown.unit}"
    return f"{'? ' if criterion.verdict == 'not_shown' else ''}{told}{unit}"


def _tell_what_to_ask_for(out: Console, answer: ElementsAnswer) -> None:
    """What would settle most of what is open of the elements listed."""
    asked = Counter(words for element in answer.elements for words in element.ask_for)
    if not asked:
        return
    say(out, "To ask makers for:")
    for words, settles in asked.most_common():
        say(out, f"{words} (settles it for {settles})", indent=3)


def _tell_counts(out: Console, answer: ElementsAnswer, offset: int, might: bool) -> None:
    last = offset + len(answer.elements)
    if answer.total == 0 and answer.requirements:
        say(out, f"No element on file {'can be told to fit' if might else 'surely fits'} all of this. Ask for less.")
    elif answer.total == 0:
        say(out, "No element on file states all of this. Ask for less, or give a measure more room: \"96 mm +- 3 mm\".")
    elif answer.elements:
        sure = f", {answer.surely_fit} of them surely" if might else ""
        say(out, f"{offset + 1} to {last} of {answer.total}{sure}. Catalogue revision {answer.catalog_revision}.")
    else:
        say(out, f"There are {answer.total}; --offset leaves out all of them.")
    if 0 < last < answer.total:
        say(out, f"For those that follow, add --offset {last}.")
    if answer.might_fit and not might:
        leave = "nothing asked speaks against them, and some of it is open"
        say(out, f"Besides, {answer.might_fit} might fit: {leave}. To list them, add --might.")


def _fit(element: ElementListed) -> str:
    """Thread and measures, as short as they can be told: outside diameter, then length."""
    measures = element.measures
    told = [element.thread]
    for sign, measure in (("OD", measures.outside_diameter), ("ID", measures.inside_diameter), ("L", measures.length)):
        if measure is not None:
            told.append(f"{sign} {measure.value:.5g} {measure.unit}")
    return ", ".join(filter(None, told))
