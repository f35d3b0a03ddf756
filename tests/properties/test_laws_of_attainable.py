"""Cleanliness that an element could hold: agreement with the criterion on its ratio, and with the balance."""

from __future__ import annotations

import io
import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from specdb.advice.attainable import NEVER_PROOF, Attainable, attainable
from specdb.answers.attainable import attainable_shown
from specdb.answers.deciding import equivalents
from specdb.bounds import NOT_SHOWN
from specdb.criteria import judge
from specdb.duty import Requirement
from specdb.duty.question import read_question
from specdb.errors import ConditionsError
from specdb.printing.decisions import print_equivalents
from specdb.ranking import rank
from specdb.trade.contamination import ratio_needed
from tests.reference import slow
from tests.reference.catalogues import catalogues, quick, snapshot_of

ENTERING = {"at_4": "1e8 /min", "at_6": "2e7 /min", "at_14": "1e6 /min"}
PER_MIN = {4.0: 1e8, 6.0: 2e7, 14.0: 1e6}
RATIO = {"characteristic": "filtration_ratio", "at_least": 2, "size": "10 um(c)"}


def asked(**duty: Any) -> dict[str, Any]:
    return {"duty": {"flow": "100 L/min", "ingression": ENTERING, "require": [RATIO]} | duty}


def held(points: list[tuple[float, str, float]], kind: str = "spin-on", flow_l_min: float = 100.0) -> slow.Element:
    """An element of one multi-pass test: size in µm(c), qualifier and ratio of each of its points."""
    of = (slow.Point("filtration_ratio", q, ratio, 0.0, size, "c", flow_l_min) for size, q, ratio in points)
    return slow.Element("A", "1", (slow.Test(tuple(of), "ISO 16889", "ISO 12103-1 A3"),), {"kind": kind})


def found(elements: list[slow.Element], question: dict[str, Any]) -> dict[int, Attainable]:
    return attainable(rank(read_question(question), snapshot_of(elements)), range(len(elements)))


def ends(of: Attainable, side: str) -> tuple[str | None, str | None, str | None]:
    return of.dirtiest(side), of.cleanest(side), of.estimate(side)


def test_measured_ratios_give_one_code_on_each_side():
    # By the balance: 2 at 1e8, 75 at 2e7 and 1000 at 1e6 a minute leave 2000, 202.7 and 10.01 per mL at 100 L/min.
    of = found([held([(4, "equal", 2), (6, "equal", 75), (14, "equal", 1000)])], asked())[0]
    assert ends(of, "upstream") == ("18/15/11",) * 3
    assert ends(of, "downstream") == ("17/9/1",) * 3
    assert of.words() == (
        f"Cleanliness that it could hold at 100 L/min: upstream 18/15/11; downstream 17/9/1. {NEVER_PROOF}"
    )


@pytest.mark.parametrize(
    ("points", "upstream", "downstream"),
    [
        # At least 75 at 14 leaves 10.14 or fewer, a perfect filter 10 and behind it none; of 4 and 6 only the latter is
        # known.
        ([(14, "at_least", 75)], ("-/-/11", "17/15/10", "-/-/11"), ("-/-/4", "0/0/0", "-/-/4")),
        # At most 2 at 4 leaves 2000 or more there, and at larger sizes what a perfect filter leaves.
        ([(4, "at_most", 2)], (None, "18/15/10", "18/16/11"), (None, "17/0/0", "17/15/10")),
        # About 10 proves nothing.
        ([(14, "about", 10)], (None, "17/15/10", "-/-/11"), (None, "0/0/0", "-/-/7")),
        # A ratio of 1 lets the count grow without end.
        ([(14, "equal", 1)], (None, None, "-/-/>28"), (None, None, "-/-/>28")),
    ],
)
def test_bounds_of_the_ratio_bound_the_code_from_the_other_side(points, upstream, downstream):
    of = found([held(points)], asked())[0]
    assert ends(of, "upstream") == upstream
    assert ends(of, "downstream") == downstream
    assert of.words().endswith(NEVER_PROOF)


def test_nothing_is_told_without_flow_ingression_or_an_element_in_the_fluid():
    elements = [held([(14, "at_least", 75)])]
    assert found(elements, asked(flow=None)) == {}
    assert found(elements, asked(ingression={"mass": "1 g/h"})) == {}
    assert found([held([(14, "at_least", 75)], kind="breather")], asked()) == {}
    answer = equivalents(rank(read_question(asked(ingression={})), snapshot_of(elements)), limit=5)
    assert [each.attainable_cleanliness for each in answer.candidates] == [None]
    unknown = slow.Element("A", "1", (slow.Test((slow.Point("collapse_pressure", "equal", 1000.0, 1.0),)),))
    assert "nothing is on file" in found([unknown], asked())[0].words()


def test_an_environment_leaves_the_dirtiest_end_only():
    element = held([(4, "equal", 2), (14, "equal", 75)])
    of = found([element], asked(ingression={"environment": "assembly", "at_4": "1e8 /min"}))[0]
    assert ends(of, "upstream") == ("18/-/14", "18/-/-", "18/-/-")
    assert ends(of, "downstream") == ("17/-/8", "17/-/-", "17/-/-")


def test_what_nothing_gets_into_is_cleared_by_any_ratio_above_1():
    nothing = {"at_4": "1e8 /min", "at_14": "0 /min"}
    of = found([held([(4, "equal", 2), (14, "at_least", 75)])], asked(ingression=nothing))[0]
    assert ends(of, "upstream")[:2] == ("18/-/0", "18/-/0")
    assert [(each.low, each.high) for each in (of.held[1].upstream, of.held[1].downstream)] == [(0, 0), (0, 0)]
    shown = attainable_shown(of, "si").sizes[1]
    assert (shown.upstream.low, shown.upstream.high, shown.downstream.low) == (0, 0, 0)
    alone = found([held([(14, "at_least", 75)])], asked(ingression={"at_14": "0 /min"}))[0]
    assert "upstream -/-/0; downstream -/-/0;" in alone.words()
    # A ratio of 1 leaves the fluid as it is, which nobody knows; it does not let the count grow.
    as_it_is = found([held([(14, "equal", 1)])], asked(ingression={"at_14": "0 /min"}))[0]
    assert ends(as_it_is, "upstream") == (None, "-/-/0", None)
    assert "nothing on file bounds it" in as_it_is.words()


def test_a_bound_of_none_is_shown_and_no_bound_is_null():
    of = found([held([(14, "at_least", 75)])], asked())[0]
    shown = attainable_shown(of, "si").sizes[2]
    assert (shown.upstream.low, shown.downstream.low) == (10, 0)
    assert "downstream about -/-/4 (by the bounds of its ratio -/-/4 or cleaner)" in of.words()
    brought = found([held([(14, "at_least", 75)])], asked(ingression={"environment": "assembly"}))[0]
    at_14 = attainable_shown(brought, "si").sizes[0]
    assert at_14.upstream.low is at_14.downstream.low is None
    assert at_14.downstream.high == pytest.approx(100 / 74)


def test_an_environment_refuses_no_target():
    # No ratio would hold the most that it may bring at 14; less may get in, so nothing is asked there nor refused.
    duty = {"target_cleanliness": "18/16/13", "ingression": {"environment": "mobile", "at_4": "1e8 /min"}}
    ranking = rank(read_question(asked(**duty)), snapshot_of([held([(14, "equal", 75)])]))
    derived = [each.requirement for each in ranking.judged if each.requirement.rule == "cleanliness"]
    assert [(each.size_um, each.estimated) for each in derived] == [(4.0, True)]
    with pytest.raises(ConditionsError, match="No filtration ratio"):
        found([held([(14, "equal", 75)])], asked(**duty | {"ingression": {"at_14": "1e10 /min"}}))


@pytest.mark.parametrize(
    ("qualifier", "upstream", "downstream"),
    [
        # One test leaves 1111 per mL from 4 µm(c) up, the other 101000 from 14 up: there are no more of these.
        ("at_least", "17/-/17", "14/-/14"),
        # Measured both, they contradict each other, and nothing is told.
        ("equal", None, None),
    ],
)
def test_sizes_of_several_tests_bound_each_other(qualifier, upstream, downstream):
    one, other = held([(4, qualifier, 10)]), held([(14, qualifier, 1.01)])
    element = slow.Element("A", "1", one.tests + other.tests)
    of = found([element], asked(ingression={"at_4": "1e8 /min", "at_14": "1e8 /min"}))[0]
    assert (of.dirtiest("upstream"), of.dirtiest("downstream")) == (upstream, downstream)


def test_it_is_told_of_candidates_and_of_the_original():
    element = held([(4, "equal", 2), (6, "equal", 75), (14, "equal", 1000)])
    other = slow.Element("B", "2", element.tests, element.words)
    question = asked(require=[]) | {"original": {"maker": "A", "number": "1"}}
    answer = equivalents(rank(read_question(question), snapshot_of([element, other])), limit=5)
    printed = io.StringIO()
    print_equivalents(Console(file=printed, width=200), answer, every_sentence=False)
    for shown in (answer.original, *answer.candidates):
        assert shown.attainable_cleanliness.upstream.estimate == "18/15/11"
        assert shown.attainable_cleanliness.sizes[2].upstream.estimate == pytest.approx(10_000 / 999)
        assert shown.attainable_cleanliness.words in printed.getvalue()


@given(catalogues(("filtration_ratio",)), st.sampled_from((None, "customary")), st.booleans())
@quick
def test_it_is_the_balance_of_what_the_criterion_shows(elements, assume, target):
    question = asked(
        **({"assumptions": assume} if assume else {}), **({"target_cleanliness": "19/17/14"} if target else {})
    )
    ranking = rank(read_question(question), snapshot_of(elements))
    limits = {4.0: 5000.0, 6.0: 1300.0, 14.0: 160.0}
    told = attainable(ranking, range(len(elements)))
    for size, per_min in PER_MIN.items():
        least = ratio_needed(limits[size], per_min, 100.0) if target else 1.0
        asking = Requirement("it", "filtration_ratio", "stated", least, size_um=size, scale="c", flow_l_min=100.0)
        judged = judge(ranking.snapshot, asking, ranking.duty.assumptions)
        for row, of in told.items():
            (at,) = (each for each in of.held if each.size_um == size)
            low, high, estimate = (float(x[row]) for x in (judged.low, judged.high, judged.estimate))
            assert at.ratio.low == (low if low > 0 else 0.0)
            assert at.ratio.high == (high if math.isfinite(high) else math.inf)
            assert np.array_equal(at.ratio.estimate, estimate, equal_nan=True)
            # R / (Q (1 - 1/β)), written out.
            floor = per_min / 100e3
            if at.upstream.low > 0 or math.isfinite(at.upstream.high):
                most = floor / (1 - 1 / low) if low > 1 else math.inf
                assert at.upstream.high <= most * (1 + 1e-9)
                assert at.upstream.low >= floor * (1 - 1e-9)
            if target and ranking.duty.requirements[-1].estimated:
                verdicts = {int(j.verdict[row]) for j in ranking.judged if j.requirement.rule == "cleanliness"}
                assert verdicts == {NOT_SHOWN}


@given(catalogues(("filtration_ratio",)))
@quick
def test_codes_fall_and_the_estimate_lies_between(elements):
    for of in found(elements, asked(assumptions="customary")).values():
        for side in ("upstream", "downstream"):
            counts = [each.count(side) for each in of.held]
            for count, larger in pairwise(counts):
                assert larger.high <= count.high
                assert larger.low <= count.low
            for count in counts:
                assert count.low <= count.high * (1 + 1e-9)
                assert math.isnan(count.estimate) or count.low * (1 - 1e-9) <= count.estimate <= count.high * (1 + 1e-9)
        shown = attainable_shown(of, "us")
        assert shown.words == of.words("us")
        assert shown.upstream.dirtiest == of.dirtiest("upstream")
