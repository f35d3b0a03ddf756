"""Lists of elements: the arrays agree with a plain loop, and filters are read as they are meant."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb import answers
from specdb.answers.lists import CHOICES, FILTERS, read_filters
from specdb.catalog.listing import Wanted, list_elements
from specdb.catalog.snapshot import MEASURES, Snapshot
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS
from specdb.errors import InputError, NotOnFileError
from tests.reference import slow
from tests.reference.catalogues import quick, snapshot_of

# --- against a plain loop -------------------------------------------------------------------------

WORDS = {
    "kind": ("spin-on", "cartridge"),
    "seal": ("NBR", "FKM"),
    "thread": ("1-12 UNF", "M26x1.5"),
    "bypass_valve": ("yes", "no"),
}
LENGTHS = st.sampled_from((95.0, 96.0, 96.9, 97.0, 97.1, 98.0))
CLASSES = st.lists(st.sampled_from(("HM", "HV", "HFC")), unique=True).map(" ".join)


def _optional(values: dict[str, st.SearchStrategy[Any]]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=values)


words = _optional({name: st.sampled_from(choices) for name, choices in WORDS.items()})
lists = _optional({"fluids_compatible": CLASSES, "fluids_excluded": CLASSES})
measures = _optional({"outside_diameter": LENGTHS, "length": LENGTHS})
elements = st.lists(
    st.builds(
        lambda maker, number, words, fluids, measures: slow.Element(
            maker, number, words=words | {k: v for k, v in fluids.items() if v}, measures=measures
        ),
        st.sampled_from("AB"), st.sampled_from("123456789"), words, lists, measures,
    ),
    min_size=1, max_size=12, unique_by=lambda e: (e.maker, e.number),
)  # fmt: skip
wanted = st.builds(
    Wanted,
    maker=st.sampled_from((None, None, "A", "b")),
    words=words,
    fluid_class=st.sampled_from((None, None, "HM", "HFC")),
    measures=_optional(
        {name: LENGTHS.map(lambda value: (value - 1.0, value + 1.0)) for name in ("outside_diameter", "length")}
    ),
)


@given(elements, wanted)
@quick
def test_the_list_agrees_with_a_plain_loop(on_file: list[slow.Element], asked: Wanted) -> None:
    snapshot = snapshot_of(on_file)
    if asked.maker is not None and asked.maker.upper() not in {e.maker for e in on_file}:
        with pytest.raises(NotOnFileError):
            list_elements(snapshot, asked)
        return
    found = list_elements(snapshot, asked)
    in_order = sorted(on_file, key=lambda e: (e.maker, e.number))
    told = [slow.states(element, asked) for element in in_order]
    assert found.rows.tolist() == [row for row, states in enumerate(told) if all(states)]
    left_open = [row for row, states in enumerate(told) if None in states and False not in states]
    assert found.left_open.tolist() == left_open


def test_a_measure_is_met_within_its_printed_digits(demo: Snapshot) -> None:
    exact = list_elements(demo, Wanted(measures={"length": (210.9, 210.9)}))
    assert [demo.elements.number[row] for row in exact.rows] == ["00517"]
    # 210.9 mm may be 210.94: half of its last digit, as a judgement of fit would allow it.
    near = list_elements(demo, Wanted(measures={"length": (210.94, 211.0)}))
    assert [demo.elements.number[row] for row in near.rows] == ["00517"]


# --- how filters are read -------------------------------------------------------------------------


def _numbers(demo: Snapshot, **asked: str) -> set[str]:
    return {element.number for element in answers.listing(demo, asked, limit=500).elements}


def test_everything_that_an_element_states_can_be_asked_for() -> None:
    listable = {key for key, a in ATTRIBUTES.items() if a.kind != "words"} - {"successor"}
    assert set(FILTERS) == listable | {"maker", "fluid_class"}


@pytest.mark.parametrize(
    ("asked", "word"),
    [
        ({"kind": "Spin On"}, "spin-on"),
        ({"kind": "SUCTION_STRAINER"}, "suction strainer"),
        ({"thread": '1"-12UNF-2B'}, "1-12 UNF"),
        ({"thread": "3/4 BSPP"}, "G3/4"),
        ({"fluid_class": "hfc"}, "HFC"),
        ({"seal": "fkm"}, "FKM"),
        ({"bypass_valve": "YES"}, "yes"),
        ({"maker": "tarn whistle"}, "tarn whistle"),
        ({"series": "dulse"}, "dulse"),
    ],
)
def test_words_are_read_however_they_are_written(demo: Snapshot, asked: dict[str, str], word: str) -> None:
    answer = answers.listing(demo, asked, limit=500)
    assert [shown.word for shown in answer.filters] == [word]
    assert answer.total == len(answer.elements) > 0


def test_each_listed_element_states_what_was_asked(demo: Snapshot) -> None:
    asked = {"maker": "oddmarrow", "kind": "cartridge", "seal_type": "O-ring", "length": "210 mm", "fluid_class": "HM"}
    listed = answers.listing(demo, asked, limit=500).elements
    assert listed
    for element in listed:
        assert (element.maker, element.kind, element.seal_type) == ("Oddmarrow", "cartridge", "O-ring")
        assert "HM" in element.fluids_compatible
        assert element.measures.length is not None
        assert abs(element.measures.length.value - 210) <= 1


def test_a_successor_and_a_series_are_told(demo: Snapshot) -> None:
    (element,) = [e for e in answers.listing(demo, {"series": "3"}, limit=500).elements if e.number == "3-8"]
    assert (element.status, element.successor, element.series) == ("superseded", "3-9", "3")


@pytest.mark.parametrize(
    ("text", "low", "high", "customary"),
    [
        ("96 mm ± 2 mm", 94, 98, False),
        ("96 mm +- 2 mm", 94, 98, False),
        ("96 mm+/-2mm", 94, 98, False),
        ("96 ± 2 mm", 94, 98, False),
        ("96 mm ± 2", 94, 98, False),
        ("96 mm ± 0.1 in", 93.46, 98.54, False),
        ("9.6 cm +− 0 mm", 96, 96, False),
        ("96 mm", 95, 97, True),
        ('3 3/4"', 94.25, 96.25, True),
    ],
)
def test_a_measure_has_its_tolerance_or_the_customary_one(text: str, low: float, high: float, customary: bool) -> None:
    wanted, (shown,) = read_filters({"outside_diameter": text})
    assert wanted.measures["outside_diameter"] == pytest.approx((low, high))
    assert (shown.low, shown.high, shown.unit) == (pytest.approx(low), pytest.approx(high), "mm")
    assert shown.customary is customary
    assert ("common practice" in shown.words) is customary


@pytest.mark.parametrize(
    ("name", "tolerance"),
    [
        ("gasket_outside_diameter", 0.5), ("gasket_inside_diameter", 0.5), ("inside_diameter", 0.3),
        ("second_inside_diameter", 0.3), ("length", 1.0), ("outside_diameter", 1.0),
    ],
)  # fmt: skip
def test_customary_tolerances_are_those_of_a_judgement_of_fit(name: str, tolerance: float) -> None:
    wanted, _ = read_filters({name: "50 mm"})
    assert wanted.measures[name] == (50 - tolerance, 50 + tolerance)


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"kind": "bucket"}, "spin-on, cartridge"),
        ({"media": "glass"}, "glass fibre"),
        ({"fluid_class": "HX"}, "HFC"),
        ({"thread": "big"}, "M20x1.5"),
        ({"length": "140 kPa"}, "mm"),
        ({"length": "140"}, "no unit"),
        ({"length": "-140 mm"}, "above zero"),
        ({"length": "140 mm ± -1 mm"}, "negative"),
        ({"length": "140 mm ± 1 mm ± 1 mm"}, "cannot be told apart"),
        ({"length": "140 mm  - 1 mm"}, "%2B"),  # a + in an address that was not written %2B
        ({"length": "140 mm ± 1 kPa"}, "length"),
        ({"maker": "---"}, "no letter or digit"),
        ({"series": "/"}, "no letter or digit"),
        ({"colour": "red"}, "gasket_inside_diameter"),
        ({"successor": "12-1"}, "cannot be listed"),
    ],
)
def test_a_filter_that_cannot_be_read_says_what_would_be_right(
    demo: Snapshot, asked: dict[str, str], told: str
) -> None:
    with pytest.raises(InputError) as caught:
        answers.listing(demo, asked)
    assert caught.value.field == next(iter(asked))
    assert told in str(caught.value)


def test_every_fault_is_told_at_once(demo: Snapshot) -> None:
    with pytest.raises(InputError) as caught:
        answers.listing(demo, {"kind": "bucket", "length": "5", "maker": "Tarnwhistle"})
    assert [fault.field for fault in caught.value.faults] == ["kind", "length"]


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"maker": "Quolbeck"}, "Near it on file: Quollbeck."),
        ({"maker": "zzz"}, "On file: Brindlefjord, "),
        ({"series": "dulce"}, "Near it on file: Dulse."),
    ],
)
def test_a_maker_or_series_that_is_not_on_file_is_told_with_those_like_it(
    demo: Snapshot, asked: dict[str, str], told: str
) -> None:
    with pytest.raises(NotOnFileError) as caught:
        answers.listing(demo, asked)
    assert caught.value.field == next(iter(asked))
    assert str(caught.value.remedy).startswith(told)


def test_elements_that_leave_it_open_are_counted(demo: Snapshot) -> None:
    answer = answers.listing(demo, {"thread": "G3/4"})
    stated = demo.elements.words["thread"].stated
    assert answer.not_stated == int((~stated).sum()) > 0
    assert answer.total == int(demo.elements.words["thread"].equals("G3/4").sum())


# --- what a row tells -----------------------------------------------------------------------------


def test_a_row_counts_what_is_on_file(demo: Snapshot) -> None:
    answer = answers.listing(demo, {}, limit=500)
    assert answer.total == len(demo.elements) == 171
    assert sum(element.ratings for element in answer.elements) == len(demo.points)
    assert sum(element.tests for element in answer.elements) == len(demo.tests)
    for row, element in enumerate(answer.elements):
        assert element.element_id == demo.elements.element_id[row]
        counted = {key: int((demo.of(key).element == row).sum()) for key in CHARACTERISTICS}
        assert element.rated == {key: count for key, count in counted.items() if count}
        assert element.ratings == sum(counted.values())


def test_pages_of_any_size_make_the_whole_list(demo: Snapshot) -> None:
    whole = answers.listing(demo, {"kind": "cartridge"}, limit=500).elements
    for limit in (1, 7, 50):
        pages = [
            answers.listing(demo, {"kind": "cartridge"}, limit=limit, offset=offset).elements
            for offset in range(0, len(whole) + limit, limit)
        ]
        assert [element for page in pages for element in page] == whole


@pytest.mark.parametrize(("units", "suffix", "worth"), [("si", "mm", 1.0), ("us", "in", 25.4)])
def test_the_table_holds_a_row_for_each_element(demo: Snapshot, units: Any, suffix: str, worth: float) -> None:
    answer = answers.listing(demo, {"maker": "Quollbeck"}, units, limit=500)
    table = answer.table(units)
    assert len(set(table.columns)) == len(table.columns)
    assert {f"{name}_{suffix}" for name in MEASURES} <= set(table.columns)
    assert len(table.rows) == answer.total
    for row, element in zip(table.rows, answer.elements, strict=True):
        cells = dict(zip(table.columns, row, strict=True))
        assert cells["element_id"] == element.element_id
        assert cells["fluids_compatible"] == " ".join(element.fluids_compatible)
        assert cells["ratings"] == element.ratings == sum(cells[f"{key}_ratings"] for key in CHARACTERISTICS)
        row_of = demo.find(element.element_id)
        for name in MEASURES:
            value = demo.elements.measures[name][row_of]
            cell = cells[f"{name}_{suffix}"]
            assert (cell is None) == math.isnan(value)
            assert cell is None or cell * worth == pytest.approx(value)


def test_the_choices_are_those_of_the_catalogue() -> None:
    assert {name: set(words) for name, words in CHOICES.items() if name in ATTRIBUTES} == {
        key: set(a.choices) for key, a in ATTRIBUTES.items() if a.kind == "word"
    }
