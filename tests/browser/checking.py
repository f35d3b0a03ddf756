"""What every page must be, found in the page as it stands in a tab. Each check gives what it finds wrong, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html.parser import HTMLParser

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page, Response

from api.pages.site import PAGE_HEADERS, plain
from tests.browser.watching import Tab

WCAG_2_2_AA = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
HEAVIEST_BYTES = 150_000
MOST_MS = 30_000
"""For the pictures of a page to load."""
NARROWEST_PX = 320
"""The width at which a page must do without scrolling sideways (WCAG 2.2, 1.4.10); every phone is wider."""

LOOKS = ("color-contrast", "link-in-text-block", "target-size", "scrollable-region-focusable")
"""The rules whose answer depends on colours and on the width of the window."""

_AXE = "([type, values]) => axe.run(document, {runOnly: {type, values}, resultTypes: ['violations']})"

_PICTURES = """
async within => {
  const late = new Promise(ready => setTimeout(ready, within));
  const pictures = [...document.images].filter(picture => picture.checkVisibility());
  for (const picture of pictures) {
    picture.scrollIntoView();
    if (!picture.complete)
      await Promise.race([late, new Promise(ready => { picture.onload = picture.onerror = ready; })]);
  }
  window.scrollTo(0, document.body.scrollHeight);
  return pictures.filter(picture => !picture.naturalWidth).map(picture => picture.src);
}
"""
_UNFOLD = "() => document.querySelectorAll('details').forEach(each => { each.open = true; })"
_WIDE = """
most => document.documentElement.scrollWidth <= most ? [] : [...document.querySelectorAll('body *')]
  .filter(element => element.getBoundingClientRect().right > most || element.scrollWidth > most)
  .filter(element => !element.closest('.scroll'))
  .slice(-3).map(element => element.outerHTML.slice(0, 120)).concat(`${document.documentElement.scrollWidth} px`)
"""
# A field keeps what was typed, to the letter, and is set apart from what stands around it; data-q is for a script.
_TURNING = """
() => [...document.querySelectorAll('*:not(input, textarea)')]
  .flatMap(each => [...each.attributes, ...each.childNodes])
  .filter(node => node.nodeType !== Node.ELEMENT_NODE && node.nodeName !== 'data-q')
  .flatMap(node => node.nodeValue.match(/[\\u200b-\\u200f\\u202a-\\u202e\\u2060-\\u2069]/g) || [])
"""


class Inline(HTMLParser):
    """Scripts and styles that stand in a page as it was sent, which its policy would stop."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    @classmethod
    def of(cls, html: str) -> list[str]:
        parser = cls()
        parser.feed(html)
        parser.close()
        return parser.found

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        if tag == "style" or (tag == "script" and "src" not in dict(attributes)):
            self.found.append(tag)
        for name, value in attributes:
            if name == "style" or name.startswith(("on", "hx-on")) or (value or "").strip().startswith("javascript:"):
                self.found.append(f"{tag} {name}")


def faults(tab: Tab, response: Response) -> list[str]:
    """Everything that is wrong with a page that was just opened."""
    page = tab.page
    found = [
        *(f"header {name}" for name, text in PAGE_HEADERS.items() if response.headers.get(name.lower()) != text),
        *(f"inline: {each}" for each in Inline.of(response.text())),
        *(f"picture not shown: {each}" for each in page.evaluate(_PICTURES, MOST_MS)),
    ]
    if (weight_bytes := tab.weight_bytes()) >= HEAVIEST_BYTES:
        found.append(f"weighs {weight_bytes} bytes")
    page.evaluate(_UNFOLD)  # what is folded away is loaded by whoever wants to see it
    found += [f"picture not shown: {each}" for each in page.evaluate(_PICTURES, MOST_MS)]
    found += [f"turns the text: U+{ord(each):04X}" for each in page.evaluate(_TURNING)]
    if page.locator("h1").count() != 1:
        found.append("not one h1")
    return [*found, *_accessibility(page)]


def not_shown(page: Page, texts: Iterable[str]) -> list[str]:
    """Of texts from outside, those that the page does not show to the letter, with a number for what is not seen."""
    shown = page.locator("body").text_content() or ""
    return [f"not shown: {text}" for text in texts if plain(text).translate({ord(c): None for c in "[]"}) not in shown]


def _accessibility(page: Page) -> Iterator[str]:
    page.emulate_media(color_scheme="light")
    yield from _violations(page, "tag", WCAG_2_2_AA)
    page.emulate_media(color_scheme="dark")
    page.set_viewport_size({"width": NARROWEST_PX, "height": 640})
    yield from (f"wider than {NARROWEST_PX} px: {each}" for each in page.evaluate(_WIDE, NARROWEST_PX))
    yield from (f"{each} (dark and narrow)" for each in _violations(page, "rule", LOOKS))


def _violations(page: Page, kind: str, wanted: Iterable[str]) -> list[str]:
    """What axe-core finds wrong with the page as it is shown now."""
    if page.evaluate("() => !('axe' in window)"):
        page.evaluate(f"() => {{ {AXE_SCRIPT} }}")  # by way of the developers' tools, which the page's policy lets pass
    told = page.evaluate(_AXE, [kind, list(wanted)])
    return [f"{rule['id']}: {node['html'][:200]}" for rule in told["violations"] for node in rule["nodes"]]
