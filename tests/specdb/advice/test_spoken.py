"""What is said of a candidate: worked by hand on small catalogues, and held to its manners on the demo."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from specdb.advice.spoken import placed, sentence, where_the_valve_is
from specdb.catalog.snapshot import Snapshot
from specdb.duty.circumstances import Circumstances
from specdb.duty.question import read_question
from specdb.duty.requirement import CUSTOMARY, NO_ASSUMPTIONS, Assumptions, Requirement
from specdb.ranking import Ranking
from specdb.ranking import rank as rank_question
from tests.reference import slow
from tests.reference.catalogues import rank

LONGEST = 50
"""Words of a sentence that is still listened to, of an element that meets little and is obsolete as well."""


def element(number: str = "1", words: dict[str, Any] | None = None, **values: float) -> slow.Element:
    tests = tuple(slow.Test((slow.Point(key, "equal", value, 0.01),)) for key, value in values.items())
    return slow.Element("A", number, tests, words=words or {})


def at_least(key: str, value: float, **further: Any) -> Requirement:
    return Requirement(further.pop("id", key), key, "stated", low=value, **further)


COLLAPSE, BURST, POINT = (
    at_least("collapse_pressure", 600.0), at_least("burst_pressure", 3000.0), at_least("bubble_point", 2.0)
)  # fmt: skip
VALVE = Requirement("bypass_valve", "bypass_valve", "derived", word="no")


def said(it: slow.Element, *required: Requirement, bypass: str | None = None, assumed: Assumptions = CUSTOMARY) -> str:
    ranking = rank([it], list(required), assumed)
    ranking = replace(ranking, duty=replace(ranking.duty, circumstances=Circumstances(bypass=bypass)))
    return sentence(ranking, 0)


@pytest.mark.parametrize(
    ("it", "required", "words"),
    [
        (element(collapse_pressure=700.0), [COLLAPSE], "A 1 meets the one criterion."),
        (element(collapse_pressure=500.0), [COLLAPSE],
         "A 1 is held to one criterion; it misses on collapse pressure."),
        (element(collapse_pressure=700.0, burst_pressure=3500.0), [COLLAPSE, BURST], "A 1 meets all 2 criteria."),
        (element(collapse_pressure=700.0), [COLLAPSE, BURST],
         "A 1 meets 1 of the 2 criteria; its burst pressure is not shown."),
        (element(collapse_pressure=700.0), [COLLAPSE, BURST, POINT],
         "A 1 meets 1 of the 3 criteria; its burst pressure and bubble point are not shown."),
        (element(collapse_pressure=500.0), [COLLAPSE, BURST, POINT],
         "A 1 meets none of the 3 criteria; it misses on collapse pressure; 2 are not shown."),
        (element(), [COLLAPSE, BURST], "Nothing is on file of A 1 for any of the 2 criteria."),
        (element(), [replace(COLLAPSE, advisory=True)], "Nothing that counts is required of A 1."),
        # What only cautions is counted on neither side.
        (element(collapse_pressure=700.0, burst_pressure=1.0), [COLLAPSE, replace(BURST, advisory=True)],
         "A 1 meets the one criterion."),
    ],
)  # fmt: skip
def test_what_is_met_missed_and_not_shown_is_counted_and_named(
    it: slow.Element, required: list[Requirement], words: str
) -> None:
    assert said(it, *required) == words


def test_several_points_of_one_characteristic_are_one_name() -> None:
    sizes = [at_least("filtration_ratio", 200.0, id=f"r{s}", size_um=s, scale="c") for s in (5.0, 10.0, 20.0)]
    points = (slow.Point("filtration_ratio", "equal", 300.0, 1.0, size_um=10.0, scale="c"),)
    it = slow.Element("A", "1", (slow.Test(points, standard="ISO 16889"),))
    assert said(it, *sizes) == "A 1 meets 2 of the 3 criteria; its filtration ratio at 5 µm(c) is not shown."
    coarser = slow.Element("A", "1", (slow.Test((replace(points[0], size_um=15.0),), standard="ISO 16889"),))
    assert said(coarser, *sizes) == "A 1 meets 1 of the 3 criteria; its filtration ratio at 2 of 3 points is not shown."


@pytest.mark.parametrize(
    ("own", "bypass", "required", "words"),
    [
        ("no", None, [], "it has no bypass valve, so the head must have one"),
        ("no", "head", [VALVE], "it has no bypass valve, as the head has it"),
        ("no", "none", [VALVE], "it has no bypass valve"),
        ("no", "element", [replace(VALVE, word="yes")], "it has no bypass valve, which is one too few"),
        ("yes", "head", [VALVE], "it has a bypass valve, which is one too many"),
        ("yes", None, [], None),
    ],
)
def test_where_the_bypass_valve_must_be_is_said(
    own: str, bypass: str | None, required: list[Requirement], words: str | None
) -> None:
    it = element(words={"bypass_valve": own}, collapse_pressure=700.0)
    told = said(it, COLLAPSE, *required, bypass=bypass).removesuffix(".").split("; ")
    assert told[1:] == ([] if words is None else [words])


def test_a_breather_needs_no_bypass() -> None:
    it = element(words={"bypass_valve": "no", "kind": "breather"}, collapse_pressure=700.0)
    assert said(it, COLLAPSE) == "A 1 meets the one criterion."


@pytest.mark.parametrize(
    ("kind", "valve", "bypass", "words"),
    [
        ("spin-on", "yes", None, "in the element"),
        ("spin-on", "no", None, "not in the element: where the circuit needs one, the head must have it"),
        ("spin-on", "no", "head", "not in the element, as the head has it"),
        ("cartridge", "no", "none", "none in the element, and none in the circuit"),
        ("cartridge", "no", "element", "not in the element, where the duty has it"),
        ("spin-on", None, "head", "not on file whether the element has one"),
        ("suction strainer", "no", None, "none in the element"),
        ("suction strainer", "yes", None, "in the element"),
        ("breather", "no", None, None),
        ("breather", None, None, None),
    ],
)
def test_where_the_valve_is_by_kind_and_duty(
    kind: str, valve: str | None, bypass: str | None, words: str | None
) -> None:
    assert where_the_valve_is(kind, valve, bypass) == words


def test_what_is_no_longer_made_is_said_with_its_successor(demo: Snapshot) -> None:
    ranking = rank_question(read_question(QUESTIONS[0]), demo)
    ends = {demo.elements.number[r]: sentence(ranking, int(r)).rpartition("; ")[2] for r in ranking.candidates}
    assert ends["XIV-12a"] == "it is obsolete, and its successor is XIV-6a."
    assert ends["3-8"] == "it is superseded, and its successor is 3-9."
    assert sum(" is obsolete" in end or " is superseded" in end for end in ends.values()) == sum(
        demo.elements.words["status"].word(int(r)) not in (None, "current") for r in ranking.candidates
    )


# --- what is assumed sounds so ---------------------------------------------------------------------


def _about(value: float) -> slow.Element:
    return slow.Element("A", "1", (slow.Test((slow.Point("collapse_pressure", "about", value, 1.0),)),))


def test_what_is_met_by_assumption_alone_sounds_so() -> None:
    granted = "taking for granted values stated as 'about'"
    assert said(_about(1000.0), COLLAPSE) == f"A 1 meets the one criterion, {granted}."
    assert said(_about(1000.0), COLLAPSE, BURST) == (
        f"A 1 meets 1 of the 2 criteria, {granted}; its burst pressure is not shown."
    )
    both = slow.Element("A", "1", (*_about(1000.0).tests, *element(burst_pressure=3500.0).tests))
    assert said(both, COLLAPSE, BURST) == f"A 1 meets all 2 criteria, one of them {granted}."
    # By proof alone it is not shown, and nothing is taken for granted.
    assert said(both, COLLAPSE, BURST, assumed=NO_ASSUMPTIONS) == (
        "A 1 meets 1 of the 2 criteria; its collapse pressure is not shown."
    )


def test_what_is_missed_by_assumption_alone_sounds_so() -> None:
    assert said(_about(100.0), COLLAPSE, BURST) == (
        "A 1 meets none of the 2 criteria; taking for granted values stated as 'about', it misses on collapse "
        "pressure; one is not shown."
    )
    with_a_proven = slow.Element("A", "1", (*_about(100.0).tests, *element(burst_pressure=1.0).tests))
    assert said(with_a_proven, COLLAPSE, BURST).endswith(
        "it misses on burst pressure, and taking something for granted on one more."
    )


# --- on the demo -----------------------------------------------------------------------------------

QUESTIONS: list[dict[str, Any]] = [
    {"original": {"number": "Dulse 23"}, "duty": {"assumptions": "customary"}},
    {"original": {"number": "Dulse 23"}, "duty": {"bypass": "head", "fluid": {"class": "HM"}}},
    {"original": {"number": "3-8"}, "duty": {"assumptions": "customary"}},
]


@pytest.fixture(scope="module", params=range(len(QUESTIONS)))
def ranking(demo: Snapshot, request: pytest.FixtureRequest) -> Ranking:
    return rank_question(read_question(QUESTIONS[request.param]), demo)


def test_no_sentence_is_too_long_or_sounds_of_approval(ranking: Ranking) -> None:
    for row in map(int, ranking.candidates):
        words = sentence(ranking, row)
        assert len(words.split()) <= LONGEST, words
        assert not re.search(r"\b(approve\w*|suitable|fits|safe|equivalent|replaces|recommend\w*|ok)\b", words, re.I)


def test_counts_are_those_of_the_verdicts(ranking: Ranking) -> None:
    counted = [judged for judged in ranking.judged if not judged.requirement.advisory]
    for row in map(int, ranking.candidates):
        met = sum(int(judged.verdict[row]) == 1 for judged in counted)
        of = f"all {len(counted)}" if met == len(counted) else f"{met or 'none'} of the {len(counted)}"
        assert f" meets {of} criteria" in sentence(ranking, row)


def test_us_readers_hear_us_units(demo: Snapshot) -> None:
    ranking = rank_question(read_question(QUESTIONS[0]), demo)
    row = int(next(r for r in ranking.candidates if demo.elements.number[r] == "12-2"))
    assert sentence(ranking, row).endswith("its clean pressure drop at 120 L/min is not shown.")
    assert sentence(ranking, row, "us").endswith("its clean pressure drop at 31.7 US gpm is not shown.")


def test_why_here_names_the_first_figure_that_differs(ranking: Ranking) -> None:
    """Each is behind the one before by one figure, all figures that count before it being equal."""
    figures = ("gate_misses", "not_in_favour", "misses", "leaning_to_meet")
    marks = ("among fit, seal and fluid", "ha(s|ve) nothing to go by", "more that (is|are) missed$", "estimate alone$")
    seen = set()
    for before, row in zip(ranking.candidates, ranking.candidates[1:], strict=False):
        words = placed(ranking, int(row), int(before))
        more = [int(getattr(ranking.standing, name)[row] - getattr(ranking.standing, name)[before]) for name in figures]
        first = next((place for place, each in enumerate(more) if each), None)
        if first is None:
            assert re.search(r"smaller|nothing that it meets has a margin|equal in every figure", words), words
        else:
            assert more[first] > 0
            assert re.search(marks[first], words), words
            assert words.partition(": ")[2].startswith("one " if more[first] == 1 else f"{more[first]} ")
        seen.add(first)
    assert len(seen) > 2


def test_why_here_by_the_smallest_margin() -> None:
    required = [COLLAPSE]
    ranking = rank([element("1", collapse_pressure=900.0), element("2", collapse_pressure=660.0)], required)
    assert placed(ranking, 1, 0) == "behind A 1: its tightest margin is smaller, +10.0% against +50.0%"
    alike = rank([element("1", collapse_pressure=900.001), element("2", collapse_pressure=900.0)], required)
    assert placed(alike, 1, 0) == "behind A 1: its tightest margin is smaller by a trace, both +50.0%"
    same = rank([element("1", collapse_pressure=900.0), element("2", collapse_pressure=900.0)], required)
    assert placed(same, 1, 0) == "behind A 1: equal in every figure of the order, and later by maker and number"
