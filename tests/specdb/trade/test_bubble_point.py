from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.errors import ConditionsError
from specdb.trade.bubble_point import bubble_pressure_pa, liquid_head_pa, pore_size_um

pressures = st.floats(1, 1e6)


@given(pressures, st.floats(0, 1e4), st.floats(0.01, 0.08), st.floats(0, 80))
def test_pore_and_pressure_invert_each_other(net_pa, head_pa, surface_tension, angle):
    liquid = {"head_pa": head_pa, "surface_tension_n_m": surface_tension, "contact_angle_deg": angle}
    pore = pore_size_um(net_pa + head_pa, **liquid)
    assert bubble_pressure_pa(pore, **liquid) == pytest.approx(net_pa + head_pa, rel=1e-9)


@given(pressures, pressures)
def test_smaller_pores_need_more_pressure(one, other):
    low, high = sorted((one, other))
    assert pore_size_um(low) >= pore_size_um(high)


def test_head_is_taken_off_and_a_poorly_wetting_liquid_bubbles_sooner():
    assert pore_size_um(1100.0, head_pa=100.0) == pore_size_um(1000.0)
    assert pore_size_um(1000.0, contact_angle_deg=60.0) == pytest.approx(pore_size_um(1000.0) / 2)


@given(st.lists(pressures, min_size=1, max_size=5))
def test_arrays_give_what_numbers_give_and_nan_outside(values):
    array = pore_size_um(np.array([*values, 0.0, math.nan, math.inf]))
    assert array[:-3].tolist() == [pore_size_um(value) for value in values]
    assert np.isnan(array[-3:]).all()
    assert np.isnan(bubble_pressure_pa(np.array([0.0, -1.0, math.inf]))).all()
    assert np.isnan(liquid_head_pa(np.array([-1.0]), 785.0)).all()


@pytest.mark.parametrize(
    "refused",
    [
        lambda: pore_size_um(92.0, head_pa=92.38),
        lambda: pore_size_um(0.0),
        lambda: pore_size_um(1000.0, surface_tension_n_m=0.0),
        lambda: pore_size_um(1000.0, contact_angle_deg=90.0),
        lambda: bubble_pressure_pa(0.0),
        lambda: liquid_head_pa(-1.0, 785.0),
        lambda: liquid_head_pa(12.0, 0.0),
        lambda: liquid_head_pa(12.0, math.nan),
    ],
)
def test_what_cannot_bubble_is_refused(refused):
    with pytest.raises(ConditionsError):
        refused()
