"""A duty that says what the machine is, end to end: requirements that follow, verdicts, and what contradicts itself."""

from __future__ import annotations

import csv
import io
import re
from typing import Any

import pytest
from starlette.testclient import TestClient

from specdb.duty.rules import RULES
from tests.api.asking import EQUIVALENTS, refusal
from tests.api.machines import MACHINES, MISTAKES, RULES_AT_WORK
from tests.api.questions import flat

COMPARISONS = "/v1/comparisons"


def ranked(client: TestClient, duty: dict[str, Any], *, limit: int = 10, **query: str) -> dict[str, Any]:
    response = client.post(EQUIVALENTS, json={"duty": duty, "limit": limit}, params=query)
    assert response.status_code == 200, response.text
    told: dict[str, Any] = response.json()
    return told


def lines(response: Any) -> list[dict[str, str]]:
    assert response.status_code == 200, response.text
    return list(csv.DictReader(io.StringIO(response.content.decode(), newline="")))


# --- what follows from the machine ----------------------------------------------------------------


@pytest.mark.parametrize("place", MACHINES)
def test_the_rules_that_a_machine_sets_to_work_are_told(client: TestClient, place: str) -> None:
    told = ranked(client, MACHINES[place])
    derived = [r for r in told["requirements"] if r["origin"] == "derived"]
    assert {r["rule"] for r in derived} == RULES_AT_WORK[place]
    assert [r["id"] for r in derived if r["advisory"]] == [r["id"] for r in derived if r["rule"] == "cold_start_bypass"]
    assert {r["rule"] for r in derived if r["estimated"]} == RULES_AT_WORK[place] & {"cleanliness", "service_life"}
    for derivation in told["derivations"]:
        applied = derivation["state"] == "applied"
        assert applied == bool(derivation["requirements"]) or derivation["rule"] is None
        assert derivation["words"].endswith(".")
        if derivation["rule"] is not None:
            assert derivation["title"] == RULES[derivation["rule"]].title
            assert derivation["source"]
            assert derivation["assumption"]
    assert {i for d in told["derivations"] for i in d["requirements"]} == {r["id"] for r in derived}
    assert told["advice"]
    assert told["unused"] == []
    assert told["candidates"]


@pytest.mark.parametrize("place", MACHINES)
def test_with_every_rule_off_only_what_is_stated_is_asked(client: TestClient, place: str) -> None:
    stated = {"require": [{"characteristic": "collapse_pressure", "at_least": "1 bar"}]}
    told = ranked(client, MACHINES[place] | stated | {"derive": "none"})
    assert {r["origin"] for r in told["requirements"]} == {"stated"}
    assert {d["state"] for d in told["derivations"] if d["rule"]} == {"switched off"}


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("form", ["json", "csv"])
@pytest.mark.parametrize("place", MACHINES)
def test_get_and_post_answer_the_same_to_the_byte(client: TestClient, place: str, form: str, units: str) -> None:
    question = {"duty": MACHINES[place], "limit": 3, "include_windows": True}
    how = {"units": units, "format": form}
    posted = client.post(EQUIVALENTS, json=question, params=how)
    got = client.get(EQUIVALENTS, params=dict(flat(question)) | how)
    assert (posted.status_code, got.status_code) == (200, 200), got.text
    assert got.content == posted.content
    assert client.get(posted.links["canonical"]["url"]).content == posted.content


@pytest.mark.parametrize("place", MACHINES)
def test_in_us_units_no_metric_amount_is_left_and_no_verdict_differs(client: TestClient, place: str) -> None:
    si, us = (ranked(client, MACHINES[place], units=units) for units in ("si", "us"))
    metric = re.compile(r"\d (L/min|kPa|MPa|°C|mm|L)\b")
    words = [d["words"] for d in us["derivations"]] + [r["words"] for r in us["requirements"]]
    words += [each for c in us["candidates"] for each in (*c["cautions"], *(k["explanation"] for k in c["criteria"]))]
    assert not [each for each in words if metric.search(each)]

    def verdicts(told: dict[str, Any]) -> list[tuple[Any, ...]]:
        every = [(c["element"], k) for c in told["candidates"] for k in c["criteria"]]
        return [(element, k["requirement"], k["verdict"], k["lean"], k["reason"]) for element, k in every]

    assert verdicts(us) == verdicts(si)


@pytest.mark.parametrize("place", MACHINES)
def test_a_comparison_judges_as_the_ranking_does(client: TestClient, place: str) -> None:
    told = ranked(client, MACHINES[place], limit=3)
    named = [{"element_id": c["element"]["element_id"]} for c in reversed(told["candidates"])]
    asked = {"elements": named, "duty": MACHINES[place]}
    compared = client.post(COMPARISONS, json=asked).json()
    for name in ("requirements", "derivations", "advice", "unused"):
        assert compared[name] == told[name]
    for found, expected in zip(compared["elements"], reversed(told["candidates"]), strict=True):
        for name in ("criteria", "cautions", "misses", "not_shown", "standing"):
            assert found[name] == expected[name]


def test_the_sheet_says_which_rule_and_what_is_only_a_caution_or_an_estimate(client: TestClient) -> None:
    duty = MACHINES["return"]
    told = ranked(client, duty)
    rows = lines(client.post(EQUIVALENTS, json={"duty": duty, "limit": 10}, params={"format": "csv"}))
    required = {r["id"]: r for r in told["requirements"]}
    for row in rows:
        requirement = required[row["requirement"]]
        assert row["rule"] == (requirement["rule"] or "")
        assert (row["advisory"], row["estimated"]) == tuple(
            str(requirement[name]).lower() for name in ("advisory", "estimated")
        )
    warned = {row["number"]: row["candidate_cautions"] for row in rows if row["candidate_cautions"]}
    assert warned == {c["element"]["number"]: " ".join(c["cautions"]) for c in told["candidates"] if c["cautions"]}
    assert warned


# --- what must be said loudly ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bypass", "of_dulse_23", "of_dulse_23_b"),
    [("head", "A VALVE TOO MANY", None), ("none", "A VALVE TOO MANY", None), ("element", None, "A VALVE TOO FEW"),
     ("both", None, "A VALVE TOO FEW")],
)  # fmt: skip
def test_a_valve_too_many_or_too_few(
    client: TestClient, bypass: str, of_dulse_23: str | None, of_dulse_23_b: str | None
) -> None:
    asked = {"elements": [{"number": "Dulse 23"}, {"number": "Dulse 23/B"}], "duty": {"bypass": bypass}}
    for element, expected in zip(client.post(COMPARISONS, json=asked).json()["elements"],
                                 (of_dulse_23, of_dulse_23_b), strict=True):  # fmt: skip
        assert element["misses"] == ["bypass_valve"] * (expected is not None)
        assert [caution.partition(":")[0] for caution in element["cautions"]] == [expected] * (expected is not None)


def test_a_cold_start_is_a_caution_and_no_miss(client: TestClient) -> None:
    duty = MACHINES["return"]
    asked = {"elements": [{"number": "Dulse 23"}], "duty": duty}
    (element,) = client.post(COMPARISONS, json=asked).json()["elements"]
    (cold,) = [c for c in element["criteria"] if c["advisory"]]
    assert cold["verdict"] == "misses"
    assert cold["requirement"] not in element["misses"]
    assert any("the machine starts unfiltered" in caution for caution in element["cautions"])
    milder = client.post(COMPARISONS, json=asked | {"duty": duty | {"derive": {"cold_start_bypass": False}}}).json()
    assert milder["elements"][0]["standing"] == element["standing"]
    assert not any("coldest start" in caution for caution in milder["elements"][0]["cautions"])


def test_the_original_is_not_asked_for_the_valve_that_the_duty_places(client: TestClient) -> None:
    """The original's own valve and its cracking pressure are required only where the duty says nothing of them."""

    def of_the_valve(**duty: Any) -> set[tuple[str, str]]:
        asked = {"original": {"number": "Dulse 23"}, "duty": duty, "limit": 1}
        told = client.post(EQUIVALENTS, json=asked).json()["requirements"]
        return {(r["characteristic"], r["origin"]) for r in told if r["characteristic"].startswith("bypass")}

    assert of_the_valve() == {("bypass_valve", "original"), ("bypass_cracking_pressure", "original")}
    assert of_the_valve(bypass="head") == {("bypass_valve", "derived")}


# --- what cannot be had ---------------------------------------------------------------------------


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_a_problem_that_points_at_its_field(client: TestClient, mistake: str) -> None:
    duty, field, told = MISTAKES[mistake]
    question = {"duty": {"bypass": "head", **duty}}
    response = client.post(EQUIVALENTS, json=question)
    document = refusal(response, 422, _code_of(response), f"/duty/{field.replace('.', '/')}")
    assert told in " ".join([document["detail"], *document["errors"][0].values()])
    # The same in the address, where requirements are counted from 1.
    got = client.get(EQUIVALENTS, params=dict(flat(question)))
    pointer = f"/{field.replace('require.0', 'require.1')}"
    assert refusal(got, 422, _code_of(response), pointer)["errors"][0]["detail"] == document["errors"][0]["detail"]


def _code_of(response: Any) -> str:
    return str(response.json()["type"]).removeprefix("urn:specdb:problem:")


def test_a_machine_of_which_too_little_is_said_is_told_what_is_lacking(client: TestClient) -> None:
    duty = {"target_cleanliness": "18/16/13", "flow": "75 L/min"}
    document = refusal(client.post(EQUIVALENTS, json={"duty": duty}), 422, "question", "/duty/require")
    remedy = document["errors"][0]["remedy"]
    assert "say more of the machine" in remedy
    assert "cleanliness: Asks nothing while ingression.at_4, ingression.at_6 or ingression.at_14" in remedy
