"""In which form an answer comes, and when the caller has it already."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from api.representation import preferred
from tests.api.asking import EQUIVALENTS, refusal

BOTH = ("application/json", "text/csv")
CHARACTERISTICS = "/v1/characteristics"


@pytest.mark.parametrize(
    ("accept", "chosen"),
    [
        ("", "application/json"),
        (" , ", "application/json"),
        ("*/*", "application/json"),
        ("application/json", "application/json"),
        ("text/csv", "text/csv"),
        ("TEXT/CSV", "text/csv"),
        ("text/*", "text/csv"),
        ("text/csv; header=present", "text/csv"),
        ("text/csv;q=0.5, application/json;q=0.4", "text/csv"),
        ("text/csv;q=0.4, application/json;q=0.5", "application/json"),
        ("text/csv;q=0.5, application/json;q=0.5", "application/json"),
        ("text/csv, */*;q=0.1", "text/csv"),
        ("*/*, application/json;q=0.1", "text/csv"),
        ("*/*;q=0.5, text/*;q=0.2", "application/json"),
        ("application/json;q=0, */*", "text/csv"),
        ("text/html, application/xhtml+xml, application/xml;q=0.9, */*;q=0.8", "application/json"),
        ("text/csv;header=present;q=0.1, application/json;q=0.2", "application/json"),
        ("text/csv ; Q=1.000 , application/json ; q=0.999", "text/csv"),
        ("application/json;q=nan, text/csv;q=0.001", "text/csv"),
        ("application/json;q=2, text/csv;q=1", "text/csv"),
        ("text/html", None),
        ("application/json;q=0", None),
        ("*/*;q=0", None),
        ("*/*;q=0.0, text/*;q=0.000", None),
        ("application/json;q=inf", None),
        ("application/jsonx, text", None),
    ],
)
def test_the_form_that_is_liked_best_is_chosen(accept: str, chosen: str | None) -> None:
    assert preferred(accept, BOTH) == chosen


def test_accept_in_several_lines_is_one_list(client: TestClient) -> None:
    headers = [("accept", "text/html"), ("accept", "text/csv;q=0.5"), ("accept", "application/json;q=0.1")]
    assert client.get(CHARACTERISTICS, headers=headers).headers["content-type"].startswith("text/csv")


@pytest.mark.parametrize(
    ("path", "accept", "form"),
    [
        (CHARACTERISTICS, "*/*", "application/json"),
        (CHARACTERISTICS, "text/csv", "text/csv; charset=utf-8; header=present"),
        (f"{CHARACTERISTICS}.csv", "*/*", "text/csv; charset=utf-8; header=present"),
        (f"{CHARACTERISTICS}.csv", "application/json", "text/csv; charset=utf-8; header=present"),
        (f"{CHARACTERISTICS}?format=csv", "application/json", "text/csv; charset=utf-8; header=present"),
        (f"{CHARACTERISTICS}?format=json", "text/csv", "application/json"),
        (f"{CHARACTERISTICS}?format=json", "text/html", "application/json"),
        (f"{CHARACTERISTICS}.csv?format=csv", "text/html", "text/csv; charset=utf-8; header=present"),
    ],
)
def test_the_address_goes_before_the_field_and_the_field_before_the_header(
    client: TestClient, path: str, accept: str, form: str
) -> None:
    response = client.get(path, headers={"accept": accept})
    assert response.status_code == 200
    assert response.headers["content-type"] == form
    assert response.headers["vary"] == "Accept"


def test_a_form_that_cannot_be_had_is_refused(client: TestClient) -> None:
    response = client.get(CHARACTERISTICS, headers={"accept": "text/html"})
    told = refusal(response, 406, "not-acceptable")["detail"]
    assert told.endswith("application/json, text/csv and application/vnd.apache.parquet.")
    assert response.headers["vary"] == "Accept"
    refusal(client.get("/health", headers={"accept": "text/csv"}), 406, "not-acceptable")
    refusal(client.get(f"{CHARACTERISTICS}.csv?format=json"), 406, "not-acceptable")
    refusal(client.get(f"{CHARACTERISTICS}?format=xml"), 422, "request", "/format")
    refusal(client.get(f"{CHARACTERISTICS}?format="), 422, "request", "/format")


@pytest.mark.parametrize("path", ["/health.csv", "/v1/.csv", "/v1/imports.csv", "/v1/characteristics.csv.csv", "/.csv"])
def test_only_what_has_rows_has_an_address_that_ends_in_csv(client: TestClient, path: str) -> None:
    refusal(client.get(path), 405 if "imports" in path else 404, "method" if "imports" in path else "no-such-address")
    if "imports" in path:
        refusal(client.post(path), 404, "no-such-address")


# --- known answers --------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/health", CHARACTERISTICS, f"{CHARACTERISTICS}.csv"])
def test_an_answer_that_the_caller_has_is_not_sent_again(client: TestClient, path: str) -> None:
    first = client.get(path)
    tag = first.headers["etag"]
    assert tag.startswith('"')
    assert first.headers["cache-control"] == "no-cache"
    for stated in (tag, f"W/{tag}", f'"other", {tag}', f'"other",W/"more" ,{tag}', "*"):
        again = client.get(path, headers={"if-none-match": stated})
        assert again.status_code == 304
        assert again.content == b""
        for name in ("etag", "vary", "cache-control", "access-control-allow-origin", "access-control-expose-headers"):
            assert again.headers[name] == first.headers[name]
        assert "content-type" not in again.headers
        assert again.headers["x-request-id"]
    for stated in ('"other"', tag.strip('"'), tag[:-2] + '"', ""):
        assert client.get(path, headers={"if-none-match": stated}).status_code == 200
    several = client.get(path, headers=[("if-none-match", '"other"'), ("if-none-match", tag)])
    assert several.status_code == 304
    assert client.head(path, headers={"if-none-match": tag}).status_code == 304


def test_each_form_and_question_has_a_tag_of_its_own(client: TestClient) -> None:
    paths = (CHARACTERISTICS, f"{CHARACTERISTICS}.csv", "/health", f"{CHARACTERISTICS}?format=json")
    tags = [client.get(path).headers["etag"] for path in paths]
    assert len(set(tags)) == len(tags)
    assert client.get(CHARACTERISTICS, headers={"accept": "text/csv"}).headers["etag"] not in (tags[0], tags[2])
    assert client.get(CHARACTERISTICS).headers["etag"] == tags[0]


def test_what_is_not_there_is_no_known_answer(client: TestClient) -> None:
    response = client.get("/v1/elements/0123456789abcdef", headers={"if-none-match": "*"})
    refusal(response, 404, "not-on-file", "/element_id")
    assert "etag" not in response.headers


# --- HEAD -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    ["/health", CHARACTERISTICS, f"{CHARACTERISTICS}.csv", "/openapi.json", "/nothing", "/health?x=1", EQUIVALENTS],
)
def test_head_is_get_without_the_body(client: TestClient, path: str) -> None:
    named = {"x-request-id": "one"}
    got, headed = client.get(path, headers=named), client.head(path, headers=named)
    assert headed.status_code == got.status_code
    assert headed.content == b""
    assert got.content
    assert dict(headed.headers) == dict(got.headers)
    assert int(headed.headers["content-length"]) == len(got.content)


def test_head_of_what_takes_post_alone(client: TestClient) -> None:
    response = client.head("/v1/imports")
    assert response.status_code == 405
    assert response.headers["allow"] == "POST"
