"""``specdb cross-check``: lines from a file, answers to the terminal or into a new file."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from specdb.cli.errors import INTERRUPTED, SOME_FAULTY
from specdb.cross_checks import running
from tests.cli.conftest import Run

GOOD = "Line,Original,Flow [L/min],Alternative\npress,Dulse 23,75,\nsaw,00417,,Dulse 24\n"
FAULTY = f"{GOOD}mill,no such number,,\n"


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    file = tmp_path / "lines.csv"
    file.write_text(FAULTY, encoding="utf-8")
    return file


def words(text: str) -> str:
    return " ".join(text.split())


def test_lines_at_a_terminal_with_their_faults_and_an_exit_status_of_their_own(run: Run, sheet: Path) -> None:
    done = run("cross-check", str(sheet), "--limit", "2", "--assume", "customary")
    assert (done.status, done.err) == (SOME_FAULTY, "")
    assert "press Quollbeck Dulse 23 1 Brindlefjord 96E8 meets, assumed" in words(done.out)
    assert "saw Oddmarrow 00417 Quollbeck Dulse 24 misses" in words(done.out)
    assert "Taking for granted: " in done.out
    assert "Stated but read by no rule: Flow [L/min] (row 2)." in done.out
    assert "row 4 (mill): Original: No element has this number." in words(done.out)
    assert "Lines answered: 2, of them 1 with a candidate that meets all that is asked." in done.out
    assert "Lines with faults: 1, in row 4." in done.out
    alone = run("cross-check", "-", stdin="Original,Alternative\n00417,Dulse 24\n")
    assert alone.status == 0
    assert "assumed" not in alone.out
    assert "of them none with a candidate that meets all that is asked." in alone.out
    assert "By proof alone; --assume customary, as on the page" in alone.out


def test_a_note_of_several_lines_is_told_once_with_its_rows_and_an_ambiguous_number_with_its_unit(
    run: Run, sheet: Path, tmp_path: Path
) -> None:
    lines = [f"Dulse 23,{flow},600 °C" for flow in ("75", "75", "75", '"1,200"')]
    sheet.write_text("\n".join(["Original,Flow [L/min],Temperature", *lines]), encoding="utf-8")
    note = "Note, rows 2 to 4: Temperature: 600 °C lies above what is met with in hydraulics"
    for arguments in ((), ("--out", str(tmp_path / "answers.csv")), ("--json",)):
        done = run("cross-check", str(sheet), *arguments)
        told = words(done.err if "--json" in arguments else done.out)
        assert told.count("met with in hydraulics") == told.count(note) == 1
        assert 'Flow [L/min]: "1,200 L/min"' not in told  # what was typed, and no more
        assert '"1,200" may mean 1.200 or 1200. Write "1.200 L/min" or "1200 L/min".' in told


@pytest.mark.parametrize("form", ["--csv", "--json"])
def test_beside_data_what_is_told_of_all_lines_stands_on_standard_error(
    run: Run, sheet: Path, tmp_path: Path, form: str
) -> None:
    sheet.write_text("Line,Original,Flow [L/min],Price\npress,Dulse 23,75,9\nmill,no such number,,\n", encoding="utf-8")
    printed = run("cross-check", str(sheet), form)
    assert json.loads(printed.out) if form == "--json" else list(csv.DictReader(io.StringIO(printed.out)))
    kept = run("cross-check", str(sheet), "--out", str(tmp_path / "answers.csv"))
    assert printed.err.splitlines() == kept.out.splitlines()[1:]
    assert "Price" in printed.err
    assert "row 3 (mill): Original: No element has this number." in printed.err
    assert "Stated but read by no rule: Flow [L/min] (row 2)." in printed.err
    assert "Lines with faults: 1, in row 3." in printed.err


def test_a_json_file_says_what_holds_for_all_and_options_have_the_last_word(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "lines.json"
    lines = [{"original.number": "Dulse 23", "elements.1.number": "96E8"}, {"original.number": "00417"}]
    common = {"assumptions": "customary", "fluid": {"grade": "ISO VG 46"}, "limit": 1}
    file.write_text(json.dumps({"lines": lines, "common": common, "mode": "rank"}), encoding="utf-8")
    told = json.loads(run("cross-check", str(file), "--json").out)["lines"]
    said = {"assumptions": "customary", "fluid.grade": "ISO VG 46", "limit": "1"}
    assert [(line["mode"], line["asked"].items() >= said.items()) for line in told] == [("ranked", True)] * 2
    told = json.loads(run("cross-check", str(file), "--json", "--mode", "each", "--grade", "ISO VG 68").out)["lines"]
    assert [(line["mode"], line["asked"]["fluid.grade"]) for line in told] == [
        ("judged", "ISO VG 68"),
        ("ranked", "ISO VG 68"),
    ]
    file.write_text(json.dumps({"lines": lines, "commn": common}), encoding="utf-8")
    assert "Beside the lines there stands commn." in run("cross-check", str(file)).refused(2)
    file.write_text(json.dumps({"lines": lines, "common": {"flow": "75"}, "mode": "guess"}), encoding="utf-8")
    assert "common.flow" in run("cross-check", str(file)).refused(2)


def test_answers_in_a_new_file_of_each_form(run: Run, sheet: Path, tmp_path: Path) -> None:
    printed = run("cross-check", str(sheet), "--json")
    told = json.loads(printed.out)
    named = [(line["line"], each["element"]["number"]) for line in told["lines"] for each in line["candidates"]]
    assert len(named) == 4
    assert (told["answered"], told["faulty"]) == (2, 1)
    for form in ("csv", "xlsx", "json", "parquet"):
        out = tmp_path / f"answers.{form}"
        done = run("cross-check", str(sheet), "--out", str(out))
        assert done.status == SOME_FAULTY
        assert f"The answers are in {out}." in words(done.out)
        assert out.stat().st_size > 0
        done = run("cross-check", str(sheet), "--out", str(out))
        assert "This is there already" in done.refused(2)
    assert (tmp_path / "answers.json").read_text(encoding="utf-8") == printed.out.rstrip("\n")
    with (tmp_path / "answers.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["number"]]
    assert [(row["line"], row["number"].removeprefix("'")) for row in rows] == named
    book = openpyxl.load_workbook(tmp_path / "answers.xlsx", read_only=True)
    held = {str(cell) for row in book.worksheets[0].iter_rows(values_only=True) for cell in row}
    assert {number for _, number in named} <= held
    again = run("cross-check", str(tmp_path / "answers.xlsx"), "--json")
    assert plain(json.loads(again.out)["lines"]) == plain(told["lines"])


def plain(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Lines without where they stood and under which headings."""
    for line in lines:
        for fault in (line["problem"] or {}).get("errors", ()):
            del fault["field"]
    return [{name: its for name, its in line.items() if name not in ("row", "notes", "headings")} for line in lines]


def test_options_hold_for_all_lines_that_do_not_say_it_themselves(run: Run, sheet: Path) -> None:
    options = ("--flow", "50 L/min", "--grade", "ISO VG 46", "--allow", "5 %", "--assume", "customary", "--as-of", "1")
    printed = run("cross-check", str(sheet), *options, "--limit", "20", "--json").out
    press, saw, _ = (line["asked"] for line in json.loads(printed)["lines"])
    said = {"fluid.grade": "ISO VG 46", "original.allow": "5 %", "assumptions": "customary", "as_of": "1"}
    assert press.items() >= said.items()
    assert (press["flow"], saw["flow"]) == ("75 L/min", "50 L/min")
    assert press["limit"] == "20"


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--flow", "75"), "--flow: "),
        (("--out", "answers.pdf"), "--out: The name of the file does not say its form."),
        (("--out", "answers.csv", "--csv"), "--out: An answer has one form."),
        (("--table", "criteria"), "--table: Only CSV and Parquet hold one table."),
        (("--mode", "guess"), "is not one of"),
    ],
)
def test_what_is_wrong_for_all_lines_is_said_before_any_is_answered(
    run: Run, sheet: Path, options: tuple[str, ...], said: str
) -> None:
    assert said in run("cross-check", str(sheet), *options).refused(2)


def test_a_file_that_is_none_is_refused(run: Run, tmp_path: Path) -> None:
    assert "The file cannot be read" in run("cross-check", str(tmp_path / "none.csv")).refused(2)
    run("cross-check", "-", stdin="nothing,known\n1,2\n").refused(2)


def test_what_is_broken_off_leaves_no_file(
    run: Run, sheet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken_off(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(running, "answer_line", broken_off)
    for form in ("csv", "xlsx"):
        assert run("cross-check", str(sheet), "--out", str(tmp_path / f"answers.{form}")).status == INTERRUPTED
    assert [file.name for file in tmp_path.iterdir()] == ["lines.csv"]


def test_one_table_as_csv(run: Run, sheet: Path) -> None:
    for table, heading in (("criteria", "requirement"), ("requests", "settles")):
        done = run("cross-check", str(sheet), "--csv", "--table", table, "--units", "us")
        rows = list(csv.DictReader(io.StringIO(done.out)))
        assert done.status == SOME_FAULTY
        assert {row["line"] for row in rows} == {"press", "saw"}
        assert heading in rows[0]
