"""The drop at other conditions: the same bounds and estimate as the criterion draws from a catalogue."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specdb.calculations import calculate
from specdb.criteria.clean_pressure_drop import clean_pressure_drop
from specdb.criteria.evidence import BASIS, REASONS
from specdb.duty.requirement import Assumptions, Requirement
from specdb.errors import InputError
from tests.reference import slow
from tests.reference.catalogues import snapshot_of

SIGNS = {"equal": "", "at_most": "<= ", "at_least": ">= ", "about": "about "}
POINTS = "25 kPa at 75 L/min, 32 mm2/s; 48 kPa at 120 L/min, 32 mm2/s"

drop_points = st.lists(
    st.builds(
        slow.Point,
        characteristic=st.just("clean_pressure_drop"),
        qualifier=st.sampled_from(tuple(SIGNS)),
        value=st.integers(5, 400).map(float),
        resolution=st.just(1.0),
        flow_l_min=st.sampled_from((50.0, 75.0, 100.0, 100.4, 150.0)),
        viscosity_mm2_s=st.sampled_from((15.0, 32.0, 46.0, 46.2)),
        density_kg_m3=st.sampled_from((None, None, 870.0)),
    ),
    min_size=1,
    max_size=4,
)


def typed(points):
    def one(point):
        density = "" if point.density_kg_m3 is None else f", {point.density_kg_m3:g} kg/m3"
        drop = f"{SIGNS[point.qualifier]}{point.value:.0f} kPa"
        return f"{drop} at {point.flow_l_min} L/min, {point.viscosity_mm2_s} mm2/s{density}"

    return "; ".join(map(one, points))


@settings(max_examples=60, deadline=None)
@given(drop_points, st.sampled_from((None, "element", "assembly")), st.booleans())
def test_bounds_and_estimate_are_those_of_the_criterion(points, drop_of, shared):
    share = 0.7 if shared and drop_of == "element" else None
    element = slow.Element("A", "1", (slow.Test(tuple(points), drop_of=drop_of),))
    required = Requirement(
        "r", "clean_pressure_drop", "stated", flow_l_min=100.0, viscosity_low_mm2_s=46.0, viscosity_high_mm2_s=46.0
    )
    judged = clean_pressure_drop(snapshot_of([element]), required, Assumptions(viscous_share_at_least=share))
    asked = {"flow": "100 L/min", "viscosity": "46 mm2/s", "points": typed(points)}
    asked |= {} if drop_of is None else {"drop_of": drop_of}
    asked |= {} if share is None else {"viscous_share_at_least": "70 %"}
    low, high = float(judged.low[0]), float(judged.high[0])
    if judged.reason[0] == REASONS.index("inconsistent_test"):
        with pytest.raises(InputError, match="contradict"):
            calculate("pressure_drop", asked)
        return
    told = calculate("pressure_drop", asked)
    assert (told.drop_low.value if told.drop_low else -math.inf) == pytest.approx(low, rel=1e-9)
    assert (told.drop_high.value if told.drop_high else math.inf) == pytest.approx(high, rel=1e-9)
    assert told.estimate.value == pytest.approx(float(judged.estimate[0]), rel=1e-9)
    assert told.basis == ("as_stated" if judged.basis[0] == BASIS["as_stated"] else "from_curve")


def test_units_of_the_points_do_not_matter():
    metric = calculate("pressure_drop", {"flow": "100 L/min", "viscosity": "46 mm2/s", "points": POINTS})
    other = calculate(
        "pressure_drop",
        {
            "flow": "6 m3/h",
            "viscosity": "0.46 St",
            "points": "0.25 bar, 4.5 m3/h, 0.32 St; 0.48 bar @ 7.2 m3/h, 0.32 St",
        },
        "us",
    )
    assert other.drop_low.value * 6.894757293168 == pytest.approx(metric.drop_low.value, rel=1e-9)
    assert other.drop_high.value * 6.894757293168 == pytest.approx(metric.drop_high.value, rel=1e-9)


@given(st.floats(10, 400), st.floats(10, 400))
def test_more_flow_never_drops_less(one, other):
    def at(flow):
        return calculate("pressure_drop", {"flow": f"{flow!r} L/min", "viscosity": "20 mm2/s", "points": POINTS})

    low, high = (at(flow) for flow in sorted((one, other)))
    assert low.drop_low.value <= high.drop_low.value * (1 + 1e-9)
    assert low.drop_high.value <= high.drop_high.value * (1 + 1e-9)


def test_a_single_point_is_bounded_by_the_two_extremes():
    # All viscous: 25 · 2 · 2; all inertial: 25 · 2². With a band of 2 % on the point.
    asked = {"flow": "150 L/min", "viscosity": "64 mm2/s", "points": "25.0 kPa at 75 L/min, 32 mm2/s"}
    told = calculate("pressure_drop", asked)
    assert told.drop_low.value == pytest.approx(25 * 0.98 * 4)
    assert told.drop_high.value == pytest.approx(25 * 1.02 * 4)
    thin = calculate("pressure_drop", asked | {"viscosity": "32 mm2/s", "drop_of": "element"})
    assert (thin.drop_low.value, thin.drop_high.value) == pytest.approx((25 * 0.98 * 2, 25 * 1.02 * 4))
    assert thin.estimate.value == pytest.approx(50)
    assert calculate("pressure_drop", asked | {"viscosity": "32 mm2/s"}).estimate.value == pytest.approx(100)


def test_an_assumed_share_narrows_the_bounds_and_is_left_aside_where_the_points_rule_it_out():
    asked = {"flow": "150 L/min", "viscosity": "32 mm2/s", "drop_of": "element", "viscous_share_at_least": "70 %"}
    told = calculate("pressure_drop", asked | {"points": "25.0 kPa at 75 L/min, 32 mm2/s"})
    assert told.drop_high.value == pytest.approx(25 * 1.02 * (0.7 * 2 + 0.3 * 4))
    ruled_out = asked | {"points": "25.0 kPa at 75 L/min, 32 mm2/s; 100.0 kPa at 150 L/min, 32 mm2/s"}
    assert any("left aside" in note for note in calculate("pressure_drop", ruled_out).notes)


def test_a_density_asked_for_changes_both_terms_alike():
    asked = {"flow": "75 L/min", "viscosity": "32 mm2/s", "density": "1000 kg/m3"}
    told = calculate("pressure_drop", asked | {"points": "25.0 kPa at 75 L/min, 32 mm2/s, 800 kg/m3"})
    assert told.drop_low.value == pytest.approx(25 * 0.98 * 1.25)
    assert told.basis == "from_curve"


def test_a_point_at_the_conditions_asked_for_is_taken_as_stated():
    told = calculate("pressure_drop", {"flow": "75.2 L/min", "viscosity": "32 mm2/s", "points": POINTS})
    assert (told.drop_low.value, told.drop_high.value, told.basis) == (25, 25, "as_stated")


def test_one_sided_points_bound_one_side():
    asked = {"flow": "75 L/min", "viscosity": "32 mm2/s"}
    most = calculate("pressure_drop", asked | {"points": "at most 25 kPa at 75 L/min, 32 mm2/s"})
    assert most.drop_high.value == 25
    least = calculate("pressure_drop", asked | {"points": "75 L/min, 32 mm2/s, at least 25 kPa"})
    assert (least.drop_low.value, least.drop_high) == (25, None)
    about = calculate("pressure_drop", asked | {"points": "about 25 kPa at 75 L/min, 32 mm2/s"})
    assert (about.drop_low, about.drop_high, about.estimate.value) == (None, None, 25)
    assert "no proven bound" in about.words


@pytest.mark.parametrize(
    ("changed", "field", "why"),
    [
        ({"points": "25 kPa at 75 L/min"}, "points", "no viscosity"),
        ({"points": "25 kPa at 75 L/min, 32 mm2/s, 20 g"}, "points", "no pressure"),
        ({"points": "25 kPa, 26 kPa, 75 L/min, 32 mm2/s"}, "points", "twice"),
        ({"points": "25 kPa at 75 L/min, <= 32 mm2/s"}, "points", "plain value"),
        ({"points": "100 kPa at 75 L/min, 32 mm2/s; 50 kPa at 150 L/min, 32 mm2/s"}, "points", "contradict"),
        ({"points": "; ".join(["25 kPa at 75 L/min, 32 mm2/s"] * 17)}, "points", "1 to 16"),
        ({"points": "25 kPa at 75 L/min, 32 mm2/s, 40 degC"}, "points", "Saybolt"),
        ({"density": "870 kg/m3"}, "density", "no density"),
        ({"flow": "0 L/min"}, "flow", "above zero"),
        ({"viscous_share_at_least": "70 %"}, "viscous_share_at_least", "element only"),
        ({"viscous_share_at_least": "170 %", "drop_of": "element"}, "viscous_share_at_least", "100 %"),
        (
            {"points": "25 kPa at 75 L/min, 32 mm2/s, 800 kg/m3; 26 kPa at 76 L/min, 32 mm2/s, 900 kg/m3"},
            "density",
            "different densities",
        ),
    ],
)
def test_what_bounds_nothing_is_refused(changed, field, why):
    with pytest.raises(InputError) as error:
        calculate("pressure_drop", {"flow": "100 L/min", "viscosity": "46 mm2/s", "points": POINTS} | changed)
    assert error.value.field == field
    assert why in error.value.message
