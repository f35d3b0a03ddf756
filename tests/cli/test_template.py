"""``specdb template``: a workbook that asks a service."""

from __future__ import annotations

from pathlib import Path

import openpyxl

from specdb.cross_checks.template import INSTRUCTIONS, LOCAL_SERVICE
from tests.cli.conftest import Run


def test_a_template_is_written_for_a_service_and_nothing_over_it(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "template.xlsx"
    assert run("template", str(target)).out == f"A workbook that asks {LOCAL_SERVICE} is in {target}.\n"
    before = target.read_bytes()
    assert "TARGET: There is something here already" in run("template", str(target)).refused(2)
    assert target.read_bytes() == before
    assert ".xlsx" in run("template", str(tmp_path / "template.ods")).refused(2)
    assert "--service: This is no address" in run("template", str(tmp_path / "t.xlsx"), "--service", "x").refused(2)
    address, other = "http://specs.example:8000", tmp_path / "other.xlsx"
    told = run("template", str(other), "--service", address, "--json").answer()
    assert told == {"target": str(other), "service": address}
    assert openpyxl.load_workbook(other)[INSTRUCTIONS]["B3"].value == address
