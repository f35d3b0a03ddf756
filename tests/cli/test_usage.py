"""Command lines that cannot be read, and how the program ends when nobody listens any more."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import time
from importlib.metadata import version
from pathlib import Path

import pytest
import typer

from specdb.answers import METHOD_VERSION
from specdb.cli import app
from tests.cli.conftest import Run
from tests.cli.processes import PROGRAM, environment

COMMANDS = sorted(typer.main.get_command(app).commands)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_describes_itself_within_80_columns(run: Run, command: str) -> None:
    done = run(command, "--help")
    assert (done.status, done.err) == (0, "")
    assert done.out.startswith(f"Usage: specdb {command} ")
    assert max(map(len, done.out.splitlines())) <= 80


def test_the_program_alone_shows_its_help_on_standard_error(run: Run) -> None:
    done = run()
    assert (done.status, done.out) == (2, "")
    assert done.err.startswith("Usage: specdb ")
    for command in COMMANDS:
        assert f"\n  {command} " in done.err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["rnak", "x"], ["No such command 'rnak'", "rank", "specdb --help"]),
        (["serach", "x"], ["search"]),
        (["rank", "--colour", "red"], ["There is no option --colour", "specdb rank --help"]),
        (["rank", "--limt", "3"], ["--limt", "Did you mean", "--limit"]),
        (["rank", "--limit", "0"], ["'--limit'", "greater than or equal to 1"]),
        (["rank", "--limit", "501"], ["'--limit'", "500"]),
        (["rank", "--limit", "many"], ["'--limit'", "integer"]),
        (["rank", "--units", "metric"], ["'--units'", "si", "us"]),
        (["rank", "--units"], ["--units", "requires an argument"]),
        (["show"], ["Missing argument 'NUMBER'", "specdb show --help"]),
        (["compare"], ["Missing argument 'NUMBER...'"]),
        (["import"], ["Missing argument 'SOURCE'"]),
        (["import", "a", "b"], ["unexpected extra argument", "b"]),
        (["export"], ["Missing argument 'TARGET'"]),
        (["serve", "--port", "0"], ["'--port'"]),
        (["serve", "--port", "65536"], ["'--port'"]),
        (["serve", "--json"], ["There is no option --json"]),
    ],
)
def test_a_command_line_that_cannot_be_read_is_told_in_one_line_or_one_object(
    run: Run, arguments: list[str], told: list[str]
) -> None:
    if "--json" not in arguments:
        said = run(*arguments).refused(2)
        assert len(said.splitlines()) == 1
        assert all(each in said for each in told), said
    done = run(*arguments, *(["--json"] if "--json" not in arguments else []))
    if arguments[-1] != "--units":  # which takes the next word as its own
        assert (done.status, done.out) == (2, "")
        fault = json.loads(done.err)
        assert set(fault) == {"code", "message", "errors"}
        assert fault["code"] == "usage"
        assert set(fault["errors"][0]) == {"field", "message", "found", "remedy"}
        assert fault["errors"][0]["remedy"].endswith("--help.")


def test_a_usage_error_names_its_option(run: Run) -> None:
    def place(*arguments: str) -> str:
        return str(json.loads(run(*arguments, "--json").err)["errors"][0]["field"])

    assert place("rank", "--limit", "0") == "--limit"
    assert place("rank", "--limt", "3") == "--limt"
    assert place("show") == "NUMBER"


@pytest.mark.parametrize(
    "forms",
    [("--json", "--csv"), ("--csv", "--json"), ("--json", "--parquet", "x.parquet"), ("--parquet", "x", "--json")],
)
@pytest.mark.parametrize("command", ["rank", "show", "compare", "search", "list", "history", "characteristics"])
def test_one_answer_has_one_form(run: Run, command: str, forms: tuple[str, str]) -> None:
    done = run(command, *(("x",) if command not in ("list", "characteristics") else ()), *forms)
    assert (done.status, done.out) == (2, "")
    assert "--json or --csv" in json.loads(done.err)["message"]


def test_the_versions_are_told(run: Run) -> None:
    done = run("--version")
    assert (done.status, done.err) == (0, "")
    assert done.out == f"specdb {version('specdb')}, method {METHOD_VERSION}\n"


def test_strange_options_stay_in_one_printable_line(run: Run) -> None:
    said = run("rank", "--\x1b[2J\nfl\u202eow", "x").refused(2)
    assert len(said.splitlines()) == 1
    assert said.rstrip("\n").isprintable()


def test_a_word_after_two_dashes_is_no_option(run: Run) -> None:
    assert run("show", "--", "--json").refused(3).startswith("specdb: NUMBER: ")


# --- endings --------------------------------------------------------------------------------------


@pytest.mark.parametrize("arguments", ["rank 'Dulse 23' --limit 120 --explain", "list --json", "list --csv", "--help"])
def test_output_that_is_cut_short_is_no_failure_to_report(
    demo_store_url: str, quick_specdb: Path, arguments: str
) -> None:
    done = subprocess.run(
        ["bash", "-c", f"'{quick_specdb}' {arguments} | head -n 1; exit ${{PIPESTATUS[0]}}"],
        env=environment(SPECDB_DATABASE_URL=demo_store_url),
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert len(done.stdout.splitlines()) == 1
    assert done.stderr == ""
    assert done.returncode in (0, 1, 141)


def test_a_reader_that_has_gone_ends_the_program_with_141(demo_store_url: str) -> None:
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [PROGRAM, "show", "Dulse 23"],
        env=environment(SPECDB_DATABASE_URL=demo_store_url),
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        timeout=60,
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (141, "")


def test_an_interrupted_program_ends_with_130_and_says_nothing(demo_store_url: str, tmp_path: Path) -> None:
    fifo = tmp_path / "question.json"
    os.mkfifo(fifo)
    # Where the tests run in the background the signal may be ignored, and programs inherit that.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    process = subprocess.Popen(
        [PROGRAM, "rank", "--duty", str(fifo)],
        env=environment(SPECDB_DATABASE_URL=demo_store_url),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    signal.signal(signal.SIGINT, before)
    try:
        # It waits for the question: opening the other end succeeds once it reads.
        until = time.monotonic() + 60
        while True:
            try:
                writer = os.open(fifo, os.O_WRONLY | os.O_NONBLOCK)
                break
            except OSError:
                assert time.monotonic() < until
                time.sleep(0.05)
        # A signal that comes just before the program begins to wait for text does not wake it: a person presses again.
        while process.poll() is None and time.monotonic() < until:
            process.send_signal(signal.SIGINT)
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(timeout=10)
        os.close(writer)
        out, err = process.communicate(timeout=30)
    finally:
        process.kill()
        process.wait()
    assert (process.returncode, out, err) == (130, "", "")
