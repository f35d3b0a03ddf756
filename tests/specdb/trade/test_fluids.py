from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.characteristics import FLUID_CLASSES
from specdb.errors import ConditionsError
from specdb.trade.fluids import (
    FLUIDS,
    LEAST_KG_M3,
    density_at,
    family_of,
    is_water_bearing,
    typical_density,
)

CLASSES = st.sampled_from(FLUID_CLASSES)
DEGREES = st.floats(-70, 200)
DENSITIES = st.floats(700, 1500)


def test_the_classes_are_those_of_the_vocabulary_in_three_families():
    assert tuple(FLUIDS) == FLUID_CLASSES
    families = {family: [key for key in FLUIDS if family_of(key) == family] for family in map(family_of, FLUIDS)}
    assert families == {
        "mineral": ["HH", "HL", "HM", "HR", "HV", "HG", "HS"],
        "fire-resistant": ["HFAE", "HFAS", "HFB", "HFC", "HFDR", "HFDU"],
        "environmentally acceptable": ["HETG", "HEPG", "HEES", "HEPR"],
    }
    assert [key for key in FLUIDS if is_water_bearing(key)] == ["HFAE", "HFAS", "HFB", "HFC"]


@pytest.mark.parametrize("fluid", FLUIDS.values(), ids=lambda f: f.key)
def test_a_usual_figure_lies_between_the_least_and_the_greatest(fluid):
    least, usual, greatest = fluid.falls_kg_m3_degc
    assert 0 <= least < usual < greatest
    if fluid.density_kg_m3 is not None:
        low, typical, high = fluid.density_kg_m3
        assert low < typical < high
        assert typical_density(fluid.key) == fluid.density_kg_m3


def test_a_class_of_any_base_has_no_typical_density():
    assert [key for key in FLUIDS if typical_density(key) is None] == ["HS"]


@given(CLASSES, DENSITIES, DEGREES, DEGREES)
def test_a_density_is_carried_within_bounds_that_widen_with_the_way(fluid_class, density, stated_at, wanted_at):
    if density - FLUIDS[fluid_class].falls_kg_m3_degc[2] * (wanted_at - stated_at) < LEAST_KG_M3:
        with pytest.raises(ConditionsError, match="No hydraulic fluid has this density"):
            density_at(density, stated_at, wanted_at, fluid_class)
        return
    low, usual, high = density_at(density, stated_at, wanted_at, fluid_class)
    assert low <= usual <= high
    if wanted_at >= stated_at:
        assert high <= density
    else:
        assert low >= density
    halfway = density_at(density, stated_at, (stated_at + wanted_at) / 2, fluid_class)
    assert halfway[2] - halfway[0] <= high - low + 1e-9


@given(CLASSES, DENSITIES, DEGREES)
def test_a_density_at_its_own_temperature_is_itself(fluid_class, density, degc):
    assert density_at(density, degc, degc, fluid_class) == (density, density, density)


@given(CLASSES, DEGREES)
def test_the_typical_density_holds_that_of_each_fluid_in_its_range(fluid_class, degc):
    common = FLUIDS[fluid_class].density_kg_m3
    if common is not None:
        low, _, high = typical_density(fluid_class, degc)
        for density in common:
            carried = density_at(density, 15.0, degc, fluid_class)
            assert low <= carried[0]
            assert carried[2] <= high


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ((870.0, 15.0, 40.0, "HX"), "no such fluid class"),
        ((870.0, 15.0, 200.1, "HM"), "temperature"),
        ((870.0, -70.1, 40.0, "HM"), "temperature"),
        ((870.0, math.nan, 40.0, "HM"), "temperature"),
        ((499.0, 15.0, 40.0, "HM"), "density"),
        ((math.inf, 15.0, 40.0, "HM"), "density"),
        ((510.0, 15.0, 100.0, "HM"), "density"),
    ],
)
def test_what_cannot_be_carried_is_refused(asked, why):
    with pytest.raises(ConditionsError, match=why) as error:
        density_at(*asked)
    assert error.value.remedy


METHOD = (Path(__file__).parents[3] / "docs" / "method.md").read_text(encoding="utf-8")


def test_the_method_prints_every_class_and_its_figures():
    [table] = re.findall(r"^\| class \| family \|.*(?:\n\|.*)*", METHOD, re.MULTILINE)
    printed = [tuple(cell.strip() for cell in line.strip("|").split("|")) for line in table.splitlines()[2:]]

    def figures(three):
        return "none" if three is None else ", ".join(f"{each:g}" for each in three)

    assert printed == [
        (
            *(fluid.key, fluid.family, fluid.meaning),
            f"over {fluid.water_over_percent:g} %" if fluid.water_over_percent else "none",
            *(figures(fluid.density_kg_m3), figures(fluid.falls_kg_m3_degc)),
        )
        for fluid in FLUIDS.values()
    ]
