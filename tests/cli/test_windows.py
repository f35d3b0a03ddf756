"""``--windows``: how far each met criterion reaches, at a terminal."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Run

DUTY = (
    *("--flow", "75 L/min", "--grade", "ISO VG 46", "--viscosity-index", "100", "--operating-temperature", "50 degC"),
    *("--require", "clean_pressure_drop <= 40 kPa", "--require", "filtration_ratio >= 75; size 10 um(c)"),
)


@pytest.mark.parametrize(
    "command", [("rank", "--limit", "2"), ("compare", "Dulse 23", "12-2")], ids=["rank", "compare"]
)
def test_windows_are_printed_where_they_were_asked(run: Run, command: tuple[str, ...]) -> None:
    told, silent = run(*command, *DUTY, "--windows").out, run(*command, *DUTY).out
    assert told.count("Met together: up to ") == 2
    at = "at 75 L/min, 27.17 mm²/s to 32.67 mm²/s and 50 °C"
    assert f"Meets clean pressure drop (at most 40 kPa) {at}; up to " in told
    assert "Met together" not in silent
    assert "Meets clean" not in silent
    windows = run(*command, *DUTY, "--windows", "--json").answer()
    shown = windows.get("candidates") or windows["elements"]
    assert all(window["words"] in told for each in shown for window in each["windows"])
