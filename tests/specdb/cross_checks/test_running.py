"""Many lines: each is answered as the question or the comparison that it is, and spoils no other."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Mapping

import pytest

from specdb import answers
from specdb.answers.cross_checks import LineAnswer
from specdb.catalog.snapshot import Snapshot
from specdb.cross_checks.lines import CANDIDATES, Line
from specdb.cross_checks.processes import answer_lines_at_once, processes_for
from specdb.cross_checks.running import Mode, answer_lines
from specdb.duty.conditions import read_grade
from specdb.duty.dotted import comparison_of, question_of
from specdb.errors import QuestionError
from specdb.ranking import rank

RANKED = {"original.number": "Dulse 23", "flow": "75 L/min"}
JUDGED = {**RANKED, "elements.1.number": "Dulse 24"}


def answer(
    snapshot: Snapshot, *asked: Mapping[str, str], mode: Mode = "each", **common: str
) -> list[LineAnswer]:
    lines = [Line(row, f"L{row}", each) for row, each in enumerate(asked, start=2)]
    return list(answer_lines(lines, snapshot, common, mode=mode))


def verdicts(candidates: list[answers.CandidateShown]) -> list[tuple[object, ...]]:
    return [
        (each.rank, each.element.number, each.sentence, [(c.requirement, c.verdict, c.shown) for c in each.criteria])
        for each in candidates
    ]


@pytest.mark.parametrize("assumptions", ["none", "customary"])
def test_a_line_is_answered_as_the_question_that_it_is(demo: Snapshot, assumptions: str) -> None:
    ranked, judged = answer(demo, RANKED, JUDGED, assumptions=assumptions, limit="4")
    question = question_of({**RANKED, "assumptions": assumptions})
    alone = answers.equivalents(rank(question, demo), limit=4)
    assert verdicts(ranked.candidates) == verdicts(alone.candidates)
    assert [each.words for each in ranked.requirements] == [each.words for each in alone.requirements]
    compared = answers.comparison(comparison_of({**JUDGED, "assumptions": assumptions}), demo)
    assert verdicts(judged.candidates) == verdicts(list(compared.elements))
    assert (ranked.mode, judged.mode) == ("ranked", "judged")


def test_what_to_ask_for_is_that_of_the_ranking(demo: Snapshot) -> None:
    (line,) = answer(demo, RANKED, limit="6")
    alone = answers.requests_answer(rank(question_of(RANKED), demo), limit=6)
    assert alone.requests
    assert (line.requests, line.beyond_tests) == (alone.requests, alone.beyond_tests)


def test_a_faulty_line_is_answered_in_its_place(demo: Snapshot) -> None:
    whole = answer(demo, RANKED, JUDGED)
    found = answer(demo, {"original.number": "Dulze 23", "flow": "75"}, RANKED, {}, JUDGED, {"flow": "9 L/min"})
    assert [each.status for each in found] == ["fault", "answered", "fault", "answered", "fault"]
    assert [found[1].candidates, found[3].candidates] == [each.candidates for each in whole]
    first = found[0].problem
    assert first is not None
    assert {each.field for each in first.errors} == {"original.number", "flow"}
    assert "Dulse 23" in str([each.remedy for each in first.errors])


def test_what_is_said_for_all_holds_where_a_line_is_silent(demo: Snapshot) -> None:
    by_all, by_line = answer(demo, RANKED, {**RANKED, "limit": "1", "assumptions": "none"}, assumptions="customary")
    assert len(by_all.candidates) == CANDIDATES
    assert by_all.assumptions
    assert (len(by_line.candidates), by_line.assumptions) == (1, {})
    assert by_line.asked == {**RANKED, "limit": "1", "assumptions": "none"}


def test_a_mode_makes_all_lines_the_same(demo: Snapshot) -> None:
    assert [each.mode for each in answer(demo, RANKED, JUDGED, mode="rank")] == ["ranked", "ranked"]
    without, judged = answer(demo, RANKED, JUDGED, mode="judge")
    assert judged.status == "answered"
    assert without.problem is not None
    assert "No alternative is named." in without.problem.detail


@pytest.mark.parametrize(
    "number", ["Quollbeck Dulse 23", "quollbeck: dulse 23", "Quollbeck  Dulse-23", "Quollbeck Dulse 99", "Dulse 23"]
)
def test_a_maker_before_the_number_is_told_apart_where_both_are_on_file(demo: Snapshot, number: str) -> None:
    (line,) = answer(demo, {"original.number": number})
    is_on_file = number.endswith(" 23")
    assert (line.status == "answered") == is_on_file
    if is_on_file and number != "Dulse 23":
        assert (line.asked["original.maker"].casefold(), line.asked["original.number"].casefold()) == (
            "quollbeck",
            "dulse 23",
        )


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({**RANKED, "as_of": "1"}, "as_of"),
        ({**RANKED, "limit": "51"}, "limit"),
        ({**RANKED, "include_windows": "true"}, "include_windows"),
    ],
)
def test_what_a_line_may_not_ask(demo: Snapshot, asked: dict[str, str], field: str) -> None:
    (line,) = answer(demo, asked)
    assert line.problem is not None
    assert [each.field for each in line.problem.errors] == [field]


def test_faults_of_the_reading_are_those_of_the_line(demo: Snapshot) -> None:
    fault = QuestionError("This is a date.", field="Number", remedy="Type it as text.")
    fault.whole = True
    found, other = answer_lines([Line(2, "A", RANKED, (fault,)), Line(3, "B", RANKED)], demo, {})
    assert found.problem is not None
    assert [(each.field, each.remedy) for each in found.problem.errors] == [("Number", "Type it as text.")]
    assert other.status == "answered"


BLANK = "Original filter no."
DUTY = {"operating_temperature": "50 °C"}


@pytest.mark.parametrize(
    ("asked", "blank", "mode", "said"),
    [
        (DUTY, BLANK, "each", "No original is named."),
        (DUTY, None, "each", None),
        ({**DUTY, "fit.clearance": "5 mm"}, BLANK, "rank", "No original is named."),
        ({"fit.seal": "FKM"}, BLANK, "each", None),
        ({**DUTY, "elements.1.number": "Dulse 24"}, None, "each", "nothing is required to judge by"),
        ({**DUTY, "elements.1.number": "Dulse 24", "fit.seal": "FKM"}, None, "each", None),
        ({**DUTY, "original.maker": "Quollbeck"}, BLANK, "each", "its number is missing"),
        ({**DUTY, "original.maker": "Quollbeck", "fit.seal": "FKM"}, BLANK, "each", "its number is missing"),
    ],
)
def test_a_line_is_not_answered_as_if_it_had_an_original(
    demo: Snapshot, asked: dict[str, str], blank: str | None, mode: Mode, said: str | None
) -> None:
    line = Line(2, "A", asked, blank_original=blank)
    (found,) = answer_lines([line], demo, {}, mode=mode)
    assert found.status == ("answered" if said is None else "fault")
    if said is not None:
        assert found.problem is not None
        (fault,) = found.problem.errors
        assert (fault.field, said in fault.detail) == (blank or "original.number", True)
        (by_common,) = answer_lines([line], demo, {"original.number": "Dulse 23"}, mode=mode)
        assert by_common.status == "answered"


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("flow", "60 kPa", '"kPa" is a unit of pressure; a flow was wanted. Found: 60 kPa'),
        ("flow", "6O", '"O" is no unit of flow known here. Found: 6O'),
        ("flow", "75", '"75" has no unit; a flow was wanted.'),
        ("fluid.grade", "HLP46", "This is a grade and a class of fluid. Found: HLP46"),
    ],
)
def test_a_fault_tells_the_whole_of_what_was_typed(demo: Snapshot, name: str, typed: str, told: str) -> None:
    (found,) = answer_lines([Line(2, "A", {**RANKED, name: typed}, aside={"Price": "12"})], demo, {})
    assert found.problem is not None
    assert [each.detail for each in found.problem.errors] == [told]
    assert (found.asked[name], found.aside) == (typed, {"Price": "12"})


@pytest.mark.parametrize(
    ("typed", "word"), [("HLP 46", "HM"), ("hm46", "HM"), ("HV 46", "HV"), ("ISO VG 46 HEES", "HEES")]
)
def test_a_grade_with_its_class_is_told_apart(typed: str, word: str) -> None:
    with pytest.raises(QuestionError) as refusal:
        read_grade(typed)
    assert str(refusal.value.remedy).startswith(f'Write "ISO VG 46" as the grade, and "{word}" as the class')
    with pytest.raises(QuestionError, match="no viscosity grade"):
        read_grade("VG--46")


def test_several_processes_answer_as_one_does(demo: Snapshot) -> None:
    lines = [Line(row, str(row), asked) for row, asked in enumerate([RANKED, {}, JUDGED] * 4, start=2)]
    common = {"assumptions": "customary"}
    assert list(answer_lines_at_once(lines, demo, common, processes=2)) == list(answer_lines(lines, demo, common))


def test_little_work_is_not_divided(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 1, 5}, raising=False)
    monkeypatch.setattr(multiprocessing, "get_all_start_methods", lambda: ["spawn", "fork"])
    assert [processes_for(*size) for size in ((400, 171), (100, 100_000), (10_000, 100_000))] == [1, 2, 3]
    monkeypatch.setattr(multiprocessing, "get_all_start_methods", lambda: ["spawn"])
    assert processes_for(10_000, 100_000) == 1
