"""The page for many lines at once: pasted rows or a file in, a table on the page or a file out."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Iterator
from html import escape, unescape
from typing import Any

import openpyxl
import pytest
from starlette.testclient import TestClient

from api import create_app
from api.admission import CROSS_CHECKING
from api.long_work import AT_ONCE
from api.pages import cross_check
from api.pages.cross_check import LINES_SHOWN
from api.pages.site import STATIC
from tests.api.pages.test_load import words

HEAVIEST_BYTES = 150_000
ORIGIN = "http://127.0.0.1:8000"
PASTED = "Line\tOriginal\tFlow\tAlternative\npress\tDulse 23\t75 L/min\t\nsaw\t00417\t\tDulse 24\nmill\t<b>none\t\t\n"


@pytest.fixture(scope="module")
def page(demo_store_url: str) -> Iterator[TestClient]:
    """A browser at a service that takes no writes."""
    headers = {"accept": "text/html,*/*;q=0.8", "origin": ORIGIN}
    with TestClient(create_app(demo_store_url), base_url=ORIGIN, headers=headers, follow_redirects=False) as started:
        yield started


def send(page: TestClient, pasted: str = PASTED, file: tuple[str, bytes] = ("", b""), **typed: str) -> Any:
    """What a browser is answered: it sends the part of the file without a name where none is chosen."""
    told = {"mode": "each", "limit": "2", "assumptions": "customary", "units": "si", "answer": "page", **typed}
    parts = {name: (None, text) for name, text in {"pasted": pasted, **told}.items()}
    return page.post(CROSS_CHECKING, files={"file": file, **parts})


def test_pasted_lines_are_shown_with_their_faults_and_lead_to_each_answer(page: TestClient) -> None:
    told = send(page)
    assert told.status_code == 200
    assert "2 lines answered, 1 line with faults" in words(told)
    assert "4 mill Original No element has this number. Found: <b>none" in words(told)
    assert "One of those answered has a candidate that meets all that is asked, not by proof alone." in words(told)
    assert "✓ meets: 1 line press" in words(told)
    assert "✗ misses: 1 line saw" in words(told)
    assert "faulty: 1 line mill" in words(told)
    for row in (2, 3, 4):
        assert f'href="#row-{row}"' in told.text
        assert told.text.count(f'id="row-{row}"') == 1
    assert "Stated but read by no rule: Flow (row 2)." in words(told)
    assert "press Quollbeck Dulse 23 1. Brindlefjord 96E8 ✓ meets" in words(told)
    assert "29 met; by proof alone: not shown" in words(told)
    assert "Not shown: filtration ratio (beta), burst pressure. To ask for: multi-pass test to ISO 16889" in words(told)
    assert "saw Oddmarrow 00417 Quollbeck Dulse 24 ✗ misses" in words(told)
    assert "<b>none" not in told.text
    for path in ("/replace?", "/side-by-side?", "/elements/"):
        address = told.text.partition(f'href="{path}')[2].partition('"')[0].replace("&amp;", "&")
        assert page.get(path + address).status_code == 200
    assert "Dulse 23\t75 L/min" in told.text  # what was pasted stays to be mended
    alone = send(page, answer="none")
    assert "Verdicts rest on proof alone" in words(alone)
    assert "1. Sundercairn =7-K ✓ meets" in words(alone)
    assert "2. Brindlefjord 96E8 ? not shown" in words(alone)


@pytest.mark.parametrize(
    ("pasted", "said"),
    [
        ("Original\n00417\n", "It has no candidate that meets all that is asked."),
        ("Original\tAlternative\n12-1\t96E7\n", "It has a candidate that meets all that is asked."),
        (
            "Original\tAlternative\n12-1\t96E7\n00421\t00432\n",
            "Each of them has a candidate that meets all that is asked.",
        ),
    ],
)
def test_how_many_lines_have_one_that_meets_all_is_said_in_words(page: TestClient, pasted: str, said: str) -> None:
    assert said in words(send(page, pasted, limit="1"))


def test_notes_of_a_line_stand_under_it(page: TestClient) -> None:
    told = send(page, "Original\tTemperature\nDulse 23\t50 °C\nDulse 23\t600 °C\n")
    first, second = told.text.split('<tbody id="row-')[1:]
    assert "Is the unit right?" not in first
    assert second.partition("</tbody>")[0].count("Temperature: 600 °C lies above what is met with") == 1


def test_lines_of_a_small_file_stay_on_the_page_to_be_sent_again(
    page: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = openpyxl.Workbook()
    for row in (
        ("Machine", "Our number", "Flow [L/min]", "Price"),
        ("press", "Dulse 23", 75, 12.5),
        ("saw", dt.date(2026, 1, 12), 60, None),
        ("mill", "12-1", "75 kPa", None),
    ):
        book.worksheets[0].append(row)
    saved = io.BytesIO()
    book.save(saved)
    told = send(page, "", ("fleet.xlsx", saved.getvalue()))
    kept = unescape(re.findall(r"<textarea[^>]*>\n(.*?)</textarea>", told.text, re.DOTALL)[0])
    assert kept.splitlines() == [
        "line\tOur number\tFlow [L/min]\tPrice",
        "press\tDulse 23\t75 L/min\t12.5",
        "saw\tnot read: 2026-01-12\t60 L/min\t",
        "mill\t12-1\t75 kPa\t",
    ]
    again = send(page, kept, answer="csv")
    rows = list(csv.DictReader(io.StringIO(again.content.decode("utf-8-sig"))))
    assert {(row["line"], row["status"]) for row in rows} == {
        ("press", "answered"),
        ("saw", "fault"),
        ("mill", "fault"),
    }
    monkeypatch.setattr(cross_check, "LINES_KEPT", 5)
    many = "Original\n" + "Rowan/11\n" * 6
    told = send(page, "", ("many.csv", many.encode()), limit="1")
    assert "The lines of many.csv are not kept here: choose it again below for the workbook." in words(told)
    assert "Rowan/11\nRowan/11" not in told.text


def test_lines_come_back_as_a_workbook_or_a_table(page: TestClient) -> None:
    asked = {"pasted": "", "file": ("lines.csv", PASTED.replace("\t", ",").encode())}
    workbook = send(page, answer="xlsx", **asked)
    assert workbook.headers["content-disposition"] == 'attachment; filename="cross-check.xlsx"'
    held = openpyxl.load_workbook(io.BytesIO(workbook.content), read_only=True).worksheets[0]
    assert any("96E8" in row for row in held.iter_rows(values_only=True))
    table = send(page, answer="csv", **asked)
    assert table.headers["content-disposition"] == 'attachment; filename="cross-check.csv"'
    rows = list(csv.DictReader(io.StringIO(table.content.decode("utf-8-sig"))))
    assert table.text.startswith("\ufeff")
    assert [row["line"] for row in rows] == ["press", "press", "saw", "mill"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"pasted": ""}, "No lines were sent."),
        ({"file": ("lines.csv", b"Original\n12-1\n")}, "A file was chosen, and lines were pasted."),
        ({"limit": "many"}, '"many" is not a plain number.'),
        ({"limit": "51"}, "At most 50 candidates"),
        ({"mode": "guess"}, "This is none of the choices."),
        ({"pasted": "nothing\tknown\n1\t2\n"}, "nothing"),
    ],
)
def test_what_cannot_be_read_is_told_and_nothing_typed_is_lost(
    page: TestClient, typed: dict[str, Any], said: str
) -> None:
    told = send(page, **typed)
    assert told.status_code == 422
    assert said in words(told)
    assert typed.get("pasted", PASTED).strip() in unescape(told.text)
    assert 'name="pasted"' in told.text


def test_only_a_page_of_this_service_may_send_lines(page: TestClient) -> None:
    told = page.post(CROSS_CHECKING, files={"pasted": (None, PASTED)}, headers={"origin": "http://elsewhere.example"})
    assert told.status_code == 403
    assert "sent by a page of another site" in words(told)


def test_while_others_are_answered_what_was_pasted_stays(page: TestClient) -> None:
    taken = [page.app.state.long_work.take() for _ in range(AT_ONCE)]  # type: ignore[attr-defined]
    told = send(page)
    assert told.status_code == 503
    assert "Dulse 23\t75 L/min" in told.text
    for place in taken:
        place.give_back()
    assert send(page).status_code == 200


def test_of_many_lines_the_page_shows_the_first_and_stays_light(page: TestClient) -> None:
    many = "Original\tflow\n" + "Dulse 23\t75 L/min\n" * 3 + f"12-1\t{'<&' * 90}\n" * (LINES_SHOWN + 1)
    told = send(page, many, limit="9")
    assert f"of {LINES_SHOWN + 4} lines" in words(told)
    with_it = sum((STATIC / name).stat().st_size for name in ("style.css", "pages.js"))
    assert len(told.content) - len(escape(many)) + with_it < HEAVIEST_BYTES
    assert told.text.count("<tr") > 50
