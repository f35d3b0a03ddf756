"""What must hold of any rule that carries a rating to a duty, on random tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.criteria import BASES, REASONS, Judged
from specdb.duty.original import original_requirements
from specdb.duty.requirement import NO_ASSUMPTIONS, Assumptions, Requirement
from tests.reference import slow
from tests.reference.catalogues import (
    ASSUMPTIONS,
    CURVES,
    JUDGED,
    Case,
    cases,
    catalogues,
    judge_all,
    rank,
    requirements_on,
    snapshot_of,
    tests_of,
    thorough,
)

FINE_DIGITS = 1e-7
WITHOUT_SHARE = ASSUMPTIONS.map(lambda a: replace(a, viscous_share_at_least=None))
# At its own conditions a drop counts as stated; elsewhere the same point is a band of 2 % to either side.
ROOM = {"clean_pressure_drop": 0.021}


def finely_printed(test: slow.Test) -> slow.Test:
    """The test with so many digits printed that they leave no room."""
    return replace(test, points=tuple(replace(p, resolution=FINE_DIGITS) for p in test.points))


def weaker(qualifier: str) -> st.SearchStrategy[str]:
    choices = {"equal": ("equal", "at_least", "at_most", "about"), "about": ("about",)}
    return st.sampled_from(choices.get(qualifier, (qualifier, "about")))


def judge_each(tests: list[slow.Test], required: Requirement, assumptions: Assumptions) -> Judged:
    """One element for each test, in order."""
    elements = [slow.Element("A", str(n), (test,)) for n, test in enumerate(tests)]
    return judge_all(elements, [required], assumptions)[0]


def assert_contains(judged: Judged, wider: int, narrower: int, key: str) -> None:
    room = ROOM.get(key, 0.0) + 1e-9
    low, high = judged.low[narrower], judged.high[narrower]
    assert judged.low[wider] <= low + room * abs(low) or np.isneginf(judged.low[wider])
    assert judged.high[wider] >= high - room * abs(high) or np.isposinf(judged.high[wider])


@given(st.data())
@thorough
def test_weaker_qualifiers_never_narrow_what_is_carried(data: st.DataObject) -> None:
    """Containment; but where the ratio is read between neighbours, with others there is another line."""
    key = data.draw(st.sampled_from((*CURVES, *JUDGED)))
    test = finely_printed(data.draw(tests_of(key)))
    points = tuple(
        p if p.efficiency_percent is not None else replace(p, qualifier=data.draw(weaker(p.qualifier)))
        for p in test.points
    )
    required = data.draw(requirements_on(key, key))
    judged = judge_each([test, replace(test, points=points)], required, data.draw(WITHOUT_SHARE))
    assume(REASONS[judged.reason[0]] != "inconsistent_test")
    assume("interpolated" not in [BASES[b] for b in judged.basis])
    assert_contains(judged, 1, 0, key)


@given(st.data())
@thorough
def test_wider_bands_never_narrow_what_is_carried(data: st.DataObject) -> None:
    """Containment for every rule: also what is read between two neighbours only widens with their bands."""
    key = data.draw(st.sampled_from((*CURVES, *JUDGED)))
    test = finely_printed(data.draw(tests_of(key)))
    required = data.draw(requirements_on(key, key))
    assumptions = data.draw(WITHOUT_SHARE)
    narrow = judge_each([test], required, replace(assumptions, about_within=0.05))
    wide = judge_each([test], required, replace(assumptions, about_within=0.15))
    assume(REASONS[narrow.reason[0]] != "inconsistent_test")
    low, high = narrow.low[0], narrow.high[0]
    assert wide.low[0] <= low + 1e-9 * abs(low) or np.isneginf(wide.low[0])
    assert wide.high[0] >= high - 1e-9 * abs(high) or np.isposinf(wide.high[0])


@given(st.data())
@thorough
def test_raising_every_low_bound_of_a_ratio_never_lowers_what_is_carried(data: st.DataObject) -> None:
    test = data.draw(tests_of("filtration_ratio"))
    raised = tuple(
        replace(p, value=p.value * data.draw(st.sampled_from((1.0, 1.2, 3.0))))
        if p.qualifier in ("equal", "at_least") and p.efficiency_percent is None
        else p
        for p in test.points
    )
    required = data.draw(requirements_on("filtration_ratio", "ratio"))
    judged = judge_each([test, replace(test, points=raised)], required, data.draw(ASSUMPTIONS))
    assume(REASONS[judged.reason[1]] != "inconsistent_test")
    assert judged.low[1] >= judged.low[0] * (1 - 1e-9) or np.isneginf(judged.low[0])


@given(cases())
@thorough
def test_missing_data_neither_meets_nor_misses(case: Case) -> None:
    bare = [replace(e, tests=(), words={}, measures={}) for e in case.elements]
    for judged in judge_all(bare, case.requirements, case.assumptions):
        assert (judged.verdict == NOT_SHOWN).all()
        assert (judged.lean == 0).all()
        assert {REASONS[r] for r in judged.reason} == {"no_data"}


OF_TEST = ("terminal_pressure_drop_kpa", "cycle_pressure_kpa", "drop_of")
OF_POINT = ("flow_l_min", "viscosity_mm2_s", "density_kg_m3")


def without(test: slow.Test, condition: str) -> slow.Test:
    if condition in OF_TEST:
        return replace(test, **{condition: None})  # type: ignore[arg-type]
    return replace(test, points=tuple(replace(p, **{condition: None}) for p in test.points))  # type: ignore[arg-type]


@given(st.data())
@thorough
def test_deleting_a_condition_of_a_test_never_makes_it_meet(data: st.DataObject) -> None:
    """Conditions without a default that follows from a standard; a density where the requirement states one."""
    key = data.draw(st.sampled_from((*CURVES, "flow_fatigue_cycles", "pressure_fatigue_cycles")))
    test = data.draw(tests_of(key))
    test = replace(test, points=test.points[:1])
    required = data.draw(requirements_on(key, key))
    conditions = [c for c in (*OF_TEST, *OF_POINT) if c != "density_kg_m3" or required.density_kg_m3 is not None]
    stripped = [without(test, condition) for condition in conditions]
    judged = judge_each([test, *stripped], required, NO_ASSUMPTIONS)
    if judged.verdict[0] != MEETS:
        assert (judged.verdict[1:] != MEETS).all()


@given(st.data())
@thorough
def test_an_element_never_misses_what_is_required_of_it_by_itself(data: st.DataObject) -> None:
    """Whatever is on file, tests that disagree and inconsistent ones included."""
    keys = tuple(data.draw(st.lists(st.sampled_from((*CURVES, *JUDGED)), min_size=1, max_size=3, unique=True)))
    elements = data.draw(catalogues(keys, 1, 3))
    snapshot = snapshot_of(elements)
    assumptions = data.draw(ASSUMPTIONS)
    names = sorted((e.maker, e.number) for e in elements)
    in_order = sorted(elements, key=lambda e: names.index((e.maker, e.number)))
    for row in range(len(elements)):
        required, _ = original_requirements(snapshot, row, lambda _name: True, 0.0)
        for judged in judge_all(in_order, required, assumptions):
            assert judged.verdict[row] != MISSES, (judged.requirement, in_order[row], assumptions)


@given(cases())
@thorough
def test_the_order_of_entry_changes_nothing(case: Case) -> None:
    """Elements in another order; their rows in the snapshot are by maker and number all the same."""
    forwards = rank(case.elements, case.requirements, case.assumptions)
    backwards = rank(case.elements[::-1], case.requirements, case.assumptions)
    for one, other in zip(forwards.judged, backwards.judged, strict=True):
        for name in ("verdict", "reason", "lean", "by_rounding", "low", "high", "estimate", "margin"):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)
    assert forwards.candidates.tolist() == backwards.candidates.tolist()
    assert forwards.without_evidence.tolist() == backwards.without_evidence.tolist()
