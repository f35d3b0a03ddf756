"""What is not on file of an element, though one of its kind is usually judged by it."""

from __future__ import annotations

import pytest

from specdb.advice.gaps import Gaps, asked_of_makers, gaps
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS
from tests.reference import slow
from tests.reference.catalogues import snapshot_of

IN_LIQUID = ["filtration_ratio", "retained_capacity", "clean_pressure_drop", "collapse_pressure", "flow_fatigue_cycles"]
TEMPERATURES = ["temperature_low", "temperature_high"]


def of(*tests: slow.Test, measures: dict[str, float] | None = None, **words: str) -> Gaps:
    return gaps(snapshot_of([slow.Element("M", "1", tests, words, measures or {})]), 0)


def point(characteristic: str, **at: float | str) -> slow.Point:
    return slow.Point(characteristic, "equal", 20.0, 1.0, **at)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ({}, [*IN_LIQUID, *TEMPERATURES]),
        ({"kind": "cartridge", "bypass_valve": "no"}, [*IN_LIQUID, *TEMPERATURES]),
        (
            {"kind": "spin-on", "bypass_valve": "yes"},
            [
                *IN_LIQUID,
                *("working_pressure", "burst_pressure", "pressure_fatigue_cycles", "bypass_cracking_pressure"),
                *TEMPERATURES,
            ],
        ),
        ({"kind": "cartridge", "media": "water absorbing"}, [*IN_LIQUID[2:], *TEMPERATURES, "water_capacity"]),
        ({"kind": "suction strainer"}, ["clean_pressure_drop", *TEMPERATURES, "mesh_opening"]),
        ({"kind": "breather"}, [*TEMPERATURES, "air_pressure_drop", "air_particle_size"]),
    ],
)
def test_an_element_lacks_what_its_kind_is_judged_by(words: dict[str, str], expected: list[str]) -> None:
    assert list(of(**words).characteristics) == expected
    one = of(slow.Test((point(expected[0]),)), **words)
    assert list(one.characteristics) == expected[1:]


def test_an_element_lacks_the_attributes_that_its_fit_and_fluid_hang_on() -> None:
    everything = {key: "x" for key, each in ATTRIBUTES.items() if each.kind != "length"}
    measures = {key: 10.0 for key, each in ATTRIBUTES.items() if each.kind == "length"}
    assert of(measures=measures, **everything | {"kind": "spin-on"}).attributes == ()
    bare = of(kind="spin-on").attributes
    assert {"thread", "seal", "gasket_outside_diameter", "fluids_compatible"} <= set(bare)
    assert not {"kind", "inside_diameter", "fluids_tested"} & set(bare)
    assert "inside_diameter" in of(kind="cartridge").attributes
    assert "fluids_compatible" not in of(kind="spin-on", fluids_tested="HM").attributes


@pytest.mark.parametrize(
    ("test", "lacks"),
    [
        (slow.Test((point("filtration_ratio", size_um=10.0, scale="?"),)), ("size", "flow", "dust")),
        # A test to a standard was run on its scale, with its dust, and its capacity is the mass retained.
        (slow.Test((point("filtration_ratio", size_um=10.0, scale="?"),), standard="ISO 16889"), ("flow",)),
        (
            slow.Test((point("retained_capacity", flow_l_min=75.0),), standard="ISO 16889"),
            ("terminal_pressure_drop",),
        ),
        (
            slow.Test((point("retained_capacity", flow_l_min=75.0),), standard="ISO 4572"),
            ("terminal_pressure_drop", "capacity_basis"),
        ),
        (
            slow.Test((point("clean_pressure_drop", flow_l_min=75.0, density_kg_m3=870.0),), drop_of="element"),
            ("viscosity",),
        ),
        (slow.Test((point("flow_fatigue_cycles"),), cycle_pressure_kpa=500.0), ("standard",)),
        (slow.Test((point("bubble_point"),)), ("test_liquid",)),
        (slow.Test((point("collapse_pressure"),)), None),
    ],
)
def test_a_test_lacks_the_conditions_it_is_judged_with(test: slow.Test, lacks: tuple[str, ...] | None) -> None:
    assert [each.lacks for each in of(test).unstated] == ([lacks] if lacks else [])


def test_results_that_lack_the_same_are_told_of_at_once() -> None:
    stated = {"viscosity_mm2_s": 32.0, "density_kg_m3": 870.0}
    points = [point("clean_pressure_drop", flow_l_min=flow, **stated) for flow in (20.0, 40.0)]
    points += [point("clean_pressure_drop", flow_l_min=60.0), point("clean_pressure_drop", **stated)]
    found = of(slow.Test(tuple(points), drop_of="element")).unstated
    assert [(each.lacks, each.results, each.of) for each in found] == [
        (("viscosity", "density"), 1, 4),
        (("flow",), 1, 4),
    ]
    assert found[0].words == (
        "Of its clean pressure drop 1 of 4 results leaves unstated the viscosity and the density"
    )
    one = of(slow.Test((point("air_pressure_drop"),))).unstated
    assert [each.words for each in one] == ["Of its pressure drop of air the one result leaves unstated the flow"]


def test_every_condition_that_a_characteristic_is_judged_with_is_looked_for() -> None:
    for key, known in CHARACTERISTICS.items():
        size = {"size_um": 10.0, "scale": "?"} if "size" in known.judged_with else {}
        found = of(slow.Test((point(key, **size),))).unstated
        assert [each.lacks for each in found] == ([known.judged_with] if known.judged_with else []), key


def test_gaps_are_told_in_plain_sentences() -> None:
    told = of(kind="breather", media="polyester", seal="NBR").words()
    assert told[0] == "Nothing is on file of its lowest temperature."
    missing = "thread, outside diameter, length and compatible fluid classes"
    assert told[-1] == f"Of what it is, nothing is on file of {missing}."
    assert "bypass_valve" in of().attributes
    assert "Nothing is on file of its collapse pressure (ISO 2941)." in of(kind="cartridge").words()


def test_what_is_missing_is_asked_for_with_the_conditions_that_it_is_judged_with() -> None:
    bare, rated = of(kind="breather", thread="G3/4"), of(slow.Test((point("collapse_pressure"),)), kind="cartridge")
    asked = asked_of_makers({3: bare, 5: rated})
    assert list(asked)[-1] == "maker's statement"
    assert asked["maker's statement"]["lowest temperature"] == [3, 5]
    assert asked["maker's statement"]["outside diameter, with its tolerance"] == [3, 5]
    assert asked["multi-pass test to ISO 16889 with ISO 12103-1 A3"] == {
        "filtration ratio (beta), with the particle size and its scale and the flow": [5],
        "retained capacity (mass retained), with the flow and the terminal pressure drop": [5],
    }
    assert list(asked["flow fatigue test to ISO 3724 or ISO 23181"]) == [
        "flow fatigue, with the cycle pressure and the standard"
    ]
    assert not any("collapse" in run for run in asked)
