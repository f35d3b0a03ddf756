"""What each rule makes of a duty, where it is off, and what cannot be had."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from specdb.catalog.snapshot import Snapshot
from specdb.duty import Requirement
from specdb.duty.derived import WORKINGS
from specdb.duty.question import DeriveAsked, read_question
from specdb.duty.resolve import Duty, resolve
from specdb.duty.rules import RULES
from specdb.errors import ConditionsError, InputError
from specdb.ranking import rank
from specdb.trade.viscosity import viscosity_band_at

BETA = {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}
OIL = {"grade": "ISO VG 46", "viscosity_index": 100}
WARM_AND_COLD = {"fluid": OIL, "operating_temperature": "50 degC", "cold_start_temperature": "0 degC"}
VALVE = {"bypass": "element", "bypass_cracking_pressure": "170 kPa"}
AT_WORK = {"flow": "75 L/min", **WARM_AND_COLD}
DIRT = {"at_4": "1e8 /min", "at_6": "4e7 /min", "at_14": "4e6 /min"}

WHOLE: dict[str, Any] = {
    **AT_WORK,
    **VALVE,
    "fluid": OIL | {"class": "HFC", "density": "1080 kg/m3", "density_temperature": "15 degC"},
    "location": "return",
    "working_pressure": "800 kPa",
    "pressure_cycles": 1e5,
    "target_cleanliness": "19/17/14",
    "ingression": DIRT | {"mass": "0.05 g/h"},
    "service_interval": "1000 h",
}
SUCTION = {**AT_WORK, "location": "suction", "pump_inlet_pressure": "80 kPa abs"}
BREATHER = {"location": "breather", "air_flow": "300 L/min", "air_pressure_drop": "3 kPa"}


def _duty(snapshot: Snapshot, **duty: Any) -> Duty:
    return resolve(read_question({"duty": duty}), snapshot)


def _derived(snapshot: Snapshot, rule: str, **duty: Any) -> tuple[Requirement, ...]:
    """What one rule requires, beside a requirement that is stated, so that it may require nothing."""
    found = _duty(snapshot, require=[BETA], **duty).requirements
    return tuple(requirement for requirement in found if requirement.rule == rule)


def test_rules_switches_and_workings_are_the_same_list() -> None:
    assert list(RULES) == list(WORKINGS) == list(DeriveAsked.model_fields)


def _limits(requirement: Requirement) -> tuple[float | None, float | None, str | None]:
    low, high = requirement.low, requirement.high
    return low if np.isfinite(low) else None, high if np.isfinite(high) else None, requirement.word


@pytest.mark.parametrize(
    ("rule", "duty", "expected"),
    [
        ("bypass_valve", {"bypass": "element"}, (None, None, "yes")),
        ("bypass_valve", {"bypass": "both"}, (None, None, "yes")),
        ("bypass_valve", {"bypass": "head"}, (None, None, "no")),
        ("bypass_valve", {"bypass": "none"}, (None, None, "no")),
        ("bypass_cracking", VALVE, (153.0, 187.0, None)),
        ("bypass_cracking", VALVE | {"derive": {"bypass_cracking": "20 %"}}, (136.0, 204.0, None)),
        ("clean_drop_below_bypass", AT_WORK | VALVE, (None, 170.0, None)),
        (
            "clean_drop_below_bypass",
            AT_WORK | VALVE | {"derive": {"clean_drop_below_bypass": "40 %"}},
            (None, 68.0, None),
        ),
        ("cold_start_bypass", AT_WORK | VALVE, (None, 170.0, None)),
        ("collapse", VALVE, (255.0, None, None)),
        ("collapse", VALVE | {"bypass": "head", "derive": {"collapse": 2}}, (340.0, None, None)),
        ("collapse", VALVE | {"bypass_full_flow_drop": "300 kPa"}, (300.0, None, None)),
        ("collapse", {"bypass": "none", "location": "suction"}, (100.0, None, None)),
        ("collapse", {"bypass": "none", "location": "pressure", "working_pressure": "20 MPa"}, (20000.0, None, None)),
        (
            "collapse",
            {"bypass": "none", "location": "pressure", "working_pressure": "20 MPa", "relief_pressure": "25 MPa"},
            (25000.0, None, None),
        ),
        ("collapse", {"bypass": "none", "location": "return", "maximum_pressure_drop": "5 bar"}, (500.0, None, None)),
        (
            "collapse",
            {"bypass": "none", "location": "pressure", "relief_pressure": "1 MPa", "working_pressure": "28 MPa"},
            (28000.0, None, None),
        ),
        (
            "collapse",
            {"bypass": "none", "location": "pressure", "maximum_pressure_drop": "1 bar", "relief_pressure": "30 MPa"},
            (30000.0, None, None),
        ),
        ("collapse", {"bypass": "none", "location": "suction", "maximum_pressure_drop": "10 kPa"}, (100.0, None, None)),
        ("collapse_over_own_drop", AT_WORK | {"bypass": "none", "location": "off-line"}, (1.0, None, None)),
        ("envelope", {"working_pressure": "800 kPa"}, (800.0, None, None)),
        ("burst", {"working_pressure": "800 kPa"}, (1600.0, None, None)),
        ("burst", {"working_pressure": "800 kPa", "derive": {"burst": 2.5}}, (2000.0, None, None)),
        ("pressure_fatigue", {"working_pressure": "800 kPa", "pressure_cycles": 1e5}, (1e5, None, None)),
        ("seal_and_fluid", {"fluid": {"class": "HEES"}}, (None, None, "HEES")),
        ("media_and_fluid", {"fluid": {"class": "HEES"}}, (None, None, "HEES")),
        ("zinc_and_water", {"fluid": {"class": "HFC"}}, (None, None, "no")),
        ("suction_drop", SUCTION, (None, 21.325, None)),
        ("suction_drop", SUCTION | {"derive": {"suction_drop": "90 kPa abs"}}, (None, 10.0, None)),
        ("suction_drop", SUCTION | {"pump_inlet_pressure": "-20 kPa"}, (None, 20.0, None)),
        ("breather_kind", {"location": "breather"}, (None, None, "breather")),
        ("breather_particles", {"location": "breather"}, (None, 3.0, None)),
        ("breather_particles", {"location": "breather", "derive": {"breather_particles": "10 um"}}, (None, 10.0, None)),
        ("service_life", {"service_interval": "1000 h", "ingression": {"mass": "50 mg/h"}}, (50.0, None, None)),
        (
            "service_life",
            {"service_interval": "1000 h", "ingression": {"mass": "0.05 g/h"}, "capacity_used": "80 %"},
            (62.5, None, None),
        ),
    ],
)
def test_a_rule_requires(
    demo: Snapshot, rule: str, duty: dict[str, Any], expected: tuple[float | None, float | None, str | None]
) -> None:
    stated = [] if duty.get("location") == "breather" else [BETA]
    required = [r for r in _duty(demo, require=stated, **duty).requirements if r.rule == rule]
    assert len(required) == 1
    assert required[0].origin == "derived"
    assert _limits(required[0]) == pytest.approx(expected)


def test_the_conditions_of_a_drop_are_those_of_work_and_of_the_coldest_start(demo: Snapshot) -> None:
    (warm,) = _derived(demo, "clean_drop_below_bypass", **AT_WORK, **VALVE)
    (cold,) = _derived(demo, "cold_start_bypass", **AT_WORK, **VALVE)
    for required, temperature_degc in ((warm, 50.0), (cold, 0.0)):
        low, _, high = viscosity_band_at(temperature_degc, 46, 100.0)
        assert (required.viscosity_low_mm2_s, required.viscosity_high_mm2_s) == pytest.approx((low, high))
        assert (required.flow_l_min, required.drop_of) == (75.0, "element")
    assert (warm.advisory, cold.advisory) == (False, True)


def test_without_a_cold_start_the_drop_at_work_counts(demo: Snapshot) -> None:
    duty = AT_WORK | {"bypass": "none", "location": "off-line"}
    (cold,) = _derived(demo, "collapse_over_own_drop", **duty)
    del duty["cold_start_temperature"]
    (warm,) = _derived(demo, "collapse_over_own_drop", **duty)
    assert (warm.viscosity_high_mm2_s or np.inf) < (cold.viscosity_high_mm2_s or 0.0)


def test_a_cold_start_that_cannot_be_told_takes_nothing_away_and_is_said(demo: Snapshot) -> None:
    measured = {"flow": "75 L/min", "fluid": {"viscosity": "100 mm2/s"}}
    for rule, place in (
        ("collapse_over_own_drop", {"bypass": "none", "location": "off-line"}),
        ("suction_drop", {"location": "suction", "pump_inlet_pressure": "-20 kPa"}),
    ):
        (warm,) = _derived(demo, rule, **measured, **place)
        known, unknown = _derived(demo, rule, **measured, **place, cold_start_temperature="-10 degC")
        assert (replace(known, id=warm.id), unknown.open) == (warm, True)
    duty = _duty(demo, require=[BETA], **measured, cold_start_temperature="-10 degC")
    assert "NOT LOOKED AT" in str(duty.advice[0])


def test_a_figure_that_no_rule_reads_is_told_with_the_fields_that_none_reads(demo: Snapshot) -> None:
    line = {"bypass": "none", "location": "pressure", "relief_pressure": "20 MPa", "derive": {"collapse": 2}}
    assert _duty(demo, require=[BETA], **line).unused == ("duty.derive.collapse",)
    assert not _duty(demo, require=[BETA], **VALVE, derive={"collapse": 2}).unused


def test_a_density_is_carried_from_its_own_temperature(demo: Snapshot) -> None:
    oil = OIL | {"density": "880 kg/m3", "density_temperature": "15 degC", "class": "HM"}
    (warm,) = _derived(demo, "clean_drop_below_bypass", **AT_WORK | VALVE | {"fluid": oil})
    (cold,) = _derived(demo, "cold_start_bypass", **AT_WORK | VALVE | {"fluid": oil})
    # 0.62 to 0.70 kg/m³ for each degree: 35 degrees above 15 °C, and 15 below.
    assert _densities(warm) == pytest.approx((880 - 35 * 0.70, 880 - 35 * 0.62))
    assert _densities(cold) == pytest.approx((880 + 15 * 0.62, 880 + 15 * 0.70))
    where_it_holds = OIL | {"density": "880 kg/m3"}
    (warm,) = _derived(demo, "clean_drop_below_bypass", **AT_WORK | VALVE | {"fluid": where_it_holds})
    assert _densities(warm) == (880.0, 880.0)


def _densities(required: Requirement) -> tuple[float | None, float | None]:
    return required.density_low_kg_m3, required.density_high_kg_m3


@pytest.mark.parametrize(
    ("fluid", "operating", "expected"),
    [
        ({}, None, (None, None)),
        ({"class": "HM"}, None, (None, None)),
        ({"class": "HFDR"}, None, (1090.0, 1190.0)),
        # 0.55 to 0.9 kg/m³ for each of 35 degrees.
        ({"class": "HFDR"}, "50 degC", (1090 - 35 * 0.9, 1190 - 35 * 0.55)),
        ({"class": "HS"}, None, (820.0, 1110.0)),
        ({"class": "HFC", "density": "1080 kg/m3"}, None, (1080.0, 1080.0)),
        # 0.45 to 0.9 kg/m³ for each of 30 degrees.
        (
            {"class": "HFC", "density": "1080 kg/m3", "density_temperature": "20 degC"},
            "50 degC",
            (1080 - 30 * 0.9, 1080 - 30 * 0.45),
        ),
    ],
)
def test_a_density_is_asked_of_what_is_stated_or_common_in_a_class_that_is_no_mineral_oil(
    demo: Snapshot, fluid: dict[str, str], operating: str | None, expected: tuple[float | None, float | None]
) -> None:
    duty = VALVE | {"flow": "75 L/min", "fluid": {"viscosity": "32 mm2/s", **fluid}, "operating_temperature": operating}
    (derived,) = _derived(demo, "clean_drop_below_bypass", **duty)
    drop = {"characteristic": "clean_pressure_drop", "at_most": "25 kPa"}
    stated, *_ = _duty(demo, require=[drop], **duty).requirements
    assert _densities(derived) == _densities(stated) == pytest.approx(expected)
    told = [str(note) for note in _duty(demo, require=[BETA], **duty).notes if "No density is stated" in str(note)]
    assert bool(told) == ("density" not in fluid and expected != (None, None))
    assert not told or f"{fluid['class']} is taken to weigh" in told[0]


def test_saying_less_of_a_heavy_fluid_never_proves_more(demo: Snapshot) -> None:
    """What is open with its density stated is open without."""

    def meets(**fluid: str) -> set[int]:
        valve = VALVE | {"bypass_cracking_pressure": "25 kPa"}
        duty = valve | {"flow": "75 L/min", "fluid": {"viscosity": "32 mm2/s"} | fluid}
        judged = rank(read_question({"duty": duty}), demo).judged
        (drop,) = (each for each in judged if each.requirement.rule == "clean_drop_below_bypass")
        return set(np.flatnonzero(drop.verdict == 1).tolist())

    light = meets()
    assert light
    ranges = {"HFDR": ("1090", "1140", "1190"), "HFC": ("1030", "1110"), "HS": ("820", "1110")}
    for fluid_class, densities in ranges.items():
        unstated = meets(**{"class": fluid_class})
        assert unstated
        for density in densities:
            assert unstated <= meets(**{"class": fluid_class, "density": f"{density} kg/m3"})
    assert not light & meets(**{"class": "HFDR"}) & _rows_without_density(demo)


def _rows_without_density(demo: Snapshot) -> set[int]:
    points = demo.of("clean_pressure_drop")
    return set(points.element.tolist()) - set(points.element[np.isfinite(points.density_kg_m3)].tolist())


@pytest.mark.parametrize(
    ("duty", "told"),
    [
        ({"fluid": {"density": "5000 kg/m3"}}, "No hydraulic fluid"),
        ({"fluid": {"density": "870 kg/m3"}, "cold_start_temperature": "0 degC"}, "carried to the coldest start"),
    ],
)
def test_a_density_that_cannot_be_is_refused_whatever_else_is_stated(
    demo: Snapshot, duty: dict[str, Any], told: str
) -> None:
    with pytest.raises(InputError, match=told) as refusal:
        _duty(demo, require=[BETA], **duty)
    assert refusal.value.field == "duty.fluid.density"


def test_a_dynamic_viscosity_is_read_with_all_that_the_fluid_may_weigh_at_work(demo: Snapshot) -> None:
    fluid = {"viscosity": "32 cP", "density": "1080 kg/m3", "density_temperature": "20 degC", "class": "HFC"}
    duty = VALVE | {"flow": "75 L/min", "fluid": fluid, "operating_temperature": "50 degC"}
    (drop,) = _derived(demo, "clean_drop_below_bypass", **duty)
    light, heavy = _densities(drop)
    assert light is not None
    assert heavy is not None
    viscosities = drop.viscosity_low_mm2_s, drop.viscosity_high_mm2_s
    assert viscosities == pytest.approx((32_000 / heavy, 32_000 / light))


def test_what_nothing_bounds_is_required_all_the_same_and_never_shown(demo: Snapshot) -> None:
    duty = {"bypass": "none", "location": "return"}
    (required,) = _derived(demo, "collapse", **duty)
    assert required.open
    judged = rank(read_question({"duty": {**duty, "require": [BETA]}}), demo).judged
    (collapse,) = (each for each in judged if each.requirement.rule == "collapse")
    assert set(collapse.verdict) == {0}


def test_the_balance_asks_for_the_ratio_at_each_size(demo: Snapshot) -> None:
    duty = {"flow": "100 L/min", "target_cleanliness": "-/-/15", "ingression": {"at_14": "1e7 /min"}}
    (required,) = _derived(demo, "cleanliness", **duty)
    # 320 particles per mL at most (ISO 4406, table 1), 1e7 / 100 L = 100 per mL come in: β = 320 / (320 - 100).
    assert (required.low, required.size_um, required.scale) == (pytest.approx(320 / 220), 14.0, "c")
    assert required.estimated
    (behind,) = _derived(demo, "cleanliness", **duty, derive={"cleanliness": "downstream"})
    assert behind.low == pytest.approx(1 + 100 / 320)


def test_an_environment_says_something_of_14_um_alone(demo: Snapshot) -> None:
    duty = {"flow": "1000 L/min", "target_cleanliness": "22/21/20", "ingression": {"environment": "manufacturing"}}
    found = _derived(demo, "cleanliness", **duty)
    assert [required.size_um for required in found] == [14.0]


def _told(demo: Snapshot, **duty: Any) -> tuple[str, str]:
    """State and words of the rule on cleanliness."""
    (found,) = (each for each in _duty(demo, require=[BETA], **duty).derivations if each.rule == "cleanliness")
    return found.state, str(found.words)


@pytest.mark.parametrize(
    ("target", "ingression", "state", "words"),
    [
        # 1e10 over 80 particles per mL take 125000 L/min; 80 per mL at 75 L/min are 6e6 a minute.
        (
            "18/16/13",
            {"environment": "mobile"},
            "lacks",
            "At 14 µm(c) no ratio holds 80 particles per mL at 75 L/min while 1e10 a minute get in, the most that the "
            "environment (mobile) may bring, from memory and unsourced. Fewer may get in, so that nothing is asked "
            "there; more than 125000 L/min would do, or fewer than 6e6 a minute, stated as ingression.at_14. Asks "
            "nothing while ingression.at_4 or ingression.at_6 is not stated.",
        ),
        (
            "-/-/8",
            {"environment": "mobile", "at_4": "1e6 /min"},
            "lacks",
            "The target asks nothing at 4 µm(c). At 14 µm(c) no ratio holds 2.5 particles per mL at 75 L/min while 1e6 "
            "a minute get in at most, the figure stated of 4 µm(c) and larger (ingression.at_4), since the environment "
            "(mobile) may bring as many or more. Fewer may get in, so that nothing is asked there; more than 400 L/min "
            "would do, or fewer than 187500 a minute, stated as ingression.at_14.",
        ),
        *(
            (
                f"{no_limit}/16/13",
                {"at_4": "1e5 /min"},
                "lacks",
                "The target asks nothing at 4 µm(c). Asks nothing while ingression.at_6 or ingression.at_14 is not "
                "stated.",
            )
            for no_limit in (">28", "*", "-", "≥18")
        ),
        (
            "*/-/-",
            {"at_4": "1e5 /min"},
            "applied",
            "The target sets no limit at any size, so that nothing is asked.",
        ),
        (
            "18/16/13",
            {"at_4": "0 /min", "environment": "mobile"},
            "applied",
            "Nothing gets in at 4 and 14 µm(c), so that no ratio is asked. Of 6 µm(c) no ingression is stated, and "
            "nothing is asked.",
        ),
    ],
)
def test_why_a_target_asks_nothing(
    demo: Snapshot, target: str, ingression: dict[str, str], state: str, words: str
) -> None:
    duty = {"flow": "75 L/min", "target_cleanliness": target, "ingression": ingression}
    assert not _derived(demo, "cleanliness", **duty)
    assert _told(demo, **duty) == (state, words)


def test_where_nothing_gets_in_at_one_size_the_others_are_asked(demo: Snapshot) -> None:
    duty = {"flow": "75 L/min", "target_cleanliness": "18/16/13", "ingression": {"at_4": "1e6 /min", "at_14": "0 /min"}}
    for side in ("upstream", "downstream"):
        found = _derived(demo, "cleanliness", **duty, derive={"cleanliness": side})
        assert [required.size_um for required in found] == [4.0]
    assert "Nothing gets in at 14 µm(c)" in _told(demo, **duty)[1]


def test_whose_figure_bounds_what_gets_in(demo: Snapshot) -> None:
    duty = {"flow": "75 L/min", "target_cleanliness": "-/-/13"}
    (own,) = _derived(demo, "cleanliness", **duty, ingression={"environment": "mobile", "at_4": "1e5 /min"})
    assert "100000 a minute get in at most, the figure stated of 4 µm(c) and larger" in str(own.notes[0])
    assert "memory" not in str(own.notes[0])
    (brought,) = _derived(
        demo, "cleanliness", **duty | {"flow": "200 L/min"}, ingression={"environment": "assembly", "at_4": "1e9 /min"}
    )
    assert "1e7 a minute get in, the most that the environment (assembly) may bring" in str(brought.notes[0])


def test_a_target_that_cannot_be_held_is_refused_with_every_size(demo: Snapshot) -> None:
    typed = "ISO 4406 18 / 16/13"
    entering = {"at_4": "1e9 /min", "at_6": "1e7 /min", "at_14": "1e7 /min"}
    with pytest.raises(ConditionsError) as refusal:
        _duty(demo, flow="75 L/min", target_cleanliness=typed, ingression=entering)
    assert refusal.value.value == typed
    # Worked out by hand: 1e9 over 75 L/min are 13333 per mL, of 2500 allowed; 1e7 are 133.3, of 640 and of 80 allowed.
    assert refusal.value.message == (
        "No filtration ratio holds this target upstream: a perfect filter leaves what comes in. At 4 µm(c) it asks for "
        "at most 2500 particles per mL, and 1e9 a minute get in, 13333 per mL: it takes more than 400 L/min, or fewer "
        "than 1.875e8 a minute. At 14 µm(c) it asks for at most 80 particles per mL, and 1e7 a minute get in, 133.3 "
        "per mL: it takes more than 125 L/min, or fewer than 6e6 a minute."
    )
    assert "more than 400 L/min" in str(refusal.value.remedy)
    held = {"at_4": "1.87e8 /min", "at_6": "1e7 /min", "at_14": "5.9e6 /min"}
    assert len(_derived(demo, "cleanliness", flow="75 L/min", target_cleanliness=typed, ingression=held)) == 3
    assert len(_derived(demo, "cleanliness", flow="401 L/min", target_cleanliness=typed, ingression=entering)) == 3


def test_verdicts_on_an_estimate_are_no_proof_but_lean(demo: Snapshot) -> None:
    question = {"duty": {"service_interval": "1 h", "ingression": {"mass": "0.05 g/h"}}}
    (judged,) = rank(read_question(question), demo).judged
    assert set(judged.verdict) == {0}
    assert {-1, 1} & set(judged.lean)
    capacity = {"characteristic": "retained_capacity", "at_least": "0.05 g"}
    stated = rank(read_question({"duty": {"require": [capacity]}}), demo)
    assert (judged.lean[stated.judged[0].verdict == 1] == 1).all()


def test_a_can_is_asked_of_what_has_one(demo: Snapshot) -> None:
    (judged, *_) = rank(read_question({"duty": {"working_pressure": "800 kPa"}}), demo).judged
    kind = demo.elements.words["kind"]
    cartridges = kind.equals("cartridge")
    assert (judged.verdict[cartridges] == 1).all()
    assert np.isnan(judged.margin[cartridges]).all()
    assert {-1, 0, 1} >= set(judged.verdict[kind.equals("spin-on")]) != {1}


def test_with_every_rule_off_the_duty_asks_what_is_stated_alone(demo: Snapshot) -> None:
    for duty in (WHOLE, SUCTION, BREATHER):
        liquid = [] if duty is BREATHER else [BETA]
        stated = {"require": [*liquid, {"characteristic": "water_capacity", "at_least": "1 g"}]}
        all_on = _duty(demo, **duty, **stated)
        assert any(requirement.rule for requirement in all_on.requirements)
        off = _duty(demo, **duty, **stated, derive="none")
        plain = {name: duty[name] for name in ("flow", "fluid", "operating_temperature") if name in duty}
        own = _duty(demo, **plain, **stated, derive="none")
        assert [replace(r, terminal_pressure_drop_kpa=None) for r in off.requirements] == list(own.requirements)
        assert {each.state for each in off.derivations} == {"switched off"}


def test_each_rule_is_switched_off_by_itself(demo: Snapshot) -> None:
    for duty in (WHOLE, SUCTION | {"bypass": "none"}, BREATHER):
        on = {r.rule for r in _duty(demo, **duty).requirements if r.rule}
        for rule in on:
            off = _duty(demo, **duty, derive={rule: False})
            assert {r.rule for r in off.requirements if r.rule} == on - {rule}


def test_what_a_rule_lacks_is_told(demo: Snapshot) -> None:
    duty = _duty(demo, require=[BETA], bypass="head", target_cleanliness="18/16/13", flow="75 L/min")
    told = {each.rule: str(each.words) for each in duty.derivations if each.state == "lacks"}
    assert "bypass_cracking_pressure" in told["collapse"]
    assert "fluid.viscosity" in told["clean_drop_below_bypass"]
    assert "ingression.at_4" in told["cleanliness"]


def test_a_return_flow_is_multiplied_once_and_shown(demo: Snapshot) -> None:
    duty = _duty(demo, require=[BETA], location="return", pump_flow="60 L/min", area_ratio=1.5)
    assert duty.circumstances.flow_l_min == pytest.approx(90.0)
    assert duty.requirements[0].flow_l_min == pytest.approx(90.0)
    assert "60 L/min times the area ratio 1.5 is 90 L/min" in str(duty.derivations[0].words)


def test_an_off_line_flow_is_the_reservoirs_turnover(demo: Snapshot) -> None:
    duty = _duty(demo, require=[BETA], location="off-line", reservoir_volume="400 L", turnovers_per_hour=3)
    assert duty.circumstances.flow_l_min == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("duty", "field", "told"),
    [
        (AT_WORK | {"cold_start_temperature": "60 degC"}, "cold_start_temperature", "this one is warmer"),
        (
            {"flow": "75 L/min", "target_cleanliness": "10/9/8", "ingression": DIRT},
            "target_cleanliness",
            "No filtration ratio holds this target",
        ),
        ({"fluid": OIL | {"grade": "VG 32/46"}}, "fluid.grade", "several grades"),
        ({"fluid": OIL | {"points": "46 cSt at 40 degC; 6.8 cSt at 100 degC"}}, "fluid.points", "stated twice"),
        ({"fluid": {"points": "46 cSt at 40 degC"}}, "fluid.points", "Two points"),
        ({"fluid": {"points": "6.8 cSt at 40 degC; 46 cSt at 100 degC"}}, "fluid.points", "falls as its temperature"),
        (AT_WORK | {"cold_start_temperature": "-65 degC"}, "cold_start_temperature", "does not cover"),
        ({"area_ratio": 1.5}, "area_ratio", "the flow of the pump, which is not stated"),
        ({"pump_flow": "60 L/min", "flow": "60 L/min"}, "pump_flow", "stated already"),
        ({"pump_flow": "9 L/min", "area_ratio": 1.5, "location": "pressure"}, "area_ratio", "belongs to a return line"),
        ({"turnovers_per_hour": 3}, "turnovers_per_hour", "volume is not stated"),
        ({"target_cleanliness": "18/16"}, "target_cleanliness", "4, 6 and 14"),
        ({"target_cleanliness": "16/18/13"}, "target_cleanliness", "rise"),
        ({"ingression": {"at_4": "1e6 /min", "at_6": "2e6 /min"}}, "ingression.at_6", "larger size"),
        ({"ingression": {"at_14": "1 /min", "environment": "mobile"}}, "ingression.environment", "stated already"),
        ({"pump_inlet_pressure": "80 kPa"}, "pump_inlet_pressure", "over a vacuum or over the air"),
        (SUCTION | {"pump_inlet_pressure": "120 kPa abs"}, "pump_inlet_pressure", "Nothing is left"),
        ({"bypass": "none", "bypass_full_flow_drop": "200 kPa"}, "bypass_full_flow_drop", "no bypass"),
        (VALVE | {"bypass_full_flow_drop": "100 kPa"}, "bypass_full_flow_drop", "below its cracking pressure"),
        (VALVE | {"derive": {"collapse": 0.5}}, "derive.collapse", "State 1 or more"),
        (VALVE | {"derive": {"burst": 0.5}}, "derive.burst", "State 1 or more"),
        (VALVE | {"derive": {"clean_drop_below_bypass": "300 %"}}, "derive.clean_drop_below_bypass", "at most 100 %"),
        (SUCTION | {"derive": {"suction_drop": "90 kPa"}}, "derive.suction_drop", "absolute pressure is meant"),
        (
            AT_WORK | {"fluid": OIL | {"viscosity": "5000 mm2/s"}},
            "fluid.viscosity",
            "thinner at the coldest start",
        ),
        ({"derive": {"envelope": 2}}, "derive.envelope", "no figure to change"),
        ({"derive": {"cleanliness": "sideways"}}, "derive.cleanliness", "upstream or downstream"),
        ({"capacity_used": "120 %"}, "capacity_used", "up to 100 %"),
        ({"costs": {"prices": "12-2 for 39"}}, "costs.prices", "number = price"),
        *(
            ({"costs": {"prices": f"12-2 = {price}"}}, "costs.prices", "state the currency apart (costs.currency")
            for price in ("39 EUR", "$39", "EUR 39", "39 \N{EURO SIGN}", "1.234,50 EUR")
        ),
        ({"costs": {"prices": "12-2 = 1,234"}}, "costs.prices", 'Write "1.234" or "1234".'),
        ({"costs": {"prices": "12-2 = 1.234,50"}}, "costs.prices", 'Leave the thousands mark out, such as "1234.5".'),
        (BREATHER | {"require": [BETA]}, "require.0.characteristic", "measured in liquid"),
    ],
)
def test_what_cannot_be_had_is_refused_where_it_stands(
    demo: Snapshot, duty: dict[str, Any], field: str, told: str
) -> None:
    with pytest.raises(InputError) as refusal:
        _duty(demo, **{"require": [{"characteristic": "water_capacity", "at_least": "1 g"}]} | duty)
    assert refusal.value.field == f"duty.{field}"
    assert told in str(refusal.value)


NO_VALVE = {"flow": "75 L/min", "fluid": {"viscosity": "100 mm2/s"}, "bypass": "none"}


@pytest.mark.parametrize("location", ["suction", "pressure", "return", "off-line"])
@pytest.mark.parametrize(
    "more",
    [
        {"cold_start_temperature": "-10 degC"},
        {"relief_pressure": "1 MPa"},
        {"working_pressure": "28 MPa"},
        {"maximum_pressure_drop": "10 kPa"},
        {"fluid": {"viscosity": "100 mm2/s", "class": "HFDR"}},
    ],
    ids=lambda more: next(iter(more)),
)
def test_saying_more_of_the_machine_never_takes_a_demand_away(
    demo: Snapshot, location: str, more: dict[str, Any]
) -> None:
    """Each derived demand is still there, and its limit no easier, once more is known."""
    for base in (
        NO_VALVE | {"location": location, "relief_pressure": "25 MPa"},
        NO_VALVE | {"location": location, "working_pressure": "20 MPa", "pump_inlet_pressure": "-20 kPa"},
        NO_VALVE | {"location": location, "maximum_pressure_drop": "5 bar", "cold_start_temperature": "0 degC"},
    ):
        if set(more) & (set(base) - {"fluid"}):
            continue  # stated already: more would be something else
        before = _duty(demo, require=[BETA], **base).requirements
        after = _duty(demo, require=[BETA], **{**base, **more}).requirements
        for demand in (each for each in before if each.rule and not each.open):
            same = [each for each in after if (each.rule, each.characteristic) == (demand.rule, demand.characteristic)]
            assert same, demand
            assert max(each.low for each in same) >= demand.low
            assert min(each.high for each in same) <= demand.high
