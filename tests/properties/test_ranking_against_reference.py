"""The program and its plain second implementation agree on random catalogues and requirements."""

from __future__ import annotations

import math
from collections.abc import Sequence

from hypothesis import given

from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.criteria import REASONS, Judged
from tests.reference import slow
from tests.reference.catalogues import CURVES, JUDGED, Case, cases, rank, thorough

VERDICTS = {MEETS: "meets", MISSES: "misses", NOT_SHOWN: "not_shown"}


def same_number(found: float, expected: float | None) -> bool:
    if expected is None or math.isnan(found):
        return expected is None and math.isnan(found)
    return found == expected or math.isclose(found, expected, rel_tol=1e-9, abs_tol=1e-9)


def differences(found: Judged, row: int, told: slow.Told) -> dict[str, tuple[object, object]]:
    """Each thing that the two tell differently: what was found, what the reference says."""
    pairs: dict[str, tuple[object, object]] = {
        "verdict": (VERDICTS[int(found.verdict[row])], told.verdict),
        "reason": (REASONS[found.reason[row]] or None, told.reason),
        "lean": (int(found.lean[row]), told.lean),
        "by_rounding": (bool(found.by_rounding[row]), told.by_rounding),
        "without": (VERDICTS[int(found.verdict_without_assumptions[row])], told.verdict_without_assumptions),
    }
    unequal = {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}
    for name in ("low", "high", "estimate", "margin"):
        number, expected = float(getattr(found, name)[row]), getattr(told, name)
        if not same_number(number, expected):
            unequal[name] = (number, expected)
    return unequal


def rows_by_name(elements: Sequence[slow.Element]) -> list[int]:
    """The row of the snapshot that each element of the plain list has."""
    names = sorted((e.maker, e.number) for e in elements)
    return [names.index((e.maker, e.number)) for e in elements]


def assert_agree(case: Case) -> None:
    ranking = rank(case.elements, case.requirements, case.assumptions)
    told, order = slow.order(case.elements, case.requirements, case.assumptions)
    rows = rows_by_name(case.elements)
    for place, element in enumerate(case.elements):
        for column, judged in enumerate(ranking.judged):
            unequal = differences(judged, rows[place], told[place][column])
            assert not unequal, (unequal, element, case.requirements[column], case.assumptions)
    assert ranking.candidates.tolist() == [rows[r] for r in order.candidates]
    assert ranking.without_evidence.tolist() == [rows[r] for r in order.without_evidence]


@given(cases(("filtration_ratio",), most=4))
@thorough
def test_filtration_ratio_agrees(case: Case) -> None:
    assert_agree(case)


@given(cases(("clean_pressure_drop",), most=4))
@thorough
def test_clean_pressure_drop_agrees(case: Case) -> None:
    assert_agree(case)


@given(cases(("retained_capacity",), most=4))
@thorough
def test_retained_capacity_agrees(case: Case) -> None:
    assert_agree(case)


@given(cases(("air_pressure_drop",), most=4))
@thorough
def test_pressure_drop_of_air_agrees(case: Case) -> None:
    assert_agree(case)


@given(cases(tuple(key for key in JUDGED if key not in CURVES), most=4))
@thorough
def test_what_holds_as_stated_agrees(case: Case) -> None:
    assert_agree(case)


@given(cases(tests_at_most=2))
@thorough
def test_whole_rankings_agree(case: Case) -> None:
    assert_agree(case)
