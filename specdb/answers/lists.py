"""Elements by maker, kind and fit, a row each."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from typing_extensions import override

from specdb.answers.deciding import element_named
from specdb.answers.decisions import ElementNamed
from specdb.answers.shape import Answer, QuantityShown, Tabular, number, quantity
from specdb.answers.tables import Cell, Table, column
from specdb.catalog.identity import identity_key
from specdb.catalog.listing import Wanted, list_elements, nearest_first, ratings_on_file, tests_on_file
from specdb.catalog.snapshot import MEASURES, Snapshot
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, FLUID_CLASSES, title_of
from specdb.duty.conditions import Faults, read_positive
from specdb.duty.stated import MEASURE_TOLERANCE_MM
from specdb.errors import QuestionError
from specdb.trade.threads import normal_thread
from specdb.units import UnitSystem, read_quantity, show
from specdb.vocabulary import chosen, meant_of

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
    """What an element is, and how much is on file for it: ``rated`` counts its ratings by characteristic."""

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


_LISTS = tuple(k for k, a in ATTRIBUTES.items() if a.kind == "words")
_WORDS = tuple(k for k, a in ATTRIBUTES.items() if a.kind != "length" and k not in _LISTS)


class ElementsAnswer(Tabular):
    """``not_stated`` counts elements that contradict no filter and leave some of what is asked unstated; ``next`` is
    the address of the next page, null on the last."""

    filters: list[FilterShown]
    total: int
    not_stated: int
    limit: int
    elements: list[ElementListed]
    next: str | None = None

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        names = ("element_id", "maker", "number", *_WORDS, *_LISTS)
        measures = [column(name, "length", units) for name in MEASURES]
        counted = [f"{key}_ratings" for key in CHARACTERISTICS]
        rows = [
            [
                *(_cell(getattr(element, name)) for name in names),
                *(None if (q := getattr(element.measures, name)) is None else q.value for name in MEASURES),
                element.tests,
                element.ratings,
                *(element.rated.get(key, 0) for key in CHARACTERISTICS),
            ]
            for element in self.elements
        ]
        return Table((*names, *measures, "tests", "ratings", *counted), rows)


def _cell(value: str | list[str] | None) -> Cell:
    return " ".join(value) if isinstance(value, list) else value


def listing(
    snapshot: Snapshot,
    asked: Mapping[str, str],
    units: UnitSystem = "si",
    *,
    limit: int = 50,
    offset: int = 0,
    by_measures: bool = False,
) -> ElementsAnswer:
    """Elements that state all that is ``asked`` (texts by the names in ``FILTERS``), in the order of maker and number,
    or ``by_measures``, the nearest to those that are asked first: ``limit`` of them after the first ``offset``.

    A measure is a quantity, with a tolerance where one is stated: ``96 mm``, ``96 mm ± 2 mm``. Raises InputError that
    names every filter that cannot be read, and NotOnFileError for a maker or a series of which there is no element.
    """
    wanted, filters = read_filters(asked, units)
    found = list_elements(snapshot, wanted)
    ordered = nearest_first(snapshot, found.rows, wanted.measures) if by_measures else found.rows
    rows = ordered[offset : offset + limit]
    tests = tests_on_file(snapshot, rows)
    rated = {key: counts.tolist() for key, counts in ratings_on_file(snapshot, rows).items()}
    return ElementsAnswer(
        catalog_revision=snapshot.revision,
        filters=filters,
        total=len(found.rows),
        not_stated=found.not_stated,
        limit=limit,
        elements=[
            _listed(snapshot, int(row), int(tests[place]), {k: c[place] for k, c in rated.items() if c[place]}, units)
            for place, row in enumerate(rows)
        ],
    )


def without_each(snapshot: Snapshot, asked: Mapping[str, str]) -> dict[str, int]:
    """How many elements would be listed if one filter were left out, by its name: for those that would leave any, the
    most first. Raises as ``listing`` does."""
    found = {
        left: len(list_elements(snapshot, read_filters({n: t for n, t in asked.items() if n != left})[0]).rows)
        for left in asked
    }
    return dict(sorted(((name, count) for name, count in found.items() if count), key=lambda each: -each[1]))


def _listed(snapshot: Snapshot, row: int, tests: int, rated: dict[str, int], units: UnitSystem) -> ElementListed:
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
    )


# --- reading filters ------------------------------------------------------------------------------


def read_filters(asked: Mapping[str, str], units: UnitSystem = "si") -> tuple[Wanted, list[FilterShown]]:
    """What is wanted, and how it was read. Raises InputError that names every filter that cannot be read."""
    faults = Faults()
    wanted, shown = Wanted(), []
    for name, text in asked.items():
        with faults.at(name):
            wanted, told = _read(wanted, name, text, units)
            shown.append(told)
    faults.raise_any()
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
