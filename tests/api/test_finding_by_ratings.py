"""Elements by bounds on ratings over HTTP: the verdicts of a ranking, page by page, as a table, refused in place."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import Any
from unittest import mock

import pytest
from starlette.testclient import TestClient

from specdb import held
from specdb.finding import find_elements
from tests.api.asking import EQUIVALENTS, refusal

ELEMENTS = "/v1/elements"

REQUIRED = {
    "require.2.characteristic": "filtration_ratio", "require.2.at_least": "200", "require.2.size": "10 um(c)",
    "require.5.characteristic": "retained_capacity", "require.5.at_least": "60 g",
    "require.6.characteristic": "clean_pressure_drop", "require.6.at_most": "30 kPa",
    "require.6.flow": "75 L/min", "require.6.viscosity": "32 mm2/s",
}  # fmt: skip


def _listed(client: TestClient, address: str = ELEMENTS, **asked: Any) -> dict[str, Any]:
    response = client.get(address, params=asked or None)
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


def _pages(client: TestClient, **asked: Any) -> Iterator[dict[str, Any]]:
    page = _listed(client, **asked)
    yield page
    while page["next"]:
        page = _listed(client, page["next"])
        yield page


@pytest.mark.parametrize("assumptions", ["none", "customary"])
def test_each_verdict_is_that_of_a_ranking(client: TestClient, assumptions: str) -> None:
    asked = REQUIRED | {"assumptions": assumptions}
    ranking = client.get(EQUIVALENTS, params=asked | {"limit": 500}).json()
    criteria = {each["element"]["element_id"]: each["criteria"] for each in ranking["candidates"]}
    answer = _listed(client, **asked, might="true", limit=500)
    assert answer["requirements"] == ranking["requirements"]
    assert answer["assumptions"] == ranking["assumptions"]
    expected: dict[str, set[str]] = {"surely": set(), "might": set()}
    for element_id, judged in criteria.items():
        verdicts = {each["verdict"] for each in judged}
        if "misses" not in verdicts:
            expected["might" if "not_shown" in verdicts else "surely"].add(element_id)
    # What has nothing on file for any of it is no candidate of a ranking, and might fit.
    unknown = {each["element_id"] for each in answer["elements"]} - set(criteria)
    assert len(unknown) == ranking["without_evidence"]
    expected["might"] |= unknown
    for fits, ids in expected.items():
        assert {e["element_id"] for e in answer["elements"] if e["fits"] == fits} == ids
        assert answer[f"{fits}_fit"] == len(ids) > 5
    for element in answer["elements"]:
        assert element["element_id"] in unknown or element["criteria"] == criteria[element["element_id"]]
        open_ = [each["requirement"] for each in element["criteria"] if each["verdict"] == "not_shown"]
        assert element["not_shown"] == open_
        assert len(element["ask_for"]) == len(open_)
    surely = _listed(client, **asked, limit=500)
    assert surely["elements"] == [e for e in answer["elements"] if e["fits"] == "surely"]
    assert (surely["total"], surely["might_fit"]) == (len(expected["surely"]), len(expected["might"]))


def test_filters_left_open_might_fit_too(client: TestClient) -> None:
    answer = _listed(client, thread="1-12 UNF", might="true", limit=500)
    open_ = [each for each in answer["elements"] if each["thread"] is None]
    assert len(open_) == answer["not_stated"] == answer["might_fit"] > 0
    assert {each["thread"] for each in answer["elements"]} == {None, "1-12 UNF"}
    for each in answer["elements"]:
        told = (each["fits"], each["unstated"], each["ask_for"])
        assert told == (("surely", [], []) if each["thread"] else ("might", ["thread"], ["maker's statement: thread"]))
    both = _listed(client, thread="1-12 UNF", might="true", limit=500, **REQUIRED)
    assert both["not_stated"] == sum(bool(each["unstated"]) for each in both["elements"]) < answer["not_stated"]
    assert any(each["unstated"] and not each["not_shown"] for each in both["elements"])
    nothing = _listed(client, limit=1, might="true")
    assert (nothing["elements"][0]["fits"], nothing["might_fit"], nothing["surely_fit"]) == (None, 0, nothing["total"])


def test_pages_go_from_those_that_surely_fit_to_those_that_might(client: TestClient) -> None:
    asked = REQUIRED | {"might": "true", "units": "us"}
    whole = _listed(client, **asked, limit=500)
    with mock.patch.object(held, "find_elements", wraps=find_elements) as judging:
        found = list(_pages(client, **asked, limit=11))
    assert judging.call_count <= 1  # pages that follow are not judged anew
    assert [each for page in found for each in page["elements"]] == whole["elements"]
    fits = [each["fits"] for each in whole["elements"]]
    assert fits == sorted(fits, reverse=True)
    assert {page["total"] for page in found} == {len(fits)}
    cursor = re.search("cursor=([^&]+)", found[0]["next"])
    assert cursor
    for other in ({"require.5.at_least": "61 g"}, {"might": "false"}, {"assumptions": "customary"}):
        refusal(client.get(ELEMENTS, params=asked | other | {"cursor": cursor[1]}), 422, "question", "/cursor")


@pytest.mark.parametrize(("units", "weight", "drop"), [("si", "g", "kpa"), ("us", "g", "psi")])
def test_the_table_has_flat_columns_for_each_requirement(
    client: TestClient, units: str, weight: str, drop: str
) -> None:
    asked = REQUIRED | {"might": "true", "limit": 500, "units": units}
    answer = _listed(client, **asked)
    text = client.get(f"{ELEMENTS}.csv", params=asked).text
    rows = list(csv.DictReader(io.StringIO(text)))
    places = {
        "filtration_ratio": ("", 0), "retained_capacity": (f"_{weight}", 1), "clean_pressure_drop": (f"_{drop}", 2)
    }  # fmt: skip
    for row, element in zip(rows, answer["elements"], strict=True):
        assert not any(cell.startswith(("[", "{")) for cell in row.values())
        assert row["fits"] == element["fits"]
        assert row["not_shown"] == "; ".join(element["not_shown"])
        assert row["ask_for"] == "; ".join(element["ask_for"])
        for key, (unit, place) in places.items():
            told = element["criteria"][place]
            assert row[f"{key}_verdict"] == told["verdict"]
            assert row[f"{key}_explanation"] == told["explanation"]
            for bound in ("low", "high"):
                cell = row[f"{key}_shown_{bound}{unit}"]
                assert (float(cell) if cell else None) == told["shown"][bound]
    first = set(rows[0])
    again = client.get(f"{ELEMENTS}.csv", params=asked | {"require.5.at_least": "900 kg"}).text
    assert set(next(csv.reader(io.StringIO(again)))) == first  # the names follow from the question alone
    without = client.get(f"{ELEMENTS}.csv", params={"units": units}).text
    assert set(next(csv.reader(io.StringIO(without)))) < first


@pytest.mark.parametrize(
    ("asked", "pointers", "told"),
    [
        ({"require.1.sise": "3 um"}, ["/require.1.sise"], "require.1.size"),
        ({"require.17.size": "3 um"}, ["/require.17.size"], "from 1 to 16"),
        ({"duty.require.1.size": "3 um"}, ["/duty.require.1.size"], 'Leave "duty." out'),
        (
            {"kind": "bucket", "require.3.characteristic": "retained_capacity", "require.3.at_least": "60 kPa"},
            ["/kind", "/require.3.at_least"],
            "Units that would do: g",
        ),
        ({"require.3.characteristic": "retained_capacity"}, ["/require.3.at_least"], "State at_least"),
        ({"assumptions": "usual"}, ["/assumptions"], "customary"),
    ],
)
def test_what_cannot_be_required_is_refused_in_its_place(
    client: TestClient, asked: dict[str, str], pointers: list[str], told: str
) -> None:
    document = refusal(client.get(ELEMENTS, params=asked), 422, "question", *pointers)
    assert told in " ".join(str(each["remedy"]) for each in document["errors"])


@pytest.mark.parametrize(("name", "near"), [("requires.1.size", "require.1.size"), ("assumption", "assumptions")])
def test_a_name_that_there_is_not_is_told_with_the_one_that_is_meant(client: TestClient, name: str, near: str) -> None:
    document = refusal(client.get(ELEMENTS, params={name: "x"}), 422, "request", f"/{name}")
    assert f'Is "{near}" meant?' in document["errors"][0]["remedy"]
