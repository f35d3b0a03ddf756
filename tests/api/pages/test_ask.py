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


def panels_in(html: str) -> list[str]:
    """What stands of each test."""
    tests = html.partition('<ol class="tests">')[2].partition("</ol>")[0]
    return tests.split('<li class="panel">')[1:]


def numbers_in(text: str) -> set[str]:
    return set(re.findall(r"\d+(?:\.\d+)?", text))


def rows_in(table: str) -> dict[str, str]:
    """The row that each element of a table stands in, by what it is called there."""
    rows = re.findall(r"<tr>.*?</tr>", table, re.DOTALL)[1:]
    return {words(name): words(row) for row in rows for name in re.findall(r"<div>(.*?</a>)", row, re.DOTALL)}


@pytest.mark.parametrize("question", [DULSE, DULSE | {"assumptions": "none", "units": "us"}, SOAKED])
def test_the_page_tells_all_that_the_api_tells(client: TestClient, question: dict[str, str]) -> None:
    page = get(client, question)
    told = client.get(REQUESTS, params=question).json()
    required = {each["id"]: each["words"] for each in told["requirements"]}
    runs: dict[str, list[dict[str, Any]]] = {}
    for each in told["requests"]:
        run, _, each["result"] = each["words"].partition(": ")
        runs.setdefault(run, []).append(each)
    panels = panels_in(page)
    assert len(panels) == len(runs)
    settled = {run: sum(each["settles"] for each in those) for run, those in runs.items()}
    assert [words(panel).partition(": ")[0].lower() for panel in panels] == [
        run.lower() for run in sorted(runs, key=lambda run: -settled[run])
    ]
    for run, panel in zip(sorted(runs, key=lambda run: -settled[run]), panels, strict=True):
        (table,) = tables_in(panel)
        rows, heading = rows_in(table), words(panel.partition("</h3>")[0])
        concerned = {f"{one['rank']}. {one['maker']} {one['number']}" for e in runs[run] for one in e["candidates"]}
        assert set(rows) == concerned
        assert len(re.findall(r"<div>[^<]*<a ", table)) == len(concerned)  # each once, and linked
        assert f"Settles {settled[run]} verdict" in words(panel)
        assert f" on {len(concerned)} element" in words(panel)
        for each in runs[run]:
            assert required[each["requirement"]].rpartition("; ")[0] in words(panel)
            assert numbers_in(each["result"]) <= numbers_in(heading)
            for one in each["candidates"]:
                row = rows[f"{one['rank']}. {one['maker']} {one['number']}"]
                assert numbers_in(each["result"]) <= numbers_in(row) or len(runs[run]) == 1
                assert all(text in row for text in (*one["documents"], *one["lacks"]))
                tested = re.findall(r"other conditions(?: \([^)]*\))?", one["explanation"])
                assert all(text in row for text in tested)
                assert tested or one["reason"] != "other_conditions"
    beyond = page.partition('id="beyond"')[2]
    for each in told["beyond_tests"]:
        assert each["words"] in words(beyond)
        for one in each["candidates"]:
            reason = one["explanation"].removeprefix("Not shown: ")
            assert reason[0].upper() + reason[1:] in words(beyond)
    assert letters_in(page) == [plain(each["text"]) for each in told["letters"]]
    assert (
        client.get(links(page)["The list as a table (CSV)"]).content
        == client.get(f"{REQUESTS}.csv", params=question).content
    )


def test_results_of_one_test_stand_together(client: TestClient) -> None:
    page = get(client, DULSE | {"assumptions": "none"})
    headings = [words(panel.partition("</h3>")[0]) for panel in panels_in(page)]
    assert [each.partition(" to ISO")[0] for each in headings].count("Pressure drop test") == 1
    assert any("clean pressure drop at 30, 60, 75, 90 and 120 L/min and 32 mm²/s" in each for each in headings)


def test_no_name_of_the_contract_stands_in_a_sentence(client: TestClient) -> None:
    """Where what is required is derived, what is stated is used for nothing, and assumptions decide."""
    stated = {"location": "return", "flow": "60 L/min", "fluid.grade": "ISO VG 46", "fluid.viscosity_index": "100"}
    stated |= {"operating_temperature": "50 degC", "cold_start_temperature": "-5 degC", "working_pressure": "8 bar"}
    stated |= {"bypass": "head", "bypass_cracking_pressure": "170 kPa", "air_flow": "100 L/min"}
    page = get(client, DULSE | stated | {"limit": "20"})
    assert "Stated, and used for nothing: air through the breather." in words(page)
    assert "derived (clean drop at the coldest start)" in words(page)
    alone = client.get(f"/elements/{element_id('Tarnwhistle', '12-2')}", params=DULSE | stated, headers=BROWSER)
    assert "Flow through the filter60 L/min" in words(alone.text)
    for read in (page, alone.text):
        assert re.findall(r"\w+_\w+", words(read.partition("<main")[2])) == []


def test_elements_of_which_the_same_is_told_stand_in_one_row(client: TestClient) -> None:
    question = {"require.1.characteristic": "flow_fatigue_cycles", "require.1.at_least": "100000", "limit": "10"}
    question |= {"assumptions": "none", "require.1.standard": "ISO 3724", "require.1.cycle_pressure": "500 kPa"}
    (request,) = client.get(REQUESTS, params=question).json()["requests"]
    table = tables_in(get(client, question))[0]
    told = {(one["explanation"], *one["lacks"], *one["documents"]) for one in request["candidates"]}
    assert len(told) < len(request["candidates"])
    assert 1 < len(re.findall(r'<th scope="row">', table)) <= len(told)


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
    (table,) = (tables_in(panel)[0] for panel in panels_in(page) if "Flow fatigue" in words(panel))
    assert "Quollbeck Dulse 23 the original" in words(table)
    assert any(letter.startswith("To: Quollbeck\n") and "Dulse 23\n" in letter for letter in letters_in(page))


def test_letters_are_in_the_units_that_tests_are_run_in_whatever_the_reader_has(client: TestClient) -> None:
    page = get(client, DULSE | {"assumptions": "none", "units": "us"})
    assert "US gpm" in words(page.partition('id="letters"')[0])
    written = letters_in(page)
    assert any("at 30 L/min" in letter for letter in written)
    assert [letter for letter in written if "gpm" in letter] == []
    assert written == letters_in(get(client, DULSE | {"assumptions": "none"}))


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


def test_one_element_can_be_asked_about_alone_from_its_page(client: TestClient) -> None:
    page = get(client, DULSE)
    element = client.get(links(page)["Tarnwhistle 12-2"], headers=BROWSER)
    alone = names_in(links(element.text)["Ask the maker"])
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


def test_a_page_asks_about_fifty_at_most(client: TestClient) -> None:
    names = DULSE | {"limit": "500", "assumptions": "none"}
    response = client.get(PAGE, params=names, headers=BROWSER, follow_redirects=False)
    assert response.status_code == 303
    assert names_in(response.headers["location"]) == names | {"limit": "50"}
    page = get(client, names | {"limit": "50"})
    assert "A page asks about 50 at most." in words(page)
    assert len(page.encode()) < 130_000


def test_nothing_left_open_is_said_plainly(client: TestClient) -> None:
    question = {"require.1.characteristic": "collapse_pressure", "require.1.at_least": "1 MPa", "limit": "3"}
    page = get(client, question | {"assumptions": "none"})
    assert "Nothing is left open" in words(page)
    assert letters_in(page) == []
    assert "What to ask for" not in words(page)


# --- where nothing is required ---------------------------------------------------------------------


def test_an_element_alone_is_asked_about_what_is_missing_of_it(client: TestClient) -> None:
    page = get(client, {"elements.1.number": "12-2", "units": "si", "asked_by": "A. Clerk"})
    headings = [words(each) for each in re.findall(r"<h3>(.*?)</h3>", page)]
    assert headings == ["Flow fatigue test to ISO 3724 or ISO 23181"]
    assert "Flow fatigue, with the cycle pressure and the standard" in words(page)
    assert "Of its clean pressure drop all results leave unstated the density." in words(page)
    (letter,) = letters_in(page)
    lines = letter.splitlines()
    assert lines[:2] == ["To: Tarnwhistle", "Subject: Test results of your element 12-2"]
    assert "1. Flow fatigue test to ISO 3724 or ISO 23181" in lines
    assert "   - flow fatigue, with the cycle pressure and the standard: 12-2" in lines
    (unstated,) = (line for line in lines if "clean pressure drop" in line)
    assert unstated.startswith("   - 12-2, clean pressure drop, all results in TW-1 (")
    assert unstated.endswith("): the density")
    assert lines[-1] == "A. Clerk"
    assert "Verdicts rest on" not in page


def test_elements_of_several_makers_get_a_letter_each_and_wrong_ones_are_told(client: TestClient) -> None:
    named = {"elements.1.number": "12-2", "elements.2.number": "00430", "elements.3.number": "12-1"}
    written = letters_in(get(client, named))
    assert [letter.splitlines()[0] for letter in written] == ["To: Tarnwhistle", "To: Oddmarrow"]
    assert ": 12-2, 12-1" in written[0]
    assert "elements.2.number: " in words(get(client, named | {"elements.2.number": "nowhere"}, 404))


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
        ({"original.number": "12-2", "assumptions.unstated_conditions_match": "true"}, {"limit": "10"}),
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


def test_an_old_state_is_named(client: TestClient) -> None:
    page = get(client, DULSE | {"as_of": "1"})
    assert "As of revision 1, the latest." in words(page)
    assert names_in(links(page)["As it is now"]) == DULSE
    assert "As of revision" not in words(get(client, DULSE))


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
