"""Rankings at a terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from rich.console import Console
from rich.table import Table

from specdb.answers import CandidateShown, ComparisonAnswer, CriterionShown, EquivalentsAnswer
from specdb.answers.decisions import StandingShown
from specdb.printing.costs import print_costs
from specdb.printing.page import row, say, say_hanging, show_table, table
from specdb.wording import margin_words

NAMED_FROM = 96
"""Characters of a line in which the table of candidates can name what is missed; in less it is counted."""

ASKED_AT_MOST = 3
"""Tests to ask for that are told under a ranking."""

UNBEATEN = "no other candidate is at least as good on every measured criterion and better on one"

_WORST_FIRST = {"misses": 0, "not_shown": 1, "meets": 2}


def print_equivalents(out: Console, answer: EquivalentsAnswer, every_sentence: bool) -> None:
    print_requirements(out, answer)
    print_derivations(out, answer)
    if answer.original is not None:
        say(out, f"Original: {answer.original.element.maker} {answer.original.element.number}")
        if answer.original.service_life is not None:
            say(out, answer.original.service_life.words, indent=3)
        tell_cautions(out, answer.original)
        tell_windows(out, answer.original)
    say(
        out,
        f"Elements considered: {answer.considered}, of them left out with nothing on file for any criterion: "
        f"{answer.without_evidence}. Catalogue revision {answer.catalog_revision}, method {answer.method_version}.",
    )
    out.print()
    if answer.candidates:
        show_table(out, _candidates(answer, named=out.width >= NAMED_FROM))
        for candidate in answer.candidates:
            _sentences(out, candidate, every_sentence)
        out.print()
        say(out, "Order: " + "; then ".join(answer.order) + ".")
        if any(candidate.unbeaten for candidate in answer.candidates):
            say(out, f"Unbeaten: {UNBEATEN}.")
        print_costs(out, answer.original, answer.candidates, answer.prices_not_used)
        _tests_to_ask_for(out, answer)
    else:
        say(out, "No candidate has anything on file for these criteria.")
        if answer.without_evidence:
            say(out, "To list the elements all the same, add --without-evidence.")
    for element in answer.elements_without_evidence or []:
        say(out, f"Nothing on file: {element.maker} {element.number}")
    print_remarks(out, answer)


def _tests_to_ask_for(out: Console, answer: EquivalentsAnswer) -> None:
    asked = answer.tests_to_ask_for
    if not asked:
        return
    say(out, "To ask makers for, which specdb ask puts into letters:")
    for each in asked[:ASKED_AT_MOST]:
        say(out, f"{each.words} (settles it for {each.settles})", indent=3)
    if len(asked) > ASKED_AT_MOST:
        say(out, f"and {len(asked) - ASKED_AT_MOST} more", indent=3)


def print_derivations(out: Console, answer: EquivalentsAnswer | ComparisonAnswer) -> None:
    """What the rules made of the duty, and what a practitioner would say of the place."""
    for derivation in answer.derivations:
        named = f"{derivation.rule}: " if derivation.rule else ""
        source = f" [{derivation.source}]" if derivation.source and derivation.state == "applied" else ""
        say_hanging(out, "-", f"{named}{derivation.words}{source}")
    for advice in answer.advice:
        say_hanging(out, "-", advice)
    if answer.derivations or answer.advice:
        out.print()


def print_requirements(out: Console, answer: EquivalentsAnswer | ComparisonAnswer) -> None:
    required = table("requirement", "required")
    for requirement in answer.requirements:
        notes = f" [{'; '.join(requirement.notes)}]" if requirement.notes else ""
        row(required, requirement.id, requirement.words + notes)
    show_table(out, required)


def _candidates(answer: EquivalentsAnswer, named: bool) -> Table:
    """The candidates, with what each misses by name or by number."""
    titles = {requirement.id: requirement.title for requirement in answer.requirements} if named else None
    short = ("rank", "maker", "number", "meets", "status")
    made = table("rank", "maker", "number", "meets", "misses", "not shown", "smallest margin", "status", whole=short)
    for candidate in answer.candidates:
        met, _ = _met(candidate)
        status = candidate.element.status or ""
        if candidate.element.successor:
            status += f", successor {candidate.element.successor}"
        row(
            made,
            candidate.rank,
            candidate.element.maker,
            candidate.element.number,
            met,
            _counted(candidate.misses, titles),
            _counted(candidate.not_shown, titles),
            _smallest_margin(candidate, titles),
            status,
        )
    return made


def _counted(requirements: list[str], titles: Mapping[str, str] | None) -> str:
    """Titles once each, with how many requirements of them there are if there are several; without titles, how many."""
    if titles is None or not requirements:
        return str(len(requirements) or "-")
    counts = Counter(titles[i] for i in requirements)
    return ", ".join(title if n == 1 else f"{title} ({n})" for title, n in counts.items())


def _smallest_margin(candidate: CandidateShown, titles: Mapping[str, str] | None) -> str:
    """The margin in percent of what is required, and the criterion that has it if there is room for its title."""
    smallest = candidate.standing.smallest_margin
    if smallest is None:
        return ""
    if titles is None:
        return margin_words(smallest)
    tightest = next(c for c in candidate.criteria if c.margin == smallest)
    return f"{margin_words(smallest)} {titles[tightest.requirement]}"


def _sentences(out: Console, candidate: CandidateShown, every_sentence: bool) -> None:
    met, of = _met(candidate)
    named = f"{candidate.element.maker} {candidate.element.number}"
    counted = _standing(candidate.standing)
    said = f"{named}: meets {met} of {of}.{counted}{' Unbeaten.' if candidate.unbeaten else ''}"
    say_hanging(out, f"{candidate.rank}.", said)
    if candidate.placed is not None:
        say(out, f"Why here: {candidate.placed}.", indent=3)
    tell_cautions(out, candidate)
    tell_criteria(out, candidate.criteria, every_sentence)
    for trade_off in candidate.trade_offs:
        say(out, trade_off, indent=3)
    for claim in candidate.claims:
        say(out, claim.words, indent=3)
    if candidate.attainable_cleanliness is not None:
        say(out, candidate.attainable_cleanliness.words, indent=3)
    if candidate.service_life is not None:
        say(out, candidate.service_life.words, indent=3)
    tell_windows(out, candidate)


def tell_cautions(out: Console, candidate: CandidateShown) -> None:
    """What must be said loudly of an element, before all else of it."""
    for caution in candidate.cautions:
        say_hanging(out, "   !", caution)


def tell_windows(out: Console, candidate: CandidateShown) -> None:
    """How far each met criterion reaches, and all of them together, where it was asked."""
    for window in candidate.windows or ():
        say(out, window.words, indent=3)
    if candidate.whole_window is not None:
        say(out, candidate.whole_window.words, indent=3)


def _met(candidate: CandidateShown) -> tuple[int, int]:
    """How many criteria are met, and of how many; what only cautions counts for neither."""
    counted = [criterion for criterion in candidate.criteria if not criterion.advisory]
    return sum(criterion.verdict == "meets" for criterion in counted), len(counted)


def _standing(standing: StandingShown) -> str:
    """The figures that the order is made of, as far as there is anything to count."""
    counts = (
        (standing.gate_misses, "of the gates missed"),
        (standing.not_in_favour, "that miss, lean to a miss or have no data"),
        (standing.misses, "missed"),
        (standing.leaning_to_meet, "leaning to meeting"),
    )
    told = "; ".join(f"{count} {what}" for count, what in counts if count)
    return f" By criterion: {told}." if told else ""


def tell_criteria(out: Console, criteria: Iterable[CriterionShown], every_sentence: bool) -> None:
    """A sentence for each criterion that is missed or not shown, or for every one with its sources."""
    for criterion in sorted(criteria, key=lambda c: _WORST_FIRST[c.verdict]):
        if not every_sentence and (criterion.verdict == "meets" or criterion.advisory):
            continue  # what only cautions is told among the cautions
        say(out, criterion.explanation, indent=3)
        if every_sentence:
            told = "" if criterion.margin is None else f" Margin {margin_words(criterion.margin)}."
            sources = "; ".join(f"{s.source} ({s.title})" for s in criterion.sources)
            if told or sources:
                say(out, f"{sources}.{told}", indent=6)


def print_remarks(out: Console, answer: EquivalentsAnswer | ComparisonAnswer) -> None:
    for name, sentence in answer.assumptions.items():
        say(out, f"Assumed ({name}): {sentence}.")
    if answer.unused:
        say(out, f"Stated but read by no rule: {', '.join(answer.unused)}.")
    for line in (*answer.notes, *answer.cautions):
        say(out, line)
