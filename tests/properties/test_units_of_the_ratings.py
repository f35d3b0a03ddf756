"""A verdict hangs on what a sheet states, never on the units it states it in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from specdb.characteristics import CHARACTERISTICS
from tests.properties.test_units_of_the_question import FACTORS
from tests.reference import slow
from tests.reference.catalogues import ASSUMPTIONS, JUDGED, judge_all, random_test, requirements_on, thorough


def retyped(draw: st.DrawFn, value: float | None, kind: str) -> float | None:
    """The value after a stay in another unit: the same but for the rounding of the conversion."""
    if value is None or kind not in FACTORS:
        return value
    factor = draw(st.sampled_from(tuple(FACTORS[kind].values())))
    return float(f"{value / factor:.15g}") * factor


def retyped_point(draw: st.DrawFn, point: slow.Point) -> slow.Point:
    return replace(
        point,
        value=retyped(draw, point.value, CHARACTERISTICS[point.characteristic].kind),
        flow_l_min=retyped(draw, point.flow_l_min, "flow"),
        density_kg_m3=retyped(draw, point.density_kg_m3, "density"),
    )


def retyped_test(draw: st.DrawFn, test: slow.Test) -> slow.Test:
    return replace(
        test,
        points=tuple(retyped_point(draw, p) for p in test.points),
        terminal_pressure_drop_kpa=retyped(draw, test.terminal_pressure_drop_kpa, "pressure"),
        cycle_pressure_kpa=retyped(draw, test.cycle_pressure_kpa, "pressure"),
    )


def test_some_values_do_change_in_the_last_digit() -> None:
    assert 75.0 / FACTORS["flow"]["m^3/h"] == 4.5
    assert any(
        float(f"{flow / factor:.15g}") * factor != flow
        for flow in (60.0, 94.9, 95.0, 105.0, 130.0)
        for factor in FACTORS["flow"].values()
    )


@given(st.data())
@thorough
def test_verdicts_are_the_same_in_any_units_of_the_ratings(data: st.DataObject) -> None:
    key = data.draw(st.sampled_from((*("filtration_ratio", "clean_pressure_drop", "retained_capacity") * 3, *JUDGED)))
    tests = data.draw(st.lists(random_test(key), min_size=1, max_size=3))
    again = [retyped_test(data.draw, test) for test in tests]
    required, assumptions = data.draw(requirements_on(key, key)), data.draw(ASSUMPTIONS)
    elements = [slow.Element("A", f"{n}", (test,)) for n, test in enumerate((*tests, *again))]
    [judged] = judge_all(elements, [required], assumptions)
    for name in ("verdict", "reason", "verdict_without_assumptions"):
        one, other = np.split(getattr(judged, name), 2)
        assert one.tolist() == other.tolist(), (name, tests, again, required, assumptions)
