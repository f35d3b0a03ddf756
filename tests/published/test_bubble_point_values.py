"""Bubble point sums: Young–Laplace with the surface tension of 2-propanol.

ISO 2942, scope: the first bubble point verifies fabrication integrity and is not to be used to estimate a rating.
"""

from __future__ import annotations

import pytest
from chemicals.interface import Jasper, sigma_data_Jasper_Lange

from specdb.trade.bubble_point import (
    SURFACE_TENSION_2_PROPANOL_N_M,
    bubble_pressure_pa,
    liquid_head_pa,
    pore_size_um,
)

CAS_2_PROPANOL = "67-63-0"


@pytest.mark.parametrize(("temperature_degc", "mn_m"), [(20.0, 21.322), (25.0, 20.928)])
def test_surface_tension_of_2_propanol(temperature_degc, mn_m):
    # chemicals 1.5, after J. J. Jasper, 1972.
    line = sigma_data_Jasper_Lange.loc[CAS_2_PROPANOL]
    assert Jasper(temperature_degc + 273.15, line["a"], line["b"]) * 1000 == pytest.approx(mn_m, abs=6e-4)
    assert SURFACE_TENSION_2_PROPANOL_N_M[temperature_degc] * 1000 == pytest.approx(mn_m, abs=1e-9)


@pytest.mark.parametrize(("pore_um", "pressure_pa"), [(5, 17056), (10, 8528), (20, 4264), (100, 852.8)])
def test_bubble_pressure_of_a_pore(pore_um, pressure_pa):
    # Computed from p = 4 σ cos θ / d (Young–Laplace), σ = 21.32 mN/m, θ = 0.
    assert bubble_pressure_pa(float(pore_um), surface_tension_n_m=0.02132) == pytest.approx(pressure_pa, rel=1e-9)
    assert pore_size_um(float(pressure_pa), surface_tension_n_m=0.02132) == pytest.approx(pore_um, rel=1e-9)


def test_head_of_the_liquid():
    # Computed: 12 mm at 785 kg/m³ under standard gravity, 92.38 Pa.
    head = liquid_head_pa(12.0, 785.0)
    assert head == pytest.approx(92.38, abs=5e-3)
    assert pore_size_um(8528 + head, head_pa=head, surface_tension_n_m=0.02132) == pytest.approx(10, rel=1e-9)
