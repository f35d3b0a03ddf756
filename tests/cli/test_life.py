"""Life and cost as a purchaser reads them at a terminal: the sentences of the API, of the original and the others."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

from specdb.trade.service_life import LABORATORY_CAPACITY
from tests.cli.conftest import Run

DUTY = {
    "flow": "75 L/min",
    "bypass_cracking_pressure": "170 kPa",
    "ingression": {"mass": "0.05 g/h"},
    "service_interval": "1250 h",
    "costs": {
        "currency": "EUR",
        "change_cost": 60,
        "prices": [{"maker": "Quollbeck", "number": "Dulse 23", "price": 48.5}, {"number": "12-3", "price": 39}],
    },
}
ORIGINAL = {"number": "Dulse 23"}


def unwrapped(text: str) -> str:
    return " ".join(text.split())


def test_a_ranking_tells_lives_and_costs(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "question.json"
    file.write_text(json.dumps({"original": ORIGINAL, "duty": DUTY, "limit": 10}), encoding="utf-8")
    answer = run("rank", "--duty", str(file), "--json").answer()
    said = unwrapped(run("rank", "--duty", str(file)).out)
    for shown in (answer["original"], *answer["candidates"]):
        assert shown["service_life"]["words"] in said
    assert said.count(LABORATORY_CAPACITY) == 1
    life = next(c for c in answer["candidates"] if c["element"]["number"] == "12-3")["service_life"]
    assert life["interval"] == {"low": 1320, "high": 1320, "unit": "h", "estimate": 1320}
    assert life["cost_per_1000_h"]["low"] == 75  # (39 + 60) * 1000 / 1320
    assert life["cost_per_1000_h"]["unit"] == "EUR"
    # One of its two tests shows what the interval needs, 62.5 g, and the other, at least 60 g, does not deny it.
    assert answer["original"]["service_life"]["interval"]["low"] == 1320
    assert answer["unused"] == []
    sheet = list(csv.DictReader(io.StringIO(run("rank", "--duty", str(file), "--csv").out)))
    told = [row["service_life"] for row in sheet if row["service_life"]]
    assert told == [shown["service_life"]["words"] for shown in answer["candidates"]]


def test_a_comparison_tells_them_of_each_element(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "question.json"
    file.write_text(json.dumps({"original": ORIGINAL, "duty": DUTY}), encoding="utf-8")
    asked = ("compare", "12-3", "Dulse 24", "--duty", str(file))
    answer = run(*asked, "--json").answer()
    said = unwrapped(run(*asked).out)
    for shown in (answer["original"], *answer["elements"]):
        assert shown["service_life"]["words"] in said
