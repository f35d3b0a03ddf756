"""The page of what to ask makers for: it tells what the API tells, of the candidates or of elements that are named."""

from __future__ import annotations

import re
from html import unescape
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from starlette.testclient import TestClient

from api.pages.site import plain
from specdb.catalog.identity import element_id
from tests.api.asking import EQUIVALENTS

PAGE, REQUESTS = "/ask", "/v1/test-requests"
BROWSER = {"accept": "text/html,*/*;q=0.8"}
DULSE = {"original.number": "Dulse 23", "limit": "12", "assumptions": "customary"}
FATIGUE = {
    "require.1.characteristic": "flow_fatigue_cycles",
    "require.1.at_least": "1000000",
    "require.1.standard": "ISO 3724",
}
SOAKED = {"fluid.class": "HEES", "fit.seal": "NBR", "assumptions": "none", "limit": "10"}
"""A mounting seal of which the table leaves open whether the fluid suits it: no test settles that."""


def get(client: TestClient, names: dict[str, str], status: int = 200) -> str:
    response = client.get(PAGE, params=names, headers=BROWSER, follow_redirects=False)
    assert response.status_code == status, response.text
    assert response.headers["content-type"].startswith("text/html")
    return response.text


def words(html: str) -> str:
    """The text of a page, or of a part of one, as it is read."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", "", html))).strip()


def links(html: str) -> dict[str, str]:
    found = re.findall(r'<a[^>]*href="([^"]*)"[^>]*>(.*?)</a>', html, re.DOTALL)
    return {words(text): unescape(address) for address, text in found}


def names_in(address: str) -> dict[str, str]:
    return {name: texts[0] for name, texts in parse_qs(urlsplit(address).query).items()}


def letters_in(html: str) -> list[str]:
    return [unescape(text) for text in re.findall(r"<pre[^>]*>(.*?)</pre>", html, re.DOTALL)]


def tables_in(html: str) -> list[str]:
    return re.findall(r"<table.*?</table>", html, re.DOTALL)


# --- what is told ---------------------------------------------------------------------------------


@pytest.mark.parametrize("question", [DULSE, DULSE | {"assumptions": "none", "units": "us"}, SOAKED])
def test_the_page_tells_all_that_the_api_tells(client: TestClient, question: dict[str, str]) -> None:
    page = get(client, question)
    told = client.get(REQUESTS, params=question).json()
    asked_for = [*told["requests"], *told["beyond_tests"]]
    headings = [words(each) for each in re.findall(r"<h3>(.*?)</h3>", page)]
    expected = [each["words"] for each in told["requests"]] + [each["title"] for each in told["beyond_tests"]]
    assert headings == [each[0].upper() + each[1:] for each in expected]
    required = {each["id"]: each["words"] for each in told["requirements"]}
    tables = tables_in(page)
    assert len(tables) == len(asked_for) + 1
    for each, table in zip(asked_for, tables, strict=False):
        assert f"Required: {required[each['requirement']]}" in words(page)
        for one in each["candidates"]:
            assert f"{one['rank']}. {one['maker']} {one['number']}" in words(table)
            reason = one["explanation"].removeprefix("Not shown: ")
            assert reason[0].upper() + reason[1:] in words(table)
            assert all(text in words(table) for text in (*one["documents"], *one["lacks"]))
    for each in told["requests"]:
        assert f"Settles it for {each['settles']} element" in words(page)
    assert all(each["words"] in words(page) for each in told["beyond_tests"])
    assert letters_in(page) == [plain(each["text"]) for each in told["letters"]]
    assert (
        client.get(links(page)["The list as a table (CSV)"]).content
        == client.get(f"{REQUESTS}.csv", params=question).content
    )


def test_elements_of_which_the_same_is_told_stand_in_one_row(client: TestClient) -> None:
    question = {"require.1.characteristic": "flow_fatigue_cycles", "require.1.at_least": "100000", "limit": "10"}
    question |= {"assumptions": "none", "require.1.standard": "ISO 3724", "require.1.cycle_pressure": "500 kPa"}
    (request,) = client.get(REQUESTS, params=question).json()["requests"]
    table = tables_in(get(client, question))[0]
    told = {(one["explanation"], *one["lacks"], *one["documents"]) for one in request["candidates"]}
    assert len(told) < len(request["candidates"])
    assert len(re.findall(r'<th scope="row">', table)) == len(told)


def test_what_an_element_misses_already_is_said_before_its_maker_is_asked(client: TestClient) -> None:
    question = DULSE | {"bypass": "head"}
    ranked = client.get(EQUIVALENTS, params=question).json()["candidates"]
    page = get(client, question)
    rows = re.findall(r"<tr>.*?</tr>", tables_in(page)[-1], re.DOTALL)[1:]
    assert len(rows) == len(ranked) + 1  # and the original
    assert any(each["misses"] for each in ranked)
    for row, each in zip(rows, ranked, strict=False):
        missed = {c["characteristic"] for c in each["criteria"] if c["requirement"] in each["misses"]}
        cells = [words(cell) for cell in re.findall(r"<td.*?</td>", row, re.DOTALL)]
        assert cells[0] == str(len(each["not_shown"]))
        assert len(list(filter(None, cells[1].split(", ")))) == len(missed)
    assert "the original" in words(rows[-1])


def test_the_original_is_asked_about_too_where_more_is_required_than_it_has_shown(client: TestClient) -> None:
    page = get(client, DULSE | FATIGUE)
    table = next(table for table in tables_in(page) if "flow fatigue" in words(table).casefold())
    assert "Quollbeck Dulse 23 the original" in words(table)
    assert any(letter.startswith("To: Quollbeck\n") and "Dulse 23\n" in letter for letter in letters_in(page))


def test_a_letter_is_signed_with_who_asks(client: TestClient) -> None:
    for letter in letters_in(get(client, DULSE | {"asked_by": "A. <b>Clerk</b>\u202e"})):
        assert letter.endswith("With our thanks\nA. <b>Clerk</b>[U+202E]")


# --- whom it asks about ---------------------------------------------------------------------------


def test_only_the_elements_that_are_named_are_asked_about(client: TestClient) -> None:
    named = {"elements.1.number": "12-2", "elements.5.element_id": element_id("Sundercairn", "9-K")}
    question = DULSE | {"assumptions": "none"}
    del question["limit"]
    page = get(client, question | named)
    compared = client.get("/v1/comparisons", params=question | named).json()["elements"]
    counts = [len([c for c in each["criteria"] if c["verdict"] == "not_shown"]) for each in compared]
    rows = re.findall(r"<tr>.*?</tr>", tables_in(page)[-1], re.DOTALL)[1:]
    shown = [(words(re.findall(r"<th.*?</th>", r, re.DOTALL)[0]), re.findall(r'shown">(\d+)<', r)) for r in rows]
    assert shown[:2] == [
        (f"{each['rank']}. {each['element']['maker']} {each['element']['number']}", [str(count)])
        for each, count in zip(compared, counts, strict=True)
    ]
    assert {letter.split("\n")[0] for letter in letters_in(page)} == {"To: Tarnwhistle", "To: Sundercairn"}
    assert names_in(links(page)["Of the best candidates instead"]) == question


def test_one_element_can_be_asked_about_alone(client: TestClient) -> None:
    page = get(client, DULSE)
    alone = names_in(links(page)["Ask about it alone"])
    assert set(alone) == {"original.number", "assumptions", "elements.1.element_id"}
    assert len(letters_in(get(client, alone))) == 1


def test_more_candidates_are_a_click_away_and_so_are_those_with_nothing_on_file(client: TestClient) -> None:
    question = {"require.1.characteristic": "mesh_opening", "require.1.at_most": "1 um", "assumptions": "none"}
    page = get(client, question | {"limit": "3"})
    assert names_in(links(page)["Of the 10 best"])["limit"] == "10"
    whole = get(client, names_in(links(page)["Of the 10 best"]))
    assert not [text for text in links(whole) if text.startswith("Of the ")]
    with_all = get(client, names_in(links(page)["Ask about those too"]))
    assert "3 elements with nothing on file" in words(with_all)
    assert "Ask about those too" not in links(with_all)


def test_nothing_left_open_is_said_plainly(client: TestClient) -> None:
    question = {"require.1.characteristic": "collapse_pressure", "require.1.at_least": "1 MPa", "limit": "3"}
    page = get(client, question | {"assumptions": "none"})
    assert "Nothing is left open" in words(page)
    assert letters_in(page) == []
    assert "What to ask for" not in words(page)


# --- addresses ------------------------------------------------------------------------------------


def test_nothing_asked_says_how_to_come_here(client: TestClient) -> None:
    page = get(client, {"units": "us", "asked_by": "A. Clerk", "assumptions": "none"})
    assert "Nothing is asked yet" in words(page)
    assert links(page)["find"].startswith("/")


@pytest.mark.parametrize(
    ("names", "whole"),
    [
        ({"original.number": "Dulse 23"}, {"assumptions": "customary", "limit": "10"}),
        ({"original.number": "Dulse 23", "limit": "3"}, {"assumptions": "customary"}),
        ({"original.number": "Dulse 23", "flw": "75 <b>"}, {"assumptions": "customary", "limit": "10"}),
        ({"original.number": "Dulse 23", "elements.2.number": "12-2"}, {"assumptions": "customary"}),
    ],
)
def test_the_address_is_made_to_hold_the_whole_question(
    client: TestClient, names: dict[str, str], whole: dict[str, str]
) -> None:
    response = client.get(PAGE, params=names | {"machine": " "}, headers=BROWSER, follow_redirects=False)
    assert response.status_code == 303
    assert names_in(response.headers["location"]) == names | whole


def test_how_much_to_list_is_left_out_where_elements_are_named(client: TestClient) -> None:
    names = DULSE | {"elements.1.number": "12-2", "include_without_evidence": "true"}
    response = client.get(PAGE, params=names, headers=BROWSER, follow_redirects=False)
    kept = {"original.number", "assumptions", "elements.1.number"}
    assert set(names_in(response.headers["location"])) == kept


def test_a_page_that_the_browser_has_is_not_sent_again(client: TestClient) -> None:
    first = client.get(PAGE, params=DULSE, headers=BROWSER)
    again = client.get(PAGE, params=DULSE, headers=BROWSER | {"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


# --- faults ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "status", "told", "mended"),
    [
        ({"flow": "75 <furlongs>"}, 422, "flow: ", "/replace"),
        ({"flw": "75"}, 422, "Is flow meant?", "/replace"),
        ({"original.number": "Dulse-23"}, 404, "No element has this number", "/replace"),
        ({"as_of": "1999-01-01"}, 404, "as_of: ", "/replace"),
        ({"elements.3.number": "nowhere", "limit": ""}, 404, "elements.3.number: ", "/side-by-side"),
    ],
)
def test_faults_are_told_and_mended_where_the_question_is_stated(
    client: TestClient, changes: dict[str, str], status: int, told: str, mended: str
) -> None:
    asked: dict[str, Any] = {name: text for name, text in (DULSE | changes).items() if text}
    page = get(client, asked, status)
    assert told in words(page)
    mending = [address for address in links(page).values() if names_in(address) == asked]
    assert any(address.startswith(f"{mended}?") for address in mending)


def test_numbers_near_an_original_that_is_not_on_file_are_a_click_away(client: TestClient) -> None:
    page = get(client, DULSE | {"original.number": "Dulse-23", "flow": "75"}, 422)
    near = names_in(links(page)["Quollbeck Dulse 23"])
    assert near == DULSE | {"original.number": "Dulse 23", "original.maker": "Quollbeck", "flow": "75"}
