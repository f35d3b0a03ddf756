"""Answers as data frames: columns of numbers are of numbers, with their units in their names."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

import specdb

TYPES = {"text": "str", "number": "float64", "whole_number": "Int64", "yes_no": "boolean"}

FRAMED: dict[str, Callable[[specdb.Catalogue], Any]] = {
    "search": lambda k: k.search("lse 23"),
    "elements": lambda k: k.elements(units="us"),
    "element": lambda k: k.element("Dulse 23", units="us"),
    "history": lambda k: k.element("Dulse 23", history=True),
    "characteristics": lambda k: k.characteristics(),
    "revisions": lambda k: k.revisions(),
    "equivalents": lambda k: k.equivalents("Dulse 23", {"flow_l_min": 75}, units="us", include_windows=True, limit=3),
    "comparison": lambda k: k.compare("Dulse 24", original="Dulse 23"),
    "test requests": lambda k: k.test_requests("Dulse 23"),
    "calculations": lambda k: k.calculations(),
    "calculation": lambda k: k.calculate("filtration-ratio", efficiency="99.5 %", units="us"),
}


@pytest.mark.parametrize("call", FRAMED.values(), ids=FRAMED)
def test_columns_have_types_that_do_not_hang_on_what_was_found(
    call: Callable[[specdb.Catalogue], Any], here: specdb.Catalogue, there: specdb.Catalogue
) -> None:
    frame = call(here).frame()
    assert len(frame)
    assert set(map(str, frame.dtypes)) <= {*TYPES.values()}
    assert frame["method_version"].dtype == "str"
    pd.testing.assert_frame_equal(frame, call(there).frame())


def test_units_stand_in_the_names_and_are_those_of_the_answer(here: specdb.Catalogue, there: specdb.Catalogue) -> None:
    si, us = here.equivalents("Dulse 23", limit=3).frame(), there.equivalents("Dulse 23", limit=3, units="us").frame()
    assert us["flow_us_gpm"].dropna().to_numpy() == pytest.approx(si["flow_l_min"].dropna().to_numpy() / 3.785411784)
    assert "flow_l_min" not in us
    assert si["rank"].dtype == "Int64"
    assert si["advisory"].dtype == "boolean"


def test_lines_have_three_frames(here: specdb.Catalogue, there: specdb.Catalogue) -> None:
    lines = [{"line": "A", "original.number": "Dulse 23"}, {"line": "B", "original.number": "Dulse 99"}]
    made = [catalogue.cross_check(lines, limit=2, units="us") for catalogue in (here, there)]
    for table, key in (("summary", "verdict"), ("criteria", "requirement"), ("requests", "settles")):
        ours, theirs = (answer.frame(table) for answer in made)
        pd.testing.assert_frame_equal(ours, theirs)
        assert key in ours
        assert set(map(str, ours.dtypes)) <= {*TYPES.values()}
    summary = made[0].frame()
    assert list(summary["line"]) == ["A", "A", "B"]
    assert summary["status"].to_list() == ["answered", "answered", "fault"]
    assert "flow_us_gpm" in made[0].frame("criteria")
