"""What a page is on paper, as the browser prints it."""

from __future__ import annotations

import io
import re

import pytest
from playwright.sync_api import Page
from pypdf import PdfReader

from tests.browser.states import FJORD, LABELLED, QUARRY, SEVENK, TWELVE, at, compared
from tests.browser.watching import Tab

SIZES_MM = {"A4": (210, 297), "Letter": (216, 279)}
TOOLS = ("Load a catalogue", "Add this element", "Put it on the sheet", "Proof alone", "Change what is asked")


def _printed(page: Page, paper: str) -> PdfReader:
    return PdfReader(io.BytesIO(page.pdf(format=paper)))


def _text(printed: PdfReader) -> str:
    return " ".join(" ".join(sheet.extract_text() for sheet in printed.pages).split())


@pytest.mark.parametrize("paper", SIZES_MM)
def test_side_by_side_prints_as_a_sheet_to_sign(tab: Tab, paper: str) -> None:
    head = {"machine": "Loader 4, slate quarry", "asked_by": "Counter 2", "order_number": "4711"}
    tab.go(at("/side-by-side", QUARRY, compared([SEVENK, TWELVE]), head))
    shown = tab.page.locator("body").text_content() or ""
    printed = _printed(tab.page, paper)
    text = _text(printed)
    sheet = printed.pages[0].mediabox
    assert sorted(round(float(side) / 72 * 25.4) for side in (sheet.width, sheet.height)) == sorted(SIZES_MM[paper])
    assert 1 <= len(printed.pages) <= 6
    (signed,) = (" ".join(each.extract_text().split()) for each in printed.pages if "Checked by" in each.extract_text())
    assert re.search(r"Sources \[1\].* Cautions .*lock it out.* Checked by", signed)
    wanted = (*head.values(), "=7-K", "12-2", "not shown", "lock it out", "warranty", "Checked by", "Approved by")
    assert [words for words in wanted if words.casefold() not in text.casefold()] == []
    assert [words for words in TOOLS if words in text] == []
    assert [words for words in TOOLS if words.casefold() not in shown.casefold()] == [], "no tool by these words"


def test_of_an_element_that_is_printed_nothing_is_left_closed(tab: Tab) -> None:
    tab.go(at(f"/elements/{TWELVE}"))
    assert tab.page.get_by_text("State the flow and the fluid").is_visible()
    assert "State the flow" not in _text(_printed(tab.page, "A4"))
    tab.go(at(f"/elements/{TWELVE}", QUARRY))
    met = tab.page.locator("details.printed li").first.text_content() or ""
    sheets = [" ".join(sheet.extract_text().replace("ﬁ", "fi").split()) for sheet in _printed(tab.page, "A4").pages]
    assert met.startswith("Meets: ")
    text = " ".join(sheets)
    assert met in text
    assert "Against this duty" in sheets[0]
    assert [words for words in ("What was on file when", "What is shown over what", "▸") if words in text] == []
    (heading,) = (sheet for sheet in sheets if "Pictures" in sheet)
    assert "Filtration ratio over particle size" in heading.partition("Pictures")[2]
    assert "upper bound" in heading.partition("Pictures")[2], "the picture is on another sheet than its heading"


def test_replacements_print_with_what_is_asked(tab: Tab) -> None:
    asked = {"machine": "Loader 4", "location": "suction", "original.number": "00611", "assumptions": "customary"}
    tab.go(at("/replace", asked))
    assert not tab.page.locator(".on-paper").is_visible()
    text = _text(_printed(tab.page, "A4")).replace("ﬁ", "fi")
    wanted = ("The machine: Machine Loader 4 · Place in the circuit suction line", "kind of element: suction strainer",
              "Candidates in order")  # fmt: skip
    places = [text.find(words) for words in wanted]
    assert -1 < places[0] < places[1] < places[2], places
    assert "Mesh opening at most" not in text, "the form is on paper"


def test_letters_print_alone(tab: Tab) -> None:
    tab.go(at("/ask", QUARRY, compared([SEVENK, TWELVE, FJORD, LABELLED]), {"asked_by": "Purchasing, ferry line"}))
    letters = tab.page.locator("pre").all_inner_texts()
    printed = _printed(tab.page, "A4")
    assert len(letters) > 1
    assert len(printed.pages) >= len(letters)
    assert all(sheet.extract_text().strip().startswith("To:") for sheet in printed.pages[: len(letters)])
