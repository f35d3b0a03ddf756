"""What is asked of a maker, in words, and the letters."""

from __future__ import annotations

from dataclasses import replace

import pytest

from specdb.advice.asking import STATEMENT, as_asked, asked_words, help_words, requests, results_words
from specdb.advice.letters import letters
from specdb.duty import Requirement
from tests.reference import slow
from tests.reference.catalogues import rank, snapshot_of

AT_10 = {"size_um": 10.0, "scale": "c", "flow_l_min": 75.0}
HEAVY = {"density_low_kg_m3": 1090.0, "density_high_kg_m3": 1190.0}
BAND = {"flow_l_min": 75.0, "viscosity_low_mm2_s": 27.0, "viscosity_high_mm2_s": 33.0}


def required(characteristic: str, **given: object) -> Requirement:
    return Requirement(characteristic, characteristic, "stated", **given)


@pytest.mark.parametrize(
    ("requirement", "words"),
    [
        (
            required("filtration_ratio", low=200.0, **AT_10),
            "multi-pass test to ISO 16889 with ISO 12103-1 A3 at 75 L/min: filtration ratio (beta) at 10 µm(c)",
        ),
        (
            required("filtration_ratio", low=75.0, size_um=10.0, scale="acftd"),
            "multi-pass test to ISO 4572 with ACFTD: filtration ratio (beta) at 10 µm(ACFTD)",
        ),
        (
            required("retained_capacity", low=60.0, flow_l_min=75.0, terminal_pressure_drop_kpa=170.0),
            "multi-pass test to ISO 16889 with ISO 12103-1 A3 at 75 L/min: retained capacity (mass retained) at a "
            "terminal drop of 170 kPa",
        ),
        (
            required("retained_capacity", low=60.0, dust="ACFTD", capacity_basis="injected"),
            "multi-pass test to ISO 4572 with ACFTD: retained capacity (mass injected)",
        ),
        (
            # The thick and heavy edge of the bands decides whether the drop is low enough.
            required("clean_pressure_drop", high=25.0, drop_of="element", **BAND, **HEAVY),
            "pressure drop test to ISO 3968 of the element: clean pressure drop at 75 L/min, 33 mm²/s and 1190 kg/m³",
        ),
        (
            required("clean_pressure_drop", low=5.0, high=25.0, **BAND),
            "pressure drop test to ISO 3968: clean pressure drop at 75 L/min, 27 mm²/s and 33 mm²/s",
        ),
        (required("bubble_point", low=2.0), "first bubble point test to ISO 2942 in 2-propanol: bubble point"),
        (required("collapse_pressure", low=1000.0), "collapse test to ISO 2941: collapse pressure"),
        (
            required("collapse_over_own_drop", low=1.0, **BAND),
            "collapse test to ISO 2941, and pressure drop test to ISO 3968 of the element: collapse pressure, and "
            "clean pressure drop at 75 L/min and 33 mm²/s",
        ),
        (
            required("flow_fatigue_cycles", low=1e5, standard="ISO 23181", cycle_pressure_kpa=500.0),
            "flow fatigue test to ISO 23181 with 100000 cycles of 500 kPa: flow fatigue",
        ),
        (
            required("burst_pressure", low=2000.0),
            "burst test of the can or housing to ISO 10771-1 or NFPA T2.6.1: burst pressure",
        ),
        (
            required("pressure_fatigue_cycles", low=1e6, cycle_pressure_kpa=1000.0),
            "fatigue pressure test of the can or housing to ISO 10771-1 or NFPA T2.6.1 with 1000000 cycles of 1000 "
            "kPa: pressure fatigue",
        ),
        (
            required("fluid_class", word="HFC"),
            "fluid compatibility test to ISO 2943 in a fluid of class HFC: whether the element passed, with "
            "temperature and duration",
        ),
        (
            required("seal_compatibility", word="HFC"),
            f"{STATEMENT}: seal material, and whether it suits fluids of class HFC",
        ),
        (required("temperature_low", high=-20.0), f"{STATEMENT}: lowest temperature"),
        (required("air_pressure_drop", high=5.0, flow_l_min=300.0), f"{STATEMENT}: pressure drop of air at 300 L/min"),
        (required("thread", word="1-12 UNF"), f"{STATEMENT}: thread"),
        (required("length", low=139.0, high=141.0), f"{STATEMENT}: length, with its tolerance"),
    ],
    ids=lambda value: value.characteristic if isinstance(value, Requirement) else "",
)
def test_each_requirement_asks_for_its_test_with_standard_and_conditions(requirement: Requirement, words: str) -> None:
    assert asked_words(as_asked(requirement)) == words


def test_us_units() -> None:
    asked = as_asked(required("retained_capacity", low=60.0, flow_l_min=75.0, terminal_pressure_drop_kpa=170.0))
    assert "at 19.81 US gpm: retained capacity (mass retained) at a terminal drop of 24.66 psi" in asked_words(
        asked, "us"
    )


def test_results_of_one_curve_are_said_together() -> None:
    drops = [
        required(
            "clean_pressure_drop",
            high=20.0,
            flow_l_min=flow,
            viscosity_low_mm2_s=viscosity,
            viscosity_high_mm2_s=viscosity,
            drop_of="element",
        )
        for flow, viscosity in ((120.0, 32.0), (30.0, 32.0), (75.0, 200.0), (60.0, 32.0))
    ]
    sizes = [required("filtration_ratio", low=2.0, size_um=size, scale="c") for size in (10.0, 5.0)]
    assert results_words(map(as_asked, [*drops, *sizes])) == [
        "clean pressure drop at 30, 60 and 120 L/min and 32 mm²/s",
        "clean pressure drop at 75 L/min and 200 mm²/s",
        "filtration ratio (beta) at 5 and 10 µm(c)",
    ]
    assert results_words(drops[1:2], "us") == ["clean pressure drop at 7.925 US gpm and 32 mm²/s"]


# --- letters --------------------------------------------------------------------------------------


def multi_pass(**conditions: object) -> slow.Test:
    point = slow.Point("retained_capacity", "equal", 60.0, 1.0, flow_l_min=75.0)
    return slow.Test((point,), standard="ISO 16889", **conditions)


CATALOGUE = [
    slow.Element("Ferrowhit", "1-1", (multi_pass(),), {"thread": "1-12 UNF"}),
    slow.Element("Ferrowhit", "1-2", (slow.Test((slow.Point("collapse_pressure", "equal", 900.0, 1.0),)),)),
    slow.Element(
        "Ospringe",
        "7",
        tuple(slow.Test((slow.Point("collapse_pressure", "equal", value, 1.0),)) for value in (900.0, 1200.0)),
        {"thread": "1-12 UNF"},
    ),
]
REQUIRED = [
    required("collapse_pressure", low=1000.0),
    required("retained_capacity", low=50.0, flow_l_min=75.0, terminal_pressure_drop_kpa=170.0),
    required("thread", word="1-12 UNF"),
]


def test_a_letter_to_each_maker_asks_for_what_would_settle_it() -> None:
    ranking = rank(CATALOGUE, REQUIRED)
    rows = ranking.candidates.tolist()
    found = requests(ranking, rows)
    assert [(each.requirement.id, len(each.unsettled)) for each in found.by_test] == [
        ("retained_capacity", 3),
        ("collapse_pressure", 1),
        ("thread", 1),
    ]
    assert [(each.requirement.id, [one.reason for one in each.unsettled]) for each in found.beyond_tests] == [
        ("collapse_pressure", ["sources_disagree"])
    ]
    written = {letter.maker: letter for letter in letters(ranking.snapshot, found, rows)}
    assert set(written) == {"Ferrowhit", "Ospringe"}
    assert set(written["Ferrowhit"].numbers) == {"1-1", "1-2"}
    body = written["Ferrowhit"].text
    for line in (
        "To: Ferrowhit",
        "1. Multi-pass test to ISO 16889 with ISO 12103-1 A3 at 75 L/min",
        "   Of 1-1 we have a result in a source that is not named, which does not state the terminal pressure drop. "
        "To state it may be all that is needed.",
        "2. Collapse test to ISO 2941",
        "   - collapse pressure: 1-1",
        "3. Your own statement",
        "   - thread: 1-2",
        "With our thanks",
    ):
        assert line in body.splitlines()
    # The limits that are required are not told.
    assert "1000" not in body
    assert "50 g" not in body
    assert "Results that disagree on collapse pressure" in written["Ospringe"].text
    assert "Results that disagree" not in body


@pytest.mark.parametrize(
    ("limit", "told", "makers"),
    [
        ({"low": -slow.INF, "open": True}, "is not known", []),
        # The one of which nothing leans yet is asked about all the same.
        ({"estimated": True}, "is an estimate", ["Ospringe"]),
    ],
)
def test_what_no_test_settles_is_told_apart(limit: dict[str, object], told: str, makers: list[str]) -> None:
    ranking = rank(CATALOGUE, [replace(REQUIRED[1], **limit), REQUIRED[2]])
    rows = ranking.candidates.tolist()
    found = requests(ranking, rows)
    (beyond,) = found.beyond_tests
    assert [one.row for one in beyond.unsettled] == rows
    assert told in help_words(beyond)
    assert found.by_test == ()
    assert [letter.maker for letter in letters(ranking.snapshot, found, rows)] == makers


def test_nothing_is_asked_where_nothing_is_open() -> None:
    met = replace(REQUIRED[1], terminal_pressure_drop_kpa=None)
    element = CATALOGUE[0]
    ranking = rank([element], [met])
    found = requests(ranking, [0])
    assert (found.by_test, found.beyond_tests) == ((), ())
    assert letters(snapshot_of([element]), found, [0]) == []
