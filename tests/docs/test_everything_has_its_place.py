"""Nothing public lacks its place in the documentation."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import typer

from api import create_app
from specdb.catalog.store import ENVIRONMENT_VARIABLE
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, CONDITIONS
from specdb.cli import app as command_line
from specdb.criteria import BASES, CARRIERS, REASONS
from specdb.duty import ASSUMPTION_SENTENCES
from specdb.duty.question import DutyAsked, FitAsked, FluidAsked, Question
from specdb.duty.requirement import GATE_OF_ATTRIBUTE
from specdb.exchange.columns import COLUMNS

ROOT = Path(__file__).parents[2]
PAGES = {path.name: path.read_text(encoding="utf-8") for path in (ROOT / "docs").glob("*.md")}


def _named(page: str) -> set[str]:
    """Every name that stands in code quotes on a page."""
    return {
        word for quoted in re.findall(r"`([^`\n]+)`", PAGES[page]) for word in re.findall(r"[a-z][a-z0-9_]*", quoted)
    }


def test_every_route_is_described() -> None:
    for path, operations in create_app("sqlite://").openapi()["paths"].items():
        for method in operations:
            assert f"{method.upper()} {path}" in PAGES["api.md"]


def test_every_command_is_described() -> None:
    commands = typer.main.get_command(command_line).commands
    headings = set(re.findall(r"^## specdb (\w+)", PAGES["commands.md"], re.MULTILINE))
    assert set(commands) == headings


def test_the_setting_is_described() -> None:
    assert ENVIRONMENT_VARIABLE in PAGES["commands.md"]


def test_every_judged_characteristic_is_described_and_carried() -> None:
    judged = {key for key, c in CHARACTERISTICS.items() if c.sense != "shown"}
    assert judged <= _named("duty.md")
    assert judged == set(CARRIERS)


def test_every_condition_attribute_and_field_is_described() -> None:
    asked = set(DutyAsked.model_fields) | set(FitAsked.model_fields) | set(Question.model_fields)
    fluid = set(FluidAsked.model_fields) - {"fluid_class"} | {"class"}
    # The level is shown beside a ratio and never asked.
    assert (set(CONDITIONS) - {"gravimetric_level"} | asked | fluid) - _named("duty.md") == set()
    assert set(ATTRIBUTES) <= _named("files.md")
    assert set(GATE_OF_ATTRIBUTE) <= set(ATTRIBUTES) | {"fluid_class"}


@pytest.mark.parametrize("sheet", list(COLUMNS))
def test_every_column_is_described(sheet: str) -> None:
    assert set(COLUMNS[sheet]) <= _named("files.md")


def test_every_assumption_reason_and_basis_is_described() -> None:
    assert set(ASSUMPTION_SENTENCES) <= _named("method.md")
    assert set(filter(None, REASONS)) <= _named("method.md")
    assert set(filter(None, BASES)) <= _named("api.md")


@pytest.mark.parametrize("page", [*sorted(PAGES), "../README.md", "../DEVELOPERS.md"])
def test_every_link_leads_somewhere(page: str) -> None:
    here = (ROOT / "docs" / page).resolve()
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", here.read_text(encoding="utf-8")):
        assert (here.parent / target).exists(), target
