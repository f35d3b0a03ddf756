"""Imports made up at random, of awkward texts, corrections and withdrawals; many of them are refused, as they must."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from random import Random

import sqlalchemy as sa

from specdb.catalog import tables
from specdb.catalog.store import read_session
from specdb.errors import ImportRefusedError
from specdb.exchange import import_folder

MAKERS = ["Demo Works", "Ärger & Söhne", "=cmd", "Works, Inc."]
NUMBERS = [
    "00417",
    "12E4",
    "2024-05",
    "=7-K",
    "-5",
    "+4",
    "@X1",
    'He "said"',
    "TRUE",
    "A_x0041_B",
    "Ø 7\u202eab",
    "12-1",
]
TEXTS = [
    "misread",
    "two  spaces",
    'a "quote", and comma',
    "=SUM(A1)",
    "-1",
    "'quoted",
    "\u202ebidi\u202c",
    "1,5",
    "x;y\u00a0z",
]
PRESSURES = [
    "1.7 bar",
    "170 kPa",
    "1,5 bar",
    "1,234 bar",
    "1.234 kPa",
    "1 234,5 kPa",
    "1.000 kPa",
    "25 psi",
    "0.2 MPa",
    "24.66 psi(d)",
    "1,000.5 kPa",
    "2e2 kPa",
]
FLOWS = ["75 L/min", "20 gpm", "4,5 m3/h", "1.250 L/h", "1,250 L/h", "20"]
VISCOSITIES = ["32 cSt", "27.84 cP", "150 SUS at 100 degF", "150 SUS @ 37,8 °C", "27,84 cP", "32 mm²/s", "32"]
DENSITIES = ["0.87 g/mL", "870 kg/m3", "0,871 kg/L"]
SIZES = [
    "10 um(c)",
    "<4 um(c)",
    ">30 µm(c)",
    "10 um",
    "10 um(acftd)",
    "7,5 um(c)",
    "10",
    "10 (c)",
    "0.01 mm",
    "1,005 um(c)",
]
RATIOS = ["200", "≥ 200", "99.5 %", "99,5 %", "= 75", "100 %", "1,234", "1.234", "~75", "98", "1e3"]
CYCLES = ["100000 cycles", "1e6", "100 000", "100,000"]
TEMPERATURES = ["-30 degC", "-22 °F", "250 K", "-30,5 degC"]
VALUES = {
    "filtration_ratio": RATIOS,
    "collapse_pressure": PRESSURES,
    "clean_pressure_drop": PRESSURES,
    "rated_flow": FLOWS,
    "flow_fatigue_cycles": CYCLES,
    "temperature_low": TEMPERATURES,
    "mesh_opening": ["125 um", "125", "0,125 mm", "1/8 in", "5 mil"],
    "water_capacity": ["0,4 kg", "14 oz"],
    "air_pressure_drop": PRESSURES,
}
STANDARDS = ["ISO 16889", "iso16889:2008", "House 7-2008-2009", "House 8-2010", "House, 9"]
WORDS = {
    "kind": ["spin-on", "Spin on", "cartridge"],
    "media": ["glass fibre", "cellulose"],
    "status": ["current", "obsolete"],
    "successor": ["00418", "=8-K", "12E5", " "],
    "series": ["3/4", "-7", "A  B", "=1+1"],
    "thread": ['1"-12UNF-2B', "M20x1,5", "G3/4", "1-12\nUNF"],
    "fluids_compatible": ["HM HV", "hm, hl", "HFC"],
    "fluids_excluded": ["HFC", "HETG; HM"],
    "fluids_tested": ["HETG", "hees, HETG"],
    "fluids_failed": ["HETG", "HFDR"],
    "zinc_parts": ["yes", "No"],
    "length": ["140 mm", "14 cm", "5 1/2 in", "1.234 mm", "1,234 mm", '3-1/2"', "12"],
    "outside_diameter": ["96 mm", "95,6 mm", "3.75 in", "96"],
}


def _maybe(random: Random, choices: list[str], share: float = 0.5) -> str:
    return random.choice(choices) if random.random() < share else ""


def _rating(random: Random, labels: list[str]) -> dict[str, str]:
    characteristic = random.choice(list(VALUES))
    row = {
        "maker": MAKERS[0],
        "number": random.choice(NUMBERS[:3]),
        "characteristic": characteristic,
        "rating": _maybe(random, ["a", "b", "c", "=d", "e 1"], 0.4),
        "value": random.choice(VALUES[characteristic]),
        "qualifier": _maybe(random, ["equal", "at_least", "at most", "typ"], 0.2),
        "test": _maybe(random, ["mp", "=T", "t3"], 0.6),
        "source": _maybe(random, ["S1", "S-2"], 0.7),
        "flow": _maybe(random, FLOWS, 0.2),
        "viscosity": _maybe(random, VISCOSITIES, 0.15),
        "density": _maybe(random, DENSITIES, 0.2),
        "standard": _maybe(random, STANDARDS, 0.2),
        "dust": _maybe(random, ["A3", "ACFTD", "Quarry, fine"], 0.15),
        "test_liquid": _maybe(random, ["IPA", "Öl"], 0.1),
        "terminal_pressure_drop": _maybe(random, PRESSURES, 0.15),
        "laboratory": _maybe(random, ["maker"], 0.2),
        "cycle_pressure": _maybe(random, PRESSURES, 0.1),
        "date": _maybe(random, ["2024-05", "2024"], 0.2),
        "page": _maybe(random, ["3", "12-1", "=3"], 0.3),
        "remark": _maybe(random, TEXTS, 0.3),
        "decimal": _maybe(random, [",", ".", ", flow:.", "value:,"], 0.15),
    }
    if characteristic == "filtration_ratio":
        row["size"] = random.choice(SIZES)
    if labels and random.random() < 0.25:
        row["supersedes"] = random.choice(labels)
        row["correction"] = _maybe(random, TEXTS, 0.5)
    return row


def _corrected(random: Random, on_file: dict[str, str]) -> dict[str, str]:
    """A rating on file with another value or other conditions of its test, or withdrawn."""
    same = {**on_file, "supersedes": on_file["rating"], "correction": _maybe(random, TEXTS, 0.6)}
    changed = random.random()
    if changed < 0.25:
        named = ("maker", "number", "characteristic", "supersedes")
        return {**{column: same[column] for column in named}, "correction": random.choice(TEXTS)}
    same["rating"] = _maybe(random, ["a", "b", "c", "f", "g"], 0.3)
    if changed < 0.6:
        same["value"] = random.choice(VALUES[same["characteristic"]])
    elif changed < 0.8:
        same["dust"] = _maybe(random, ["A2", "ACFTD", "Quarry"], 0.7)
    else:
        same["terminal_pressure_drop"] = _maybe(random, PRESSURES, 0.8)
    return same


def _element(random: Random) -> dict[str, str]:
    row = {"maker": random.choice(MAKERS), "number": random.choice(NUMBERS)}
    if random.random() < 0.7:
        row = {"maker": MAKERS[0], "number": random.choice(NUMBERS[:2])}
    for name, texts in WORDS.items():
        row[name] = _maybe(random, texts, 0.2)
    row["source"] = _maybe(random, ["S1", "S-2"])
    row["correction"] = _maybe(random, TEXTS, 0.5)
    row["decimal"] = _maybe(random, [",", ".", "length:."], 0.2)
    return row


def _claim(random: Random) -> dict[str, str]:
    return {
        "maker": random.choice(MAKERS),
        "number": random.choice(NUMBERS),
        "replaces_maker": random.choice(MAKERS),
        "replaces_number": random.choice(NUMBERS),
        "source": _maybe(random, ["S1"]),
        "date": _maybe(random, ["2024-05"]),
        "remark": _maybe(random, TEXTS),
    }


def _table(random: Random, rows: list[dict[str, str]], units: dict[str, list[str]]) -> str:
    """CSV of ``rows``; the headings of some columns state a unit."""
    columns = list(dict.fromkeys(column for row in rows for column in row))
    headings = [f"{c} [{random.choice(units[c])}]" if c in units and random.random() < 0.3 else c for c in columns]
    table = io.StringIO()
    writer = csv.writer(table)
    writer.writerow(headings)
    writer.writerows([row.get(column, "") for column in columns] for row in rows)
    return table.getvalue()


UNITS = {
    "flow": ["L/min", "gpm"],
    "viscosity": ["SUS at 100 degF", "cSt", "cP"],
    "size": ["um", "um(c)"],
    "length": ["mm", "in"],
    "outside_diameter": ["mm"],
    "terminal_pressure_drop": ["bar", "psi(d)"],
}


def _on_file(engine: sa.Engine) -> list[dict[str, str]]:
    """Ratings that hold, as rows."""
    r, t, e, s, end = (tables.rating, tables.test, tables.element, tables.source, tables.supersession)
    ended = sa.select(end.c.old_rating_id).where(end.c.old_rating_id.is_not(None))
    query = (
        sa.select(
            r.c.label.label("rating"),
            e.c.maker,
            e.c.number,
            r.c.characteristic,
            r.c.text.label("value"),
            r.c.size_text.label("size"),
            r.c.flow_text.label("flow"),
            t.c.label.label("test"),
            s.c.key.label("source"),
            t.c.dust,
            t.c.terminal_pressure_drop_text.label("terminal_pressure_drop"),
            t.c.test_liquid,
        )
        .select_from(r.join(t).join(e).join(s, s.c.id == t.c.source_id, isouter=True))
        .where(r.c.id.not_in(ended))
    )
    with read_session(engine) as connection:
        return [
            {column: text for column, text in row.items() if text is not None}
            for row in connection.execute(query.order_by(r.c.label)).mappings()
        ]


def import_at_random(engine: sa.Engine, folder: Path, random: Random) -> bool:
    """One import of a few rows; whether it was taken in."""
    on_file = _on_file(engine)
    labels = [row["rating"] for row in on_file]
    corrected = [_corrected(random, row) for row in random.sample(on_file, min(len(on_file), random.randint(0, 2)))]
    ratings = [_rating(random, labels) for _ in range(random.randint(0, 2))] + corrected
    files = {
        "sources.csv": _table(
            random, [{"source": "S1", "title": "A  title, =1"}, {"source": "S-2", "date": "2024-05"}], {}
        ),
        "elements.csv": _table(
            random,
            [{"maker": MAKERS[0], "number": n} for n in NUMBERS[:3]]
            + [_element(random) for _ in range(random.randint(0, 2))],
            UNITS,
        ),
        "interchanges.csv": _table(
            random,
            [_claim(random) for _ in range(random.randint(0, 1))]
            or [{"maker": "", "number": "", "replaces_maker": "", "replaces_number": ""}],
            {},
        ),
    }
    if ratings:
        files["ratings.csv"] = _table(random, ratings, UNITS)
    mark = _maybe(random, [",", "."], 0.4)
    if mark:
        resources = [{"name": name.removesuffix(".csv"), "path": name} for name in files]
        files["datapackage.json"] = json.dumps({"decimalChar": mark, "resources": resources})
    folder.mkdir(exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    try:
        report = import_folder(engine, folder, actor="test", reason=random.choice(["an import", "reason  of  it"]))
    except ImportRefusedError:
        return False
    return report.revision is not None
