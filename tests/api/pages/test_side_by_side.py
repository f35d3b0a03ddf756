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
from specdb.sheet.content import MARKS, Stated
from specdb.sheet.unseen import plain
from tests.specdb.sheet.sheets import DUTY, NUMBERS, asked_of, pages_of, read, sheet, squeezed, texts

PAGE, PDF = "/side-by-side", "/side-by-side.pdf"
LONG_DUTY = DUTY | {
    "require.1.characteristic": "filtration_ratio", "require.1.at_least": "200", "require.1.size": "10 um(c)",
    "service_interval": "1000 h", "pressure_cycles": "1e6", "working_pressure": "800 kPa", "original.allow": "5 %",
}  # fmt: skip
BROWSER = {"accept": "text/html,application/xhtml+xml,*/*;q=0.8"}
ASKED = asked_of(NUMBERS[:3])
HEAD = {"asked_by": "desk 2 & 3", "asked_for": "אב", "machine": "Loader <4>", "order_number": "7", "date": "2026-11-30"}
NOTHING = dict.fromkeys(HEAD, "")
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
    """What this button sends as its form stands, with what belongs to that form elsewhere on the page."""
    buttons = re.findall(r"<button([^>]*)>(.*?)</button>", html)
    (own,) = (tag for tag, words in buttons if words == button or f' aria-label="{button}"' in tag)
    forms = re.findall(r"<form.*?</form>", html, flags=re.DOTALL)
    of_sheet = 'form="sheet"' in own
    (form,) = (f for f in forms if (' id="sheet"' in f if of_sheet else f"{own}>{button}</button>" in f))
    outside = re.findall(r'<input[^>]*? form="sheet"[^>]*>', html) if ' id="sheet"' in form else []
    fields = re.findall(r' name="([^"]*)" value="([^"]*)"', "".join([*re.findall("<input[^>]*>", form), *outside, own]))
    return {unescape(name): unescape(value) for name, value in fields}


def pressed(client: TestClient, html: str, button: str, typed: Mapping[str, str] | None = None) -> dict[str, str]:
    """The names of the address that this button leads to once all of that is typed."""
    return names_in(led_to(client, html, button, typed))


def led_to(client: TestClient, html: str, button: str, typed: Mapping[str, str] | None = None) -> str:
    """The address that this button leads to once all of that is typed."""
    (own,) = (tag for tag, words in re.findall(r"<button([^>]*)>(.*?)</button>", html) if words == button)
    path = PDF if f'formaction="{PDF}"' in own else PAGE
    response = get(client, sent_by(html, button) | (typed or {}), path)
    assert response.status_code == 303
    away = {"Change what is asked": "/replace", "Ask the makers": "/ask"}
    assert urlsplit(response.headers["location"]).path == away.get(button, path)
    return str(response.headers["location"])


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
    kept = Stated(address=led_to(client, html, "Address to keep"), reached="at the address of this service", **head)  # type: ignore[arg-type]
    made = sheet(demo, {n: t for n, t in names.items() if n not in HEAD}, kept)
    page = words_of(html)
    response = get(client, names | {"paper": "letter"}, PDF)
    assert response.headers["content-type"] == "application/pdf"
    assert response.headers["content-disposition"] == 'inline; filename="side-by-side-2026-11-30-7.pdf"'
    pdf = read(made, response.content)
    told = list(texts(made))
    assert len(told) > 200
    # The signs stand in the style, where nobody has them read aloud beside the words.
    assert [text for text in told if squeezed(text) not in page and text not in MARKS.values()] == []
    style = (Path(__file__).parents[3] / "api/pages/static/style.css").read_text(encoding="utf-8")
    for verdict, mark in MARKS.items():
        assert f"table.criteria .{verdict.replace('_', '-')} b::before {{ content: \"{mark}\";" in style
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
    alone = pressed(client, html, "Proof alone", {"machine": "Loader 4"})
    assert alone == ASKED | {"assumptions": "none", "machine": "Loader 4"}
    proof = given(client, alone)
    assert "Verdicts rest on proof alone: nothing is assumed." in proof
    assert "by proof alone:" not in proof
    assert pressed(client, proof, "With customary assumptions") == ASKED | {"machine": "Loader 4"}
    one_by_one = {**bare, "assumptions.about_within": "10 %", "assumptions.converted_sizes_count": "yes"}
    assert pressed(client, given(client, one_by_one), "Proof alone") == bare | {"assumptions": "none"}
    assert get(client, bare, PDF).status_code == 303


def test_what_is_kept_names_revision_and_date_and_shows_the_same_later(writable: TestClient) -> None:
    html = given(writable, ASKED)
    today = datetime.now(UTC).date().isoformat()
    pinned = {"as_of": "1", "date": today}
    address = led_to(writable, html, "Address to keep")
    assert names_in(address) == ASKED | pinned
    on_a4 = pressed(writable, html, "PDF on A4")
    assert on_a4 == ASKED | pinned | {"paper": "a4"}
    assert pressed(writable, html, "PDF on Letter") == ASKED | pinned | {"paper": "letter"}
    assert squeezed(f"at the address of this service: {address}") in words_of(html)
    kept, pdf = given(writable, ASKED | pinned), get(writable, on_a4, PDF).content
    assert words_of(kept) == words_of(html)
    assert "As of revision" not in html
    assert "As of revision 1, the latest." in kept
    etag = get(writable, ASKED | pinned).headers["etag"]
    sheet_csv = "maker,number,kind,status,source\nQuollbeck,Dulse 99,spin-on,obsolete,QB-1\n"
    files = {"file": ("elements.csv", sheet_csv, "text/csv")}
    loaded = writable.post("/v1/imports", files=files, params={"actor": "test", "reason": "another"})
    assert loaded.status_code < 300, loaded.text
    moved = given(writable, ASKED)
    assert pressed(writable, moved, "Address to keep")["as_of"] == "2"
    # A page that was read before keeps what it showed.
    assert pressed(writable, html, "Address to keep") == ASKED | pinned
    later = given(writable, ASKED | pinned)
    assert words_of(later) == words_of(kept)
    assert "As of revision 1; the catalogue is at revision 2." in later
    assert get(writable, ASKED | pinned).headers["etag"] != etag
    assert names_in(links_of(later)["As it is now"]) == ASKED
    assert get(writable, on_a4, PDF).content == pdf
    # What is asked next is asked of the catalogue as it is, and its sheet has a date of its own.
    assert pressed(writable, later, "Change what is asked") == DUTY
    assert pressed(writable, later, "Ask the makers") == ASKED


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
    sent = sent_by(html, "Remove Quollbeck Dulse 24")
    removed = names_in(get(client, sent | {"asked_by": "me"}).headers["location"])
    left = {name: text for name, text in names.items() if not name.startswith("elements.5.")}
    assert removed == left | {"asked_by": "me"}
    sent = sent_by(html, "Add this element")
    assert sent == names | NOTHING | {"shown": "1", "elements.6.number": "", "elements.6.maker": ""}
    added = get(client, sent | {"elements.6.number": "2024-07"})
    assert names_in(added.headers["location"]) == names | {"elements.6.number": "2024-07"}
    told = given(client, names_in(added.headers["location"]))
    columns = re.findall(r'<th scope="col"><a[^>]*><bdi>(.*?)</bdi>', told)
    assert [column.partition(" ")[2] for column in columns] == ["Dulse 23", "12-2", "Dulse 23/B", "Dulse 24", "2024-07"]


def test_eight_elements_and_all_that_the_page_loads_weigh_little(client: TestClient) -> None:
    # Uncompressed, and with all that a sheet and a duty may add.
    html = given(client, asked_of(NUMBERS[:8], LONG_DUTY) | HEAD)
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
    html = given(client, ASKED)
    beside = {"shown": "1", "elements.4.number": "", "elements.4.maker": ""}
    assert sent_by(html, "Put it on the sheet") == ASKED | NOTHING | beside
    # Enter in any field presses the first button of its form.
    assert re.findall(r"<button([^>]*)>", html)[0] == ""
    filled = given(client, ASKED | HEAD)
    assert sent_by(filled, "Put it on the sheet") == ASKED | HEAD | beside
    for label, text in (("Asked by", HEAD["asked_by"]), ("Machine", HEAD["machine"]), ("Date", HEAD["date"])):
        assert squeezed(f"{label}{text}") in words_of(filled)


def test_a_pdf_has_what_was_typed_into_the_head_just_now(client: TestClient) -> None:
    html = given(client, ASKED)
    for paper in ("A4", "Letter"):
        assert re.search(rf'<button[^>]* formtarget="_blank">PDF on {paper}</button>', html)
    # A browser fills in what was typed before, where somebody comes back, if nothing forbids it.
    fields = re.findall(rf'<input[^>]* name="(?:{"|".join(HEAD)})"[^>]*>', html)
    assert len(fields) == len(HEAD)
    assert not any("autocomplete" in field for field in fields)
    asked = pressed(client, html, "PDF on A4", {"asked_by": "Counter 2", "order_number": "4711"})
    pinned = {"as_of": "1", "date": datetime.now(UTC).date().isoformat(), "paper": "a4"}
    assert asked == ASKED | pinned | {"asked_by": "Counter 2", "order_number": "4711"}
    pages = pages_of(get(client, asked, PDF).content)
    assert "AskedbyCounter2" in pages[0]
    assert all("order4711" in page for page in pages)


def test_every_button_takes_along_what_was_typed_into_the_head(client: TestClient) -> None:
    html = given(client, ASKED | {"machine": "Press 4", "units": "us"})
    carried = {"asked_by": "Counter 2", "order_number": "47\r\n11", "machine": "Press 5", "units": "us"}
    typed = carried | {"date": "2026-11-30"}
    assert pressed(client, html, "Address to keep", typed) == ASKED | typed | {"as_of": "1"}
    assert pressed(client, html, "Ask the makers", typed) == ASKED | carried
    assert pressed(client, html, "Change what is asked", typed) == DUTY | carried
    # A fault is told where it stands, and is no reason to lose the rest.
    wrong = pressed(client, html, "Address to keep", typed | {"elements.4.number": "nowhere"})
    assert wrong == ASKED | typed | {"as_of": "1", "elements.4.number": "nowhere"}


@pytest.mark.parametrize(
    ("head", "known"),
    [
        ({"order_number": "PO 4711/2"}, "-PO-4711-2"),
        ({}, "-Quollbeck-Dulse-23"),
        ({"order_number": "אב – ½"}, "-Quollbeck-Dulse-23"),
        (
            {"order_number": "7\";\r\nSet-Cookie: a=b\u202e; filename*=UTF-8''..%2F..\\é٣x"},
            "-7-Set-Cookie-a-b-filename-UTF-8-2F-x",
        ),
        ({"order_number": "9" * 500}, "-" + "9" * 40),
        ({"order_number": "--", "original.number": ""}, ""),
    ],
)
def test_a_pdf_is_called_by_its_day_and_what_it_is_for(client: TestClient, head: dict[str, str], known: str) -> None:
    response = get(client, ASKED | {"date": "2026-11-30", "fit.kind": "spin-on"} | head, PDF)
    if response.status_code == 303:
        response = get(client, names_in(response.headers["location"]), PDF)
    assert response.status_code == 200
    assert response.headers["content-disposition"] == f'inline; filename="side-by-side-2026-11-30{known}.pdf"'
    assert "set-cookie" not in response.headers


@pytest.mark.parametrize(
    ("host", "again"),
    [
        ("127.0.0.1:8000", "on this machine: http://127.0.0.1:8000/side-by-side?"),
        ("localhost", "on this machine: http://localhost/side-by-side?"),
        ("[::1]:8000", "on this machine: http://[::1]:8000/side-by-side?"),
        ("192.0.2.7:8000", "again: http://192.0.2.7:8000/side-by-side?"),
        ("filters.example", "again: http://filters.example/side-by-side?"),
        ("elsewhere.example", "at the address of this service: /side-by-side?"),
        ("127.0.0.1:80 elsewhere", "at the address of this service: /side-by-side?"),
        ("elsewhere.example:80@127.0.0.1", "at the address of this service: /side-by-side?"),
        ("[::", "at the address of this service: /side-by-side?"),
    ],
)
def test_an_address_is_printed_with_a_host_that_is_known_alone(
    demo_store_url: str, monkeypatch: pytest.MonkeyPatch, host: str, again: str
) -> None:
    monkeypatch.setenv("SPECDB_HOSTS", "filters.example")
    with TestClient(create_app(demo_store_url)) as client:
        response = client.get(PAGE, params=ASKED, headers=BROWSER | {"host": host})
    assert response.status_code == 200
    assert squeezed(again) in words_of(response.text)
    assert "elsewhere" not in words_of(response.text)


def test_units_of_the_reader(client: TestClient) -> None:
    html = given(client, ASKED | {"units": "us"})
    assert " psi" in html
    assert " kPa" not in html.partition("<table")[2].partition("</table>")[0]
    assert pressed(client, html, "PDF on Letter")["units"] == "us"


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
    html = given(client, duty)
    sent = sent_by(html, "Set side by side")
    assert {name: text for name, text in sent.items() if text} == duty
    told = re.sub("<[^>]*>", "", html)
    assert "Nothing was ticked: tick at least one on Replace it, or name one here." in told
    back = re.search(r'tick at least one on <a href="([^"]*)"', html)
    assert back is not None
    assert names_in(unescape(back[1])) == duty
    assert "Nothing was ticked" not in given(client, {"machine": "Loader 4"})


@pytest.mark.parametrize("duty", [{}, {"flow": "75 L/min"}])
def test_elements_of_which_nothing_is_required(client: TestClient, duty: dict[str, str]) -> None:
    named = {"elements.1.number": "12-2", "elements.2.element_id": "23d2f750f7492a15"}
    names = named | duty | {"assumptions": "customary"}
    html = given(client, names)
    assert "Nothing is required of them yet" in html
    assert "(<bdi>Quollbeck Dulse 23</bdi>)" in html
    assert {name: text for name, text in sent_by(html, "Set side by side").items() if text} == names
    assert "cold start" not in html
    assert not re.search(r">[^<]*\b(?:cold_start|bypass_valve|cracking_pressure)[^<]*<", html)
    assert client.get(PDF, params=names).status_code == 422


@pytest.mark.parametrize(
    ("names", "status", "told"),
    [
        ({"element.1.number": "12-2", "flow": "7 L/min"}, 422, {"element.1.number": "There is no such name"}),
        ({"flow": "banana"}, 422, {"flow": "does not begin with a number"}),
        ({"elements.21.number": "12-2"}, 422, {"elements.21.number": "There is no element of this number"}),
        ({"original.number": "Dulse 2X"}, 404, {"original.number": "No element has this number"}),
        ({"as_of": "99"}, 422, {"as_of": "revision"}),
        ({"date": "tomorrow", "floww": "7"}, 422, {"date": "This is no date", "floww": "There is no such name"}),
    ],
)
def test_what_is_wrong_is_told_before_any_element_is_named(
    client: TestClient, names: dict[str, str], status: int, told: dict[str, str]
) -> None:
    asked = names if names.keys() <= {"as_of"} else names | {"assumptions": "customary"}
    response = client.get(PAGE, params=asked, headers=BROWSER)
    assert response.status_code == status
    _told_beside_fields(response.text, told)
    assert "No element is named" not in response.text
    kept = {name: text for name, text in sent_by(response.text, "Set side by side").items() if text}
    assert names.items() <= kept.items()


def _told_beside_fields(html: str, told: Mapping[str, str]) -> None:
    """Each message stands beside the field of its name, and nothing beside any other."""
    for name, message in told.items():
        field = next(f for f in html.split('<p class="field">') if f' name="{name}"' in f)
        assert 'aria-invalid="true"' in field
        said = re.search(r'class="fault" id="([^"]*)">(.*?)</p>', field, flags=re.DOTALL)
        assert said is not None
        assert message in said[2]
        assert f'aria-describedby="{said[1]} ' in field
    assert html.count('aria-invalid="true"') == len(told)


@pytest.mark.parametrize(
    ("names", "status", "told"),
    [
        ({"original.number": "00417 x"}, 404, {"original.number": "No element has this number"}),
        (
            {"elements.4.number": "nowhere", "date": "tomorrow"},
            422,
            {"elements.4.number": "No element has this number", "date": "This is no date. You typed tomorrow"},
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
    _told_beside_fields(response.text, told)
    # The list of faults leads to the fields, by what they are called.
    listed = dict(re.findall(r'<li><a href="#([^"]*)"><bdi>([^<]*)</bdi></a>:', response.text))
    assert len(listed) == len(told)
    assert all(f' id="{field}"' in response.text for field in listed)
    assert not {"original.number", "elements.4.number", "as_of", "flow"} & set(listed.values())
    # A program is told of the faults of a PDF as of any; a reader is led to the page that tells them.
    assert client.get(PDF, params=asked | {"paper": "a4"}).status_code == status
    led = get(client, asked | {"paper": "a4"}, PDF)
    assert led.status_code == 303
    assert urlsplit(led.headers["location"]).path == PAGE
    assert names_in(led.headers["location"]) == asked


@pytest.mark.parametrize(
    ("typed", "status", "at", "told"),
    [
        ({"elements.4.number": "nowhere"}, 404, "elements.4.number", "No element has this number"),
        ({"elements.4.element_id": "0" * 16}, 404, "elements.4.element_id", "No element has this identifier"),
        ({"elements.4.number": "dulse23/b"}, 422, "elements.4.number", "same element"),
    ],
)
def test_the_others_stay_on_the_sheet_where_one_element_is_wrong(
    client: TestClient, typed: dict[str, str], status: int, at: str, told: str
) -> None:
    asked = ASKED | {"asked_by": "me"} | typed
    response = get(client, asked)
    assert response.status_code == status
    assert "etag" not in response.headers
    _told_beside_fields(response.text, {at: told})
    columns = re.findall(r'<th scope="col"><a[^>]*><bdi>(.*?)</bdi>', response.text)
    assert columns == ["Quollbeck Dulse 23", "Tarnwhistle 12-2", "Quollbeck Dulse 23/B", "Quollbeck Dulse 24"]
    assert 'class="meant"' not in response.text
    sent = sent_by(response.text, "Add this element")
    assert {name: text for name, text in sent.items() if text} == asked | {"shown": "1"}
    assert typed.keys() & sent_by(response.text, "PDF on A4").keys()
    right = {name: text for name, text in sent.items() if name not in typed} | {"elements.4.number": "2024-07"}
    added = given(client, names_in(get(client, right).headers["location"]))
    assert squeezed("Tarnwhistle 2024-07") in words_of(added)


def test_numbers_near_a_wrong_one_are_links_that_put_it_right(client: TestClient) -> None:
    asked = ASKED | {"elements.4.number": "Dulse 2X", "order_number": "7"}
    response = get(client, asked)
    assert response.status_code == 404
    beside = response.text.partition('role="alert"')[2].partition("</section>")[0]
    near = links_of(beside)
    assert list(near) == [f"Quollbeck Dulse 2{n}" for n in (1, 2, 3, 4)]
    assert "Near it on file" not in response.text
    right = names_in(near["Quollbeck Dulse 21"])
    assert right == asked | {"elements.4.number": "Dulse 21", "elements.4.maker": "Quollbeck"}
    assert squeezed("Quollbeck Dulse 21") in words_of(given(client, right))
    original = get(client, ASKED | {"original.number": "Dulse 2X"}).text
    mended = names_in(links_of(original)["Quollbeck Dulse 22"])
    assert mended == ASKED | {"original.number": "Dulse 22", "original.maker": "Quollbeck"}


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
        near = names_in(links_of(response.text)["Tarnwhistle P-1"])
        chosen = names | {"elements.1.maker": "Tarnwhistle"}
        assert near == chosen
        assert "Tarnwhistle P-1" in unescape(given(client, chosen).partition("<table")[2])


def test_a_paper_that_there_is_not(client: TestClient) -> None:
    response = get(client, ASKED | {"paper": "a5"}, PDF)
    assert response.status_code == 422
    assert "Write a4 or letter." in response.text
