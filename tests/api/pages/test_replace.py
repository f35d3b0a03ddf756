"""The page that finds what can replace an element, as a browser without JavaScript sees it."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Callable, Iterator
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, parse_qsl, urlencode, urlsplit

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

from api import create_app
from api.pages.fields import all_fields
from specdb.catalog.store import open_store
from specdb.demo import demo_folder
from specdb.duty.dotted import dotted_names
from specdb.exchange import import_folder

BROWSER = {"accept": "text/html,*/*;q=0.8"}
DULSE = {"original.number": "Dulse 23"}
LABEL = {
    "flow": "70 L/min",
    "require.1.characteristic": "filtration_ratio",
    "require.1.at_least": "150",
    "require.1.size": "10 um(c)",
    "require.2.characteristic": "retained_capacity",
    "require.2.at_least": "50 g",
    "require.3.characteristic": "bubble_point",
    "require.3.at_least": "17 mbar",
    "require.4.characteristic": "collapse_pressure",
    "require.4.at_least": "6 bar",
    "require.5.characteristic": "clean_pressure_drop",
    "require.5.at_most": "1.65 bar",
    "require.5.viscosity": "180 mm2/s",
    "require.5.drop_of": "element",
}


class _Form(HTMLParser):
    """What a browser would send of the first form: names and values, hidden and typed alike."""

    def __init__(self, html: str):
        super().__init__()
        self.sent: list[tuple[str, str]] = []
        self._select: str | None = None
        self._within = 0
        self.feed(html.partition('class="replace"')[2].partition("</form>")[0])

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = {name: value or "" for name, value in attrs}
        if tag == "input":
            self.sent.append((named["name"], named["value"]))
        elif tag == "select":
            self._select = named["name"]
        elif tag == "option" and "selected" in named and self._select:
            self.sent.append((self._select, named["value"]))


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


@pytest.fixture(scope="module")
def browse(client: TestClient) -> Callable[..., Any]:
    """Gets the page of these names; follows no redirect unless asked to."""

    def get(names: dict[str, str] | list[tuple[str, str]], status: int = 200, follow: bool = False) -> Any:
        query = urlencode(names)
        response = client.get(f"/replace?{query}", headers=BROWSER, follow_redirects=follow)
        assert response.status_code == status, text_of(response.text)[:1000]
        return response

    return get


@pytest.fixture(scope="module")
def shown(browse: Callable[..., Any]) -> Callable[..., str]:
    """The page of these names as HTML, after its redirect."""

    def get(names: dict[str, str], status: int = 200) -> str:
        page: str = browse(names, status, follow=True).text
        return page

    return get


def candidate(page: str, rank: int) -> str:
    """What the page tells of the candidate of this rank."""
    return page.partition(f'id="candidate-{rank}">')[2].partition("</li>\n<li class=\"panel\"")[0]


def led_to(response: Any) -> dict[str, str]:
    return dict(parse_qsl(urlsplit(response.headers["location"]).query))


# --- addresses -------------------------------------------------------------------------------------


def test_nothing_asked_is_the_form_alone(browse: Callable[..., Any]) -> None:
    page = browse({}).text
    assert "Everything may be left" in page
    assert "Candidates" not in page
    assert page.count("<h1>") == 1


def test_a_form_sent_empty_asks_nothing(browse: Callable[..., Any]) -> None:
    sent = _Form(browse({}).text).sent
    assert len(sent) > 25
    response = browse(sent, 303)
    assert led_to(response) == {}
    assert "Candidates" not in browse({}).text


@pytest.mark.parametrize(
    ("units", "names", "tidy"),
    [
        ("si", {"flow": "75"}, {"flow": "75 L/min"}),
        ("us", {"flow": "20"}, {"flow": "20 US gpm"}),
        ("si", {"cold_start_temperature": "-10"}, {"cold_start_temperature": "-10 °C"}),
        ("us", {"cold_start_temperature": "14"}, {"cold_start_temperature": "14 °F"}),
        ("si", {"bypass_cracking_pressure": "1,7"}, {"bypass_cracking_pressure": "1,7 bar"}),
        ("us", {"bypass_cracking_pressure": "25"}, {"bypass_cracking_pressure": "25 psi"}),
        ("us", {"fit.length": "5 1/2"}, {"fit.length": "5 1/2 in"}),
        ("us", {"flow": "75 L/min"}, {"flow": "75 L/min"}),
        ("si", {"flow": "20 gpm"}, {"flow": "20 gpm"}),
        ("si", {"require.1.at_least": "200", "require.1.size": "10"},
         {"require.1.at_least": "200", "require.1.size": "10 um(c)"}),
        ("si", {"require.3.at_least": "17", "require.4.at_least": "6"},
         {"require.3.at_least": "17 mbar", "require.4.at_least": "6 bar"}),
        ("us", {"require.3.at_least": "7", "require.5.viscosity": "180"},
         {"require.3.at_least": "7 inH2O", "require.5.viscosity": "180 cSt"}),
        # What no unit makes a quantity of stays as typed, to be told of.
        ("si", {"flow": "a lot"}, {"flow": "a lot"}),
        ("si", {"fluid.grade": "46"}, {"fluid.grade": "ISO VG 46"}),
        ("si", {"fluid.grade": "VG46"}, {"fluid.grade": "ISO VG 46"}),
        ("si", {"fluid.grade": "ISO 46"}, {"fluid.grade": "ISO VG 46"}),
        ("si", {"fluid.grade": "hm 46"}, {"fluid.grade": "ISO VG 46", "fluid.class": "HM"}),
        ("si", {"fluid.grade": "HVLP 32"}, {"fluid.grade": "ISO VG 32", "fluid.class": "HV"}),
        ("si", {"fluid.grade": "HFC 46"}, {"fluid.grade": "ISO VG 46", "fluid.class": "HFC"}),
        ("si", {"fluid.grade": "Hydraulic oil 46"}, {"fluid.grade": "ISO VG 46"}),
        ("si", {"fluid.grade": "water glycol"}, {"fluid.class": "HFC"}),
        ("si", {"fluid.grade": "hfc", "fluid.class": "HFC"}, {"fluid.class": "HFC"}),
        ("si", {"fluid.grade": "hfc", "fluid.class": "HM"}, {"fluid.grade": "hfc", "fluid.class": "HM"}),
        ("si", {"cold_start_temperature": "minus 20"}, {"cold_start_temperature": "-20 °C"}),
        ("us", {"cold_start_temperature": "–20"}, {"cold_start_temperature": "-20 °F"}),
        ("si", {"cold_start_temperature": "−20 °C"}, {"cold_start_temperature": "-20 °C"}),
        ("si", {"fit.thread": "1-12"}, {"fit.thread": "1-12 UNF"}),
        ("si", {"fit.thread": "m20 x 1.5"}, {"fit.thread": "m20 x 1.5"}),
        ("si", {"require.1.at_least": "β 200", "require.1.size": "10 µm"},
         {"require.1.at_least": "200", "require.1.size": "10 um(c)"}),
        ("si", {"require.1.at_least": ">=200", "require.1.size": "10 um(acftd)"},
         {"require.1.at_least": "200", "require.1.size": "10 um(acftd)"}),
        ("si", {"require.1.at_least": "β10(c) >= 200"}, {"require.1.at_least": "200", "require.1.size": "10 um(c)"}),
        # Two sizes are for the customer to settle.
        ("si", {"require.1.at_least": "β10(c) >= 200", "require.1.size": "6 um(c)"},
         {"require.1.at_least": "β10(c) >= 200", "require.1.size": "6 um(c)"}),
        ("si", {"fit.outside_diameter": "Ø 96", "fit.gasket_outside_diameter": "dia. 72 mm"},
         {"fit.outside_diameter": "96 mm", "fit.gasket_outside_diameter": "72 mm"}),
        ("us", {"require.6.at_most": "125"}, {"require.6.at_most": "125 um"}),
        # A class that contradicts the one chosen is for the customer to settle.
        ("si", {"fluid.grade": "HM 46", "fluid.class": "HV"}, {"fluid.grade": "HM 46", "fluid.class": "HV"}),
    ],
)  # fmt: skip
def test_what_is_typed_is_written_out_in_the_address(
    client: TestClient, browse: Callable[..., Any], units: str, names: dict[str, str], tidy: dict[str, str]
) -> None:
    system = {"units": units} if units == "us" else {}
    response = browse({**names, **system, "machine": " "}, 303)
    assert led_to(response) == {**tidy, **system, "assumptions": "customary"}
    there = client.get(response.headers["location"], headers=BROWSER, follow_redirects=False)
    assert there.status_code in (200, 422)


def test_a_result_of_which_only_its_name_is_sent_is_not_asked(browse: Callable[..., Any]) -> None:
    names = {f"require.{n}.characteristic": "filtration_ratio" for n in (1, 2)} | {"require.2.flow": ""}
    assert led_to(browse({**DULSE, **names}, 303)) == {**DULSE, "assumptions": "customary"}


def test_proof_alone_is_one_click_and_stays(shown: Callable[..., str]) -> None:
    page = shown(DULSE)
    assert "Verdicts rest on assumptions" in page
    (address,) = re.findall(r'href="(/replace[^"]*assumptions=none[^"]*)">Proof alone', page)
    bare = shown(dict(parse_qsl(urlsplit(unescape(address)).query)))
    assert "Verdicts rest on proof alone" in bare
    assert "taking for granted" in page
    assert "taking for granted" not in bare
    assert ("assumptions", "none") in _Form(bare).sent


# --- the form --------------------------------------------------------------------------------------


def test_every_field_is_a_name_that_can_be_asked_and_has_a_label(browse: Callable[..., Any]) -> None:
    page = browse({}).text
    for field in all_fields({}):
        assert field.name in dotted_names() or field.name == "machine"
        assert f'<label for="{field.id}">' in page
        assert re.search(rf'<(input type="text"|select) id="{field.id}" name="{re.escape(field.name)}"', page)


def test_what_is_sent_again_asks_the_same(shown: Callable[..., str]) -> None:
    asked = {
        **DULSE, **LABEL, "machine": "ferry", "location": "return", "derive.collapse": "no", "units": "us",
        "require.6.characteristic": "burst_pressure", "require.6.at_least": "30 bar", "limit": "3",
        "require.7.characteristic": "mesh_opening", "require.7.at_most": "130 um",
        "assumptions": "customary", "fit.length.tolerance": "2 mm", "fit.length": "140 mm", "order_number": "7",
    }  # fmt: skip
    sent = _Form(shown(asked)).sent
    assert len(sent) == len({name for name, _ in sent})
    assert {name: text for name, text in sent if text} == asked


def test_a_question_of_the_api_keeps_its_numbers(shown: Callable[..., str]) -> None:
    """A label's fields make room for requirements that stand where theirs would."""
    asked = {
        "require.1.characteristic": "burst_pressure", "require.1.at_least": "30 bar",
        "require.7.characteristic": "collapse_pressure", "require.7.at_least": "6 bar", "assumptions": "customary",
    }  # fmt: skip
    page = shown(asked)
    assert {name: text for name, text in _Form(page).sent if text and ".characteristic" not in name} == {
        name: text for name, text in asked.items() if ".characteristic" not in name
    }
    assert re.search(r'id="f-require-7-at_least" name="require.7.at_least" value="6 bar"', page)
    assert "require.1.at_least" in text_of(page.partition("Also asked")[2].partition("</section>")[0])


def test_what_the_original_decides_is_marked_beside_its_field(shown: Callable[..., str]) -> None:
    page = shown(DULSE)
    beside = {
        field.name: text_of(page.partition(f'id="{field.id}-hint"')[2].partition("</div>")[0])
        for field in all_fields({})
        if f'id="{field.id}-hint"' in page
    }
    assert "From the original: at least 60 g (at 75 L/min and a terminal drop of 170 kPa)" in (
        beside["require.2.at_least"]
    )
    assert "From the original: in the element" in beside["bypass"]
    assert "and 2 more" in beside["require.1.at_least"]
    stated = shown({**DULSE, "require.2.characteristic": "retained_capacity", "require.2.at_least": "50 g"})
    assert "at least 60 g" not in stated.partition("In place of")[0]
    assert "retained capacity: at least 60 g" in text_of(page)
    assert "retained capacity: at least 50 g" in text_of(stated)


# --- the answer ------------------------------------------------------------------------------------


def test_the_candidates_are_those_of_the_api_in_its_order(shown: Callable[..., str], client: TestClient) -> None:
    page = shown(DULSE)
    answer = client.get("/v1/equivalents", params={**DULSE, "assumptions": "customary", "limit": "10"}).json()
    assert page.count('<li class="panel" id="candidate-') == len(answer["candidates"]) == 10
    for rank, expected in enumerate(answer["candidates"], start=1):
        html = candidate(page, rank)
        told = text_of(html)
        assert told.startswith(f"{rank}. {expected['element']['maker']} {expected['element']['number']} ")
        assert expected["sentence"] in told
        assert f"/elements/{expected['element']['element_id']}?" in html
        assert (f"Why here: {expected['placed']}" in told) == (rank > 1)
        assert bool(expected["not_shown"]) == ('class="verdict not-shown"' in html)
    assert all(words in text_of(page) for words in answer["cautions"])
    assert page.count(answer["cautions"][0].replace("'", "&#39;")) == 1


def test_each_miss_has_its_sentence(shown: Callable[..., str]) -> None:
    told = text_of(shown({**DULSE, "bypass": "head", "require.1.characteristic": "filtration_ratio",
                          "require.1.at_least": "900", "require.1.size": "10 um(c)"}))  # fmt: skip
    assert re.search(r"✗ misses Filtration ratio \(beta\) .{5,80} below what is required", told)
    assert "A VALVE TOO MANY" in told
    assert re.search(r"Bypass valve: not in the element, as the head has it, unlike the original", told)


def test_the_label_alone_is_answered(shown: Callable[..., str]) -> None:
    page = shown(LABEL)
    assert "In place of" not in page
    assert re.search(r"1\. Brindlefjord 16E3 .{0,140}Brindlefjord 16E3 meets all 5 criteria", text_of(page))
    assert "5 criteria: 5 stated" in text_of(page)


def test_units_are_those_of_the_reader(shown: Callable[..., str]) -> None:
    si, us = (text_of(shown({**DULSE, "units": units})) for units in ("si", "us"))
    assert "burst pressure: at least 3000 kPa" in si
    assert "burst pressure: at least 435.1 psi" in us
    assert "kPa" not in us


def test_more_candidates_are_a_click_away_and_twenty_weigh_little(shown: Callable[..., str]) -> None:
    page = shown(DULSE)
    (address,) = re.findall(r'href="([^"]+)">Show 20</a>', page)
    twenty = shown(dict(parse_qsl(urlsplit(unescape(address)).query)))
    assert twenty.count('<li class="panel"') == 20
    assert len(twenty.encode()) < 78_000
    first, last = (text_of(candidate(twenty, rank)) for rank in (10, 11))
    assert re.search(r"\? not shown Clean pressure drop is .{40}", first)
    assert re.search(r"\? not shown clean pressure drop \(4\) Bypass valve", last)


def test_side_by_side_takes_the_question_and_those_chosen(shown: Callable[..., str], client: TestClient) -> None:
    page = shown({**DULSE, "limit": "5", "bypass": "head", "machine": "ferry"})
    form = page.partition('action="/side-by-side"')[2].partition("</form>")[0]
    sent = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form))
    chosen = re.findall(r'name="(elements\.\d+\.element_id)" value="([0-9a-f]{16})" checked', form)
    assert sent == {**DULSE, "bypass": "head", "machine": "ferry", "assumptions": "customary"}
    assert [name for name, _ in chosen] == [f"elements.{n}.element_id" for n in (1, 2, 3)]
    del sent["machine"]
    assert client.get("/v1/comparisons", params=[*sent.items(), *chosen]).status_code == 200


@pytest.mark.parametrize("limit", [{}, {"limit": "13"}])
def test_the_tables_answer_the_same(shown: Callable[..., str], client: TestClient, limit: dict[str, str]) -> None:
    page = shown({**DULSE, "machine": "ferry", **limit})
    listed = re.findall(r'name="elements\.\d+\.element_id" value="([0-9a-f]{16})"', page)
    assert len(listed) == int(limit.get("limit", 10))
    (as_json,), (as_csv,) = (re.findall(rf'href="(/v1/equivalents[^"]+)">As {form}', page) for form in ("JSON", "CSV"))
    answer = client.get(unescape(as_json)).json()
    assert [each["element"]["element_id"] for each in answer["candidates"]] == listed
    assert answer["assumptions"]
    rows = csv.DictReader(client.get(unescape(as_csv)).text.splitlines())
    assert list(dict.fromkeys(row["element_id"] for row in rows)) == listed


def test_what_is_no_longer_made_leads_to_its_successor(shown: Callable[..., str], client: TestClient) -> None:
    page = shown({"original.number": "3-12", "limit": "20"})
    head = page.partition("In place of")[2].partition("</section>")[0]
    assert "obsolete Successor: Tarnwhistle 2024-07 , in place 6 of 170: it meets all 13 criteria" in text_of(head)
    assert '<a href="#candidate-6">in place 6</a>' in head
    assert 'id="candidate-6"' in page
    (address,) = re.findall(r'Successor: <a href="([^"?]+)', head)
    assert client.get(f"/v1{address}").json()["number"] == "2024-07"
    assert "it is superseded, and its successor is 3-9" in text_of(page)


def test_an_original_without_any_test_is_told_of_plainly(shown: Callable[..., str]) -> None:
    assert "No test result of this element is on file" in shown({"original.number": "00430"})
    assert "No test result of this element is on file" not in shown(DULSE)


def test_the_coldest_morning_that_nobody_looked_at_is_loud(shown: Callable[..., str]) -> None:
    page = shown({**DULSE, "bypass": "head", "cold_start_temperature": "-10 °C"})
    (loud,) = re.findall(r'<p class="alarm">(<bdi>THE COLDEST START.*?)</p>', page)
    assert "“Bypass opens at”" in text_of(loud)
    assert page.index(loud) < page.index('<ol class="candidates">')


def test_a_successor_beyond_those_listed_is_told_of_all_the_same(shown: Callable[..., str]) -> None:
    head = shown({"original.number": "XIV-12a"}).partition("In place of")[2].partition("</section>")[0]
    assert re.search(r"Successor: Pippinwrack XIV-6a , in place \d\d of 170: it meets \d+ of the 21", text_of(head))
    assert "#candidate" not in head


def test_the_headline_names_those_that_need_no_assumption_and_no_first_among_equals(shown: Callable[..., str]) -> None:
    head = text_of(shown(DULSE).partition('<p class="told">')[2].partition("</p>")[0])
    assert "4 meet all that is asked, 1 of them by proof alone: Sundercairn =7-K ;" in head
    assert "The first 4 stand equal in every figure of the order" in head
    assert "First in order" not in head
    strict = text_of(shown({**DULSE, "assumptions": "none"}).partition('<p class="told">')[2].partition("</p>")[0])
    assert re.search(r"First in order: Sundercairn =7-K \.", strict)


def test_one_criterion_and_no_fit_are_loud(shown: Callable[..., str]) -> None:
    ratio = {
        "flow": "70 L/min", "require.1.characteristic": "filtration_ratio", "require.1.at_least": "200",
        "require.1.size": "10 um(c)",
    }  # fmt: skip
    one, fit = "Only 1 criterion is asked", "Fit was not asked: say kind and thread"
    assert [words in text_of(shown(ratio)) for words in (one, fit)] == [True, True]
    assert [words in text_of(shown({**ratio, "fit.kind": "spin-on"})) for words in (one, fit)] == [False, False]
    assert [words in text_of(shown(DULSE)) for words in (one, fit)] == [False, False]
    assert [words in text_of(shown(LABEL)) for words in (one, fit)] == [False, True]


def test_each_card_says_what_it_is_and_how_large(shown: Callable[..., str]) -> None:
    page = shown(DULSE)
    assert "spin-on · thread 1-12 UNF · outside diameter 96 mm · length 139 mm" in text_of(candidate(page, 1))
    assert page.count('class="small what-it-is"') == 10
    assert "outside diameter 3.78 in" in text_of(shown({**DULSE, "units": "us"}))


def test_nothing_is_said_of_a_head_where_none_could_have_the_valve(shown: Callable[..., str]) -> None:
    page = shown({"original.number": "00611"})
    valves = {rank: text_of(candidate(page, rank)).partition("Bypass valve:")[2][:40] for rank in range(1, 11)}
    assert valves[1].startswith(" none in the element.")
    assert valves[2] == ""  # a breather
    assert "like the original it has no bypass valve" in text_of(candidate(page, 10))
    assert "must sit in the head" not in page


def test_those_of_another_kind_are_not_chosen(shown: Callable[..., str]) -> None:
    page = shown({"original.number": "00611"})
    chosen = re.findall(r'name="elements\.(\d+)\.element_id" value="[0-9a-f]{16}" checked', page)
    wrong = [rank for rank in range(1, 11) if "Kind of element" in text_of(candidate(page, rank))]
    assert wrong[:3] == [2, 3, 4]
    loud = [rank for rank in range(1, 11) if '<p class="alarm">Another kind of element: ' in candidate(page, rank)]
    assert loud == wrong
    assert "Another kind of element: breather." in candidate(page, 2)
    assert chosen == ["1", "5", "6"]


def test_what_is_stated_and_not_used_is_told_with_what_it_lacks(shown: Callable[..., str]) -> None:
    told = text_of(shown({**DULSE, "fluid.grade": "HM 46"}))
    assert (
        "Of the oil its class is used, its grade is not: it tells the viscosity at work only with “Viscosity index” "
        "and “Oil at work”."
    ) in told
    carried = {"fluid.grade": "46", "operating_temperature": "60", "fluid.viscosity_index": "99"}
    told = text_of(shown({**DULSE, **carried}))
    assert f"Of the oil the grade is not used: {_OWN_CONDITIONS}" in told


_OWN_CONDITIONS = "what is taken from the original is asked at the original's own test conditions."


def test_a_flow_that_moves_nothing_of_the_original_is_not_said_to_matter_to_nothing(shown: Callable[..., str]) -> None:
    told = text_of(shown({**DULSE, "flow": "75 L/min", "bypass": "head"}))
    assert "at 75 L/min" in told
    assert f"Stated, but not used. Flow: {_OWN_CONDITIONS}" in told
    assert "depends on flow" not in told
    assert "Nothing that is asked depends on flow." in text_of(shown({"original.number": "00611", "flow": "40 L/min"}))


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, "To list strainers alone, state “Kind of element” as suction strainer, and state “Mesh opening at most”;"),
        ({"fit.kind": "suction strainer"}, "Of strainers state “Mesh opening at most” as well;"),
        ({"require.6.characteristic": "mesh_opening", "require.6.at_most": "130 um"},
         "To list strainers alone, state “Kind of element” as suction strainer;"),
        ({"original.number": "00611", "flow": "40 L/min"}, ""),
    ],
)  # fmt: skip
def test_the_advice_on_strainers_asks_for_nothing_that_is_stated(
    shown: Callable[..., str], asked: dict[str, str], words: str
) -> None:
    told = text_of(shown({"location": "suction", "operating_temperature": "50 °C", **asked}))
    assert "A suction strainer is chosen by its mesh opening" in told
    assert words in told
    assert ("a filtration ratio is shown of few of them" in told) == bool(words)
    assert "mesh_opening" not in told


def test_what_a_rule_waits_for_is_told_in_the_words_of_the_form(shown: Callable[..., str]) -> None:
    ratio = {"require.1.characteristic": "filtration_ratio", "require.1.at_least": "200", "require.1.size": "10 um(c)"}
    cold = {"cold_start_temperature": "-20 °C"}
    told = text_of(shown({**ratio, **cold}))
    assert told.count("Asks nothing while “Bypass valve” and “Bypass opens at” are not stated") == 2
    told = text_of(shown({**DULSE, **cold, "bypass": "head", "fluid.grade": "46", "operating_temperature": "60"}))
    assert "while “Flow”, “Viscosity index” with “Oil” and “Bypass opens at” are not stated" in told
    assert "fluid.points" not in told


def test_what_is_asked_is_for_paper_too(shown: Callable[..., str]) -> None:
    page = shown({**LABEL, "machine": "ferry"})
    on_paper = text_of(page.partition('<div class="on-paper">')[2].partition("</div>")[0])
    assert on_paper.startswith("The machine: Machine ferry · Flow 70 L/min From the can: Beta ratio at least 150 · at")
    assert on_paper.endswith("· Bubble point at least 17 mbar · Collapse at least 6 bar")


def test_criteria_are_counted_as_the_candidates_count_them(shown: Callable[..., str]) -> None:
    """Cautions are asked too, and are counted on neither side."""
    machine = {
        "bypass": "element", "flow": "75", "fluid.grade": "HM 46", "fluid.viscosity_index": "100", "location": "return",
        "cold_start_temperature": "-20", "operating_temperature": "50", "bypass_cracking_pressure": "1.7",
    }  # fmt: skip
    page = shown({**DULSE, **machine})
    asked = re.search(r"What is asked: (\d+) criteria and 1 caution: ([^.]*?) From", text_of(page))
    assert asked is not None
    assert re.search(f"meets (all|.* of the) {asked[1]} criteria", text_of(candidate(page, 1)))
    assert sum(map(int, re.findall(r"\d+", asked[2]))) == int(asked[1])


def test_a_pressure_is_told_in_the_unit_of_its_field_too(shown: Callable[..., str]) -> None:
    beside = "From the original: at most 17 kPa, 0.17 bar (of the element, at 75 L/min and 32 mm²/s)"
    assert beside in text_of(shown({"original.number": "XIV-12a"}))
    assert " bar" not in shown({"original.number": "XIV-12a", "units": "us"})


def test_an_old_state_of_the_catalogue_says_so(shown: Callable[..., str]) -> None:
    assert "As of revision 1" in text_of(shown({**DULSE, "as_of": "1"}))
    assert "As of revision" not in text_of(shown(DULSE))


# --- faults ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "beside", "at_the_head"),
    [
        ({"flow": "a lot", "require.2.characteristic": "retained_capacity", "require.2.flow": "70 L/min"},
         {"flow": "does not begin with a number", "require.2.at_least": "Fill in “Capacity at least”"}, []),
        ({"location": "retrun", "require.7.characteristic": "bubble_pint", "require.7.at_least": "2 kPa"},
         {"location": 'Is "return" meant?'}, ["require.7.characteristic", "Is bubble_point meant?"]),
        ({"require.1.at_least": "200"}, {"require.1.at_least": "needed"}, []),
        ({"original.maker": "Tarnwhistle", "fluid.grade": "thick"},
         {"original.maker": "", "original.number": "", "fluid.grade": "no viscosity grade"}, []),
    ],
)  # fmt: skip
def test_faults_stand_beside_their_fields_and_nothing_typed_is_lost(
    shown: Callable[..., str], typed: dict[str, str], beside: dict[str, str], at_the_head: list[str]
) -> None:
    asked = {**DULSE, **typed, "machine": "<b>ferry</b>", "assumptions": "customary"}
    page = shown(asked, 422)
    marked = dict(re.findall(r' name="([^"]+)"[^>]*aria-describedby="(\S+)-fault[^"]*" aria-invalid="true"', page))
    for name, words in beside.items():
        if words:
            assert words in text_of(page.partition(f'id="{marked[name]}-fault">')[2].partition("</div>")[0])
    assert marked.keys() <= beside.keys()
    head = text_of(page.partition('class="faults"')[2].partition("</section>")[0])
    assert all(words in head for words in at_the_head)
    assert bool(head) == bool(at_the_head)
    assert {name: text for name, text in _Form(page).sent if text}.items() >= asked.items()
    assert "<b>ferry" not in page


def test_names_that_nobody_knows_are_told_of_and_can_be_left_out(shown: Callable[..., str]) -> None:
    page = shown({**DULSE, "orignal.maker": "Quollbeck"}, 422)
    assert "Is original.maker meant?" in text_of(page)
    also = page.partition("Also asked")[2]
    (address,) = re.findall(r'href="([^"]+)" aria-label="Leave out orignal.maker"', also)
    assert "orignal" not in address
    assert "original.number=Dulse" in address


def test_a_number_not_on_file_offers_those_near_it(shown: Callable[..., str]) -> None:
    page = shown({"original.number": "Dulse 2x", "bypass": "head"}, 404)
    near = re.findall(r'<a class="button" href="([^"]+)"><bdi>(Quollbeck Dulse 2\d)</bdi>', page)
    assert ("Quollbeck Dulse 23") in [named for _, named in near]
    asked = parse_qs(urlsplit(unescape(near[0][0])).query)
    assert asked["original.maker"] == ["Quollbeck"]
    assert asked["bypass"] == ["head"]
    assert 'id="f-original-number-fault"' in page


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"flow": "75 L/min"}, "What is stated asks nothing of an element by itself. Add the number to be replaced"),
        ({"fluid.grade": "46"}, "What is stated asks nothing of an element by itself."),
        ({"machine": "Loader"}, "A name alone asks nothing of an element. Add the number to be replaced"),
    ],
)
def test_what_asks_nothing_is_no_fault_and_told_what_would(
    shown: Callable[..., str], typed: dict[str, str], words: str
) -> None:
    page = shown(typed)
    assert words in text_of(page)
    assert "to mend" not in page
    assert 'role="alert"' not in page
    assert 'name="machine" value="Loader"' in page or "machine" not in typed
    assert page.count("<details class=\"panel\" open>") == 2


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        ({"original.number": "", "original.maker": "Quollbeck"}, "original.number", "leave out “Its maker”"),
        ({"cold_start_temperature": "cold"}, "cold_start_temperature", 'such as "-20 °C"'),
        ({"require.1.characteristic": "filtration_ratio", "require.1.size": "10"}, "require.1.at_least",
         "Fill in “Beta ratio at least”"),
        ({"require.1.characteristic": "filtration_ratio", "require.1.at_least": "β10 ≥ 200"}, "require.1.at_least",
         "“10 um(c)” by ISO 16889 or “10 um(acftd)” by ISO 4572"),
        ({"require.1.characteristic": "filtration_ratio", "require.1.at_least": "10 µm"}, "require.1.at_least",
         "is a size, and no ratio. State it in the box beside this one"),
        ({"require.1.at_least": "lots", "require.1.characteristic": "filtration_ratio", "require.1.size": "10"},
         "require.1.at_least", 'such as "200".'),
        ({"fluid.grade": "10W-30"}, "fluid.grade", "is a grade of engine oil by SAE J300"),
        ({"fluid.grade": "15W40"}, "fluid.grade", "under “Viscosity at work”"),
        ({"fluid.grade": "SAE 10"}, "fluid.grade", "is an SAE grade, and no ISO VG grade"),
        ({"fluid.grade": "46cst"}, "fluid.grade", "it is not said at which temperature"),
        ({"fluid.grade": "ATF"}, "fluid.grade", "names an oil for transmissions"),
        ({"fluid.grade": "bio oil"}, "fluid.grade", "HETG, HEPG, HEES, HEPR"),
    ],
)  # fmt: skip
def test_a_fault_says_what_would_be_right_in_the_words_of_the_form(
    shown: Callable[..., str], typed: dict[str, str], name: str, words: str
) -> None:
    page = shown({**DULSE, **typed}, 422)
    beside = page.partition(f'id="f-{name.replace(".", "-")}-fault">')[2].partition("</div>")[0]
    assert words in text_of(beside)
    assert page.count('aria-invalid="true"') == 1


def test_a_number_known_from_claims_only_is_not_said_to_be_another(shown: Callable[..., str]) -> None:
    page = shown({"original.number": "45/2"}, 404)
    told = text_of(page.partition('<ul class="meant">')[2].partition("</ul>")[0])
    assert "Quollbeck Dulse 23 is claimed to be replaced by 45/2 (GP-1, 2019-10-03): a claim, no proof" in told
    assert "Umberglyph Rowan/10 is claimed to replace 45/2" in told
    assert "known from a claim only" in text_of(page)
    assert "letter for letter" not in page


# --- hostile texts ---------------------------------------------------------------------------------

_LONG = "<img src=x onerror=alert(1)>\u202e&quot;'"
HOSTILE = _LONG + "7" * (200 - len(_LONG))


@pytest.fixture(scope="module")
def hostile(demo_store_url: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder: Path = tmp_path_factory.mktemp("hostile")
    file = shutil.copy(str(sa.make_url(demo_store_url).database), folder / "store.sqlite")
    engine = open_store(f"sqlite:///{file}")
    demo = (demo_folder() / "elements.csv").read_text(encoding="utf-8").splitlines()
    row = next(line for line in demo if line.startswith("Quollbeck,Dulse 23,"))
    quoted = '"' + HOSTILE.replace('"', '""') + '"'
    (folder / "in").mkdir()
    blank = dict.fromkeys(demo[0].split(","), "")
    bare = {**blank, "maker": "Quollbeck", "number": "Bare 1", "kind": "breather"}
    old = {**blank, "maker": "Tarnwhistle", "number": "Old 1", "kind": "spin-on", "status": "obsolete",
           "successor": "Dulse 23"}  # fmt: skip
    rows = [row.replace("Dulse 23", quoted, 1).replace("QB-1", ""), *(",".join(each.values()) for each in (bare, old))]
    (folder / "in" / "elements.csv").write_text("\n".join([demo[0], *rows, ""]), encoding="utf-8")
    import_folder(engine, folder / "in", actor="test", reason="a hostile number")
    engine.dispose()
    with TestClient(create_app(f"sqlite:///{file}"), headers=BROWSER) as started:
        yield started


def test_a_hostile_number_does_nothing_wherever_it_stands(hostile: TestClient) -> None:
    fit = {"fit.thread": "1-12 UNF", "fit.length": "140 mm", "fit.outside_diameter": "96 mm", "limit": "500"}
    as_candidate = hostile.get("/replace", params=fit)
    as_original = hostile.get("/replace", params={"original.number": HOSTILE})
    for page in (as_candidate, as_original):
        assert page.status_code == 200
        assert "&lt;img src=x" in page.text
        assert "<img" not in page.text
        assert "\u202e" not in re.sub(r'value="[^"]*"', "", page.text)
        assert 'class="unseen">U+202E' in page.text


def test_an_address_beyond_measure_is_a_fault_that_keeps_it(hostile: TestClient) -> None:
    typed = HOSTILE + "8" * 100
    page = hostile.get("/replace", params={"original.number": typed})
    assert page.status_code == 422
    assert "1 to 200 characters" in page.text
    assert dict(_Form(page.text).sent)["original.number"] == typed
    assert "<img" not in page.text


def test_the_first_is_not_named_where_it_is_of_the_wrong_kind(hostile: TestClient) -> None:
    """The order is the method's: of which nothing is known misses little."""
    page = hostile.get("/replace", params={"original.number": "00611"}).text
    told = text_of(candidate(page, 1))
    assert told.startswith("1. Quollbeck Bare 1")
    assert re.search(r"not shown Nothing is on file for [^.]*, … \(11\)\.", told)
    assert told.count("Nothing is on file") == 1
    head = text_of(page.partition('<p class="told">')[2].partition("</p>")[0])
    assert "First that meets anything and is of the kind asked: Oddmarrow 00612 , in place 3, which meets 10 of" in head
    assert re.findall(r'name="elements\.(\d+)\.element_id" value="[0-9a-f]{16}" checked', page)[0] == "3"


def test_a_successor_of_another_maker_is_found(hostile: TestClient) -> None:
    page = hostile.get("/replace", params={"original.number": "Old 1"}).text
    head = page.partition("In place of")[2].partition("</section>")[0]
    (address,) = re.findall(r'Successor: <a href="([^"?]+)', head)
    assert hostile.get(f"/v1{address}").json()["number"] == "Dulse 23"
