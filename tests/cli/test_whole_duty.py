"""``specdb rank`` and ``specdb compare`` of a machine: the API's answers, what is said loudly, people's mistakes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from api import create_app
from tests.api.asking import EQUIVALENTS
from tests.api.machines import MACHINES, MISTAKES
from tests.cli.conftest import Run

SAID = {
    "fluid.class": "--fluid-class",
    "costs.prices": "--price",
    "require.0.characteristic": "--require no. 1, characteristic",
}
"""Fields whose option is not made of their name."""


@pytest.fixture(scope="module")
def client(demo_store_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(demo_store_url)) as started:
        yield started


def option(field: str) -> str:
    group, _, name = field.rpartition(".")
    named = f"--{group} {name}" if group in ("ingression", "derive") else f"--{name.replace('_', '-')}"
    return SAID.get(field, named)


def typed(duty: dict[str, Any]) -> Iterator[str]:
    """The duty as options, written down without the program's help."""
    for name, value in duty.items():
        if name == "require":
            for each in value:
                conditions = [f"{k} {v}" for k, v in each.items() if k not in ("characteristic", "at_least")]
                yield from ("--require", "; ".join([f"{each['characteristic']} >= {each['at_least']}", *conditions]))
        elif name in ("ingression", "derive"):
            for key, inner in value.items():
                yield from (f"--{name}", f"{key}={'no' if inner is False else inner}")
        elif name in ("fluid", "costs"):
            for key, inner in value.items():
                for each in str(inner).split(";") if key == "prices" else [inner]:
                    yield from (option(f"{name}.{key}"), str(each))
        else:
            yield from (option(name), str(value))


@pytest.mark.parametrize("place", MACHINES)
def test_json_and_csv_are_the_answers_of_the_api(run: Run, client: TestClient, place: str) -> None:
    asked = {"duty": MACHINES[place], "limit": 5}
    arguments = ("rank", *typed(MACHINES[place]), "--limit", "5")
    expected = client.post(EQUIVALENTS, json=asked)
    assert expected.status_code == 200, expected.text
    assert json.dumps(run(*arguments, "--json").answer()) == json.dumps(expected.json())
    table = client.post(EQUIVALENTS, json=asked, params={"format": "csv", "units": "us"}).text
    assert run(*arguments, "--csv", "--units", "us").out.splitlines() == table.splitlines()


@pytest.mark.parametrize("place", MACHINES)
def test_what_follows_from_a_machine_is_printed_within_80_columns(
    run: Run, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    arguments = ("rank", *typed(MACHINES[place]), "--limit", "5")
    answer = run(*arguments, "--json").answer()
    unfolded = run(*arguments).out
    told = [derivation["words"] for derivation in answer["derivations"]] + answer["advice"]
    told += [caution for candidate in answer["candidates"] for caution in candidate["cautions"]]
    for each in told:
        assert each in unfolded
    monkeypatch.setenv("COLUMNS", "80")
    folded = run(*arguments)
    assert folded.status == 0
    assert max(map(len, folded.out.splitlines())) <= 80
    assert " ".join(unfolded.split())[-300:] == " ".join(folded.out.split())[-300:]


def test_a_caution_stands_before_all_else_of_its_element(run: Run) -> None:
    machine = typed(MACHINES["return"])
    lines = [line.strip() for line in run("rank", "Dulse 23", *machine, "--limit", "3").out.splitlines()]
    original = lines.index("Original: Quollbeck Dulse 23")
    assert lines[original + 2].startswith("! A VALVE TOO MANY: ")  # after its life
    first = next(place for place, line in enumerate(lines) if line.startswith("1. Quollbeck Dulse 23/B: "))
    assert lines[first + 1].startswith("! At the coldest start its clean drop is about ")


def test_a_comparison_says_where_a_requirement_comes_from_in_few_words(run: Run) -> None:
    duty = ("--bypass", "head", "--bypass-cracking-pressure", "25 psi", "--flow", "20 gpm", "--viscosity", "32 cSt")
    printed = run("compare", "Dulse 23", "Dulse 23/B", *duty).out
    rows = [" ".join(line.split()) for line in printed.splitlines()]
    assert "bypass valve in the element: no; derived misses: yes meets: no" in rows
    assert "- collapse: The element sees up to the bypass valve's drop at full flow: 1.5 times its cracking" in printed
    assert "! Quollbeck Dulse 23: A VALVE TOO MANY: " in printed


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_told_at_its_option(run: Run, mistake: str) -> None:
    duty, field, told = MISTAKES[mistake]
    said = run("rank", *typed({"bypass": "head", **duty})).refused(2)
    assert len(said.splitlines()) == 1
    assert said.startswith(f"specdb: {option(field)}: ")
    assert told in said


def test_a_plain_number_may_have_a_decimal_comma(run: Run) -> None:
    asked = ("rank", "--bypass", "head", "--location", "return", "--pump-flow", "60 L/min", "--limit", "1", "--json")
    duty = (*asked, "--bypass-cracking-pressure", "170 kPa", "--require", "collapse_pressure >= 1 MPa")
    with_comma, with_point = (run(*duty, "--area-ratio", ratio).answer() for ratio in ("1,25", "1.25"))
    assert with_comma == with_point


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--location", "Suction"], ["--require: Nothing is required.", "say more of the machine"]),
        (["--location", "pump"], ["--location: ", "suction, pressure, return, off-line, breather."]),
        (["--bypass", "in head"], ["--bypass: ", "element, head, both, none."]),
        (["--bypass", "head", "--ingression", "1e8"], ["--ingression 1e8: There is no such field.", "at_4"]),
        (["--bypass", "head", "--derive", "colapse=no"], ["--derive colapse: ", "Is collapse meant?"]),
        (["--bypass", "head", "--derive", "burst=a lot"], ["--derive burst: ", "plain number"]),
        (["--bypass", "head", "--cracking", "2 bar"], ["Did you mean --bypass-cracking-pressure?"]),
        (["--bypass", "head", "--area-ratio", "0.5"], ["--area-ratio: This must be greater than or equal to 1."]),
        (["--bypass", "head", "--change-cost", "60 EUR"], ["--change-cost", "number"]),
        (["--bypass", "yes"], ['--bypass: "yes" is not one of', 'Is "element", "head" or "both" meant?']),
        (["--location", "Pressure line"], ["--location: ", 'Is "pressure" meant?']),
        # A number that cannot be read hides no other fault, and each is told in words of its own.
        (
            ["--area-ratio", "1,250", "--flow", "25 lbs", "--working-pressure", "25 lbs", "--bypass", "no"],
            ["4 faults", '--area-ratio: "1,250" may mean 1.250 or 1250.', "--flow: ", "--working-pressure: ",
             "Is psi meant?", 'Is "none" meant?'],
        ),
    ],
)
def test_what_people_type(run: Run, arguments: list[str], told: list[str]) -> None:
    said = run("rank", *arguments).refused(2)
    for each in told:
        assert each in said


@pytest.mark.parametrize(
    ("typed_so", "meant"),
    [
        (["--location", "offline"], ["--location", "off-line"]),
        (["--fluid-class", "hfc"], ["--fluid-class", "HFC"]),
        (["--derive", "collapse=off"], ["--derive", "collapse=no"]),
        (["--derive", "collapse"], ["--derive", "collapse=yes"]),
        (["--ingression", "mass 50 mg/h"], ["--ingression", "mass=0.05 g/h"]),
        (["--fit", "kind Spin On"], ["--fit", "kind spin-on"]),
    ],
)
def test_what_is_read_as_it_was_meant(run: Run, typed_so: list[str], meant: list[str]) -> None:
    duty = ("rank", "--bypass", "head", "--bypass-cracking-pressure", "2 bar", "--limit", "2", "--json")
    assert run(*duty, *typed_so).answer() == run(*duty, *meant).answer()
