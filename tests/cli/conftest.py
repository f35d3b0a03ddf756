"""The command line in this process, on the demo catalogue or on a store of the test's own."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from specdb import cli
from specdb.catalog.store import ENVIRONMENT_VARIABLE


@dataclass(frozen=True)
class Done:
    status: int
    out: str
    err: str

    def answer(self) -> dict[str, Any]:
        """What ``--json`` printed, all of it; nothing else may stand on either stream."""
        assert self.status == 0, self.err
        assert self.err == ""
        told: dict[str, Any] = json.loads(self.out)
        return told

    def refused(self, status: int) -> str:
        """What was said on standard error, on one line for each fault, and nothing on standard output."""
        assert self.status == status, (self.out, self.err)
        assert self.out == ""
        assert self.err.startswith("specdb: ")
        assert "Traceback" not in self.err
        return self.err


Run = Callable[..., Done]


@pytest.fixture(autouse=True)
def _no_width_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever runs the tests may have set the width of the lines."""
    monkeypatch.delenv("COLUMNS", raising=False)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], demo_store_url: str) -> Run:
    """Runs ``specdb`` with these arguments; on the demo catalogue unless ``url`` names another store."""

    def command(*arguments: str, url: str = demo_store_url, stdin: str = "") -> Done:
        monkeypatch.setattr(sys, "argv", ["specdb", *arguments])
        monkeypatch.setattr(sys, "stdin", io.StringIO(stdin))
        monkeypatch.setenv(ENVIRONMENT_VARIABLE, url)
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            cli.main()
        printed = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        return Done(ended.value.code, printed.out, printed.err)

    return command


@pytest.fixture
def folder(tmp_path: Path) -> Callable[..., Path]:
    """Writes a catalogue folder of the sheets given, as text."""

    def write(**sheets: str) -> Path:
        made = tmp_path / "catalogue"
        made.mkdir(exist_ok=True)
        for name, text in sheets.items():
            (made / f"{name}.csv").write_text(text, encoding="utf-8")
        return made

    return write


@pytest.fixture
def own_url(tmp_path: Path) -> str:
    """URL of a store that is not there yet."""
    return f"sqlite:///{tmp_path / 'own.sqlite'}"
