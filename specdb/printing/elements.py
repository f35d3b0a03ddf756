"""Elements at a terminal: one whole."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rich.console import Console

from specdb.answers import ElementAnswer, RatingOnFile
from specdb.printing.page import row, say, say_hanging, show_table, table


def print_element(out: Console, answer: ElementAnswer) -> None:
    say(out, f"{answer.maker} {answer.number}   (element {answer.element_id}, revision {answer.catalog_revision})")
    out.print()
    attributes = table("what it is", "as stated", "source")
    for attribute in answer.attributes:
        row(attributes, attribute.title, attribute.text, attribute.source)
    show_table(out, attributes)
    tests = _tests(answer.ratings)
    ratings = table("characteristic", "as stated", "converted", "conditions", "test", "rating", whole=("rating",))
    for rating in answer.ratings:
        qualifier = "" if rating.qualifier == "equal" else rating.qualifier.replace("_", " ") + " "
        converted = "" if rating.unit is None else f"{rating.value:.4g} {rating.unit}"
        test = f"[{tests[_test(rating)]}]"
        row(ratings, rating.title, qualifier + rating.text, converted, _conditions(rating), test, rating.rating)
    show_table(out, ratings)
    titles = {source.source: source.title for source in answer.sources}
    for named, place in tests.items():
        say_hanging(out, f"[{place}]", _test_words(named, titles))
    for claim in answer.claimed_to_replace:
        replaced = f"{claim.replaces_maker} {claim.replaces_number}"
        say(out, f"Claimed to replace {replaced} ({claim.source or 'no source named'}): a claim, no proof.")
    for claim in answer.claimed_to_be_replaced_by:
        source = claim.source or "no source named"
        say(out, f"Claimed to be replaced by {claim.maker} {claim.number} ({source}): a claim, no proof.")


def _test(rating: RatingOnFile) -> tuple[str | None, ...]:
    """What tells one test from another in print; its source first."""
    laboratory = "independent laboratory" if rating.laboratory == "independent" else None
    edition = f"{rating.standard}:{rating.edition}" if rating.edition else rating.standard
    label = rating.test and f"test {rating.test}"
    return (rating.source, edition, rating.dust, label, laboratory)


def _tests(ratings: Iterable[RatingOnFile]) -> dict[tuple[str | None, ...], int]:
    """Each test once, numbered from one in the order of its first rating."""
    tests: dict[tuple[str | None, ...], int] = {}
    for rating in ratings:
        tests.setdefault(_test(rating), len(tests) + 1)
    return tests


def _test_words(test: tuple[str | None, ...], titles: Mapping[str, str | None]) -> str:
    source, *named = test
    told = ", ".join(filter(None, named)) or "no test named"
    if source is None:
        return f"{told}; no source named"
    title = titles.get(source)
    return f"{told}; {source} ({title})" if title else f"{told}; {source}"


def _conditions(rating: RatingOnFile) -> str:
    told = [rating.size, rating.flow, rating.viscosity, rating.density, rating.drop_of, rating.test_liquid]
    told.append(rating.terminal_pressure_drop and f"to {rating.terminal_pressure_drop}")
    told.append(rating.cycle_pressure and f"cycles of {rating.cycle_pressure}")
    return ", ".join(filter(None, told))
