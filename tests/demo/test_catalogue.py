"""The demo catalogue itself: large enough, sensible, complete, odd where it has to be, and invented throughout."""

from __future__ import annotations

import csv
import json
import math
import re
from collections import Counter
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from typing import Any

import pytest

from specdb.characteristics import (
    ATTRIBUTES,
    CAPACITY_BASES,
    CHARACTERISTICS,
    CONTRARY,
    DROP_OF,
    FLUID_CLASSES,
    LABORATORIES,
    QUALIFIERS,
)
from specdb.demo import demo_folder
from tests.demo.catalogue import Demo, row_of
from tests.demo.rules import RULES

Row = dict[str, str]
FILES = ("sources", "elements", "ratings", "interchanges")
NUMBER = re.compile(r"[<>]?\s*(-?[0-9]+(?:\.[0-9]+)?)(?![0-9/])")


@cache
def table(name: str) -> tuple[Row, ...]:
    with (demo_folder() / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return tuple(csv.DictReader(lines))


def number_in(cell: str) -> float:
    """The number that a cell begins with; 0 where it begins with none."""
    match = NUMBER.match(cell)
    return float(match[1]) if match else 0.0


def of(number: str, characteristic: str) -> list[Row]:
    return [r for r in table("ratings") if r["number"] == number and r["characteristic"] == characteristic]


# --- size and completeness -------------------------------------------------------------------------


def test_it_is_large_enough() -> None:
    makers = Counter(row["maker"] for row in table("elements"))
    assert sum(makers.values()) >= 120
    assert sum(elements >= 10 for elements in makers.values()) >= 6


def test_no_number_is_used_twice() -> None:
    numbers = [row["number"] for row in table("elements")]
    assert len(numbers) == len(set(numbers))


def test_every_rating_belongs_to_an_element_and_a_source_of_the_catalogue() -> None:
    elements = {(row["maker"], row["number"]) for row in table("elements")}
    sources = {row["source"] for row in table("sources")}
    assert not [r for r in table("ratings") if (r["maker"], r["number"]) not in elements or r["source"] not in sources]


@pytest.mark.parametrize("characteristic", CHARACTERISTICS)
def test_every_characteristic_occurs_with_all_it_is_judged_with(characteristic: str) -> None:
    rows = [row for row in table("ratings") if row["characteristic"] == characteristic]
    assert rows
    for condition in (*CHARACTERISTICS[characteristic].judged_with, *CHARACTERISTICS[characteristic].shown_with):
        assert any(row[condition] for row in rows), condition


@pytest.mark.parametrize(
    ("characteristic", "standard"), [(c.key, standard) for c in CHARACTERISTICS.values() for standard in c.standards]
)
def test_every_standard_occurs(characteristic: str, standard: str) -> None:
    assert any(r["characteristic"] == characteristic and r["standard"] == standard for r in table("ratings"))


@pytest.mark.parametrize("attribute", ATTRIBUTES)
def test_every_attribute_occurs_with_all_its_choices(attribute: str) -> None:
    stated = {word for row in table("elements") for word in _words(attribute, row[attribute])}
    assert stated - {""}
    if attribute not in ("fluids_excluded", "fluids_tested", "fluids_failed"):  # some are listed by nobody
        assert set(ATTRIBUTES[attribute].choices) <= stated


def _words(attribute: str, cell: str) -> list[str]:
    return cell.split() if ATTRIBUTES[attribute].kind == "words" else [cell]


def test_every_fluid_class_is_listed_as_compatible_somewhere() -> None:
    assert {name for row in table("elements") for name in row["fluids_compatible"].split()} == set(FLUID_CLASSES)


@pytest.mark.parametrize(("against", "favour"), CONTRARY.items())
def test_no_fluid_is_in_two_contrary_lists_at_once(against: str, favour: str) -> None:
    assert not any(set(r[favour].split()) & set(r[against].split()) for r in table("elements"))


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("qualifier", QUALIFIERS),
        ("drop_of", DROP_OF),
        ("capacity_basis", CAPACITY_BASES),
        ("laboratory", LABORATORIES),
    ],
)
def test_every_word_of_a_rating_occurs(column: str, words: tuple[str, ...]) -> None:
    assert {row[column] for row in table("ratings")} - {""} == set(words)


def test_its_readme_names_each_element_that_a_rule_needs() -> None:
    readme = (demo_folder() / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| .+ \| (\w+) \| `([^`]+)` \|$", readme, re.MULTILINE)
    assert len(rows) > 80
    elements = {(row["maker"], row["number"]) for row in table("elements")}
    assert set(rows) <= elements


def test_every_element_that_exercises_a_rule_is_in_the_catalogue() -> None:
    assert {rule.element for rule in RULES} <= {row["number"] for row in table("elements")}


def test_its_readme_counts_what_is_in_it() -> None:
    readme = (demo_folder() / "README.md").read_text(encoding="utf-8")
    sources, elements, ratings, claims = (len(table(name)) for name in FILES)
    assert f"{sources} sources, {elements} elements, {ratings} ratings, {claims} interchange claims." in readme


# --- invented --------------------------------------------------------------------------------------


def test_its_readme_says_that_all_of_it_is_invented() -> None:
    readme = " ".join((demo_folder() / "README.md").read_text(encoding="utf-8").split())
    assert readme.startswith("# Invented demo catalogue **Everything in this folder is invented**")
    assert "Nothing here may be used to choose, order or judge a real element." in readme


def test_its_description_says_of_all_of_it_that_it_is_invented() -> None:
    package = json.loads((demo_folder() / "datapackage.json").read_text(encoding="utf-8"))
    assert package["title"].startswith("INVENTED")
    assert package["description"].startswith("EVERYTHING HERE IS INVENTED")
    assert sorted(resource["name"] for resource in package["resources"]) == sorted(FILES)
    assert all(resource["description"].startswith("INVENTED") for resource in package["resources"])


# --- families --------------------------------------------------------------------------------------

FAMILIES = (
    # from the finest medium to the coarsest, all of one size
    ("Dulse 11", "Dulse 12", "Dulse 13", "Dulse 14"),
    ("Dulse 21", "Dulse 22", "Dulse 23", "Dulse 24"),
    ("Dulse 21/B", "Dulse 22/B", "Dulse 23/B", "Dulse 24/B"),
    ("Dulse 31", "Dulse 32", "Dulse 33", "Dulse 34"),
    ("Laver 1 M", "Laver 2 M", "Laver 3 M"),
    ("Laver 1 H", "Laver 2 H", "Laver 3 H"),
    ("10-1", "10-2", "10-3"),
    ("2024-05", "2024-06", "2024-07", "2024-08"),
    ("2024-09", "2024-10", "2024-11", "2024-12"),
    ("00531", "00524", "00532"),
    ("8E1", "8E2", "8E3", "8E4"),
    ("12E1", "12E2", "12E3", "12E4"),
    ("12E5", "12E6", "12E7", "12E8"),
    ("16E1", "16E2", "16E3"),
    ("16E5", "16E6", "16E7"),
    ("20-K/t", "20-K/u"),
    ("21-K/t", "21-K/u"),
    ("22-K/t", "22-K/u"),
    ("Alder/1", "Alder/2", "Alder/3", "Alder/4"),
    ("Alder/5", "Alder/6", "Alder/7", "Alder/8"),
    ("XIV-3a", "XIV-6a", "XIV-12a", "XIV-20a"),
    ("XXI-3a", "XXI-6a", "XXI-12a", "XXI-20a"),
    ("XXXII-3a", "XXXII-6a", "XXXII-12a", "XXXII-20a"),
    ("fg:180:1", "fg:180:2", "fg:180:3", "fg:180:4"),
)
family = pytest.mark.parametrize("members", FAMILIES, ids=[members[0] for members in FAMILIES])


@family
def test_finer_media_reach_a_high_ratio_at_a_smaller_size(members: tuple[str, ...]) -> None:
    def size_of_highest(number: str) -> float:
        row = max(of(number, "filtration_ratio"), key=lambda r: (number_in(r["value"]), -number_in(r["size"])))
        return number_in(row["size"])

    assert all(size_of_highest(finer) < size_of_highest(coarser) for finer, coarser in pairwise(members))


def _held(demo: Demo, number: str) -> float:
    """Greatest retained capacity on file, in g."""
    points = demo.snapshot.of("retained_capacity")
    return float(points.value[points.element == row_of(demo.snapshot, number)].max())


@family
def test_finer_media_hold_less(members: tuple[str, ...], demo: Demo) -> None:
    """As efficiency rises capacity usually falls (common practice)."""
    assert all(_held(demo, finer) < _held(demo, coarser) for finer, coarser in pairwise(members))


@family
def test_finer_media_cost_more_drop(members: tuple[str, ...]) -> None:
    """At each flow and viscosity at which two neighbours were both measured (common practice)."""

    def curve(number: str) -> dict[tuple[str, ...], float]:
        return {
            (row["flow"], row["viscosity"], row["unit"]): number_in(row["value"])
            for row in of(number, "clean_pressure_drop")
            if row["qualifier"] == "equal"
        }

    for finer, coarser in pairwise(curve(number) for number in members):
        shared = finer.keys() & coarser.keys()
        assert shared
        assert all(finer[point] > coarser[point] for point in shared)


@pytest.mark.parametrize(
    ("short", "long"),
    [("2024-07", "2024-11"), ("12E3", "16E3"), ("20-K/t", "22-K/t"), ("Alder/2", "Alder/6"), ("XXI-6a", "XXXII-6a")],
)
def test_a_longer_element_of_one_medium_holds_more(short: str, long: str, demo: Demo) -> None:
    assert _held(demo, long) > _held(demo, short)


def test_ratios_rise_with_size_except_where_an_element_is_meant_to_be_wrong(demo: Demo) -> None:
    points = demo.snapshot.of("filtration_ratio")
    falling = {
        str(demo.snapshot.elements.number[points.element[place]])
        for place in range(1, len(points))
        if points.test[place] == points.test[place - 1]
        and points.size_um[place] > points.size_um[place - 1]
        and points.value[place] < points.value[place - 1]
    }
    assert falling == {"12-K"}


def test_drops_rise_with_flow_everywhere(demo: Demo) -> None:
    points = demo.snapshot.of("clean_pressure_drop")
    for place in range(1, len(points)):
        same = points.test[place] == points.test[place - 1]
        if same and points.viscosity_mm2_s[place] == points.viscosity_mm2_s[place - 1]:
            assert points.value[place] > points.value[place - 1]


# --- oddities --------------------------------------------------------------------------------------

ODDITIES: dict[str, tuple[str, Callable[[Row], Any]]] = {
    "an at least value": ("ratings", lambda r: r["qualifier"] == "at_least"),
    "an at most value": ("ratings", lambda r: r["qualifier"] == "at_most"),
    "an about value": ("ratings", lambda r: r["qualifier"] == "about"),
    "an at most ratio": ("ratings", lambda r: (r["characteristic"], r["qualifier"]) == ("filtration_ratio", "at_most")),
    "the older scale": ("ratings", lambda r: r["size"].endswith("um(acftd)") and r["standard"] == "ISO 4572"),
    "a size without a scale and without a standard": (
        "ratings",
        lambda r: r["size"].endswith("(?)") and not r["standard"],
    ),
    "a size without a scale under a standard": ("ratings", lambda r: r["size"].endswith(" um") and r["standard"]),
    "a size at β below the smallest counted": ("ratings", lambda r: r["size"].startswith("<")),
    "a size at β above the largest counted": ("ratings", lambda r: r["size"].startswith(">")),
    "a ratio below 1": ("ratings", lambda r: r["characteristic"] == "filtration_ratio" and number_in(r["value"]) < 1),
    "an efficiency of a customary pair": ("ratings", lambda r: r["value"] == "99.5 %"),
    "an efficiency of no customary pair": ("ratings", lambda r: r["value"] == "98 %"),
    "an efficiency of 100 %": ("ratings", lambda r: r["value"] == "100 %"),
    "pressure in psi": ("ratings", lambda r: r["unit"] == "psi"),
    "pressure in inches of water": ("ratings", lambda r: r["unit"] == "inH2O"),
    "flow in US gallons": ("ratings", lambda r: r["flow"].endswith("US gpm")),
    "viscosity in Saybolt seconds at its temperature": ("ratings", lambda r: r["viscosity"] == "150 SUS at 100 degF"),
    "temperature in degrees Fahrenheit": ("ratings", lambda r: r["unit"] == "degF"),
    "viscosity in centistokes": ("ratings", lambda r: r["viscosity"].endswith("cSt")),
    "pressure in bar and in mbar": ("ratings", lambda r: r["unit"] == "mbar"),
    "a capacity in pounds": ("ratings", lambda r: r["value"].endswith(" lb")),
    "a unit in the cell": ("ratings", lambda r: r["characteristic"] == "retained_capacity" and not r["unit"]),
    "another test dust": ("ratings", lambda r: r["dust"] == "ISO 12103-1 A2"),
    "a test that names no dust": ("ratings", lambda r: r["standard"] == "ISO 16889" and not r["dust"]),
    "a multi-pass test that names no flow": ("ratings", lambda r: r["standard"] == "ISO 16889" and not r["flow"]),
    "a capacity that names no terminal drop": (
        "ratings",
        lambda r: r["characteristic"] == "retained_capacity" and not r["terminal_pressure_drop"],
    ),
    "a capacity that names no basis": (
        "ratings",
        lambda r: r["characteristic"] == "retained_capacity" and not r["capacity_basis"],
    ),
    "an injected mass": ("ratings", lambda r: r["capacity_basis"] == "injected"),
    "a drop that names neither element nor assembly": (
        "ratings",
        lambda r: r["characteristic"] == "clean_pressure_drop" and not r["drop_of"],
    ),
    "a drop of an assembly": ("ratings", lambda r: r["drop_of"] == "assembly"),
    "a drop that names no viscosity": (
        "ratings",
        lambda r: r["characteristic"] == "clean_pressure_drop" and not r["viscosity"],
    ),
    "a drop with its density": ("ratings", lambda r: r["density"] == "860 kg/m^3"),
    "a bubble point in water": (
        "ratings",
        lambda r: r["characteristic"] == "bubble_point" and r["test_liquid"] == "water",
    ),
    "a bubble point that names no liquid": (
        "ratings",
        lambda r: r["characteristic"] == "bubble_point" and not r["test_liquid"],
    ),
    "fatigue that names no cycle pressure": (
        "ratings",
        lambda r: r["characteristic"] == "flow_fatigue_cycles" and not r["cycle_pressure"],
    ),
    "an independent laboratory": ("ratings", lambda r: r["laboratory"] == "independent"),
    "a correction of a correction": (
        "ratings",
        lambda r: r["supersedes"] in {o["rating"] for o in table("ratings") if o["supersedes"]},
    ),
    "a number with leading zeros": ("elements", lambda r: r["number"].startswith("00")),
    "a number like a power of ten": ("elements", lambda r: re.fullmatch(r"[0-9]+E[0-9]+", r["number"])),
    "a number like a date": ("elements", lambda r: re.fullmatch(r"2024-[01][0-9]", r["number"])),
    "a number that begins with an equals sign": ("elements", lambda r: r["number"].startswith("=")),
    "a number with a space": ("elements", lambda r: " " in r["number"]),
    "a number with a slash": ("elements", lambda r: "/" in r["number"]),
    "a number that looks like another": (
        "elements",
        lambda r: (
            r["number"].replace("-", "") in {o["number"] for o in table("elements") if o["number"] != r["number"]}
        ),
    ),
    "a measure in inches": ("elements", lambda r: r["outside_diameter"].endswith(" in")),
    "an obsolete element with a successor": ("elements", lambda r: r["status"] == "obsolete" and r["successor"]),
    "an excluded fluid": ("elements", lambda r: "HFC" in r["fluids_excluded"].split()),
    "a fluid that a sheet lists as compatible and a soaking test failed": (
        "elements",
        lambda r: set(r["fluids_compatible"].split()) & set(r["fluids_failed"].split()),
    ),
    "zinc in an element listed for a fluid with water": (
        "elements",
        lambda r: r["zinc_parts"] == "yes" and {"HFC", "HFAE"} & set(r["fluids_compatible"].split()),
    ),
    "a mesh opening in millimetres": ("ratings", lambda r: r["characteristic"] == "mesh_opening" and r["unit"] == "mm"),
    "a drop of air that names no flow": (
        "ratings",
        lambda r: r["characteristic"] == "air_pressure_drop" and not r["flow"],
    ),
    "a claim with one side absent": (
        "interchanges",
        lambda r: (r["replaces_maker"], r["replaces_number"]) not in _named_elements(),
    ),
    "a claim of a maker not in the catalogue": (
        "interchanges",
        lambda r: (r["maker"], r["number"]) not in _named_elements(),
    ),
}


def _named_elements() -> set[tuple[str, str]]:
    return {(row["maker"], row["number"]) for row in table("elements")}


@pytest.mark.parametrize("oddity", ODDITIES)
def test_it_has(oddity: str) -> None:
    name, found = ODDITIES[oddity]
    rows = table(name)
    having = sum(bool(found(row)) for row in rows)
    assert 0 < having < len(rows), "an oddity is what some have and others have not"


@pytest.mark.parametrize(
    "near",
    ["M26 x 1.5", "G3/4", "1-14 UNS", "3/4-16 UNF", "M20x1.5", "1 1/2-16 UN", "1 1/2-12 UNF"],
)
def test_it_has_threads_near_to_another(near: str) -> None:
    assert near.replace(" x ", "x") in {row["thread"].replace(" x ", "x") for row in table("elements")}


# --- checksums -------------------------------------------------------------------------------------


def checksum(name: str) -> dict[str, tuple[int, float]]:
    """Filled cells of each column, and the sum of the numbers that they begin with."""
    rows = table(name)
    return {
        column: (sum(bool(row[column]) for row in rows), round(math.fsum(number_in(row[column]) for row in rows), 6))
        for column in rows[0]
    }


CHECKSUMS: dict[str, tuple[int, dict[str, tuple[int, float]]]] = {
    # file: its rows; filled cells and sum of leading numbers of each column
    "sources": (
        24,
        {
            "source": (24, 0.0),
            "title": (24, 0.0),
            "kind": (24, 0.0),
            "issuer": (24, 0.0),
            "revision": (20, 43.0),
            "date": (24, 48_528.0),
        },
    ),
    "elements": (
        171,
        {
            "maker": (171, 0.0),
            "number": (171, 37_233.0),
            "kind": (171, 0.0),
            "media": (171, 0.0),
            "seal": (171, 0.0),
            "seal_type": (161, 0.0),
            "end_form": (171, 0.0),
            "flow_direction": (166, 0.0),
            "core": (166, 0.0),
            "bypass_valve": (171, 0.0),
            "anti_drain_back": (87, 0.0),
            "thread": (97, 78.0),
            "outside_diameter": (171, 14_242.22),
            "inside_diameter": (74, 2_747.85),
            "second_inside_diameter": (1, 42.0),
            "length": (171, 29_907.0),
            "gasket_outside_diameter": (87, 5_828.515),
            "gasket_inside_diameter": (87, 5_042.969),
            "fluids_compatible": (171, 0.0),
            "fluids_excluded": (160, 0.0),
            "fluids_tested": (10, 0.0),
            "fluids_failed": (4, 0.0),
            "zinc_parts": (19, 0.0),
            "status": (171, 0.0),
            "successor": (6, 4_663.0),
            "series": (171, 37_145.0),
            "source": (171, 0.0),
            "correction": (0, 0.0),
        },
    ),
    "ratings": (
        2319,
        {
            "rating": (3, 0.0),
            "supersedes": (2, 0.0),
            "maker": (2_319, 0.0),
            "number": (2_319, 483_382.0),
            "characteristic": (2_319, 0.0),
            "qualifier": (2_319, 0.0),
            "value": (2_319, 10_095_210.867),
            "unit": (1_695, 0.0),
            "size": (554, 5_363.0),
            "flow": (1_259, 106_297.0),
            "viscosity": (538, 23_748.0),
            "density": (120, 103_440.0),
            "test": (1_244, 1_091.0),
            "standard": (1_827, 0.0),
            "edition": (1_707, 3_429_994.0),
            "dust": (710, 0.0),
            "gravimetric_level": (670, 7_037.0),
            "terminal_pressure_drop": (713, 96_419.0),
            "test_liquid": (109, 212.0),
            "drop_of": (536, 0.0),
            "capacity_basis": (713, 0.0),
            "cycle_pressure": (56, 2_216.8),
            "laboratory": (1_807, 0.0),
            "source": (2_319, 0.0),
            "page": (2_280, 6_348.0),
            "remark": (23, 625.0),
        },
    ),
    "interchanges": (
        13,
        {
            "maker": (13, 0.0),
            "number": (13, 3_110.0),
            "replaces_maker": (13, 0.0),
            "replaces_number": (13, 2_185.0),
            "source": (13, 0.0),
            "date": (13, 26_286.0),
            "remark": (2, 0.0),
        },
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_no_cell_was_lost_or_changed(name: str) -> None:
    rows, columns = CHECKSUMS[name]
    assert len(table(name)) == rows
    assert checksum(name) == columns
