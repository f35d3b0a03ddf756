"""The small sums of target cleanliness and of the older classes: what they answer, and what each refuses."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.calculations import calculate
from specdb.calculations.contamination import ESTIMATE, UNSOURCED
from specdb.calculations.filtration import NO_MACHINE
from tests.specdb.test_calculations import refused

FLOW = {"flow": "100 L/min"}


def needed(**asked):
    told = calculate("required_ratio", FLOW | asked)
    assert {ESTIMATE, NO_MACHINE} <= set(told.cautions)
    return told


# --- the ratio that a target takes ----------------------------------------------------------------


def test_the_ratio_at_each_size_that_is_known():
    # Worked out by hand: 1e8 over 100 L/min is 1000 per mL, of 2500 allowed: k 2.5; 8 of 80 is k 10.
    told = needed(target="18/16/13", ingression_at_4="1e8 /min", ingression_at_14="8e5 /min")
    assert [each.outcome for each in told.needed] == ["needed", "not_known", "needed"]
    assert [each.ratio for each in told.needed] == [pytest.approx(2.5 / 1.5), None, pytest.approx(10 / 9)]
    behind = needed(target="18/16/13", ingression_at_4="1e8 /min", ingression_at_14="8e5 /min", side="downstream")
    assert [each.ratio for each in behind.needed] == [pytest.approx(1.4), None, pytest.approx(1.1)]


def test_what_cannot_be_had_says_why_and_what_would():
    told = needed(target="-/-/13", ingression_at_14="1e7 /min")
    assert [each.outcome for each in told.needed] == ["not_asked", "not_asked", "none_holds"]
    assert told.needed[2].ratio is None
    assert "cannot be had, because a perfect filter leaves 100 particles per mL" in told.words
    assert "more than 125 L/min, or fewer than 8e6 particles per minute" in told.words
    in_gallons = calculate("required_ratio", FLOW | {"target": "-/-/13", "ingression_at_14": "1e7 /min"}, "us")
    assert "more than 33.02 US gpm" in in_gallons.words


def test_an_environment_bounds_14_alone_and_from_above():
    told = needed(target="18/16/15", environment="assembly")
    assert UNSOURCED in told.cautions
    assert "from memory, unsourced" in UNSOURCED
    assert [each.outcome for each in told.needed] == ["not_known", "not_known", "needed"]
    at_14 = told.needed[2]
    # At most 100 and at its cleaner end at most 1 per mL come in, of 320 allowed.
    assert (at_14.ratio, at_14.ratio_least) == (pytest.approx(320 / 220), pytest.approx(320 / 319))
    assert "is enough" in at_14.words
    # No ratio would hold the most that it may bring, which is no proof that none holds what it brings.
    halfway = needed(target="-/-/13", environment="assembly").needed[2]
    assert (halfway.outcome, halfway.ratio, halfway.ratio_least) == ("not_known", None, pytest.approx(80 / 79))
    never = needed(target="-/-/13", environment="mobile").needed[2]
    assert (never.outcome, never.ratio, never.ratio_least) == ("not_known", None, None)
    beside = needed(target="18/16/15", environment="assembly", ingression_at_4="1e8 /min")
    assert [each.outcome for each in beside.needed] == ["needed", "not_known", "needed"]


def test_where_nothing_gets_in_any_ratio_above_1_will_do():
    told = needed(target="18/16/13", ingression_at_4="0 /min")
    assert told.needed[0].ratio == 1
    assert "any ratio above 1 will do" in told.words


def test_two_numbers_are_of_6_and_14():
    told = needed(target="16/13", ingression_at_6="1e6 /min")
    assert [each.written for each in told.needed] == ["-", "16", "13"]
    assert any("6 and 14 µm(c)" in note for note in told.notes)


@given(st.integers(12, 20), st.sampled_from(("upstream", "downstream")), st.sampled_from((1e5, 3e6, 1e8)))
def test_what_is_needed_holds_the_target_and_a_little_less_does_not(number, side, rate):
    asked = FLOW | {"ingression_at_14": f"{rate} /min"}
    least = calculate("required_ratio", asked | {"target": f"-/-/{number}", "side": side}).needed[2]
    if least.outcome == "needed":
        held = calculate("attainable_cleanliness", asked | {"ratio_at_14": least.ratio * (1 + 1e-9)})
        code = held.code_upstream if side == "upstream" else held.code_downstream
        assert code == f"-/-/{number}"
        if least.ratio > 1.01:
            held = calculate("attainable_cleanliness", asked | {"ratio_at_14": 1 + (least.ratio - 1) * 0.99})
            code = held.code_upstream if side == "upstream" else held.code_downstream
            assert code == f"-/-/{number + 1}"


@pytest.mark.parametrize(
    ("asked", "field", "why"),
    [
        ({"target": "18/16/13"}, "ingression_at_4", "Nothing is said"),
        ({"target": "18/16/≥13", "ingression_at_4": "1 /min"}, "target", "no limit"),
        ({"target": ">28/16/13", "ingression_at_4": "1 /min"}, "target", "no limit"),
        ({"target": "16/18/13", "ingression_at_4": "1 /min"}, "target", "rise"),
        ({"target": "18/16/13", "ingression_at_4": "-1 /min"}, "ingression_at_4", "no rate"),
        ({"target": "18/16/13", "ingression_at_4": "1e16 /min"}, "ingression_at_4", "no rate"),
        ({"target": "18/16/13", "ingression_at_4": "5 g/h"}, "ingression_at_4", "mass rate"),
        ({"target": "18/16/13", "ingression_at_4": "5 /min", "ingression_at_6": "6 /min"}, "ingression_at_6", "more"),
        ({"target": "18/16/13", "environment": "orbit"}, "environment", "not one of"),
        ({"target": "18/16/13", "environment": "mobile", "ingression_at_14": "1 /min"}, "environment", "already"),
        ({"target": "18/16/13", "ingression_at_4": "1 /min", "side": "inside"}, "side", "not one of"),
        ({"target": "18/16/13", "ingression_at_4": "1 /min", "flow": "0 L/min"}, "flow", "above zero"),
    ],
)
def test_what_takes_no_ratio_is_refused(asked, field, why):
    [(named, message)] = refused("required_ratio", FLOW | asked)
    assert named == field
    assert why in message


# --- the cleanliness that ratios hold -------------------------------------------------------------

RATIOS = {"ratio_at_4": 2, "ratio_at_6": 75, "ratio_at_14": 1000}
ENTERING = {"ingression_at_4": "1e8 /min", "ingression_at_6": "2e7 /min", "ingression_at_14": "1e6 /min"}


def test_the_code_on_both_sides():
    told = calculate("attainable_cleanliness", FLOW | RATIOS | ENTERING)
    assert (told.code_upstream, told.code_downstream, told.code_after) == ("18/15/11", "17/9/1", None)
    assert [each.floor.value for each in told.counts] == pytest.approx([1000, 200, 10])
    assert {ESTIMATE, NO_MACHINE} <= set(told.cautions)


def test_the_way_there():
    way = {"volume": "200 L", "start": "24/22/19"}
    codes = [
        calculate("attainable_cleanliness", FLOW | RATIOS | ENTERING | way | {"after": after}).code_after
        for after in ("1 s", "10 min", "1 d")
    ]
    assert codes[0] == "24/22/19"
    assert codes[2] == "18/15/11"
    assert all("/".join(sorted(code.split("/"), key=int, reverse=True)) == code for code in codes)


@pytest.mark.parametrize(
    ("asked", "field", "why"),
    [
        ({}, "ratio_at_4", "Neither"),
        ({"ratio_at_4": 2}, "ingression_at_4", "together"),
        ({"ingression_at_4": "1 /min"}, "ratio_at_4", "together"),
        ({"ratio_at_4": 1, "ingression_at_4": "1 /min"}, "ratio_at_4", "without end"),
        (RATIOS | ENTERING | {"ratio_at_6": 1.5}, "ratio_at_6", "lower ratio"),
        (RATIOS | ENTERING | {"ingression_at_6": "2e8 /min"}, "ingression_at_6", "more of the larger"),
        (RATIOS | ENTERING | {"volume": "200 L"}, "start", "together"),
        (RATIOS | ENTERING | {"volume": "200 L", "start": "24/22/19"}, "after", "together"),
        (RATIOS | ENTERING | {"volume": "200 L", "start": "*/≥22/19", "after": "1 h"}, "start", "no limit"),
    ],
)
def test_what_holds_no_cleanliness_is_refused(asked, field, why):
    [(named, message)] = refused("attainable_cleanliness", FLOW | asked)
    assert named == field
    assert why in message


# --- older classes --------------------------------------------------------------------------------

NAS_7 = {
    "from_5_to_15": "32000 /100 mL", "from_15_to_25": "57 /mL", "from_25_to_50": "1012 /100 mL",
    "from_50_to_100": "180 /100 mL", "over_100": "0 /100 mL",
}  # fmt: skip


def classes(**asked):
    told = calculate("cleanliness_class", asked)
    return {each.system: (each.at_least, each.at_most, each.whole) for each in told.classes}


def test_ranges_make_a_class_and_no_code():
    told = calculate("cleanliness_class", NAS_7)
    assert told.code is None
    assert classes(**NAS_7) == {"nas_1638": ("7", "7", True), "navy": ("4", "4", False)}
    assert classes(**NAS_7 | {"from_15_to_25": "5701 /100 mL"})["nas_1638"] == ("8", "8", True)
    assert all("memory" in each.source or "read" in each.source for each in told.classes)


def test_sizes_and_larger_make_a_class_of_as4059_alone():
    counts = {"over_4": "250000 /100 mL", "over_6": "60000 /100 mL", "over_14": "8000 /100 mL"}
    told = calculate("cleanliness_class", counts)
    assert told.code == "18/16/13"
    assert classes(**counts) == {"as4059": ("9", "9", False)}
    assert any("state ranges" in note for note in told.notes)
    everything = counts | {"over_21": "0 /mL", "over_38": "0 /mL", "over_70": "0 /mL"}
    assert classes(**everything) == {"as4059": ("9", "9", True)}
    assert classes(over_70="1025 /100 mL") == {"as4059": (">12", ">12", False)}


def test_a_code_is_of_no_class_exactly():
    # 18 at 4 µm(c) is 130000 to 250000 in 100 mL: above the 100000 of class 7, within the 400000 of class 9.
    assert classes(code="18/16/13") == {"as4059": ("8", "9", False)}
    assert classes(code="*/16/-") == {"as4059": ("7", "8", False)}
    assert classes(code="16/13") == {"as4059": ("7", "8", False)}  # a microscope's 5 and 15 µm
    assert classes(code=">28/16/13") == {"as4059": (">12", None, False)}
    told = calculate("cleanliness_class", {"code": "18/16/13"})
    assert any("no class of NAS 1638" in note for note in told.notes)
    assert any("No class translates exactly" in caution for caution in told.cautions)


@given(st.lists(st.integers(0, 10**7), min_size=3, max_size=3))
def test_the_class_of_a_code_holds_that_of_its_counts(found):
    counts = dict(zip(("over_4", "over_6", "over_14"), sorted(found, reverse=True), strict=True))
    exact = calculate("cleanliness_class", {name: f"{count} /100 mL" for name, count in counts.items()})
    by_code = calculate("cleanliness_class", {"code": exact.code})
    order = ["000", "00", *map(str, range(13)), ">12", None]
    (mine,), (wide,) = exact.classes, by_code.classes
    assert order.index(wide.at_least) <= order.index(mine.at_least) <= order.index(wide.at_most)


@pytest.mark.parametrize(
    ("asked", "field", "why"),
    [
        ({}, "code", "wanted"),
        ({"code": "18/16/13", "over_4": "5 /mL"}, "code", "wanted"),
        ({"code": "16/18/13"}, "code", "rise"),
        ({"code": "*/-/-"}, "code", "no limit"),
        ({"over_4": "5 /mL", "over_14": "6 /mL"}, "over_14", "cannot be more"),
        ({"over_4": "-5 /mL"}, "over_4", "no particle count"),
        ({"over_4": "5 g"}, "over_4", "mass"),
        ({"from_5_to_15": "5"}, "from_5_to_15", "unit"),
        ({"over_100": "5 /100 mL"}, "over_100", "alone"),
    ],
)
def test_what_is_of_no_class_is_refused(asked, field, why):
    [(named, message)] = refused("cleanliness_class", asked)
    assert named == field
    assert why in message
