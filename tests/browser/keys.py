"""Getting about a page by keyboard alone, as a reader without a mouse does."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Page

MOST_STOPS = 200

_FOCUSED = """
() => {
  const at = document.activeElement, look = getComputedStyle(at);
  const named = at.getAttribute('aria-label') || at.labels?.[0]?.textContent || at.textContent || at.value || '';
  return {
    name: named.replace(/\\s+/g, ' ').trim(),
    tag: at.tagName.toLowerCase(),
    isSeen: look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) >= 2,
  };
}
"""


def focused(page: Page) -> dict[str, Any]:
    """What has the focus: its name, its tag, and whether that can be seen."""
    told: dict[str, Any] = page.evaluate(_FOCUSED)
    return told


def tab_to(page: Page, name: str, tag: str | None = None) -> None:
    """Press Tab until what is called ``name``, or begins so, has the focus. Every stop on the way must be seen."""
    passed = []
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        at = focused(page)
        passed.append(f"{at['tag']} {at['name'][:40]}")
        assert at["isSeen"] or at["tag"] == "body", f"the focus cannot be seen on {passed[-1]}"
        if at["name"].startswith(name) and tag in (None, at["tag"]):
            return
    raise AssertionError(f"{name} is not reached by Tab, only: {'; '.join(dict.fromkeys(passed))}")


def type_in(page: Page, label: str, text: str) -> None:
    """Tab to a field and type, in place of what stands there."""
    tab_to(page, label)
    page.keyboard.press("Control+A")
    page.keyboard.type(text)
