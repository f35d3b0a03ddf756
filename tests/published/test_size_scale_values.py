"""ACFTD sizes in µm(c): the integer table of ISO/TR 16386 and ISO 11171:1999 (that it stands there: from memory)."""

from __future__ import annotations

import pytest

from specdb.trade.size_scales import ACFTD_TO_C, acftd_to_c, c_to_acftd

# Read in a particle-counter maker's public note on reporting to ISO 11171.
READ = {
    1: 4.2, 2: 4.6, 3: 5.1, 5: 6.4, 7: 7.7, 10: 9.8, 15: 13.6, 20: 17.5, 25: 21.2, 30: 24.9, 40: 31.7, 50: 38.2,
    100: 70.0,
}  # fmt: skip

# The rest of the table, from memory; each agrees with the points read on either side.
FROM_MEMORY = {
    4: 5.8, 6: 7.1, 8: 8.4, 9: 9.1, 11: 10.6, 12: 11.3, 13: 12.1, 14: 12.9, 16: 14.4, 17: 15.2, 18: 15.9, 19: 16.7,
    21: 18.2, 22: 19.0, 23: 19.7, 24: 20.5, 26: 22.0, 27: 22.7, 28: 23.5, 29: 24.2, 31: 25.7, 32: 26.4, 33: 27.1,
    34: 27.8, 35: 28.5, 36: 29.2, 37: 29.9, 38: 30.5, 39: 31.1,
}  # fmt: skip


@pytest.mark.parametrize(("acftd", "c"), (READ | FROM_MEMORY).items())
def test_point_of_the_table(acftd, c):
    assert acftd_to_c(float(acftd)) == c
    assert c_to_acftd(c) == acftd


def test_the_table_has_these_points_and_no_others():
    # Row count and column sums, so that no point is added or altered unseen.
    assert len(ACFTD_TO_C) == len(READ) + len(FROM_MEMORY) == 42
    assert sum(ACFTD_TO_C) == 970
    assert sum(ACFTD_TO_C.values()) == pytest.approx(820.4, abs=1e-9)
