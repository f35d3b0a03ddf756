"""Small cases on which two readings of the method could differ, decided: both implementations say this."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.criteria import REASONS
from specdb.duty import Question
from specdb.duty.requirement import NO_ASSUMPTIONS, Assumptions, Requirement
from specdb.errors import QuestionError
from specdb.ranking import rank
from tests.reference import slow
from tests.reference.catalogues import judge_all, snapshot_of

VERDICTS = {MEETS: "meets", MISSES: "misses", NOT_SHOWN: "not_shown"}


@dataclass(frozen=True)
class Decided:
    tests: tuple[slow.Test, ...]
    required: Requirement
    verdict: str
    reason: str | None = None
    low: float = -slow.INF
    high: float = slow.INF
    assumptions: Assumptions = NO_ASSUMPTIONS


def ratio(
    qualifier: str, value: float, size_um: float, scale: str = "c", efficiency: float | None = None
) -> slow.Point:
    digit = None if efficiency is None else 1.0
    return slow.Point(
        "filtration_ratio",
        qualifier,
        value,
        1.0,
        size_um,
        scale,
        efficiency_percent=efficiency,
        efficiency_resolution=digit,
    )


def drop(qualifier: str, value: float, flow_l_min: float, viscosity_mm2_s: float | None = 32.0) -> slow.Point:
    return slow.Point(
        "clean_pressure_drop", qualifier, value, 1.0, flow_l_min=flow_l_min, viscosity_mm2_s=viscosity_mm2_s
    )


def one(characteristic: str, qualifier: str, value: float, resolution: float = 1.0) -> slow.Point:
    return slow.Point(characteristic, qualifier, value, resolution)


def require(characteristic: str, **given: object) -> Requirement:
    return Requirement("it", characteristic, "stated", **given)


AT_10 = {"size_um": 10.0, "scale": "c"}
AT_100 = {"flow_l_min": 100.0, "viscosity_low_mm2_s": 32.0, "viscosity_high_mm2_s": 32.0}


def capacity(value: float, flow_l_min: float | None) -> slow.Point:
    return slow.Point("retained_capacity", "equal", value, 1.0, flow_l_min=flow_l_min)


CASES = {
    "no line is read across an about value": Decided(
        (slow.Test((ratio("equal", 2.0, 5.0), ratio("about", 4.0, 10.0), ratio("equal", 5000.0, 20.0))),),
        require("filtration_ratio", low=5.0, size_um=9.0, scale="c"),
        "not_shown",
        "wrong_side",
        low=2.0,
        high=5000.0,
    ),
    "a flow that nobody asks and only some points state leaves no proof": Decided(
        (slow.Test((capacity(60.0, 50.0), capacity(40.0, None)), standard="ISO 16889"),),
        require("retained_capacity", low=50.0),
        "not_shown",
        "condition_not_stated",
    ),
    "an assumption does not destroy proof": Decided(
        (slow.Test((one("collapse_pressure", "at_least", 2000.0), one("collapse_pressure", "about", 1000.0))),),
        require("collapse_pressure", low=1000.0),
        "meets",
        low=2000.0,
        assumptions=Assumptions(about_within=0.15),
    ),
    "and not that of another test": Decided(
        (
            slow.Test((one("collapse_pressure", "equal", 2000.0),)),
            slow.Test((one("collapse_pressure", "about", 500.0),)),
        ),
        require("collapse_pressure", low=1000.0),
        "meets",
        low=2000.0,
        high=2000.0,
        assumptions=Assumptions(about_within=0.15),
    ),
    "a share of a temperature means nothing": Decided(
        (slow.Test((one("temperature_low", "about", -20.0),)),),
        require("temperature_low", high=-15.0),
        "not_shown",
        "approximate_only",
        assumptions=Assumptions(about_within=0.15),
    ),
    "a viscous share that the curve rules out is left aside": Decided(
        (slow.Test((drop("equal", 10.0, 50.0), drop("equal", 40.0, 100.0)), drop_of="element"),),
        require("clean_pressure_drop", high=50.0, **{**AT_100, "flow_l_min": 110.0}),
        "meets",
        # Drop over flow, all but proportional to flow: least through (10 + 0.5)/50 and (40 - 0.8)/100, carried on to
        # 110; greatest from nothing at rest through (40 + 0.8)/100.
        low=110 * (0.392 + 10 * (0.392 - 0.21) / 50),
        high=110 * 0.408 * 110 / 100,
        assumptions=Assumptions(viscous_share_at_least=0.7),
    ),
    "a dust that is asked and that nobody names proves nothing": Decided(
        (slow.Test((capacity(60.0, 50.0),), capacity_basis="retained"),),
        require("retained_capacity", low=50.0, dust="ISO 12103-1 A2"),
        "not_shown",
        "condition_not_stated",
    ),
    "a limit at the own conditions gives way to a curve that proves more": Decided(
        (slow.Test((drop("at_most", 30.0, 100.0), drop("equal", 22.5, 90.0), drop("equal", 27.5, 110.0))),),
        require("clean_pressure_drop", high=27.0, **AT_100),
        "meets",
        # Drop over flow is a straight line in flow that does not fall. Least: through (22.5 - 0.5)/90 and
        # (27.5 - 0.55)/110, half way at 100. Greatest: level at (27.5 + 0.55)/110.
        low=100 * ((22.5 - 0.5) / 90 + (27.5 - 0.55) / 110) / 2,
        high=100 * (27.5 + 0.55) / 110,
    ),
    "an older test counts once converted sizes do: its dust is that of its own standard": Decided(
        (slow.Test((ratio("at_least", 200.0, 9.0, "acftd"),), standard="ISO 4572"),),
        require("filtration_ratio", low=200.0, **AT_10),
        "meets",
        low=200.0,
        assumptions=Assumptions(converted_sizes_count=True),
    ),
    "a size beyond the table of scales is lost to its scale": Decided(
        (slow.Test((ratio("at_least", 200.0, 110.0, "acftd"),), standard="ISO 4572"),),
        require("filtration_ratio", low=200.0, **AT_10),
        "not_shown",
        "other_scale",
        assumptions=Assumptions(converted_sizes_count=True),
    ),
    "about 100 % proves nothing, whatever about is taken to mean": Decided(
        (slow.Test((ratio("about", 200.0, 10.0, "c", 100.0),), standard="ISO 16889"),),
        require("filtration_ratio", low=100.0, **AT_10),
        "not_shown",
        "approximate_only",
        assumptions=Assumptions(about_within=0.15),
    ),
    "a floor stated at the size itself keeps its printed digits between neighbours": Decided(
        (
            slow.Test(
                (ratio("equal", 100.0, 8.0), ratio("equal", 300.0, 12.0), ratio("at_least", 200.0, 10.0)),
                standard="ISO 16889",
            ),
        ),
        require("filtration_ratio", low=200.4, **AT_10),
        "meets",
        low=200.0,
        high=300.0,
    ),
    "a floor that contradicts the line between its neighbours leaves only what is proven": Decided(
        (
            slow.Test(
                (ratio("equal", 60.0, 7.0), ratio("at_least", 260.0, 9.5), ratio("equal", 600.0, 12.0)),
                standard="ISO 16889",
            ),
        ),
        require("filtration_ratio", low=300.0, **AT_10),
        "not_shown",
        "wrong_side",
        low=260.0,
        high=600.0,
    ),
    "printed digits give room up to half a percent of the rating": Decided(
        (slow.Test((one("working_pressure", "equal", 995.1, 100.0),)),),
        require("working_pressure", low=1000.0),
        "meets",
        low=995.1,
        high=995.1,
    ),
    "and no more than that": Decided(
        (slow.Test((one("working_pressure", "equal", 994.9, 100.0),)),),
        require("working_pressure", low=1000.0),
        "misses",
        low=994.9,
        high=994.9,
    ),
    "nor more than half of the last digit": Decided(
        (slow.Test((one("working_pressure", "equal", 999.4, 1.0),)),),
        require("working_pressure", low=1000.0),
        "misses",
        low=999.4,
        high=999.4,
    ),
    "where printed bounds cross, each takes its digits along": Decided(
        (
            slow.Test(
                (one("working_pressure", "at_least", 100.4), one("working_pressure", "equal", 100.0, 0.1)),
            ),
        ),
        require("working_pressure", low=100.3),
        "not_shown",
        "wrong_side",
        low=100.0,
        high=100.4,
    ),
    "the reason does not hang on the order in which conditions are asked": Decided(
        (slow.Test((slow.Point("retained_capacity", "equal", 40.0, 1.0, flow_l_min=130.0),), standard="ISO 4572"),),
        require("retained_capacity", high=60.0, flow_l_min=100.0, capacity_basis="injected", dust="ACFTD"),
        "not_shown",
        "condition_not_stated",
        low=40.0,
    ),
    "another fatigue standard says nothing, be it only about": Decided(
        (slow.Test((one("flow_fatigue_cycles", "about", 1e4),), standard="ISO 23181"),),
        require("flow_fatigue_cycles", low=1e4, standard="ISO 3724"),
        "not_shown",
        "other_conditions",
    ),
    "of tests that meet alike the first is told": Decided(
        (
            slow.Test((one("working_pressure", "equal", 1000.0),)),
            slow.Test((one("working_pressure", "at_least", 1000.0), one("working_pressure", "about", 2000.0))),
        ),
        require("working_pressure", low=500.0),
        "meets",
        low=1000.0,
        high=1000.0,
    ),
    "a typical drop at the very conditions is approximate, not elsewhere": Decided(
        (slow.Test((drop("about", 24.0, 100.0),), drop_of="element"),),
        require("clean_pressure_drop", high=25.0, **AT_100),
        "not_shown",
        "approximate_only",
    ),
    "an unstated kind of drop loses no bound that is not there": Decided(
        (slow.Test((drop("about", 24.0, 60.0),)),),
        require("clean_pressure_drop", high=25.0, drop_of="element", **AT_100),
        "not_shown",
        "other_conditions",
    ),
    "the drop of an assembly gives its element no room of printed digits": Decided(
        (slow.Test((drop("equal", 25.0, 100.0),), drop_of="assembly"),),
        require("clean_pressure_drop", high=24.9, drop_of="element", **AT_100),
        "not_shown",
        "other_conditions",
        high=25.0,
    ),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_both_implementations_decide_alike(case: Decided) -> None:
    element = slow.Element("A", "1", case.tests)
    [judged] = judge_all([element], [case.required], case.assumptions)
    told = slow.judge(element, case.required, case.assumptions)
    expected = (case.verdict, case.reason, pytest.approx(case.low), pytest.approx(case.high))
    assert (told.verdict, told.reason, told.low, told.high) == expected
    found = (VERDICTS[int(judged.verdict[0])], REASONS[judged.reason[0]] or None, judged.low[0], judged.high[0])
    assert found == expected


def test_drops_at_an_assumed_viscosity_take_part_in_the_estimate() -> None:
    drops = ((15.0, 60.0), (25.0, 100.0), (33.0, 130.0))
    test = slow.Test(tuple(drop("about", value, flow, None) for value, flow in drops))
    element, assumptions = slow.Element("A", "1", (test,)), Assumptions(unstated_conditions_match=True)
    required = require("clean_pressure_drop", high=26.0, **AT_100)
    [judged] = judge_all([element], [required], assumptions)
    assert judged.estimate[0] == slow.judge(element, required, assumptions).estimate == 25.0
    [judged] = judge_all([element], [required], NO_ASSUMPTIONS)
    assert judged.estimate[0] == slow.judge(element, required, NO_ASSUMPTIONS).estimate == 33.0


CONTRADICTION = slow.Element(
    "A",
    "1",
    (
        slow.Test((one("collapse_pressure", "equal", 1000.0), one("collapse_pressure", "at_most", 500.0))),
        slow.Test((one("collapse_pressure", "at_most", 500.0),)),
    ),
)


def test_what_an_original_rules_out_itself_is_not_required_and_that_is_said() -> None:
    require = [{"characteristic": "burst_pressure", "at_least": "1 MPa"}]
    question = Question.model_validate({"original": {"number": "1"}, "duty": {"require": require}})
    ranking = rank(question, snapshot_of([CONTRADICTION]))
    assert [r.characteristic for r in ranking.duty.requirements] == ["burst_pressure"]
    assert len(ranking.judged) == 1
    assert any("contradict" in note and "collapse" in note for note in ranking.duty.notes)


def test_an_original_that_only_contradicts_itself_is_refused() -> None:
    with pytest.raises(QuestionError, match="contradict"):
        rank(Question.model_validate({"original": {"number": "1"}}), snapshot_of([CONTRADICTION]))
