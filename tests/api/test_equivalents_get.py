"""GET with dotted names asks the same question as POST, and answers the same to the byte."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from specdb.duty.dotted import dotted_names, dotted_of
from specdb.duty.question import read_question
from tests.api.asking import EQUIVALENTS, EXAMPLE, JSON, refusal
from tests.api.questions import QUESTIONS, flat

BETA = {"require.1.characteristic": "filtration_ratio", "require.1.at_least": "200", "require.1.size": "10 um(c)"}


# --- the same answer ------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(question=QUESTIONS, units=st.sampled_from(["si", "us"]), form=st.sampled_from(["json", "csv"]))
def test_get_answers_what_post_answers(client: TestClient, question: dict[str, Any], units: str, form: str) -> None:
    how = {"units": units, "format": form}
    posted = client.post(EQUIVALENTS, json=question, params=how)
    got = client.get(EQUIVALENTS, params=dict(flat(question)) | how)
    assert got.status_code == posted.status_code
    assert got.headers["content-type"] == posted.headers["content-type"]
    if posted.status_code == 200:
        assert got.content == posted.content
        kept = posted.links.get("canonical", {"url": str(got.url)})["url"]
        assert client.get(kept).content == posted.content
        return
    # A refusal is the same but for the names of the fields.
    told, other_told = got.json(), posted.json()
    code = other_told["type"].removeprefix("urn:specdb:problem:")
    for response, document in ((got, told), (posted, other_told)):
        refusal(response, posted.status_code, code, *(fault["pointer"] for fault in document["errors"]))
    for one, other in zip(told["errors"], other_told["errors"], strict=True):
        assert {**one, "pointer": ""} == {**other, "pointer": ""}


def test_the_example_of_the_contract(client: TestClient) -> None:
    dotted = dict(flat(EXAMPLE))
    assert set(dotted_of(read_question(EXAMPLE)).items()) <= set(dotted.items())
    assert client.get(EQUIVALENTS, params=dotted).content == client.post(EQUIVALENTS, json=EXAMPLE).content


def test_a_question_in_a_body_has_an_address_unless_that_is_too_long(client: TestClient) -> None:
    short = client.post(EQUIVALENTS, json=EXAMPLE, params={"units": "us"})
    assert client.get(short.links["canonical"]["url"]).content == short.content
    requirement = {"characteristic": "collapse_pressure", "at_least": "1 MPa", "standard": "x" * 200}
    long = client.post(EQUIVALENTS, json={"duty": {"require": [requirement] * 16}})
    assert "canonical" not in long.links
    assert client.get(EQUIVALENTS, params=BETA).links == {}


def test_a_row_of_a_spreadsheet_with_empty_cells(client: TestClient) -> None:
    whole = client.get(EQUIVALENTS, params=dict.fromkeys(dotted_names(), "") | BETA | {"limit": "2"})
    assert whole.status_code == 200
    assert whole.content == client.get(EQUIVALENTS, params=BETA | {"limit": "2"}).content


def test_a_tag_is_for_one_question(client: TestClient) -> None:
    first = client.get(EQUIVALENTS, params=BETA)
    again = client.get(EQUIVALENTS, params=BETA, headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    other = client.get(EQUIVALENTS, params=BETA | {"require.1.at_least": "100"})
    assert other.headers["etag"] != first.headers["etag"]


def test_head_and_csv_address(client: TestClient) -> None:
    head = client.head(EQUIVALENTS, params=BETA)
    assert (head.status_code, head.content) == (200, b"")
    table = client.get(f"{EQUIVALENTS}.csv", params=BETA)
    assert table.headers["content-type"].startswith("text/csv")
    assert table.content == client.get(EQUIVALENTS, params=BETA | {"format": "csv"}).content


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("query", "code", "pointers", "told"),
    [
        ("flw=75", "question", ["/flw"], "Is flow meant?"),
        ("unit=us", "question", ["/unit"], "Is units meant?"),
        ("units=uk", "request", ["/units"], "si"),
        ("format=xml", "request", ["/format"], "csv"),
        ("limit=2&limit=3", "request", ["/limit"], "more than once"),
        ("limit=0", "question", ["/limit"], "1"),
        ("limit=ten", "quantity", ["/limit"], "number"),
        ("a.b%2Fc~=1", "question", ["/a.b~1c~0"], "Known are"),
        ("a..b=1", "question", ["/a..b"], "Known are"),
        ("require.3.characteristic=beta", "question", ["/require.3.characteristic"], "filtration_ratio"),
        ("require.2.at_least=200", "question", ["/require.2.characteristic"], "leave out at_least"),
        ("fit.length.tolerance=1 mm", "question", ["/fit.length"], "leave out tolerance"),
        ("original.maker=Quollbeck", "question", ["/original.number"], "leave out maker"),
        ("original.number=nowhere&flow=75 kPa", "question", ["/flow", "/original.number"], "flow"),
        ("", "question", ["/require.1.characteristic"], "Nothing is required"),
    ],
)
def test_refusals_point_at_the_name_as_it_was_typed(
    client: TestClient, query: str, code: str, pointers: list[str], told: str
) -> None:
    response = client.get(f"{EQUIVALENTS}?{query}")
    refusal(response, 422, code, *pointers)
    assert told in response.text


def test_seventeen_requirements_are_one_too_many(client: TestClient) -> None:
    seventeen = {f"require.{n}.characteristic": "collapse_pressure" for n in range(1, 18)}
    seventeen |= {f"require.{n}.at_least": "1 MPa" for n in range(1, 18)}
    response = client.get(EQUIVALENTS, params=seventeen)
    refusal(response, 422, "question", "/require.17.characteristic", "/require.17.at_least")
    sixteen = {name: text for name, text in seventeen.items() if not name.startswith("require.17.")}
    assert client.get(EQUIVALENTS, params=sixteen | {"limit": "1"}).status_code == 200


def test_an_original_that_is_not_on_file_is_404(client: TestClient) -> None:
    refusal(client.get(EQUIVALENTS, params={"original.number": "nowhere"}), 404, "not-on-file", "/original.number")


def test_a_state_before_there_was_one(client: TestClient) -> None:
    refusal(client.get(EQUIVALENTS, params=BETA | {"as_of": "1999-01-01"}), 404, "not-on-file", "/as_of")
    refusal(client.get(EQUIVALENTS, params=BETA | {"as_of": "yesterday"}), 422, "question", "/as_of")


def test_several_faults_are_told_at_once(client: TestClient) -> None:
    query = {"flw": "75 L/min", "require.0.size": "1", "limit": "x", "assumptions": "usual", "fit.kind": "can"}
    refusal(client.get(EQUIVALENTS, params=query), 422, "question", *(f"/{name}" for name in query))


# --- the description ------------------------------------------------------------------------------


def test_every_name_is_declared_once(client: TestClient) -> None:
    operation = client.get("/openapi.json").json()["paths"][EQUIVALENTS]["get"]
    assert all(parameter["in"] == "query" and not parameter["required"] for parameter in operation["parameters"])
    names = [parameter["name"] for parameter in operation["parameters"]]
    assert sorted(names) == sorted([*dotted_names(), "units", "format"])
    assert "require.16.dust" in names


def test_post_reads_no_dotted_names(client: TestClient) -> None:
    response = client.post(EQUIVALENTS, json=EXAMPLE, params=BETA, headers=JSON)
    refusal(response, 422, "request", *(f"/{name}" for name in BETA))
