"""Sentences that a customer could be read."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from specdb.amounts import span
from specdb.answers import CriterionShown, criterion
from specdb.catalog.snapshot import Snapshot
from specdb.duty.question import read_question
from specdb.printing.page import printable
from specdb.ranking import rank
from specdb.units import UnitSystem


def _criterion(
    demo: Snapshot, number: str, require: dict[str, Any] | None = None, units: UnitSystem = "si", **asked: Any
) -> CriterionShown:
    """The first criterion of an element under a question."""
    if require is not None:
        asked.setdefault("duty", {})["require"] = [require]
    ranking = rank(read_question(asked), demo)
    (row,) = np.flatnonzero(demo.elements.number == number)
    return criterion(demo, ranking.judged[0], int(row), units)


COLLAPSE = {"characteristic": "collapse_pressure", "at_least": "1.25 MPa"}


def test_a_miss_says_by_how_much(demo: Snapshot) -> None:
    told = _criterion(demo, "00531", {"characteristic": "retained_capacity", "at_least": "80 g"})
    # 1 - 73/80 is 8.75 %.
    assert told.explanation.startswith("Misses: retained capacity 73 g, 8.8 % below what is required")


@pytest.mark.parametrize(
    ("asked", "required"),
    [
        ({"original": {"number": "00702"}}, "the original has no seal"),
        ({"duty": {"fit": {"seal": "none"}}}, "an element without seal is required"),
    ],
)
def test_that_no_seal_is_required_does_not_read_as_if_any_would_do(
    demo: Snapshot, asked: dict[str, Any], required: str
) -> None:
    ranking = rank(read_question(asked), demo)
    (judged,) = (each for each in ranking.judged if each.requirement.characteristic == "seal")
    (row,) = np.flatnonzero(demo.elements.number == "Dulse 23")
    assert criterion(demo, judged, int(row), "si").explanation == f"Misses: seal material NBR; {required}."


def test_an_allowance_is_told_where_it_decides(demo: Snapshot) -> None:
    told = _criterion(demo, "Dulse 23", {**COLLAPSE, "allow": "20 %"})
    assert told.verdict == "meets"
    assert told.explanation.endswith("at least 1250 kPa with an allowance of 20 % is required.")
    assert told.margin == pytest.approx(np.log(1000 / 1250))


def test_a_measure_is_told_with_its_difference_and_its_source(demo: Snapshot) -> None:
    told = _criterion(demo, "12-1", duty={"fit": {"length": "140 mm"}})
    assert told.explanation.startswith("Meets: length 141 mm, 1 mm more")
    assert told.difference is not None
    assert (told.difference.value, told.difference.unit) == (pytest.approx(1.0), "mm")
    assert [source.source for source in told.sources] == ["TW-1"]
    assert _criterion(demo, "12-1", None, "us", duty={"fit": {"length": "140 mm"}}).difference.unit == "in"


def test_inches_that_print_alike_are_equal_by_rounding(demo: Snapshot) -> None:
    fit = {"outside_diameter": {"value": "95 mm", "tolerance": "1 mm"}}
    told = _criterion(demo, "Rowan/3", duty={"fit": fit})  # printed as 3.78 in, 96.012 mm
    assert (told.verdict, told.by_rounding) == ("meets", True)


def test_a_class_that_is_not_listed_among_others_is_no_lack_of_data(demo: Snapshot) -> None:
    told = _criterion(demo, "Dulse 23", duty={"fluid": {"class": "HEES"}})
    assert (told.verdict, told.reason) == ("not_shown", "not_listed")
    assert "HEES not among them" in told.explanation


def test_large_numbers_are_written_out() -> None:
    assert span(99_800.0, np.inf, "", "si") == "at least 99800"
    assert span(100_400.0, 100_400.0, "", "si") == "100400"


def test_signs_that_turn_a_line_about_are_not_printed() -> None:
    assert printable("12\u202e3\x1b") == "12\ufffd3\ufffd"


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("assumptions", ["none", "customary"])
def test_every_sentence_on_the_demo_can_be_read(demo: Snapshot, units: UnitSystem, assumptions: str) -> None:
    for original in ("Dulse 23", "2024-07"):
        ranking = rank(read_question({"original": {"number": original}, "duty": {"assumptions": assumptions}}), demo)
        for judged in ranking.judged:
            for row in range(len(demo.elements)):
                told = criterion(demo, judged, row, units).explanation
                assert told.startswith(("Meets: ", "Misses: ", "Not shown: "))
                assert told.endswith(" is required.")
                assert "None" not in told
                assert "nan" not in told
                assert "inf" not in told
