"""What follows from a duty, held to a plain second implementation of the rules, and the laws that the rules keep."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specdb import ranking
from specdb.duty.question import read_question
from specdb.duty.requirement import CUSTOMARY, NO_ASSUMPTIONS, Assumptions, Requirement
from specdb.duty.resolve import resolve
from specdb.errors import InputError
from tests.properties.test_ranking_against_reference import VERDICTS, assert_agree, rows_by_name, same_number
from tests.reference import slow, slow_duty
from tests.reference.catalogues import (
    ASSUMPTIONS,
    Case,
    cases,
    catalogues,
    random_test,
    rank,
    snapshot_of,
    thorough,
)
from tests.reference.duties import (
    CONTRADICTIONS,
    CORNERS,
    RULES,
    Duty,
    duties,
    in_units,
    plain_duties,
    units,
)

MANY = settings(thorough, max_examples=64)
SOME = settings(thorough, max_examples=24)
FEW = settings(thorough, max_examples=16)
NOTHING_ON_FILE = snapshot_of([])

DERIVED_FROM = (
    "filtration_ratio", "retained_capacity", "clean_pressure_drop", "collapse_pressure", "working_pressure",
    "burst_pressure", "pressure_fatigue_cycles", "bypass_cracking_pressure", "temperature_low", "temperature_high",
    "air_pressure_drop", "air_particle_size",
)  # fmt: skip
"""Characteristics that a rule may require."""


def expected_of(duty: Duty) -> list[Requirement] | None:
    """What the reference makes of a duty, None where it is refused."""
    try:
        found = slow_duty.required(duty)
    except slow_duty.RefusedError:
        return None
    return [Requirement("", origin="derived" if each.rule else "stated", **vars(each)) for each in found]


def found_of(duty: Duty) -> list[Requirement]:
    return list(resolve(read_question({"duty": duty}), NOTHING_ON_FILE, may_be_empty=True).requirements)


def place(required: Requirement) -> tuple[str, str, float]:
    """What is required by which rule: by this two lists are put side by side."""
    return required.rule or "", required.characteristic, required.size_um or 0.0


def unlike(ones: list[Requirement], others: list[Requirement]) -> list[Any]:
    """Requirements that one list has and the other lacks or holds otherwise, whatever they are called."""

    def same(one: Any, other: Any) -> bool:
        return one == other or (isinstance(one, float) and isinstance(other, float) and same_number(one, other))

    here, there = ({place(each): each for each in each_of} for each_of in (ones, others))
    unequal: list[Any] = sorted(here.keys() ^ there.keys())
    for key in here.keys() & there.keys():
        pairs = {name: (value, getattr(there[key], name)) for name, value in vars(here[key]).items()}
        found = {name: pair for name, pair in pairs.items() if name not in ("id", "notes") and not same(*pair)}
        unequal += [(key, found)] if found else []
    return unequal


def is_sound(plain: Duty) -> bool:
    return expected_of(in_units(plain, {})) is not None


SOUND = plain_duties().filter(is_sound)
"""Duties that do not contradict themselves, plainly."""


# --- what is derived ------------------------------------------------------------------------------


@given(duties())
@MANY
def test_the_same_is_derived(duty: Duty) -> None:
    expected = expected_of(duty)
    if expected is None:
        with pytest.raises(InputError):
            found_of(duty)
    else:
        assert not unlike(found_of(duty), expected), duty


@pytest.mark.parametrize("duty", CORNERS)
def test_the_same_is_derived_where_a_rule_turns_a_corner(duty: Duty) -> None:
    assert not unlike(found_of(duty), expected_of(duty) or [])


@pytest.mark.parametrize("duty", CONTRADICTIONS)
def test_a_duty_that_contradicts_itself_is_refused(duty: Duty) -> None:
    assert expected_of(duty) is None
    with pytest.raises(InputError):
        found_of(duty)


# --- how it is judged and put in order ------------------------------------------------------------


def assert_ranked_alike(
    found: ranking.Ranking, elements: list[slow.Element], requirements: list[Requirement], assumptions: Assumptions
) -> None:
    told, order = slow.order(elements, requirements, assumptions)
    rows = rows_by_name(elements)
    columns = {place(each): column for column, each in enumerate(requirements)}
    for judged in found.judged:
        for row, answers in zip(rows, told, strict=True):
            answer = answers[columns[place(judged.requirement)]]
            verdicts = judged.verdict[row], judged.verdict_without_assumptions[row]
            assert [VERDICTS[int(v)] for v in verdicts] == [answer.verdict, answer.verdict_without_assumptions]
            assert judged.lean[row] == answer.lean
            assert same_number(float(judged.margin[row]), answer.margin)
    assert found.candidates.tolist() == [rows[r] for r in order.candidates]
    assert found.without_evidence.tolist() == [rows[r] for r in order.without_evidence]


@given(st.data())
@SOME
def test_whole_duties_are_ranked_alike(data: st.DataObject) -> None:
    keys = data.draw(st.lists(st.sampled_from(DERIVED_FROM), min_size=4, max_size=6, unique=True))
    elements = data.draw(catalogues(tuple(keys), least=2, most=4, tests_at_most=2))
    snapshot = snapshot_of(elements)
    for duty in data.draw(st.lists(duties(), min_size=4, max_size=4)):
        expected = expected_of(duty)
        if expected:
            found = ranking.rank(read_question({"duty": duty}), snapshot)
            assert_ranked_alike(found, elements, expected, CUSTOMARY if "assumptions" in duty else NO_ASSUMPTIONS)


AT_WORK = {"flow_l_min": 100.0, "viscosity_low_mm2_s": 32.0, "viscosity_high_mm2_s": 32.0}
WHEN_COLD = {"flow_l_min": 100.0, "viscosity_low_mm2_s": 60.0, "viscosity_high_mm2_s": 80.0}


def both_tested(number: str) -> st.SearchStrategy[slow.Element]:
    """An element with a test or two of its collapse pressure, and a few of its clean drop."""
    collapse = st.lists(random_test("collapse_pressure"), min_size=1, max_size=2)
    drop = st.lists(random_test("clean_pressure_drop"), min_size=1, max_size=3)
    return st.builds(lambda one, other: slow.Element("A", number, (*one, *other)), collapse, drop)


@given(st.tuples(*map(both_tested, "123")).map(list), ASSUMPTIONS)
@SOME
def test_collapse_over_the_own_drop_is_ranked_alike(elements: list[slow.Element], assumptions: Assumptions) -> None:
    """Where the drop was tested and where it is carried to, beside a drop that is required and is no gate. So many
    times the drop are asked that catalogues have more and less."""
    required = [
        Requirement("", "collapse_over_own_drop", "derived", low=40.0, rule="at work", **AT_WORK),
        Requirement("", "collapse_over_own_drop", "derived", low=10.0, rule="cold", **WHEN_COLD),
        Requirement("", "clean_pressure_drop", "stated", high=25.0, drop_of="element", **AT_WORK),
    ]
    assert_ranked_alike(rank(elements, required, assumptions), elements, required, assumptions)


def test_drop_tests_that_contradict_each_other_leave_collapse_open() -> None:
    """Above one drop and below another: tests are never joined."""

    def test(key: str, qualifier: str, kpa: float) -> slow.Test:
        at = {"flow_l_min": 100.0, "viscosity_mm2_s": 32.0} if key == "clean_pressure_drop" else {}
        return slow.Test((slow.Point(key, qualifier, kpa, 1.0, **at),), drop_of="element" if at else None)

    drops = test("clean_pressure_drop", "at_most", 200.0), test("clean_pressure_drop", "at_least", 300.0)
    element = slow.Element("A", "1", (test("collapse_pressure", "equal", 250.0), *drops))
    required = Requirement("", "collapse_over_own_drop", "derived", low=1.0, **AT_WORK)
    (judged,) = rank([element], [required]).judged
    assert (VERDICTS[int(judged.verdict[0])], judged.lean[0]) == ("not_shown", -1)


def test_neither_a_limit_that_nobody_knows_nor_an_exemption_is_evidence() -> None:
    cartridge = slow.Element("A", "1", words={"kind": "cartridge"})
    tested = slow.Element("A", "2", (slow.Test((slow.Point("collapse_pressure", "equal", 1000.0, 1.0),)),))
    spin_on = slow.Element("A", "3", words={"kind": "spin-on"}, tests=tested.tests)
    elements, duty = [cartridge, tested, spin_on], {"bypass": "none", "location": "return", "working_pressure": "8 bar"}
    found = ranking.rank(read_question({"duty": duty}), snapshot_of(elements))
    assert_ranked_alike(found, elements, expected_of(duty) or [], NO_ASSUMPTIONS)
    assert not len(found.candidates)
    # What is exempt stands before what has not shown it.
    assert found.without_evidence.tolist() == [0, 1, 2]


@given(cases(most=3, tests_at_most=2), st.data())
@SOME
def test_what_only_cautions_is_an_estimate_or_is_not_known_is_judged_alike(case: Case, data: st.DataObject) -> None:
    def marked(required: Requirement) -> Requirement:
        marks = {name: data.draw(st.sampled_from((False, False, True))) for name in ("advisory", "estimated", "open")}
        kinds = data.draw(st.sampled_from(((), (), ("spin-on",), ("spin-on", "breather"))))
        return replace(required, asked_of=kinds, **marks)

    assert_agree(replace(case, requirements=[marked(required) for required in case.requirements]))


# --- laws -----------------------------------------------------------------------------------------


@given(SOUND, units(), units())
@FEW
def test_the_units_of_a_duty_do_not_matter(plain: Duty, one: dict[str, str], other: dict[str, str]) -> None:
    assert not unlike(found_of(in_units(plain, one)), found_of(in_units(plain, other)))


@given(SOUND)
@FEW
def test_a_rule_that_is_off_takes_away_what_it_requires_and_nothing_else(plain: Duty) -> None:
    duty = in_units(plain, {})
    everything = found_of(duty)
    for rule in sorted({each.rule for each in everything if each.rule}):
        rest = [each for each in everything if each.rule != rule]
        assert not unlike(found_of(duty | {"derive": {rule: False}}), rest)
    stated = [each for each in everything if each.origin == "stated"]
    assert not unlike(found_of(duty | {"derive": "none"}), stated)
    assert not unlike(found_of(duty | {"derive": dict.fromkeys(RULES, True)}), everything)


def test_a_rule_that_is_off_refuses_nothing() -> None:
    hopeless = {"flow": "100 L/min", "target_cleanliness": "10/9/8", "ingression": {"at_14": "1e9 /min"}}
    starved = {"flow": "100 L/min", "fluid": {"viscosity": "32 mm2/s"}, "location": "suction"}
    for rule, duty in (
        ("cleanliness", hopeless),
        ("suction_drop", starved | {"pump_inlet_pressure": "102 kPa abs"}),
    ):
        with pytest.raises(InputError):
            found_of(duty)
        assert not [each for each in found_of(duty | {"derive": {rule: False}}) if each.rule == rule]


@given(catalogues(("clean_pressure_drop", "retained_capacity"), least=2, most=4))
@FEW
def test_a_requirement_that_only_cautions_moves_nothing(elements: list[slow.Element]) -> None:
    duty = {
        "flow": "100 L/min",
        "fluid": {"points": "46 mm2/s at 40 degC; 6.8 mm2/s at 100 degC"},
        "operating_temperature": "48.5 degC",
        "cold_start_temperature": "20 degC",
        "bypass": "head",
        "bypass_cracking_pressure": "30 kPa",
        "require": [{"characteristic": "retained_capacity", "at_least": "60 g"}],
    }
    snapshot = snapshot_of(elements)
    with_it, without = (
        ranking.rank(read_question({"duty": each}), snapshot)
        for each in (duty, duty | {"derive": {"cold_start_bypass": False}})
    )
    assert len(with_it.judged) == len(without.judged) + 1
    for name, column in vars(with_it.standing).items():
        np.testing.assert_array_equal(column, getattr(without.standing, name), err_msg=name)


OIL: Duty = {"grade": "ISO VG 46", "viscosity_index": 100}
WHOLE: Duty = {
    "flow": "100 L/min",
    "fluid": OIL,
    "operating_temperature": "50 degC",
    "cold_start_temperature": "0 degC",
    "bypass": "element",
    "bypass_cracking_pressure": "170 kPa",
    "working_pressure": "800 kPa",
    "pressure_cycles": 1e5,
    "target_cleanliness": "19/17/14",
    "ingression": {"at_14": "4e6 /min", "mass": "0.05 g/h"},
    "service_interval": "1000 h",
    "capacity_used": "80 %",
}
WITHOUT_FLOW = {name: value for name, value in WHOLE.items() if name != "flow"}
PRESSURE_LINE: Duty = WHOLE | {"bypass": "none", "location": "pressure"}
SUCTION: Duty = WHOLE | {"location": "suction", "pump_inlet_pressure": "80 kPa abs"}
BREATHER: Duty = {"location": "breather", "air_flow": "300 L/min", "air_pressure_drop": "3 kPa"}

RISES, FALLS = 1, -1
LADDERS: tuple[tuple[Duty, str, tuple[Any, ...], str, str, int], ...] = (
    # A duty; a field and what it is set to, upwards; a rule, and how what it requires follows.
    (WHOLE, "bypass_cracking_pressure", ("1 bar", "170 kPa", "30 psi"), "bypass_cracking", "low", RISES),
    (WHOLE, "bypass_cracking_pressure", ("1 bar", "170 kPa", "30 psi"), "bypass_cracking", "high", RISES),
    (WHOLE, "bypass_cracking_pressure", ("1 bar", "170 kPa", "30 psi"), "clean_drop_below_bypass", "high", RISES),
    (WHOLE, "bypass_cracking_pressure", ("1 bar", "170 kPa", "30 psi"), "cold_start_bypass", "high", RISES),
    (WHOLE, "bypass_cracking_pressure", ("1 bar", "170 kPa", "30 psi"), "collapse", "low", RISES),
    (WHOLE, "bypass_full_flow_drop", ("170 kPa", "254 kPa", "256 kPa", "3 bar"), "collapse", "low", RISES),
    (PRESSURE_LINE, "working_pressure", ("800 kPa", "1 MPa", "20 MPa"), "collapse", "low", RISES),
    (PRESSURE_LINE, "relief_pressure", ("700 kPa", "1 MPa", "250 bar"), "collapse", "low", RISES),
    (PRESSURE_LINE, "maximum_pressure_drop", ("5 bar", "1 MPa"), "collapse", "low", RISES),
    (WHOLE, "working_pressure", ("100 psi", "800 kPa", "10 bar"), "envelope", "low", RISES),
    (WHOLE, "working_pressure", ("100 psi", "800 kPa", "10 bar"), "burst", "low", RISES),
    (WHOLE, "working_pressure", ("100 psi", "800 kPa", "10 bar"), "pressure_fatigue", "cycle_pressure_kpa", RISES),
    (WHOLE, "pressure_cycles", (1, 1e4, 1e6), "pressure_fatigue", "low", RISES),
    (WHOLE, "operating_temperature", ("0 degC", "100 degF", "80 degC"), "temperature_range", "low", RISES),
    # Warm oil is thin: the same clean drop is the easier to keep.
    (
        WHOLE, "operating_temperature", ("0 degC", "100 degF", "80 degC"), "clean_drop_below_bypass",
        "viscosity_high_mm2_s", FALLS,
    ),
    (WHOLE, "cold_start_temperature", ("-10 degC", "0 degC", "68 degF"), "temperature_range", "high", RISES),
    (
        PRESSURE_LINE, "cold_start_temperature", ("-10 degC", "0 degC", "68 degF"), "collapse_over_own_drop",
        "viscosity_high_mm2_s", FALLS,
    ),
    # More flow raises what the clean drop is measured at, never its limit; it turns the fluid over more often.
    (WHOLE, "flow", ("50 L/min", "100 L/min", "50 gpm"), "clean_drop_below_bypass", "flow_l_min", RISES),
    (WHOLE, "flow", ("50 L/min", "100 L/min", "50 gpm"), "cleanliness", "low", FALLS),
    (WITHOUT_FLOW, "pump_flow", ("50 L/min", "100 L/min"), "cold_start_bypass", "flow_l_min", RISES),
    (WITHOUT_FLOW | {"pump_flow": "50 L/min"}, "area_ratio", (1, 1.5, 2), "service_life", "flow_l_min", RISES),
    (
        WITHOUT_FLOW | {"reservoir_volume": "600 L"}, "turnovers_per_hour", (5, 6, 10), "clean_drop_below_bypass",
        "flow_l_min", RISES,
    ),
    (SUCTION, "pump_inlet_pressure", ("70 kPa abs", "-25 kPa", "0.8 bar abs"), "suction_drop", "high", FALLS),
    (BREATHER, "air_flow", ("200 L/min", "300 L/min"), "breather_air", "flow_l_min", RISES),
    (BREATHER, "air_pressure_drop", ("1 kPa", "30 mbar", "1 psi"), "breather_air", "high", RISES),
    (WHOLE, "ingression.at_14", ("1e3 /min", "1e5 /min", "4e6 /min", "1e5 /s"), "cleanliness", "low", RISES),
    (WHOLE, "target_cleanliness", ("21/20/13", "21/20/14", "21/20/20"), "cleanliness", "low", FALLS),
    (WHOLE, "service_interval", ("500 h", "1000 h", "60 d"), "service_life", "low", RISES),
    (WHOLE, "ingression.mass", ("1 mg/h", "0.05 g/h"), "service_life", "low", RISES),
    (WHOLE, "capacity_used", ("50 %", "80 %", "100 %"), "service_life", "low", FALLS),
    (WHOLE, "fluid.viscosity", ("20 cSt", "32 mm2/s"), "clean_drop_below_bypass", "viscosity_low_mm2_s", RISES),
    (WHOLE, "derive.collapse", (1, 1.5, 3), "collapse", "low", RISES),
    (WHOLE, "derive.burst", (1, 2, 4), "burst", "low", RISES),
    (WHOLE, "derive.clean_drop_below_bypass", ("20 %", "100 %"), "clean_drop_below_bypass", "high", RISES),
    (SUCTION, "derive.suction_drop", ("90 kPa abs", "101.325 kPa abs"), "suction_drop", "high", RISES),
)  # fmt: skip


@pytest.mark.parametrize(("duty", "field", "values", "rule", "what", "way"), LADDERS)
def test_what_is_required_follows_what_is_stated(
    duty: Duty, field: str, values: tuple[Any, ...], rule: str, what: str, way: int
) -> None:
    """Strictly: a limit that stood still would be deaf to the field."""
    steps = []
    for value in values:
        outer, _, inner = field.partition(".")
        asked = duty | {outer: duty.get(outer, {}) | {inner: value} if inner else value}
        of_rule = [getattr(each, what) for each in found_of(asked) if each.rule == rule]
        steps.append([limit for limit in of_rule if math.isfinite(limit)])
    assert all(len(step) == 1 for step in steps)
    signed = [way * step[0] for step in steps]
    assert all(one < other for one, other in pairwise(signed)), signed


def test_more_flow_leaves_the_limits_of_a_drop_alone() -> None:
    """Whatever the flow, the clean drop may take as much: more flow never eases it."""
    limits = [
        {each.rule: each.high for each in found_of(WHOLE | {"flow": flow}) if each.characteristic.startswith("clean")}
        for flow in ("50 L/min", "100 L/min", "500 L/min")
    ]
    assert limits == [{"clean_drop_below_bypass": 170.0, "cold_start_bypass": 170.0}] * 3
