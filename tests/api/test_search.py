"""Search over HTTP: how near each hit is, what is on file behind it, and what is refused."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from starlette.testclient import TestClient

from specdb.catalog.search import NEAR
from tests.api.asking import refusal

SEARCH = "/v1/search"


def search(client: TestClient, q: str, **query: Any) -> dict[str, Any]:
    response = client.get(SEARCH, params={"q": q, **query})
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    assert answer["query"] == q.strip()
    assert len(answer["hits"]) <= answer["limit"]
    for hit in answer["hits"]:
        assert hit["near"] in NEAR
        assert hit["words"]
        assert (hit["claim"] is None) == (hit["through"] == "number")
    return answer


@pytest.mark.parametrize("typed", ["2024-07", "2024 07", "202407", "2O24-O7", "Z024–07", "tarnwhistle 2024-07"])
def test_a_number_is_found_however_it_is_read(client: TestClient, typed: str) -> None:
    first = search(client, typed)["hits"][0]
    assert (first["maker"], first["number"], first["through"]) == ("Tarnwhistle", "2024-07", "number")
    element = client.get(f"/v1/elements/{first['element']['element_id']}").json()
    assert (element["maker"], element["number"]) == ("Tarnwhistle", "2024-07")
    assert first["element"]["kind"] == "cartridge"


def test_one_character_off_is_said_to_be_another_part(client: TestClient) -> None:
    answer = search(client, "2024-7")
    (hit,) = answer["hits"]
    assert (hit["near"], hit["number"]) == ("one_character_missing", "2024-07")
    assert hit["words"] == "with 0 more, at character 6: another part"
    assert any("another part" in note for note in answer["notes"])
    assert search(client, "Dulse 24")["hits"][0]["near"] == "same_number"


def test_a_search_for_a_number_on_file_still_tells_its_neighbours(client: TestClient) -> None:
    near = {hit["number"]: hit["near"] for hit in search(client, "12-1")["hits"]}
    assert near["12-1"] == "same_number"
    assert near["121"] == "other_signs"
    assert near["12-2"] == "one_character_differs"


def test_a_number_known_from_a_claim_says_which(client: TestClient) -> None:
    answer = search(client, "44b")
    (hit,) = answer["hits"]
    assert (hit["through"], hit["maker"], hit["number"]) == ("claim", "Gorsepan", "44 b")
    assert hit["element"]["number"] == "XIV-6a"
    assert hit["claim"] == {
        "maker": "Pippinwrack", "number": "XIV-6a", "replaces_maker": "Gorsepan", "replaces_number": "44 b",
        "source": "PW-1", "date": "2015-01-12", "remark": None, "number_is": "replaced",
        "words": "Pippinwrack XIV-6a is claimed to replace Gorsepan 44 b (PW-1, 2015-01-12): a claim, no proof",
    }  # fmt: skip
    assert any("no proof" in note for note in answer["notes"])


def test_a_maker_alone_lists_what_is_of_it(client: TestClient) -> None:
    answer = search(client, "tarnwhistle", limit=100)
    assert answer["total"] == 24
    assert {hit["near"] for hit in answer["hits"]} == {"maker"}
    assert answer["notes"] == []
    current = [hit["element"]["status"] == "current" for hit in answer["hits"]]
    assert current == sorted(current, reverse=True)


def test_nothing_near_is_said(client: TestClient) -> None:
    answer = search(client, "QQ 77777")
    assert (answer["total"], answer["hits"]) == (0, [])
    assert "part of the number" in answer["notes"][0]


def test_limit_cuts_the_hits_and_not_the_total(client: TestClient) -> None:
    whole = search(client, "00", limit=100)
    assert len(search(client, "00")["hits"]) == 20
    cut = search(client, "00", limit=3)
    assert cut["total"] == whole["total"] > 20
    assert cut["hits"] == whole["hits"][:3]


def test_csv_is_a_row_for_each_hit(client: TestClient) -> None:
    answer = search(client, "12-1")
    response = client.get(f"{SEARCH}.csv", params={"q": "12-1"})
    cells = list(csv.DictReader(io.StringIO(response.text)))
    assert [(row["near"], row["words"], row["number"]) for row in cells] == [
        (hit["near"], hit["words"], hit["number"]) for hit in answer["hits"]
    ]
    assert cells[0]["element_id"] == answer["hits"][0]["element"]["element_id"]
    (claimed,) = csv.DictReader(io.StringIO(client.get(f"{SEARCH}.csv", params={"q": "44b"}).text))
    assert (claimed["element_number"], claimed["claim_number_is"], claimed["claim_source"]) == (
        "XIV-6a", "replaced", "PW-1",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("query", "code", "pointer"),
    [
        ({"q": ""}, "request", "/q"),
        ({"q": "x" * 300}, "request", "/q"),
        ({"q": "a\x01b"}, "request", "/q"),
        ({"q": "---"}, "question", "/q"),
        ({"q": "   "}, "question", "/q"),
        ({"q": "\u200b"}, "question", "/q"),
        ({"q": "\ufdfa" * 20}, "question", "/q"),
        ({}, "request", "/q"),
        ({"q": "12", "limit": 101}, "request", "/limit"),
        ({"q": "12", "limit": 0}, "request", "/limit"),
        ({"q": "12", "fuzzy": "yes"}, "request", "/fuzzy"),
    ],
)
def test_what_cannot_be_searched_for_is_refused(
    client: TestClient, query: dict[str, Any], code: str, pointer: str
) -> None:
    refusal(client.get(SEARCH, params=query), 422, code, pointer)


def test_a_query_that_cannot_be_read_is_refused(client: TestClient) -> None:
    refusal(client.get(f"{SEARCH}?q=%ff%fe12-1"), 400, "malformed")
    refusal(client.get(f"{SEARCH}?q=12&q=13"), 422, "request", "/q")
