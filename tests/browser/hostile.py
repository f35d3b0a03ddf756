"""A catalogue whose texts would do something to a page: elements that stand up to a demo element in every rating, so
that they come up wherever candidates do."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from pathlib import Path

from specdb.catalog.identity import LONGEST_NAME_CHARACTERS, element_id

LIKE = ("Quollbeck", "Dulse 11")
"""The demo element that all of them equal."""

TEXTS = {
    "script": "<script>alert('bold')</script>",
    "picture": '"><img src=x onerror=alert(1)>',
    "attribute": "' autofocus onfocus=alert(1) x='",
    "template": "{{7*7}} ${7*7} {% raw %}",
    "entity": "&lt;b&gt; &amp;c=1&q=2#top?%3Cu%3E",
    "right-to-left": "מסנן 12-3 مرشح ٤٥",
    "turned": "12\u202e3-21 \u2066x\u200b9",
    "long": "W" * LONGEST_NAME_CHARACTERS,
}
IDS = {key: element_id(text, text) for key, text in TEXTS.items()}
"""Each element has one of the texts for maker and number alike."""


def write(demo: Path, folder: Path) -> Path:
    """The catalogue as a folder, made from the demo catalogue in ``demo``."""
    folder.mkdir()
    own = dict(zip(("maker", "number"), LIKE, strict=True))
    (element,) = (row for row in _rows(demo / "elements.csv") if own.items() <= row.items())
    ratings = [row for row in _rows(demo / "ratings.csv") if own.items() <= row.items()]
    each = TEXTS.values()
    _write(folder / "sources.csv", ({"source": t, "title": t, "kind": t, "issuer": t, "revision": t} for t in each))
    _write(folder / "elements.csv", (element | _named(t) | {"series": t, "successor": t} for t in each))
    _write(
        folder / "ratings.csv",
        (
            row | _named(t) | {"test": row["test"] and row["test"] + t[:99], "page": t, "remark": t}
            for t in each
            for row in ratings
        ),
    )
    replaced = {f"replaces_{name}": text for name, text in own.items()}
    _write(folder / "interchanges.csv", (_named(t) | replaced | {"remark": t} for t in each))
    return folder


def _named(text: str) -> dict[str, str]:
    return {"maker": text, "number": text, "source": text}


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _write(path: Path, rows: Iterable[Mapping[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        first, *rest = rows
        writer = csv.DictWriter(file, first)
        writer.writeheader()
        writer.writerows([first, *rest])
