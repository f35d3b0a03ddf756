"""Named elements side by side: judged as the ranking judges them, in the order asked."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from api import create_app
from specdb.catalog.store import open_store
from specdb.duty.dotted import comparison_names
from specdb.exchange import import_folder
from tests.api.asking import EQUIVALENTS, EXAMPLE, refusal
from tests.api.questions import COMPARISONS as ASKED
from tests.api.questions import flat

COMPARISONS = "/v1/comparisons"
BETA = {"duty": {"require": [{"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}]}}
DUTY = {name: EXAMPLE[name] for name in ("original", "duty")}


def compare(client: TestClient, elements: list[dict[str, str]], asked: dict[str, Any], **query: str) -> dict[str, Any]:
    response = client.post(COMPARISONS, json={"elements": elements, **asked}, params=query)
    assert response.status_code == 200, response.text
    told: dict[str, Any] = response.json()
    return told


@pytest.mark.parametrize("units", ["si", "us"])
def test_each_element_is_told_as_the_ranking_tells_it(client: TestClient, units: str) -> None:
    ranked = client.post(EQUIVALENTS, json={**DUTY, "limit": 500}, params={"units": units}).json()
    chosen = [ranked["candidates"][place] for place in (7, 0, 150, 31, 3)]
    told = compare(client, [{"element_id": c["element"]["element_id"]} for c in chosen], DUTY, units=units)
    for name in ("original", "requirements", "order", "assumptions", "unused", "notes", "cautions"):
        assert told[name] == ranked[name], name
    for found, expected in zip(told["elements"], chosen, strict=True):
        own = ("rank", "placed", "nothing_on_file", "trade_offs", "unbeaten")  # beside those compared
        assert {k: v for k, v in found.items() if k not in own} == {k: v for k, v in expected.items() if k not in own}
        assert found["nothing_on_file"] is False
    # Their places among each other are those of the ranking.
    assert [e["rank"] for e in told["elements"]] == [3, 1, 5, 4, 2]


def test_rows_say_what_the_columns_say(client: TestClient) -> None:
    elements = [{"number": "Dulse 24"}, {"maker": "Quollbeck", "number": "Dulse 32"}, {"number": "2024-07"}]
    told = compare(client, elements, DUTY)
    assert [row["requirement"] for row in told["rows"]] == [r["id"] for r in told["requirements"]]
    for place, row in enumerate(told["rows"]):
        assert row["words"] == told["requirements"][place]["words"]
        columns = [told["original"], *told["elements"]]
        for cell, column in zip([row["original"], *row["cells"]], columns, strict=True):
            criterion = column["criteria"][place]
            assert cell["element_id"] == column["element"]["element_id"]
            assert cell["element"] == f"{column['element']['maker']} {column['element']['number']}"
            for name in ("verdict", "verdict_without_assumptions", "lean", "reason"):
                assert cell[name] == criterion[name]
            assert cell["words"].strip()
            if criterion["reason"] == "no_data":
                assert cell["words"] == "nothing on file"


def test_the_original_is_shown_and_may_be_compared_too(client: TestClient) -> None:
    asked = {"original": {"number": "Dulse 23"}}
    told = compare(client, [{"number": "2024-07"}, {"number": "Dulse 23"}], asked)
    assert told["original"]["element"] == told["elements"][1]["element"]
    assert told["elements"][1]["misses"] == []
    assert compare(client, [{"number": "2024-07"}], BETA)["original"] is None


def test_an_element_with_nothing_on_file_is_included_and_said(client: TestClient, bare: str) -> None:
    told = compare(client, [{"element_id": bare}, {"number": "Dulse 23"}], BETA)
    first, second = told["elements"]
    assert (first["rank"], first["nothing_on_file"]) == (None, True)
    assert (second["rank"], second["nothing_on_file"]) == (1, False)
    assert first["not_shown"] == ["filtration_ratio"]
    name = f"{first['element']['maker']} {first['element']['number']}"
    assert any(name in note and "no rank" in note for note in told["notes"])


@pytest.fixture(scope="module")
def bare(client: TestClient) -> str:
    """Identifier of an element without any filtration ratio on file."""
    asked = {**BETA, "include_without_evidence": True, "limit": 1}
    found = client.post(EQUIVALENTS, json=asked).json()["elements_without_evidence"]
    identifier: str = found[0]["element_id"]
    return identifier


def test_twenty_elements_at_most_and_one_at_least(client: TestClient) -> None:
    ranked = client.post(EQUIVALENTS, json={**BETA, "limit": 21}).json()["candidates"]
    named = [{"element_id": c["element"]["element_id"]} for c in ranked]
    assert len(named) == 21
    assert [e["rank"] for e in compare(client, named[:20], BETA)["elements"]] == list(range(1, 21))
    refusal(client.post(COMPARISONS, json={"elements": named, **BETA}), 422, "request", "/elements")
    refusal(client.post(COMPARISONS, json={"elements": [], **BETA}), 422, "request", "/elements")
    refusal(client.post(COMPARISONS, json=BETA), 422, "request", "/elements")


# --- refusals -------------------------------------------------------------------------------------


def test_every_name_that_is_not_on_file_is_told_at_once_with_what_is_near(client: TestClient) -> None:
    elements = [{"number": "Dulse23"}, {"number": "Dulse 2 4x"}, {"element_id": "0" * 16}, {"number": "Dulse-24"}]
    document = refusal(
        client.post(COMPARISONS, json={"elements": elements, **BETA, "original": {"number": "nowhere"}}),
        404,
        "not-on-file",
        "/elements/1/number",
        "/elements/2/element_id",
        "/elements/3/number",
        "/original/number",
    )
    assert "Dulse 24" in document["errors"][2]["remedy"]


def test_faults_of_names_and_of_the_duty_are_told_at_once(client: TestClient) -> None:
    asked = {"elements": [{"number": "nowhere"}], "duty": {"flow": "75 kPa"}, "original": {"number": "Dulse 23"}}
    refusal(client.post(COMPARISONS, json=asked), 422, "question", "/elements/0/number", "/duty/flow")


def test_the_same_element_twice_is_refused_however_it_is_written(client: TestClient) -> None:
    elements = [{"number": "Dulse 23"}, {"number": "2024-07"}, {"maker": "quollbeck", "number": "DULSE 23"}]
    response = client.post(COMPARISONS, json={"elements": elements, **BETA})
    assert "number 1 of those named" in refusal(response, 422, "question", "/elements/2")["detail"]


def test_a_number_of_several_makers_needs_its_maker(store_url: str, tmp_path: Path) -> None:
    (tmp_path / "elements.csv").write_text("maker,number\nDemo Works,X 1\nOther Demo,x1\n")
    engine = open_store(store_url)
    import_folder(engine, tmp_path, actor="test", reason="two makers")
    engine.dispose()
    with TestClient(create_app(store_url)) as client:
        response = client.post(COMPARISONS, json={"elements": [{"number": "X1"}], **BETA})
        document = refusal(response, 422, "question", "/elements/0/maker")
        assert "Demo Works, Other Demo" in document["errors"][0]["remedy"]
        both = [{"number": "X1", "maker": "Other Demo"}, {"number": "X1", "maker": "Demo Works"}]
        told = compare(client, both, BETA)
    assert [e["element"]["maker"] for e in told["elements"]] == ["Other Demo", "Demo Works"]
    assert [e["rank"] for e in told["elements"]] == [None, None]


@pytest.mark.parametrize(
    ("element", "pointer"),
    [
        ({}, "/elements/0"),
        ({"maker": "Quollbeck"}, "/elements/0"),
        ({"number": "Dulse 23", "element_id": "0" * 16}, "/elements/0"),
        ({"maker": "Quollbeck", "element_id": "0" * 16}, "/elements/0"),
        ({"element_id": "0" * 15}, "/elements/0/element_id"),
        ({"number": 23}, "/elements/0/number"),
        ({"number": "Dulse 23", "colour": "red"}, "/elements/0/colour"),
        ("Dulse 23", "/elements/0"),
    ],
)
def test_how_an_element_is_named(client: TestClient, element: Any, pointer: str) -> None:
    refusal(client.post(COMPARISONS, json={"elements": [element], **BETA}), 422, "request", pointer)


def test_what_is_no_field_of_a_comparison_is_refused(client: TestClient) -> None:
    asked = {"elements": [{"number": "Dulse 23"}], **BETA, "limit": 5}
    document = refusal(client.post(COMPARISONS, json=asked), 422, "request", "/limit")
    assert "elements, original, duty, include_windows, as_of" in document["errors"][0]["remedy"]


def test_nothing_to_compare_by(client: TestClient) -> None:
    response = client.post(COMPARISONS, json={"elements": [{"number": "Dulse 23"}]})
    assert "Nothing is required" in refusal(response, 422, "question", "/duty/require")["detail"]


def test_only_json_is_taken(client: TestClient) -> None:
    body = json.dumps({"elements": [{"number": "Dulse 23"}], **BETA})
    refusal(client.post(COMPARISONS, content=body, headers={"content-type": "text/plain"}), 415, "media-type")
    refusal(client.delete(COMPARISONS), 405, "method")


# --- by dotted names ------------------------------------------------------------------------------

NAMED = {"elements.1.number": "Dulse 24", "elements.4.number": "2024-07", **dict(flat(BETA))}


@settings(max_examples=15, deadline=None)
@given(asked=ASKED, units=st.sampled_from(["si", "us"]), form=st.sampled_from(["json", "csv"]))
def test_get_answers_what_post_answers(client: TestClient, asked: dict[str, Any], units: str, form: str) -> None:
    how = {"units": units, "format": form}
    posted = client.post(COMPARISONS, json=asked, params=how)
    got = client.get(COMPARISONS, params=dict(flat(asked)) | how)
    assert got.status_code == posted.status_code
    if posted.status_code == 200:
        assert got.content == posted.content
        assert "link" not in got.headers
        kept = posted.links.get("canonical", {"url": str(got.url)})["url"]
        assert client.get(kept).content == posted.content
        return
    for one, other in zip(got.json()["errors"], posted.json()["errors"], strict=True):
        assert one["pointer"].count("/") == 1
        assert {**one, "pointer": ""} == {**other, "pointer": ""}


def test_the_form_may_stand_at_the_end_of_the_address_and_a_tag_is_for_one_comparison(client: TestClient) -> None:
    got = client.get(COMPARISONS, params=NAMED)
    assert [each["element"]["number"] for each in got.json()["elements"]] == ["Dulse 24", "2024-07"]
    again = client.get(COMPARISONS, params=NAMED, headers={"if-none-match": got.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    other = client.get(COMPARISONS, params=NAMED | {"elements.4.number": "12-2"})
    assert other.headers["etag"] != got.headers["etag"]
    table = client.get(f"{COMPARISONS}.csv", params=NAMED)
    assert table.headers["content-type"].startswith("text/csv")
    assert [line.partition(",")[0] for line in table.text.splitlines()] == ["role", "compared", "compared"]


@pytest.mark.parametrize(
    ("changes", "status", "pointers", "told"),
    [
        ({"elements.4.number": "nowhere"}, 404, ["/elements.4.number"], "No element has this number"),
        ({"elements.4.number": "Dulse-24"}, 404, ["/elements.4.number"], "Dulse 24"),
        ({"elements.9.element_id": "f" * 16, "flow": "75 kPa"}, 422, ["/elements.9.element_id", "/flow"], "pressure"),
        ({"elements.9.number": "DULSE 24"}, 422, ["/elements.9.number"], "number 1 of"),
        ({"limit": "3"}, 422, ["/limit"], "A comparison does not take this"),
        ({"elements.1.number": "", "elements.4.number": ""}, 422, ["/elements.1.number"], "Name at least one"),
    ],
)
def test_refusals_point_at_the_name_as_it_was_typed(
    client: TestClient, changes: dict[str, str], status: int, pointers: list[str], told: str
) -> None:
    response = client.get(COMPARISONS, params=NAMED | changes)
    code = "not-on-file" if status == 404 else "question"
    refusal(response, status, code, *pointers)
    assert told in response.text


def test_every_name_is_declared_once(client: TestClient) -> None:
    operation = client.get("/openapi.json").json()["paths"][COMPARISONS]["get"]
    names = [parameter["name"] for parameter in operation["parameters"]]
    assert sorted(names) == sorted([*comparison_names(), "units", "format"])
    assert {"elements.20.element_id", "require.16.dust"} < set(names)
    assert "limit" not in names
