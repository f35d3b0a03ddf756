"""The flat tables of decisions hold the numbers and words of their JSON, each in its own column."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import pytest
from starlette.testclient import TestClient

from specdb.answers import EquivalentsAnswer
from specdb.units import KINDS, express
from tests.api.asking import EQUIVALENTS, EXAMPLE, rows_of_csv

COLUMNS = [
    "rank", "element_id", "maker", "number", "requirement", "characteristic", "required_low", "required_high",
    "required_word", "unit", "nominal_mm", "size_um", "size_scale", "flow_l_min", "viscosity_low_mm2_s",
    "viscosity_high_mm2_s", "density_kg_m3", "density_low_kg_m3", "density_high_kg_m3",
    "terminal_pressure_drop_kpa", "cycle_pressure_kpa", "test_liquid",
    "drop_of", "capacity_basis", "standard", "dust", "allow", "origin", "rule", "advisory", "estimated",
    "verdict", "verdict_without_assumptions", "assumed", "reason", "lean", "shown_low", "shown_high",
    "shown_word", "difference_mm", "estimate", "margin", "basis", "by_rounding", "explanation", "sources",
    "claims", "candidate_cautions", "service_life",
    "largest_flow_l_min", "highest_viscosity_mm2_s", "coldest_degc", "met_beyond", "trade_offs", "unbeaten",
    "attainable_cleanliness", "windows_together",
    "cost_per_1000_h_low", "cost_per_1000_h_high", "cost_per_1000_h_estimate",
    "cost_per_gram_low", "cost_per_gram_high", "cost_per_gram_estimate", "currency",
    "catalog_revision", "method_version", "cautions",
]  # fmt: skip
YES_NO = {"true": True, "false": False}
US = {"mm": "in", "l_min": "us_gpm", "kg_m3": "lb_ft3", "kpa": "psi", "degc": "degf"}
DUTY = {name: EXAMPLE[name] for name in ("original", "duty")}
IN_THE_HEAD = {**DUTY, "duty": {**DUTY["duty"], "bypass": "head"}}
HEAVY = {
    "duty": {
        "flow": "75 L/min",
        "fluid": {"viscosity": "32 mm2/s", "class": "HFDR"},
        "bypass": "element",
        "bypass_cracking_pressure": "25 kPa",
    }
}
ELEMENTS = [{"number": "Dulse 24"}, {"number": "2024-07"}, {"number": "Dulse 23"}]

Row = dict[str, str]


def table_of(client: TestClient, address: str, asked: dict[str, Any], units: str) -> list[Row]:
    response = client.post(address, json=asked, params={"units": units, "format": "csv"})
    assert response.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    return rows_of_csv(response.content.decode())


def number(cell: str) -> float | None:
    return float(cell) if cell else None


@cache
def heading_of(name: str, columns: tuple[str, ...]) -> str:
    """The one column that holds a quantity, whatever its unit."""
    (heading,) = [column for column in columns if re.fullmatch(rf"{name}_({'|'.join(UNITS)})", column)]
    return heading


def quantity(row: Row, name: str) -> dict[str, Any] | None:
    """A quantity as JSON has it, its unit from the name of its column."""
    heading = heading_of(name, tuple(row))
    cell = row[heading]
    return {"value": float(cell), "unit": UNITS[heading.removeprefix(f"{name}_")]} if cell else None


UNITS = {
    "mm": "mm", "in": "in", "um": "µm", "l_min": "L/min", "us_gpm": "US gpm", "mm2_s": "mm²/s", "kg_m3": "kg/m³",
    "lb_ft3": "lb/ft³", "kpa": "kPa", "psi": "psi",
}  # fmt: skip


def rebuilt_requirement(row: Row) -> dict[str, Any]:
    """What JSON says of a requirement, but for its words, from one row of the table."""
    size, low, high = (quantity(row, name) for name in ("size", "viscosity_low", "viscosity_high"))
    if size is not None:
        size["unit"] += f"({row['size_scale']})"
    viscosity = {"low": low["value"], "high": high["value"], "unit": low["unit"]} if low and high else None
    light, heavy = quantity(row, "density_low"), quantity(row, "density_high")
    dense = {"low": light["value"], "high": heavy["value"], "unit": light["unit"]} if light and heavy else None
    return {
        "id": row["requirement"],
        "characteristic": row["characteristic"],
        "low": number(row["required_low"]),
        "high": number(row["required_high"]),
        "unit": row["unit"] or None,
        "word": row["required_word"] or None,
        "nominal": quantity(row, "nominal"),
        "size": size,
        "viscosity": viscosity,
        "density_range": dense,
        **{name: quantity(row, name) for name in ("flow", "density", "terminal_pressure_drop", "cycle_pressure")},
        **{name: row[name] or None for name in ("test_liquid", "drop_of", "capacity_basis", "standard", "dust")},
        "allow": float(row["allow"]),
        "origin": row["origin"],
        "rule": row["rule"] or None,
        **{name: YES_NO[row[name]] for name in ("advisory", "estimated")},
    }


def rebuilt_criterion(row: Row) -> dict[str, Any]:
    return {
        "requirement": row["requirement"],
        "characteristic": row["characteristic"],
        "advisory": YES_NO[row["advisory"]],
        "verdict": row["verdict"],
        "verdict_without_assumptions": row["verdict_without_assumptions"],
        "assumed": row["assumed"].split("; ") if row["assumed"] else [],
        "reason": row["reason"] or None,
        "lean": row["lean"] or None,
        "shown": {
            "low": number(row["shown_low"]),
            "high": number(row["shown_high"]),
            "unit": row["unit"] or None,
        },
        "shown_word": row["shown_word"] or None,
        "difference": quantity(row, "difference"),
        "estimate": number(row["estimate"]),
        "margin": number(row["margin"]),
        "basis": row["basis"] or None,
        "by_rounding": YES_NO[row["by_rounding"]],
        "explanation": row["explanation"],
    }


def assert_same(rows: list[Row], told: dict[str, Any], shown: list[dict[str, Any]]) -> None:
    """The rows are those of the elements ``shown``, and say what the JSON answer says of them."""
    requirements = {r["id"]: r for r in told["requirements"]}
    pairs = [(element, criterion) for element in shown for criterion in element["criteria"]]
    for row, (element, criterion) in zip(rows, pairs, strict=True):
        assert number(row["rank"]) == element["rank"]
        assert {name: row[name] for name in ("element_id", "maker", "number")} == {
            name: element["element"][name] for name in ("element_id", "maker", "number")
        }
        words = ("title", "words", "notes")
        expected = {k: v for k, v in requirements[row["requirement"]].items() if k not in words}
        assert rebuilt_requirement(row) == expected
        assert rebuilt_criterion(row) == {k: v for k, v in criterion.items() if k != "sources"}
        assert row["sources"] == "; ".join(dict.fromkeys(s["source"] for s in criterion["sources"] if s["source"]))
        assert int(row["catalog_revision"]) == told["catalog_revision"]
        assert row["method_version"] == told["method_version"]
    told_once = [cell for e in shown for cell in (" ".join(e["cautions"]), *[""] * (len(e["criteria"]) - 1))]
    assert [row["candidate_cautions"] for row in rows] == told_once
    # Once, where the sheet is read.
    assert [row["cautions"] for row in rows] == [" ".join(told["cautions"]), *[""] * (len(rows) - 1)]


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize(
    "asked",
    [DUTY, {"original": {"number": "2024-07"}}, IN_THE_HEAD, HEAVY],
    ids=["duty", "original", "in-the-head", "heavy-fluid"],
)
def test_a_ranking_can_be_rebuilt_from_its_table(client: TestClient, asked: dict[str, Any], units: str) -> None:
    asked = {**asked, "limit": 40}
    told = client.post(EQUIVALENTS, json=asked, params={"units": units}).json()
    rows = table_of(client, EQUIVALENTS, asked, units)
    assert len(rows) == 40 * len(told["requirements"])
    assert_same(rows, told, told["candidates"])


def test_a_density_that_is_not_stated_is_told_as_a_range(client: TestClient) -> None:
    told = client.post(EQUIVALENTS, json={**HEAVY, "limit": 1}).json()
    (drop,) = (each for each in told["requirements"] if each["rule"] == "clean_drop_below_bypass")
    assert drop["density"] is None
    assert drop["density_range"] == {"low": 1090.0, "high": 1190.0, "unit": "kg/m³"}
    assert any("HFDR is taken to weigh 1090 kg/m³ to 1190 kg/m³" in note for note in told["notes"])
    stated = {"duty": {**HEAVY["duty"], "fluid": {"viscosity": "32 mm2/s", "class": "HFDR", "density": "1140 kg/m3"}}}
    told = client.post(EQUIVALENTS, json={**stated, "limit": 1}).json()
    (drop,) = (each for each in told["requirements"] if each["rule"] == "clean_drop_below_bypass")
    assert (drop["density"]["value"], drop["density_range"]["low"]) == (1140.0, 1140.0)
    assert not [note for note in told["notes"] if "taken to weigh" in note]


@pytest.mark.parametrize("units", ["si", "us"])
def test_a_comparison_can_be_rebuilt_from_its_table(client: TestClient, units: str) -> None:
    asked = {"elements": ELEMENTS, **DUTY}
    told = client.post("/v1/comparisons", json=asked, params={"units": units}).json()
    rows = table_of(client, "/v1/comparisons", asked, units)
    roles = [row.pop("role") for row in rows]
    assert roles == ["original"] * len(told["requirements"]) + ["compared"] * 3 * len(told["requirements"])
    assert_same(rows, told, [told["original"], *told["elements"]])


def test_names_and_order_of_the_columns(client: TestClient) -> None:
    si, us = ([*table_of(client, EQUIVALENTS, {**DUTY, "limit": 1}, units)[0]] for units in ("si", "us"))
    assert si == COLUMNS
    assert us == [re.sub(rf"_({'|'.join(US)})$", lambda match: f"_{US[match[1]]}", name) for name in COLUMNS]
    assert set(UNITS.values()) >= {express(1.0, kind, "us")[1] for kind in ("flow", "pressure", "length", "density")}
    assert set(UNITS.values()) >= {KINDS[kind] for kind in ("flow", "pressure", "length", "density", "viscosity")}


def test_without_candidates_only_the_headings_are_left(client: TestClient) -> None:
    told = client.post(EQUIVALENTS, json={**DUTY, "limit": 1}).json()
    table = EquivalentsAnswer.model_validate(told | {"candidates": []}).table()
    assert table.csv() == ",".join(COLUMNS) + "\r\n"


# --- units of notes -------------------------------------------------------------------------------


def test_notes_of_requirements_and_of_the_duty_follow_the_units(client: TestClient) -> None:
    asked = {"original": {"number": "Dulse 23"}, "duty": {"flow": "100 L/min"}, "limit": 1}
    si, us = (client.post(EQUIVALENTS, json=asked, params={"units": units}).json() for units in ("si", "us"))

    def notes(answer: dict[str, Any]) -> list[str]:
        return [*answer["notes"], *(note for requirement in answer["requirements"] for note in requirement["notes"])]

    metric = re.compile(r"\d (mm|L/min|kPa)\b")
    assert [bool(metric.search(note)) for note in notes(si)].count(True) >= 4
    assert not [note for note in notes(us) if metric.search(note)]
    assert len(notes(si)) == len(notes(us))
    diameter = next(r for r in us["requirements"] if r["id"] == "outside_diameter")
    assert re.search(r"original's [\d.]+ in plus a clearance of 0 in", diameter["notes"][0])
