"""The page that sets elements side by side: the sheet that it shows, its PDF, its addresses, and what it says of
faults."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from api import create_app
from specdb.catalog.reading import load_snapshot
from specdb.catalog.revisions import current_revision
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import open_store, read_session
from specdb.exchange import import_folder
from specdb.sheet.content import Stated
from specdb.sheet.unseen import plain
from tests.specdb.sheet.sheets import DUTY, NUMBERS, asked_of, read, sheet, squeezed, texts

PAGE, PDF = "/side-by-side", "/side-by-side.pdf"
BROWSER = {"accept": "text/html,application/xhtml+xml,*/*;q=0.8"}
ASKED = asked_of(NUMBERS[:3])
HEAD = {"machine": "Loader <4>", "asked_by": "desk 2 & 3", "asked_for": "אב", "order_number": "7", "date": "2026-11-30"}
HOSTILE = ("<script>alert(1)</script>", "12-1\u202e9-K", "X" * 200, "אבג 12")


def get(client: TestClient, names: Mapping[str, str | int], path: str = PAGE) -> Response:
    return client.get(path, params=names, headers=BROWSER, follow_redirects=False)


def given(client: TestClient, names: Mapping[str, str | int]) -> str:
    response = get(client, names)
    assert response.status_code == 200, (response.status_code, response.text)
    return response.text


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_data(self, data: str) -> None:
        self.found.append(data)


def words_of(html: str) -> str:
    """What is read in the sheet on a page, without white space."""
    parser = _Words()
    parser.feed(html.partition("<article")[2].partition("</article>")[0])
    return squeezed("".join(parser.found))


def links_of(html: str) -> dict[str, str]:
    found = re.findall(r'<a [^>]*?href="([^"]*)"[^>]*?(?:aria-label="([^"]*)")?>(.*?)</a>', html, flags=re.DOTALL)
    return {unescape(label or re.sub("<[^>]*>", "", words)): unescape(to) for to, label, words in found}


def sent_by(html: str, button: str) -> dict[str, str]:
    """What the form with this button sends as it stands."""
    (form,) = (form for form in re.findall(r"<form.*?</form>", html, flags=re.DOTALL) if f">{button}</button>" in form)
    fields = re.findall(r'<input[^>]*? name="([^"]*)" value="([^"]*)"', form)
    return {unescape(name): unescape(value) for name, value in fields}


def names_in(address: str) -> dict[str, str]:
    return dict(parse_qsl(urlsplit(address).query, keep_blank_values=True))


@pytest.fixture(scope="module")
def demo(demo_store_url: str) -> Snapshot:
    return _snapshot(demo_store_url)


def _snapshot(url: str) -> Snapshot:
    engine = open_store(url)
    with read_session(engine) as connection:
        found = load_snapshot(connection, current_revision(connection))
    engine.dispose()
    return found


# --- one content ----------------------------------------------------------------------------------


@pytest.mark.parametrize("names", [ASKED | HEAD, asked_of(NUMBERS[:7], {**DUTY, "assumptions": "none"}) | HEAD])
def test_page_and_pdf_hold_every_text_of_the_sheet(client: TestClient, demo: Snapshot, names: dict[str, str]) -> None:
    head = {**HEAD, "date": date.fromisoformat(HEAD["date"])}
    html = given(client, names)
    address = f"http://testserver{links_of(html)['Address to keep']}"
    made = sheet(demo, {n: t for n, t in names.items() if n not in HEAD}, Stated(address=address, **head))  # type: ignore[arg-type]
    page = words_of(html)
    response = get(client, names | {"paper": "letter"}, PDF)
    assert response.headers["content-type"] == "application/pdf"
    assert response.headers["content-disposition"] == 'inline; filename="side-by-side-2026-11-30.pdf"'
    pdf = read(made, response.content)
    told = list(texts(made))
    assert len(told) > 200
    assert [text for text in told if squeezed(text) not in page] == []
    # Letters that run from right to left are read back in an order of their own.
    assert [text for text in told if squeezed(text) not in pdf and text != HEAD["asked_for"]] == []
    assert all(letter in pdf for letter in HEAD["asked_for"])


def _store(folder: Path, elements: Iterable[tuple[str, str]]) -> str:
    """URL of a store with these spin-ons in it, each a maker and a number."""
    with (folder / "elements.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([("maker", "number", "kind", "source"), *((*e, "spin-on", "S") for e in elements)])
    (folder / "sources.csv").write_text("source,title\nS,<b>Title</b>\u202e\n", encoding="utf-8")
    url = f"sqlite:///{folder / 'store.sqlite'}"
    engine = open_store(url, create=True)
    import_folder(engine, folder, actor="test", reason="invented")
    engine.dispose()
    return url


def test_texts_of_a_catalogue_are_shown_and_do_nothing(tmp_path: Path) -> None:
    url = _store(tmp_path, [("Maker", number) for number in HOSTILE])
    names = asked_of(HOSTILE, {"fit.kind": "spin-on", "assumptions": "none"}) | {"asked_by": "<i>\u202e"}
    with TestClient(create_app(url)) as client:
        html = given(client, names)
        pdf = get(client, names | {"date": "2026-11-30"}, PDF).content
    assert "\u202e" not in re.sub(r'value="[^"]*"', "", html)  # what was typed stays as it was typed
    assert "<script>alert" not in html
    assert "<b>Title" not in html
    page = words_of(html)
    made = sheet(_snapshot(url), {n: t for n, t in names.items() if n != "asked_by"})
    found = read(made, pdf)
    for number in HOSTILE[:3]:
        assert squeezed(plain(number)) in found
        assert squeezed(plain(number)).replace("[U+202E]", "U+202E") in page
    assert "אבג" in found
    assert "S:<b>Title</b>[U+202E]" in found


# --- addresses ------------------------------------------------------------------------------------


def test_it_starts_from_customary_assumptions_and_leads_to_proof_alone_and_back(client: TestClient) -> None:
    bare = {name: text for name, text in ASKED.items() if name != "assumptions"}
    response = get(client, bare | {"order_number": "", "limit": "5", "include_without_evidence": "yes"})
    assert response.status_code == 303
    assert names_in(response.headers["location"]) == bare | {"assumptions": "customary"}
    html = given(client, ASKED)
    assert "Verdicts rest on assumptions: " in html
    assert "by proof alone: not shown" in html
    alone = links_of(html)["Proof alone"]
    assert names_in(alone) == ASKED | {"assumptions": "none"}
    proof = given(client, names_in(alone))
    assert "Verdicts rest on proof alone: nothing is assumed." in proof
    assert "by proof alone:" not in proof
    assert names_in(links_of(proof)["With customary assumptions"]) == ASKED
    assert get(client, bare, PDF).status_code == 303


def test_what_is_kept_names_revision_and_date_and_shows_the_same_later(writable: TestClient) -> None:
    html = given(writable, ASKED)
    today = datetime.now(UTC).date().isoformat()
    links = links_of(html)
    pinned = {"as_of": "1", "date": today}
    assert names_in(links["Address to keep"]) == ASKED | pinned
    assert names_in(links["PDF on A4"]) == ASKED | pinned | {"paper": "a4"}
    assert names_in(links["PDF on Letter"]) == ASKED | pinned | {"paper": "letter"}
    assert squeezed(f"This sheet again: http://testserver{links['Address to keep']}") in words_of(html)
    kept, pdf = given(writable, ASKED | pinned), get(writable, names_in(links["PDF on A4"]), PDF).content
    assert words_of(kept) == words_of(html)
    sheet_csv = "maker,number,kind,status,source\nQuollbeck,Dulse 99,spin-on,obsolete,QB-1\n"
    files = {"file": ("elements.csv", sheet_csv, "text/csv")}
    loaded = writable.post("/v1/imports", files=files, params={"actor": "test", "reason": "another"})
    assert loaded.status_code < 300, loaded.text
    moved = given(writable, ASKED)
    assert "as_of=2" in links_of(moved)["Address to keep"]
    assert given(writable, ASKED | pinned) == kept
    assert get(writable, names_in(links["PDF on A4"]), PDF).content == pdf


def test_a_reader_who_has_the_page_or_the_sheet_is_not_sent_it_again(client: TestClient) -> None:
    for path in (PAGE, PDF):
        tag = get(client, ASKED, path).headers["etag"]
        again = client.get(path, params=ASKED, headers={**BROWSER, "if-none-match": tag})
        assert (again.status_code, again.content) == (304, b"")
        other = client.get(path, params=ASKED | {"date": "2020-02-02"}, headers={**BROWSER, "if-none-match": tag})
        assert other.status_code == 200


def test_elements_are_added_behind_the_others_and_removed(client: TestClient) -> None:
    names = {**ASKED, "elements.5.number": ASKED["elements.3.number"]}
    del names["elements.3.number"]
    html = given(client, names)
    links = links_of(html)
    removed = names_in(links["Remove Quollbeck Dulse 24"])
    assert removed == {name: text for name, text in names.items() if not name.startswith("elements.5.")}
    sent = sent_by(html, "Add this element")
    assert sent == names | {"elements.6.number": "", "elements.6.maker": ""}
    added = get(client, sent | {"elements.6.number": "2024-07"})
    assert names_in(added.headers["location"]) == names | {"elements.6.number": "2024-07"}
    told = given(client, names_in(added.headers["location"]))
    columns = re.findall(r'<th scope="col"><a[^>]*><bdi>(.*?)</bdi>', told)
    assert [column.partition(" ")[2] for column in columns] == ["Dulse 23", "12-2", "Dulse 23/B", "Dulse 24", "2024-07"]


def test_a_few_elements_and_all_that_the_page_loads_weigh_little(client: TestClient) -> None:
    html = given(client, asked_of(NUMBERS[:4]))
    loaded = [unescape(address) for address in re.findall(r'(?:src|href)="(/static/[^"]*)"', html)]
    assert loaded
    assert len(html.encode()) + sum(len(client.get(address).content) for address in loaded) < 150_000


def test_twenty_are_the_most(client: TestClient) -> None:
    ranked = client.post("/v1/equivalents", json={"original": {"number": "Dulse 23"}, "limit": 20}).json()["candidates"]
    names = {f"elements.{n}.element_id": each["element"]["element_id"] for n, each in enumerate(ranked, start=1)}
    html = given(client, names | {"original.number": "Dulse 23", "assumptions": "none"})
    assert html.count("<table") == 4
    assert "These are as many as are taken: 20." in html
    assert "Add this element" not in html


def test_the_head_is_filled_in_by_a_form_that_keeps_the_question(client: TestClient) -> None:
    sent = sent_by(given(client, ASKED), "Put it on the sheet")
    assert sent == ASKED | dict.fromkeys(HEAD, "")
    filled = given(client, ASKED | HEAD)
    assert sent_by(filled, "Put it on the sheet") == ASKED | HEAD
    for label, text in (("Asked by", HEAD["asked_by"]), ("Machine", HEAD["machine"]), ("Date", HEAD["date"])):
        assert squeezed(f"{label}{text}") in words_of(filled)


def test_units_of_the_reader(client: TestClient) -> None:
    html = given(client, ASKED | {"units": "us"})
    assert " psi" in html
    assert " kPa" not in html.partition("<table")[2].partition("</table>")[0]
    assert names_in(links_of(html)["PDF on Letter"])["units"] == "us"


# --- where there is no sheet ----------------------------------------------------------------------


def test_with_nothing_there_is_a_form_and_the_way_here(client: TestClient) -> None:
    response = get(client, {})
    assert response.status_code == 200
    sent = sent_by(response.text, "Set side by side")
    elements = {f"elements.{n}.{own}": "" for n in (1, 2, 3, 4) for own in ("number", "maker")}
    assert sent == elements | {"original.number": "", "original.maker": ""} | dict.fromkeys(HEAD, "")
    assert links_of(response.text)["Replace it"] == "/replace"
    typed = sent | {"elements.1.number": "12-2", "original.number": "Dulse 23"}
    tidy = get(client, typed).headers["location"]
    assert names_in(tidy) == {"elements.1.number": "12-2", "original.number": "Dulse 23", "assumptions": "customary"}
    assert "<table" in given(client, names_in(tidy))


def test_an_original_without_elements_is_kept_in_the_form(client: TestClient) -> None:
    duty = {"original.number": "Dulse 23", "flow": "75 L/min", "assumptions": "customary"}
    sent = sent_by(given(client, duty), "Set side by side")
    assert {name: text for name, text in sent.items() if text} == duty


@pytest.mark.parametrize("duty", [{}, {"flow": "75 L/min"}])
def test_elements_of_which_nothing_is_required(client: TestClient, duty: dict[str, str]) -> None:
    named = {"elements.1.number": "12-2", "elements.2.element_id": "23d2f750f7492a15"}
    names = named | duty | {"assumptions": "customary"}
    html = given(client, names)
    assert "Nothing is required of them yet" in html
    assert "(<bdi>Quollbeck Dulse 23</bdi>)" in html
    assert {name: text for name, text in sent_by(html, "Set side by side").items() if text} == names
    assert get(client, names, PDF).status_code == 422


@pytest.mark.parametrize(
    ("names", "status", "told"),
    [
        ({"elements.4.number": "nowhere"}, 404, {"elements.4.number": "No element has this number"}),
        ({"elements.4.element_id": "0" * 16}, 404, {"elements.4.element_id": "No element has this identifier"}),
        ({"elements.4.number": "dulse23/b"}, 422, {"elements.4.number": "same element"}),
        ({"original.number": "00417 x"}, 404, {"original.number": "No element has this number"}),
        (
            {"elements.4.number": "nowhere", "date": "tomorrow"},
            422,
            {"elements.4.number": "No element has this number", "date": "This is no date. Found: tomorrow"},
        ),
        ({"flow": "75 kPa", "foo": "1"}, 422, {"flow": "flow was wanted", "foo": "There is no such name"}),
        ({"as_of": "99"}, 422, {"as_of": "revision"}),
    ],
)
def test_a_fault_stands_beside_what_it_concerns_and_all_is_kept(
    client: TestClient, names: dict[str, str], status: int, told: dict[str, str]
) -> None:
    asked = ASKED | {"asked_by": "me"} | names
    response = get(client, asked)
    assert response.status_code == status
    assert "etag" not in response.headers
    assert {name: text for name, text in sent_by(response.text, "Set side by side").items() if text} == asked
    for name, message in told.items():
        field = next(f for f in response.text.split('<p class="field">') if f' name="{name}"' in f)
        assert 'aria-invalid="true"' in field
        said = re.search(r'class="fault" id="([^"]*)">(.*?)</p>', field, flags=re.DOTALL)
        assert said is not None
        assert message in said[2]
        assert f'aria-describedby="{said[1]} ' in field
    assert response.text.count('aria-invalid="true"') == len(told)
    assert get(client, asked, PDF).status_code == status


def test_a_number_that_several_makers_have_asks_for_the_maker(tmp_path: Path) -> None:
    url = _store(tmp_path, [("Quollbeck", "P-1"), ("Tarnwhistle", "P-1")])
    names = {"elements.1.number": "P-1", "fit.kind": "spin-on", "assumptions": "none"}
    with TestClient(create_app(url)) as client:
        response = get(client, names)
        assert response.status_code == 422
        (field,) = (f for f in response.text.split('<p class="field">') if 'aria-invalid="true"' in f)
        assert ' name="elements.1.maker"' in field
        assert "Quollbeck" in field
        assert "Tarnwhistle" in field
        chosen = names | {"elements.1.maker": "Tarnwhistle"}
        assert "Tarnwhistle P-1" in unescape(given(client, chosen).partition("<table")[2])


def test_a_paper_that_there_is_not(client: TestClient) -> None:
    response = get(client, ASKED | {"paper": "a5"}, PDF)
    assert response.status_code == 422
    assert "Write a4 or letter." in response.text
