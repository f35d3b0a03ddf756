"""What must hold of any order of candidates, on random catalogues."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from specdb.characteristics import CHARACTERISTICS
from tests.reference import slow
from tests.reference.catalogues import (
    ASSUMPTIONS,
    JUDGED,
    Case,
    cases,
    catalogues,
    elements_of,
    quick,
    rank,
    requirements_on,
    thorough,
)

WITHOUT_CURVE = tuple(
    key
    for key in JUDGED
    if key not in ("filtration_ratio", "clean_pressure_drop") and CHARACTERISTICS[key].sense != "as_required"
)


@given(cases(most=4), st.data())
@quick
def test_an_unrelated_element_changes_nothing_of_the_others(case: Case, data: st.DataObject) -> None:
    keys = tuple(sorted({r.characteristic for r in case.requirements} & set(JUDGED)))
    # Last in the snapshot, so that the rows of the others stay what they were.
    other = data.draw(elements_of(keys, "Z", "9", 2))
    alone = rank(case.elements, case.requirements, case.assumptions)
    joined = rank([*case.elements, other], case.requirements, case.assumptions)
    row = len(case.elements)
    for one, both in zip(alone.judged, joined.judged, strict=True):
        for name in ("verdict", "reason", "lean", "by_rounding"):
            assert getattr(one, name).tolist() == getattr(both, name)[:row].tolist()
    assert alone.candidates.tolist() == [r for r in joined.candidates.tolist() if r != row]
    assert alone.without_evidence.tolist() == [r for r in joined.without_evidence.tolist() if r != row]


def improved(point: slow.Point, share: float) -> slow.Point:
    better_is_more = CHARACTERISTICS[point.characteristic].sense in ("higher", "covers_above")
    step = share * abs(point.value)
    return replace(point, value=point.value + (step if better_is_more else -step))


@given(st.data())
@thorough
def test_a_better_rating_never_worsens_the_rank(data: st.DataObject) -> None:
    """A single point to a test, a single test and a single requirement, the usual way, to a characteristic."""
    keys = tuple(data.draw(st.lists(st.sampled_from(WITHOUT_CURVE), min_size=1, max_size=3, unique=True)))
    elements = [
        replace(e, tests=tuple(replace(t, points=t.points[:1]) for t in e.tests))
        for e in data.draw(catalogues(keys, 2, 6, tests_at_most=1, tests_joined=False))
    ]
    requirements = [data.draw(requirements_on(key, key, usual_way_only=True)) for key in keys]
    assumptions = data.draw(ASSUMPTIONS)
    chosen = data.draw(st.sampled_from(elements))
    share = data.draw(st.sampled_from((0.001, 0.004, 0.05, 1.0)))
    tests = tuple(
        replace(t, points=tuple(improved(p, share) for p in t.points)) if data.draw(st.booleans()) else t
        for t in chosen.tests
    )
    before = rank(elements, requirements, assumptions)
    after = rank([replace(e, tests=tests) if e is chosen else e for e in elements], requirements, assumptions)
    row = sorted((e.maker, e.number) for e in elements).index((chosen.maker, chosen.number))
    if row in before.candidates:
        assert after.candidates.tolist().index(row) <= before.candidates.tolist().index(row)
