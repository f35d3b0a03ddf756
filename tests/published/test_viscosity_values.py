"""Viscosity: grades (ISO 3448:1992), ASTM D341, ASTM D2270, and the chemicals package as an independent reference."""

from __future__ import annotations

from itertools import pairwise

import chemicals.viscosity
import pytest

from specdb.errors import ConditionsError
from specdb.trade.viscosity import (
    ISO_VG,
    grade_band,
    nu100_from_index,
    viscosity_at,
    viscosity_index,
    walther_constants,
)


def test_there_are_twenty_grades():
    # ISO 3448:1992: 20 grades; VG 2, 3, 5 and 7 have midpoints 2.2, 3.2, 4.6 and 6.8, the others their own number.
    assert len(ISO_VG) == 20
    odd = {2: 2.2, 3: 3.2, 5: 4.6, 7: 6.8}
    assert {grade: middle for grade, middle in ISO_VG.items() if grade != middle} == odd
    # Row count and sum, so that no grade is altered unseen.
    assert sum(ISO_VG) == 10040
    assert list(ISO_VG) == sorted(ISO_VG)


@pytest.mark.parametrize("grade", ISO_VG)
def test_a_grade_is_its_midpoint_within_ten_percent(grade):
    # ISO 3448:1992: midpoint ± 10 % at 40 °C.
    low, middle, high = grade_band(grade)
    assert (low, high) == (pytest.approx(0.9 * middle), pytest.approx(1.1 * middle))


def test_gaps_between_grades_are_real():
    # ISO 3448:1992: bands do not meet; 40.0 mm²/s belongs to no grade.
    bands = [grade_band(grade) for grade in ISO_VG]
    assert all(below[2] < above[0] for below, above in pairwise(bands))
    assert not any(low <= 40.0 <= high for low, _, high in bands)


@pytest.mark.parametrize(
    ("nu40", "nu100", "temperature", "expected"),
    [
        (32, 5.4, 0, 336.000),
        (32, 5.4, 20, 86.278),
        (32, 5.4, 50, 21.496),
        (46, 6.8, 0, 577.321),
        (46, 6.8, 20, 133.838),
        (46, 6.8, 50, 29.973),
    ],
)
def test_viscosity_at_a_temperature(nu40, nu100, temperature, expected):
    # Computed apart from this program from ASTM D341, log log (ν + 0.7) = A - B log T, with T = t + 273.15.
    assert viscosity_at(float(temperature), nu40, 40.0, nu100, 100.0) == pytest.approx(expected, abs=5e-4)


def test_constants_of_a_worksheet():
    # A public worksheet on ASTM D341: 32 mm²/s at 40 °C and 5.4 at 100 °C give A 9.5259, B 3.7449 and 8.5 at 80 °C.
    # It takes T = t + 273, so its temperatures are 0.15 lower on our scale.
    points = (32.0, 40 - 0.15, 5.4, 100 - 0.15)
    intercept, slope = walther_constants(*points)
    assert intercept == pytest.approx(9.5259, abs=5e-5)
    assert slope == pytest.approx(3.7449, abs=5e-5)
    assert viscosity_at(80 - 0.15, *points) == pytest.approx(8.5, abs=0.05)


def test_worked_example_of_the_viscosity_index():
    # ASTM D2270, clauses 5 and 6: 73.30 and 8.86 mm²/s, L 119.94, H 69.48, viscosity index 92.
    assert round(viscosity_index(73.30, 8.86)) == 92
    assert viscosity_index(73.30, 8.86) == pytest.approx(100 * (119.94 - 73.30) / (119.94 - 69.48), abs=0.05)
    assert nu100_from_index(73.30, 92.43) == pytest.approx(8.86, abs=5e-4)


@pytest.mark.parametrize(("nu40", "nu100", "index"), [(32, 5.4, 102.2127), (46, 6.8, 101.6085), (46, 8.0, 146.4573)])
def test_viscosity_index_as_an_independent_package_prints_it(nu40, nu100, index):
    # chemicals 1.5, chemicals.viscosity.viscosity_index (ASTM D2270-10).
    assert viscosity_index(nu40, nu100) == pytest.approx(index, abs=5e-5)
    assert chemicals.viscosity.viscosity_index(nu40 * 1e-6, nu100 * 1e-6) == pytest.approx(index, abs=5e-5)
    assert nu100_from_index(nu40, index) == pytest.approx(nu100, abs=1e-5)


def test_no_index_below_2():
    # ASTM D2270, from memory: the practice does not apply below 2.0 mm²/s at 100 °C.
    with pytest.raises(ConditionsError):
        viscosity_index(6.0, 1.99)
