"""Values on hydraulic fluids, each with its source."""

from __future__ import annotations

import math

import pytest
from chemicals.iapws import iapws95_rho

from specdb.trade.compatibility import LUBE_TECH, seal_with
from specdb.trade.fluids import FLUIDS, density_at, typical_density


@pytest.mark.parametrize(("fluid_class", "over_percent"), [("HFAE", 80), ("HFAS", 80), ("HFB", 40), ("HFC", 35)])
def test_water_that_a_class_typically_exceeds(fluid_class, over_percent):
    # ISO 12922, as reported of it: HFAE and HFAS typically over 80 % water, HFB over 40 %, HFC over 35 %; HFDR and
    # HFDU anhydrous.
    assert FLUIDS[fluid_class].water_over_percent == over_percent


def test_phosphate_esters_and_other_anhydrous_fluids_bear_no_water():
    # ISO 12922, as reported of it: HFDR phosphate ester, HFDU other anhydrous.
    assert "phosphate ester" in FLUIDS["HFDR"].meaning
    assert [FLUIDS[key].water_over_percent for key in ("HFDR", "HFDU")] == [None, None]


@pytest.mark.parametrize(
    ("seal", "level"), [("FKM", "suitable"), ("EPDM", "not_suitable"), ("NBR", "depends"), ("HNBR", "depends")]
)
def test_seals_in_esters(seal, level):
    # Lube-Tech 138, 2022: in esters FKM very good, EPDM unsuitable, NBR and HNBR below FKM.
    cell = seal_with(seal, "HEES")
    assert (cell.level, cell.source) == (level, LUBE_TECH)


@pytest.mark.parametrize("loss_kg_m3_degc", [0.65, 0.70])
def test_what_a_mineral_oil_loses_for_each_degree(loss_kg_m3_degc):
    # 0.0007 g/mL for each °C: an independent oil laboratory's figures. 0.00065: from memory, not published.
    low, _, high = density_at(870.0, 15.0, 50.0, "HM")
    assert low <= 870.0 - 35.0 * loss_kg_m3_degc + 1e-9 <= high + 1e-9


@pytest.mark.parametrize("degc", [-20.0, 0.0, 40.0, 60.0, 100.0])
@pytest.mark.parametrize("density", [850.0, 870.0, 895.0])
def test_lubricating_oils_by_the_petroleum_tables(density, degc):
    # ASTM D1250, table 54D, from memory: ρ exp(-α Δt (1 + 0.8 α Δt)) with α = 0.6278 / ρ, Δt from 15 °C.
    alpha, warmer = 0.6278 / density, degc - 15.0
    expected = density * math.exp(-alpha * warmer * (1 + 0.8 * alpha * warmer))
    low, _, high = density_at(density, 15.0, degc, "HL")
    assert low <= expected <= high


@pytest.mark.parametrize("degc", [15.0, 20.0, 40.0, 60.0, 80.0])
@pytest.mark.parametrize("fluid_class", ["HFAE", "HFAS"])
def test_a_fluid_that_is_nearly_water_falls_as_water_does(fluid_class, degc):
    # Density of water by IAPWS-95, as chemicals 1.5 has it, at atmospheric pressure.
    at_15, expected = (float(iapws95_rho(273.15 + t, 101325.0)) for t in (15.0, degc))
    low, _, high = density_at(at_15, 15.0, degc, fluid_class)
    assert low <= expected <= high
    common = typical_density(fluid_class)
    assert common is not None
    assert common[0] <= at_15 <= common[2]
