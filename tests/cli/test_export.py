"""``specdb export`` and back again, and imports of what people have."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Run

SHEETS = {
    "elements": "maker,number\nDemo Works,=7-K\nDemo Works,D 1\n",
    "ratings": "maker,number,characteristic,value\nDemo Works,D 1,collapse_pressure,10 bar\n",
}


@pytest.mark.parametrize("target", ["out", "out.zip", "out.xlsx"])
def test_what_is_exported_comes_back_the_same(
    run: Run, folder: Callable[..., Path], own_url: str, tmp_path: Path, target: str
) -> None:
    run("import", str(folder(**SHEETS)), url=own_url)
    made = tmp_path / target
    done = run("export", str(made), url=own_url)
    assert (done.status, done.err) == (0, "")
    assert "elements: 2 rows" in done.out
    assert f"Revision 1 of the catalogue is in {made}." in done.out
    assert "Nothing was new" in run("import", str(made), url=own_url).out
    other = f"sqlite:///{tmp_path / 'other.sqlite'}"
    assert run("import", str(made), url=other).status == 0
    for number in ("=7-K", "D 1"):
        assert run("show", number, "--json", url=other).answer() == run("show", number, "--json", url=own_url).answer()


def test_the_report_as_json(run: Run, folder: Callable[..., Path], own_url: str, tmp_path: Path) -> None:
    run("import", str(folder(**SHEETS)), url=own_url)
    told = run("export", str(tmp_path / "out.zip"), "--as-of", "1", "--json", url=own_url).answer()
    assert told["revision"] == 1
    assert told["rows"]["elements"] == 2
    assert Path(told["target"]) == tmp_path / "out.zip"
    assert zipfile.is_zipfile(told["target"])


def test_files_for_spreadsheet_programs_are_told_apart_from_those_for_machines(
    run: Run, folder: Callable[..., Path], own_url: str, tmp_path: Path
) -> None:
    run("import", str(folder(**SHEETS)), url=own_url)
    for name, options in (("raw", ()), ("safe", ("--formula-safe",))):
        assert run("export", str(tmp_path / name), *options, url=own_url).status == 0
    assert ",=7-K" in (tmp_path / "raw" / "elements.csv").read_text(encoding="utf-8")
    assert ",'=7-K" in (tmp_path / "safe" / "elements.csv").read_text(encoding="utf-8-sig")
    run("import", str(tmp_path / "safe"), url=own_url).refused(4)


def test_nothing_is_written_over(run: Run, folder: Callable[..., Path], own_url: str, tmp_path: Path) -> None:
    run("import", str(folder(**SHEETS)), url=own_url)
    there = tmp_path / "letter.zip"
    there.write_text("Dear sir or madam")
    assert "TARGET: " in run("export", str(there), url=own_url).refused(2)
    assert there.read_text() == "Dear sir or madam"
    run("export", str(tmp_path / "none" / "out"), url=own_url).refused(2)
    run("export", str(tmp_path / "out"), "--as-of", "9", url=own_url).refused(2)
    assert not (tmp_path / "out").exists()


def test_an_import_that_expects_another_state_is_refused(
    run: Run, folder: Callable[..., Path], own_url: str
) -> None:
    made = folder(**SHEETS)
    assert run("import", str(made), "--expected-revision", "0", url=own_url).status == 0
    said = run("import", str(made), "--expected-revision", "0", url=own_url).refused(5)
    assert "--expected-revision" in said
    done = run("import", str(made), "--expected-revision", "7", "--json", url=own_url)
    assert (done.status, done.out) == (5, "")
    assert json.loads(done.err)["code"] == "revision-moved"


def test_a_single_sheet_is_taken_in(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    made = folder(**SHEETS)
    assert "elements: 2 added" in run("import", str(made / "elements.csv"), url=own_url).out
