"""Cleanliness codes: every row and every edge of ISO 4406:2021, table 1.

Rows 6 to 24 as read in *Construction Equipment* magazine, "Fuel filtration: ISO 4406 basics"; the other rows, that the
upper limit is inclusive, and the marks are from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from specdb.calculations import calculate
from specdb.trade.cleanliness import ABOVE_TABLE, UP_TO_PER_ML, count_range, read_code, scale_number

READ = {
    6: (0.32, 0.64), 7: (0.64, 1.3), 8: (1.3, 2.5), 9: (2.5, 5), 10: (5, 10), 11: (10, 20), 12: (20, 40), 13: (40, 80),
    14: (80, 160), 15: (160, 320), 16: (320, 640), 17: (640, 1300), 18: (1300, 2500), 19: (2500, 5000),
    20: (5000, 10_000), 21: (10_000, 20_000), 22: (20_000, 40_000), 23: (40_000, 80_000), 24: (80_000, 160_000),
}  # fmt: skip
FROM_MEMORY = {
    0: (0, 0.01), 1: (0.01, 0.02), 2: (0.02, 0.04), 3: (0.04, 0.08), 4: (0.08, 0.16), 5: (0.16, 0.32),
    25: (160_000, 320_000), 26: (320_000, 640_000), 27: (640_000, 1_300_000), 28: (1_300_000, 2_500_000),
    ABOVE_TABLE: (2_500_000, math.inf),
}  # fmt: skip
ROWS = READ | FROM_MEMORY


@pytest.mark.parametrize(("number", "limits"), ROWS.items())
def test_row_of_the_table(number, limits):
    assert count_range(number) == limits


@pytest.mark.parametrize(("number", "limits"), ROWS.items())
def test_a_count_on_an_edge_belongs_to_the_lower_number(number, limits):
    more_than, up_to = limits
    just_above = more_than * (1 + 1e-9) if more_than else 1e-6
    assert scale_number(just_above) == number
    if up_to < math.inf:
        assert scale_number(up_to) == number
        assert scale_number(up_to * (1 + 1e-9)) == number + 1


def test_the_table_has_these_rows_and_no_others():
    # Row count and sum of the upper limits, so that no row is added or altered unseen.
    assert len(UP_TO_PER_ML) == len(ROWS) - 1 == 29
    assert sum(UP_TO_PER_ML) == pytest.approx(sum(high for _, high in ROWS.values() if high < math.inf))
    assert sum(UP_TO_PER_ML) == pytest.approx(5_080_080.07, abs=1e-6)


def test_the_table_and_not_doubling_decides():
    # 0.01 · 2⁷ is 1.28, yet 1.29 is row 7, which ends at 1.3; 0.01 · 2¹⁸ is 2621, yet 2600 is row 19.
    assert scale_number(1.29) == 7
    assert scale_number(2600.0) == 19


def test_counts_per_100_ml_on_every_edge():
    # The same table times 100: 130 per 100 mL is 1.3 per mL, and so on.
    per_100_ml = np.array([round(high * 100, 6) for high in UP_TO_PER_ML])
    assert scale_number(per_100_ml / 100).tolist() == list(range(29))
    for number, count in enumerate(per_100_ml):
        assert calculate("cleanliness_code", {"at_14": f"{count:g} /100 mL"}).code == f"-/-/{number}"


def test_18_16_13():
    # 1,300 to 2,500 particles per mL above 4 µm(c), 320 to 640 above 6, 40 to 80 above 14 (ISO 4406:2021, table 1).
    code = read_code("18/16/13")
    assert [place.range_per_ml() for place in code.places] == [(1300, 2500), (320, 640), (40, 80)]
    assert code.sizes_um == (4, 6, 14)
    told = calculate("cleanliness_code", {"at_4": "2500 /mL", "at_6": "321 /mL", "at_14": "8000 /100 mL"})
    assert told.code == "18/16/13"


def test_a_microscope_counts_at_5_and_15():
    # BS ISO 4406:2021, 4.1: microscope counts (ISO 4407) stay at 5 and 15 µm.
    assert read_code("16/13").sizes_um == (5, 15)
    assert calculate("cleanliness_code", {"at_5": "640 /mL", "at_15": "41 /mL"}).code == "16/13"


def test_fewer_than_20_particles_counted():
    # From memory: ≥ stands before the number of a size of which fewer than 20 particles were counted.
    asked = {"at_4": "1500", "at_6": "20", "at_14": "19", "volume_ml": 10}
    assert calculate("cleanliness_code", asked).code == "14/8/≥8"
