"""The edges of windows against a slow look at the same criterion, on random tests."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from specdb.advice.windows import CONDITIONS, FLOW_SEARCHED, Condition, Edge, Window, windows
from specdb.bounds import MEETS
from specdb.catalog.snapshot import Snapshot
from specdb.criteria import judge
from specdb.duty.circumstances import Circumstances, FluidLine
from specdb.duty.requirement import Assumptions, Requirement
from specdb.duty.resolve import Duty
from specdb.ranking import Ranking, Standing
from tests.reference import slow
from tests.reference.catalogues import ASSUMPTIONS, elements_of, quick, requirements_on, snapshot_of

JUST_OUTSIDE = 1e-6
OF_ONE_OIL = FluidLine(((46.0, 40.0), (6.8, 100.0)), ((46.0, 40.0), (6.8, 100.0)))
OF_A_GRADE = FluidLine(((41.4, 40.0), (6.1, 100.0)), ((50.6, 40.0), (7.5, 100.0)))
KEYS = ("filtration_ratio", "retained_capacity", "clean_pressure_drop", "clean_pressure_drop", "collapse_over_own_drop")
NOTHING = np.zeros(0, np.int64)
few = settings(quick, max_examples=15)


@dataclass(frozen=True)
class Case:
    elements: list[slow.Element]
    snapshot: Snapshot
    required: Requirement
    assumed: Assumptions

    def met(self, line: FluidLine | None, required: Requirement | None = None) -> dict[int, Window]:
        """The window of each element that meets the requirement, where there is one."""
        required = required or self.required
        judged = judge(self.snapshot, required, self.assumed)
        duty = Duty((required,), self.assumed, None, (), (), Circumstances(fluid_line=line), (), ())
        standing = Standing(NOTHING, NOTHING, NOTHING, NOTHING, np.zeros(0))
        ranking = Ranking(self.snapshot, duty, (judged,), standing, NOTHING, NOTHING)
        found = windows(ranking, range(len(self.elements)))
        return {row: each[0] for row, each in found.items() if each}


@st.composite
def drawn(draw: st.DrawFn, keys: tuple[str, ...] = KEYS) -> Case:
    """Elements and a requirement near what is shown of one of them, so that it and others often meet it."""
    key, assumed = draw(st.sampled_from(keys)), draw(ASSUMPTIONS)
    own_drop = key == "collapse_over_own_drop"
    tested = ("clean_pressure_drop", "collapse_pressure") if own_drop else (key,)
    elements = [draw(elements_of(tested, "A", number, 2)) for number in "1234"]
    required = draw(requirements_on(tested[0], key, usual_way_only=True))
    required = replace(required, flow_l_min=draw(st.sampled_from((None, 60.0, 90.0, 100.0, 100.0))))
    if own_drop:
        required = replace(required, characteristic=key, low=1.0, high=np.inf, drop_of=None)
    snapshot = snapshot_of(elements)
    judged, room = judge(snapshot, required, assumed), draw(st.sampled_from((1.0, 1.0005, 1.01, 1.2, 3.0)))
    bound = judged.high if tested == ("clean_pressure_drop",) else judged.low
    shown = bound[np.isfinite(bound)]
    if len(shown):
        limit = float(draw(st.sampled_from(shown.tolist())))
        upper = tested == ("clean_pressure_drop",)
        required = replace(required, high=limit * room) if upper else replace(required, low=limit / room)
    return Case(elements, snapshot, required, assumed)


def written_out(element: slow.Element, required: Requirement) -> slow.Element:
    """The element with what its drop or multi-pass tests leave unstated written out as required."""
    key = {"collapse_over_own_drop": "clean_pressure_drop"}.get(required.characteristic, required.characteristic)
    low, high = required.viscosity_low_mm2_s, required.viscosity_high_mm2_s
    viscosity = None if low is None or high is None else math.sqrt(low * high)
    light, heavy = required.density_low_kg_m3, required.density_high_kg_m3
    density = None if light is None or heavy is None else math.sqrt(light * heavy)
    tests = []
    for test in element.tests:
        dense = any(p.density_kg_m3 is not None for p in test.points if p.characteristic == key)
        points = [
            point
            if point.characteristic != key
            else replace(
                point,
                flow_l_min=required.flow_l_min if point.flow_l_min is None else point.flow_l_min,
                viscosity_mm2_s=viscosity if point.viscosity_mm2_s is None else point.viscosity_mm2_s,
                density_kg_m3=point.density_kg_m3 if dense else density,
            )
            for point in test.points
        ]
        tests.append(replace(test, points=tuple(points)))
    return replace(element, tests=tuple(tests))


def alone(case: Case, row: int) -> Snapshot:
    """One element, with what its tests leave unstated written out if that is assumed and it then still meets."""
    part = case.snapshot.only(np.array([row]))
    if not case.assumed.unstated_conditions_match:
        return part
    written = snapshot_of([written_out(case.elements[row], case.required)])
    return written if judge(written, case.required, case.assumed).verdict[0] == MEETS else part


def at(required: Requirement, name: Condition, value: float, own: float, line: FluidLine | None) -> Requirement:
    """The requirement with one condition at another value than its ``own``."""
    if name == "flow":
        return replace(required, flow_l_min=value)
    if name == "temperature":
        assert line is not None
        thin, thick = line.viscosity_at(value)
        light, heavy = required.density_low_kg_m3, required.density_high_kg_m3
        if light is not None and heavy is not None:
            # What a mineral oil gains at least and at most, in kg/m³ for each °C that it is colder.
            light, heavy = light + 0.62 * (own - value), heavy + 0.70 * (own - value)
            required = replace(required, density_low_kg_m3=light, density_high_kg_m3=heavy)
    else:
        thin, thick = required.viscosity_low_mm2_s or 0.0, required.viscosity_high_mm2_s or 0.0
        thin, thick = value * thin / thick, value
    return replace(required, viscosity_low_mm2_s=thin, viscosity_high_mm2_s=thick)


def assert_is_the_edge(edge: Edge, name: Condition, meets: Callable[[float], bool]) -> None:
    """It is met at the edge and all the way to it, and just outside it is not."""
    assert edge.value == edge.own or meets(edge.value), (name, edge)
    if abs(edge.value - edge.own) > 1e-7:
        between = (np.linspace if name == "temperature" else np.geomspace)(edge.own, edge.value, 10)[1:-1]
        assert [value for value in between.tolist() if not meets(value)] == [], (name, edge)
    if not edge.beyond:
        # In 1e-4 °C a viscosity changes by some 1e-6 of itself.
        assert not meets(edge.value - 1e-4 if name == "temperature" else edge.value * (1 + JUST_OUTSIDE)), (name, edge)


def assert_equal_if_crossing(edge: Edge, required: Requirement, high_at: Callable[[float], float]) -> None:
    """Off the points of its tests a drop is continuous, so what is shown is the limit at an edge that is no jump."""
    inside, outside = high_at(edge.value), high_at(edge.value * (1 + JUST_OUTSIDE))
    crossing = math.isclose(inside, outside, rel_tol=10 * JUST_OUTSIDE)
    event(f"crossing {crossing}")
    if crossing:
        assert math.isclose(inside, required.allowed_high, rel_tol=JUST_OUTSIDE), (edge, inside)


@given(drawn(), st.sampled_from((OF_ONE_OIL, OF_A_GRADE)))
@settings(quick, max_examples=40)
def test_an_edge_is_the_end_of_what_is_met_throughout(case: Case, line: FluidLine) -> None:
    required, assumed = case.required, case.assumed
    for row, window in case.met(line).items():
        one = alone(case, row)
        for name in CONDITIONS:
            edge: Edge | None = getattr(window, name)
            if edge is None:
                continue
            event(f"{required.characteristic}, {name}, beyond {edge.beyond}")

            def verdict(value: float, name: Condition = name, one: Snapshot = one, own: float = edge.own) -> bool:
                return bool(judge(one, at(required, name, value, own, line), assumed).verdict[0] == MEETS)

            def high(value: float, name: Condition = name, one: Snapshot = one, own: float = edge.own) -> float:
                return float(judge(one, at(required, name, value, own, line), assumed).high[0])

            assert_is_the_edge(edge, name, verdict)
            a_drop = required.characteristic == "clean_pressure_drop" and not edge.beyond and edge.value != edge.own
            if a_drop and name != "temperature" and len(one.tests) == 1:
                assert_equal_if_crossing(edge, required, high)


@given(drawn(), st.sampled_from((1.001, 1.05, 2.0)))
@few
def test_a_looser_limit_never_narrows_a_window(case: Case, looser: float) -> None:
    required = case.required
    loosened = replace(required, low=required.low / looser, high=required.high * looser)
    strict, loose = case.met(OF_A_GRADE), case.met(OF_A_GRADE, loosened)
    assert strict.keys() <= loose.keys()
    for row, window in strict.items():
        for name in CONDITIONS:
            here, there = getattr(window, name), getattr(loose[row], name)
            if here is not None and window.taken == loose[row].taken:
                further = here.value - there.value if name == "temperature" else there.value - here.value
                assert further >= -2e-9 * abs(here.value) - 2e-7, (name, here, there)


@given(drawn(("clean_pressure_drop", "collapse_over_own_drop")))
@few
def test_the_coldest_temperature_of_one_oil_is_that_of_the_highest_viscosity(case: Case) -> None:
    # No density is asked, which would change on the way.
    unasked = replace(case.required, density_low_kg_m3=None, density_high_kg_m3=None)
    of_one_oil = replace(unasked, viscosity_low_mm2_s=32.0, viscosity_high_mm2_s=32.0)
    for window in case.met(OF_ONE_OIL, of_one_oil).values():
        assert window.viscosity is not None
        assert window.temperature is not None
        expected = OF_ONE_OIL.temperature_of(window.viscosity.value)
        assert expected is None or math.isclose(window.temperature.value, expected, abs_tol=1e-5)


@given(drawn(("filtration_ratio", "retained_capacity")))
@quick
def test_a_multi_pass_result_ends_within_5_percent_of_the_flow_of_a_test(case: Case) -> None:
    """Or of a flow taken to be the requirement's own, or nowhere before the end of what is searched."""
    own = case.required.flow_l_min
    assume(own is not None)
    for row, window in case.met(None).items():
        assert window.flow is not None
        stated = [point.flow_l_min or own or 0.0 for test in case.elements[row].tests for point in test.points]
        ends = [flow / limit for flow in stated for limit in (0.95, 1.05)]
        ends += [(own or 0.0) * FLOW_SEARCHED] if window.flow.beyond else []
        assert any(math.isclose(window.flow.value, end, rel_tol=1e-8) for end in ends), window
