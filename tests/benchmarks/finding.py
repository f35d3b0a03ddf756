"""How long the page that finds an element takes on the server over 100,000 elements of 6 attributes and 4 ratings each.

``python -m tests.benchmarks.finding [elements]`` makes a store, asks the page in this process, and prints for each
question the median and the slowest of some answers, once the catalogue is loaded, and the median of what they take of a
processor, which other work on the machine changes less. Nothing is asserted about time.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any
from urllib.parse import urlencode

import sqlalchemy as sa
from starlette.testclient import TestClient

from api import create_app
from specdb.catalog.identity import element_id, identity_key, search_key
from specdb.catalog.store import open_store, write_session
from specdb.catalog.tables import metadata
from tests.benchmarks.__main__ import timed

TIMES = 15
AT_ONCE = 20_000

ASKED: dict[str, dict[str, str]] = {
    "nothing yet": {},
    "an exact number": {"q": "KB-1234/4"},
    "the same with its maker": {"q": "Makewell 48 KB-1234/4"},
    "two characters of a number": {"q": "12"},
    "one character": {"q": "K"},
    "a slip": {"q": "KX-1234/4"},
    "a maker": {"q": "makewell 12"},
    "a maker with a slip": {"q": "maekwell 12 KB-12"},
    "nothing near": {"q": "QQQQ-ZZWWX-000000099"},
    "a maker, and nothing near": {"q": "Makewell 7 KB-1234/20"},
    "nothing near, 200 characters": {"q": "KB 12 " * 33},
    "measures in the box": {"q": "1-12 UNF 96 mm x 140 gasket 72"},
    "measures in fields": {"thread": "1-12 UNF", "outside_diameter": "96 mm"},
    "measures that none has": {"thread": "1-12 UNF", "outside_diameter": "96 mm", "length": "999 mm"},
}


def catalogue(elements: int) -> dict[str, list[dict[str, Any]]]:
    """Rows by table, all of them invented."""
    rng = random.Random(1)
    rows: dict[str, list[dict[str, Any]]] = {name: [] for name in ("element", "element_attribute", "test", "rating")}
    for n in range(elements):
        maker, number = f"Makewell {n % 50}", f"{'KLMN'[n % 4]}{'ABCD'[n // 4 % 4]}-{n // 16}/{n % 32}"
        keys = {"maker_key": identity_key(maker), "number_key": identity_key(number)}
        named = {"element_id": element_id(maker, number), "added_in": 1}
        rows["element"].append({**named, "maker": maker, "number": number, **keys, "search_key": search_key(number)})
        lengths = {
            "outside_diameter": rng.choice((76, 96, 128)),
            "length": rng.randint(90, 220),
            "gasket_outside_diameter": rng.choice((62, 72, 104)),
        }
        thread, bypass = rng.choice(("1-12 UNF", "M26x1.5")), rng.choice(("yes", "no"))
        words = {"kind": "spin-on", "thread": thread, "bypass_valve": bypass}
        for name, word in words.items():
            rows["element_attribute"].append({**named, "name": name, "text": word, "number": None, "code": word})
        for name, mm in lengths.items():
            rows["element_attribute"].append({**named, "name": name, "text": f"{mm} mm", "number": mm, "code": None})
        rows["test"].append({**named, "id": n + 1, "label": "T1"})
        for characteristic in ("collapse_pressure", "working_pressure", "burst_pressure", "temperature_high"):
            value = {"qualifier": "equal", "value": 1000.0, "text": "1000", "resolution": 1.0}
            of = {"characteristic": characteristic, "test_id": n + 1, "label": f"{n} {characteristic}", "added_in": 1}
            rows["rating"].append({**of, **value})
    return rows


def fill(url: str, elements: int) -> None:
    engine = open_store(url, create=True)
    rows = catalogue(elements)
    revision = {"id": 1, "at": "2024-01-02T03:04:05.000006Z", "actor": "benchmark", "reason": "invented"}
    with write_session(engine) as connection:
        connection.execute(metadata.tables["revision"].insert(), [revision])
        for name, table_rows in rows.items():
            for start in range(0, len(table_rows), AT_ONCE):
                connection.execute(sa.insert(metadata.tables[name]), table_rows[start : start + AT_ONCE])
    engine.dispose()


def asking(client: TestClient, address: str) -> str:
    """Status, weight and times of one question."""
    elapsed, worked = [], []
    for _ in range(TIMES):
        started = time.process_time()
        answer, seconds = timed(lambda: client.get(address))
        elapsed.append(seconds * 1000)
        worked.append((time.process_time() - started) * 1000)
    weight = len(answer.content) / 1000
    times = f"{median(elapsed):7.1f} ms, at most {max(elapsed):7.1f} ms; processor {median(worked):7.1f} ms"
    return f"{answer.status_code} {weight:6.1f} kB {times}"


def main(elements: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'store.sqlite'}"
        fill(url, elements)
        with TestClient(create_app(url), headers={"accept": "text/html"}) as client:
            _, first = timed(lambda: client.get("/", params={"q": "12"}))
            _, measured = timed(lambda: client.get("/", params={"thread": "M26x1.5"}))
            print(f"{elements:,} elements: the first search {first:.1f} s, the first list {measured:.1f} s")
            for title, asked in ASKED.items():
                address = f"/?{urlencode(asked)}"
                print(f"{title:<30} {asking(client, address)}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
