"""Answers for people at a terminal: tables and sentences, from the same models that ``--json`` prints.

Texts from a catalogue are never read as markup.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from specdb.answers import CandidateShown, ElementAnswer, EquivalentsAnswer, RatingOnFile
from specdb.exchange import ImportReport

WIDTH_WITHOUT_TERMINAL = 160


def console() -> Console:
    out = Console(markup=False, highlight=False, emoji=False)
    if not out.is_terminal:
        out.width = WIDTH_WITHOUT_TERMINAL
    return out


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table


def printable(text: str) -> str:
    """Text from a catalogue without signs that could turn a terminal's line about."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def _row(table: Table, *cells: object) -> None:
    table.add_row(*(Text("" if cell is None else printable(str(cell))) for cell in cells))


def print_equivalents(answer: EquivalentsAnswer, every_sentence: bool) -> None:
    out = console()
    _requirements(out, answer)
    if answer.original is not None:
        out.print(f"Original: {answer.original.element.maker} {answer.original.element.number}")
    out.print(
        f"Elements considered: {answer.considered}, of them left out with nothing on file for any criterion: "
        f"{answer.without_evidence}. Catalogue revision {answer.catalog_revision}, method {answer.method_version}."
    )
    if not answer.candidates:
        out.print("No candidate has anything on file for these criteria.")
    else:
        _candidates(out, answer)
        for candidate in answer.candidates:
            _sentences(out, candidate, every_sentence)
        _say(out, "Order: " + "; then ".join(answer.order) + ".")
    for element in answer.elements_without_evidence or []:
        out.print(f"Nothing on file: {element.maker} {element.number}")
    _remarks(out, answer)


def _requirements(out: Console, answer: EquivalentsAnswer) -> None:
    table = _table("requirement", "required")
    for requirement in answer.requirements:
        notes = f" [{'; '.join(requirement.notes)}]" if requirement.notes else ""
        _row(table, requirement.id, requirement.words + notes)
    out.print(table)


def _candidates(out: Console, answer: EquivalentsAnswer) -> None:
    table = _table("rank", "maker", "number", "meets", "misses", "not shown", "smallest margin", "status")
    titles = {requirement.id: requirement.title for requirement in answer.requirements}
    for candidate in answer.candidates:
        met = len(candidate.criteria) - len(candidate.misses) - len(candidate.not_shown)
        status = candidate.element.status or ""
        if candidate.element.successor:
            status += f", successor {candidate.element.successor}"
        _row(
            table,
            candidate.rank,
            candidate.element.maker,
            candidate.element.number,
            met,
            _counted(titles[i] for i in candidate.misses),
            _counted(titles[i] for i in candidate.not_shown),
            _smallest_margin(candidate, titles),
            status,
        )
    out.print(table)


def _counted(titles: Iterable[str]) -> str:
    """Titles once each, with how many requirements of them there are if there are several."""
    counts = Counter(titles)
    return ", ".join(title if n == 1 else f"{title} ({n})" for title, n in counts.items()) or "-"


def _smallest_margin(candidate: CandidateShown, titles: dict[str, str]) -> str:
    """The margin in percent of what is required, and the criterion that has it."""
    smallest = candidate.standing.smallest_margin
    if smallest is None:
        return ""
    tightest = next(c for c in candidate.criteria if c.margin == smallest)
    return f"{math.expm1(smallest):+.1%} {titles[tightest.requirement]}"


def _sentences(out: Console, candidate: CandidateShown, every_sentence: bool) -> None:
    order = {"misses": 0, "not_shown": 1, "meets": 2}
    told = sorted(candidate.criteria, key=lambda c: order[c.verdict])
    told = [c for c in told if every_sentence or c.verdict != "meets"]
    standing = candidate.standing
    _say(
        out,
        f"{candidate.rank}. {candidate.element.maker} {candidate.element.number}: {standing.gate_misses} gates missed; "
        f"{standing.not_in_favour} criteria miss, lean to a miss or have no data; {standing.misses} miss; "
        f"{standing.leaning_to_meet} lean to meeting.",
    )
    for criterion in told:
        _say(out, f"   {criterion.explanation}")
        if every_sentence:
            margin = "" if criterion.margin is None else f" Margin {math.expm1(criterion.margin):+.1%}."
            sources = "; ".join(f"{s.source} ({s.title})" for s in criterion.sources)
            if margin or sources:
                _say(out, f"      {sources}.{margin}")


def _say(out: Console, line: str) -> None:
    out.print(printable(line), soft_wrap=True)


def _remarks(out: Console, answer: EquivalentsAnswer) -> None:
    for name, sentence in answer.assumptions.items():
        _say(out, f"Assumed ({name}): {sentence}.")
    if answer.unused:
        _say(out, f"Stated but read by no rule: {', '.join(answer.unused)}.")
    for line in (*answer.notes, *answer.cautions):
        _say(out, line)


def print_element(answer: ElementAnswer) -> None:
    out = console()
    out.print(f"{answer.maker} {answer.number}   (element {answer.element_id}, revision {answer.catalog_revision})")
    attributes = _table("what it is", "as stated", "source")
    for attribute in answer.attributes:
        _row(attributes, attribute.title, attribute.text, attribute.source)
    out.print(attributes)
    ratings = _table("characteristic", "as stated", "converted", "conditions", "test", "source", "rating")
    for rating in answer.ratings:
        qualifier = "" if rating.qualifier == "equal" else rating.qualifier.replace("_", " ") + " "
        converted = "" if rating.unit is None else f"{rating.value:.4g} {rating.unit}"
        test = " ".join(v for v in (rating.standard, rating.edition, rating.dust, rating.test) if v)
        stated = qualifier + rating.text
        _row(ratings, rating.title, stated, converted, _conditions(rating), test, rating.source, rating.rating)
    out.print(ratings)
    for claim in answer.claimed_to_replace:
        out.print(
            f"Claimed to replace {claim.replaces_maker} {claim.replaces_number} ({claim.source}): a claim, no proof."
        )
    for claim in answer.claimed_to_be_replaced_by:
        out.print(f"Claimed to be replaced by {claim.maker} {claim.number} ({claim.source}): a claim, no proof.")


def _conditions(rating: RatingOnFile) -> str:
    told = [rating.size, rating.flow, rating.viscosity, rating.density, rating.drop_of, rating.test_liquid]
    told.append(rating.terminal_pressure_drop and f"to {rating.terminal_pressure_drop}")
    told.append(rating.cycle_pressure and f"cycles of {rating.cycle_pressure}")
    return ", ".join(filter(None, told))


def print_import(report: ImportReport) -> None:
    out = console()
    told = "would be added" if report.dry_run else "added"
    for name, count in report.added.items():
        out.print(f"{name}: {count} {told}, {report.unchanged.get(name, 0)} unchanged")
    out.print(f"superseded: {report.superseded}")
    for note in report.notes:
        _say(out, f"Note: {note}")
    if report.dry_run:
        out.print("Dry run: nothing was written.")
    elif report.revision is None:
        out.print("Nothing was new; the catalogue is unchanged.")
    else:
        out.print(f"The catalogue is now at revision {report.revision}.")
