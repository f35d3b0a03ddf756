"""What is asked of makers settles what it says it settles, on random catalogues."""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from specdb.advice.asking import requests, standards_of
from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.characteristics import CHARACTERISTICS
from specdb.criteria import REASONS
from specdb.duty import Requirement
from tests.properties.test_ranking_against_reference import rows_by_name
from tests.reference import slow
from tests.reference.catalogues import JUDGED, Case, cases, judge_all, quick, rank

TESTED = tuple(key for key in JUDGED if key in CHARACTERISTICS)


def beyond_tests(required: Requirement, reason: str) -> bool:
    """Two that contradict each other already; and of a mounting seal no test says whether the fluid suits it."""
    of_table = required.characteristic == "seal_compatibility" and reason in ("depends", "not_in_table")
    return reason == "sources_disagree" or of_table


@given(cases(tests_at_most=2))
@quick
def test_everything_that_is_not_shown_is_asked_for_once_or_told_apart(case: Case) -> None:
    ranking = rank(case.elements, case.requirements, case.assumptions)
    rows = ranking.candidates[: max(1, len(ranking.candidates) - 1)].tolist()
    found = requests(ranking, rows)
    told = [(each.requirement.id, one.row) for each in (*found.by_test, *found.beyond_tests) for one in each.unsettled]
    open_ones = [(j.requirement.id, row) for j in ranking.judged for row in rows if j.verdict[row] == NOT_SHOWN]
    assert sorted(told) == sorted(open_ones)
    ids = [requirement.id for requirement in case.requirements]
    order = [(-len(each.unsettled), ids.index(each.requirement.id)) for each in found.by_test]
    assert order == sorted(order)
    for each in (*found.by_test, *found.beyond_tests):
        for one in each.unsettled:
            assert one.reason == REASONS[each.judged.reason[one.row]]
            assert (each in found.beyond_tests) == beyond_tests(each.requirement, one.reason)
            assert one.reason == "condition_not_stated" or not one.lacks


def value_that(serves: bool, required: Requirement) -> float:
    """A value well on one side of the limits."""
    step = 20.0 if CHARACTERISTICS[required.characteristic].kind == "temperature" else None

    def better(limit: float, sign: int) -> float:
        return limit + sign * step if step is not None else limit * 2.0**sign

    if math.isfinite(required.low) and math.isfinite(required.high):
        return (required.low + required.high) / 2 if serves else better(required.high, 1)
    if math.isfinite(required.low):
        return better(required.low, 1 if serves else -1)
    return better(required.high, -1 if serves else 1)


def run_of(asked: Requirement, value: float) -> slow.Test:
    """A test run exactly as it was asked for."""
    point = slow.Point(
        asked.characteristic,
        "equal",
        value,
        1e-4,
        size_um=asked.size_um,
        scale=asked.scale,
        flow_l_min=asked.flow_l_min,
        viscosity_mm2_s=asked.viscosity_low_mm2_s,
        density_kg_m3=asked.density_low_kg_m3,
    )
    return slow.Test(
        (point,),
        standard=standards_of(asked)[0] if standards_of(asked) else None,
        dust=asked.dust,
        test_liquid=asked.test_liquid,
        drop_of=asked.drop_of,
        capacity_basis=asked.capacity_basis,
        terminal_pressure_drop_kpa=asked.terminal_pressure_drop_kpa,
        cycle_pressure_kpa=asked.cycle_pressure_kpa,
    )


@given(cases(TESTED, most=2, tests_at_most=1), st.booleans(), st.integers(0, 3))
@quick
def test_a_test_run_as_asked_settles_the_requirement_either_way(case: Case, serves: bool, which: int) -> None:
    ranking = rank(case.elements, case.requirements, case.assumptions)
    asked_for = [each for each in requests(ranking, ranking.candidates.tolist()).by_test if one_point_does(each.asked)]
    if not asked_for:
        return
    request = asked_for[which % len(asked_for)]
    test = run_of(request.asked, value_that(serves, request.requirement))
    rows = {one.row for one in request.unsettled}
    elements = [
        replace(element, tests=(*element.tests, test)) if row in rows else element
        for row, element in zip(rows_by_name(case.elements), case.elements, strict=True)
    ]
    (again,) = judge_all(elements, [request.requirement], case.assumptions)
    for row in rows:
        assert again.verdict[row] == (MEETS if serves else MISSES), (request.requirement, test)


def one_point_does(asked: Requirement) -> bool:
    """Limits on both sides of a drop over a band of viscosity or density take two points."""
    viscosity_is_one = asked.viscosity_low_mm2_s == asked.viscosity_high_mm2_s
    density_is_one = asked.density_low_kg_m3 == asked.density_high_kg_m3
    return asked.characteristic in CHARACTERISTICS and viscosity_is_one and density_is_one
