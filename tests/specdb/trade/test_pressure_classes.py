from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.errors import ConditionsError
from specdb.trade.pressure_classes import PRESSURE_CLASSES, class_covering
from specdb.units import read_quantity

HIGHEST_KPA = PRESSURE_CLASSES[-1].working_kpa


@given(st.floats(0.1, HIGHEST_KPA))
def test_the_lowest_class_that_covers_is_found(working_kpa):
    found = class_covering(working_kpa)
    assert found.working_kpa >= working_kpa * (1 - 1e-9)
    below = [c for c in PRESSURE_CLASSES if c.working_kpa < found.working_kpa]
    assert all(c.working_kpa < working_kpa for c in below)


def test_classes_rise_and_burst_above_their_working_pressure():
    assert all(a.working_kpa < b.working_kpa for a, b in pairwise(PRESSURE_CLASSES))
    assert all(c.working_kpa < c.burst_low_kpa <= c.burst_high_kpa for c in PRESSURE_CLASSES)


@pytest.mark.parametrize("text", ["500 psi", "34.47378646584 bar", "3.447378646584 MPa"])
def test_a_limit_is_inclusive_in_any_unit(text):
    assert class_covering(read_quantity(text, "pressure").value).name == "medium"


def test_no_class_covers_what_lies_above_them_all():
    assert class_covering(HIGHEST_KPA * 1.001) is None


@pytest.mark.parametrize("working_kpa", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_working_pressure_is_refused(working_kpa):
    with pytest.raises(ConditionsError):
        class_covering(working_kpa)
