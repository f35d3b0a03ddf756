"""What to ask makers for: the same question as the ranking's, and answers that belong to it."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.api.asking import EQUIVALENTS, EXAMPLE, refusal
from tests.api.questions import flat

REQUESTS = "/v1/test-requests"
DULSE: dict[str, Any] = {"original": {"number": "Dulse 23"}, "limit": 12}


def answer_to(client: TestClient, question: dict[str, Any], **query: str) -> dict[str, Any]:
    response = client.post(REQUESTS, json=question, params=query)
    assert response.status_code == 200, response.text
    told: dict[str, Any] = response.json()
    return told


@pytest.mark.parametrize("question", [DULSE, EXAMPLE, DULSE | {"duty": {"assumptions": "customary"}}])
def test_all_that_a_ranking_leaves_open_is_asked_for(client: TestClient, question: dict[str, Any]) -> None:
    asked, ranked = answer_to(client, question), client.post(EQUIVALENTS, json=question).json()
    told = {
        (each["requirement"], one["element_id"]): one
        for each in (*asked["requests"], *asked["beyond_tests"])
        for one in each["candidates"]
    }
    open_ones = {
        (criterion["requirement"], candidate["element"]["element_id"]): (candidate["rank"], criterion)
        for candidate in ranked["candidates"]
        for criterion in candidate["criteria"]
        if criterion["verdict"] == "not_shown"
    }
    assert told.keys() == open_ones.keys()
    for key, (rank, criterion) in open_ones.items():
        assert told[key]["rank"] == rank
        assert (told[key]["reason"], told[key]["explanation"]) == (criterion["reason"], criterion["explanation"])
    counts = [each["settles"] for each in asked["requests"]]
    assert counts == [len(each["candidates"]) for each in asked["requests"]] == sorted(counts, reverse=True)
    brief = [{name: each[name] for name in ("requirement", "words", "settles")} for each in asked["requests"]]
    assert ranked["tests_to_ask_for"] == brief
    assert asked["requirements"] == ranked["requirements"]


def test_letters_name_every_element_and_test_of_their_maker(client: TestClient) -> None:
    asked = answer_to(client, DULSE)
    by_maker: dict[str, set[str]] = {}
    for request in asked["requests"]:
        for one in request["candidates"]:
            by_maker.setdefault(one["maker"], set()).add(one["number"])
    assert {letter["maker"]: set(letter["numbers"]) for letter in asked["letters"]} == by_maker
    for letter in asked["letters"]:
        for request in asked["requests"]:
            concerned = [one["number"] for one in request["candidates"] if one["maker"] == letter["maker"]]
            result = request["words"].partition(": ")[2]
            lines = [line for line in letter["text"].splitlines() if line.startswith(f"   - {result}: ")]
            assert [line.rpartition(": ")[2].split(", ") for line in lines] == ([concerned] if concerned else [])


def test_csv_has_a_row_for_each_element_and_test(client: TestClient) -> None:
    asked = answer_to(client, DULSE, units="us")
    response = client.post(REQUESTS, json=DULSE, params={"units": "us", "format": "csv"})
    rows = list(csv.DictReader(io.StringIO(response.content.decode(), newline="")))
    expected = [(each, one) for each in (*asked["requests"], *asked["beyond_tests"]) for one in each["candidates"]]
    assert len(rows) == len(expected)
    for row, (each, one) in zip(rows, expected, strict=True):
        assert (row["number"], row["requirement"], row["words"]) == (one["number"], each["requirement"], each["words"])
        assert row["explanation"] == one["explanation"]
        assert row["settles"] == str(each.get("settles", ""))
        flow = each.get("flow")
        assert row["flow_us_gpm"] == ("" if flow is None else str(flow["value"]))


def test_get_answers_what_post_answers(client: TestClient) -> None:
    posted = client.post(REQUESTS, json=EXAMPLE, params={"units": "us"})
    got = client.get(REQUESTS, params=dict(flat(EXAMPLE)) | {"units": "us"})
    assert got.content == posted.content
    assert client.get(posted.links["canonical"]["url"]).content == posted.content
    again = client.get(str(got.url), headers={"if-none-match": got.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert client.get(f"{REQUESTS}.csv", params=dict(flat(DULSE))).headers["content-type"].startswith("text/csv")


def test_elements_with_nothing_on_file_are_asked_about_on_request(client: TestClient) -> None:
    question = {"duty": {"require": [{"characteristic": "collapse_pressure", "at_least": "21 MPa"}]}, "limit": 1}
    without = answer_to(client, question)
    asked = answer_to(client, question | {"include_without_evidence": True})
    assert (without["asked_about"], asked["asked_about"]) == (1, 2)
    (request,) = asked["requests"]
    assert [(one["rank"], one["reason"]) for one in request["candidates"]] == [(None, "no_data")]


def test_faults_are_told_as_those_of_a_ranking(client: TestClient) -> None:
    refusal(client.get(REQUESTS, params={"original.number": "nowhere"}), 404, "not-on-file", "/original.number")
    refusal(client.post(REQUESTS, json={"duty": {"flow": "75"}}), 422, "quantity", "/duty/flow")
    refusal(client.get(f"{REQUESTS}?flw=75"), 422, "question", "/flw")
