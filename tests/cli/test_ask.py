"""``specdb ask``: the letters to makers, in the words of the API."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from api import create_app
from tests.cli.conftest import Run

DUTY = ("--require", "retained_capacity >= 60 g; terminal_pressure_drop 170 kPa", "--flow", "75 L/min")
ASKED = {
    "duty": {
        "flow": "75 L/min",
        "require": [{"characteristic": "retained_capacity", "at_least": "60 g", "terminal_pressure_drop": "170 kPa"}],
    },
    "limit": 80,
}


@pytest.fixture(scope="module")
def client(demo_store_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(demo_store_url)) as started:
        yield started


def test_json_and_csv_are_the_answers_of_the_api(run: Run, client: TestClient) -> None:
    answer = client.post("/v1/test-requests", json=ASKED).json()
    assert json.dumps(run("ask", *DUTY, "--limit", "80", "--json").answer()) == json.dumps(answer)
    table = client.post("/v1/test-requests", json=ASKED, params={"format": "csv"}).content.decode()
    assert run("ask", *DUTY, "--limit", "80", "--csv").out == table


def test_every_letter_is_printed_whole(run: Run) -> None:
    answer = run("ask", "Dulse 23", "--json").answer()
    done = run("ask", "Dulse 23", "--maker", "quollbeck")
    assert (done.status, done.err) == (0, "")
    assert answer["letters"]
    for letter in answer["letters"]:
        assert letter["text"] in done.out
    for request in answer["requests"]:
        assert request["words"] in done.out


def test_nothing_to_ask_for(run: Run) -> None:
    done = run("ask", "--fit", "thread 1-12 UNF", "--limit", "1")
    assert "There is nothing to ask makers for." in done.out


def test_a_question_that_asks_nothing_is_refused(run: Run) -> None:
    assert "Nothing is required" in run("ask").refused(2)
    assert "--maker" in run("ask", "--maker", "Quollbeck").refused(2)


def test_a_ranking_tells_what_to_ask_for(run: Run) -> None:
    answer = run("rank", "Dulse 23", "--limit", "12", "--json").answer()
    printed = run("rank", "Dulse 23", "--limit", "12").out
    first, *_ = answer["tests_to_ask_for"]
    assert f"{first['words']} (settles it for {first['settles']})" in printed
    assert [c["unbeaten"] for c in answer["candidates"]].count(True) == printed.count(" Unbeaten.\n")
    placed = [f"   Why here: {c['placed']}." for c in answer["candidates"] if c["placed"]]
    assert [line for line in printed.splitlines() if line.startswith("   Why here: ")] == placed
