"""Windows as an answer tells them: on request, in the reader's units, in JSON and in the flat table alike."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.api.asking import EQUIVALENTS

DUTY: dict[str, Any] = {
    "flow": "75 L/min",
    "fluid": {"grade": "ISO VG 46", "viscosity_index": 100},
    "operating_temperature": "50 degC",
    "require": [
        {"characteristic": "clean_pressure_drop", "at_most": "40 kPa"},
        {"characteristic": "filtration_ratio", "at_least": 75, "size": "10 um(c)"},
        {"characteristic": "retained_capacity", "at_least": "40 g", "flow": "20 L/min"},
        {"characteristic": "collapse_pressure", "at_least": "1 kPa"},
    ],
}
ASKED = {"original": {"number": "Dulse 23"}, "duty": DUTY, "limit": 5, "include_windows": True}
Ask = Callable[..., dict[str, Any]]
US = {"flow": lambda l_min: l_min / 3.785411784, "viscosity": float, "temperature": lambda degc: degc * 1.8 + 32}


def edges(window: dict[str, Any]) -> dict[str, Any]:
    return {name: window[name] for name in ("flow", "viscosity", "temperature") if window[name] is not None}


def test_windows_are_told_on_request_alone(ask: Ask) -> None:
    silent = ask({**ASKED, "include_windows": False})
    for each in (silent["original"], *silent["candidates"]):
        assert (each["windows"], each["whole_window"]) == (None, None)
    told = ask(ASKED)
    for each in (told["original"], *told["candidates"]):
        met = {c["requirement"] for c in each["criteria"] if c["verdict"] == "meets"}
        asked = {r["id"] for r in told["requirements"] if r["flow"] or r["viscosity"]}
        assert [w["requirement"] for w in each["windows"]] == [
            c["requirement"] for c in each["criteria"] if c["requirement"] in met & asked
        ]
        each["windows"] = each["whole_window"] = None
    assert told == silent


def test_each_edge_lies_outward_and_is_told_in_words(ask: Ask) -> None:
    seen = set()
    for each in ask(ASKED)["candidates"]:
        for window in each["windows"]:
            for name, edge in edges(window).items():
                seen.add(name)
                assert edge["value"] <= edge["own"] if name == "temperature" else edge["value"] >= edge["own"]
            assert window["words"].startswith("Meets ")
            # As many reaches as edges, none of them rounded outward.
            reaches = re.findall(r"(?:up|down) to (-?[\d.]+) (L/min|mm²/s|°C)", window["words"])
            assert len(reaches) == len([edge for edge in edges(window).values() if not edge["beyond"]])
            for number, unit in reaches:
                (edge,) = [edge for edge in edges(window).values() if edge["unit"] == unit]
                inward = float(number) - edge["value"] if unit == "°C" else edge["value"] - float(number)
                assert -1e-6 <= inward <= (0.1 if unit == "°C" else 1e-3 * edge["value"])
            if window["requirement"] == "retained_capacity":
                assert window["words"].endswith("This is about its own flow, not the duty's 75 L/min.")
    assert seen == {"flow", "viscosity", "temperature"}


def test_the_whole_window_is_the_narrowest_and_names_what_sets_it(ask: Ask) -> None:
    for each in ask(ASKED)["candidates"]:
        windows = [w for w in each["windows"] if w["flow"]["own"] == 75.0]
        for name, edge in edges(each["whole_window"]).items():
            values = {w["requirement"]: w[name]["value"] for w in windows if w[name] is not None}
            assert edge["value"] == (max if name == "temperature" else min)(values.values())
            assert values[edge["requirement"]] == edge["value"]
            assert each["whole_window"]["words"].startswith("Met together: ")


def test_us_units(ask: Ask) -> None:
    si, us = (ask(ASKED, units=units)["candidates"] for units in ("si", "us"))
    for here, there in zip(si, us, strict=True):
        pairs = zip([*here["windows"], here["whole_window"]], [*there["windows"], there["whole_window"]], strict=True)
        for one, other in pairs:
            assert edges(one).keys() == edges(other).keys()
            for name, edge in edges(one).items():
                assert edges(other)[name]["value"] == pytest.approx(US[name](edge["value"]), rel=1e-9)
                assert edges(other)[name]["unit"] == {"flow": "US gpm", "viscosity": "mm²/s", "temperature": "°F"}[name]


@pytest.mark.parametrize("place", [EQUIVALENTS, "/v1/comparisons"])
def test_the_flat_table_holds_the_same(client: TestClient, place: str) -> None:
    asked: dict[str, Any] = dict(ASKED)
    if place != EQUIVALENTS:
        del asked["limit"]
        asked["elements"] = [{"number": "Dulse 24"}, {"number": "12-2"}]
    told = client.post(place, json=asked).json()
    shown = told["candidates"] if place == EQUIVALENTS else [told["original"], *told["elements"]]
    text = client.post(place, json=asked, params={"format": "csv"}).text
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    pairs = [(each, criterion) for each in shown for criterion in each["criteria"]]
    for row, (each, criterion) in zip(rows, pairs, strict=True):
        window = next((w for w in each["windows"] if w["requirement"] == criterion["requirement"]), None)
        found = edges(window) if window else {}
        columns = {"flow": "largest_flow_l_min", "viscosity": "highest_viscosity_mm2_s", "temperature": "coldest_degc"}
        values = {name: edge["value"] for name, edge in found.items()}
        assert {name: float(row[heading]) for name, heading in columns.items() if row[heading]} == values
        assert row["met_beyond"] == "; ".join(name for name, edge in found.items() if edge["beyond"])
    assert any(each["windows"] for each in shown)


def test_windows_end_with_the_fiftieth_candidate_and_that_is_said(ask: Ask) -> None:
    require = [{"characteristic": "filtration_ratio", "at_least": 2, "size": "10 um(c)"}]
    told = ask({"duty": {"flow": "20 L/min", "require": require}, "limit": 60, "include_windows": True})
    assert [each["windows"] is not None for each in told["candidates"]] == [True] * 50 + [False] * 10
    assert "Windows are told of the first 50 candidates." in told["notes"]
