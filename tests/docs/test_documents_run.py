"""The shell blocks of the documentation run, in order, on a fresh store, and print what stands below them."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BLOCK = re.compile(r"^```(sh|text)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
MARK = "-- end of block --"


def _lines(text: str) -> list[str]:
    """Lines that are not blank, each with its white space folded."""
    return [folded for line in text.splitlines() if (folded := " ".join(line.split()))]


def _in_order(wanted: list[str], printed: list[str]) -> str | None:
    """The first wanted line that does not stand in ``printed`` after those before it."""
    place = 0
    for line in wanted:
        while place < len(printed) and line not in printed[place]:
            place += 1
        if place == len(printed):
            return line
        place += 1
    return None


@pytest.mark.parametrize("page", ["tutorial.md", "commands.md"])
def test_every_block_prints_what_stands_below_it(page: str, tmp_path: Path) -> None:
    blocks = BLOCK.findall((ROOT / "docs" / page).read_text(encoding="utf-8"))
    script = "".join(f"{code}\necho '{MARK}'\n" for kind, code in blocks if kind == "sh")
    environment = os.environ | {
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        "XDG_DATA_HOME": str(tmp_path / "data"),
        "PYTHONWARNINGS": "error",
    }
    done = subprocess.run(
        ["bash", "-eu", "-c", f"exec 2>&1\n{script}"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    printed = done.stdout.split(MARK)
    runs = -1
    for kind, text in blocks:
        if kind == "sh":
            runs += 1
        else:
            lacking = _in_order(_lines(text), _lines(printed[runs]))
            assert lacking is None, f"{page}: block {runs + 1} does not print {lacking!r}, but:\n{printed[runs]}"
