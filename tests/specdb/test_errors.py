"""Every error has a code, an exit status, an HTTP status and its place in the documentation."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from api.problems import HTTP_PROBLEMS, of_error, status_of
from specdb.errors import ImportRefusedError, InputError, QuantityError, RowFault, SpecdbError, family, shown

DOCUMENTATION = Path(__file__).parents[2] / "docs" / "errors.md"
DOCUMENTED = set(re.findall(r"^## (\S+)$", DOCUMENTATION.read_text(encoding="utf-8"), re.MULTILINE))


def test_codes_are_unique() -> None:
    codes = [error.code for error in family()] + [code for code, _ in HTTP_PROBLEMS.values()]
    assert len(codes) == len(set(codes))


def test_every_problem_is_documented_and_nothing_else() -> None:
    beside = {"usage"}  # of the command line alone, whose parser has errors of its own
    assert {error.code for error in family()} | {code for code, _ in HTTP_PROBLEMS.values()} | beside == DOCUMENTED


def test_every_status_of_a_problem_is_in_the_documentation() -> None:
    text = DOCUMENTATION.read_text(encoding="utf-8")
    for status, (code, _) in HTTP_PROBLEMS.items():
        assert f"\n## {code}\n\nStatus {status}." in text


@pytest.mark.parametrize("error", list(family()), ids=lambda e: e.code)
def test_every_error_has_its_statuses_in_the_documentation(error: type[SpecdbError]) -> None:
    text = DOCUMENTATION.read_text(encoding="utf-8")
    section = text.split(f"\n## {error.code}\n")[1].split("\n## ")[0]
    assert f"Status {status_of(error)}" in section
    if error.exit_status != 1:
        assert f"exit {error.exit_status}" in section
    assert f"| {error.exit_status} |" in text


def test_a_problem_points_at_every_fault() -> None:
    faults = [QuantityError("No.", field="duty.flow", value="x"), QuantityError("No.", field="duty.require.0.size")]
    problem = of_error(InputError.of(faults))
    assert [fault.pointer for fault in problem.errors] == ["/duty/flow", "/duty/require/0/size"]
    assert problem.status == 422


def test_a_refused_import_names_rows() -> None:
    problem = of_error(ImportRefusedError([RowFault("ratings.csv", 7, "flow", "75", "No unit.", "Write 75 L/min.")]))
    assert [fault.pointer for fault in problem.errors] == ["/ratings.csv/7/flow"]


def test_offending_text_is_shown_short_and_printable() -> None:
    assert shown("a\x00\u202e\ud800b") == "a\ufffd\ufffd\ufffdb"
    assert len(shown("x" * 10**6)) == 81
