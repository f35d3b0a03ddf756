"""Letters are copied by a click, or selected where the browser gives the page no clipboard."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import expect

from tests.browser.states import FERRY, at
from tests.browser.watching import Tab


@pytest.fixture
def letters(open_tab: Callable[..., Tab], address: str) -> Tab:
    return open_tab(address, permissions=["clipboard-read", "clipboard-write"])


def test_a_letter_and_all_letters_are_copied(letters: Tab) -> None:
    letters.go(at("/ask", FERRY, {"assumptions": "none"}))
    page = letters.page
    written = page.locator(".letter pre").all_text_contents()
    assert len(written) > 1
    page.get_by_role("button", name="Copy this letter").nth(1).click()
    expect(page.get_by_role("status").filter(has_text="Copied.")).to_have_count(1)
    assert page.evaluate("navigator.clipboard.readText()") == written[1].strip()
    page.get_by_role("button", name="Copy all letters").click()
    expect(page.get_by_role("status").filter(has_text="Copied.")).to_have_count(2)
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied.split(f"\n\n{'-' * 72}\n\n") == [text.strip() for text in written]


def test_without_a_clipboard_the_letter_is_selected(letters: Tab) -> None:
    letters.page.add_init_script("Object.defineProperty(navigator, 'clipboard', { value: undefined })")
    letters.go(at("/ask", FERRY, {"assumptions": "none"}))
    letters.page.get_by_role("button", name="Copy this letter").first.click()
    expect(letters.page.get_by_role("status").filter(has_text="Selected")).to_have_count(1)
    selected = letters.page.evaluate("getSelection().toString()")
    assert selected.strip() == letters.page.locator(".letter pre").first.inner_text().strip()


def test_without_scripts_there_is_no_button_and_the_letters_are_there(
    open_tab: Callable[..., Tab], address: str
) -> None:
    tab = open_tab(address, java_script_enabled=False)
    tab.go(at("/ask", FERRY))
    assert not any(button.is_visible() for button in tab.page.locator("main button").all())
    expect(tab.page.locator(".letter pre").first).to_be_visible()


def test_printed_the_page_is_the_letters_alone(tab: Tab) -> None:
    tab.go(at("/ask", FERRY))
    tab.page.emulate_media(media="print")
    seen = tab.page.locator("body").inner_text()
    letters = [text.inner_text() for text in tab.page.locator(".letter pre").all()]
    assert "".join(seen.split()) == "".join("".join(letters).split())
