"""Interchange claims beside candidates of the demo catalogue, and numbers that are known from claims only."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.testclient import TestClient

from api.glossary import WORDS
from tests.api.asking import EQUIVALENTS, refusal, rows_of_csv

Ask = Callable[..., dict[str, Any]]
COMPARISONS = "/v1/comparisons"

BESIDE_DULSE_23 = {
    # number: direction, contradicted, via, links that are judged
    "12-2": ("direct", False, [], [True]),
    "00417": ("direct", True, [], [True]),
    "121": ("direct", True, [], [True]),
    "Rowan/3": ("direct", True, [], [True]),
    "=7-K": ("chain", True, ["Tarnwhistle 12-2"], [True, True]),
    "Rowan/10": ("chain", False, ["Gorsepan 45/2"], [False, False]),
    "Rowan/4": ("reverse", False, [], [False]),
}


def _by_number(ask: Ask) -> dict[str, dict[str, Any]]:
    answer = ask({"original": {"number": "Dulse 23"}, "limit": 500})
    return {each["element"]["number"]: each for each in answer["candidates"]}


def _told(claim: dict[str, Any]) -> tuple[str, bool, list[str], list[bool]]:
    judged = [link["meets"] is not None for link in claim["links"]]
    return claim["direction"], claim["contradicted"], claim["via"], judged


def test_claims_stand_beside_candidates_and_are_judged(ask: Ask) -> None:
    told = _by_number(ask)
    claims = {number: each["claims"] for number, each in told.items() if each["claims"]}
    assert {number: _told(one) for number, (one,) in claims.items()} == BESIDE_DULSE_23
    assert {one["direction"] for (one,) in claims.values()} == set(WORDS["direction"])
    # A direct claim is judged as the ranking judges where the duty states nothing itself.
    for number in ("12-2", "00417", "121", "Rowan/3"):
        (link,) = claims[number][0]["links"]
        assert (link["misses"], link["not_shown"]) == (len(told[number]["misses"]), len(told[number]["not_shown"]))
        assert link["meets"] + link["misses"] + link["not_shown"] == len(told[number]["criteria"])


def test_a_contradicted_claim_is_said_loudly_and_a_claim_is_no_proof(ask: Ask) -> None:
    told = _by_number(ask)
    (against,), (held,) = told["00417"]["claims"], told["12-2"]["claims"]
    assert against["words"] == (
        "CONTRADICTED by the ratings on file: Oddmarrow 00417 is claimed to replace Quollbeck Dulse 23 "
        '(OM-1, 2020-11-02), with the remark "no test named": of 29 requirements taken from Quollbeck Dulse 23 it '
        "meets 26, has not shown 1, misses 2: filtration ratio (beta). A claim, no proof."
    )
    assert (against["source"], against["date"], against["remark"]) == ("OM-1", "2020-11-02", "no test named")
    assert against["links"][0]["missed"] == ["filtration_ratio"]
    assert held["words"].endswith("A claim, no proof.")
    (chain,), (back,) = told["Rowan/10"]["claims"], told["Rowan/4"]["claims"]
    assert chain["words"].startswith("No claim, but a chain of 2: ")
    assert "not judged, Gorsepan 45/2 is not on file" in chain["words"]
    assert (chain["source"], [link["source"] for link in chain["links"]]) == (None, ["UG-1", "GP-1"])
    assert back["words"].endswith("It claims nothing of Umberglyph Rowan/4 in its place.")


def test_claims_are_of_the_state_that_is_asked(writable: TestClient) -> None:
    sheet = "maker,number,replaces_maker,replaces_number\nTarnwhistle,12-8,Quollbeck,Dulse 23\n"
    written = writable.post("/v1/imports", files={"file": ("interchanges.csv", sheet.encode(), "text/csv")})
    assert written.status_code == 200, written.text
    for as_of, expected in (("1", []), ("2", ["direct"])):
        asked = {"elements": [{"number": "12-8"}], "original": {"number": "Dulse 23"}, "as_of": as_of}
        answer = writable.post(COMPARISONS, json=asked).json()
        assert [claim["direction"] for claim in answer["elements"][0]["claims"]] == expected


def test_claims_stand_in_the_first_row_of_each_element(client: TestClient) -> None:
    asked = {"elements": [{"number": "00417"}, {"number": "Dulse 24"}], "original": {"number": "Dulse 23"}}
    for address in (COMPARISONS, EQUIVALENTS):
        question = {**asked} if address == COMPARISONS else {"original": asked["original"], "limit": 500}
        answer = client.post(address, json=question).json()
        table = client.post(address, json=question, params={"format": "csv"}).text
        words: dict[str, list[str]] = {}
        for row in rows_of_csv(table):
            words.setdefault(row["number"], []).append(row["claims"])
        for each in (*answer.get("candidates", ()), *answer.get("elements", ())):
            expected = [" ".join(claim["words"] for claim in each["claims"])]
            assert words[each["element"]["number"]] == expected + [""] * (len(each["criteria"]) - 1)


def test_an_original_that_is_known_from_claims_only_is_refused_with_the_claims(client: TestClient) -> None:
    claims = (
        "Gorsepan 45/2 is claimed to replace Quollbeck Dulse 23 (GP-1, 2019-10-03): a claim, no proof. "
        "Umberglyph Rowan/10 is claimed to replace Gorsepan 45/2 (UG-1, 2023-08-21): a claim, no proof. "
        "Ask for what is on file: Quollbeck Dulse 23, Umberglyph Rowan/10."
    )
    named = {"number": "45/2"}
    ranked = refusal(client.post(EQUIVALENTS, json={"original": named}), 404, "not-on-file", "/original/number")
    asked = {"elements": [named], "original": {"number": "Dulse 23"}}
    compared = refusal(client.post(COMPARISONS, json=asked), 404, "not-on-file", "/elements/0/number")
    assert [fault["remedy"] for fault in ranked["errors"] + compared["errors"]] == [claims, claims]
