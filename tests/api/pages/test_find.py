"""The page that finds an element: what it shows of a number, a maker, measures and of nothing, and what it keeps."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from api import create_app
from api.pages.find import SHOWN_AT_MOST
from specdb.answers.search import CLAIM_ONLY, OTHER_PART
from specdb.catalog.identity import element_id
from specdb.catalog.store import open_store
from specdb.exchange import import_folder

BROWSER = {"accept": "text/html,*/*;q=0.8"}
HOSTILE = 'x\u202ey \u05d0\u05d1 <script>alert(1)</script>"><img src=x onerror=alert(2)>'
HOSTILE_NUMBER = HOSTILE.ljust(200, "9")


def page(client: TestClient, status: int = 200, **asked: str) -> Response:
    got = client.get("/", params=asked, headers=BROWSER, follow_redirects=False)
    assert got.status_code == status, got.text
    return got


def words_in(html: str) -> str:
    """What is read of a part of a page, in one line."""
    within_words = re.sub(r"</?(?:bdi|q|a|span|strong)\b[^>]*>", "", html)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", within_words)).split())


def results(got: Response) -> str:
    return got.text.partition('<div id="results"')[2].partition('<details class="measures"')[0]


def told(got: Response) -> str:
    found = re.search(r'<p id="told" role="status"[^>]*>(.*?)</p>', got.text)
    assert found
    return words_in(found[1])


def rows(got: Response) -> list[str]:
    """What each row of the list says."""
    return [words_in(row) for row in re.findall(r"<tr>\s*(<th scope=\"row\">.*?)</tr>", got.text, flags=re.DOTALL)]


def links(html: str) -> list[str]:
    return [unescape(address) for address in re.findall(r'<a [^>]*?href="([^"]*)"', html)]


def values(got: Response) -> dict[str, str]:
    """What stands in each field of the page."""
    found = re.findall(r'<input type="(?:search|text)" id="[^"]*" name="([^"]*)" value="([^"]*)"', got.text)
    return {name: unescape(value) for name, value in found}


def is_form_open(got: Response) -> bool:
    return '<details class="measures" open>' in got.text


# --- on arrival -----------------------------------------------------------------------------------


def test_who_arrives_stands_in_the_box_and_reads_what_may_be_typed(client: TestClient) -> None:
    got = page(client)
    (box,) = re.findall(r'<input type="search"[^>]*>', got.text)
    assert " autofocus" in box
    assert '<label for="q">' in got.text
    assert "171 elements on file, catalogue revision 1." in words_in(results(got))
    examples = [address for address in links(results(got)) if address.startswith("/?q=")]
    assert [page(client, **{n: t for n, (t,) in parse_qs(urlsplit(e).query).items()}).status_code for e in examples]
    assert len(examples) == 2
    assert told(got) == ""
    assert not is_form_open(got)
    assert got.headers["etag"]


def test_an_empty_catalogue_leads_to_loading_one(store_url: str) -> None:
    with TestClient(create_app(store_url)) as client:
        got = page(client)
        assert "Nothing is on file yet." in words_in(results(got))
        assert links(results(got)) == ["/load"]
        assert told(page(client, q="12-1")) == "Nothing found."
        assert told(page(client, q="1-12 UNF 96 mm")) == "No elements state what is asked."


def test_what_states_nothing_leaves_the_address(client: TestClient) -> None:
    got = page(client, 303, q=" ", thread="M20x1.5", length="", units="us")
    assert got.headers["location"] == "/?thread=M20x1.5&units=us"


# --- numbers --------------------------------------------------------------------------------------


def test_a_number_is_shown_with_what_tells_whether_it_is_the_one(client: TestClient) -> None:
    got = page(client, q="dulse 23", units="us")
    assert told(got) == "1 number, and 7 near it."
    first, version = rows(got)[:2]
    told_of_it = "Quollbeck Dulse 23 the same number but for letter case or spaces spin-on 1-12 UNF in the element"
    assert first.startswith(told_of_it)
    assert "Dulse 23/B begins with what was asked, and goes on" in version
    assert "not in the element: where the circuit needs one, the head must have it" in version
    assert len(re.findall("data-exact", got.text)) == 1
    assert OTHER_PART in words_in(results(got))
    element, replace = links(results(got))[:2]
    assert element == f"/elements/{element_id('Quollbeck', 'Dulse 23')}?units=us"
    asked = {name: text for name, (text,) in parse_qs(urlsplit(replace).query).items()}
    assert urlsplit(replace).path == "/replace"
    assert asked == {
        "original.maker": "Quollbeck", "original.number": "Dulse 23", "assumptions": "customary", "units": "us",
    }  # fmt: skip


def test_nothing_is_said_of_a_head_where_the_element_has_none(client: TestClient) -> None:
    for number in ("00702", "00611"):  # a breather, a suction strainer
        assert "head" not in rows(page(client, q=number))[0]


def test_an_obsolete_number_names_its_successor_and_leads_there(client: TestClient) -> None:
    got = page(client, q="XIV-12a")
    assert "obsolete; successor XIV-6a" in rows(got)[0]
    assert "/?q=XIV-6a" in links(results(got))
    assert "current" in rows(page(client, q="12-1"))[0]


def test_a_number_known_from_a_claim_says_so_and_leads_to_what_is_on_file(client: TestClient) -> None:
    got = page(client, q="45/2")
    assert told(got) == "1 number found."
    (row,) = rows(got)
    assert row.startswith("Gorsepan 45/2 the same number, letter for letter This number is not on file")
    assert "known from 2 claims only, and a claim is no proof" in row
    assert "Said to be replaced by: Umberglyph Rowan/10 (UG-1, 2023-08-21)." in row
    assert "Said to replace: Quollbeck Dulse 23 (GP-1, 2019-10-03)." in row
    assert row.endswith("Replace Dulse 23")  # what is to be the replacement is not to be replaced
    rowan, dulse = element_id("Umberglyph", "Rowan/10"), element_id("Quollbeck", "Dulse 23")
    named = [address.partition("?")[0] for address in links(results(got))]
    assert named == [f"/elements/{rowan}", f"/elements/{dulse}", "/replace"]
    far = page(client, q="X45/X2X")
    assert told(far) == "Nothing found. 5 numbers that differ least."
    assert len(rows(far)) == 5
    (row,) = [row for row in rows(far) if row.startswith("Gorsepan 45/2 ")]
    assert "Said to be replaced by: Umberglyph Rowan/10" in row
    assert "Said to replace: Quollbeck Dulse 23" in row
    assert CLAIM_ONLY in words_in(results(got))
    assert "data-exact" not in got.text


def test_a_number_that_is_only_said_to_be_replaced_offers_no_replacing_of_the_other(writable: TestClient) -> None:
    claims = "maker,number,replaces maker,replaces number\nQuollbeck,Dulse 23,Demo,D 7\nDemo,D 8,Demo,D 7\n"
    sheet = ("interchanges.csv", claims, "text/csv")
    taken = writable.post("/v1/imports", params={"actor": "test", "reason": "claims"}, files={"file": sheet})
    assert taken.status_code in (200, 201), taken.text
    got = page(writable, q="D 7")
    (row,) = [row for row in rows(got) if row.startswith("Demo D 7 ")]
    assert "Said to be replaced by: Demo D 8, not on file either; Quollbeck Dulse 23." in row
    assert "Said to replace" not in row
    assert not row.endswith("Replace Dulse 23")


def test_only_the_box_keeps_a_browser_from_filling_it_in_again(client: TestClient) -> None:
    for path in ("/", "/load", "/replace", f"/elements/{element_id('Quollbeck', 'Dulse 23')}", "/side-by-side"):
        fields = re.findall(r"<input [^>]*autocomplete[^>]*>", client.get(path, headers=BROWSER).text)
        assert len(fields) == (path == "/"), path


def test_a_browser_that_asks_for_a_picture_of_the_site_is_not_told_of_a_failure(client: TestClient) -> None:
    got = client.get("/favicon.ico", headers={"accept": "image/avif,image/webp,*/*"})
    assert (got.status_code, got.content) == (204, b"")


def test_a_maker_lists_its_numbers_and_how_to_narrow_them(client: TestClient) -> None:
    got = page(client, q="oddmarrow")
    assert len(rows(got)) == SHOWN_AT_MOST
    total = re.fullmatch(r"(\d+) numbers found\.", told(got))
    assert total
    assert f"The nearest {SHOWN_AT_MOST} of {total[1]} are shown. Type more of the number" in words_in(results(got))


def test_where_nothing_is_near_the_longest_beginning_is_shown_and_the_way_by_measures(client: TestClient) -> None:
    got = page(client, q="dulse 99x")
    assert told(got).startswith("Nothing found. 16 numbers near its beginning")
    assert "The longest beginning of it that some number has, or reads like, is dulse" in words_in(results(got))
    assert all("Dulse" in row for row in rows(got))
    assert "/?q=dulse" in links(results(got))
    assert is_form_open(got)


@pytest.mark.parametrize("asked", ["XK-99812", "DN 50", "ΩΩΩΩ", "quollbeck XK-99812"])
def test_where_none_begins_so_what_differs_least_is_shown_as_other_parts(client: TestClient, asked: str) -> None:
    got = page(client, q=asked)
    assert told(got) == "Nothing found. 5 numbers that differ least."
    assert len(rows(got)) == 5
    assert all(re.search(r"\d characters off: another part", row) for row in rows(got))
    assert len({row.split(" characters off")[0][:-2] for row in rows(got)}) == 5
    assert "data-exact" not in got.text
    assert is_form_open(got)


@pytest.mark.parametrize(
    ("asked", "first"),
    [("P/N 00417", "Oddmarrow 00417"), ("filter dulse 23", "Quollbeck Dulse 23"), ("No. 12-1", "Tarnwhistle 12-1")],
)
def test_what_labels_print_beside_a_number_is_told_and_not_searched(client: TestClient, asked: str, first: str) -> None:
    got = page(client, q=asked)
    assert rows(got)[0].startswith(f"{first} the same number")
    assert f"Searched for {asked.split(' ', 1)[1]}: what stands beside it" in words_in(results(got))
    assert values(got)["q"] == asked
    assert "Searched for" not in results(page(client, q="dulse 23"))


def test_beside_the_same_number_other_parts_are_folded_away(client: TestClient) -> None:
    got = page(client, q="dulse 23")
    shown, folded = results(got).split('<details class="others">')
    assert "Other numbers near it (6), another part each" in words_in(folded)
    assert "Dulse 23/B" in words_in(shown)
    assert "1 instead of 2 at character 7: another part" in words_in(folded)
    assert "another part" not in words_in(shown).replace("may be another part", "")
    assert '<details class="others">' not in page(client, q="dusle 23").text


# --- what is carried along ------------------------------------------------------------------------


def test_a_question_stays_with_what_is_found_and_can_be_dropped(client: TestClient) -> None:
    asked = {
        "q": "12-1", "flow": "60 L/min", "fit.thread": "1-12 UNF", "original.number": "Dulse 23", "assumptions": "none",
        "machine": "Loader 4", "units": "us",
    }  # fmt: skip
    got = page(client, **asked)
    replacing = parse_qs(urlsplit(next(a for a in links(results(got)) if a.startswith("/replace"))).query)
    assert replacing == {
        "flow": ["60 L/min"], "fit.thread": ["1-12 UNF"], "assumptions": ["none"], "machine": ["Loader 4"],
        "units": ["us"], "original.maker": ["Tarnwhistle"], "original.number": ["12-1"],
    }  # fmt: skip
    element = parse_qs(urlsplit(next(a for a in links(results(got)) if a.startswith("/elements"))).query)
    assert {name: text for name, (text,) in element.items()} == {n: t for n, t in asked.items() if n != "q"}
    said = got.text.partition('<div id="carried">')[2].partition("</div>")[0]
    assert "original number Dulse 23; flow 60 L/min; fit thread 1-12 UNF; machine Loader 4." in words_in(said)
    assert links(said) == ["/?q=12-1&units=us"]
    kept = dict(re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', got.text))
    assert kept == {name: text for name, text in asked.items() if name != "q"}
    assert "Carried along" not in page(client, q="12-1", assumptions="none").text


def test_every_page_leads_to_find_with_what_is_asked_and_none_with_an_old_state_or_date(client: TestClient) -> None:
    for path in ("/replace", "/ask", "/side-by-side", f"/elements/{element_id('Quollbeck', 'Dulse 23')}"):
        asked = {
            "original.number": "Dulse 23", "flow": "60 L/min", "assumptions": "none", "as_of": "1", "machine": "M",
            "date": "2024-01-02",
        }  # fmt: skip
        if not path.startswith("/side"):
            asked.pop("date")
        got = client.get(path, params=asked, headers=BROWSER)
        menu = got.text.partition("<nav")[2].partition("</nav>")[0]
        to = {urlsplit(address).path: parse_qs(urlsplit(address).query) for address in links(menu)}
        for page_path in ("/", "/replace"):
            assert {name: text for name, text in to[page_path].items() if name != "limit"} == {
                "original.number": ["Dulse 23"], "flow": ["60 L/min"], "assumptions": ["none"], "machine": ["M"],
            }, path  # fmt: skip
        assert "date" not in to["/ask"]


def test_an_old_state_is_told_with_the_way_to_the_present_one(writable: TestClient) -> None:
    sheet = ("elements.csv", "maker,number\nDemo,D 77\n", "text/csv")
    taken = writable.post("/v1/imports", params={"actor": "test", "reason": "one more"}, files={"file": sheet})
    assert taken.status_code in (200, 201), taken.text
    old = page(writable, q="D 77", as_of="1")
    assert "As of revision 1; the catalogue is at revision 2." in words_in(old.text)
    now = next(address for address in links(old.text.partition('id="carried"')[2]) if "as_of" not in address)
    assert now == "/?q=D+77"
    assert rows(page(writable, q="D 77"))[0].startswith("Demo D 77 the same number")
    assert "As of revision" not in page(writable, q="D 77").text
    unread = page(writable, 422, q="D 77", as_of="99").text
    assert "As of revision" not in unread
    assert links(unread.partition('id="carried"')[2])[0] == "/?q=D+77"


# --- as one types ---------------------------------------------------------------------------------


def test_what_is_put_into_the_page_as_one_types_is_no_failure(client: TestClient) -> None:
    for asked in ({"q": "="}, {"as_of": "99"}, {"length": "96 parsec"}):
        got = client.get("/", params=asked, headers=BROWSER | {"HX-Request": "true"})
        assert got.status_code == 200
        assert got.headers["vary"].startswith("Accept, HX-Request")
        assert got.headers["cache-control"] == "no-store"
        assert told(got) == "This cannot be read as it stands."
        (focused,) = re.findall(r'id="(\w+)"[^>]* autofocus', got.text)
        assert focused == "q"
    assert page(client, q="12-1").headers["vary"].startswith("Accept, HX-Request")


def test_units_stay_with_what_was_asked_and_what_was_asked_with_units(client: TestClient) -> None:
    got = page(client, q="dulse 23", as_of="1")
    units = got.text.partition('id="units"')[2].partition("</header>")[0]
    assert links(units) == ["/?q=dulse+23&as_of=1&units=us"]
    assert '<input type="hidden" name="as_of" value="1">' in got.text


# --- measures -------------------------------------------------------------------------------------


def test_measures_in_the_box_are_listed_and_how_each_was_read_is_told(client: TestClient) -> None:
    got = page(client, q="1-12 UNF 96 mm x 140")
    assert told(got) == "54 elements state what is asked."
    said = words_in(results(got))
    assert "96 mm: outside diameter 96 mm ± 1 mm (no tolerance stated" in said
    assert "140: length 140 mm ± 1 mm" in said
    assert "no unit typed: mm, as beside it" in said
    assert f"Elements 1 to {SHOWN_AT_MOST} of 54 that state all of this, the nearest measures first" in said
    assert len(rows(got)) == SHOWN_AT_MOST
    assert values(got) == {
        "q": "1-12 UNF 96 mm x 140", "thread": "1-12 UNF", "outside_diameter": "96 mm", "length": "140 mm",
        "gasket_outside_diameter": "", "inside_diameter": "", "maker": "",
    }  # fmt: skip
    inches = page(client, q="1-12 UNF 3.78 x 5.5 zzz", units="us")
    said = words_in(results(inches))
    assert "outside diameter 3.78 in" in said
    assert "no unit typed: in, as US units are shown" in said
    assert "zzz: not read, no measure, kind or maker on file" in said


def test_what_may_be_both_is_a_number_first_with_the_measures_offered(client: TestClient) -> None:
    got = page(client, q="1-12")
    assert "numbers found" in told(got)
    assert "thread 1-12 UNF, no series typed: by diameter and pitch" in words_in(results(got))
    offer = next(address for address in links(results(got)) if address.startswith("/?thread="))
    assert offer == "/?thread=1-12+UNF"
    fits = re.search(r"it fits (\d+) elements", words_in(results(got)))
    assert fits
    assert told(page(client, thread="1-12 UNF")) == f"{fits[1]} elements state what is asked."
    assert "Read as measures" not in page(client, q="12-1").text


def test_where_no_element_states_all_it_is_told_what_to_leave_out(client: TestClient) -> None:
    got = page(client, thread="1-12 UNF", length="999 mm", kind="spin-on")
    assert told(got) == "No elements state what is asked."
    assert "/?thread=1-12+UNF&kind=spin-on" in links(results(got))
    without = re.search(r"without length 999 mm.*?practice\): (\d+) elements", words_in(results(got)))
    assert without
    assert told(page(client, thread="1-12 UNF", kind="spin-on")).startswith(without[1])
    assert re.search(r"\d+ more contradict nothing of it", words_in(page(client, thread="M20x1.5").text))


def test_the_nearest_measures_stand_first_and_the_rest_is_led_to(client: TestClient) -> None:
    asked = {"outside_diameter": "96 mm ± 40 mm", "length": "140 mm ± 60 mm", "thread": "1-12 UNF"}
    off, follow = [], "/?" + urlencode(asked)
    while follow:
        got = client.get(follow, headers=BROWSER)
        sizes = re.findall(r'"(?:Outside diameter|Length)">([\d.]+) mm', got.text)
        pairs = zip(map(float, sizes[::2]), map(float, sizes[1::2]), strict=True)
        off += [round(abs(diameter - 96) / 96 + abs(length - 140) / 140, 6) for diameter, length in pairs]
        follow = next((a for a in links(results(got)) if "offset" in a and f"offset={len(off)}" in a), "")
    assert told(got).startswith(f"{len(off)} elements")
    assert off == sorted(off)
    assert off[0] == 0 < off[-1]
    assert len(off) > SHOWN_AT_MOST
    assert rows(page(client, **asked, offset="9999")) == rows(page(client, **asked))
    assert "This is no whole number" in results(page(client, 422, **asked, offset="x"))


def test_measures_lead_to_what_suits_the_machine(client: TestClient) -> None:
    got = page(client, q="1-12 UNF 96 mm ± 2 mm x 140", flow="60 L/min")
    fit = next(a for a in links(results(got)) if a.startswith("/replace?") and "original" not in a)
    assert {name: text for name, (text,) in parse_qs(urlsplit(fit).query).items()} == {
        "fit.thread": "1-12 UNF", "fit.outside_diameter": "96 mm", "fit.outside_diameter.tolerance": "2 mm",
        "fit.length": "140 mm", "flow": "60 L/min", "assumptions": "customary",
    }  # fmt: skip
    assert client.get(fit, headers=BROWSER, follow_redirects=False).status_code == 200
    assert "Which of these" not in page(client, maker="Quollbeck").text


def test_bare_numbers_are_measures_only_where_elements_have_them(client: TestClient) -> None:
    got = page(client, q="96 140 72")
    assert "elements state what is asked" in told(got)
    assert "72: not read, what it measures is not said" in words_in(results(got))
    assert told(page(client, q="961 1409")).startswith("Nothing found.")
    assert "write 3/4 BSPP (parallel, G) or 3/4 BSPT (taper, R)" in words_in(results(page(client, q="3/4 bsp")))


def test_a_bare_number_in_a_field_gets_the_unit_of_the_reader(client: TestClient) -> None:
    assert page(client, 303, length="140").headers["location"] == "/?length=140+mm"
    assert page(client, 303, length="5,5", units="us").headers["location"] == "/?length=5,5+in&units=us"


def test_faults_stand_beside_their_fields_with_everything_kept(client: TestClient) -> None:
    asked = {"thread": "M20x1.4.5", "length": "96 parsec", "kind": "spinon", "maker": "Quollbeck", "media": "felt"}
    got = page(client, 422, **asked)
    assert got.headers["cache-control"] == "no-store"
    assert is_form_open(got)
    assert {name: text for name, text in values(got).items() if text} == {n: t for n, t in asked.items() if n != "kind"}
    assert "<option selected>spinon</option>" in got.text
    for name in ("thread", "length", "kind", "media"):
        (fault,) = re.findall(rf'<span class="fault" id="{name}-fault">(.*?)</span>\s*</div>', got.text, re.DOTALL)
        assert re.search(r"Understood are|would do|Known are", words_in(fault)), fault
        assert f'aria-describedby="{name}-fault"' in got.text
    assert len(re.findall(" autofocus", got.text)) == 1
    missing = page(client, 404, maker="Quolbeck")
    assert "Near it on file: Quollbeck." in words_in(missing.text)
    assert values(missing)["maker"] == "Quolbeck"
    assert "Known are maker" in words_in(page(client, 422, colour="red").text)
    assert "as_of" in results(page(client, 422, as_of="yesterday"))


# --- hostile texts --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "remedy"),
    [("A" * 300, "Give at most 200."), ("\x07\x08", "Type it again"), ("-", "Give the name or number as printed")],
)
def test_what_is_no_number_is_kept_and_told_what_would_be_right(client: TestClient, text: str, remedy: str) -> None:
    got = page(client, 422, q=text)
    assert values(got)["q"] == text
    assert remedy in words_in(results(got))
    assert 'aria-invalid="true"' in got.text
    assert told(got) == "This cannot be read as it stands."


def test_one_character_finds_what_begins_with_it(client: TestClient) -> None:
    got = page(client, q="x")
    assert all(re.search(r"\bX", row) for row in rows(got))
    assert rows(got)


@pytest.fixture(scope="module")
def hostile(store_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A service over a catalogue of which every text is hostile."""
    folder = tmp_path_factory.mktemp("hostile")
    store = folder / "store.sqlite"
    store.write_bytes(store_template.read_bytes())
    quoted = '"' + HOSTILE_NUMBER.replace('"', '""') + '"'
    maker = quoted.replace("999", "")
    header = "maker,number,kind,status,successor,series,thread"
    row = f"{maker},{quoted},spin-on,obsolete,{quoted},{maker},1-12 UNF"
    (folder / "elements.csv").write_text(f"{header}\n{row}\n", "utf-8")
    engine = open_store(f"sqlite:///{store}")
    import_folder(engine, folder, actor="test", reason="hostile")
    engine.dispose()
    with TestClient(create_app(f"sqlite:///{store}")) as started:
        yield started


def test_hostile_texts_are_shown_and_do_nothing(hostile: TestClient) -> None:
    for asked in ({"q": HOSTILE}, {"q": HOSTILE_NUMBER}, {"thread": "1-12 UNF"}, {"q": "1-12 UNF"}):
        got = page(hostile, **asked)
        assert "<script>alert" not in got.text
        assert "<img" not in got.text
        assert len(rows(got)) == 1
        assert '<span class="unseen">U+202E</span>' in results(got)
        assert "\u202e" not in re.sub(r'(?:value|data-q)="[^"]*"', "", got.text)
        followed = [hostile.get(a, headers=BROWSER).status_code for a in links(results(got)) if a.startswith("/?")]
        assert followed == [200] * len(followed)
        assert followed
