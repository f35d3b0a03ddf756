"""``specdb calc``: one command for each calculation, the words and numbers of the API."""

from __future__ import annotations

import json

import pytest

from specdb.calculations import CALCULATIONS, calculate
from tests.cli.conftest import Run

ALL = list(CALCULATIONS.values())
NOWHERE = "sqlite:////nowhere/at/all.sqlite"


def options_of(asked: dict[str, str]) -> list[str]:
    return [word for name, text in asked.items() for word in (f"--{name.replace('_', '-')}", text)]


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
def test_each_by_its_options_needs_no_store(run: Run, calculation) -> None:
    told = calculate(calculation.key, calculation.example)
    asked = ["calc", calculation.name, *options_of(calculation.example)]
    done = run(*asked, url=NOWHERE)
    assert (done.status, done.err) == (0, "")
    lines = done.out.splitlines()
    assert lines[0] == told.words
    assert lines[-1] == f"Source: {told.source}"
    assert {f"Caution: {caution}" for caution in told.cautions} <= set(lines)
    assert run(*asked, "--json", url=NOWHERE).answer() == told.model_dump()
    assert run(*asked, "--csv", url=NOWHERE).out.replace("\r\n", "\n") == told.table().csv().replace("\r\n", "\n")
    us = calculate(calculation.key, calculation.example, "us")
    assert run(*asked, "--units", "us", "--json", url=NOWHERE).answer() == us.model_dump()


@pytest.mark.parametrize(
    ("words", "key", "asked"),
    [
        (["efficiency", "200"], "efficiency", {"ratio": "200"}),
        (["filtration-ratio", "99.5 %"], "filtration_ratio", {"efficiency": "99.5 %"}),
        (["filtration-ratio", "99.5"], "filtration_ratio", {"efficiency": "99.5"}),
        (["cleanliness-code", "18/16/13"], "cleanliness_code", {"code": "18/16/13"}),
        (["cleanliness-code", "18", "/", "16", "/", "13"], "cleanliness_code", {"code": "18/16/13"}),
        (["cleanliness_code", "ISO", "18/16/13"], "cleanliness_code", {"code": "18/16/13"}),
        (["size-scale", "10", "um(acftd)"], "size_scale", {"size": "10 um(acftd)"}),
        (["pressure-class", "20", "bar"], "pressure_class", {"working_pressure": "20 bar"}),
        (["viscosity", "40", "degC", "--grade", "46"], "viscosity", {"temperature": "40 degC", "grade": "46"}),
        (
            ["viscosity-index", "46 cSt", "6.8 cSt"],
            "viscosity_index",
            {"viscosity_40": "46 cSt", "viscosity_100": "6.8 cSt"},
        ),
        (["convert", "75 psi", "kPa"], "convert", {"value": "75 psi", "to": "kPa"}),
        (["convert", "75", "psi", "kPa"], "convert", {"value": "75 psi", "to": "kPa"}),
        (["convert", "75", "psi", "to", "US gpm"], "convert", None),
        (["convert", "75", "psi", "to", "kPa"], "convert", {"value": "75 psi", "to": "kPa"}),
        (["convert", "75 psi"], "convert", {"value": "75 psi"}),
        (["convert", "--to", "bar", "75 psi"], "convert", {"value": "75 psi", "to": "bar"}),
        (["convert", "--", "-40 degF", "degC"], "convert", {"value": "-40 degF", "to": "degC"}),
    ],
)
def test_what_stands_without_an_option_is_read(run: Run, words, key, asked) -> None:
    # The options of this program stand before a "--".
    done = run("calc", words[0], "--json", *words[1:], url=NOWHERE)
    if asked is None:
        assert done.status == 2
        assert json.loads(done.err)["errors"][0]["field"] == "value"
    else:
        assert done.answer() == calculate(key, asked).model_dump()


def test_faults_are_named_by_their_options(run: Run) -> None:
    said = run("calc", "viscosity", "0 degC", "--grade", "47", "--density", "x").refused(2)
    assert len(said.splitlines()) == 4
    assert "--density: " in said
    assert "--viscosity-index: " in said
    assert run("calc", "efficiency").refused(2) == "specdb: --ratio: This is needed.\n"
    assert "--ratio: This is stated twice" in run("calc", "efficiency", "200", "--ratio", "100").refused(2)


def test_what_is_no_calculation_or_option_is_refused(run: Run) -> None:
    assert "beta" in run("calc", "beta", "200").refused(2)
    assert "--bogus" in run("calc", "efficiency", "--bogus", "1").refused(2)


def test_rows_are_a_table(run: Run) -> None:
    lines = run("calc", "cleanliness-code", "18/16/13").out.splitlines()
    assert any(line.split()[:6] == ["18/16/13", "automatic", "14", "c", "13", "13"] for line in lines)


@pytest.mark.parametrize("calculation", ALL, ids=lambda c: c.key)
def test_help_names_every_option_and_an_example(run: Run, calculation) -> None:
    done = run("calc", calculation.name, "--help")
    assert done.status == 0
    for name in calculation.asked.model_fields:
        assert f"--{name.replace('_', '-')}" in done.out
    assert "Example: specdb calc" in done.out


def test_help_lists_them_all(run: Run) -> None:
    listed = run("calc", "--help").out
    assert all(calculation.name in listed for calculation in ALL)
