"""One element by its number: the one that has it, or why there is none to be told."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from api import create_app
from specdb.catalog.store import open_store
from specdb.exchange import import_folder

BY_NUMBER = "/v1/elements/by-number"


def test_it_is_the_element_that_its_own_address_answers(client: TestClient) -> None:
    whole = {"number": "Dulse 23", "maker": "QUOLLBECK", "units": "us", "history": "true"}
    for query in ({"number": "dulse23"}, whole):
        found = client.get(BY_NUMBER, params=query)
        assert found.status_code == 200, found.text
        own = {name: value for name, value in query.items() if name in ("units", "history")}
        assert found.json() == client.get(f"/v1/elements/{found.json()['element_id']}", params=own).json()
        again = client.get(BY_NUMBER, params=query, headers={"if-none-match": found.headers["etag"]})
        assert again.status_code == 304
    assert client.get(f"{BY_NUMBER}.csv", params={"number": "Dulse 23"}).text.startswith("element_id,maker,number,")


@pytest.mark.parametrize(
    ("query", "status", "pointer", "remedy"),
    [
        ({"number": "Dulse 99"}, 404, "/number", "dashes"),
        ({"number": "Dulse 2B"}, 404, "/number", "Dulse 23/B|Dulse 28|Dulse 23"),
        ({"number": "Dulse 23", "maker": "Oddmarrow"}, 404, "/number", "Quollbeck"),
        ({"number": "---"}, 422, "/number", "as printed"),
        ({"maker": "Quollbeck"}, 422, "/number", ""),
        ({"number": "Dulse 23", "element_id": "0" * 16}, 422, "/element_id", "Known are"),
    ],
)
def test_what_names_no_element_is_told(
    client: TestClient, query: dict[str, str], status: int, pointer: str, remedy: str
) -> None:
    refused = client.get(BY_NUMBER, params=query)
    assert refused.status_code == status, refused.text
    [fault] = refused.json()["errors"]
    assert fault["pointer"] == pointer
    assert any(part in (fault.get("remedy") or "") for part in remedy.split("|"))


def test_a_number_of_two_makers_needs_the_maker(tmp_path: Path) -> None:
    (tmp_path / "elements.csv").write_text("maker,number\nDemo Works,X 1\nOther Demo,x1\n")
    url = f"sqlite:///{tmp_path / 'two.sqlite'}"
    engine = open_store(url, create=True)
    import_folder(engine, tmp_path, actor="test", reason="two makers")
    engine.dispose()
    with TestClient(create_app(url)) as client:
        refused = client.get(BY_NUMBER, params={"number": "x1"})
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"] == "/maker"
        assert client.get(BY_NUMBER, params={"number": "x1", "maker": "other demo"}).json()["maker"] == "Other Demo"
