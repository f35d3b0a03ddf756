"""Density and compatibility as they are asked and answered."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.calculations import calculate
from specdb.calculations.fluids import NO_CLEARANCE, UNKNOWN_IS_NO_YES
from specdb.characteristics import FLUID_CLASSES, MEDIA, SEALS
from specdb.errors import InputError
from specdb.trade.compatibility import media_with, seal_with
from specdb.trade.fluids import density_at


def refused(key, asked):
    with pytest.raises(InputError) as error:
        calculate(key, asked)
    return [(fault.field, fault.message) for fault in (error.value.faults or (error.value,))]


def test_a_density_from_a_data_sheet_is_carried():
    told = calculate("density", {"fluid_class": "HM", "temperature": "60 degC", "density": "0.872 g/cm3"})
    found = (told.density_low.value, told.density.value, told.density_high.value)
    assert found == pytest.approx(density_at(872.0, 15.0, 60.0, "HM"))
    weighs = "At 60 °C HM of 872 kg/m³ at 15 °C weighs about 842.8 kg/m³"
    assert told.words == f"{weighs}, customarily 840.5 kg/m³ to 844.1 kg/m³."
    assert any("15 °C" in note for note in told.notes)


def test_a_density_stated_at_another_temperature_is_not_taken_to_be_that_at_15_degrees():
    asked = {"fluid_class": "HM", "temperature": "60 degC", "density": "872 kg/m3", "density_temperature": "60 degC"}
    told = calculate("density", asked)
    assert told.density_low.value == told.density.value == told.density_high.value == 872.0
    assert told.notes == []


@pytest.mark.parametrize(
    ("asked", "fields"),
    [
        ({"fluid_class": "HS", "temperature": "40 degC"}, ["density"]),
        ({"fluid_class": "HM", "temperature": "201 degC"}, ["temperature"]),
        ({"fluid_class": "HM", "temperature": "40 degC", "density": "2100 kg/m3"}, ["density"]),
        ({"fluid_class": "HM", "temperature": "40 degC", "density_temperature": "20 degC"}, ["density"]),
        (
            {"fluid_class": "HM", "temperature": "4 L/min", "density": "870", "density_temperature": "20"},
            ["temperature", "density", "density_temperature"],
        ),
        (
            {"fluid_class": "HM", "temperature": "40 degC", "density": "870 kg/m3", "density_temperature": "201 degC"},
            ["density_temperature"],
        ),
        ({"fluid_class": "oil", "temperature": "40 degC"}, ["fluid_class"]),
    ],
)
def test_a_density_that_nobody_can_tell_is_refused(asked, fields):
    assert [field for field, _ in refused("density", asked)] == fields


@given(st.sampled_from(FLUID_CLASSES), st.sampled_from(SEALS), st.sampled_from(MEDIA))
def test_seal_and_media_are_answered_by_the_table(fluid, seal, media):
    told = calculate("compatibility", {"fluid_class": fluid, "seal": seal, "media": media})
    cells = [seal_with(seal, fluid), media_with(media, fluid)]
    assert [(m.part, m.material) for m in told.materials] == [("seal", seal), ("media", media)]
    assert [(m.level, m.source) for m in told.materials] == [(cell.level, cell.source) for cell in cells]
    assert all(cell.source in told.words for cell in cells)
    assert NO_CLEARANCE in told.cautions
    assert (UNKNOWN_IS_NO_YES in told.cautions) == any(cell.level == "unknown" for cell in cells)


def test_nothing_stated_asks_for_all_that_the_table_knows():
    told = calculate("compatibility", {"fluid_class": "HFC"})
    assert [m.material for m in told.materials] == [*SEALS, *MEDIA, "zinc"]
    assert len(told.table().rows) == len(told.materials)


def test_zinc_is_judged_where_there_is_any():
    told = calculate("compatibility", {"fluid_class": "HFAE", "zinc_parts": "yes"})
    assert [(m.part, m.level) for m in told.materials] == [("zinc", "not_suitable")]
    told = calculate("compatibility", {"fluid_class": "HFAE", "zinc_parts": "no", "seal": "NBR"})
    assert [m.part for m in told.materials] == ["seal"]
    assert [field for field, _ in refused("compatibility", {"fluid_class": "HFAE", "zinc_parts": "no"})] == [
        "zinc_parts"
    ]


def test_a_material_of_no_vocabulary_is_refused():
    assert [f for f, _ in refused("compatibility", {"fluid_class": "HM", "seal": "cork"})] == ["seal"]
