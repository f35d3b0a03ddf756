"""What must hold of any rule that carries a rating to a duty, on random tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.criteria import BASES, REASONS, Judged, judge
from specdb.duty import Question
from specdb.duty.original import original_requirements
from specdb.duty.requirement import NO_ASSUMPTIONS, Assumptions, Requirement
from specdb.ranking import rank as ranking_of
from tests.reference import slow
from tests.reference.catalogues import (
    ASSUMPTIONS,
    CURVES,
    JUDGED,
    Case,
    cases,
    catalogues,
    elements_of,
    judge_all,
    quick,
    random_test,
    rank,
    requirements_on,
    snapshot_of,
    thorough,
)

FINE_DIGITS = 1e-7
# A share that contradicts a test is not assumed of it, so that it may come to bear where bounds are wider.
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


def lowered(bound: float, room: float) -> float:
    return bound - room * abs(bound) if np.isfinite(bound) else bound


def assert_contains(wider: tuple[float, float], narrower: tuple[float, float], room: float = 0.0) -> None:
    """``wider`` reaches as far as ``narrower`` both ways, but for ``room`` and rounding."""
    room += 1e-9
    assert wider[0] <= -lowered(-narrower[0], room), (wider, narrower)
    assert wider[1] >= lowered(narrower[1], room), (wider, narrower)


def bounds(judged: Judged, row: int) -> tuple[float, float]:
    return float(judged.low[row]), float(judged.high[row])


@given(st.data())
@thorough
def test_weaker_qualifiers_never_narrow_what_is_carried(data: st.DataObject) -> None:
    """Containment; but where the ratio is read between neighbours, with others there is another line."""
    key = data.draw(st.sampled_from((*CURVES, *JUDGED)))
    test = finely_printed(data.draw(random_test(key)))
    points = tuple(
        p if p.efficiency_percent is not None else replace(p, qualifier=data.draw(weaker(p.qualifier)))
        for p in test.points
    )
    required = data.draw(requirements_on(key, key))
    assumptions = replace(data.draw(WITHOUT_SHARE), about_within=None)
    judged = judge_each([test, replace(test, points=points)], required, assumptions)
    assume(not slow.shown_by(test, required, assumptions).inconsistent)
    assume("interpolated" not in [BASES[b] for b in judged.basis])
    assert_contains(bounds(judged, 1), bounds(judged, 0), ROOM.get(key, 0.0))


@given(st.data())
@thorough
def test_wider_bands_never_narrow_what_is_carried(data: st.DataObject) -> None:
    """Containment for every rule: also what is read between two neighbours only widens with their bands."""
    key = data.draw(st.sampled_from((*CURVES, *JUDGED)))
    test = finely_printed(data.draw(random_test(key)))
    required = data.draw(requirements_on(key, key))
    assumptions = data.draw(WITHOUT_SHARE)
    snapshot = snapshot_of([slow.Element("A", "1", (test,))])
    # Bands too narrow to hold together are not assumed at all.
    assume(not slow.shown_by(test, required, replace(assumptions, about_within=0.05)).inconsistent)
    narrow = judge(snapshot, required, replace(assumptions, about_within=0.05))
    wide = judge(snapshot, required, replace(assumptions, about_within=0.15))
    assert_contains(bounds(wide, 0), bounds(narrow, 0))


@given(st.data())
@thorough
def test_raising_every_low_bound_of_a_ratio_never_lowers_what_is_carried(data: st.DataObject) -> None:
    test = data.draw(random_test("filtration_ratio"))
    raised = tuple(
        replace(p, value=p.value * data.draw(st.sampled_from((1.0, 1.2, 3.0))))
        if p.qualifier in ("equal", "at_least") and p.efficiency_percent is None
        else p
        for p in test.points
    )
    required = data.draw(requirements_on("filtration_ratio", "ratio"))
    assumptions = data.draw(ASSUMPTIONS)
    # Raised beyond what the assumptions allow, it would be judged without them.
    assume(not slow.shown_by(replace(test, points=raised), required, assumptions).inconsistent)
    judged = judge_each([test, replace(test, points=raised)], required, assumptions)
    assert judged.low[1] >= judged.low[0] * (1 - 1e-9) or np.isneginf(judged.low[0])


@given(cases())
@quick
def test_missing_data_neither_meets_nor_misses(case: Case) -> None:
    bare = [replace(e, tests=(), words={}, measures={}) for e in case.elements]
    for judged in judge_all(bare, case.requirements, case.assumptions):
        assert (judged.verdict == NOT_SHOWN).all()
        assert (judged.lean == 0).all()
        assert {REASONS[r] for r in judged.reason} == {"no_data"}


OF_TEST = ("terminal_pressure_drop_kpa", "cycle_pressure_kpa", "drop_of")
OF_POINT = ("flow_l_min", "viscosity_mm2_s", "density_kg_m3")
ASKED_AS = {"viscosity_mm2_s": "viscosity_low_mm2_s", "density_kg_m3": "density_low_kg_m3"}


def stated(test: slow.Test, condition: str) -> list[float | None]:
    return [getattr(point, condition) for point in test.points]


def without_one_condition(test: slow.Test, required: Requirement) -> list[slow.Test]:
    """The test with one condition less, of the whole test or of one of its points, each once."""
    found = [replace(test, **{c: None}) for c in OF_TEST if getattr(test, c) is not None]
    for condition in OF_POINT:
        values = stated(test, condition)
        asked = getattr(required, ASKED_AS.get(condition, condition)) is not None
        for place, value in enumerate(values):
            others = [v for n, v in enumerate(values) if n != place]
            if value is None or is_given_otherwise(condition, value, others, asked):
                continue
            points = list(test.points)
            points[place] = replace(points[place], **{condition: None})
            found.append(replace(test, points=tuple(points)))
    return found


def is_given_otherwise(condition: str, value: float, others: list[float | None], asked: bool) -> bool:
    """Whether the rules give a meaning to the deletion of ``value``, so that it is no loss of knowledge."""
    if condition == "density_kg_m3":
        # The density of another point is that of the liquid of the whole test.
        return any(other not in (None, value) for other in others)
    # A condition that nobody asks and no point states is not looked at; of some points only, it is.
    return bool(others) and not asked and all(other is None for other in others)


@given(st.data())
@thorough
def test_deleting_a_condition_never_makes_a_test_meet(data: st.DataObject) -> None:
    """Of a test of any number of points, nothing assumed, the condition asked or not.

    Never deleted is what the method gives a default for: the dust, the test liquid and the basis of a capacity
    follow from the standard or are the usual ones, so that the standard is no condition by itself either.
    Printed digits leave no room here, as two printings of one value may cross; nor is a test inconsistent
    before: what is left of it, without the point that is now nowhere, may well hold together.
    """
    key = data.draw(st.sampled_from((*CURVES, *CURVES, "flow_fatigue_cycles", "pressure_fatigue_cycles")))
    test = finely_printed(data.draw(random_test(key)))
    required = data.draw(requirements_on(key, key))
    before = judge_each([test], replace(required, allow=required.allow + ROOM.get(key, 0.0)), NO_ASSUMPTIONS)
    assume(before.verdict[0] != MEETS and REASONS[before.reason[0]] != "inconsistent_test")
    less = without_one_condition(test, required)
    assume(less)
    after = judge_each(less, required, NO_ASSUMPTIONS)
    assert (after.verdict != MEETS).all(), (test, less[int((after.verdict == MEETS).argmax())], required)


@given(st.data())
@thorough
def test_an_element_never_misses_what_is_required_of_it_by_itself(data: st.DataObject) -> None:
    """Whatever is on file, tests that disagree and inconsistent ones included. What its own ratings
    rule out is not required, and that is said."""
    keys = tuple(data.draw(st.lists(st.sampled_from((*CURVES, *JUDGED)), min_size=1, max_size=3, unique=True)))
    elements = data.draw(catalogues(keys, 1, 3))
    snapshot = snapshot_of(elements)
    original = data.draw(st.sampled_from(elements))
    named = {"maker": original.maker, "number": original.number}
    row = sorted((e.maker, e.number) for e in elements).index((original.maker, original.number))
    taken, _ = original_requirements(snapshot, row, lambda _name: True, 0.0)
    # A bubble point is never taken from an original; one is stated, so that something always is required.
    stated = {"characteristic": "bubble_point", "at_least": "1 kPa"}
    duty = {"require": [stated], "assumptions": data.draw(st.sampled_from(("none", "customary")))}
    ranking = ranking_of(Question.model_validate({"original": named, "duty": duty}), snapshot)
    for judged in ranking.judged:
        if judged.requirement.origin == "original":
            assert judged.verdict[row] != MISSES, (judged.requirement, original, duty)
            assert judged.verdict_without_assumptions[row] != MISSES
    said = [note for note in ranking.duty.notes if "contradict" in note]
    assert bool(said) == (len(ranking.duty.requirements) < len(taken) + 1)


@given(st.data())
@quick
def test_an_element_with_one_result_of_a_kind_misses_nothing_of_its_own(data: st.DataObject) -> None:
    """With nothing that could contradict, every requirement taken from it stands."""
    keys = tuple(data.draw(st.lists(st.sampled_from((*CURVES, *JUDGED)), min_size=1, max_size=3, unique=True)))
    element = data.draw(elements_of(keys, "A", "1", 1, tests_joined=False))
    element = replace(element, tests=tuple(replace(t, points=t.points[:1]) for t in element.tests))
    required, _ = original_requirements(snapshot_of([element]), 0, lambda _name: True, 0.0)
    for judged in judge_all([element], required, data.draw(ASSUMPTIONS)):
        assert judged.verdict[0] != MISSES, (judged.requirement, element)


@given(cases())
@quick
def test_the_order_of_entry_changes_nothing(case: Case) -> None:
    """Elements in another order; their rows in the snapshot are by maker and number all the same."""
    forwards = rank(case.elements, case.requirements, case.assumptions)
    backwards = rank(case.elements[::-1], case.requirements, case.assumptions)
    for one, other in zip(forwards.judged, backwards.judged, strict=True):
        for name in ("verdict", "reason", "lean", "by_rounding", "low", "high", "estimate", "margin"):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=name)
    assert forwards.candidates.tolist() == backwards.candidates.tolist()
    assert forwards.without_evidence.tolist() == backwards.without_evidence.tolist()
