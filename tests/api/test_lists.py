"""Lists over HTTP: pages that hold together while the catalogue grows, and cursors that cannot be made up."""

from __future__ import annotations

import base64
import csv
import io
import re
import shutil
import string
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

from api import create_app
from specdb.catalog.identity import identity_key
from specdb.catalog.store import open_store
from specdb.exchange import import_folder
from tests.api.asking import refusal

ELEMENTS = "/v1/elements"
REVISIONS = "/v1/revisions"


@pytest.fixture(params=["sqlite", "postgresql"])
def any_url(request: pytest.FixtureRequest) -> str:
    """URL of a fresh store, on each database in turn."""
    return str(request.getfixturevalue("store_url" if request.param == "sqlite" else "pg_store_url"))


@pytest.fixture
def own_url(demo_store_url: str, tmp_path: Path) -> str:
    """URL of a copy of the demo catalogue that a test may write to."""
    path = shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path / "own.sqlite")
    return f"sqlite:///{path}"


@pytest.fixture
def add(tmp_path: Path) -> Callable[..., None]:
    """Adds elements to a store."""

    def added(url: str, *numbers: str, maker: str = "Demo Works") -> None:
        folder = tmp_path / "more"
        folder.mkdir(exist_ok=True)
        rows = "".join(f"{maker},{number},cartridge\n" for number in numbers)
        (folder / "elements.csv").write_text(f"maker,number,kind\n{rows}", encoding="utf-8")
        engine = open_store(url)
        import_folder(engine, folder, actor="test", reason=f"adds {', '.join(numbers)}")
        engine.dispose()

    return added


@contextmanager
def serving(url: str) -> Iterator[TestClient]:
    with TestClient(create_app(url)) as client:
        yield client


def listed(client: TestClient, address: str, **query: Any) -> dict[str, Any]:
    response = client.get(address, params=query or None)
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    links = {name: to for to, name in re.findall(r'<([^>]*)>; rel="(\w+)"', response.headers["link"])}
    assert links.get("next") == answer["next"]
    assert "cursor=" not in links["first"]
    return answer


def pages(
    client: TestClient, address: str, between: Callable[[], None] = lambda: None, **query: Any
) -> list[dict[str, Any]]:
    """Every page of a list, following ``next``; ``between`` is done after each."""
    found = [listed(client, address, **query)]
    while found[-1]["next"] is not None:
        between()
        found.append(listed(client, found[-1]["next"]))
    return found


def rows(found: list[dict[str, Any]], name: str = "elements") -> list[dict[str, Any]]:
    return [row for page in found for row in page[name]]


# --- pages ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("limit", [1, 7, 24, 25, 50, 500])
def test_pages_of_any_size_make_the_whole_list(client: TestClient, limit: int) -> None:
    whole = listed(client, ELEMENTS, maker="Tarnwhistle", limit=500)
    assert whole["next"] is None
    assert whole["total"] == len(whole["elements"]) == 24
    found = pages(client, ELEMENTS, maker="Tarnwhistle", limit=limit)
    assert rows(found) == whole["elements"]
    assert {page["total"] for page in found} == {24}
    assert [len(page["elements"]) for page in found[:-1]] == [limit] * (len(found) - 1)


def test_elements_stand_in_the_order_of_maker_and_number(client: TestClient) -> None:
    elements = listed(client, ELEMENTS, limit=500)["elements"]
    names = [(identity_key(e["maker"]), identity_key(e["number"])) for e in elements]
    assert len(names) == 171
    assert names == sorted(names)
    assert len(listed(client, ELEMENTS)["elements"]) == 50


def test_pages_go_on_as_if_nothing_had_been_written_since(any_url: str, add: Callable[..., None]) -> None:
    add(any_url, *(f"B-{n}" for n in range(10, 19)))
    with serving(any_url) as client:
        before = listed(client, ELEMENTS, limit=500)["elements"]
        counter = iter(range(100))

        def write() -> None:
            # Before, among and after what was listed already.
            add(any_url, f"A-{next(counter)}", f"B-1{next(counter)}0", f"C-{next(counter)}")

        found = pages(client, ELEMENTS, write, limit=2)
        assert rows(found) == before
        assert {page["catalog_revision"] for page in found} == {1}
        assert {page["total"] for page in found} == {9}
        now = listed(client, ELEMENTS, limit=500)
        assert now["total"] == 9 + 3 * (len(found) - 1)
        assert now["catalog_revision"] == len(found)
        assert rows(pages(client, ELEMENTS, limit=5, as_of=1)) == before


def test_revisions_are_paged_alike(any_url: str, add: Callable[..., None]) -> None:
    for number in range(7):
        add(any_url, f"N-{number}")
    with serving(any_url) as client:
        before = listed(client, REVISIONS, limit=500)["revisions"]
        assert [r["revision"] for r in before] == [7, 6, 5, 4, 3, 2, 1]
        counter = iter(range(100))
        found = pages(client, REVISIONS, lambda: add(any_url, f"later {next(counter)}"), limit=3)
        assert rows(found, "revisions") == before
        assert [len(page["revisions"]) for page in found] == [3, 3, 1]
        assert listed(client, REVISIONS)["total"] == 9


def test_a_list_of_nothing_has_one_page(any_url: str) -> None:
    with serving(any_url) as client:
        for address, name in ((ELEMENTS, "elements"), (REVISIONS, "revisions")):
            answer = listed(client, address)
            assert (answer["total"], answer["next"], answer[name]) == (0, None, [])
        refusal(client.get(ELEMENTS, params={"maker": "Anyone"}), 404, "not-on-file", "/maker")


def test_csv_pages_by_its_link(client: TestClient) -> None:
    whole = list(csv.reader(io.StringIO(client.get(f"{ELEMENTS}.csv?kind=breather&limit=500").text)))
    address: str | None = f"{ELEMENTS}.csv?kind=breather&limit=2"
    found: list[list[str]] = []
    while address is not None:
        response = client.get(address)
        assert response.headers["content-type"].startswith("text/csv")
        head, *rest = csv.reader(io.StringIO(response.text))
        assert head == whole[0]
        found += rest
        match = re.search(r'<([^>]*)>; rel="next"', response.headers["link"])
        address = match and match[1]
    assert found == whole[1:]
    assert len(found) > 2


# --- filters --------------------------------------------------------------------------------------


def test_filters_and_units_stay_from_page_to_page(client: TestClient) -> None:
    asked = {"maker": "odd marrow", "outside_diameter": "80 mm ± 0.5 mm", "units": "us", "limit": 3}
    found = pages(client, ELEMENTS, **asked)
    assert len(found) > 1
    for page in found:
        assert page["filters"] == found[0]["filters"]
        assert page["filters"][1]["unit"] == "in"
    assert {e["measures"]["outside_diameter"]["unit"] for e in rows(found)} == {"in"}
    assert {round(e["measures"]["outside_diameter"]["value"] * 25.4, 6) for e in rows(found)} == {80.0}


def test_a_customary_tolerance_is_printed(client: TestClient) -> None:
    (shown,) = listed(client, ELEMENTS, outside_diameter="96 mm")["filters"]
    assert (shown["low"], shown["high"], shown["unit"], shown["customary"]) == (95, 97, "mm", True)
    assert "common practice" in shown["words"]


@pytest.mark.parametrize(
    ("asked", "status", "code", "pointers", "told"),
    [
        ({"kind": "bucket"}, 422, "question", ["/kind"], "spin-on, cartridge"),
        ({"kind": "bucket", "length": "5"}, 422, "question", ["/kind", "/length"], "no unit"),
        ({"thread": "x"}, 422, "question", ["/thread"], "M20x1.5"),
        ({"maker": "Quolbeck"}, 404, "not-on-file", ["/maker"], "Quollbeck"),
        ({"series": "Dulce"}, 404, "not-on-file", ["/series"], "Dulse"),
        ({"limit": 0}, 422, "request", ["/limit"], "greater than or equal to 1"),
        ({"limit": 501}, 422, "request", ["/limit"], "less than or equal to 500"),
        ({"limit": "1_0"}, 422, "request", ["/limit"], "whole number"),
        ({"limit": "nan"}, 422, "request", ["/limit"], "whole number"),
        ({"as_of": 2}, 422, "question", ["/as_of"], "no such revision"),
        ({"as_of": "1999-01-01"}, 404, "not-on-file", ["/as_of"], "Nothing was on file"),
        ({"maker": "\x00"}, 422, "request", ["/maker"], "control characters"),
        ({"maker": "x" * 201}, 422, "request", ["/maker"], "200"),
    ],
)
def test_what_cannot_be_listed_is_refused(
    client: TestClient, asked: dict[str, Any], status: int, code: str, pointers: list[str], told: str
) -> None:
    assert told in refusal(client.get(ELEMENTS, params=asked), status, code, *pointers)["detail"]


# --- cursors --------------------------------------------------------------------------------------


def cursor_of(address: str | None) -> str:
    match = re.search("cursor=([A-Za-z0-9_-]+)", address or "")
    assert match
    return match[1]


def refuse_cursor(client: TestClient, address: str, cursor: str, **query: Any) -> None:
    document = refusal(client.get(address, params={**query, "cursor": cursor}), 422, "question", "/cursor")
    assert document["errors"][0]["detail"].startswith("This is no cursor of this list.")


def test_a_cursor_with_any_character_changed_is_refused(client: TestClient) -> None:
    cursor = cursor_of(listed(client, ELEMENTS, limit=5)["next"])
    assert listed(client, ELEMENTS, limit=5, cursor=cursor)["elements"]
    alphabet = string.ascii_letters + string.digits + "-_"
    for place, character in enumerate(cursor):
        other = alphabet[(alphabet.index(character) + 1 + place) % len(alphabet)]
        refuse_cursor(client, ELEMENTS, cursor[:place] + other + cursor[place + 1 :], limit=5)


def test_a_cursor_with_any_bit_changed_is_refused(client: TestClient) -> None:
    content = base64.urlsafe_b64decode(cursor_of(listed(client, ELEMENTS, limit=5)["next"]))
    for bit in range(8 * len(content)):
        changed = bytearray(content)
        changed[bit // 8] ^= 1 << bit % 8
        refuse_cursor(client, ELEMENTS, base64.urlsafe_b64encode(bytes(changed)).decode(), limit=5)


@pytest.mark.parametrize(
    "cursor",
    ["x", "A" * 44, "-" * 44, "A" * 43, "A" * 45, "A" * 43 + "=", "ü" * 44, " ", "1", "%00", "../../etc", "A" * 200],
)
def test_what_is_no_cursor_is_refused(client: TestClient, cursor: str) -> None:
    refuse_cursor(client, ELEMENTS, cursor)
    refuse_cursor(client, REVISIONS, cursor)


def test_a_cursor_of_another_list_is_refused(client: TestClient, own_url: str, add: Callable[..., None]) -> None:
    cursor = cursor_of(listed(client, ELEMENTS, kind="cartridge", limit=5)["next"])
    refuse_cursor(client, ELEMENTS, cursor)
    refuse_cursor(client, ELEMENTS, cursor, kind="spin-on")
    refuse_cursor(client, ELEMENTS, cursor, kind="cartridge", maker="Tarnwhistle")
    refuse_cursor(client, ELEMENTS, cursor, media="cartridge")
    refuse_cursor(client, ELEMENTS, cursor, kind="cartridge", as_of=1)
    refuse_cursor(client, REVISIONS, cursor)
    add(own_url, "N-1")
    with serving(own_url) as other:
        refuse_cursor(other, ELEMENTS, cursor_of(listed(other, REVISIONS, limit=1)["next"]))
    # How much of it, in which units and form, is no other list.
    assert listed(client, ELEMENTS, kind="cartridge", limit=9, units="us", cursor=cursor)["elements"]


def test_a_cursor_of_another_store_is_refused(
    client: TestClient, store_url: str, pg_store_url: str, add: Callable[..., None]
) -> None:
    for url in (store_url, pg_store_url):
        add(url, "N-1", "N-2")
    foreign = []
    for url in (store_url, pg_store_url):
        with serving(url) as other:
            foreign.append(cursor_of(listed(other, ELEMENTS, limit=1)["next"]))
            assert listed(other, ELEMENTS, limit=1, cursor=foreign[-1])["elements"][0]["number"] == "N-2"
    assert foreign[0] != foreign[1]
    for cursor in foreign:
        refuse_cursor(client, ELEMENTS, cursor, limit=1)
    with serving(store_url) as other:
        refuse_cursor(other, ELEMENTS, foreign[1], limit=1)


def test_a_cursor_pins_the_state_and_not_the_file(own_url: str, add: Callable[..., None]) -> None:
    with serving(own_url) as client:
        cursor = cursor_of(listed(client, ELEMENTS, maker="Quollbeck", limit=5)["next"])
        before = listed(client, ELEMENTS, maker="Quollbeck", limit=5, cursor=cursor)
        add(own_url, "Dulse 10", maker="Quollbeck")
        assert listed(client, ELEMENTS, maker="Quollbeck", limit=5, cursor=cursor) == before
    with serving(own_url) as again:
        assert listed(again, ELEMENTS, maker="Quollbeck", limit=5, cursor=cursor) == before


def test_a_page_is_known_by_its_tag(client: TestClient) -> None:
    first = client.get(ELEMENTS, params={"limit": 2})
    second = client.get(first.json()["next"])
    assert first.headers["etag"] != second.headers["etag"]
    again = client.get(first.json()["next"], headers={"If-None-Match": second.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
