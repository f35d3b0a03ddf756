"""The shortlist is the head of the ranking of all, to the letter, however little it judges."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb import shortlist
from specdb.catalog.reading import load_snapshot
from specdb.catalog.revisions import current_revision
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import open_store, read_session
from specdb.duty import Question
from specdb.duty.circumstances import Circumstances
from specdb.duty.question import read_question
from specdb.duty.resolve import Duty
from specdb.errors import QuestionError
from specdb.ranking import Ranking, rank, ranking_of
from specdb.shortlist import Shortlister
from tests.reference.catalogues import JUDGED, Case, cases, snapshot_of, thorough

DUTIES: tuple[dict[str, Any], ...] = (
    {},
    {"flow": "75 L/min", "fluid": {"grade": "ISO VG 46", "class": "HM"}, "operating_temperature": "50 degC"},
    {"assumptions": "customary"},
    {
        "flow": "60 L/min",
        "bypass": "none",
        "relief_pressure": "10 bar",
        "target_cleanliness": "18/16/13",
        "assumptions": "customary",
    },
)


@pytest.fixture(autouse=True)
def little_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Elements are put aside from the first requirement on, where a small catalogue would be judged whole."""
    for name, value in {"FEW": 1, "LOOKED_AT_FIRST": 2, "TO_A_PLACE": 1, "WORTH_ANOTHER_LOOK": 2, "KEPT": 3}.items():
        monkeypatch.setattr(shortlist, name, value)


@pytest.fixture(scope="module")
def demo(demo_store_url: str) -> Snapshot:
    engine = open_store(demo_store_url)
    with read_session(engine) as connection:
        found = load_snapshot(connection, current_revision(connection))
    engine.dispose()
    return found


def heads(found: Ranking, rows: Any, whole: Ranking, count: int) -> tuple[list[Any], list[Any]]:
    """The best of both, each with all that the order counts and every verdict with what is shown."""

    def told(ranking: Ranking, row: int) -> Any:
        elements, standing = ranking.snapshot.elements, ranking.standing
        counted = [float(column[row]) for column in vars(standing).values()]
        verdicts = [
            (each.requirement.id, *(float(getattr(each, name)[row]) for name in ("verdict", "lean", "low", "high")))
            for each in ranking.judged
        ]
        return elements.maker[row], elements.number[row], counted, verdicts

    return [told(found, row) for row in rows], [told(whole, row) for row in whole.candidates[:count]]


def assert_same(one: list[Any], other: list[Any]) -> None:
    assert [each[:2] for each in one] == [each[:2] for each in other]
    for (_, _, counted, verdicts), (_, _, others_counted, others_verdicts) in zip(one, other, strict=True):
        np.testing.assert_array_equal(counted, others_counted)
        assert [each[0] for each in verdicts] == [each[0] for each in others_verdicts]
        np.testing.assert_array_equal([each[1:] for each in verdicts], [each[1:] for each in others_verdicts])


@given(st.one_of(cases(JUDGED, 3, 8), cases(("bubble_point", "collapse_pressure"), 4, 8)), st.integers(1, 3))
@thorough
def test_it_is_the_head_of_the_ranking_of_a_random_catalogue(case: Case, count: int) -> None:
    snapshot = snapshot_of(case.elements)
    requirements = tuple(case.requirements)
    duty = Duty(requirements, case.assumptions, None, (), (), Circumstances(), (), ())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shortlist, "resolve", lambda *_: duty)
        found = Shortlister(snapshot).best(Question(), count)
    assert_same(*heads(found.ranking, found.rows, ranking_of(duty, snapshot), count))


@pytest.mark.parametrize("duty", DUTIES)
def test_it_is_the_head_of_the_ranking_for_originals_on_file(demo: Snapshot, duty: dict[str, Any]) -> None:
    shortlister = Shortlister(demo)
    asked = 0
    for row in range(0, len(demo.elements), 29):
        named = {"maker": demo.elements.maker[row], "number": demo.elements.number[row]}
        question = read_question({"original": named, "duty": duty})
        try:
            whole = rank(question, demo)
        except QuestionError as error:
            with pytest.raises(QuestionError, match=re.escape(str(error))):
                shortlister.best(question, 3)
            continue
        found = shortlister.best(question, 3)
        assert_same(*heads(found.ranking, found.rows, whole, 3))
        asked += 1
    assert asked >= 4


def test_most_elements_are_put_aside(demo: Snapshot, monkeypatch: pytest.MonkeyPatch) -> None:
    """Or it would be no faster than the ranking of all."""
    judged: list[int] = []

    def counting(part: Snapshot, *rest: Any) -> Any:
        judged.append(len(part.elements))
        return original(part, *rest)

    original = shortlist.judge
    monkeypatch.setattr(shortlist, "judge", counting)
    question = read_question({"original": {"number": "Dulse 23"}, "duty": {"assumptions": "customary"}})
    found = Shortlister(demo).best(question, 2)
    assert len(found.ranking.snapshot.elements) < len(demo.elements) / 4
    assert min(judged) < len(demo.elements) / 4
