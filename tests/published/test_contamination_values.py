"""Contamination balance and the older cleanliness classes, against values of their sources."""

from __future__ import annotations

from itertools import pairwise

import pytest

from specdb.calculations import calculate
from specdb.trade.cleanliness_classes import AS4059, NAS_1638, NAVY, limits_of
from specdb.trade.contamination import count_after, count_downstream, count_upstream, ratio_needed

# Computed apart from this program from the balance of one full-flow filter (from memory: E. C. Fitch, Oklahoma State
# University): 1e8 particles per minute, 100 L/min.
BALANCE = [(2, 2000, 1000), (75, 1013.5135, 13.5135), (1000, 1001.001, 1.001)]


@pytest.mark.parametrize(("ratio", "upstream", "downstream"), BALANCE)
def test_counts_in_balance(ratio, upstream, downstream):
    assert count_upstream(float(ratio), 1e8, 100.0) == pytest.approx(upstream, abs=5e-5)
    assert count_downstream(float(ratio), 1e8, 100.0) == pytest.approx(downstream, abs=5e-5)
    asked = {"flow": "100 L/min", "ratio_at_14": ratio, "ingression_at_14": "1e8 /min"}
    (told,) = calculate("attainable_cleanliness", asked).counts
    assert (told.upstream.value, told.downstream.value) == pytest.approx((upstream, downstream), abs=5e-5)


@pytest.mark.parametrize(("ratio", "upstream", "downstream"), BALANCE)
def test_the_ratio_that_holds_those_counts(ratio, upstream, downstream):
    # The digits printed of a count leave a ratio of 1000 open by a third of a thousandth upstream.
    assert ratio_needed(float(upstream), 1e8, 100.0) == pytest.approx(ratio, rel=1e-3)
    assert ratio_needed(float(downstream), 1e8, 100.0, "downstream") == pytest.approx(ratio, rel=1e-4)


def test_a_count_on_its_way():
    # Computed apart from this program by Euler's method: 200 L, β 75, from nothing, 2 minutes: 635.66 per mL.
    assert count_after(2.0, 0.0, 75.0, 1e8, 100.0, 200.0) == pytest.approx(635.66, rel=1e-4)


# Read: US Navy NAVEDTRA 14315, table 8-1, particles per 100 mL, class 0 to 6.
NAVY_ROWS = {
    (5, 10): (2700, 4600, 9700, 24_000, 32_000, 87_000, 128_000),
    (10, 25): (670, 1340, 2680, 5360, 10_700, 21_400, 42_000),
    (25, 50): (93, 210, 380, 780, 1510, 3130, 6500),
    (50, 100): (16, 28, 56, 110, 225, 430, 1000),
    (100, float("inf")): (1, 3, 5, 11, 21, 41, 92),
}
# Read in the same table, its last row: the sums of each class.
NAVY_TOTALS = (3480, 6181, 12_821, 30_261, 44_456, 112_001, 177_592)


def test_the_navy_s_table():
    assert {(s.low_um, s.high_um) for s in NAVY.sizes} == set(NAVY_ROWS)
    for place, row in enumerate(NAVY_ROWS.values()):
        assert tuple(limits_of(NAVY, name)[place] for name in "0123456") == row
    assert tuple(sum(limits_of(NAVY, name)) for name in NAVY.classes) == NAVY_TOTALS


@pytest.mark.parametrize("system", [NAS_1638, AS4059], ids=lambda s: s.key)
def test_each_class_doubles_the_one_before(system):
    # Both tables from memory. What doubles is rounded: to whole particles, and from 3120 to 6250 to three digits.
    for cleaner, dirtier in pairwise(system.limits.values()):
        assert dirtier == pytest.approx([2 * low for low in cleaner], rel=2e-3, abs=2)


def test_classes_carry_over_from_nas_1638_to_as4059():
    # Read: an independent oil laboratory, 2021: NAS 1638 is replaced by SAE AS4059, and the classes carry over. So the
    # counts of a size and larger are the sums of the ranges from it up: 6, 14, 21, 38 and 70 µm(c) stand for 5, 15, 25,
    # 50 and 100 µm. The two tables, each from memory, hold each other to it.
    for name, ranges in NAS_1638.limits.items():
        sums = [sum(ranges[place:]) for place in range(len(ranges))]
        assert limits_of(AS4059, name)[1:] == pytest.approx(sums, rel=2e-4, abs=1), name
