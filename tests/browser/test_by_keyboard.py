"""The paths of the people who use the pages, by keyboard alone: nothing here touches a mouse."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from urllib.parse import parse_qs, urlparse

import pytest
from playwright.sync_api import Page, expect

from tests.browser.checking import faults
from tests.browser.hostile import TEXTS
from tests.browser.keys import focused, tab_to, type_in
from tests.browser.states import FERRY, at
from tests.browser.watching import Tab

LABEL_TYPED = {
    "Flow, if known": "70", "Beta ratio at least": "150", "at size": "10", "Capacity at least": "50",
    "Collapse at least": "6",
}  # fmt: skip
LABEL_ASKED = {
    "flow": "70 L/min", "require.1.at_least": "150", "require.1.size": "10 um(c)", "require.2.at_least": "50 g",
    "require.4.at_least": "6 bar",
}  # fmt: skip


def _asked(page: Page) -> dict[str, str]:
    return {name: text for name, (text,) in parse_qs(urlparse(page.url).query).items()}


def _first_sentence(page: Page) -> str:
    first = page.locator("#candidate-1")
    sentence = first.locator(".spoken").inner_text()
    assert sentence.startswith(first.locator("h3 a").inner_text())
    return sentence


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no-scripts"])
def test_the_counter_reads_what_can_replace_half_a_number(
    open_tab: Callable[..., Tab], address: str, scripts: bool
) -> None:
    tab = open_tab(address, java_script_enabled=scripts)
    page = tab.page
    tab.go("/")
    expect(page.locator("#q")).to_be_focused()
    page.keyboard.type("lse 23")
    if scripts:
        expect(page.locator("#results a.hit").first).to_have_text("Quollbeck Dulse 23")
        page.keyboard.press("ArrowDown")
        assert focused(page)["name"] == "Quollbeck Dulse 23"
    else:
        page.keyboard.press("Enter")
        page.wait_for_url("**/?q=lse*")
        tab_to(page, "Quollbeck Dulse 23", "a")
    page.keyboard.press("Enter")
    page.wait_for_url("**/elements/*")
    tab_to(page, "Replace it", "a")  # of the pages
    tab_to(page, "Replace it", "a")  # of this element
    page.keyboard.press("Enter")
    page.wait_for_url("**/replace?*")
    assert re.search(r"meets \d+ of the \d+ criteria|meets all", _first_sentence(page))

    tab_to(page, "The machine", "summary")
    page.keyboard.press("Enter")
    type_in(page, "Oil", "46")
    type_in(page, "Coldest morning", "-5")
    page.keyboard.press("Enter")
    page.wait_for_url("**cold_start_temperature*")
    assert (_asked(page)["cold_start_temperature"], _asked(page)["fluid.grade"]) == ("-5 °C", "ISO VG 46")
    assert "criteria" in _first_sentence(page)
    assert page.get_by_text("Verdicts rest on assumptions").is_visible()


def test_purchasing_sets_two_side_by_side_and_keeps_the_sheet(tab: Tab) -> None:
    page = tab.page
    tab.go(at("/replace", FERRY))
    wanted = []
    for box in page.get_by_role("checkbox").all()[:3]:
        tab_to(page, "Side by side: ", "input")
        if len(wanted) == 2:
            is_wanted = False
        else:
            is_wanted = True
            wanted.append(focused(page)["name"].removeprefix("Side by side: "))
        if box.is_checked() != is_wanted:
            page.keyboard.press("Space")
        assert box.is_checked() == is_wanted
    tab_to(page, "Side by side", "button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/side-by-side?*")
    headings = page.locator("table.criteria").first.locator("thead th").all_inner_texts()
    assert headings == ["required", "Quollbeck Dulse 23 (original)", *wanted]
    for paper in ("A4", "Letter"):
        tab_to(page, f"PDF on {paper}", "a")
    answer = page.request.get(str(page.evaluate("document.activeElement.href")))
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.body().startswith(b"%PDF-")


def test_the_engineer_asks_with_what_the_can_prints(tab: Tab) -> None:
    page = tab.page
    tab.go("/replace")
    for label, text in LABEL_TYPED.items():
        type_in(page, label, text)
    page.keyboard.press("Enter")
    page.wait_for_url("**require.1*")
    assert {name: _asked(page)[name] for name in LABEL_ASKED} == LABEL_ASKED
    assert "all 3 criteria" in _first_sentence(page)


def test_a_catalogue_is_checked_mended_and_taken_in(
    open_tab: Callable[..., Tab], writable_address: str, tmp_path: Path
) -> None:
    faulty, clean = tmp_path / "<b>faulty.csv", tmp_path / "clean.csv"
    faulty.write_text(f"maker,number,kind\nDemo,D 1,spin-on\nDemo,D 2,{TEXTS['picture'][2:]}\n", encoding="utf-8")
    clean.write_text("maker,number,kind\nDemo,D 1,spin-on\n", encoding="utf-8")
    tab = open_tab(writable_address)
    page = tab.page
    tab.go("/load")
    for file, status, told in (
        (faulty, 422, ("<b>faulty.csv", "3", "kind", TEXTS["picture"][2:])),
        (clean, 200, ("clean.csv has no faults", TEXTS["script"])),
    ):
        type_in(page, "Who takes it in", TEXTS["script"])
        tab_to(page, "File")
        page.get_by_label("File").set_input_files(file)
        tab_to(page, "Check it", "button")
        tab.loaded.clear()
        with page.expect_navigation() as arrival:
            page.keyboard.press("Enter")
        shown = page.locator("main").inner_text()
        assert [text for text in told if text not in shown] == []
        assert arrival.value.status == status
        found = faults(tab, arrival.value)
        assert not found, "\n".join(found)
    tab_to(page, "Take it in", "button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/load?revision=*")
    expect(page.get_by_role("heading", name="Taken in: this is revision 3")).to_be_visible()
    tab.go(at("/", {"q": "D 1"}))
    expect(page.locator("#results")).to_contain_text("Demo D 1")
