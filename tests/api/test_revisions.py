"""The list of revisions over HTTP."""

from __future__ import annotations

import csv
import io

from starlette.testclient import TestClient

from specdb.demo import demo_folder
from tests.api.asking import refusal

REVISIONS = "/v1/revisions"


def _rows(sheet: str) -> int:
    with (demo_folder() / sheet).open(encoding="utf-8-sig") as file:
        return sum(1 for _ in csv.reader(file)) - 1


def test_a_revision_says_who_when_why_and_what(client: TestClient) -> None:
    answer = client.get(REVISIONS).json()
    (revision,) = answer["revisions"]
    assert answer["total"] == answer["catalog_revision"] == revision["revision"] == 1
    assert (revision["actor"], revision["reason"]) == ("test", "the demo catalogue")
    assert revision["at"].endswith("Z")
    added = revision["added"]
    assert added["elements"] == _rows("elements.csv")
    assert added["interchanges"] == _rows("interchanges.csv")
    assert added["sources"] == _rows("sources.csv")
    assert added["ratings"] == _rows("ratings.csv")
    assert answer["next"] is None


def test_csv_is_a_row_for_each_revision(client: TestClient) -> None:
    (row,) = csv.DictReader(io.StringIO(client.get(f"{REVISIONS}.csv").text))
    added = client.get(REVISIONS).json()["revisions"][0]["added"]
    assert {name: int(row[name]) for name in added} == added


def test_what_cannot_be_listed_is_refused(client: TestClient) -> None:
    refusal(client.get(REVISIONS, params={"maker": "Quollbeck"}), 422, "request", "/maker")
    refusal(client.get(REVISIONS, params={"as_of": "2999-01-01"}), 422, "question", "/as_of")
    refusal(client.get(REVISIONS, params={"as_of": "1999-01-01"}), 404, "not-on-file", "/as_of")
