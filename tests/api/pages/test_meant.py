"""What may be meant by a number that no element on file has: the same on every page that asks for one."""

from __future__ import annotations

import re

import pytest
from fastapi.testclient import TestClient

CLAIMED = "45/2"
"""Known from two claims only."""


@pytest.mark.parametrize(
    ("path", "name"), [("/replace", "original"), ("/ask", "original"), ("/side-by-side", "elements.1")]
)
def test_a_number_that_claims_alone_know_is_no_elements_own(client: TestClient, path: str, name: str) -> None:
    names = {f"{name}.number": CLAIMED, "assumptions": "customary"}
    if name != "original":
        names["original.number"] = "Dulse 24"
    page = client.get(path, params=names, headers={"accept": "text/html"})
    assert page.status_code == 404
    told = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page.text))
    assert "On file, by claims:" in told
    assert re.search(rf"Quollbeck Dulse 23 is claimed to be replaced by {CLAIMED}\b.*: a claim, no proof", told)
    assert re.search(rf"Umberglyph Rowan/10 is claimed to replace {CLAIMED}\b.*: a claim, no proof", told)
    assert "letter for letter" not in told
    assert "it is known from a claim only." in told
    assert told.count("Rowan/10") == 1


@pytest.mark.parametrize("path", ["/replace", "/ask"])
def test_numbers_that_are_near_are_named_once(client: TestClient, path: str) -> None:
    names = {"original.number": "dulse 2", "assumptions": "customary"}
    page = client.get(path, params=names, headers={"accept": "text/html"})
    assert page.status_code == 404
    assert page.text.count("Quollbeck Dulse 22/B") == 1
