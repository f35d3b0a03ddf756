"""The two-term law against an independent two-term equation.

Two-term (Forchheimer) laws for sintered filters in air and water: A. Lorenzi, Meccanica, 1975. The equation of
S. Ergun, "Fluid flow through packed columns", Chem. Eng. Prog. 48 (1952) 89-94, cited as the fluids package 1.3
documents it, has the same form; that package computes it.
"""

from __future__ import annotations

import numpy as np
import pytest
from fluids.packed_bed import Ergun
from numpy.testing import assert_allclose

from specdb.trade.pressure_drop import drop_bounds, drop_estimate

BED = {"dp": 0.0008, "voidage": 0.4, "L": 1.0}

# Velocity m/s, dynamic viscosity Pa·s, density kg/m³.
TESTED = [(0.001, 0.001, 1000.0), (0.01, 0.001, 1000.0), (0.02, 0.03, 860.0), (0.05, 0.03, 860.0)]
WANTED = [(0.03, 0.02, 870.0), (0.002, 0.1, 900.0), (0.1, 0.001, 1000.0)]


def terms(velocity, dynamic_viscosity, density):
    """x = kinematic viscosity × density × flow, which is dynamic viscosity × flow, and y = density × flow²."""
    return dynamic_viscosity * velocity, density * velocity**2


def drop(velocity, dynamic_viscosity, density):
    return Ergun(vs=velocity, rho=density, mu=dynamic_viscosity, **BED)


def test_terms_of_the_reference():
    # fluids 1.3, packed_bed.Ergun, dp 0.8 mm, voidage 0.4, L 1 m, v 0.001 m/s, μ 0.001 Pa·s, ρ 1000 kg/m³:
    # 1318.3594 Pa viscous and 20.5078 Pa inertial.
    assert drop(0.001, 0.001, 1000.0) == pytest.approx(1318.3594 + 20.5078, abs=1e-4)
    x, y = terms(0.001, 0.001, 1000.0)
    tested = np.array([terms(*point) for point in TESTED]).T[:, np.newaxis, :]
    drops = [[drop(*point) for point in TESTED]]
    assert drop_estimate(*tested, drops, x, 0.0, "worse")[0] == pytest.approx(1318.3594, abs=1e-4)
    assert drop_estimate(*tested, drops, 0.0, y, "worse")[0] == pytest.approx(20.5078, abs=1e-4)


@pytest.mark.parametrize("wanted", WANTED)
def test_drops_carried_to_other_conditions_agree_with_the_reference(wanted):
    x, y = np.array([terms(*point) for point in TESTED]).T
    drops = np.array([drop(*point) for point in TESTED])
    target_x, target_y = terms(*wanted)
    expected = drop(*wanted)
    assert_allclose(drop_estimate([x], [y], [drops], target_x, target_y, "viscous"), expected, rtol=1e-9)
    exact = drop_bounds([x], [y], [drops], [drops], target_x, target_x, target_y, target_y)
    assert not exact[2][0]
    assert_allclose(np.ravel(exact[:2]), expected, rtol=1e-7)
    banded = drop_bounds([x], [y], [drops * 0.98], [drops * 1.02], target_x, target_x, target_y, target_y)
    assert banded[0][0] < expected < banded[1][0]


def test_with_no_inertia_the_law_is_that_of_darcy():
    # Encyclopedia article on the Forchheimer equation: it reduces to Darcy's law. Drop goes with viscosity × flow.
    estimate = drop_estimate([[1.0, 4.0]], [[1.0, 16.0]], [[10.0, 40.0]], 8.0, 64.0, "worse")
    assert_allclose(estimate, 80.0)
