"""A view of some elements holds the same of them as the whole view, and is judged the same."""

from __future__ import annotations

import numpy as np
import pytest

from specdb.catalog.snapshot import Snapshot
from specdb.criteria import judge
from specdb.duty import CUSTOMARY, NO_ASSUMPTIONS, Assumptions
from specdb.duty.question import read_question
from specdb.duty.resolve import resolve


@pytest.mark.parametrize("assumptions", [NO_ASSUMPTIONS, CUSTOMARY], ids=["proof", "customary"])
@pytest.mark.parametrize("original", ["Dulse 23", "2024-07"])
def test_some_elements_are_judged_as_among_all(demo: Snapshot, original: str, assumptions: Assumptions) -> None:
    requirements = resolve(read_question({"original": {"number": original}}), demo).requirements
    rows = np.sort(np.random.default_rng(7).choice(len(demo.elements), 25, replace=False))
    part = demo.only(rows)
    assert part.elements.element_id.tolist() == demo.elements.element_id[rows].tolist()
    told = False
    for requirement in requirements:
        among_all, alone = judge(demo, requirement, assumptions), judge(part, requirement, assumptions)
        for name, column in vars(alone).items():
            expected = getattr(among_all, name)
            if name in ("test", "other_test"):
                ids = [np.where(own >= 0, tests.test_id[own], -1)
                       for own, tests in ((column, part.tests), (expected[rows], demo.tests))]  # fmt: skip
                np.testing.assert_array_equal(*ids)
            elif name != "requirement":
                np.testing.assert_array_equal(column, expected[rows], err_msg=name)
        told |= bool((alone.verdict != 0).any())
    assert told


def test_rows_of_one_element(demo: Snapshot) -> None:
    row = demo.find(str(demo.elements.element_id[3]))
    assert row == 3
    part = demo.only(np.array([row]))
    assert len(part.elements) == 1
    assert len(part.points) == int((demo.points.element == row).sum()) > 0
    assert part.tests.test_id[part.points.test].tolist() == demo.tests.test_id[
        demo.points.test[demo.points.element == row]
    ].tolist()
    assert sum(len(part.of(key)) for key in part.slices) == len(part.points)


@pytest.mark.parametrize("assumptions", [NO_ASSUMPTIONS, CUSTOMARY], ids=["proof", "customary"])
def test_repeated_elements_are_judged_as_once(demo: Snapshot, assumptions: Assumptions) -> None:
    """In any order and as often as they stand there, on the characteristics that were asked for."""
    requirements = resolve(read_question({"original": {"number": "Dulse 23"}}), demo).requirements
    asked = [r for r in requirements if r.characteristic in ("clean_pressure_drop", "filtration_ratio")]
    rows = np.random.default_rng(7).choice(len(demo.elements), 40)
    again = demo.repeated(rows, ("clean_pressure_drop", "filtration_ratio"))
    assert len(set(rows.tolist())) < len(rows) == len(again.elements)
    assert len(asked) > 1
    for requirement in asked:
        among_all, repeated = judge(demo, requirement, assumptions), judge(again, requirement, assumptions)
        for name in ("verdict", "reason", "low", "high", "estimate", "margin", "assumed"):
            np.testing.assert_array_equal(getattr(repeated, name), getattr(among_all, name)[rows], err_msg=name)
    assert sum(len(again.of(key)) for key in again.slices) == len(again.points)
    assert len(again.of("collapse_pressure")) == 0
