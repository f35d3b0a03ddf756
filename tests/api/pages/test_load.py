"""The page that takes a catalogue in: checked first, every fault told, taken in once."""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

from api import create_app
from api.admission import LOADING, UPLOAD_BYTES
from api.pages.load import FAULTS_LISTED
from api.pages.shelf import KEPT_S, MOST_BYTES, MOST_FILES, Checked, Shelf
from specdb.exchange.faults import MOST_FAULTS
from tests.api.asking import spoken
from tests.api.test_imports import ELEMENTS, END, FORM, HOSTILE, endless, folder_zipped, on_file, part, zipped

BROWSER = {"accept": "text/html,*/*;q=0.8", "origin": "http://127.0.0.1:8000"}
PAGE_BYTES = 72_000
"""Of a page's own, so that it weighs less than 150 kB with all that it loads."""
WHO = {"actor": "A. Clerk", "reason": "sheet of May"}


def browser(url: str, *, allow_writes: bool = True) -> TestClient:
    app = create_app(url, allow_writes=allow_writes)
    return TestClient(app, base_url="http://127.0.0.1:8000", headers=BROWSER, follow_redirects=False)


def copied(demo_store_url: str, folder: Path) -> str:
    return f"sqlite:///{shutil.copy(str(sa.make_url(demo_store_url).database), folder / 'store.sqlite')}"


@pytest.fixture
def page(demo_store_url: str, tmp_path: Path) -> Iterator[TestClient]:
    """A browser at a service that takes imports, over a copy of the demo store."""
    with browser(copied(demo_store_url, tmp_path)) as started:
        yield started


@pytest.fixture(scope="module")
def shared(demo_store_url: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with browser(copied(demo_store_url, tmp_path_factory.mktemp("shared"))) as started:
        yield started


@pytest.fixture
def guarded(shared: TestClient) -> Iterator[TestClient]:
    """Such a browser, for tests in which nothing may be written; it fails the test if anything was."""
    before = on_file(shared)
    yield shared
    assert on_file(shared) == before


def check(page: TestClient, content: bytes | str, name: str = "elements.csv", **typed: str) -> Any:
    """What a browser shows once a file was sent to be checked."""
    sent = content if isinstance(content, bytes) else content.encode()
    told = page.post(LOADING, data={"action": "check", **WHO, **typed}, files={"file": (name, sent)})
    return page.get(told.headers["location"]) if told.status_code == 303 else told


def commit(page: TestClient, told: Any, **changed: str) -> Any:
    """Sends the second form of a page on which a file was found without faults, as a browser does."""
    form = told.text.partition('name="checked"')
    before = form[0].rpartition("<form")[2]
    fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', before + "".join(form[1:])))
    assert set(fields) == {"actor", "reason", "checked", "expected_revision"}
    sent = {name: (None, unescape(value)) for name, value in {**fields, "action": "commit", **changed}.items()}
    return page.post(LOADING, files=sent)


def words(response: Any) -> str:
    """What a page says, without its marks."""
    inline = re.sub(r"</?(bdi|code|strong|span)\b[^>]*>", "", response.text)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", inline)).split())


# --- what is taken in -----------------------------------------------------------------------------


def test_a_file_is_checked_then_taken_in_once_and_not_again_when_the_page_is_loaded_again(page: TestClient) -> None:
    before = on_file(page)
    checked = check(page, ELEMENTS)
    assert checked.status_code == 200
    assert "elements.csv has no faults; nothing was written yet" in words(checked)
    assert "2 elements Row Maker Number Kind 2 Demo Works DW 1 spin-on 3 Demo Works DW 2 spin-on" in words(checked)
    assert "elements 2 0 attributes 2 0" in words(checked)
    assert "It will be kept that A. Clerk took it in: sheet of May." in words(checked)
    assert on_file(page) == before
    done = commit(page, checked)
    assert (done.status_code, done.headers["location"]) == (303, "/load?revision=2")
    assert on_file(page)["element"] == before["element"] + 2
    for _ in range(2):
        told = page.get(done.headers["location"])
        assert told.status_code == 200
        assert "Taken in: this is revision 2" in words(told)
        assert "Who A. Clerk Why sheet of May" in words(told)
        assert "elements 2 attributes 2" in words(told)
        assert 'href="/"' in told.text
    assert on_file(page)["revision"] == 2


def test_a_zip_of_what_is_on_file_is_nothing_new_and_there_is_nothing_to_commit(guarded: TestClient) -> None:
    checked = check(guarded, folder_zipped(), "catalogue.zip")
    assert checked.status_code == 200
    assert "catalogue.zip holds nothing new" in words(checked)
    assert "ratings 0 2," in words(checked)
    assert re.search(r'Saybolt seconds.* \(\d+ rows?\): ratings.csv row \d+ "', words(checked))
    assert 'value="commit"' not in checked.text


def test_a_blank_workbook_is_downloaded_filled_in_and_taken_in(page: TestClient) -> None:
    blank = page.get("/load/blank.xlsx")
    assert blank.headers["content-disposition"] == 'attachment; filename="blank-catalogue.xlsx"'
    book, saved = openpyxl.load_workbook(io.BytesIO(blank.content)), io.BytesIO()
    book["elements"].append(["Demo Works", "00417", "spin-on"])
    book.save(saved)
    checked = check(page, saved.getvalue(), "blank-catalogue.xlsx", reason="")
    assert "Worth a look" not in checked.text
    assert commit(page, checked).status_code == 303
    told = page.get("/v1/revisions?limit=1").json()["revisions"][0]
    assert (told["actor"], told["reason"]) == ("A. Clerk", "import of blank-catalogue.xlsx")


def test_a_catalogue_that_moved_since_the_check_is_compared_again_before_anything_is_taken_in(page: TestClient) -> None:
    mine = check(page, ELEMENTS)
    theirs = check(page, "maker,number,kind\nDemo Works,DW 1,spin-on\n")
    assert commit(page, theirs).status_code == 303
    between = on_file(page)
    moved = page.get(commit(page, mine).headers["location"])
    assert "Nothing was taken in: the catalogue is at revision 2, not at 1, with which the file had" in words(moved)
    assert "elements 1 1" in words(moved)
    assert on_file(page) == between
    assert commit(page, moved).headers["location"] == "/load?revision=3"
    # Sent twice, it leads to where it was taken in.
    assert commit(page, moved).headers["location"] == "/load?revision=3"
    assert on_file(page)["revision"] == 3


def test_what_somebody_else_took_in_meanwhile_is_said_to_be_on_file_already(page: TestClient) -> None:
    mine, theirs = check(page, ELEMENTS), check(page, ELEMENTS, "the same.csv")
    assert commit(page, theirs).status_code == 303
    again = page.get(commit(page, mine).headers["location"])
    assert "elements.csv holds nothing new" in words(again)
    assert "all of it is on file already, as of revision 2" in words(again)
    assert "Nothing was taken in" not in words(again)
    assert on_file(page)["revision"] == 2


def test_a_check_has_an_address_that_is_loaded_again_and_gone_back_to(page: TestClient) -> None:
    sent = page.post(LOADING, data={"action": "check", **WHO}, files={"file": ("elements.csv", ELEMENTS.encode())})
    assert (sent.status_code, sent.headers["cache-control"]) == (303, "no-store")
    address = sent.headers["location"]
    assert re.fullmatch(r"/load\?checked=[0-9a-f]{64}", address)
    first = page.get(address)
    assert page.get(address).text == first.text
    assert 'value="A. Clerk"' in first.text
    commit(page, first)
    back = page.get(address)
    assert "It was taken in as revision 2" in words(back)
    assert 'value="commit"' not in back.text
    assert on_file(page)["revision"] == 2
    gone = page.get("/load?checked=" + "0" * 64)
    assert gone.status_code == 404
    assert "not kept here any more. Choose it again" in words(gone)


def test_a_revision_that_was_never_said_takes_nothing_in_and_blames_nobody(guarded: TestClient) -> None:
    told = guarded.get(commit(guarded, check(guarded, ELEMENTS), expected_revision="99").headers["location"])
    assert "the catalogue is at revision 1, not at 99" in words(told)
    assert "omebody" not in words(told)
    assert 'value="commit"' in told.text


def test_a_workbook_in_which_nothing_was_filled_in_is_said_to_hold_no_row(guarded: TestClient) -> None:
    told = check(guarded, guarded.get("/load/blank.xlsx").content, "blank.xlsx")
    assert "No row was found in blank.xlsx" in words(told)
    assert "on file already" not in words(told)


def test_what_would_be_new_is_listed_by_row_and_fits_a_page(guarded: TestClient) -> None:
    rows = "".join(f'"<&{"é" * 80}>",N {n},rated_flow,{n} L/min,at least\n' for n in range(1, 301))
    elements = "maker,number\n" + "".join(f'"<&{"é" * 80}>",N {n}\n' for n in range(1, 301))
    head = "maker,number,characteristic,value,qualifier\n"
    told = check(guarded, zipped({"elements.csv": elements.encode(), "ratings.csv": (head + rows).encode()}), "c.zip")
    assert re.search(r"300 ratings; the first \d\d of them", words(told))
    assert re.search(r"2 <&é+… N 1 rated_flow at least 1 L/min", words(told))
    assert len(told.text.encode()) < PAGE_BYTES


def test_how_a_comma_was_read_is_told_before_it_is_taken_in(guarded: TestClient) -> None:
    sheets = {
        "sources.csv": b"source,title\nDW-S,Sheet\n",
        "elements.csv": b"maker,number\nDemo,D 7\n",
        "ratings.csv": b'maker,number,characteristic,value,source\nDemo,D 7,bypass_cracking_pressure,"22,5 kPa",DW-S\n',
        "interchanges.csv": b"maker,number,replaces maker,replaces number\nDemo,D 7,Demo,D 6\n",
    }
    said = words(check(guarded, zipped(sheets), "c.zip"))
    assert "22,5 kPa (read as 22.5 kPa)" in said
    assert "kPa (read as" not in words(check(guarded, zipped(sheets | {
        "ratings.csv": sheets["ratings.csv"].replace(b'"22,5 kPa"', b"22.5 kPa"),
    }), "c.zip"))  # fmt: skip
    for counted in ("1 source Row", "1 element Row", "1 rating Row", "1 interchange Row"):
        assert counted in said


@pytest.mark.parametrize("changed", [{"checked": "0" * 64}, {"checked": "../../etc/passwd"}, {"checked": ""}])
def test_what_is_not_kept_any_more_is_asked_for_again(guarded: TestClient, changed: dict[str, str]) -> None:
    refused = commit(guarded, check(guarded, ELEMENTS), **changed)
    assert refused.status_code == 422
    assert "The file that was checked is not kept here any more. Choose it again" in words(refused)
    assert 'value="A. Clerk"' in refused.text


@pytest.mark.parametrize("expected", ["", "-1", "1.5", "9" * 40])
def test_a_commit_says_what_it_was_checked_with(guarded: TestClient, expected: str) -> None:
    refused = commit(guarded, check(guarded, ELEMENTS), expected_revision=expected)
    assert refused.status_code == 422
    assert "Check the file again" in words(refused)


@pytest.mark.parametrize(
    ("number", "said"),
    [
        ("7", "This cannot be shown There is no revision 7 of the catalogue. The last one is revision 1."),
        ("0", "There is no revision 0"),
        ("x", "This is no number of"),
    ],
)
def test_a_revision_that_there_is_not_is_said_so(guarded: TestClient, number: str, said: str) -> None:
    told = guarded.get(f"/load?revision={number}")
    assert told.status_code == 404
    assert said in words(told)
    assert not re.search("taken in|as_of", words(told).casefold().partition("check a file")[0])


# --- what is wrong --------------------------------------------------------------------------------


def test_every_fault_is_told_by_row_and_column_and_its_texts_do_no_harm(guarded: TestClient) -> None:
    rows = 'maker,number,kind\n\u202eDemo,DW 1,<script>x</script>\n,"DW ""2",spin-on\n'
    faulty = check(guarded, rows, "<b>.csv")
    assert faulty.status_code == 200
    assert faulty.headers["cache-control"] == "no-store"
    cells = [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in re.findall(r"<tr><td.*?</tr>", faulty.text)]
    assert [(row[1], row[2]) for row in cells] == [("2", "<bdi>kind</bdi>"), ("3", "<bdi>maker</bdi>")]
    assert "2 faults in <b>.csv; nothing was changed" in words(faulty)
    assert "Found: <script>x</script>" in words(faulty)
    assert "Known are spin-on" in words(faulty)
    assert "<script>x" not in faulty.text
    assert "<b>" not in faulty.text
    assert 'value="A. Clerk"' in faulty.text
    assert 'value="sheet of May"' in faulty.text


@pytest.mark.parametrize(
    ("row", "column", "listed"),
    [(",DW 2,spin-on,\n", "maker", FAULTS_LISTED), (f"Demo,D 1,={'é' * 99},<{'é' * 99}\n", "kind", None)],
)
def test_of_thousands_of_faults_the_first_are_listed_and_all_are_in_a_table(
    guarded: TestClient, row: str, column: str, listed: int | None
) -> None:
    faulty = check(guarded, "maker,number,kind,media\n" + row * (MOST_FAULTS + 234))
    count = faulty.text.count("<tr><td>")
    assert count == listed if listed else 40 < count < FAULTS_LISTED
    assert len(faulty.text.encode()) < PAGE_BYTES
    total = (MOST_FAULTS + 234) * (1 if listed else 2)
    assert f"{total:,} faults in elements.csv" in words(faulty)
    assert f"The first {count} are listed here." in words(faulty)
    href = re.search(r'<a href="(/load/faults.csv[^"]*)" download>Download all', faulty.text)
    assert href is not None
    table = guarded.get(href[1])
    assert table.headers["content-type"].startswith("text/csv")
    heading, first, *others = csv.reader(io.StringIO(table.content.decode("utf-8-sig")))
    assert heading == ["file", "row", "column", "found", "what is wrong", "what would be right"]
    assert (first[:3], len(others) + 1) == (["elements.csv", "2", column], total)
    assert not [cell for line in others for cell in line if cell.startswith("=")]


@pytest.mark.parametrize("name", ["bomb.zip", "old.xls", "truncated.zip", "entities.xlsx", "noise.csv", "link.zip"])
def test_a_hostile_file_is_told_in_plain_words(guarded: TestClient, name: str) -> None:
    faulty = check(guarded, HOSTILE[name](), name)
    assert faulty.status_code == 200
    assert f"in {name}; nothing was changed" in words(faulty)
    assert re.search(r"<tr><td><bdi>" + re.escape(name), faulty.text)
    assert 'value="A. Clerk"' in faulty.text


NO_FILE = 'form-data; name="file"; filename=""'
ONE = part('form-data; name="actor"', "A. Clerk") + part('form-data; name="reason"', "<May>")
A_FILE = part('form-data; name="file"; filename="elements.csv"')


@pytest.mark.parametrize(
    ("body", "status", "said"),
    [
        (ONE + A_FILE, 400, "The form was cut short"),
        (ONE + part(NO_FILE, "") + END, 422, "Choose one file"),
        (ONE + END, 422, "Choose one file"),
        (ONE + A_FILE + A_FILE + END, 422, "Several files were sent."),
        (ONE + A_FILE + part('form-data; name="more"', "x") + END, 422, "more: There is no such part."),
    ],
)
def test_a_form_at_fault_keeps_what_was_typed(guarded: TestClient, body: str, status: int, said: str) -> None:
    headers = {"content-type": "multipart/form-data; boundary=x"}
    refused = guarded.post(LOADING, content=body.encode(), headers=headers)
    assert refused.status_code == status
    assert said in words(refused)
    assert 'value="A. Clerk"' in refused.text
    assert 'value="&lt;May&gt;"' in refused.text


def test_who_takes_it_in_must_be_said_and_a_missing_file_is_told_with_it(guarded: TestClient) -> None:
    refused = guarded.post(LOADING, files={"actor": (None, " "), "reason": (None, "x" * 201)})
    assert refused.status_code == 422
    for field in ("actor", "reason", "file"):
        assert f'id="{field}-fault"' in refused.text
    assert "This is blank. Say who takes the file in" in words(refused)
    assert refused.text.count('aria-invalid="true"') == 3


def test_what_is_no_form_or_too_large_is_refused_as_a_page(guarded: TestClient) -> None:
    assert guarded.post(LOADING, data={"actor": "A"}).status_code == 415
    large = guarded.post(LOADING, content=b"", headers={"content-length": str(UPLOAD_BYTES + 1)})
    assert large.status_code == 413
    assert large.headers["content-type"].startswith("text/html")


# --- who may --------------------------------------------------------------------------------------


def test_without_leave_to_write_the_page_says_so_and_how_to_give_it(demo_store_url: str) -> None:
    with browser(demo_store_url, allow_writes=False) as page:
        told, refused = page.get(LOADING), check(page, ELEMENTS)
        assert (told.status_code, refused.status_code) == (200, 403)
        for each in (told, refused):
            assert "specdb serve --allow-writes" in words(each)
            assert "specdb import FILE --dry-run" in words(each)
            assert 'type="file"' not in each.text
        assert page.get("/load/blank.xlsx").status_code == 200
        unread = spoken(page.app, "POST", LOADING, headers=FORM, messages=endless())
        assert (unread.status, unread.read) == (403, 0)


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://page.example"},
        {"origin": "null"},
        {"origin": "http://page.example:8000", "host": "page.example:8000"},
    ],
)
def test_a_page_of_another_origin_or_name_may_not_load(guarded: TestClient, headers: dict[str, str]) -> None:
    sent = guarded.post(LOADING, data=WHO, files={"file": ("elements.csv", ELEMENTS.encode())}, headers=headers)
    assert sent.status_code == 403
    assert "Nothing is taken in here" in words(sent)
    if "host" in headers:
        assert "SPECDB_HOSTS" in words(guarded.get(LOADING, headers=headers))
    unread = spoken(
        guarded.app, "POST", LOADING, messages=endless(),
        headers=[FORM[0], *((k.encode(), v.encode()) for k, v in {"host": "127.0.0.1:8000", **headers}.items())],
    )  # fmt: skip
    assert (unread.status, unread.read) == (403, 0)


# --- the shelf ------------------------------------------------------------------------------------


class Hollow(io.BytesIO):
    """A file that says that it is large, and holds hardly anything."""

    def __init__(self, content: bytes, size_bytes: int):
        super().__init__(content)
        self.size_bytes = size_bytes

    def seek(self, place: int, whence: int = 0) -> int:
        return self.size_bytes if whence == 2 else super().seek(place, whence)


def kept(shelf: Shelf, token: str) -> bytes | None:
    taken = shelf.take(token)
    if taken is None:
        return None
    with taken as file:
        return file.read()


def other_calls(content: bytes) -> list[tuple[Any, ...]]:
    return [("b.csv", io.BytesIO(content)), *(("a.csv", io.BytesIO(content), *who) for who in (("A", ""), ("", "A")))]


def test_a_checked_file_is_kept_for_its_time_and_then_removed() -> None:
    now_s = 0.0
    with Shelf(lambda: now_s) as shelf:
        token = shelf.put("a.csv", io.BytesIO(b"one"))
        taken = shelf.take(token)
        assert taken is not None
        with taken as file:
            folder = Path(file.name).parent
        shelf.note_checked(token, Checked(1, None), [b"a list of faults"])
        assert shelf.put("a.csv", io.BytesIO(b"one")) == token
        assert len({token, *(shelf.put(*call) for call in other_calls(b"one"))}) == 4
        now_s = KEPT_S - 1.0
        assert kept(shelf, token) == b"one"
        now_s = KEPT_S + 0.0
        assert kept(shelf, token) is None
        assert list(folder.iterdir()) == []
        shelf.put("a.csv", io.BytesIO(b"one"))
    assert not folder.exists()


def test_the_oldest_file_makes_room_by_number_and_by_weight() -> None:
    with Shelf() as shelf:
        tokens = [shelf.put("a.csv", io.BytesIO(b"%d" % number)) for number in range(MOST_FILES + 1)]
        assert [kept(shelf, token) is None for token in tokens] == [True] + [False] * MOST_FILES
        half = MOST_BYTES // 2
        first, second = (shelf.put("a.csv", Hollow(content, half)) for content in (b"x", b"y"))
        assert (kept(shelf, first), kept(shelf, second)) == (b"x", b"y")
        assert kept(shelf, tokens[-1]) is None
        shelf.put("a.csv", io.BytesIO(b"z"))
        assert (kept(shelf, first), kept(shelf, second)) == (None, b"y")
