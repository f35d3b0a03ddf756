"""Imports run one way; the core knows nothing of HTTP."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

_FLOOR = {"specdb.errors", "specdb.characteristics", "specdb.bounds", "specdb.units"}
_JUDGING = {*_FLOOR, "specdb.trade", "specdb.catalog", "specdb.vocabulary", "specdb.duty", "specdb.criteria"}
_ANSWERING = {*_JUDGING, "specdb.amounts", "specdb.ranking", "specdb.wording", "specdb.exchange"}
_OVER_ANSWERS = {"specdb.cross_checks", "specdb.calculations", "specdb.problems", "specdb.held"}

ALLOWED = {
    # part: the parts of ours that it may import
    "specdb.errors": set(),
    "specdb.problems": {"specdb.errors"},
    "specdb.characteristics": set(),
    "specdb.formula_guard": set(),
    "specdb.bounds": set(),
    "specdb.vocabulary": {"specdb.characteristics"},
    "specdb.units": {"specdb.errors"},
    "specdb.amounts": {"specdb.units"},
    "specdb.trade": {"specdb.errors", "specdb.bounds", "specdb.units"},
    "specdb.catalog": {*_FLOOR, "specdb.trade"},
    "specdb.duty": {*_FLOOR, "specdb.trade", "specdb.catalog", "specdb.vocabulary"},
    "specdb.exchange": {
        *(*_FLOOR, "specdb.amounts", "specdb.trade", "specdb.catalog", "specdb.vocabulary", "specdb.formula_guard")
    },
    "specdb.criteria": {*_FLOOR, "specdb.trade", "specdb.catalog", "specdb.duty"},
    "specdb.ranking": _JUDGING - {"specdb.vocabulary"},
    "specdb.shortlist": _JUDGING - {"specdb.vocabulary"} | {"specdb.ranking"},
    "specdb.finding": _JUDGING - {"specdb.vocabulary"},
    "specdb.wording": _JUDGING - {"specdb.vocabulary"} | {"specdb.amounts"},
    "specdb.advice": _JUDGING - {"specdb.vocabulary"} | {"specdb.amounts", "specdb.ranking", "specdb.wording"},
    "specdb.held": {"specdb.errors", "specdb.catalog", "specdb.duty", "specdb.finding", "specdb.shortlist"},
    "specdb.answers": {*_ANSWERING, "specdb.advice", "specdb.finding", "specdb.formula_guard"},
    "specdb.cross_checks": {
        *(*_ANSWERING, "specdb.advice", "specdb.answers", "specdb.formula_guard", "specdb.shortlist", "specdb.sheet")
    },
    "specdb.calculations": {*_ANSWERING, "specdb.answers"} - {"specdb.exchange", "specdb.catalog", "specdb.ranking"},
    "specdb.pictures": _ANSWERING - {"specdb.vocabulary", "specdb.exchange"} | {"specdb.advice", "specdb.answers"},
    "specdb.sheet": {"specdb.characteristics", "specdb.duty", "specdb.wording", "specdb.answers"},
    "specdb.client": {*_ANSWERING, *_OVER_ANSWERS, "specdb.answers"},
    "specdb.printing": {
        *(*_FLOOR, "specdb.wording", "specdb.answers", "specdb.calculations", "specdb.exchange", "specdb.cross_checks")
    },
}
"""Everything in the package but its front, the command line and the demo, which may import it all."""


def _imports() -> Iterator[tuple[str, str]]:
    for path in [*ROOT.glob("specdb/**/*.py"), *ROOT.glob("api/**/*.py")]:
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{module} imports relatively"
                yield module, node.module or ""
                yield from ((module, f"{node.module}.{alias.name}") for alias in node.names)
            elif isinstance(node, ast.Import):
                yield from ((module, alias.name) for alias in node.names)


IMPORTS = list(_imports())


def _part(module: str) -> str:
    return ".".join(module.split(".")[:2])


def test_every_part_has_its_place() -> None:
    assert {_part(module) for module, _ in IMPORTS} - set(ALLOWED) == {"specdb", "specdb.cli", "specdb.demo", *_api()}


def _api() -> set[str]:
    return {_part(module) for module, _ in IMPORTS if module.partition(".")[0] == "api"}


@pytest.mark.parametrize("part", ALLOWED)
def test_a_part_imports_only_what_stands_below_it(part: str) -> None:
    used = {_part(what) for module, what in IMPORTS if _part(module) == part and what.startswith("specdb.")}
    assert used - {part} <= ALLOWED[part]


def test_the_core_knows_nothing_of_http_but_for_the_module_that_asks_a_service() -> None:
    web = ("api", "fastapi", "starlette", "httpx", "httpx2")
    found = {(m, w.split(".")[0]) for m, w in IMPORTS if m.startswith("specdb") and w.split(".")[0] in web}
    assert found == {("specdb.client.service", "httpx2")}


def test_formulas_know_nothing_of_tables() -> None:
    outside = ("sqlalchemy", "sqlmodel", "pandas", "pydantic")
    assert not [(m, w) for m, w in IMPORTS if m.startswith("specdb.trade") and w.split(".")[0] in outside]


def test_pint_is_imported_by_units_alone() -> None:
    assert {m for m, w in IMPORTS if w.split(".")[0] == "pint"} == {"specdb.units"}


def test_importing_the_package_or_the_command_line_is_light() -> None:
    heavy = ["fastapi", "pandas", "pint", "sqlalchemy", "openpyxl", "httpx2", "uvicorn", "matplotlib", "pyarrow"]
    code = f"import sys, specdb, specdb.cli; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"
