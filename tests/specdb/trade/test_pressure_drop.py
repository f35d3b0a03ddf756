from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import linprog

from specdb.errors import ConditionsError
from specdb.trade import pressure_drop
from specdb.trade.pressure_drop import drop_bounds, drop_estimate

NAN, INF = np.nan, np.inf

# Tenths, so that bands touch exactly or miss each other by more than any solver's tolerance.
tenths = st.integers(1, 30).map(lambda n: n / 10)
sides = st.one_of(st.none(), tenths)


@st.composite
def points(draw, most=4):
    """x, y, low, high, share of one test; bands may be one-sided, touch, or contradict each other."""
    rows = []
    for _ in range(draw(st.integers(1, most))):
        low, high = draw(sides), draw(sides)
        if low is not None and high is not None:
            low, high = min(low, high), max(low, high)
        share = draw(st.sampled_from([None, None, None, 0.0, 0.3, 0.7, 1.0]))
        rows.append([draw(tenths), draw(tenths), *(NAN if v is None else v for v in (low, high, share))])
    return np.array(rows).T


@st.composite
def targets(draw):
    x, y = sorted(draw(st.tuples(tenths, tenths))), sorted(draw(st.tuples(tenths, tenths)))
    return (*x, *y)


def bounds_of(test, target):
    x, y, low, high, share = test
    least, greatest, empty = drop_bounds([x], [y], [low], [high], *target, [share])
    return least[0], greatest[0], empty[0]


def bounds_by_linear_programming(test, target):
    rows, limits = [], []
    for x, y, low, high, share in test.T:
        if not np.isnan(high):
            rows.append([x, y])
            limits.append(high)
        if not np.isnan(low):
            rows.append([-x, -y])
            limits.append(-low)
        if not np.isnan(share):
            rows.append([(share - 1) * x, share * y])
            limits.append(0.0)
    matrix = np.array(rows).reshape(-1, 2)
    x_low, x_high, y_low, y_high = target
    smallest = linprog([x_low, y_low], matrix, limits, method="highs")
    largest = linprog([-x_high, -y_high], matrix, limits, method="highs")
    if smallest.status == 2:
        return -INF, INF, True
    assert smallest.status == 0
    assert largest.status in (0, 3)
    return smallest.fun, INF if largest.status == 3 else -largest.fun, False


@settings(max_examples=300, deadline=None)
@given(points(), targets())
def test_bounds_are_those_of_an_independent_linear_program(test, target):
    expected = bounds_by_linear_programming(test, target)
    found = bounds_of(test, target)
    assert found[2] == expected[2]
    assert_allclose(found[:2], expected[:2], rtol=1e-6, atol=1e-7)


@settings(max_examples=200, deadline=None)
@given(points(), targets(), st.floats(0, 0.5), st.floats(0, 0.5))
def test_wider_bands_never_narrow_the_bounds(test, target, below, above):
    narrow = bounds_of(test, target)
    x, y, low, high, share = test
    wide = bounds_of(np.array([x, y, low * (1 - below), high * (1 + above), share]), target)
    if not narrow[2]:
        assert not wide[2]
        assert wide[0] <= narrow[0] * (1 + 1e-8)
        assert wide[1] >= narrow[1] * (1 - 1e-8)


@settings(max_examples=200, deadline=None)
@given(points(), points(most=1), targets())
def test_another_point_never_widens_the_bounds(test, another, target):
    few = bounds_of(test, target)
    more = bounds_of(np.concatenate([test, another], axis=1), target)
    if few[2]:
        assert more[2]
    elif not more[2]:
        assert more[0] >= few[0] * (1 - 1e-8)
        assert more[1] <= few[1] * (1 + 1e-8)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(points(), targets()), min_size=1, max_size=6))
def test_many_padded_tests_at_once_are_each_as_if_alone(cases):
    padded = np.full((5, len(cases), 4), NAN)
    for row, (test, _) in enumerate(cases):
        padded[:, row, : test.shape[1]] = test
    x, y, low, high, share = padded
    together = drop_bounds(x, y, low, high, *np.array([target for _, target in cases]).T, share)
    for row, (test, target) in enumerate(cases):
        assert tuple(column[row] for column in together) == bounds_of(test, target)


@settings(max_examples=100, deadline=None)
@given(points(), targets(), st.floats(1e-9, 1e9), st.floats(1e-9, 1e9), st.floats(1e-9, 1e9))
def test_units_of_flow_viscosity_and_drop_do_not_matter(test, target, of_x, of_y, of_drop):
    x, y, low, high, share = test
    x_low, x_high, y_low, y_high = target
    plain = bounds_of(test, target)
    scaled = bounds_of(
        np.array([x * of_x, y * of_y, low * of_drop, high * of_drop, share]),
        (x_low * of_x, x_high * of_x, y_low * of_y, y_high * of_y),
    )
    assert scaled[2] == plain[2]
    assert_allclose(scaled[:2], np.array(plain[:2]) * of_drop, rtol=1e-9)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(tenths, tenths), min_size=1, max_size=6), tenths, tenths, targets(), st.floats(0, 0.1))
def test_points_made_from_a_law_always_leave_that_law(where, a, b, target, width):
    x, y = np.array(where).T
    drop = a * x + b * y
    least, greatest, empty = drop_bounds([x], [y], [drop * (1 - width)], [drop * (1 + width)], *target)
    assert not empty[0]
    assert least[0] <= (a * target[0] + b * target[2]) * (1 + 1e-9)
    assert greatest[0] >= (a * target[1] + b * target[3]) * (1 - 1e-9)


def test_chunks_do_not_change_the_answer(monkeypatch):
    rng = np.random.default_rng(7)
    x, y = rng.uniform(0.1, 3, (2, 50, 6))
    drop = x + y
    arguments = (x, y, drop * 0.9, drop * 1.1, 1.0, 1.0, 1.0, 1.0)
    whole = drop_bounds(*arguments)
    monkeypatch.setattr(pressure_drop, "CHUNK_ELEMENTS", 100)
    for part, all_of_it in zip(drop_bounds(*arguments), whole, strict=True):
        assert (part == all_of_it).all()


def test_a_single_point_leaves_everything_from_viscous_to_inertial():
    # 10 kPa at x = 1, y = 1; at x = 2, y = 4 all viscous is 20 kPa and all inertial 40 kPa.
    least, greatest, empty = drop_bounds([[1.0]], [[1.0]], [[10.0]], [[10.0]], 2.0, 2.0, 4.0, 4.0)
    assert (least[0], greatest[0], empty[0]) == (20.0, 40.0, False)


def test_an_assumed_viscous_share_narrows_a_single_point():
    # With at least 0.7 viscous: at most 3 of the 10 kPa grow fourfold, so 7 * 2 + 3 * 4 = 26 kPa.
    least, greatest, _ = drop_bounds([[1.0]], [[1.0]], [[10.0]], [[10.0]], 2.0, 2.0, 4.0, 4.0, [[0.7]])
    assert least[0] == 20.0
    assert greatest[0] == pytest.approx(26.0, rel=1e-12)


def test_two_exact_points_leave_one_law():
    # a = 2, b = 3: 5 at (1, 1), 16 at (2, 4); at (3, 9) it is 33.
    drops = [[5.0, 16.0]]
    least, greatest, empty = drop_bounds([[1.0, 2.0]], [[1.0, 4.0]], drops, drops, 3.0, 3.0, 9.0, 9.0)
    assert not empty[0]
    assert_allclose([least[0], greatest[0]], 33.0, rtol=1e-9)


def test_equal_bands_at_one_place_that_only_touch_are_consistent():
    # 9 to 10 kPa and 10 to 11 kPa at the same conditions leave 10 kPa there, whatever the rounding.
    third = 1 / 3
    least, greatest, empty = drop_bounds(
        [[third, 3 * third]], [[third, 3 * third]], [[9.0 * third, 10.0]], [[10.0 * third, 11.0]], 1.0, 1.0, 1.0, 1.0
    )
    assert not empty[0]
    assert_allclose([least[0], greatest[0]], 10.0, rtol=1e-9)


def test_contradicting_points_leave_nothing_and_give_no_bounds():
    # More flow at the same viscosity cannot have less drop.
    least, greatest, empty = drop_bounds(
        [[1.0, 2.0]], [[1.0, 4.0]], [[10.0, 5.0]], [[10.0, 5.0]], 1.0, 1.0, 1.0, 1.0
    )
    assert (least[0], greatest[0], empty[0]) == (-INF, INF, True)


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        ([NAN], [10.0], (0.0, 40.0, False)),
        ([-INF], [10.0], (0.0, 40.0, False)),
        ([10.0], [NAN], (20.0, INF, False)),
        ([10.0], [INF], (20.0, INF, False)),
        ([NAN], [NAN], (0.0, INF, False)),
        ([0.0], [0.0], (0.0, 0.0, False)),
        ([NAN], [-1.0], (-INF, INF, True)),
        ([11.0], [10.0], (-INF, INF, True)),
    ],
)
def test_one_sided_unbounded_and_impossible_bands(low, high, expected):
    least, greatest, empty = drop_bounds([[1.0]], [[1.0]], [low], [high], 2.0, 2.0, 4.0, 4.0)
    assert (least[0], greatest[0], empty[0]) == expected


def test_a_test_without_points_bounds_nothing_but_zero():
    for shape in ((1, 0), (1, 3)):
        blank = np.full(shape, NAN)
        bounds = drop_bounds(blank, blank, blank, blank, 1.0, 1.0, 1.0, 1.0)
        assert [column[0] for column in bounds] == [0.0, INF, False]
    none = np.empty((0, 3))
    assert [len(column) for column in drop_bounds(none, none, none, none, 1.0, 1.0, 1.0, 1.0)] == [0, 0, 0]


def test_an_unknown_target_makes_only_its_own_test_unknown():
    ones = np.ones((2, 1))
    least, greatest, empty = drop_bounds(ones, ones, ones, ones, [NAN, 1.0], [1.0, 1.0], [1.0, 1.0], [1.0, 1.0])
    assert np.isnan([least[0], greatest[0]]).all()
    assert (least[1], greatest[1]) == (1.0, 1.0)
    assert not empty.any()


@pytest.mark.parametrize("term", [0.0, -1.0, INF])
def test_a_point_at_impossible_conditions_is_refused(term):
    with pytest.raises(ConditionsError) as refusal:
        drop_bounds([[term]], [[1.0]], [[1.0]], [[1.0]], 1.0, 1.0, 1.0, 1.0)
    assert refusal.value.field == "x"
    with pytest.raises(ConditionsError):
        drop_estimate([[1.0]], [[term]], [[1.0]], 1.0, 1.0, "viscous")


@pytest.mark.parametrize(("low", "high"), [(2.0, 1.0), (-1.0, 1.0), (1.0, INF)])
def test_an_impossible_target_is_refused(low, high):
    with pytest.raises(ConditionsError):
        drop_bounds([[1.0]], [[1.0]], [[1.0]], [[1.0]], low, high, 1.0, 1.0)


def test_a_share_beyond_the_whole_is_refused():
    with pytest.raises(ConditionsError, match="share"):
        drop_bounds([[1.0]], [[1.0]], [[1.0]], [[1.0]], 1.0, 1.0, 1.0, 1.0, [[1.1]])


def test_arrays_of_different_shapes_are_refused():
    with pytest.raises(ValueError, match="one shape"):
        drop_bounds([[1.0, 2.0]], [[1.0]], [[1.0]], [[1.0]], 1.0, 1.0, 1.0, 1.0)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(tenths, tenths, tenths), min_size=2, max_size=5),
    st.sampled_from(["viscous", "worse"]),
    targets(),
)
def test_estimate_has_the_least_relative_error_of_all_non_negative_laws(rows, rule, target):
    x, y, drop = np.array(rows).T
    here = drop_estimate([x], [y], [drop], 1.0, 1.0, rule)[0]
    along_x = drop_estimate([x], [y], [drop], 1.0, 0.0, rule)[0]
    along_y = drop_estimate([x], [y], [drop], 0.0, 1.0, rule)[0]
    if np.ptp(x / y) < 1e-9:
        return  # One x : y throughout: the rule decides, not the fit.
    assert here == pytest.approx(along_x + along_y, rel=1e-9)
    assert along_x >= 0
    assert along_y >= 0

    def error(a, b):
        return (((a * x + b * y) / drop - 1) ** 2).sum()

    best = error(along_x, along_y)
    step = 1e-3 * max(along_x, along_y)
    for more_x, more_y in ((step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)):
        a, b = along_x + more_x, along_y + more_y
        if a >= 0 and b >= 0:
            assert error(a, b) >= best - 1e-12
    carried = drop_estimate([x], [y], [drop], target[0], target[2], rule)[0]
    assert carried == pytest.approx(along_x * target[0] + along_y * target[2], rel=1e-9)


def test_estimate_of_exact_points_is_their_law():
    assert drop_estimate([[1.0, 2.0, NAN]], [[1.0, 4.0, NAN]], [[5.0, 16.0, NAN]], 3.0, 9.0, "viscous")[0] == (
        pytest.approx(33.0, rel=1e-9)
    )


def test_single_point_follows_the_rule_of_its_test():
    ones = np.ones((3, 1))
    estimate = drop_estimate(ones, ones, ones * 10, [2.0, 2.0, 4.0], [4.0, 4.0, 2.0], ["viscous", "worse", "worse"])
    assert_allclose(estimate, [20.0, 40.0, 40.0])


def test_points_at_one_place_count_as_a_single_point():
    estimate = drop_estimate([[1.0, 1.0]], [[1.0, 1.0]], [[10.0, 10.0]], 2.0, 4.0, "worse")
    assert_allclose(estimate, [40.0])


def test_falling_drops_are_fitted_by_one_term():
    # Doubling x and quadrupling y doubles the drop at most: only the viscous term fits, and exactly.
    estimate = drop_estimate([[1.0, 2.0]], [[1.0, 4.0]], [[10.0, 20.0]], 3.0, 9.0, "worse")
    assert_allclose(estimate, [30.0])
    slower_still = drop_estimate([[1.0, 2.0]], [[1.0, 4.0]], [[10.0, 15.0]], 1.0, 1.0, "worse")[0]
    assert slower_still == pytest.approx((1 / 10 + 2 / 15) / (1 / 100 + 4 / 225))


def test_estimate_leaves_out_what_has_no_relative_error():
    x, y = [[1.0, 2.0], [1.0, 2.0], [NAN, NAN]], [[1.0, 4.0], [1.0, 4.0], [NAN, NAN]]
    estimate = drop_estimate(x, y, [[10.0, 0.0], [NAN, NAN], [1.0, 1.0]], 1.0, 1.0, "viscous")
    assert estimate[0] == pytest.approx(10.0)
    assert np.isnan(estimate[1:]).all()


def test_an_unknown_rule_is_refused():
    with pytest.raises(ValueError, match="single_point_rule"):
        drop_estimate([[1.0]], [[1.0]], [[1.0]], 1.0, 1.0, "better")
