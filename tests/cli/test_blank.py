"""``specdb blank``: a workbook to fill in, taken in by ``specdb import``."""

from __future__ import annotations

from pathlib import Path

import openpyxl

from tests.cli.conftest import Run


def test_a_blank_workbook_is_written_filled_in_and_imported(run: Run, own_url: str, tmp_path: Path) -> None:
    target = tmp_path / "blank.xlsx"
    assert run("blank", str(target)).out == f"A blank workbook is in {target}.\n"
    book = openpyxl.load_workbook(target)
    book["elements"].append(["Demo Works", "00417", "spin-on"])
    book["ratings"]["C2"], book["ratings"]["D2"] = "Demo Works", "00417"
    book["ratings"]["E2"], book["ratings"]["G2"] = "collapse_pressure", "10 bar"
    book.save(target)
    done = run("import", str(target), url=own_url)
    assert done.status == 0, done.err
    assert "elements: 1 added" in done.out
    assert "ratings: 1 added" in done.out
    assert "Note" not in done.out.replace("Note: ratings without a source", "")


def test_nothing_is_written_over_or_under_another_name(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "blank.xlsx"
    assert run("blank", str(target), "--json").answer() == {"target": str(target)}
    before = target.read_bytes()
    assert "TARGET: There is something here already" in run("blank", str(target)).refused(2)
    assert target.read_bytes() == before
    assert ".xlsx" in run("blank", str(tmp_path / "blank.ods")).refused(2)
