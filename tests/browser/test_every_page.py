"""What holds of every page, whatever it shows; and that the checks of it can fail."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from fastapi import FastAPI
from fastapi.responses import HTMLResponse

from api.pages.site import PAGE_HEADERS
from tests.browser.checking import HEAVIEST_BYTES, NARROWEST_PX, faults, not_shown
from tests.browser.serving import served
from tests.browser.states import LARGEST, STATES, State
from tests.browser.watching import Tab


@pytest.mark.parametrize("state", STATES, ids=lambda state: state.name.replace(",", "").replace(" ", "-"))
def test_a_page_is_open_to_everyone_and_closed_to_what_it_shows(tab: Tab, state: State) -> None:
    response = tab.go(state.path)
    assert response.status == state.status
    found = [*not_shown(tab.page, state.shows), *faults(tab, response)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("state", LARGEST, ids=lambda state: state.name.replace(" ", "-"))
def test_the_largest_pages_are_no_burden(tab: Tab, state: State) -> None:
    response = tab.go(state.path)
    assert response.status == state.status
    assert not_shown(tab.page, state.shows) == []
    assert tab.sent_bytes() < HEAVIEST_BYTES


BAD = f"""<!doctype html><title>bad</title><link rel=icon href="data:,"><p style="color: #bbb">pale</p>
<main><input><button onclick="alert(1)">x</button><div>{"W" * 200}</div><img src="/none.png" alt="">&#x202e;
<script>document.title = "ran"</script><a href="javascript:alert(1)">on</a></main><!-- {"x" * HEAVIEST_BYTES} -->"""
BAD_HEADERS = PAGE_HEADERS | {"Content-Security-Policy": PAGE_HEADERS["Content-Security-Policy"] + "; font-src *"}
BAD_IN = (
    "picture not shown", "header Content-Security-Policy", "inline: script", "inline: p style",
    "inline: button onclick", "inline: a href", "turns the text: U+202E", "not one h1", "weighs 15", "html-has-lang",
    "label: <input>", f"wider than {NARROWEST_PX} px: <div>", "not shown: <b>",
)  # fmt: skip


def test_every_check_can_fail(open_tab: Callable[..., Tab]) -> None:
    app = FastAPI()
    app.get("/")(lambda: HTMLResponse(BAD, headers=BAD_HEADERS))
    with served(app) as address:
        tab = open_tab(address)
        response = tab.go("/")
        found = "\n".join([*not_shown(tab.page, ["<b>"]), *faults(tab, response)])
        assert [told for told in BAD_IN if told not in found] == []
        tab.page.get_by_role("button").click()
        assert tab.page.title() == "bad"
        troubles = "\n".join(tab.troubles)
        assert "none.png" in troubles
        assert troubles.count("Content Security Policy") == 3, troubles
        tab.troubles.clear()


def test_what_goes_wrong_in_a_tab_is_noted(open_tab: Callable[..., Tab], address: str) -> None:
    tab = open_tab(address, bypass_csp=True)
    tab.go("/")
    tab.page.evaluate("setTimeout(() => { throw Error('torn'); }); console.warn('worn'); alert('loud')")
    tab.page.evaluate("fetch('http://elsewhere.invalid/').catch(() => null)")
    tab.page.goto("/load/none")
    told = "\n".join(tab.troubles)
    assert all(word in told for word in ("script: torn", "console: worn", "dialog: loud", "request: http://elsewhere"))
    assert "none" not in told
    tab.troubles.clear()
