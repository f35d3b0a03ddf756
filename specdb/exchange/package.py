"""The ``datapackage.json`` of an export (Data Package standard): what each file and column holds."""

from __future__ import annotations

import json

from specdb.characteristics import ATTRIBUTES
from specdb.exchange.columns import COLUMNS, REQUIRED
from specdb.exchange.description import READING_ONLY, SHEETS

TITLES = {
    "sources": "Documents that say so",
    "elements": "Filter elements and what they are",
    "ratings": "Results of tests, each with its conditions",
    "interchanges": "Claims that one number may be fitted in place of another",
}
_WITH_UNIT = "with its unit, as typed"
MEANINGS = {
    "source": "Key of the document.",
    "title": "Title of the document.",
    "kind": "What the document or the element is.",
    "issuer": "Who issued the document.",
    "revision": "Issue or revision of the document.",
    "date": "Date of the document, test or claim, as printed: a year, a month or a day.",
    "maker": "Who makes the element.",
    "number": "The maker's number, to the letter.",
    "rating": "Label of the result, the one of its kind.",
    "supersedes": "Label of the result that this one takes the place of; without a value it is withdrawn.",
    "characteristic": "What was tested.",
    "qualifier": "How the value is meant: equal, at_least, at_most or about.",
    "value": f"The result, {_WITH_UNIT}; a ratio or a count of cycles has none.",
    "unit": "Unit of the value, where it does not stand with it.",
    "size": "Particle size of a filtration ratio, with its unit and scale, as typed.",
    "flow": f"Flow of the result, {_WITH_UNIT}.",
    "viscosity": f"Viscosity of the liquid, {_WITH_UNIT}.",
    "density": f"Density of the liquid, {_WITH_UNIT}.",
    "test": "Name of the test; results of one element, source and name are of one test.",
    "test_version": "Which of several tests of one name, where its conditions were corrected.",
    "standard": "Standard of the test.",
    "edition": "Edition of the standard.",
    "dust": "Test dust.",
    "gravimetric_level": f"Dust upstream, {_WITH_UNIT}.",
    "terminal_pressure_drop": f"Pressure drop at which the test ends, {_WITH_UNIT}.",
    "test_liquid": "Liquid of the test.",
    "drop_of": "What the pressure drop is of: element or assembly.",
    "capacity_basis": "What the capacity counts: dust retained or injected.",
    "cycle_pressure": f"Pressure of a cycle, {_WITH_UNIT}.",
    "laboratory": "Who tested: the maker or somebody independent.",
    "page": "Page of the document.",
    "remark": "What else is to be said.",
    "decimal": "Decimal mark of the row's numbers where it must be told, with exceptions by column.",
    "correction": "Why the row takes the place of what was stated before.",
    "replaces_maker": "Maker of the number replaced.",
    "replaces_number": "The number replaced, to the letter.",
    **{a.key: f"{a.title[:1].upper()}{a.title[1:]}{', ' + _WITH_UNIT if a.kind == 'length' else ''}."
       for a in ATTRIBUTES.values() if a.key != "kind"},
    "core": "Where the core that the media bears on is: in the element or in the housing.",
    "thread": "Thread, by its designation.",
    "successor": "The number that the maker names in its place.",
    "series": "What the maker calls the family of elements.",
}  # fmt: skip


def package_json(*, formula_safe: bool) -> str:
    """The description of an export; ``formula_safe`` ones say that they are not for import."""
    package: dict[str, object] = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "filter-element-catalogue",
        "title": "Catalogue of hydraulic filter elements",
        "resources": [_resource(sheet) for sheet in SHEETS],
    }
    if formula_safe:
        package |= {
            READING_ONLY: True,
            "description": "For reading in a spreadsheet program, not for import: an apostrophe stands before text "
            "that such a program would take for a formula.",
        }
    return json.dumps(package, ensure_ascii=False, indent=2) + "\n"


def _resource(sheet: str) -> dict[str, object]:
    return {
        "name": sheet,
        "path": f"{sheet}.csv",
        "title": TITLES[sheet],
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {
            "fields": [_field(sheet, column) for column in COLUMNS[sheet]],
            "missingValues": [""],
        },
    }


def _field(sheet: str, column: str) -> dict[str, object]:
    described: dict[str, object] = {"name": column, "type": "string", "description": MEANINGS[column]}
    if column in REQUIRED[sheet] and column != "value":
        described["constraints"] = {"required": True}
    return described
