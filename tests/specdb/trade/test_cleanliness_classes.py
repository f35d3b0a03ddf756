from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.errors import ConditionsError
from specdb.trade.cleanliness_classes import SYSTEMS, class_at, class_of_counts, class_word, limits_of

ALL = list(SYSTEMS.values())
per_system = pytest.mark.parametrize("system", ALL, ids=lambda s: s.key)


@per_system
def test_a_class_allows_its_own_limits_and_one_particle_more_moves_it_on(system):
    for place, name in enumerate(system.classes):
        limits = limits_of(system, name)
        found = class_of_counts(system, limits)
        # Where two classes allow as many of the largest particles, the others decide.
        assert class_word(system, found) == name
        over = [limits[0] + 1, *limits[1:]]
        assert class_of_counts(system, over) == place + 1
        assert class_at(system, 0, limits[0] * 0.01 * 100) == place


@per_system
def test_limits_rise_from_class_to_class_and_fall_with_size(system):
    rows = list(system.limits.values())
    for cleaner, dirtier in pairwise(rows):
        assert all(a <= b for a, b in zip(cleaner, dirtier, strict=True))
        assert cleaner[0] < dirtier[0]
    assert all(len(row) == len(system.sizes) and list(row) == sorted(row, reverse=True) for row in rows)


@given(st.sampled_from(ALL), st.data())
def test_the_dirtiest_size_decides(system, data):
    counts = [data.draw(st.one_of(st.none(), st.integers(0, 2_000_000))) for _ in system.sizes]
    found = class_of_counts(system, counts)
    known = [class_at(system, place, count) for place, count in enumerate(counts) if count is not None]
    assert found == (max(known) if known else None)
    if found is not None and found < len(system.classes):
        allowed = limits_of(system, system.classes[found])
        assert all(count is None or count <= most for count, most in zip(counts, allowed, strict=True))
    if found:
        cleaner = limits_of(system, system.classes[found - 1])
        assert any(count is not None and count > most for count, most in zip(counts, cleaner, strict=True))


def test_above_the_table():
    assert class_word(SYSTEMS["nas_1638"], class_of_counts(SYSTEMS["nas_1638"], [math.inf, 0, 0, 0, 0])) == ">12"
    assert class_word(SYSTEMS["navy"], class_at(SYSTEMS["navy"], 4, 93)) == ">6"


@pytest.mark.parametrize("count", [-1, math.nan])
def test_what_is_no_count_is_refused(count):
    with pytest.raises(ConditionsError):
        class_at(SYSTEMS["as4059"], 0, count)


def test_an_unknown_class_names_those_that_there_are():
    with pytest.raises(ConditionsError) as error:
        limits_of(SYSTEMS["nas_1638"], "000")
    assert "00, 0, 1" in error.value.remedy
    with pytest.raises(ValueError, match="5 counts are needed"):
        class_of_counts(SYSTEMS["navy"], [1, 2])
