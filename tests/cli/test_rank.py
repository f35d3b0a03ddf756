"""``specdb rank``: every kind of option, the mistakes people make, and the same words as the API."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from api import create_app
from tests.api.asking import EQUIVALENTS, EXAMPLE
from tests.cli.conftest import Run

BETA = ("--require", "filtration_ratio >= 200; size 10 um(c)")
BETA_ASKED = {"characteristic": "filtration_ratio", "at_least": "200", "size": "10 um(c)"}


@pytest.fixture(scope="module")
def client(demo_store_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(demo_store_url)) as started:
        yield started


def _asked(client: TestClient, question: dict[str, Any], **query: str) -> dict[str, Any]:
    response = client.post(EQUIVALENTS, json={"limit": 10} | question, params=query)
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


@pytest.mark.parametrize(
    ("arguments", "question"),
    [
        (["Dulse 23"], {"original": {"number": "Dulse 23"}}),
        (["Dulse 23", "--maker", "quollbeck"], {"original": {"number": "Dulse 23", "maker": "quollbeck"}}),
        (["=7-K", "--limit", "3"], {"original": {"number": "=7-K"}, "limit": 3}),
        (["dulse", "23"], {"original": {"number": "dulse 23"}}),
        (["quollbeck: dulse 23"], {"original": {"number": "Dulse 23", "maker": "Quollbeck"}}),
        (["Fennelgrote:", "fg:96:2"], {"original": {"number": "fg:96:2"}}),
        (["fg:96:2"], {"original": {"number": "fg:96:2"}}),
        (["00417", "--assume", "customary"], {"original": {"number": "00417"}, "duty": {"assumptions": "customary"}}),
        (
            ["12E4", "--assume", "about_within=10 %", "--assume", "bare_size_is"],
            {"original": {"number": "12E4"}, "duty": {"assumptions": {"about_within": "10 %", "bare_size_is": True}}},
        ),
        ([*BETA, "--flow", "75 L/min"], {"duty": {"flow": "75 L/min", "require": [BETA_ASKED]}}),
        (
            ["--require", "collapse pressure at least 0,75 bar"],
            {"duty": {"require": [{"characteristic": "collapse_pressure", "at_least": "0,75 bar"}]}},
        ),
        (
            ["--require", "clean_pressure_drop ≤ 25 kPa; flow=75 L/min; viscosity 32 mm2/s; drop_of element"],
            {
                "duty": {
                    "require": [
                        {
                            "characteristic": "clean_pressure_drop",
                            "at_most": "25 kPa",
                            "flow": "75 L/min",
                            "viscosity": "32 mm2/s",
                            "drop_of": "element",
                        }
                    ]
                }
            },
        ),
        (
            [
                *("--require", "clean_pressure_drop <= 25 kPa", "--flow", "75 L/min", "--grade", "ISO VG 46"),
                *("--viscosity-index", "100", "--operating-temperature", "50 degC", "--density", "870 kg/m3"),
                *("--fluid-class", "HM"),
            ],
            {
                "duty": {
                    "flow": "75 L/min",
                    "operating_temperature": "50 degC",
                    "fluid": {"grade": "ISO VG 46", "viscosity_index": 100, "density": "870 kg/m3", "class": "HM"},
                    "require": [{"characteristic": "clean_pressure_drop", "at_most": "25 kPa"}],
                }
            },
        ),
        (
            [
                *("--require", "retained_capacity >= 60 g", "--bypass-cracking-pressure", "170 kPa"),
                *("--viscosity", "32 cSt"),
            ],
            {
                "duty": {
                    "bypass_cracking_pressure": "170 kPa",
                    "fluid": {"viscosity": "32 cSt"},
                    "require": [{"characteristic": "retained_capacity", "at_least": "60 g"}],
                }
            },
        ),
        (
            ["--fit", "thread 1-12 UNF", "--fit", "length 140 mm +- 1 mm", "--fit", "outside_diameter=96 mm ±2 mm"],
            {
                "duty": {
                    "fit": {
                        "thread": "1-12 UNF",
                        "length": {"value": "140 mm", "tolerance": "1 mm"},
                        "outside_diameter": {"value": "96 mm", "tolerance": "2 mm"},
                    }
                }
            },
        ),
        (
            ["--require", "collapse_pressure >= 21 MPa", "--without-evidence", "--as-of", "1"],
            {
                "duty": {"require": [{"characteristic": "collapse_pressure", "at_least": "21 MPa"}]},
                "include_without_evidence": True,
                "as_of": "1",
            },
        ),
    ],
)
def test_json_is_the_answer_of_the_api(
    run: Run, client: TestClient, arguments: list[str], question: dict[str, Any]
) -> None:
    done = run("rank", *arguments, "--json")
    assert json.dumps(done.answer()) == json.dumps(_asked(client, question))


def test_json_in_us_units_is_the_answer_of_the_api(run: Run, client: TestClient) -> None:
    done = run("rank", "Dulse 23", "--units", "us", "--json")
    assert json.dumps(done.answer()) == json.dumps(_asked(client, {"original": {"number": "Dulse 23"}}, units="us"))


def test_a_question_file_is_answered_as_the_api_answers_it(run: Run, client: TestClient, tmp_path: Path) -> None:
    file = tmp_path / "question.json"
    question = EXAMPLE | {"limit": 3, "include_without_evidence": True}
    file.write_text(json.dumps(question))
    expected = _asked(client, question)
    assert run("rank", "--duty", str(file), "--json").answer() == expected
    assert run("rank", "--duty", "-", "--json", stdin=json.dumps(question)).answer() == expected


def test_options_add_to_a_question_file_and_have_the_last_word(run: Run, client: TestClient) -> None:
    filed = {"duty": {"flow": "60 L/min", "require": [BETA_ASKED], "fit": {"thread": "1-12 UNF"}}, "limit": 7}
    options = ("--flow", "75 L/min", "--require", "retained_capacity >= 60 g", "--fit", "seal NBR", "--limit", "2")
    expected = {
        "duty": {
            "flow": "75 L/min",
            "require": [BETA_ASKED, {"characteristic": "retained_capacity", "at_least": "60 g"}],
            "fit": {"thread": "1-12 UNF", "seal": "NBR"},
        },
        "limit": 2,
    }
    done = run("rank", "--duty", "-", *options, "--json", stdin=json.dumps(filed))
    assert done.answer() == _asked(client, expected)


def test_customary_assumptions_with_one_at_another_value(run: Run) -> None:
    told = run("rank", "Dulse 23", "--assume", "customary", "--assume", "about_within=10 %", "--json").answer()
    assert len(told["assumptions"]) == 5
    assert "10%" in told["assumptions"]["about_within"]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--require", "filtration_ratio >= 200; size 10 um"], ["--require no. 1, size", "10 um(c)", "10 um(acftd)"]),
        (["--require", "filtration_ratio >= 200"], ["--require no. 1, size", "10 um(c)"]),
        (["--require", "filtration_ratio >= 0.5; size 10 um(c)"], ["below 1"]),
        (["--require", "colapse >= 10 bar"], ["colapse", "collapse_pressure", "temperature_high"]),
        (["--require", "collapse_pressure 10 bar"], ["no requirement", ">="]),
        (["--require", "collapse_pressure >="], ["no requirement"]),
        (["--require", "collapse_pressure >= 10"], ["no unit", "kPa"]),
        (["--require", "collapse_pressure >= 1,200 kPa"], ['"1,200 kPa"', 'Write "1.200 kPa" or "1200 kPa"']),
        ([*BETA, "--flow", "1,200"], ['Write "1.200 L/min" or "1200 L/min"']),
        ([*BETA, "--grade", "HVLP"], ["--grade", 'Write "HV" as the class']),
        (["--require", "collapse_pressure >= 1 bar; dirt 5"], ["--require no. 1, dirt", "no such field"]),
        (["--require", "collapse_pressure >= 1 bar; size 10 um(c)"], ["--require no. 1, size"]),
        ([*BETA, "--flow", "75"], ["--flow", "no unit", "L/min"]),
        ([*BETA, "--flow", "-75 L/min"], ["--flow", "above zero"]),
        ([*BETA, "--grade", "ISO VG 47", "--operating-temperature", "40 degC"], ["--grade", "46"]),
        ([*BETA, "--viscosity-index", "nan"], ["--viscosity-index", "plain number"]),
        ([*BETA, "--fluid-class", "OIL"], ["--fluid-class", "OIL", "HM"]),
        ([*BETA, "--fit", "colour red"], ["--fit colour", "no such field"]),
        ([*BETA, "--fit", "length 140"], ["--fit length", "no unit", "mm"]),
        ([*BETA, "--fit", "thread 1 inch or so"], ["--fit thread", "1-12 UNF"]),
        ([*BETA, "--assume", "luck"], ["--assume luck", "no such field"]),
        ([*BETA, "--assume", "about_within=10"], ["--assume about_within", "%"]),
        ([*BETA, "--as-of", "2999-01-01"], ["--as-of", "future"]),
        ([*BETA, "--as-of", "9"], ["--as-of", "The last one is 1"]),
        ([*BETA, "--as-of", "yesterday"], ["--as-of", "2024-05-31"]),
        (["--maker", "Quollbeck"], ["--maker", "part number"]),
        ([], ["Nothing is required", "original"]),
        (["\ud800"], ["NUMBER"]),
        (["x" * 10_000], ["NUMBER", "200"]),
    ],
)
def test_a_mistake_is_told_with_what_would_be_right(run: Run, arguments: list[str], told: list[str]) -> None:
    said = run("rank", *arguments).refused(2)
    for each in told:
        assert each in said
    assert len(said.splitlines()) == 1


def test_several_mistakes_are_told_at_once_a_line_each(run: Run) -> None:
    said = run("rank", *BETA, "--flow", "75", "--operating-temperature", "warm").refused(2)
    lines = said.splitlines()
    assert len(lines) == 3
    assert lines[1].startswith("  --flow: ")
    assert lines[2].startswith("  --operating-temperature: ")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "cannot be read"),
        ("[]", "no JSON object"),
        ('{"duty": [1]}', "duty: This is no JSON object"),
        ('{"duty": null}', "duty: This is no JSON object"),
        ('{"duty": {"require": {"a": 1}}}', "require: This is no JSON list"),
        ('{"duty": {"fit": "round"}}', "fit: This is no JSON object"),
        ('{"colour": "red"}', "colour: There is no such field"),
        ('{"limit": 0}', "limit: "),
        ("[" * 100_000, "cannot be read"),
    ],
)
def test_a_question_file_with_a_fault(run: Run, text: str, told: str) -> None:
    assert told in run("rank", "--duty", "-", *BETA, "--fit", "seal NBR", stdin=text).refused(2)


def test_a_question_file_that_is_not_there(run: Run, tmp_path: Path) -> None:
    assert "No such file" in run("rank", "--duty", str(tmp_path / "none.json")).refused(2)
    assert "directory" in run("rank", "--duty", str(tmp_path)).refused(2)


# --- what is printed ------------------------------------------------------------------------------


def test_the_table_the_sentences_and_the_cautions(run: Run) -> None:
    done = run("rank", "Dulse 23", "--limit", "30")
    assert (done.status, done.err) == (0, "")
    answer = run("rank", "Dulse 23", "--limit", "30", "--json").answer()
    for candidate in answer["candidates"]:
        assert candidate["element"]["number"] in done.out
        for criterion in candidate["criteria"]:
            told = criterion["explanation"] in done.out
            assert told or criterion["verdict"] == "meets"
    for line in (*answer["cautions"], *answer["order"]):
        assert line in done.out
    assert "Original: Quollbeck Dulse 23" in done.out


def test_explain_prints_every_sentence_with_its_sources(run: Run) -> None:
    printed = run("rank", "Dulse 23", "--limit", "3", "--explain").out
    for candidate in run("rank", "Dulse 23", "--limit", "3", "--json").answer()["candidates"]:
        for criterion in candidate["criteria"]:
            assert criterion["explanation"] in printed
            for source in criterion["sources"]:
                assert f"{source['source']} ({source['title']})" in printed


def test_what_was_assumed_and_what_no_rule_read_is_printed(run: Run) -> None:
    printed = run("rank", *BETA, "--assume", "customary", "--density", "870 kg/m3").out
    for name in ("unstated_conditions_match", "about_within", "bare_size_is"):
        assert f"Assumed ({name}): " in printed
    assert "Stated but read by no rule: duty.fluid.density." in printed


def test_elements_with_nothing_on_file_are_listed_on_request(run: Run) -> None:
    question = ("rank", "--require", "collapse_pressure >= 1 bar", "--limit", "50")
    assert "Nothing on file: " not in run(*question).out
    assert "Nothing on file: Oddmarrow 00430" in run(*question, "--without-evidence").out


def test_nobody_with_anything_on_file_is_said(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    assert run("import", str(folder(elements="maker,number\nDemo Works,D 1\n")), url=own_url).status == 0
    done = run("rank", "--require", "collapse_pressure >= 1 bar", url=own_url)
    assert done.status == 0
    assert "No candidate has anything on file for these criteria." in done.out
    assert "Elements considered: 1, of them left out with nothing on file for any criterion: 1." in done.out


def test_without_a_terminal_nothing_is_folded_and_a_row_is_a_line(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    unfolded = run("rank", "Dulse 23", "--limit", "30")
    answer = run("rank", "Dulse 23", "--limit", "30", "--json").answer()
    lines = [" ".join(line.split()) for line in unfolded.out.splitlines()]
    for requirement in answer["requirements"]:
        assert sum(line.startswith(f"{requirement['id']} {requirement['words']}") for line in lines) == 1
    for candidate in answer["candidates"]:
        named = f"{candidate['rank']} {candidate['element']['maker']} {candidate['element']['number']} "
        assert sum(line.startswith(named) for line in lines) == 1
    assert "\x1b" not in unfolded.out
    assert not any(line.endswith(" ") for line in unfolded.out.splitlines())


@pytest.mark.parametrize("columns", [60, 80, 100])
def test_everything_fits_the_columns_that_the_environment_names(
    run: Run, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    printed = run("rank", "Dulse 23", "--limit", "30", "--explain").out
    assert max(map(len, printed.splitlines())) <= columns
    for candidate in run("rank", "Dulse 23", "--limit", "30", "--json").answer()["candidates"]:
        assert f"{candidate['element']['number']}  " in printed
