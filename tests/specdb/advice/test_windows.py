"""Windows of criteria worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from specdb.advice.windows import _SHARES, CONDITIONS, Edge, Window, whole, windows
from specdb.characteristics import CHARACTERISTICS
from specdb.duty.circumstances import Circumstances, FluidDensity, FluidLine
from specdb.duty.requirement import CUSTOMARY, NO_ASSUMPTIONS, Assumptions, Requirement
from specdb.ranking import Ranking
from tests.reference import slow
from tests.reference.catalogues import rank

# One oil, 46 mm²/s at 40 °C and 6.8 mm²/s at 100 °C.
OIL = FluidLine(((46.0, 40.0), (6.8, 100.0)), ((46.0, 40.0), (6.8, 100.0)))
GRADE = FluidLine(((41.4, 40.0), (6.1, 100.0)), ((50.6, 40.0), (7.5, 100.0)))


def element(*points: slow.Point, number: str = "1", **test: Any) -> slow.Element:
    return slow.Element("A", number, (slow.Test(points, **test),))


def drop(value: float, qualifier: str = "equal", flow: float | None = 75.0, **further: Any) -> slow.Point:
    return slow.Point(
        "clean_pressure_drop", qualifier, value, 0.01, flow_l_min=flow, viscosity_mm2_s=32.0, **further
    )


def at_most(kpa: float, **further: Any) -> Requirement:
    of = {"flow_l_min": 75.0, "viscosity_low_mm2_s": 32.0, "viscosity_high_mm2_s": 32.0} | further
    return Requirement("drop", "clean_pressure_drop", "stated", high=kpa, **of)


def ranked(
    elements: list[slow.Element],
    requirements: list[Requirement],
    circumstances: Circumstances | None = None,
    assumed: Assumptions = NO_ASSUMPTIONS,
) -> Ranking:
    ranking = rank(elements, requirements, assumed)
    return replace(ranking, duty=replace(ranking.duty, circumstances=circumstances or Circumstances()))


def window(*asked: Any, **further: Any) -> Window:
    (found,) = windows(ranked(*asked, **further), [0])[0]
    return found


def test_whatever_is_judged_with_a_flow_or_a_viscosity_can_have_a_window() -> None:
    assert set(_SHARES) == {key for key, c in CHARACTERISTICS.items() if {"flow", "viscosity"} & {*c.judged_with}}


# A measured point off which a drop is known is a band of 2 %. Its law a·ν·Q + b·Q² is steepest in flow where all of it
# is b, in viscosity where all of it is a.
AT_20_KPA = element(drop(20.0))
CROSSING_FLOW = 75.0 * math.sqrt(25.0 / 20.4)
CROSSING_VISCOSITY = 32.0 * 25.0 / 20.4


def test_a_drop_crosses_its_limit_where_the_law_says() -> None:
    found = window([AT_20_KPA], [at_most(25.0)], Circumstances(fluid_line=OIL))
    assert found.flow == Edge(75.0, pytest.approx(CROSSING_FLOW, rel=2e-9), False)
    assert found.viscosity == Edge(32.0, pytest.approx(CROSSING_VISCOSITY, rel=2e-9), False)
    warm, cold = OIL.temperature_of(32.0), OIL.temperature_of(CROSSING_VISCOSITY)
    assert found.temperature == Edge(pytest.approx(warm), pytest.approx(cold, abs=2e-7), False)
    assert found.taken == ()


@pytest.mark.parametrize(
    ("points", "required", "flow"),
    [
        # As stated within 0.5 % of the tested flow; beyond, 24.8 kPa may be 25.3 kPa.
        ((drop(24.8),), at_most(25.0), 75.0 / 0.995),
        # At least 60 g by a test at 80 L/min holds for flows up to 80 L/min within 5 %.
        (
            (slow.Point("retained_capacity", "at_least", 60.0, 1.0, flow_l_min=80.0),),
            Requirement("g", "retained_capacity", "stated", low=50.0, flow_l_min=75.0),
            80.0 / 0.95,
        ),
        (
            (slow.Point("filtration_ratio", "equal", 200.0, 1.0, 10.0, "c", 75.0),),
            Requirement("b", "filtration_ratio", "stated", low=200.0, flow_l_min=75.0, size_um=10.0, scale="c"),
            75.0 / 0.95,
        ),
        (
            (slow.Point("air_pressure_drop", "at_most", 2.0, 0.1, flow_l_min=300.0),),
            Requirement("a", "air_pressure_drop", "stated", high=3.0, flow_l_min=250.0),
            300.0 / 0.95,
        ),
    ],
    ids=["drop as stated", "capacity", "ratio", "air"],
)
def test_a_result_ceases_to_count_at_a_flow(
    points: tuple[slow.Point, ...], required: Requirement, flow: float
) -> None:
    found = window([element(*points, standard="ISO 16889")], [required])
    assert found.flow is not None
    assert found.flow.value == pytest.approx(flow, rel=3e-9)
    assert not found.flow.beyond
    if required.characteristic != "clean_pressure_drop":
        assert (found.viscosity, found.temperature) == (None, None)


@pytest.mark.parametrize(
    ("qualifier", "flow"),
    [("at_most", 100.0 * math.sqrt(25.0 / 22.0)), ("equal", 75.0 * 25.0 / 19.6)],
    ids=["the other reaches further", "the first misses there"],
)
def test_of_two_tests_one_must_meet_and_none_miss(qualifier: str, flow: float) -> None:
    """Where the first is measured, it is at least 19.6 kPa, which all of it viscous misses first."""
    of = slow.Element("A", "1", (slow.Test((drop(20.0, qualifier),)), slow.Test((drop(22.0, "at_most", 100.0),))))
    found = window([of], [at_most(25.0)])
    assert found.flow is not None
    assert found.flow.value == pytest.approx(flow, rel=2e-9)


def test_a_gap_ends_a_window() -> None:
    """Between 50 g and 70 g at 80 L/min by one test and at 100 L/min by another, and in between by none."""
    results = [slow.Point("retained_capacity", "equal", 60.0, 1.0, flow_l_min=flow) for flow in (80.0, 100.0)]
    of = slow.Element("A", "1", tuple(slow.Test((each,), standard="ISO 16889") for each in results))
    required = Requirement("g", "retained_capacity", "stated", low=50.0, high=70.0, flow_l_min=80.0)
    found = window([of], [required])
    assert found.flow == Edge(80.0, pytest.approx(80.0 / 0.95, rel=3e-9), False)


def test_what_still_meets_at_the_end_of_the_search_is_beyond() -> None:
    found = window([AT_20_KPA], [at_most(1e6)], Circumstances(fluid_line=OIL))
    assert found.flow == Edge(75.0, pytest.approx(750.0), True)
    assert found.viscosity == Edge(32.0, pytest.approx(3200.0), True)
    assert found.temperature is not None
    assert found.temperature.beyond
    assert found.temperature.value == pytest.approx(OIL.temperature_of(3200.0))


def test_collapse_over_the_own_drop_ends_where_the_drop_reaches_it() -> None:
    collapse = slow.Test((slow.Point("collapse_pressure", "at_least", 1000.0, 1.0),))
    of = slow.Element("A", "1", (slow.Test((drop(20.0),), drop_of="element"), collapse))
    required = replace(at_most(np.inf), id="c", characteristic="collapse_over_own_drop", low=1.0)
    found = window([of], [required], Circumstances(fluid_line=OIL))
    assert found.flow is not None
    assert found.flow.value == pytest.approx(75.0 * math.sqrt(1000.0 / 20.4), rel=2e-9)
    assert found.viscosity is not None
    assert found.viscosity.value == pytest.approx(32.0 * 1000.0 / 20.4, rel=2e-9)


def test_a_flow_that_is_assumed_is_assumed_to_be_the_requirements_own() -> None:
    """Not whichever is asked next, by which it would reach without end."""
    capacity = element(slow.Point("retained_capacity", "equal", 60.0, 1.0), standard="ISO 16889")
    required = Requirement("g", "retained_capacity", "stated", low=50.0, flow_l_min=75.0)
    found = window([capacity], [required], assumed=Assumptions(unstated_conditions_match=True))
    assert found.flow == Edge(75.0, pytest.approx(75.0 / 0.95, rel=3e-9), False)
    assert found.taken == ("flow",)


def test_over_a_band_of_viscosity_the_thick_edge_tells() -> None:
    circumstances = Circumstances(
        fluid_line=GRADE, operating_degc=50.0, viscosity_mm2_s=GRADE.viscosity_at(50.0), density_kg_m3=(870.0, 870.0)
    )
    thin, thick = GRADE.viscosity_at(50.0)
    required = at_most(25.0, viscosity_low_mm2_s=thin, viscosity_high_mm2_s=thick)
    found = window([AT_20_KPA], [required], circumstances)
    assert found.viscosity == Edge(thick, pytest.approx(CROSSING_VISCOSITY, rel=2e-9), False)
    assert found.temperature == Edge(50.0, pytest.approx(GRADE.temperature_of(CROSSING_VISCOSITY), abs=2e-7), False)


def test_a_density_that_is_assumed_is_told() -> None:
    required = at_most(25.0, density_low_kg_m3=1090.0, density_high_kg_m3=1190.0)
    found = window([AT_20_KPA], [required], assumed=Assumptions(unstated_conditions_match=True))
    assert found.taken == ("density",)


def test_colder_fluid_is_as_dense_as_it_may_be() -> None:
    warm = OIL.temperature_of(32.0)
    assert warm is not None
    circumstances = Circumstances(
        fluid_line=OIL,
        operating_degc=warm,
        viscosity_mm2_s=(32.0, 32.0),
        fluid_density=FluidDensity(850.0, 850.0, warm, "HM"),
        density_kg_m3=(850.0, 850.0),
    )
    required = at_most(25.0, density_low_kg_m3=850.0, density_high_kg_m3=850.0)
    found = window([element(drop(20.0, density_kg_m3=850.0))], [required], circumstances)
    assert found.temperature is not None
    edge = found.temperature.value
    # Mineral oil gains 0.70 kg/m³ at most for each degree that it is colder.
    dense = 850.0 + 0.70 * (warm - edge)
    assert OIL.viscosity_at(edge)[1] * dense == pytest.approx(CROSSING_VISCOSITY * 850.0, rel=1e-7)


def test_no_temperature_is_told_where_the_fluid_may_be_more_than_was_required() -> None:
    """Required at 32 mm²/s, where the point counts as stated; the fluid may be thinner at that temperature too."""
    found = window([element(drop(24.8))], [at_most(25.0)], Circumstances(fluid_line=GRADE))
    assert found.temperature is None
    assert found.not_over_fluid_degc == pytest.approx(GRADE.temperature_of(32.0))


@pytest.mark.parametrize(
    "required",
    [
        at_most(10.0),  # misses
        at_most(25.0, flow_l_min=None, viscosity_low_mm2_s=None, viscosity_high_mm2_s=None),  # asks no condition
        Requirement("c", "collapse_pressure", "stated", low=500.0),
        at_most(25.0, asked_of=("breather",)),
    ],
    ids=["missed", "no condition asked", "no condition judged", "not asked of its kind"],
)
def test_criteria_without_a_window(required: Requirement) -> None:
    of = slow.Element(
        "A",
        "1",
        (slow.Test((drop(20.0), slow.Point("collapse_pressure", "at_least", 600.0, 1.0))),),
        {"kind": "cartridge"},
    )
    assert windows(ranked([of], [required]), [0]) == {0: ()}


def test_the_whole_window_is_the_narrowest_at_the_dutys_flow() -> None:
    capacity = Requirement("g", "retained_capacity", "stated", low=50.0, flow_l_min=75.0)
    elsewhere = replace(capacity, id="elsewhere", flow_l_min=20.0)
    held = slow.Point("retained_capacity", "at_least", 60.0, 1.0, flow_l_min=76.0)
    of = element(drop(20.0), held, standard="ISO 16889")
    circumstances = Circumstances(flow_l_min=75.0, fluid_line=OIL)
    ranking = ranked([of], [at_most(25.0), replace(at_most(30.0), id="drop-2"), capacity, elsewhere], circumstances)
    found = windows(ranking, [0])[0]
    assert [each.requirement.id for each in found] == ["drop", "drop-2", "g", "elsewhere"]
    together = whole(found, circumstances)
    set_by = {name: getattr(together, name)[1].id for name in CONDITIONS}
    assert set_by == {"flow": "g", "viscosity": "drop", "temperature": "drop"}
    assert together.flow is not None
    assert together.flow[0].value == pytest.approx(76.0 / 0.95, rel=3e-9)
    assert whole((), circumstances) == whole(found[:0], circumstances)


def test_rows_are_told_of_as_asked_each_on_its_own() -> None:
    elements = [element(drop(value), number=str(n)) for n, value in enumerate((20.0, 30.0, 22.0, 10.0))]
    ranking = ranked(elements, [at_most(25.0)], assumed=CUSTOMARY)
    together = windows(ranking, [3, 0, 1])
    assert list(together) == [3, 0, 1]
    assert together[1] == ()
    for row, found in together.items():
        assert windows(ranking, [row]) == {row: found}
