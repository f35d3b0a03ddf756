"""Texts of a catalogue that would do something to a terminal: they are shown, and do nothing."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from pathlib import Path

import pytest

from specdb.printing.signs import printable
from tests.cli.conftest import Run

HOSTILE = "red\u202eder \u2066x\u200b\u00ad\u061cy"
NAMED = f"Demo{HOSTILE},N{HOSTILE}"
SHEETS = {
    "sources": f"source,title\nS{HOSTILE},T{HOSTILE}\n",
    "elements": f"maker,number,thread,series,source\n{NAMED},1-12 UNF,{HOSTILE},S{HOSTILE}\nOther,Z 9,1-12 UNF,,\n",
    "ratings": f"maker,number,characteristic,value,page,remark,source\n{NAMED},collapse_pressure,5 bar,{HOSTILE},"
    f"{HOSTILE},S{HOSTILE}\nOther,Z 9,collapse_pressure,4 bar,,,\n",
    "interchanges": f"maker,number,replaces_maker,replaces_number,remark\nOther,Z 9,{NAMED},{HOSTILE}\n",
}

COMMANDS = [
    ("search", "Demo"),
    ("search", "Z9"),
    ("show", "Z 9"),
    ("rank", "Z 9", "--explain"),
    ("compare", "Z 9", "--require", "collapse_pressure >= 1 bar"),
    ("list",),
    ("history",),
    ("history", "Z 9"),
    ("show", "Z 8"),
    ("show", "N"),
]


@pytest.fixture
def hostile_url(run: Run, folder: Callable[..., Path], own_url: str) -> str:
    done = run("import", str(folder(**SHEETS)), "--reason", HOSTILE, "--actor", HOSTILE, url=own_url)
    assert done.status == 0, done.err
    assert _harmless(done.out)
    return own_url


def _harmless(text: str) -> bool:
    return all(line.isprintable() for line in text.split("\n"))


@pytest.mark.parametrize("columns", ["", "80"])
def test_whatever_is_printed_is_printable(
    run: Run, hostile_url: str, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    for command in COMMANDS:
        done = run(*command, url=hostile_url)
        assert done.status in (0, 3)
        assert _harmless(done.out + done.err), command
        assert done.out or done.err
    assert "red\N{REPLACEMENT CHARACTER}der" in run("list", url=hostile_url).out


def test_data_keep_every_sign(run: Run, hostile_url: str) -> None:
    numbers = [e["number"] for e in run("list", "--json", url=hostile_url).answer()["elements"]]
    assert f"N{HOSTILE}" in numbers
    assert f"N{HOSTILE}" in run("list", "--csv", url=hostile_url).out


@pytest.mark.parametrize("sign", ["\x00", "\x07", "\x1b", "\x7f", "\x9b", "\u202e", "\u2066", "\u200b", "\ud800", "\n"])
def test_signs_that_do_something_are_replaced(sign: str) -> None:
    assert printable(f"a{sign}b") == "a\N{REPLACEMENT CHARACTER}b"


@pytest.mark.parametrize("space", ["\u00a0", "\u2009", "\u202f"])
def test_any_space_is_a_space(space: str) -> None:
    assert unicodedata.category(space) == "Zs"
    assert printable(f"96{space}mm") == "96 mm"


def test_ordinary_texts_are_left_alone() -> None:
    assert printable("Ø 30/µ – 10 µm(c) ≥ 200 [bold]x[/bold] 中") == "Ø 30/µ – 10 µm(c) ≥ 200 [bold]x[/bold] 中"
