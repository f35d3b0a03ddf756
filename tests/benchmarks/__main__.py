"""How long a question takes over 100,000 elements of 12 ratings each, beside a plain loop over the same.

``python -m tests.benchmarks [elements]`` prints times and the ratio of both, measured in one run on
one machine; the loop runs over a part of the elements, its verdicts are compared with the arrays',
and its time is stated for each element. Nothing is asserted about time.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from itertools import combinations, pairwise
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from specdb.bounds import MEETS, MISSES, NOT_SHOWN, FloatArray
from specdb.catalog.snapshot import Snapshot, build_snapshot
from specdb.duty.question import read_question
from specdb.ranking import Ranking, rank

LOOPED = 3000
T = TypeVar("T")

QUESTION = {
    "duty": {
        "flow": "75 L/min",
        "bypass_cracking_pressure": "170 kPa",
        "require": [
            {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"},
            {"characteristic": "retained_capacity", "at_least": "60 g"},
            {
                "characteristic": "clean_pressure_drop",
                "at_most": "25 kPa",
                "viscosity": "32 mm2/s",
                "drop_of": "element",
            },
            {"characteristic": "collapse_pressure", "at_least": "1 MPa"},
            {"characteristic": "working_pressure", "at_least": "1 MPa"},
            {"characteristic": "burst_pressure", "at_least": "3 MPa"},
            {"characteristic": "temperature_high", "at_least": "90 degC"},
        ],
        "fit": {"thread": "1-12 UNF"},
    }
}


def catalogue(elements: int) -> dict[str, pd.DataFrame]:
    """Frames of ``elements`` elements with 12 ratings each: a ratio at 4 sizes, a drop at 3 flows, 5 others."""
    rng = np.random.default_rng(1)
    ids = np.array([f"{n:016x}" for n in range(elements)], dtype=object)
    numbers = np.array([f"N{n:07d}" for n in range(elements)], dtype=object)
    made_by = np.array([f"M{n % 50:02d}" for n in range(elements)], dtype=object)
    frames = {
        "elements": pd.DataFrame(
            {"element_id": ids, "maker": made_by, "number": numbers, "maker_key": made_by, "number_key": numbers}
        ),
        "attributes": pd.DataFrame(
            {
                "element_id": ids,
                "name": "thread",
                "number": None,
                "code": rng.choice(np.array(["1-12 UNF", "M26x1.5"], dtype=object), elements),
            }
        ),
    }
    standards = ("ISO 16889", "ISO 3968", "ISO 2941", None)
    frames["tests"] = pd.concat(
        pd.DataFrame(
            {
                "id": np.arange(elements) * 4 + place,
                "element_id": ids,
                "source_id": None,
                "standard": standard,
                "dust": None,
                "test_liquid": None,
                "drop_of": "element" if place == 1 else None,
                "capacity_basis": None,
                "laboratory": None,
                "terminal_pressure_drop_kpa": 170.0 if place == 0 else None,
                "cycle_pressure_kpa": None,
            }
        )
        for place, standard in enumerate(standards)
    )
    fineness = rng.uniform(0.4, 1.6, elements)
    columns: list[tuple[int, str, Any, dict[str, Any]]] = [
        *((0, "filtration_ratio", np.exp(size * fineness * 0.5), _at(size_um=size)) for size in (5.0, 7.0, 12.0, 15.0)),
        (0, "retained_capacity", rng.uniform(40, 90, elements).round(), _at()),
        *((1, "clean_pressure_drop", _drops(fineness, q), _at(q, viscosity_mm2_s=30.0)) for q in (30.0, 60.0, 100.0)),
        (2, "collapse_pressure", rng.choice([900.0, 1000.0, 2000.0], elements), {}),
        (3, "working_pressure", rng.choice([900.0, 1000.0, 2000.0], elements), {}),
        (3, "burst_pressure", rng.choice([2500.0, 3000.0, 4000.0], elements), {}),
        (3, "temperature_high", rng.choice([80.0, 100.0], elements), {}),
    ]  # fmt: skip
    blank = {
        "size_um": np.nan,
        "size_scale": None,
        "flow_l_min": np.nan,
        "viscosity_mm2_s": np.nan,
        "density_kg_m3": np.nan,
    }
    frames["ratings"] = pd.concat(
        pd.DataFrame(
            {
                "id": np.arange(elements) * 12 + place,
                "test_id": np.arange(elements) * 4 + test,
                "characteristic": characteristic,
                "qualifier": "equal",
                "value": value,
                "resolution": 0.1 if characteristic == "clean_pressure_drop" else 1.0,
                "efficiency_percent": np.nan,
                "efficiency_resolution": np.nan,
                **(blank | conditions),
            }
        )
        for place, (test, characteristic, value, conditions) in enumerate(columns)
    )
    return frames


def _at(flow_l_min: float = 75.0, **conditions: float) -> dict[str, Any]:
    return {"flow_l_min": flow_l_min, "size_scale": "c" if "size_um" in conditions else None, **conditions}


def _drops(fineness: FloatArray, flow_l_min: float) -> FloatArray:
    return np.asarray((fineness * (0.25 * flow_l_min + 0.0006 * flow_l_min**2)).round(1))


def plain_records(frames: dict[str, pd.DataFrame], count: int) -> list[dict[str, Any]]:
    """The first elements as plain dictionaries, as a program without arrays would hold them."""
    ratings = frames["ratings"][frames["ratings"]["test_id"] < 4 * count]
    records: list[dict[str, Any]] = [{"thread": t, "points": {}} for t in frames["attributes"]["code"].iloc[:count]]
    for row in ratings.to_dict("records"):
        records[row["test_id"] // 4]["points"].setdefault(row["characteristic"], []).append(row)
    return records


def looped(records: list[dict[str, Any]]) -> list[list[int]]:
    """The same seven requirements and the thread, one element after another."""
    found = []
    for record in records:
        points = record["points"]
        ratio = _ratio(sorted(points["filtration_ratio"], key=lambda p: p["size_um"]), 10.0)
        drop = _drop(points["clean_pressure_drop"], 30.0 * 32 / 30 * 75, 75.0**2)
        verdicts = [
            _verdict(*ratio, 200.0, math.inf, 0.0),
            _stated(points["retained_capacity"][0], 60.0),
            _verdict(*drop, -math.inf, 25.0, 0.0),
            _stated(points["collapse_pressure"][0], 1000.0),
            _stated(points["working_pressure"][0], 1000.0),
            _stated(points["burst_pressure"][0], 3000.0),
            _stated(points["temperature_high"][0], 90.0),
            MEETS if record["thread"] == "1-12 UNF" else MISSES,
        ]
        found.append(verdicts)
    return found


def _stated(point: dict[str, Any], least: float) -> int:
    slack = min(point["resolution"] / 2, 0.005 * point["value"])
    return _verdict(point["value"], point["value"], least, math.inf, slack)


def _verdict(low: float, high: float, least: float, most: float, slack: float) -> int:
    room_below = max(slack, 1e-9 * abs(least)) if math.isfinite(least) else 0.0
    room_above = max(slack, 1e-9 * abs(most)) if math.isfinite(most) else 0.0
    if low >= least - room_below and high <= most + room_above:
        return MEETS
    return MISSES if high < least - room_below or low > most + room_above else NOT_SHOWN


def _ratio(points: list[dict[str, Any]], size: float) -> tuple[float, float]:
    for lower, upper in pairwise(points):
        if lower["size_um"] < size < upper["size_um"]:
            share = (size - lower["size_um"]) / (upper["size_um"] - lower["size_um"])
            read = math.exp(math.log(lower["value"]) * (1 - share) + math.log(upper["value"]) * share)
            return read, read
    raise AssertionError("the benchmark's catalogue has points on both sides")


def _drop(points: list[dict[str, Any]], target_x: float, target_y: float) -> tuple[float, float]:
    sides = [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0)]
    for p in points:
        x, y = p["viscosity_mm2_s"] * p["flow_l_min"], p["flow_l_min"] ** 2
        band = max(p["resolution"] / 2, 0.02 * p["value"])
        sides += [(x, y, p["value"] - band), (-x, -y, -p["value"] - band)]
    drops = []
    for (a1, b1, c1), (a2, b2, c2) in combinations(sides, 2):
        determinant = a1 * b2 - a2 * b1
        if abs(determinant) < 1e-9:
            continue
        a, b = (c1 * b2 - c2 * b1) / determinant, (a1 * c2 - a2 * c1) / determinant
        if all(x * a + y * b >= c - 1e-9 * max(1.0, abs(c)) for x, y, c in sides):
            drops.append(a * target_x + b * target_y)
    return (min(drops), max(drops)) if drops else (-math.inf, math.inf)


def timed(call: Callable[[], T]) -> tuple[T, float]:
    started = time.perf_counter()
    result = call()
    return result, time.perf_counter() - started


def agreement(ranking: Ranking, snapshot: Snapshot, verdicts: list[list[int]]) -> float:
    """Share of the looped verdicts that the arrays give too."""
    row_of = {element: row for row, element in enumerate(snapshot.elements.element_id)}
    rows = [row_of[f"{n:016x}"] for n in range(len(verdicts))]
    judged = np.array([[int(j.verdict[row]) for j in ranking.judged] for row in rows])
    return float((judged == np.array(verdicts)).mean())


def main(elements: int) -> None:
    frames = catalogue(elements)
    snapshot, building = timed(lambda: build_snapshot(1, **frames))
    print(f"{elements:,} elements, {len(snapshot.points):,} ratings")
    print(f"columnar view built from rows        {building:8.2f} s")
    question = read_question(QUESTION)
    first, asking = timed(lambda: rank(question, snapshot))
    again, asking_again = timed(lambda: rank(question, snapshot))
    print(f"one question of 8 criteria, arrays   {asking:8.2f} s, again {asking_again:.2f} s")
    assumed = read_question({"duty": QUESTION["duty"] | {"assumptions": "customary"}})
    _, customary = timed(lambda: rank(assumed, snapshot))
    print(f"the same with customary assumptions  {customary:8.2f} s")
    records = plain_records(frames, min(LOOPED, elements))
    verdicts, looping = timed(lambda: looped(records))
    share = agreement(first, snapshot, verdicts)
    each_looped, each_array = looping / len(records), min(asking, asking_again) / elements
    print(f"plain loop over {len(records):,} of them           {looping:8.2f} s, {share:.2%} of its verdicts agree")
    print(f"for each element: loop {each_looped * 1e6:.1f} µs, arrays {each_array * 1e6:.1f} µs, "
          f"ratio {each_looped / each_array:.1f}")  # fmt: skip
    assert len(again.candidates) == len(first.candidates)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
