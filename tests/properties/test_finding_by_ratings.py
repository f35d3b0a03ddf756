"""Elements found by filters and bounds on ratings: the same as one by one, and laws that hold of any catalogue."""

from __future__ import annotations

from dataclasses import dataclass, replace

from hypothesis import given, settings
from hypothesis import strategies as st

from specdb.bounds import MEETS, MISSES
from specdb.catalog.listing import Wanted
from specdb.finding import Found, find_elements
from tests.reference import slow
from tests.reference.catalogues import MEASURES, WORDS, Case, cases, elements_of, quick, rank, snapshot_of, thorough

few = settings(quick, max_examples=12)


@dataclass(frozen=True)
class Asked:
    case: Case
    wanted: Wanted


def _some(values: dict[str, st.SearchStrategy[object]]) -> st.SearchStrategy[dict[str, object]]:
    return st.fixed_dictionaries({}, optional=values)


wanted = st.builds(
    Wanted,
    words=_some({name: st.sampled_from(WORDS[name]) for name in ("kind", "thread")}),
    fluid_class=st.sampled_from((None, None, "HM")),
    measures=_some({name: st.sampled_from(of).map(lambda v: (v - 1.0, v + 1.0)) for name, of in MEASURES.items()}),
)
asked = st.builds(Asked, cases(tests_at_most=2, characteristics_at_most=2), st.one_of(st.just(Wanted()), wanted))


def _found(elements: list[slow.Element], asked: Asked) -> Found:
    return find_elements(snapshot_of(elements), asked.wanted, asked.case.requirements, asked.case.assumptions)


def _names(elements: list[slow.Element], rows: object) -> list[tuple[str, str]]:
    in_order = sorted((element.maker, element.number) for element in elements)
    return [in_order[row] for row in rows]  # type: ignore[attr-defined]


@given(asked)
@thorough
def test_what_is_found_is_what_each_element_shows_by_itself(asked: Asked) -> None:
    case, found = asked.case, _found(asked.case.elements, asked)
    for fits, rows in (("surely", found.surely), ("might", found.might)):
        expected = [
            (each.maker, each.number)
            for each in case.elements
            if slow.fits(each, asked.wanted, case.requirements, case.assumptions) == fits
        ]
        assert _names(case.elements, rows) == sorted(expected)
    might = set(_names(case.elements, found.might))
    listed = [each for each in case.elements if (each.maker, each.number) in might]
    assert found.not_stated == sum(None in slow.states(each, asked.wanted) for each in listed)


@given(cases(tests_at_most=2))
@few
def test_a_ranking_by_the_same_requirements_says_the_same(case: Case) -> None:
    found = _found(case.elements, Asked(case, Wanted()))
    ranking = rank(case.elements, case.requirements, case.assumptions)
    for row in range(len(case.elements)):
        verdicts = {int(judged.verdict[row]) for judged in ranking.judged}
        assert (row in found.surely) == (verdicts <= {MEETS})
        assert (row in found.might) == (MISSES not in verdicts and not verdicts <= {MEETS})


@given(asked, st.data())
@few
def test_another_element_on_file_changes_nothing_for_the_others(asked: Asked, data: st.DataObject) -> None:
    elements, keys = asked.case.elements, tuple({r.characteristic for r in asked.case.requirements if r.word is None})
    other = data.draw(elements_of(tuple(key for key in keys if key not in MEASURES), "A", "0", 2))
    before, after = _found(elements, asked), _found([*elements, other], asked)
    for name in ("surely", "might"):
        left = [each for each in _names([*elements, other], getattr(after, name)) if each != ("A", "0")]
        assert left == _names(elements, getattr(before, name))


@given(asked, st.floats(0.01, 0.5))
@few
def test_a_relaxed_bound_loses_nothing(asked: Asked, share: float) -> None:
    case = asked.case
    relaxed = [replace(r, low=r.low - share * abs(r.low), high=r.high + share * abs(r.high)) for r in case.requirements]
    tight = _found(case.elements, asked)
    wide = _found(case.elements, Asked(replace(case, requirements=relaxed), asked.wanted))
    assert {*tight.surely} <= {*wide.surely}
    assert {*tight.surely, *tight.might} <= {*wide.surely, *wide.might}
