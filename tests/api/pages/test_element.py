"""The page of one element: what is on file of it, what is not, and what its ratings say of claims."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
import sqlalchemy as sa
from httpx2 import Response
from starlette.testclient import TestClient

from api import create_app
from api.pages.element import MOST_RATINGS, STATED_HERE
from specdb.catalog.identity import element_id
from specdb.duty.question import AssumptionsAsked
from specdb.exchange import import_folder

BROWSER = {"accept": "text/html,*/*;q=0.8"}
HOSTILE = "red\u202eder \u05d0\u05d1 <script>alert(1)</script>"
HOSTILE_NUMBER = f'{HOSTILE}<img src=x onerror="alert(2)">'.ljust(200, "9")
HEAVIEST_BYTES = 150_000

DEMO = {
    name: f"/elements/{element_id(*name.split(' ', 1))}"
    for name in (
        *("Quollbeck Dulse 23", "Tarnwhistle 12-2", "Oddmarrow 00430", "Oddmarrow 00611", "Oddmarrow 00612"),
        *("Oddmarrow 00701", "Quollbeck Laver 1 M", "Oddmarrow 00417"),
    )
}
DULSE = DEMO["Quollbeck Dulse 23"]
DUTY = {"flow": "75 L/min", "fluid.grade": "ISO VG 46", "fluid.viscosity_index": "100"}


def words_in(html: str) -> str:
    """What is read of a part of a page, in one line."""
    return " ".join(unescape(re.sub(r"<[^>]*>", "", html)).split())


def text_of(page: str) -> str:
    """What is read of a page but for its head, in one line."""
    return words_in(page.partition('<main id="content">')[2])


def links_of(html: str) -> dict[str, str]:
    """The last address of each link's words."""
    found = re.findall(r'<a [^>]*?href="([^"]*)"[^>]*>(.*?)</a>', html, flags=re.DOTALL)
    return {words_in(words): unescape(address) for address, words in found if words}


def names_in(address: str) -> dict[str, str]:
    return {name: text for name, (text,) in parse_qs(urlsplit(address).query).items()}


def pictures_of(html: str) -> dict[str, str]:
    found = map(unescape, re.findall(r'<img src="([^"]+)"', html))
    return {urlsplit(address).path.rpartition("/")[2]: address for address in found}


def shown(client: TestClient, address: str, status: int = 200, **names: str) -> str:
    answer = client.get(address, params=names, headers=BROWSER, follow_redirects=False)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.text.count("<h1") == 1
    return answer.text


@pytest.fixture
def with_store(store: sa.Engine, store_url: str, tmp_path: Path) -> Iterator[Callable[..., TestClient]]:
    """Takes catalogues in, one revision each, and gives a service over them."""
    started: list[TestClient] = []

    def serve(*catalogues: dict[str, str]) -> TestClient:
        for number, files in enumerate(catalogues):
            folder = tmp_path / f"catalogue-{number}"
            folder.mkdir()
            for name, rows in files.items():
                (folder / f"{name}.csv").write_text(rows, encoding="utf-8")
            import_folder(store, folder, actor="test", reason=f"sheet {number}")
        started.append(TestClient(create_app(store_url)))
        return started[0].__enter__()

    yield serve
    for client in started:
        client.__exit__(None, None, None)


# --- what it is, and its ratings -------------------------------------------------------------------


def test_the_head_says_what_it_is_and_leads_on(client: TestClient) -> None:
    page = shown(client, DULSE)
    assert words_in(page.partition("<h1>")[2].partition("</h1>")[0]) == "Quollbeck Dulse 23"
    text, links = text_of(page), links_of(page)
    assert "Spin-on, glass fibre, NBR seal, thread 1-12 UNF, current." in text
    assert "Bypass valve in the element, cracking at 170 kPa." in text
    assert names_in(links["Replace it"]) == {"original.maker": "Quollbeck", "original.number": "Dulse 23"}
    for words in ("Ask the maker", "Ask the maker for what is missing"):
        assert links[words] == f"/ask?elements.1.element_id={DULSE[-16:]}"
    assert links["Side by side"] == f"/side-by-side?elements.1.element_id={DULSE[-16:]}"
    for words, media in (("CSV", "text/csv"), ("JSON", "application/json")):
        answer = client.get(links[words])
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith(media)


def test_where_the_bypass_sits_is_said_of_those_that_have_a_place_for_one(client: TestClient) -> None:
    assert "cracking at a pressure that is not on file" in text_of(shown(client, DEMO["Oddmarrow 00430"]))
    head = "No bypass valve in the element: where the circuit needs one, the head must have it."
    assert head in text_of(shown(client, DEMO["Quollbeck Laver 1 M"]))
    assert "No bypass valve in the element. " in text_of(shown(client, DEMO["Oddmarrow 00612"]))
    assert "bypass valve in the element, cracking" not in text_of(shown(client, DEMO["Oddmarrow 00701"]))


def test_ratings_stand_as_stated_with_their_tests(client: TestClient) -> None:
    page = shown(client, DULSE)
    titles = re.findall(r'scope="rowgroup"[^>]*>(.*?) <span', page)
    assert titles[:4] == ["Filtration ratio (beta)", "Retained capacity", "Clean pressure drop", "Bubble point"]
    rows = [words_in(row) for row in re.findall(r"<tr>(.*?)</tr>", page, flags=re.DOTALL)]
    label = next(row for row in rows if row.startswith("at least 200"))
    assert label.startswith("at least 200 size 10 µm(c); flow 75 L/min; dust ISO 12103-1 A3 ISO 16889:2008 QB-2")
    for told in ("terminal drop170 kPa", "gravimetric level10 mg/L", "laboratorymaker", "Label on the can of Dulse 23"):
        assert told in label
    assert any(row.startswith("at least 1000 kPa stated as 1 MPa ISO 2941") for row in rows)
    # Each result has its whole test, and the source of it on the page.
    on_file = client.get(f"/v1{DULSE}").json()
    assert page.count("<details><summary>") == len(on_file["ratings"]) == len(rows) - 1 - len(titles)
    assert set(re.findall(r'href="#(source-\d+)"', page)) == set(re.findall(r'id="(source-\d+)"', page))
    assert page.count('id="source-') == len(on_file["sources"])


def test_the_units_are_the_readers_and_what_was_typed_is_kept(client: TestClient) -> None:
    page = shown(client, DULSE, units="us")
    text = text_of(page)
    assert "flow 19.81 US gpm stated as 75 L/min" in text
    assert "outside diameter3.78 in stated as 96 mm" in text
    assert names_in(links_of(page)["Replace it"])["units"] == "us"
    assert client.get(links_of(page)["JSON"]).json()["attributes"][10]["unit"] == "in"
    assert "stated as 75 L/min" not in text_of(shown(client, DULSE, units="si"))


def test_obsolete_is_loud_and_leads_to_the_successor(client: TestClient) -> None:
    page = shown(client, DEMO["Oddmarrow 00611"])
    alarm = page.partition('<p class="alarm">')[2].partition("</p>")[0]
    compared = {"elements": [{"element_id": DEMO["Oddmarrow 00612"][-16:]}], "original": {"number": "00611"}}
    compared["duty"] = {"assumptions": dict.fromkeys(AssumptionsAsked.model_fields, True)}
    (judged,) = client.post("/v1/comparisons", json=compared).json()["elements"]
    verdicts = [each["verdict"] for each in judged["criteria"]]
    missed = [each for each in judged["criteria"] if each["verdict"] == "misses"]
    assert words_in(alarm) == (
        f"Obsolete. Its successor is Oddmarrow 00612. Of {len(verdicts)} requirements taken from this element it meets "
        f"{verdicts.count('meets')}, misses {len(missed)}: {', '.join(each['characteristic'] for each in missed)}. "
        "Both side by side"
    )
    assert names_in(links_of(alarm)["Both side by side"]) == {
        "original.maker": "Oddmarrow",
        "original.number": "00611",
        "elements.1.element_id": DEMO["Oddmarrow 00612"][-16:],
    }
    assert "Verdicts rest on assumptions" in text_of(page)
    assert links_of(page)["Oddmarrow 00612"] == DEMO["Oddmarrow 00612"]
    assert '<p class="alarm">' not in shown(client, DEMO["Oddmarrow 00612"])


SUCCEEDED = (
    "maker,number,status,successor\nDemo,A 1,superseded,b-2\nDemo,A 2,obsolete,C 3\nDemo,A 3,obsolete,\n"
    "Demo,A 4,obsolete,D 4\nOther,B-2,,\nDemo,B-2,,\nOther,D 4,,\nDemo,A 5,obsolete,--\n"
)


def test_a_successor_is_its_makers_else_the_only_one_of_its_number(with_store: Callable[..., TestClient]) -> None:
    client = with_store({"elements": SUCCEEDED})
    for number, words, leads_to in (
        ("A 1", "Superseded. Its successor is Demo B-2.", ("Demo", "B-2")),
        ("A 2", "Obsolete. Its successor is named as C 3, which is not on file.", None),
        ("A 3", "Obsolete. No successor is on file.", None),
        ("A 4", "Obsolete. Its successor is Other D 4.", ("Other", "D 4")),
        ("A 5", "Obsolete. Its successor is named as --, which is not on file.", None),
    ):
        page = shown(client, f"/elements/{element_id('Demo', number)}")
        assert words in text_of(page)
        if leads_to:
            assert links_of(page)[" ".join(leads_to)] == f"/elements/{element_id(*leads_to)}"


# --- what is not on file ---------------------------------------------------------------------------


def test_gaps_are_said_plainly(client: TestClient) -> None:
    poor = text_of(shown(client, DEMO["Oddmarrow 00430"]))
    for told in (
        "No rating is on file.",
        "Nothing is on file of its filtration ratio (beta) (ISO 16889 or ISO 4572).",
        "Nothing is on file of its bypass cracking pressure (ISO 3968).",
        "Nothing is on file of its clean pressure drop, so that there is nothing to draw.",
        "Nobody's claim that it replaces another, or another it, is on file.",
    ):
        assert told in poor
    page = shown(client, DULSE)
    assert "Of its clean pressure drop all results leave unstated the density (QB-1, QB-2)." in text_of(page)
    assert "Nothing is on file of its filtration ratio" not in text_of(page)


# --- pictures and the duty -------------------------------------------------------------------------


def test_what_cannot_be_drawn_is_said_with_the_way_to_state_it(client: TestClient) -> None:
    page = shown(client, DULSE)
    assert list(pictures_of(page)) == ["filtration_ratio"]
    assert "is drawn at the flow through the filter, which is not stated" in text_of(page)
    assert re.findall(r'<input type="text" id="[^"]*" name="([^"]*)"', page) == list(STATED_HERE)
    for name in STATED_HERE:
        assert f'name="{name}" value=""' in page
    half = shown(client, DULSE, flow="75 L/min", assumptions="none")
    assert list(pictures_of(half)) == ["filtration_ratio"]
    assert 'name="flow" value="75 L/min"' in half
    assert '<input type="hidden" name="assumptions" value="none">' in half
    assert "is drawn at the flow through the filter" not in text_of(half)
    drawn = shown(client, DULSE, **DUTY, assumptions="none")
    assert list(pictures_of(drawn)) == ["filtration_ratio", "pressure_drop"]
    # Such a duty requires nothing that a maker could be asked about.
    assert links_of(drawn)["Ask the maker"] == f"/ask?elements.1.element_id={DULSE[-16:]}"
    assert "<form" not in drawn


def test_every_picture_that_is_offered_can_be_drawn_of_the_same_question(client: TestClient) -> None:
    page = shown(client, DEMO["Tarnwhistle 12-2"], **{"original.number": "Dulse 23"}, **DUTY, assumptions="none")
    pictures = pictures_of(page)
    assert list(pictures) == ["filtration_ratio", "pressure_drop", "criteria"]
    assert page.count('loading="lazy"') == 3
    for address in pictures.values():
        assert names_in(address) == {"original.number": "Dulse 23", **DUTY, "assumptions": "none", "units": "si"}
        answer = client.get(address)
        assert (answer.status_code, answer.headers["content-type"]) == (200, "image/svg+xml")
    assert 'alt="Clean pressure drop over temperature, drawn for Tarnwhistle 12-2: ' in page


def test_a_question_starts_from_customary_assumptions_and_is_tidied(client: TestClient) -> None:
    def sent_on(**names: str) -> str:
        answer = client.get(DULSE, params=names, headers=BROWSER, follow_redirects=False)
        assert answer.status_code == 303
        return str(answer.headers["location"])

    assert names_in(sent_on(**DUTY)) == {**DUTY, "assumptions": "customary"}
    assert sent_on(flow="75 L/min", **{"fluid.grade": " "}, assumptions="none") == (
        f"{DULSE}?flow=75+L/min&assumptions=none"
    )
    # What is typed in the page's own form takes the unit printed in its hint, and one assumption is a statement too.
    assert names_in(sent_on(flow="75", **{"fluid.grade": "46"}, assumptions="none")) == {
        "flow": "75 L/min", "fluid.grade": "ISO VG 46", "assumptions": "none",
    }  # fmt: skip
    one = shown(client, DULSE, flow="75 L/min", **{"assumptions.bare_size_is": "c"})
    assert "Verdicts rest on" in one
    assert "a condition that only the test leaves unstated" not in one
    for names in ({}, {"units": "us"}, {"as_of": "1"}, {"assumptions": "none"}):
        assert 'id="duty"' not in shown(client, DULSE, **names)


def test_against_a_duty_it_says_what_the_api_says(client: TestClient) -> None:
    question = {"original.number": "Dulse 23", "flow": "75 L/min", "assumptions": "customary"}
    number = "Oddmarrow 00417"
    page = shown(client, DEMO[number], **question)
    asked = {
        "elements": [{"element_id": DEMO[number][-16:]}],
        "original": {"number": "Dulse 23"},
        "duty": {
            "flow": "75 L/min",
            "assumptions": dict.fromkeys(AssumptionsAsked.model_fields, True),
        },
    }
    (judged,) = client.post("/v1/comparisons", json=asked).json()["elements"]
    verdicts = [each["verdict"] for each in judged["criteria"]]
    meets, misses, open_ = (verdicts.count(word) for word in ("meets", "misses", "not_shown"))
    assert misses
    text, links = text_of(page), links_of(page)
    assert "Against this duty In place of Quollbeck Dulse 23." in text
    assert f"Of {len(verdicts)} requirements it meets {meets}, misses {misses}, and has not shown {open_}." in text
    told = page.partition('id="duty"')[2].partition("</section>")[0]
    listed = [words_in(each) for each in re.findall(r"<li>(.*?)</li>", told)]
    order = ("misses", "not_shown", "meets")
    assert listed == [
        each["explanation"] for verdict in order for each in judged["criteria"] if each["verdict"] == verdict
    ]
    assert f"<summary>Met: {meets}</summary>" in told
    assert "Verdicts rest on assumptions" in text
    assert names_in(links["Back to Replace it, with this duty"]) == question
    compared = {**question, "elements.1.element_id": DEMO[number][-16:]}
    assert names_in(links["Each requirement side by side"]) == compared
    assert names_in(links["Proof alone"]) == question | {"assumptions": "none"}
    assert "It is itself the original" in text_of(shown(client, DULSE, **question))


# --- claims ----------------------------------------------------------------------------------------


def test_claims_stand_both_ways_with_what_the_ratings_say(client: TestClient) -> None:
    page = shown(client, DULSE)
    text, links = text_of(page), links_of(page)
    assert text.count("A claim is somebody's word, no proof.") == 1
    assert "Gorsepan 45/2 (not on file; search for it), by GP-1, 2019-10-03. Not judged: Gorsepan 45/2 is not" in text
    assert links["search for it"] == "/?q=45/2"
    assert "Claimed to replace Umberglyph Rowan/4, by QB-1" in text
    asked = {"original": {"number": "Dulse 23"}, "limit": 500, "duty": {"assumptions": {}}}
    beside = {
        f"{each['element']['maker']} {each['element']['number']}": each["claims"][0]["links"][0]
        for each in client.post("/v1/equivalents", json=asked).json()["candidates"]
        if each["claims"] and each["claims"][0]["direction"] == "direct"
    }
    assert len(beside) == 4
    proof = text_of(shown(client, DULSE, assumptions="none"))
    for name, link in beside.items():
        told = proof.partition(f"{name}, by ")[2].partition("Both side by side")[0]
        assert ("Contradicted by the ratings on file." in told) == link["contradicted"]
        count = link["meets"] + link["misses"] + link["not_shown"]
        assert f"Of {count} requirements taken from this one, that one meets {link['meets']}" in told
        assert (f"misses {link['misses']}: " in told) == (link["misses"] > 0)
    pair = next(
        names_in(unescape(address))
        for address in re.findall(r'href="(/side-by-side[^"]*original[^"]*)"', page)
        if DEMO["Tarnwhistle 12-2"][-16:] in address
    )
    compared = {"original.maker": "Quollbeck", "original.number": "Dulse 23"}
    assert pair == compared | {"elements.1.element_id": DEMO["Tarnwhistle 12-2"][-16:]}
    other_way = text_of(shown(client, DEMO["Tarnwhistle 12-2"]))
    assert "Claimed to replace Quollbeck Dulse 23, by TW-1" in other_way
    assert "requirements taken from that one, this one meets" in other_way


# --- what was on file when -------------------------------------------------------------------------

SHEET = "rating,maker,number,characteristic,value,page\nR1,Demo,A 1,collapse_pressure,{},2\n"
CORRECTED = "rating,supersedes,maker,number,characteristic,value,page\nR2,R1,Demo,A 1,collapse_pressure,12 bar,3\n"


def test_an_earlier_state_is_shown_and_said(with_store: Callable[..., TestClient]) -> None:
    elements = {"elements": "maker,number,kind\nDemo,A 1,cartridge\n"}
    client = with_store(elements, {**elements, "ratings": SHEET.format("10 bar")}, {**elements, "ratings": CORRECTED})
    address = f"/elements/{element_id('Demo', 'A 1')}"
    now, then, first = (shown(client, address, **names) for names in ({}, {"as_of": "2"}, {"as_of": "1"}))
    assert "equal to 1200 kPa stated as 12 bar" in text_of(now)
    assert "equal to 1000 kPa stated as 10 bar" in text_of(then)
    assert "No rating is on file." in text_of(first)
    assert "As of revision 2; the catalogue is at revision 3." in text_of(then)
    assert "As of revision" not in text_of(now)
    assert links_of(then)["As it is now"] == address
    assert names_in(links_of(then)["JSON"]) == {"as_of": "2"}
    assert "Collapse pressure superseded" in text_of(now)
    assert "10 bar, now 12 bar" in text_of(now)
    assert f'href="{address}?as_of=2"' in now
    assert "superseded" not in text_of(then)


def test_a_kept_page_is_kept_until_the_catalogue_moves(client: TestClient) -> None:
    tag = client.get(DULSE, headers=BROWSER).headers["etag"]
    assert client.get(DULSE, headers={**BROWSER, "if-none-match": tag}).status_code == 304
    other = client.get(DULSE, params={"units": "us"}, headers={**BROWSER, "if-none-match": tag})
    assert other.status_code == 200


# --- what goes wrong -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("names", "status", "told"),
    [
        ({"fluid.gade": "ISO VG 46"}, 422, "fluid.gade: There is no such name. Is fluid.grade meant?"),
        ({"flow": "75 blobs"}, 422, 'flow: "blobs" is no unit of flow known here.'),
        ({"as_of": "99"}, 422, "as_of: There is no such revision yet."),
        ({"original.number": "nowhere"}, 404, "original.number: "),
        ({"as_of": "99", "flow": "75 blobs"}, 422, "as_of: There is no such revision yet."),
    ],
)
def test_faults_stand_at_the_head_of_the_element(
    client: TestClient, names: dict[str, str], status: int, told: str
) -> None:
    page = shown(client, DULSE, status, **names)
    assert told in text_of(page)
    assert "at least 200" in text_of(page)
    assert "As of revision" not in text_of(page)
    assert list(pictures_of(page)) == ["filtration_ratio"]
    assert client.get(pictures_of(page)["filtration_ratio"]).status_code == 200
    for name in set(names) & set(STATED_HERE):
        assert f'name="{name}" value="{names[name]}"' in page


@pytest.mark.parametrize("named", ["0" * 16, "nobody", "%3Cscript%3E", "9" * 300])
def test_nobody_is_a_plain_page(client: TestClient, named: str) -> None:
    page = shown(client, f"/elements/{named}", 404)
    assert "No element has this identifier" in text_of(page)
    assert "<script>" not in page.partition("<main")[2]


def of_hostile(with_store: Callable[..., TestClient]) -> TestClient:
    def quoted(text: str) -> str:
        return '"' + text.replace('"', '""') + '"'

    bad, number = quoted(HOSTILE), quoted(HOSTILE_NUMBER)
    both = f"{bad},{number}"
    return with_store(
        {
            "sources": f"source,title\n{bad},{bad}\n",
            "elements": "maker,number,kind,status,successor,series,source\n"
            f"{both},spin-on,obsolete,{bad},{bad},{bad}\nOther,Z 9,spin-on,,,,\n",
            "ratings": "maker,number,characteristic,value,size,page,remark,source\n"
            f"{both},filtration_ratio,200,10 um(c),{bad},{bad},{bad}\nOther,Z 9,collapse_pressure,4 bar,,,,\n",
            "interchanges": "maker,number,replaces_maker,replaces_number,remark,source\n"
            f"Other,Z 9,{both},{bad},{bad}\n{both},{bad},Q,,\n",
        }
    )


def test_whatever_a_text_holds_is_shown_and_does_nothing(with_store: Callable[..., TestClient]) -> None:
    client = of_hostile(with_store)
    assert len(HOSTILE_NUMBER) == 200
    for maker, number in ((HOSTILE, HOSTILE_NUMBER), ("Other", "Z 9")):
        page = shown(client, f"/elements/{element_id(maker, number)}", machine=HOSTILE)
        assert not re.findall(r"<script(?! src=\"/static/)", page)
        assert "<img src=x" not in page
        assert not [c for c in page if unicodedata.category(c) in ("Cf", "Cc") and c != "\n"]
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
        assert 'red<span class="unseen">U+202E</span>der' in page
        inside = page.replace("<bdi>", "\u2068").replace("</bdi>", "\u2069")
        bare = re.sub(r"<[^>]*>", "", re.sub("\u2068[^\u2069]*\u2069", "", inside.partition("<main")[2]))
        assert "\u05d0" not in bare  # no right-to-left letter stands outside what sets it apart
        for address in pictures_of(page).values():
            assert client.get(address).status_code == 200


# --- weight ----------------------------------------------------------------------------------------


def loaded_bytes(client: TestClient, page: str) -> int:
    """What a browser loads with the page before anything is opened."""
    files = re.findall(r'(?:href|src)="(/static/[^"]+)"', page)
    opened = re.findall(r'<details class="picture" open>.*?<img src="([^"]+)"', page, flags=re.DOTALL)
    answers: list[Response] = [client.get(unescape(each)) for each in (*files, *opened)]
    assert {answer.status_code for answer in answers} == {200}
    return len(page.encode()) + sum(len(answer.content) for answer in answers)


def test_the_page_is_light_with_all_it_loads(client: TestClient) -> None:
    page = shown(client, DEMO["Tarnwhistle 12-2"], **{"original.number": "Dulse 23"}, **DUTY, assumptions="customary")
    assert loaded_bytes(client, page) < HEAVIEST_BYTES


def test_of_many_ratings_each_characteristic_shows_its_share(with_store: Callable[..., TestClient]) -> None:
    rows = [f"Demo,A 1,clean_pressure_drop,{n + 1} kPa,{n + 10} L/min,32 mm2/s" for n in range(400)]
    rows += [f"Demo,A 1,rated_flow,{n + 5} L/min,{n + 5} L/min," for n in range(3)]
    client = with_store(
        {
            "elements": "maker,number,kind\nDemo,A 1,cartridge\n",
            "ratings": "maker,number,characteristic,value,flow,viscosity\n" + "\n".join(rows) + "\n",
        }
    )
    page = shown(client, f"/elements/{element_id('Demo', 'A 1')}")
    assert page.count("<details><summary>") == MOST_RATINGS // 2 + 3
    assert f"{400 - MOST_RATINGS // 2} more results: all of them as CSV" in text_of(page)
    assert "Added: 1 element, 1 attribute, 403 ratings." in text_of(page)
    assert len(page.encode()) < HEAVIEST_BYTES // 2
