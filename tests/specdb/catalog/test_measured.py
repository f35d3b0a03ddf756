"""Measures typed in one line: what is read of them, what is taken for granted, and what is said to be unread."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specdb.answers import FILTERS
from specdb.answers.lists import read_filters
from specdb.catalog.measured import Measured, read_measured, with_unit
from specdb.characteristics import KINDS
from specdb.units import UnitSystem

MAKERS = {"demo works": "Demo Works", "otherdemo": "Otherdemo"}


def maker_of(text: str) -> str | None:
    return MAKERS.get(text.casefold())


def read(text: str, units: UnitSystem = "si") -> Measured:
    found = read_measured(text, units, maker_of)
    assert found is not None, text
    return found


READ = {
    "1-12 UNF 96 mm x 140": {"thread": "1-12 UNF", "outside_diameter": "96 mm", "length": "140 mm"},
    "M20x1.5 od 76 gasket 62 mm": {
        "thread": "M20x1.5", "outside_diameter": "76 mm", "gasket_outside_diameter": "62 mm",
    },
    "thread 3/4-16 unf length 5.5 in": {"thread": "3/4-16 UNF", "length": "5.5 in"},
    '1"-12UNF-2B 3½″ × 5 1/2"': {"thread": "1-12 UNF", "outside_diameter": "3 1/2 in", "length": "5 1/2 in"},
    "96x140mm": {"outside_diameter": "96 mm", "length": "140 mm"},
    "96,5 by 140,2 mm": {"outside_diameter": "96,5 mm", "length": "140,2 mm"},
    "96 mm od x 140 mm long": {"outside_diameter": "96 mm", "length": "140 mm"},
    "96 od 140 long": {"outside_diameter": "96 mm", "length": "140 mm"},
    "96 mm od, 62 mm gasket": {"outside_diameter": "96 mm", "gasket_outside_diameter": "62 mm"},
    "length 140, 96": {"length": "140 mm", "outside_diameter": "96 mm"},
    "gasket 72 x 62 mm": {"gasket_outside_diameter": "72 mm", "gasket_inside_diameter": "62 mm"},
    "cartridge Ø80 bore 42 x 210": {
        "kind": "cartridge", "outside_diameter": "80 mm", "inside_diameter": "42 mm", "length": "210 mm",
    },
    "in tank 96 mm": {"kind": "in-tank", "outside_diameter": "96 mm"},
    "96 mm ± 2 mm x 140 +- 3": {"outside_diameter": "96 mm ± 2 mm", "length": "140 mm ± 3 mm"},
    "od 96 mm ± 0.1 in": {"outside_diameter": "96 mm ± 0.1 in"},
    "demo works spin-on 1 1/2-16": {"maker": "Demo Works", "kind": "spin-on", "thread": "1 1/2-16 UN"},
    "thread 1-14": {"thread": "1-14 UNS"},
    "G 3/4 96mm": {"thread": "G3/4", "outside_diameter": "96 mm"},
    "M 20 x 76": {"thread": "M20x2.5", "outside_diameter": "76 mm"},
    "1-12": {"thread": "1-12 UNF"},
    "1 x 12": {"thread": "1-12 UNF"},
    "3/4x16 96 mm": {"thread": "3/4-16 UNF", "outside_diameter": "96 mm"},
    "1 x 12 mm": {"outside_diameter": "1 mm", "length": "12 mm"},
    "3 1/2 x 8": {"outside_diameter": "3 1/2 mm", "length": "8 mm"},
    "1 x 13": {"outside_diameter": "1 mm", "length": "13 mm"},
    "98 mm od 140": {"outside_diameter": "98 mm", "length": "140 mm"},
    "98 od 140 gasket 72": {"outside_diameter": "98 mm", "length": "140 mm", "gasket_outside_diameter": "72 mm"},
    "98 gasket 72": {"outside_diameter": "98 mm", "gasket_outside_diameter": "72 mm"},
    "length 140 od 96": {"outside_diameter": "96 mm", "length": "140 mm"},
    "96 140": {"outside_diameter": "96 mm", "length": "140 mm"},
    "breathers": {"kind": "breather"},
}  # fmt: skip


@pytest.mark.parametrize("text", READ)
def test_what_is_read(text: str) -> None:
    found = read(text)
    assert found.filters == READ[text]
    assert found.unread == ()
    read_filters({name: each for name, each in found.filters.items() if name != "maker"})  # as a list takes them


@pytest.mark.parametrize(
    "text",
    ["", "dulse 23", "12-1", "2024-05", "44b", "X-1", "5/2", "12/1", "00417", "Rowan/3", "fg:b:2", "=7-K", "96",
     "10-8", "length", "demo works", "96/140 mm", "0.14 m", "x" * 300],
)  # fmt: skip
def test_what_is_a_number_or_nothing(text: str) -> None:
    assert read_measured(text, "si", maker_of) is None


def test_bare_numbers_take_the_unit_beside_them_else_that_of_the_reader_and_it_is_told() -> None:
    beside, as_read = "no unit typed: {}, as beside it", "no unit typed: {}, as {} units are shown"
    for units, text, unit, told in (
        ("si", "od 96 length 140", "mm", as_read.format("mm", "SI")),
        ("us", "od 3.8 length 5.5", "in", as_read.format("in", "US")),
        ("us", "od 96 length 140 mm", "mm", beside.format("mm")),
        ("si", "od 3.8 length 5.5 in", "in", beside.format("in")),
    ):
        found = read(text, units)  # type: ignore[arg-type]
        assert [part.text.split()[-1] for part in found.parts] == [unit, unit]
        assert told in found.parts[0].taken


def test_what_was_taken_for_granted_is_told() -> None:
    taken = {part.name: part.taken for part in read("M20 96 mm length 140 mm").parts}
    assert taken["thread"] == ("no pitch typed: the coarse one",)
    assert taken["outside_diameter"] == ("no name typed: taken by its place",)
    assert taken["length"] == ()
    assert read("98 mm od 140").parts[0].taken == ("its name stands after it",)
    assert "x typed for the dash of a thread" in read("1 x 12").parts[0].taken
    assert [read(text).is_guess for text in ("96 140", "96 mm 140", "96 x 140")] == [True, False, False]
    assert read("1-12").parts[0].taken == ("no series typed: by diameter and pitch",)


@pytest.mark.parametrize(
    ("text", "unread", "why"),
    [
        ("96 mm 140 62", "62", "what it measures is not said"),
        ("od 96 mm gasket 62 length 5.5 in", "62", "its unit is not stated, and others are in in and in mm"),
        ("od 95 od 96", "96", 'stated before, as "95"'),
        ("thread abc 96 mm", "thread", "no measure stands beside it"),
        ("96 140 72", "72", "what it measures is not said"),
        ("3/4 bsp", "3/4 bsp", "which of two threads is not said: write 3/4 BSPP (parallel, G) or 3/4 BSPT (taper, R)"),
        ("BSP 3/4 96 mm", "BSP 3/4", "which of two threads is not said"),
        ("zzz 96 mm", "zzz", "no measure, kind or maker on file"),
        ("od 96 mm length 0.14 m", "0.14 m", "elements are measured in mm, cm or in"),
    ],
)
def test_what_is_not_read_is_told(text: str, unread: str, why: str) -> None:
    assert any(each.typed == unread and each.why.startswith(why) for each in read(text).unread), read(text)


NUMBERS = st.one_of(
    st.integers(1, 400).map(str),
    st.floats(1, 400).map(lambda value: f"{value:.1f}"),
    st.floats(1, 400).map(lambda value: f"{value:.1f}".replace(".", ",")),
    st.sampled_from(["3 1/2", "5/8", ".75"]),
)
LABELS = {
    "outside_diameter": ["od", "OD:", "outside diameter", "Ø", "dia."],
    "inside_diameter": ["bore", "id", "inside diameter"],
    "second_inside_diameter": ["second bore"],
    "length": ["length", "Length =", "height"],
    "gasket_outside_diameter": ["gasket", "gasket od", "gasket outside diameter"],
    "gasket_inside_diameter": ["gasket id", "gasket bore"],
}
THREADS = ["1-12 UNF", "3/4-16 UNF", "1 1/2-16 UN", "M20x1.5", "M26x1.5", "G3/4", "R3/4", "3/4 NPT"]


@st.composite
def stated(draw: st.DrawFn) -> tuple[str, dict[str, str]]:
    """A text, and the filters that it was written from."""
    filters: dict[str, str] = {}
    written: list[str] = []
    unit = draw(st.sampled_from(["mm", "cm", "in"]))
    for name in draw(st.lists(st.sampled_from(list(LABELS)), unique=True, min_size=1)):
        number = draw(NUMBERS)
        tolerance = draw(st.sampled_from(["", f" ± 2 {unit}", f" ± 0.5 {unit}"]))
        filters[name] = f"{number} {unit}{tolerance}"
        glue = draw(st.sampled_from(["", " "]))
        written.append(f"{draw(st.sampled_from(LABELS[name]))} {number}{glue}{unit}{tolerance}")
    if draw(st.booleans()):
        filters["thread"] = draw(st.sampled_from(THREADS))
        written.append(draw(st.sampled_from(["", "thread "])) + filters["thread"])
    if draw(st.booleans()):
        filters["kind"] = draw(st.sampled_from(KINDS))
        written.append(filters["kind"])
    if draw(st.booleans()):
        filters["maker"] = draw(st.sampled_from(list(MAKERS.values())))
        written.append(filters["maker"])
    return draw(st.sampled_from([" ", ", ", "; "])).join(draw(st.permutations(written))), filters


@settings(max_examples=60)
@given(stated())
def test_a_text_written_from_filters_reads_back_to_them(case: tuple[str, dict[str, str]]) -> None:
    text, filters = case
    found = read(text)
    assert found.filters == filters
    assert found.unread == ()
    assert not any(part.taken for part in found.parts)


@settings(max_examples=30)
@given(NUMBERS, NUMBERS, st.sampled_from([" x ", "x", " × ", " by "]), st.sampled_from(["mm", "in"]))
def test_two_measures_joined_are_diameter_and_length(first: str, second: str, between: str, unit: str) -> None:
    found = read(f"{first}{between}{second} {unit}")
    assert found.filters == {"outside_diameter": f"{first} {unit}", "length": f"{second} {unit}"}


@given(st.one_of(st.text(max_size=210), st.text(alphabet='0123456789 /-.,x"±+mMGinodgasket½', max_size=60)))
def test_any_text_is_read_or_not_and_says_only_what_filters_there_are(text: str) -> None:
    found = read_measured(text, "us", maker_of)
    if found is not None:
        assert set(found.filters) <= set(FILTERS)
        assert len(found.filters) == len(found.parts)
        assert found.parts or found.unread
        assert all(part.typed and part.text for part in found.parts)


@pytest.mark.parametrize(
    ("text", "whole"),
    [("96", "96 in"), (" 96,5 ", "96,5 in"), ("3 1/2", "3 1/2 in"), ("96 ± 2", "96 ± 2 in"), ("96 mm", "96 mm"),
     ("96 ± 2 mm", "96 ± 2 mm"), ("abc", "abc"), ("", "")],
)  # fmt: skip
def test_a_measure_gets_a_unit_where_it_states_none(text: str, whole: str) -> None:
    assert with_unit(text, "in") == whole
