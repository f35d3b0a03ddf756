"""The paths of the people who use the pages, by keyboard alone: nothing here touches a mouse."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from pathlib import Path
from urllib.parse import parse_qs, urlparse

import pytest
from playwright.sync_api import Page, Route, expect

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


def _slowly(page: Page, seconds: float = 0.4) -> None:
    """Answers to what is typed come late."""

    def late(route: Route) -> None:
        time.sleep(seconds)
        route.continue_()

    page.route(lambda address: "?" in address, late)


def test_keys_that_come_before_the_answer_are_meant_for_it(tab: Tab) -> None:
    page = tab.page
    tab.go("/")
    page.keyboard.type("dulse 2")
    expect(page.locator("#results")).to_have_attribute("data-q", "dulse 2")
    _slowly(page)
    page.keyboard.type("3")
    page.keyboard.press("ArrowDown")
    expect(page.locator("#results")).to_have_attribute("data-q", "dulse 23")
    expect(page.locator("#results a.hit").first).to_be_focused()
    page.keyboard.press("Escape")
    page.keyboard.type("quollbeck dulse 24")
    page.keyboard.press("Enter")
    page.wait_for_url("**/elements/*")
    assert page.get_by_role("heading", level=1).inner_text() == "Quollbeck Dulse 24"


def test_what_is_typed_before_the_scripts_are_there_is_asked(tab: Tab) -> None:
    page = tab.page
    held: list[Route] = []
    page.route("**/htmx.min.js*", lambda script: held.append(script))
    page.goto("/", wait_until="commit")
    expect(page.locator("#q")).to_be_focused()
    page.keyboard.type("dulse 23")
    (script,) = held
    script.continue_()
    expect(page.locator("#results")).to_have_attribute("data-q", "dulse 23")


def test_a_late_answer_takes_no_focus_and_nothing_that_is_typed_in_the_fields(tab: Tab) -> None:
    page = tab.page
    tab.go("/")
    page.keyboard.type("dulse 2")
    expect(page.locator("#results")).to_have_attribute("data-q", "dulse 2")
    _slowly(page)
    page.keyboard.type("3")
    page.locator("#results a.hit").nth(1).focus()
    expect(page.locator("#results")).to_have_attribute("data-q", "dulse 23")
    expect(page.locator("#results a.hit").nth(1)).to_be_focused()
    page.unroute_all()
    page.locator("details.measures summary").click()
    page.locator("#length").fill("140")
    box = page.locator("#q")
    box.press("Control+A")
    # Signs alone are no number, and what follows is one: neither leaves a trace on the console.
    box.press_sequentially("-")
    expect(page.locator("#q-fault")).to_be_visible()
    box.press_sequentially("7 96 mm")
    expect(page.locator("#results")).to_have_attribute("data-q", "-7 96 mm")
    expect(page.locator("#length")).to_have_value("140")


def test_what_is_typed_goes_along_when_units_are_changed(tab: Tab) -> None:
    page = tab.page
    for path, field, typed, asked in (("/", "length", "140", "140 mm"), ("/replace", "flow", "70", "70 L/min")):
        tab.go(path)
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        page.locator(f'main [name="{field}"]').fill(typed)
        page.get_by_role("link", name="US", exact=True).click()
        page.wait_for_url("**units=us*")
        assert (_asked(page)[field], _asked(page)["units"]) == (asked, "us")


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
    assert headings == ["what is required", "Quollbeck Dulse 23 (original)", *wanted]
    tab_to(page, "Fill in the head", "summary")
    page.keyboard.press("Enter")
    type_in(page, "Order number", "4711")
    for paper in ("A4", "Letter"):
        tab_to(page, f"PDF on {paper}", "button")
    # The browser is not to open it: how it shows a PDF is its own.
    page.context.route("**/side-by-side.pdf?*", lambda route: route.fulfill(content_type="text/plain", body=""))
    with page.expect_popup() as opened:
        page.keyboard.press("Enter")
    opened.value.wait_for_url("**/side-by-side.pdf?*")
    address = opened.value.url
    opened.value.close()
    asked = {name: text for name, (text,) in parse_qs(urlparse(address).query).items()}
    assert (asked["order_number"], asked["paper"]) == ("4711", "letter")
    answer = page.request.get(address)
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.body().startswith(b"%PDF-")
    # It opens beside the page, where all that was typed still stands; so it does after going there and back.
    assert page.get_by_label("Order number").input_value() == "4711"
    tab_to(page, "Address to keep", "button")
    page.keyboard.press("Enter")
    page.wait_for_url("**as_of=**")
    assert _asked(page)["order_number"] == "4711"
    page.go_back()
    assert page.locator('[name="order_number"]').input_value() == "4711"


def test_the_engineer_asks_with_what_the_can_prints(tab: Tab) -> None:
    page = tab.page
    tab.go("/replace")
    for label, text in LABEL_TYPED.items():
        type_in(page, label, text)
    page.keyboard.press("Enter")
    page.wait_for_url("**require.1*")
    assert {name: _asked(page)[name] for name in LABEL_ASKED} == LABEL_ASKED
    assert "all 3 criteria" in _first_sentence(page)


def test_pasted_lines_are_answered_and_mended(tab: Tab) -> None:
    page = tab.page
    tab.go("/cross-check")
    pasted = [["Line", "Original", "Flow", "Alternative"]]
    pasted += [["saw 1", "00417", "", "Dulse 24"], ["mill", "12-1", "75", ""]]
    pasted += [[text, text, "", ""] for text in (TEXTS["script"], TEXTS["attribute"], TEXTS["long"])]
    for lines, status, told in (
        ([["nothing", "known"], ["1", "2"]], 422, ("No heading is known here that asks anything.",)),
        (pasted, 200, ("4 lines answered, 1 line with faults", "Dulse 24", TEXTS["attribute"], TEXTS["long"])),
    ):
        tab_to(page, "Or lines copied from a spreadsheet")
        page.keyboard.press("Control+A")
        page.keyboard.insert_text("\n".join("\t".join(line) for line in lines))
        tab_to(page, "Show here", "button")
        tab.loaded.clear()
        with page.expect_navigation() as arrival:
            page.keyboard.press("Enter")
        shown = page.locator("main").inner_text()
        assert [text for text in told if text not in shown] == []
        assert arrival.value.status == status
        found = faults(tab, arrival.value)
        assert not found, "\n".join(found)


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
        (faulty, 200, ("<b>faulty.csv", "3", "kind", TEXTS["picture"][2:])),
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
