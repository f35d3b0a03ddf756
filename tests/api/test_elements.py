"""One element over HTTP: its ratings as a table, its history, its earlier states."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from api import create_app
from specdb.catalog.identity import element_id
from specdb.catalog.store import open_store
from specdb.exchange import import_folder
from tests.api.asking import refusal, rows_of_csv

DULSE = f"/v1/elements/{element_id('Quollbeck', 'Dulse 23')}"
OWN = f"/v1/elements/{element_id('Demo Works', 'DW-1')}"
RATING = "rating,supersedes,maker,number,characteristic,value,size,flow\n"


@pytest.fixture(params=["sqlite", "postgresql"])
def own(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[TestClient]:
    """A service over a store of one element whose one rating was corrected."""
    url = str(request.getfixturevalue("store_url" if request.param == "sqlite" else "pg_store_url"))
    engine = open_store(url)
    for place, (labels, value) in enumerate((("R1,", 200), ("R2,R1", 190))):
        (tmp_path / "elements.csv").write_text("maker,number,kind\nDemo Works,DW-1,cartridge\n")
        row = f"{labels},Demo Works,DW-1,filtration_ratio,{value},10 um(c),20 gpm\n"
        (tmp_path / "ratings.csv").write_text(RATING + row)
        import_folder(engine, tmp_path, actor="test", reason=f"sheet {place}")
    engine.dispose()
    with TestClient(create_app(url)) as client:
        yield client


def test_the_history_is_there_on_request(own: TestClient) -> None:
    assert own.get(OWN).json()["history"] is None
    assert own.get(OWN, params={"history": "false"}).json()["history"] is None
    first, second = own.get(OWN, params={"history": "true"}).json()["history"]
    assert (first["revision"], first["actor"], first["reason"]) == (1, "test", "sheet 0")
    assert [(c["what"], c["change"], c["after"]) for c in first["changes"]] == [
        ("element", "added", "Demo Works DW-1"),
        ("attribute", "added", "cartridge"),
        ("rating", "added", "200 at size 10 um(c), flow 20 gpm"),
    ]
    assert second["changes"] == [
        {
            "what": "rating", "change": "superseded", "name": "R2", "characteristic": "filtration_ratio",
            "before": "200 at size 10 um(c), flow 20 gpm", "after": "190 at size 10 um(c), flow 20 gpm",
            "reason": "sheet 1", "source": None,
        }
    ]  # fmt: skip


def test_an_earlier_state_tells_what_was_believed_then(own: TestClient) -> None:
    then = own.get(OWN, params={"as_of": 1, "history": "true"}).json()
    assert [r["text"] for r in then["ratings"]] == ["200"]
    assert [step["revision"] for step in then["history"]] == [1]
    assert then["catalog_revision"] == 1
    now = own.get(OWN).json()
    assert [r["text"] for r in now["ratings"]] == ["190"]


def _cells(client: TestClient, address: str, **query: str) -> list[dict[str, str]]:
    response = client.get(address, params=query)
    assert response.status_code == 200, response.text
    assert response.headers["content-type"].startswith("text/csv")
    return rows_of_csv(response.text)


def test_csv_of_an_element_is_a_row_for_each_rating(client: TestClient) -> None:
    answer = client.get(DULSE).json()
    cells = _cells(client, f"{DULSE}.csv")
    assert len(cells) == len(answer["ratings"]) > 10
    for row, rating in zip(cells, answer["ratings"], strict=True):
        assert (row["maker"], row["number"]) == ("Quollbeck", "Dulse 23")
        assert row["text"] == rating["text"]
        assert float(row["value"]) == rating["value"]
        assert row["size_scale"] == (rating["size_scale"] or "")
        assert row["flow_text"] == (rating["flow"] or "")
        converted = rating["converted"].get("flow")
        assert row["flow_l_min"] == ("" if converted is None else str(converted["value"]))
        assert row["source"] == rating["source"]
    assert {row["size_scale"] for row in cells} == {"c", ""}


@pytest.mark.parametrize(("units", "columns"), [
    ("si", {"flow_l_min", "density_kg_m3", "terminal_pressure_drop_kpa", "cycle_pressure_kpa"}),
    ("us", {"flow_us_gpm", "density_lb_ft3", "terminal_pressure_drop_psi", "cycle_pressure_psi"}),
])  # fmt: skip
def test_names_of_columns_carry_their_units(client: TestClient, units: str, columns: set[str]) -> None:
    (first, *_) = _cells(client, f"{DULSE}.csv", units=units)
    assert columns | {"size_um", "viscosity_mm2_s", "gravimetric_level_mg_l"} <= set(first)


def test_csv_of_a_history_is_a_row_for_each_change(own: TestClient) -> None:
    cells = _cells(own, f"{OWN}.csv", history="true")
    assert [(row["revision"], row["what"], row["change"]) for row in cells] == [
        ("1", "element", "added"), ("1", "attribute", "added"), ("1", "rating", "added"), ("2", "rating", "superseded"),
    ]  # fmt: skip
    assert cells[-1]["reason_of_revision"] == "sheet 1"


@pytest.mark.parametrize("history", ["yes", "1", "TRUE", ""])
def test_history_is_true_or_false(client: TestClient, history: str) -> None:
    refusal(client.get(DULSE, params={"history": history}), 422, "request", "/history")


def test_the_vocabulary_is_a_table_too(client: TestClient) -> None:
    answer: dict[str, Any] = client.get("/v1/characteristics").json()
    cells = _cells(client, "/v1/characteristics.csv")
    named = [("characteristic", c["key"]) for c in answer["characteristics"]]
    named += [("attribute", a["key"]) for a in answer["attributes"]]
    assert [(row["what"], row["key"]) for row in cells] == named
    kinds = next(row for row in cells if row["key"] == "kind")
    assert kinds["choices"].split("; ")[0] == "spin-on"


def test_each_read_answers_from_an_earlier_state(client: TestClient, ask: Callable[..., Any]) -> None:
    known = ask({"original": {"number": "Dulse 23"}, "limit": 1})["original"]["element"]["element_id"]
    for address in (f"/v1/elements/{known}", "/v1/elements", "/v1/search?q=dulse", "/v1/revisions"):
        joined = "&" if "?" in address else "?"
        then, now = client.get(f"{address}{joined}as_of=1").json(), client.get(address).json()
        assert then | {"next": None} == now | {"next": None}
        refusal(client.get(f"{address}{joined}as_of=2"), 422, "question", "/as_of")
        refusal(client.get(f"{address}{joined}as_of=2999-01-01"), 422, "question", "/as_of")
        refusal(client.get(f"{address}{joined}as_of=0"), 404, "not-on-file", "/as_of")
