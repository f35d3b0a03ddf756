"""Elements by maker, kind, fit and bounds on ratings, a row each."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from typing_extensions import override

from specdb.advice.asking import asked_words, help_words, requests
from specdb.answers.deciding import criterion, element_named, requirement_shown
from specdb.answers.decisions import CriterionShown, ElementNamed, RequirementShown
from specdb.answers.shape import Answer, QuantityShown, Tabular, number, quantity
from specdb.answers.tables import Cell, Table, column, numbers, whole_numbers
from specdb.bounds import IntArray
from specdb.catalog.identity import identity_key
from specdb.catalog.listing import (
    Wanted,
    list_elements,
    nearest_first,
    ratings_on_file,
    tests_on_file,
    unstated_by,
)
from specdb.catalog.snapshot import MEASURES, Snapshot
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, FLUID_CLASSES, title_of
from specdb.criteria import characteristics_read
from specdb.duty import Assumptions, Question, Requirement
from specdb.duty.conditions import Faults, read_positive
from specdb.duty.question import DutyAsked
from specdb.duty.resolve import Duty, resolve
from specdb.duty.stated import MEASURE_TOLERANCE_MM
from specdb.errors import QuestionError
from specdb.finding import Found, find_elements
from specdb.ranking import Ranking, ranking_of
from specdb.trade.threads import normal_thread
from specdb.units import UnitSystem, read_quantity, show
from specdb.vocabulary import chosen, meant_of
from specdb.wording import assumption_words, kind_of

CHOICES = {
    **{key: a.choices for key, a in ATTRIBUTES.items() if a.kind == "word" and a.choices},
    "fluid_class": FLUID_CLASSES,
}
"""Filters that take one of a list of words."""
FILTERS = ("maker", *CHOICES, "thread", "series", *MEASURES)
"""What elements can be listed by."""

_TOLERANCE = re.compile(r"\s*(?:±|\+\s*/?\s*[-\N{MINUS SIGN}\N{EN DASH}])\s*")
_LOST_PLUS = re.compile(r"[^-]*\d[^-]* - \s*\d[^-]*")
_BARE = re.compile(r"[\d.,/ ]*\d")
_WITH_UNIT = re.compile(r"[\d.,/ ]*\d\s*(?P<unit>[^\d\s].*)")


class FilterShown(Answer):
    """How one filter was read. ``customary`` tells that its tolerance was not stated."""

    name: str
    words: str
    word: str | None
    low: float | None
    high: float | None
    unit: str | None
    customary: bool


class MeasuresShown(Answer):
    outside_diameter: QuantityShown | None
    inside_diameter: QuantityShown | None
    second_inside_diameter: QuantityShown | None
    length: QuantityShown | None
    gasket_outside_diameter: QuantityShown | None
    gasket_inside_diameter: QuantityShown | None


class ElementListed(ElementNamed):
    """What an element is, how much is on file for it (``rated`` counts its ratings by characteristic), and how it fits
    what was asked. One that might fit has shown nothing against it, and leaves open what is ``not_shown`` and
    ``unstated``."""

    seal_type: str | None
    end_form: str | None
    flow_direction: str | None
    core: str | None
    anti_drain_back: str | None
    series: str | None
    fluids_compatible: list[str]
    fluids_excluded: list[str]
    fluids_tested: list[str]
    fluids_failed: list[str]
    zinc_parts: str | None
    measures: MeasuresShown
    tests: int
    ratings: int
    rated: dict[str, int]
    fits: Literal["surely", "might"] | None
    not_shown: list[str]
    unstated: list[str]
    ask_for: list[str]
    criteria: list[CriterionShown]


_LISTS = tuple(k for k, a in ATTRIBUTES.items() if a.kind == "words")
_WORDS = tuple(k for k, a in ATTRIBUTES.items() if a.kind != "length" and k not in _LISTS)


class ElementsAnswer(Tabular):
    """``not_stated`` counts elements that contradict nothing asked and leave some filter unstated; they are among
    those that might fit. ``next`` is the address of the next page, null on the last."""

    filters: list[FilterShown]
    requirements: list[RequirementShown]
    assumptions: dict[str, str]
    total: int
    surely_fit: int
    might_fit: int
    not_stated: int
    limit: int
    elements: list[ElementListed]
    next: str | None = None

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        """What is shown for each requirement stands in the last columns, which are there for what was required."""
        names = ("element_id", "maker", "number", *_WORDS, *_LISTS)
        measures = [column(name, "length", units) for name in MEASURES]
        counted = whole_numbers("tests", "ratings", *(f"{key}_ratings" for key in CHARACTERISTICS))
        requirements = self.requirements
        shown = [each for required in requirements for each in _shown_columns(required, units)]
        rows = [
            [
                *(_cell(getattr(element, name)) for name in names),
                *(None if (q := getattr(element.measures, name)) is None else q.value for name in MEASURES),
                element.tests,
                element.ratings,
                *(element.rated.get(key, 0) for key in CHARACTERISTICS),
                element.fits,
                *("; ".join(each) or None for each in (element.not_shown, element.unstated, element.ask_for)),
                *(cell for each in zip(requirements, element.criteria, strict=True) for cell in _shown_cells(*each)),
            ]
            for element in self.elements
        ]
        return Table((*names, *measures, *counted, "fits", "not_shown", "unstated", "ask_for", *shown), rows)


def _cell(value: str | list[str] | None) -> Cell:
    return " ".join(value) if isinstance(value, list) else value


def _shown_columns(required: RequirementShown, units: UnitSystem) -> list[str]:
    """Columns of one requirement, which begin with its id: ``retained_capacity_shown_low_g``."""
    name, kind = required.id.replace("-", "_"), kind_of(required.characteristic)
    bounds = [f"{name}_shown_low", f"{name}_shown_high"]
    shown: Sequence[str] = [column(each, kind, units) for each in bounds] if kind else numbers(*bounds)
    shown = shown if required.word is None else [f"{name}_shown"]
    return [f"{name}_verdict", *shown, f"{name}_reason", f"{name}_explanation"]


def _shown_cells(required: RequirementShown, told: CriterionShown) -> list[Cell]:
    shown: list[Cell] = [told.shown.low, told.shown.high] if required.word is None else [told.shown_word]
    return [told.verdict, *shown, told.reason, told.explanation]


Finder = Callable[[Snapshot, Wanted, Sequence[Requirement], Assumptions], Found]
"""Finds elements as :func:`specdb.finding.find_elements` does."""


def listing(
    snapshot: Snapshot,
    asked: Mapping[str, str],
    units: UnitSystem = "si",
    *,
    duty: DutyAsked | None = None,
    might: bool = False,
    limit: int = 50,
    offset: int = 0,
    by_measures: bool = False,
    find: Finder = find_elements,
) -> ElementsAnswer:
    """Elements that state all that is ``asked`` (texts by the names in ``FILTERS``) and meet all that the ``duty``
    requires, in the order of maker and number, or ``by_measures``, the nearest to those that are asked first: ``limit``
    of them after the first ``offset``. After them stand, on request, those that ``might``: they contradict and miss
    nothing of it, and leave some of it open.

    A measure is a quantity, with a tolerance where one is stated: ``96 mm``, ``96 mm ± 2 mm``. Raises InputError that
    names every filter and requirement that cannot be read, and NotOnFileError for a maker or a series of which there is
    no element.
    """
    faults = Faults()
    wanted, filters = _read_all(asked, units, faults)
    required = resolve(Question(duty=duty or DutyAsked()), snapshot, faults, may_be_empty=True)
    found = find(snapshot, wanted, required.requirements, required.assumptions)
    rows = _in_order(snapshot, found, wanted, might, by_measures)[offset : offset + limit]
    standings = _standings(snapshot, rows, wanted, required, units)
    tests = tests_on_file(snapshot, rows)
    rated = {key: counts.tolist() for key, counts in ratings_on_file(snapshot, rows).items()}
    return ElementsAnswer(
        catalog_revision=snapshot.revision,
        filters=filters,
        requirements=[requirement_shown(each, units) for each in required.requirements],
        assumptions=assumption_words(required.assumptions),
        total=len(found.surely) + (len(found.might) if might else 0),
        surely_fit=len(found.surely),
        might_fit=len(found.might),
        not_stated=found.not_stated,
        limit=limit,
        elements=[
            _listed(
                snapshot, int(row), int(tests[place]), {k: c[place] for k, c in rated.items() if c[place]},
                standings[place], units,
            )
            for place, row in enumerate(rows)
        ],
    )  # fmt: skip


def _in_order(snapshot: Snapshot, found: Found, wanted: Wanted, might: bool, by_measures: bool) -> IntArray:
    """Rows of those that surely fit, and after them of those that might where they are asked for."""
    groups = [found.surely, found.might] if might else [found.surely]
    if by_measures:
        groups = [nearest_first(snapshot, rows, wanted.measures) for rows in groups]
    return np.concatenate(groups)


@dataclass(frozen=True)
class _Standing:
    """How an element stands to what is asked."""

    fits: Literal["surely", "might"] | None
    not_shown: list[str]
    unstated: list[str]
    ask_for: list[str]
    criteria: list[CriterionShown]


def _standings(snapshot: Snapshot, rows: IntArray, wanted: Wanted, duty: Duty, units: UnitSystem) -> list[_Standing]:
    """Of each of the elements in ``rows``, none of which misses anything."""
    read = {key: None for required in duty.requirements for key in characteristics_read(required)}
    ranking = ranking_of(duty, snapshot.repeated(rows, tuple(read)))
    is_asked = wanted != Wanted() or bool(duty.requirements)
    made = []
    open_ = zip(_tests(ranking, units), unstated_by(snapshot, wanted, rows), strict=True)
    for place, (tests, unstated) in enumerate(open_):
        criteria = [criterion(ranking.snapshot, judged, place, units) for judged in ranking.judged]
        not_shown = [each.requirement for each in criteria if each.verdict == "not_shown" and not each.advisory]
        statements = [asked_words(Requirement("", name, "stated")) for name in unstated]
        fits: Literal["surely", "might"] = "might" if not_shown or unstated else "surely"
        made.append(_Standing(fits if is_asked else None, not_shown, unstated, [*tests, *statements], criteria))
    return made


def _tests(ranking: Ranking, units: UnitSystem) -> list[list[str]]:
    """Of each element of the ranking, what would settle what is not shown of it, in the order of the requirements."""
    found = requests(ranking, range(len(ranking.snapshot.elements)))
    asked = [(asked_words(each.asked, units), each) for each in found.by_test]
    asked += [(help_words(each, units), each) for each in found.beyond_tests]
    places = [required.id for required in ranking.duty.requirements]
    told: list[list[str]] = [[] for _ in range(len(ranking.snapshot.elements))]
    for words, request in sorted(asked, key=lambda each: places.index(each[1].requirement.id)):
        for one in () if request.requirement.advisory else request.unsettled:
            told[one.row].append(words)
    return told


def without_each(snapshot: Snapshot, asked: Mapping[str, str]) -> dict[str, int]:
    """How many elements would be listed if one filter were left out, by its name: for those that would leave any, the
    most first. Raises as ``listing`` does."""
    found = {
        left: len(list_elements(snapshot, read_filters({n: t for n, t in asked.items() if n != left})[0]).rows)
        for left in asked
    }
    return dict(sorted(((name, count) for name, count in found.items() if count), key=lambda each: -each[1]))


def _listed(
    snapshot: Snapshot, row: int, tests: int, rated: dict[str, int], standing: _Standing, units: UnitSystem
) -> ElementListed:
    elements = snapshot.elements
    named = element_named(snapshot, row).model_dump()
    words = {name: elements.words[name].word(row) for name in _WORDS}
    lists = {name: (elements.words[name].word(row) or "").split() for name in _LISTS}
    measures = {name: quantity(number(elements.measures[name][row]), "length", units) for name in MEASURES}
    return ElementListed(
        **(named | words),
        **lists,
        measures=MeasuresShown(**measures),
        tests=tests,
        ratings=sum(rated.values()),
        rated=rated,
        **vars(standing),
    )


# --- reading filters ------------------------------------------------------------------------------


def read_filters(asked: Mapping[str, str], units: UnitSystem = "si") -> tuple[Wanted, list[FilterShown]]:
    """What is wanted, and how it was read. Raises InputError that names every filter that cannot be read."""
    faults = Faults()
    found = _read_all(asked, units, faults)
    faults.raise_any()
    return found


def _read_all(asked: Mapping[str, str], units: UnitSystem, faults: Faults) -> tuple[Wanted, list[FilterShown]]:
    """What can be read; what cannot goes to ``faults``."""
    wanted, shown = Wanted(), []
    for name, text in asked.items():
        with faults.at(name):
            wanted, told = _read(wanted, name, text, units)
            shown.append(told)
    return wanted, shown


def _read(wanted: Wanted, name: str, text: str, units: UnitSystem) -> tuple[Wanted, FilterShown]:
    if name in MEASURES:
        return _measure(wanted, name, text, units)
    if name in ("maker", "series"):
        identity_key(text, field=name)
        found = replace(wanted, maker=text) if name == "maker" else replace(wanted, series=text)
        return found, _word_shown(name, text.strip())
    if name == "thread":
        word = normal_thread(text)
    elif name in CHOICES:
        word = _choice(name, text)
    else:
        raise QuestionError("Elements cannot be listed by this.", remedy=f"Known are {', '.join(FILTERS)}.")
    if name == "fluid_class":
        return replace(wanted, fluid_class=word), _word_shown(name, word)
    return replace(wanted, words={**wanted.words, name: word}), _word_shown(name, word)


def _choice(name: str, text: str) -> str:
    word = chosen(text, CHOICES[name])
    if word is None:
        known = f"Known are {', '.join(CHOICES[name])}."
        remedy = " ".join(filter(None, [meant_of(text, CHOICES[name]), known]))
        raise QuestionError(f"This is no {_title(name)} known here.", value=text, remedy=remedy)
    return word


def _word_shown(name: str, word: str) -> FilterShown:
    return FilterShown(
        name=name, words=f"{_title(name)} {word}", word=word, low=None, high=None, unit=None, customary=False
    )


def _title(name: str) -> str:
    return name if name == "maker" else title_of(name)


def _measure(wanted: Wanted, name: str, text: str, units: UnitSystem) -> tuple[Wanted, FilterShown]:
    stated, tolerance_text = parted(text)
    value = read_positive(stated, "length").value
    if tolerance_text is None:
        tolerance, note = MEASURE_TOLERANCE_MM[name], " (no tolerance stated: the customary one, common practice)"
    else:
        tolerance, note = read_quantity(tolerance_text, "length").value, ""
    if tolerance < 0:
        raise QuestionError("A tolerance cannot be negative.", value=text)
    low, high = value - tolerance, value + tolerance
    shown = FilterShown(
        name=name,
        words=f"{ATTRIBUTES[name].title} {show(value, 'length', units)} ± {show(tolerance, 'length', units)}{note}",
        word=None,
        low=_length(low, units).value,
        high=_length(high, units).value,
        unit=_length(high, units).unit,
        customary=tolerance_text is None,
    )
    return replace(wanted, measures={**wanted.measures, name: (low, high)}), shown


def _length(value_mm: float, units: UnitSystem) -> QuantityShown:
    shown = quantity(value_mm, "length", units)
    assert shown is not None
    return shown


def parted(text: str) -> tuple[str, str | None]:
    """A measure and its tolerance, None where none is stated. A unit that stands at one of them holds for both.

    Raises QuestionError for what cannot be parted.
    """
    parts = [part.strip() for part in _TOLERANCE.split(text)]
    if len(parts) > 2 or _LOST_PLUS.fullmatch(text):
        raise QuestionError(
            "Measure and tolerance cannot be told apart.",
            value=text,
            remedy='Write it as in "96 mm ± 2 mm" or "96 mm +- 2 mm"; in an address the sign + is written %2B.',
        )
    if len(parts) == 1:
        return parts[0], None
    stated, tolerance = parts
    return _with_unit_of(tolerance, stated), _with_unit_of(stated, tolerance)


def _with_unit_of(other: str, text: str) -> str:
    match = _WITH_UNIT.fullmatch(other)
    return f"{text} {match['unit']}" if match and _BARE.fullmatch(text) else text
