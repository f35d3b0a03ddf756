"""``specdb compare``: the API's own answer, elements named in every way, and what is printed side by side."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from api import create_app
from tests.cli.conftest import Run

COMPARISONS = "/v1/comparisons"
BETA = ("--require", "filtration_ratio >= 200; size 10 um(c)", "--flow", "75 L/min")
BETA_ASKED = {"characteristic": "filtration_ratio", "at_least": "200", "size": "10 um(c)"}
DUTY = {"flow": "75 L/min", "require": [BETA_ASKED]}


@pytest.mark.parametrize("duty", [(), BETA, ("--original", "12-1")])
def test_a_number_without_its_quotes_is_told_as_one(run: Run, duty: tuple[str, ...]) -> None:
    said = run("compare", "12-2", "Dulse", "23", *duty).refused(2)
    assert said == "specdb: NUMBER: These words are one number. Found: Dulse 23. Put it in quotes: 'Dulse 23'.\n"


@pytest.fixture(scope="module")
def client(demo_store_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(demo_store_url)) as started:
        yield started


@pytest.mark.parametrize(
    ("arguments", "asked"),
    [
        (["Dulse 24", "12-2", *BETA], {"elements": [{"number": "Dulse 24"}, {"number": "12-2"}], "duty": DUTY}),
        (
            ["quollbeck: Dulse 24", "12-2", "--original", "Oddmarrow: 00417", "--allow", "5 %"],
            {
                "elements": [{"number": "Dulse 24", "maker": "Quollbeck"}, {"number": "12-2"}],
                "original": {"number": "00417", "maker": "Oddmarrow", "allow": "5 %"},
            },
        ),
        (["23d2f750f7492a15", *BETA, "--as-of", "1"], {"elements": [{"number": "Dulse 23"}], "duty": DUTY}),
    ],
)
def test_json_and_csv_are_the_answers_of_the_api(
    run: Run, client: TestClient, arguments: list[str], asked: dict[str, Any]
) -> None:
    expected = client.post(COMPARISONS, json=asked)
    assert expected.status_code == 200, expected.text
    assert run("compare", *arguments, "--json").answer() == expected.json()
    in_csv = client.post(COMPARISONS, json=asked, params={"format": "csv", "units": "us"})
    assert run("compare", *arguments, "--csv", "--units", "us").out == in_csv.content.decode()


def test_numbers_add_to_a_question_file(run: Run, client: TestClient) -> None:
    filed = {"elements": [{"number": "Dulse 23"}], "duty": {"require": [BETA_ASKED]}}
    told = run("compare", "12-2", "--duty", "-", "--flow", "75 L/min", "--json", stdin=json.dumps(filed)).answer()
    asked = {"elements": [{"number": "Dulse 23"}, {"number": "12-2"}], "duty": DUTY}
    assert told == client.post(COMPARISONS, json=asked).json()


@pytest.mark.parametrize("columns", [80, 100])
def test_what_is_printed_side_by_side(run: Run, monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    arguments = ("compare", "Dulse 24", "12-2", "quollbeck: dulse 23", "--original", "00417")
    answer = run(*arguments, "--json").answer()
    unfolded = run(*arguments).out
    rows = [" ".join(line.split()) for line in unfolded.splitlines()]
    assert "Original: Oddmarrow 00417" in rows
    assert "required original Quollbeck Dulse 24 Tarnwhistle 12-2 Quollbeck Dulse 23" in rows
    verdicts = []
    for line in answer["rows"]:
        (printed,) = (row for row in rows if row.startswith(line["words"].removesuffix("; from the original") + " "))
        for cell in line["cells"]:
            assert f"{cell['verdict'].replace('_', ' ')}: {cell['words']}" in printed
        verdicts.append((rows.index(printed), {cell["verdict"] for cell in line["cells"]}))
    missed = [place for place, of in verdicts if "misses" in of]
    assert missed
    assert max(missed) < min(place for place, of in verdicts if "misses" not in of)
    for caution in answer["cautions"]:
        assert caution in unfolded
    monkeypatch.setenv("COLUMNS", str(columns))
    narrow = run(*arguments).out
    assert max(map(len, narrow.splitlines())) <= columns
    table, claimed, _ = narrow.partition("The other way round: Oddmarrow 00417 is claimed")
    assert claimed
    assert table.count("Quollbeck Dulse 23") == 1


def test_explain_prints_every_sentence(run: Run) -> None:
    arguments = ("compare", "Dulse 24", "12-2", *BETA)
    printed = run(*arguments, "--explain").out
    for element in run(*arguments, "--json").answer()["elements"]:
        for criterion in element["criteria"]:
            assert criterion["explanation"] in printed


@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        (["Dulse", "23", *BETA], 2, ["one number", "'Dulse 23'"]),
        (["Dulse 23", "dulse23", *BETA], 2, ["NUMBER no. 2", "same element"]),
        (["Dulse 23", "Dulse 99", *BETA], 3, ["NUMBER no. 2", "No element has this number"]),
        (["Dulse 23", "12-2"], 2, ["Nothing is required", "--original"]),
        (["Dulse 23", "--original", "Dulse 99"], 3, ["--original", "No element"]),
        ([*(f"x{n}" for n in range(21)), *BETA], 2, ["20"]),
    ],
)
def test_what_cannot_be_compared_is_told(run: Run, arguments: list[str], status: int, told: list[str]) -> None:
    said = run("compare", *arguments).refused(status)
    assert all(each in said for each in told), said


# --- kept as a sheet ------------------------------------------------------------------------------


def test_a_sheet_is_written_and_says_what_the_answer_says(run: Run, client: TestClient, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    done = run("compare", "Dulse 24", "12-2", "--original", "00417", "--pdf", str(file), "--paper", "letter")
    assert (done.status, done.out, done.err) == (0, f"The sheet is in {file}.\n", "")
    pages = PdfReader(file).pages
    assert float(pages[0].mediabox.width) == 612
    words = "".join("".join(page.extract_text().split()) for page in pages)
    answer = run("compare", "Dulse 24", "12-2", "--original", "00417", "--json").answer()
    for row in answer["rows"]:
        assert "".join(row["words"].rpartition("; ")[0].split()) in words
    # The page at the address of the sheet shows what was compared, on proof alone as it was here.
    address = re.search(r"Thissheetagain:(/side-by-side\?[^–]*?date=\d{4}-\d{2}-\d{2})", words)
    assert address is not None
    page = client.get(address[1], headers={"accept": "text/html"}, follow_redirects=False)
    assert page.status_code == 200
    assert "Verdicts rest on proof alone" in page.text
    assert "Tarnwhistle 12-2" in page.text
    assert "as_of=1" in address[1]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--pdf", "there.pdf"], "--pdf: This is there already, and nothing is written over."),
        (["--pdf", "sheet.txt"], "--pdf: The sheet is a PDF."),
        (["--pdf", "none/sheet.pdf"], "--pdf: The file cannot be written: "),
        (["--pdf", "sheet.pdf", "--csv"], "--pdf: An answer has one form."),
        (["--pdf", "sheet.pdf", "--paper", "a5"], "'a5' is not one of"),
        (["--paper", "a4"], "--paper: Nothing goes on paper."),
    ],
)
def test_what_is_no_sheet_is_refused_and_nothing_is_written(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "there.pdf").write_text("an order")
    assert told in run("compare", "12-2", *BETA, *arguments).refused(2)
    assert [path.name for path in tmp_path.iterdir()] == ["there.pdf"]
    assert (tmp_path / "there.pdf").read_text() == "an order"
