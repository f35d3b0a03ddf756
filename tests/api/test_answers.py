"""What the service answers: the contract's fields, the units, the states of the catalogue."""

from __future__ import annotations

import csv
import math
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

from api import create_app
from specdb.catalog.store import open_store
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS
from specdb.demo import demo_folder
from specdb.exchange import import_folder
from tests.api.asking import EQUIVALENTS, EXAMPLE

Ask = Callable[..., dict[str, Any]]

DULSE = {"original": {"number": "Dulse 23"}}


# --- the contract's fields ------------------------------------------------------------------------


def test_the_answer_holds_every_field_of_the_contract(ask: Ask) -> None:
    answer = ask(EXAMPLE)
    assert set(answer) >= {
        *("catalog_revision", "method_version", "requirements", "considered", "without_evidence", "order"),
        *("assumptions", "unused", "cautions", "candidates"),
    }
    assert answer["catalog_revision"] == 1
    ids = [requirement["id"] for requirement in answer["requirements"]]
    assert len(ids) == len(set(ids))
    for requirement in answer["requirements"]:
        assert set(requirement) >= {"id", "characteristic", "low", "high", "unit", "origin", "words", "size", "flow"}
        assert requirement["origin"] in ("stated", "original", "derived")
        assert (requirement["rule"] is not None) == (requirement["origin"] == "derived")
    advisory = {requirement["id"] for requirement in answer["requirements"] if requirement["advisory"]}
    for place, candidate in enumerate(answer["candidates"], start=1):
        assert candidate["rank"] == place
        assert set(candidate["element"]) >= {"element_id", "maker", "number"}
        verdicts = {c["requirement"]: c["verdict"] for c in candidate["criteria"]}
        assert list(verdicts) == ids
        counted = {each: verdict for each, verdict in verdicts.items() if each not in advisory}
        assert candidate["misses"] == [each for each, verdict in counted.items() if verdict == "misses"]
        assert candidate["not_shown"] == [each for each, verdict in counted.items() if verdict == "not_shown"]
        for criterion in candidate["criteria"]:
            _whole_criterion(criterion)


def _whole_criterion(criterion: dict[str, Any]) -> None:
    assert set(criterion) >= {
        *("requirement", "characteristic", "verdict", "verdict_without_assumptions", "reason", "lean", "shown"),
        *("estimate", "margin", "basis", "explanation", "sources"),
    }
    assert criterion["verdict"] in ("meets", "misses", "not_shown")
    assert set(criterion["shown"]) == {"low", "high", "unit"}
    assert (criterion["reason"] is not None) == (criterion["verdict"] == "not_shown")
    if criterion["verdict"] != "not_shown":
        assert criterion["lean"] is None
    if criterion["margin"] is not None:
        assert criterion["verdict"] == "meets"
    words = {"meets": "Meets: ", "misses": "Misses: ", "not_shown": "Not shown: "}
    assert criterion["explanation"].startswith(words[criterion["verdict"]])
    assert criterion["explanation"].endswith(".")
    if criterion["verdict"] != criterion["verdict_without_assumptions"]:
        assert criterion["assumed"]


def test_what_the_duty_states_and_what_the_original_adds(ask: Ask) -> None:
    requirements = {r["id"]: r for r in ask(EXAMPLE)["requirements"]}
    stated = {"filtration_ratio", "retained_capacity", "collapse_pressure", "clean_pressure_drop", "thread"}
    stated |= {"outside_diameter", "fluid_class"}
    assert {each for each, r in requirements.items() if r["origin"] == "stated"} == stated
    assert requirements["filtration_ratio"]["low"] == 200
    assert requirements["filtration_ratio"]["size"] == {"value": 10, "unit": "µm(c)"}
    assert requirements["filtration_ratio"]["flow"] == {"value": 75, "unit": "L/min"}
    assert requirements["retained_capacity"]["terminal_pressure_drop"] == {"value": 170, "unit": "kPa"}
    drop = requirements["clean_pressure_drop"]
    assert (drop["low"], drop["high"], drop["unit"], drop["drop_of"]) == (None, 25, "kPa", "element")
    assert drop["viscosity"] == {"low": 32, "high": 32, "unit": "mm²/s"}
    diameter = requirements["outside_diameter"]
    assert (diameter["low"], diameter["high"], diameter["unit"]) == (94, 98, "mm")
    assert requirements["thread"]["word"] == "1-12 UNF"
    # Of the original and by the duty's own: the stricter decides, and both are shown.
    for number, comes_from in enumerate((("original", None), ("derived", "envelope")), start=1):
        working = requirements[f"working_pressure-{number}"]
        assert (working["origin"], working["rule"], working["low"]) == (*comes_from, 1000)
    assert "bubble_point" not in requirements


def test_fields_that_no_rule_read_are_named(ask: Ask) -> None:
    # The one drop that is asked has a viscosity of its own; the rules read all the rest.
    assert set(ask(EXAMPLE)["unused"]) == {"duty.fluid.grade", "duty.fluid.viscosity_index"}
    unruled = EXAMPLE | {"duty": EXAMPLE["duty"] | {"derive": "none"}}
    assert set(ask(unruled)["unused"]) == {
        *("duty.operating_temperature", "duty.cold_start_temperature", "duty.working_pressure"),
        *("duty.fluid.grade", "duty.fluid.viscosity_index"),
    }


def test_assumptions_are_printed_where_the_answer_is_and_change_no_proof(ask: Ask) -> None:
    assumed, pure = ask(EXAMPLE), ask(EXAMPLE | {"duty": EXAMPLE["duty"] | {"assumptions": "none"}})
    assert set(assumed["assumptions"]) == {
        *("unstated_conditions_match", "about_within", "viscous_share_at_least"),
        *("converted_sizes_count", "bare_size_is"),
    }
    assert pure["assumptions"] == {}
    proof = _verdicts(pure, "verdict")
    shared = set(proof) & set(_verdicts(assumed, "verdict"))
    assert shared
    without = _verdicts(assumed, "verdict_without_assumptions")
    assert {key: without[key] for key in shared} == {key: proof[key] for key in shared}


def _verdicts(answer: dict[str, Any], name: str) -> dict[tuple[str, str], str]:
    return {
        (candidate["element"]["element_id"], criterion["requirement"]): criterion[name]
        for candidate in answer["candidates"]
        for criterion in candidate["criteria"]
    }


def test_the_cautions_and_the_order_stand_in_plain_words(ask: Ask) -> None:
    answer = ask(EXAMPLE)
    cautions = " ".join(answer["cautions"])
    for word in ("approval", "warranty", "competent person", "lock it out", "Local codes"):
        assert word in cautions
    assert len(answer["order"]) == 6


def test_candidates_stand_in_the_order_that_the_answer_states(ask: Ask) -> None:
    candidates = ask(EXAMPLE | {"limit": 500})["candidates"]
    assert len(candidates) > 100

    def place(candidate: dict[str, Any]) -> tuple[Any, ...]:
        standing = candidate["standing"]
        margin = standing["smallest_margin"]
        figures = [standing[k] for k in ("gate_misses", "not_in_favour", "misses", "leaning_to_meet")]
        return (*figures, math.inf if margin is None else -margin)

    assert candidates == sorted(candidates, key=place)
    ids = [candidate["element"]["element_id"] for candidate in candidates]
    assert len(ids) == len(set(ids))


def test_the_original_is_no_candidate_and_never_misses_what_was_taken_from_it(ask: Ask) -> None:
    answer = ask(DULSE | {"limit": 500})
    original = answer["original"]
    assert original["rank"] is None
    assert original["misses"] == []
    assert original["element"]["element_id"] not in [c["element"]["element_id"] for c in answer["candidates"]]
    assert answer["considered"] == 170


@pytest.mark.parametrize("named", [{}, {"maker": "Quollbeck"}, {"maker": "QUOLL BECK"}])
@pytest.mark.parametrize("number", ["Dulse 23", "dulse23", " DULSE  23 "])
def test_the_original_is_found_however_its_number_is_spaced(ask: Ask, named: dict[str, str], number: str) -> None:
    answer = ask({"original": {"number": number} | named, "limit": 1})
    assert answer["original"]["element"]["number"] == "Dulse 23"


def _pairs(long: dict[str, Any], short: dict[str, Any]) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    return zip(long["candidates"][:3], short["candidates"], strict=True)


def test_limit_cuts_the_list_and_nothing_else(ask: Ask) -> None:
    long, short = ask(DULSE | {"limit": 50}), ask(DULSE | {"limit": 3})
    assert len(long["candidates"]) == 50
    # What is asked of makers, and medians, are of the candidates listed.
    told = [candidate | {"trade_offs": each["trade_offs"]} for candidate, each in _pairs(long, short)]
    assert short == long | {"candidates": told, "tests_to_ask_for": short["tests_to_ask_for"]}
    assert ask(DULSE | {"limit": 3.0}) == short
    assert len(ask(DULSE)["candidates"]) == 20


def test_elements_with_nothing_on_file_are_counted_and_listed_on_request(ask: Ask) -> None:
    question = {
        "duty": {"require": [{"characteristic": "collapse_pressure", "at_least": "1 bar"}]},
        "limit": 500,
    }
    silent, listed = ask(question), ask(question | {"include_without_evidence": True})
    assert silent["elements_without_evidence"] is None
    assert silent["without_evidence"] == len(listed["elements_without_evidence"]) > 0
    assert silent["considered"] == silent["without_evidence"] + len(silent["candidates"]) == 171
    judged = {candidate["element"]["element_id"] for candidate in silent["candidates"]}
    assert judged.isdisjoint(element["element_id"] for element in listed["elements_without_evidence"])
    assert listed == silent | {"elements_without_evidence": listed["elements_without_evidence"]}


# --- units ----------------------------------------------------------------------------------------

# What one unit of an answer in US units is in the unit of the SI answer. NIST Special Publication 811
# (2008), appendix B: inch, pound-force per square inch and US gallon; 0 °C is 32 °F.
US_IN_SI: dict[str, tuple[str, float]] = {
    "psi": ("kPa", 6.894757293168361),
    "US gpm": ("L/min", 3.785411784),
    "in": ("mm", 25.4),
}


def _assert_same(si: Any, us: Any, path: str = "") -> int:
    """Compare two answers, converting each quantity of the second; gives how many were converted."""
    if isinstance(si, dict):
        assert set(si) == set(us), path
        unit = (si.get("unit"), us.get("unit"))
        if unit[0] != unit[1]:
            return _assert_converts(si, us, path)
        return sum(_assert_same(si[key], us[key], f"{path}/{key}") for key in si if not _is_prose(path, key))
    if isinstance(si, list):
        assert len(si) == len(us), path
        return sum(_assert_same(*pair, f"{path}/{place}") for place, pair in enumerate(zip(si, us, strict=True)))
    assert si == us, path
    return 0


PROSE = {"words", "notes", "explanation", "advice", "sentence"}


def _is_prose(path: str, key: str) -> bool:
    """Words with amounts in them; the cautions of the whole answer have none, those of an element have."""
    return key in PROSE or (key == "cautions" and path != "")


MEASURED = ("value", "low", "high")


def _assert_converts(si: dict[str, Any], us: dict[str, Any], path: str) -> int:
    converted = 0
    for name in si:
        if name in MEASURED and us[name] is not None:
            assert _in_si(us[name], us["unit"], si["unit"]) == pytest.approx(si[name], rel=1e-9), f"{path}/{name}"
            converted += 1
        elif name not in PROSE and name != "unit":
            converted += _assert_same(si[name], us[name], f"{path}/{name}")
    return converted


def _in_si(value: float, unit: str, wanted: str) -> float:
    if unit == "°F":
        assert wanted == "°C"
        return (value - 32) / 1.8
    target, factor = US_IN_SI[unit]
    assert target == wanted
    return value * factor


def _estimates_aside(answer: dict[str, Any]) -> tuple[dict[str, Any], list[tuple[Any, str, float]]]:
    """The answer without its estimates, and those with their criterion and the unit of what is shown."""
    estimates = []
    for candidate in (answer["original"], *answer["candidates"]):
        for criterion in candidate["criteria"]:
            estimates.append((criterion["requirement"], criterion["shown"]["unit"], criterion.pop("estimate")))
    return answer, estimates


@pytest.mark.parametrize("question", [EXAMPLE, DULSE | {"limit": 60}])
def test_us_units_convert_every_quantity_and_change_no_verdict(ask: Ask, question: dict[str, Any]) -> None:
    si, si_estimates = _estimates_aside(ask(question))
    us, us_estimates = _estimates_aside(ask(question, units="us"))
    assert _assert_same(si, us) > 200
    for (requirement, si_unit, mine), (other, us_unit, theirs) in zip(si_estimates, us_estimates, strict=True):
        assert requirement == other
        if si_unit == us_unit or mine is None:
            assert mine == theirs
        else:
            assert _in_si(theirs, us_unit, si_unit) == pytest.approx(mine, rel=1e-9)


def test_us_words_name_us_units_only(ask: Ask) -> None:
    answer = ask(EXAMPLE, units="us")
    told = [r["words"] for r in answer["requirements"]]
    told += [c["explanation"] for candidate in answer["candidates"] for c in candidate["criteria"]]
    for sentence in told:
        for unit in ("kPa", "L/min", "°C", " mm;", " mm "):
            assert unit not in sentence, sentence


def test_a_verdict_does_not_depend_on_the_units_typed(ask: Ask) -> None:
    other = {
        **EXAMPLE,
        "duty": EXAMPLE["duty"]
        | {
            "flow": {"value": 4.5, "unit": "m3/h"},
            "bypass_cracking_pressure": "1.7 bar",
            "require": [
                {"characteristic": "filtration_ratio", "at_least": "99.5 %", "size": "0,010 mm(c)"},
                {"characteristic": "retained_capacity", "at_least": "0.060 kg"},
                {"characteristic": "collapse_pressure", "at_least": "10 bar"},
                {
                    "characteristic": "clean_pressure_drop",
                    "at_most": "250 mbar",
                    "flow": "1.25 L/s",
                    "viscosity": "32 cSt",
                    "drop_of": "Element",
                },
            ],
            "fit": {"thread": "1-12UNF", "outside_diameter": {"value": "9.6 cm", "tolerance": "0.2 cm"}},
            "assumptions": {
                "unstated_conditions_match": True,
                "about_within": {"value": 15, "unit": "%"},
                "viscous_share_at_least": "70 %",
                "converted_sizes_count": True,
                "bare_size_is": "c",
            },
        },
    }
    one, two = ask(EXAMPLE), ask(other)
    for name in ("verdict", "verdict_without_assumptions", "reason", "lean", "explanation"):
        assert _verdicts(one, name) == _verdicts(two, name)
    places = [[c["element"]["element_id"] for c in answer["candidates"]] for answer in (one, two)]
    assert places[0] == places[1]


# --- states of the catalogue ----------------------------------------------------------------------


@pytest.fixture
def corrected(demo_store_url: str, tmp_path: Path) -> Iterator[TestClient]:
    """The demo catalogue with one invented correction on top: 12-4 holds 40 g, not what was on file."""
    file = shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path / "corrected.sqlite")
    url = f"sqlite:///{file}"
    with TestClient(create_app(url)) as client:
        known = next(
            c["element"]["element_id"]
            for c in client.post(EQUIVALENTS, json=DULSE | {"limit": 500}).json()["candidates"]
            if c["element"]["number"] == "12-4"
        )
        rating = next(
            r
            for r in client.get(f"/v1/elements/{known}").json()["ratings"]
            if r["characteristic"] == "retained_capacity"
        )
        folder = tmp_path / "correction"
        folder.mkdir()
        row = {
            **{name: rating[name] or "" for name in ("test", "standard", "edition", "dust", "flow", "source")},
            "maker": "Tarnwhistle",
            "number": "12-4",
            "characteristic": "retained_capacity",
            "value": "40 g",
            "supersedes": rating["rating"],
            "terminal_pressure_drop": rating["terminal_pressure_drop"],
        }
        with (folder / "ratings.csv").open("w", newline="") as sheet:
            writer = csv.DictWriter(sheet, row)
            writer.writeheader()
            writer.writerow(row)
        engine = open_store(url)
        import_folder(engine, folder, actor="test", reason="a misprint")
        engine.dispose()
        yield client


def _capacity(client: TestClient, **question: Any) -> tuple[int, list[str], float]:
    answer = client.post(EQUIVALENTS, json=DULSE | {"limit": 500} | question).json()
    found = next(c for c in answer["candidates"] if c["element"]["number"] == "12-4")
    shown = next(c["shown"] for c in found["criteria"] if c["requirement"] == "retained_capacity")
    return answer["catalog_revision"], found["misses"], shown["high"]


def test_an_earlier_state_answers_as_it_did(corrected: TestClient) -> None:
    now = _capacity(corrected)
    assert now == (2, ["retained_capacity"], 40)
    before = _capacity(corrected, as_of="1")
    assert before[:2] == (1, [])
    assert before[2] is None or before[2] >= 60
    assert _capacity(corrected, as_of="2") == now
    element = corrected.get("/v1/characteristics").json()
    assert element["catalog_revision"] == 2


def test_an_element_shows_what_is_in_force_at_the_state_that_is_asked(corrected: TestClient) -> None:
    found = corrected.post(EQUIVALENTS, json={"original": {"number": "12-4"}}).json()["original"]["element"]
    path = f"/v1/elements/{found['element_id']}"

    def capacities(**query: str) -> list[tuple[str, float]]:
        ratings = corrected.get(path, params=query).json()["ratings"]
        return [(r["text"], r["value"]) for r in ratings if r["characteristic"] == "retained_capacity"]

    assert capacities() == [("40 g", 40)]
    earlier = capacities(as_of="1")
    assert len(earlier) == 1
    assert earlier[0][1] >= 60


# --- the catalogue --------------------------------------------------------------------------------


def test_an_element_gives_the_sheet_to_the_letter_and_converted(client: TestClient, ask: Ask) -> None:
    with (demo_folder() / "ratings.csv").open(encoding="utf-8", newline="") as sheet:
        rows = [row for row in csv.DictReader(sheet) if row["number"] == "Rowan/3"]
    known = ask({"original": {"number": "Rowan/3"}, "limit": 1})["original"]["element"]["element_id"]
    told = client.get(f"/v1/elements/{known}").json()
    assert (told["element_id"], told["maker"], told["number"]) == (known, "Umberglyph", "Rowan/3")
    assert len(told["ratings"]) == len(rows) > 10
    typed = ("size", "flow", "viscosity", "density", "terminal_pressure_drop", "standard", "edition", "test", "source")

    def key(rating: dict[str, Any], text: str) -> tuple[str, ...]:
        return (rating["characteristic"], " ".join(text.split()), *((rating[name] or "") for name in typed))

    on_sheet = sorted(key(row, f"{row['value']} {row['unit']}") for row in rows)
    assert sorted(key(rating, rating["text"]) for rating in told["ratings"]) == on_sheet
    collapse = next(r for r in told["ratings"] if r["characteristic"] == "collapse_pressure")
    assert collapse["text"] == "150 psi"
    assert (collapse["value"], collapse["unit"]) == (pytest.approx(150 * 6.894757293168361, rel=1e-11), "kPa")
    us = client.get(f"/v1/elements/{known}", params={"units": "us"}).json()
    assert [r["text"] for r in us["ratings"]] == [r["text"] for r in told["ratings"]]
    assert _assert_same(told, us) > 10


def test_superseded_results_are_not_in_force(client: TestClient, ask: Ask) -> None:
    with (demo_folder() / "ratings.csv").open(encoding="utf-8", newline="") as sheet:
        rows = list(csv.DictReader(sheet))
    superseded = {row["supersedes"] for row in rows if row["supersedes"]}
    mine = {row["rating"] for row in rows if row["number"] == "Dulse 22" and row["rating"]}
    assert superseded & mine
    known = ask({"original": {"number": "Dulse 22"}, "limit": 1})["original"]["element"]["element_id"]
    labels = {rating["rating"] for rating in client.get(f"/v1/elements/{known}").json()["ratings"]}
    assert labels & mine == mine - superseded


def test_claims_stand_on_both_sides(client: TestClient, ask: Ask) -> None:
    known = ask({"original": {"number": "12-2"}, "limit": 1})["original"]["element"]["element_id"]
    told = client.get(f"/v1/elements/{known}").json()
    replaced = [(c["replaces_maker"], c["replaces_number"]) for c in told["claimed_to_replace"]]
    assert ("Quollbeck", "Dulse 23") in replaced
    assert [(c["maker"], c["number"]) for c in told["claimed_to_be_replaced_by"]] == [("Sundercairn", "=7-K")]


def test_the_vocabulary_is_the_one_list_of_characteristics(client: TestClient) -> None:
    told = client.get("/v1/characteristics").json()
    assert [each["key"] for each in told["characteristics"]] == list(CHARACTERISTICS)
    for each in told["characteristics"]:
        known = CHARACTERISTICS[each["key"]]
        assert each["title"] == known.title
        assert each["standards"] == list(known.standards)
        assert each["sense"] == known.sense
        assert each["judged_with"] == list(known.judged_with)
        assert (each["unit"] is None) == (known.kind == "")
    assert [each["key"] for each in told["attributes"]] == list(ATTRIBUTES)


def test_health_tells_the_revision(client: TestClient, ask: Ask) -> None:
    health = client.get("/health").json()
    assert health["alive"] is health["store_reachable"] is True
    assert health["catalog_revision"] == ask(DULSE)["catalog_revision"] == 1
