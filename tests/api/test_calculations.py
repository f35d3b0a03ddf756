"""The small sums over HTTP: the answers of the library, in JSON and in CSV, and refusals of our family."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

from api import create_app
from api.routes.calculations import OPERATION_IDS
from specdb.calculations import CALCULATIONS, calculate, calculations
from tests.api.asking import refusal

BASE = "/v1/calculations"
ALL = list(CALCULATIONS.values())


def path_of(key: str) -> str:
    return f"{BASE}/{CALCULATIONS[key].name}"


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
@pytest.mark.parametrize("units", ["si", "us"])
def test_each_is_the_answer_of_the_library(client: TestClient, calculation: Any, units: Any) -> None:
    response = client.get(path_of(calculation.key), params=calculation.example | {"units": units})
    assert response.status_code == 200, response.text
    assert response.headers["content-type"] == "application/json"
    assert response.json() == calculate(calculation.key, calculation.example, units).model_dump()


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
def test_each_answers_csv_in_all_three_ways(client: TestClient, calculation: Any) -> None:
    path, asked = path_of(calculation.key), calculation.example
    table = calculate(calculation.key, asked).table().csv()
    by_accept = client.get(path, params=asked, headers={"accept": "text/csv"})
    by_format = client.get(path, params=asked | {"format": "csv"})
    by_address = client.get(f"{path}.csv", params=asked)
    for response in (by_accept, by_format, by_address):
        assert response.status_code == 200
        assert response.headers["content-type"].startswith("text/csv; charset=utf-8")
        assert response.text == table


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
def test_each_is_answered_once(client: TestClient, calculation: Any) -> None:
    first = client.get(path_of(calculation.key), params=calculation.example)
    known = {"if-none-match": first.headers["etag"]}
    assert client.get(path_of(calculation.key), params=calculation.example, headers=known).status_code == 304
    other = client.get(path_of(calculation.key), params=calculation.example | {"units": "us"}, headers=known)
    assert other.status_code == 200


def test_the_list(client: TestClient) -> None:
    assert client.get(BASE).json() == calculations().model_dump()
    assert client.get(f"{BASE}.csv").text == calculations().table().csv()
    refusal(client.get(BASE, params={"units": "us"}), 422, "request", "/units")


def test_no_store_is_needed() -> None:
    without = TestClient(create_app("sqlite:////nowhere/at/all.sqlite"))  # not started, so no store is opened
    assert without.get(path_of("efficiency"), params={"ratio": "200"}).status_code == 200


@pytest.mark.parametrize(
    ("key", "asked", "code", "pointers"),
    [
        ("efficiency", {"ratio": "two hundred"}, "quantity", ["/ratio"]),
        ("efficiency", {"ratio": "1e400"}, "quantity", ["/ratio"]),
        ("efficiency", {"ratio": "inf"}, "quantity", ["/ratio"]),
        ("efficiency", {"ratio": str(10**60)}, "question", ["/ratio"]),
        ("cleanliness_code", {"code": "16/18/13"}, "question", ["/code"]),
        ("cleanliness_code", {"at_4": "1 /mL", "at_6": "2 /mL"}, "conditions", ["/at_6"]),
        ("cleanliness_code", {}, "question", ["/code"]),
        ("viscosity", {"temperature": "x", "grade": "47"}, "question", ["/temperature", "/grade"]),
        ("pore_size", {"pressure": "8 L/min"}, "quantity", ["/pressure"]),
        ("size_scale", {"size": "\ud7ff\ufffd um(c)"}, "quantity", ["/size"]),
        ("convert", {"value": "75 psi", "to": "L/min"}, "quantity", ["/value"]),
    ],
)
def test_what_cannot_be_worked_out_is_refused(client, key, asked, code, pointers) -> None:
    # Several faults of different kinds are one refusal of the question.
    refusal(client.get(path_of(key), params=asked), 422, code, *pointers)


@pytest.mark.parametrize("number", ["inf", "-inf", "nan", "1e400", "-1e400", "1" * 400, "0x10", "1,5", "", "true"])
@pytest.mark.parametrize(
    ("key", "field"),
    [
        ("viscosity", "viscosity_index"),
        ("pore_size", "surface_tension_mn_m"),
        ("pore_size", "contact_angle_deg"),
        ("cleanliness_code", "volume_ml"),
        ("return_flow", "area_ratio"),
        ("turnover", "turnovers_per_hour"),
        ("service_interval", "price"),
    ],
)
def test_no_float_takes_what_is_no_finite_number(client, key, field, number) -> None:
    response = client.get(path_of(key), params=CALCULATIONS[key].example | {field: number})
    refusal(response, 422, "request", f"/{field}")


@pytest.mark.parametrize(
    ("raw", "status", "code", "pointers"),
    [
        ("ratio=%ED%A0%80", 400, "malformed", []),
        ("ratio=%FF", 400, "malformed", []),
        ("ratio=%00", 422, "request", ["/ratio"]),
        ("ratio=", 422, "request", ["/ratio"]),
        ("ratio=1&ratio=2", 422, "request", ["/ratio"]),
        ("ratio=1&bogus=1", 422, "request", ["/bogus"]),
        ("", 422, "request", ["/ratio"]),
    ],
)
def test_broken_queries_are_refused(
    client: TestClient, raw: str, status: int, code: str, pointers: list[str]
) -> None:
    refusal(client.get(f"{path_of('efficiency')}?{raw}"), status, code, *pointers)


def test_ids_are_chosen_and_every_field_is_described(client: TestClient) -> None:
    assert set(OPERATION_IDS) == set(CALCULATIONS)
    paths = client.get("/openapi.json").json()["paths"]
    for calculation in ALL:
        operation = paths[path_of(calculation.key)]["get"]
        assert operation["operationId"] == OPERATION_IDS[calculation.key]
        assert operation["summary"] == calculation.title
        parameters = {p["name"]: p for p in operation["parameters"] if p["in"] == "query"}
        assert set(parameters) == {*calculation.asked.model_fields, "units", "format"}
        for name, field in calculation.asked.model_fields.items():
            assert parameters[name]["description"] == field.description
            assert parameters[name]["required"] == field.is_required()
        shown = {n: str(p["examples"]["example"]["value"]) for n, p in parameters.items() if "examples" in p}
        assert shown == calculation.example
