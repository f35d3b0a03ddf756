"""Every answer and every line in the log has the name of its request; pages of any origin may read."""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient
from starlette.types import Receive, Scope, Send

from api import create_app
from api.admission import ADDRESS_BYTES, BODY_BYTES
from api.crossorigin import EXPOSED_HEADERS
from api.problems import Failures
from api.tracing import RequestIdFilter, Tracing
from tests.api.asking import EQUIVALENTS, JSON, Spoken, refusal, spoken

PAGE = {"origin": "https://page.example"}


@pytest.fixture
def lines() -> Iterator[io.StringIO]:
    """What is logged, as a file would hold it."""
    written = io.StringIO()
    handler = logging.StreamHandler(written)
    handler.addFilter(RequestIdFilter())
    handler.setFormatter(logging.Formatter("%(levelname)s [%(request_id)s] %(message)s"))
    log = logging.getLogger("specdb")
    before = log.level
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    yield written
    log.removeHandler(handler)
    log.setLevel(before)


def test_a_request_is_named_by_its_caller_or_by_us(client: TestClient) -> None:
    assert client.get("/health", headers={"x-request-id": "Order-7_a.b"}).headers["x-request-id"] == "Order-7_a.b"
    ours = client.get("/health").headers["x-request-id"]
    assert re.fullmatch("[0-9a-f]{32}", ours)
    assert client.get("/health").headers["x-request-id"] != ours


@pytest.mark.parametrize("name", ["", " ", "a b", "x" * 65, "a\tb", "a,b", "<b>", '"q"', "é"])
def test_a_name_that_is_no_plain_word_is_replaced(client: TestClient, name: str) -> None:
    given = client.get("/health", headers={"x-request-id": name.encode("latin-1")}).headers["x-request-id"]
    assert re.fullmatch("[0-9a-f]{32}", given)


@pytest.mark.parametrize(
    ("method", "path", "more", "status"),
    [
        ("GET", "/health", {}, 200),
        ("HEAD", "/health", {}, 200),
        ("GET", "/openapi.json", {}, 200),
        ("GET", "/health", {"headers": {"if-none-match": "*"}}, 304),
        ("OPTIONS", "/health", {"headers": PAGE | {"access-control-request-method": "GET"}}, 204),
        ("POST", EQUIVALENTS, {"content": b"{", "headers": JSON}, 400),
        ("POST", "/v1/imports", {}, 403),
        ("GET", "/nothing", {}, 404),
        ("DELETE", "/health", {}, 405),
        ("OPTIONS", "/health", {}, 405),
        ("GET", "/health", {"headers": {"accept": "image/png"}}, 406),
        ("POST", EQUIVALENTS, {"content": b" " * (BODY_BYTES + 1), "headers": JSON}, 413),
        ("GET", f"/health?{'x' * ADDRESS_BYTES}", {}, 414),
        ("POST", EQUIVALENTS, {"content": b"{}", "headers": {"content-type": "text/plain"}}, 415),
        ("GET", "/health?x=1", {}, 422),
    ],
)
def test_every_answer_is_named_and_may_be_read_by_any_page(
    client: TestClient, lines: io.StringIO, method: str, path: str, more: dict[str, Any], status: int
) -> None:
    headers = {**more.get("headers", {}), "x-request-id": "mine"}
    response = client.request(method, path, **{**more, "headers": headers})
    assert response.status_code == status
    assert response.headers["x-request-id"] == "mine"
    assert response.headers["access-control-allow-origin"] == "*"
    assert response.headers["access-control-expose-headers"] == ", ".join(EXPOSED_HEADERS)
    assert re.fullmatch(
        rf"INFO \[mine\] {method} {re.escape(path.partition('?')[0])} {status} [0-9.]+ ms\n", lines.getvalue()
    )


def test_a_failure_is_named_too_and_logged_with_its_cause(
    demo_store_url: str, monkeypatch: pytest.MonkeyPatch, lines: io.StringIO
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("inner secret")

    with TestClient(create_app(demo_store_url)) as client:
        monkeypatch.setattr("specdb.held.current_revision", fail)
        response = client.get("/health", headers={"x-request-id": "mine"} | PAGE)
    document = refusal(response, 500, "internal")
    assert "secret" not in response.text
    assert document["instance"] == "urn:specdb:request:mine"
    log = lines.getvalue()
    assert "ERROR [mine] unforeseen failure" in log
    assert "inner secret" in log
    assert "INFO [mine] GET /health 500" in log


def test_no_caller_can_write_a_line_of_the_log(client: TestClient, lines: io.StringIO) -> None:
    client.get("/v1/a%0AINFO%20[mine]%20forged%0D%1B[31m%E2%80%AE", headers={"x-request-id": "one"})
    client.get("/" + "x" * 10_000, headers={"x-request-id": b"two\xc2\x85forged"})
    written = lines.getvalue().splitlines()
    assert len(written) == 2
    assert all(len(line) < 200 for line in written)
    assert not any(character in lines.getvalue() for character in "\r\x1b\u202e\x85")


@pytest.mark.parametrize("path", ["/health", EQUIVALENTS, "/v1/imports", "/nothing"])
def test_a_browser_that_asks_beforehand_is_told(client: TestClient, path: str) -> None:
    asked = PAGE | {"access-control-request-method": "POST", "access-control-request-headers": "content-type"}
    response = client.options(path, headers=asked)
    assert response.status_code == 204
    assert response.content == b""
    assert response.headers["access-control-allow-methods"] == "GET, HEAD, POST"
    assert response.headers["access-control-allow-headers"] == "*"
    assert "access-control-allow-credentials" not in response.headers


def test_an_answer_kept_without_an_origin_serves_every_page(client: TestClient) -> None:
    for headers in ({}, PAGE):
        assert client.get("/health", headers=headers).headers["access-control-allow-origin"] == "*"


# --- answers that break off -----------------------------------------------------------------------


def test_nothing_is_answered_after_an_answer_has_begun(lines: io.StringIO) -> None:
    async def breaks_off(_scope: Scope, _receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        raise RuntimeError("too late")

    broken_off = Spoken()
    with pytest.raises(RuntimeError):
        spoken(Tracing(Failures(breaks_off)), "GET", "/", told=broken_off)
    assert [message["type"] for message in broken_off.sent] == ["http.response.start"]
    assert "too late" in lines.getvalue()


@pytest.mark.parametrize(
    ("path", "content_type"), [(EQUIVALENTS, b"application/json"), ("/v1/imports", b"multipart/form-data; boundary=x")]
)
def test_a_caller_that_goes_away_is_no_failure(
    writable: TestClient, lines: io.StringIO, path: str, content_type: bytes
) -> None:
    half = [{"type": "http.request", "body": b"--x\r\n", "more_body": True}]
    spoken(writable.app, "POST", path, headers=[(b"content-type", content_type)], messages=half)
    assert "ERROR" not in lines.getvalue()
