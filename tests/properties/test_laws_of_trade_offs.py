"""Unbeaten candidates and trade-offs, on random catalogues, against plain second implementations."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from statistics import median

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from specdb.advice.trade_offs import trade_offs, unbeaten
from specdb.characteristics import CHARACTERISTICS
from specdb.duty.requirement import Requirement
from tests.properties.test_ranking_against_reference import rows_by_name
from tests.reference import slow
from tests.reference.catalogues import Case, cases, elements_of, quick, rank, thorough

RATIO_SCALE = tuple(key for key, c in CHARACTERISTICS.items() if c.ratio_scale and c.sense in ("higher", "lower"))


def bests(told: Sequence[slow.Told], requirements: Sequence[Requirement]) -> list[float]:
    """One figure for each required side of a measured criterion, the more the better."""
    figures = []
    for answer, required in zip(told, requirements, strict=True):
        known = CHARACTERISTICS.get(required.characteristic)
        if known is None or not known.ratio_scale or not required.counts:
            continue
        if math.isfinite(required.low):
            low = answer.low if answer.low is not None and answer.low > 0 else None
            figures.append(-math.inf if low is None or math.isinf(low) else math.log(low))
        if math.isfinite(required.high):
            high = answer.high
            figures.append(-math.inf if high is None or math.isinf(high) else -math.log(high) if high else math.inf)
    return figures


def beats(one: Sequence[float], other: Sequence[float]) -> bool:
    same = [a == b or abs(a - b) < 1e-8 for a, b in zip(one, other, strict=True)]
    as_good = all(s or a > b for s, a, b in zip(same, one, other, strict=True))
    return as_good and any(not s and a > b for s, a, b in zip(same, one, other, strict=True))


@given(cases(RATIO_SCALE, least=2, most=5, tests_at_most=1))
@quick
def test_unbeaten_agrees_with_holding_each_against_each(case: Case) -> None:
    ranking = rank(case.elements, case.requirements, case.assumptions)
    told, _ = slow.order(case.elements, case.requirements, case.assumptions)
    figures = {row: bests(told[place], case.requirements) for place, row in enumerate(rows_by_name(case.elements))}
    candidates = ranking.candidates.tolist()
    expected = {row: not any(beats(figures[other], figures[row]) for other in candidates) for row in candidates}
    if not any(figures.values()):
        expected = {}
    assert unbeaten(ranking, candidates, ranking.candidates) == expected
    some = candidates[:1]
    assert unbeaten(ranking, some, ranking.candidates) == {row: expected[row] for row in some if row in expected}


@given(cases(RATIO_SCALE, most=3, tests_at_most=1), st.data())
@quick
def test_an_element_that_is_worse_everywhere_changes_nothing(case: Case, data: st.DataObject) -> None:
    keys = tuple(sorted({r.characteristic for r in case.requirements} & set(RATIO_SCALE)))
    alone = rank(case.elements, case.requirements, case.assumptions)
    rows = alone.candidates.tolist()
    # Last in the snapshot, so that the rows of the others stay what they were.
    other = data.draw(elements_of(keys, "Z", "9", 2))
    joined = rank([*case.elements, other], case.requirements, case.assumptions)
    before, after = unbeaten(alone, rows, alone.candidates), unbeaten(joined, rows, joined.candidates)
    told, _ = slow.order([*case.elements, other], case.requirements, case.assumptions)
    names = rows_by_name(case.elements)
    figures = [bests(told[place], case.requirements) for place in range(len(case.elements) + 1)]
    worse = {row for place, row in enumerate(names) if not beats(figures[-1], figures[place])}
    assert {r: after[r] for r in before if r in worse} == {r: before[r] for r in before if r in worse}
    assert not any(after[row] for row in before if row not in worse)


RATIO = Requirement("beta", "filtration_ratio", "stated", low=75.0, size_um=10.0, scale="c")
CAPACITY = Requirement("capacity", "retained_capacity", "stated", low=40.0)
SHOWN = st.one_of(
    st.none(), st.tuples(st.sampled_from(("equal", "at_least", "at_most")), st.sampled_from((40.0, 80.0, 100.0, 200.0)))
)


def element(number: str, ratio: tuple[str, float] | None, grams: tuple[str, float] | None) -> slow.Element:
    points = []
    if ratio is not None:
        points.append(slow.Point("filtration_ratio", *ratio, 1.0, 10.0, "c"))
    if grams is not None:
        points.append(slow.Point("retained_capacity", *grams, 1.0))
    return slow.Element("A", number, (slow.Test(tuple(points), standard="ISO 16889"),) if points else ())


@given(st.lists(st.tuples(SHOWN, SHOWN), min_size=1, max_size=7))
@thorough
def test_trade_offs_agree_with_the_rule_as_it_is_written(shown: list[tuple[tuple[str, float] | None, ...]]) -> None:
    ranking = rank([element(str(n), *each) for n, each in enumerate(shown)], [RATIO, CAPACITY])

    def bound(of: tuple[str, float] | None, side: str) -> float | None:
        return of[1] if of is not None and of[0] in ("equal", side) else None

    lows = [[low for each in shown if (low := bound(each[which], "at_least")) is not None] for which in (0, 1)]
    expected = {}
    if min(map(len, lows)) >= 3:
        beta, grams = map(median, lows)
        for row, (ratio, capacity) in enumerate(shown):
            least, most = bound(ratio, "at_least") or 0.0, bound(ratio, "at_most") or math.inf
            light, heavy = bound(capacity, "at_least") or 0.0, bound(capacity, "at_most") or math.inf
            if least >= 2 * beta and heavy <= 0.9 * grams:
                expected[row] = True
            if most <= beta / 2 and light >= 1.1 * grams:
                expected[row] = False
    found = trade_offs(ranking, list(range(len(shown))))
    assert {row: each.efficient for row, each in found.items()} == expected


def test_a_trade_off_in_words() -> None:
    shown = ((1000.0, 45.0), (200.0, 60.0), (75.0, 90.0))
    elements = [element(str(n), ("equal", ratio), ("equal", grams)) for n, (ratio, grams) in enumerate(shown)]
    ranking = rank(elements, [RATIO, CAPACITY])
    told = trade_offs(ranking, [0, 1, 2])
    assert told[0].words() == (
        "High efficiency, little capacity: its filtration ratio at 10 µm(c) is shown to be at least 1000, 5 times the "
        "median of the candidates listed (200); its retained capacity at most 45 g, 25% below theirs (60 g)."
    )
    assert told[2].words() == (
        "Large capacity, low efficiency: its retained capacity is shown to be at least 90 g, 50% above the median of "
        "the candidates listed (60 g); its filtration ratio at 10 µm(c) at most 75, 38% of theirs (200)."
    )
    assert set(told) == {0, 2}


def test_what_only_cautions_takes_no_part() -> None:
    one = element("1", ("equal", 200.0), ("equal", 45.0))
    other = element("2", ("equal", 100.0), ("equal", 60.0))
    both = rank([one, other], [RATIO, CAPACITY])
    assert unbeaten(both, [0, 1], np.arange(2)) == {0: True, 1: True}
    caution = rank([one, other], [RATIO, replace(CAPACITY, advisory=True)])
    assert unbeaten(caution, [0, 1], np.arange(2)) == {0: True, 1: False}
    fit_alone = Requirement("length", "length", "stated", low=99.0, high=101.0)
    assert unbeaten(rank([one, other], [fit_alone]), [0], np.arange(2)) == {}
