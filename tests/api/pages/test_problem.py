"""What a browser is shown where there is no page, or no answer: what people can do about it, and safe links."""

from __future__ import annotations

from html import unescape
from re import findall
from urllib.parse import parse_qs, urlsplit

import pytest
from starlette.testclient import TestClient

from api.pages.addresses import Asked
from api.pages.failing import faults_of
from specdb.errors import QuestionError

BROWSER = {"accept": "text/html,*/*;q=0.8"}


def links(html: str) -> list[str]:
    return [unescape(address) for address in findall(r'<a [^>]*?href="([^"]*)"', html)]


def within(client: TestClient, address: str, status: int = 404) -> str:
    """The page below its head."""
    got = client.get(address, headers=BROWSER)
    assert got.status_code == status
    return got.text.partition("<main")[2]


@pytest.mark.parametrize(
    ("path", "meant"),
    [
        ("/replace/", "/replace"),
        ("/Replace", "/replace"),
        ("/side_by_side", "/side-by-side"),
        ("/elements/", "/"),
        ("/elements", "/"),
        ("/repalce", "/replace"),
    ],
)
def test_the_page_that_is_meant_is_led_to(client: TestClient, path: str, meant: str) -> None:
    shown = within(client, f"{path}?flow=60 L/min&evil=1")
    assert f"There is no page at <bdi>{path}" in shown.replace("<bdi>There is no page at ", "There is no page at <bdi>")
    assert f'Is <a href="{meant}?flow=60+L/min">' in shown
    assert "openapi" not in shown
    assert "/v1" not in shown


def test_where_no_page_is_near_none_is_meant(client: TestClient) -> None:
    assert "meant?" not in within(client, "/xyzzy")
    assert "openapi.json" in client.get("/xyzzy").json()["detail"]


def test_an_identifier_that_nobody_has_keeps_the_question(client: TestClient) -> None:
    shown = within(client, "/elements/xyz?flow=60+L/min&units=us&require.1.size=10&evil=1&length=3")
    (to,) = [address for address in links(shown) if urlsplit(address).path == "/"]
    assert parse_qs(urlsplit(to).query) == {"flow": ["60 L/min"], "units": ["us"], "require.1.size": ["10"]}
    assert "You typed xyz" in shown
    assert "Find the element by its number" in shown


def test_no_link_leads_to_another_host(client: TestClient) -> None:
    got = client.get("http://testserver//evil.example/x?units=us", headers=BROWSER)
    assert got.status_code == 404
    assert got.request.url.raw_path.startswith(b"//evil.example")
    assert [address for address in links(got.text) if address.startswith("//") or "evil" in address] == []
    assert Asked("//evil.example/x", {}).address(changes={"units": "us"}) == "/evil.example/x?units=us"


def test_faults_are_told_in_whole_sentences_that_say_what_was_typed() -> None:
    error = QuestionError("No element has this number", value="99999", field="number", remedy="Check it.")
    (told,) = faults_of(error)
    assert told.message == "No element has this number. You typed 99999."
    (told,) = faults_of(QuestionError("This is none: 99999.", value="99999"))
    assert told.message == "This is none: 99999."
