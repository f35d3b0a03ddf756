"""The blocks of the documentation run, in order, on a store of their page, and print what stands below them."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
import uvicorn
from starlette.testclient import TestClient

from api import create_app
from specdb.exchange.columns import COLUMNS
from tests.docs.pages import BLOCKS, PAGES, ROOT, RUN, SHOWN, Block

MARK = "-- end of block --"
ADDRESS = "127.0.0.1:8000"
"""Where the pages say that the service is."""
LANGUAGES = {*RUN, *SHOWN}


def _of(page: str) -> list[Block]:
    return [block for block in BLOCKS if block.page == page]


PAGES_THAT_RUN = [page for page in PAGES if any(block.runs for block in _of(page))]


# --- what blocks there are ------------------------------------------------------------------------


def test_every_block_says_what_it_is() -> None:
    for block in BLOCKS:
        assert block.language in LANGUAGES, f"{block.place}: a block of an unknown language {block.language!r}"
        known = block.use == "" or block.taken_out or (block.language, block.use) in {("csv", "file"), ("sh", "setup")}
        assert known, f"{block.place}: {block.use!r} says neither what the block is nor why it is not run"


def test_what_is_shown_belongs_to_a_block_that_runs() -> None:
    for block in BLOCKS:
        if block.shows:
            before = [other for other in _of(block.page) if other.runs and other.line < block.line]
            assert before, f"{block.place}: nothing runs before it"


def test_the_commands_that_no_test_can_run_are_those_that_ci_runs() -> None:
    """The set-up commands make an environment and run the tests, so they cannot be run from within a test.
    `.ci/run` runs the one with the tests as it stands in the README, and the demo from an installed wheel; here it
    is only checked that they are the two that it looks for."""
    commands = [block.text.strip() for block in BLOCKS if block.use == "setup"]
    assert [block.page for block in BLOCKS if block.use == "setup"] == ["README.md", "README.md"]
    demo, tests = commands
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    pattern = re.search(r"grep -m1 -E \"(.+)\" README\.md", ci)
    assert pattern is not None
    matching = [line for line in PAGES["README.md"].splitlines() if re.search(pattern[1], line)]
    assert matching == [tests]
    install = "python3 -m venv .venv && .venv/bin/pip install -q -c .ci/constraints.txt -e "
    assert demo == f"{install}. && .venv/bin/specdb demo"
    assert tests == f"{install}'.[test]' && .venv/bin/python -m pytest -q -n auto --dist worksteal"
    assert "specdb\" demo --load-only" in ci
    assert (ROOT / ".ci" / "constraints.txt").exists()


# --- blocks that run ------------------------------------------------------------------------------


@contextmanager
def _service(store: Path) -> Iterator[str]:
    """A service on a free port over ``store``, which takes imports; gives its host and port."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        app = create_app(f"sqlite:///{store}", allow_writes=True)
        server = uvicorn.Server(uvicorn.Config(app, log_config=None, http="h11", ws="none", lifespan="on"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            until = time.monotonic() + 20
            while not server.started and thread.is_alive() and time.monotonic() < until:
                time.sleep(0.01)
            assert server.started, "the service did not start"
            yield f"127.0.0.1:{listening.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join()


def _shell(block: Block) -> str:
    if block.language == "python":
        return f"python - <<'END-OF-PYTHON'\n{block.text}END-OF-PYTHON\n"
    return block.text


def _printed(page: str, folder: Path, demo_store: Path, program: Path) -> list[str]:
    """What each block of a page that runs prints, standard error with it."""
    for needed in ("bash", "curl"):
        assert shutil.which(needed), f"the pages call {needed}, which is not installed"
    running = [block for block in _of(page) if block.runs]
    script = "exec 2>&1\n" + "".join(f"{_shell(block)}\necho\necho '{MARK}'\n" for block in running)
    # Loading the demo again changes nothing, and takes less time where it is loaded already.
    store = folder / "data" / "specdb" / "demo.sqlite"
    store.parent.mkdir(parents=True)
    shutil.copy(demo_store, store)
    without = ("SPECDB_DATABASE_URL", "SPECDB_ALLOW_WRITES", "COLUMNS", "LINES")
    environment = {name: value for name, value in os.environ.items() if name not in without} | {
        "PATH": os.pathsep.join([str(program.parent), str(Path(sys.executable).parent), os.environ["PATH"]]),
        "XDG_DATA_HOME": str(folder / "data"),
        "PYTHONWARNINGS": "error",
    }

    def run(script: str) -> str:
        done = subprocess.run(
            ["bash", "-eu", "-c", script], cwd=folder, env=environment, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, f"{page}:\n{done.stdout}"
        return done.stdout

    if ADDRESS in script:
        with _service(store) as address:
            printed = run(script.replace(ADDRESS, address)).replace(address, ADDRESS)
    else:
        printed = run(script)
    return printed.split(f"\n{MARK}\n")[:-1]


@pytest.mark.parametrize("page", PAGES_THAT_RUN)
def test_every_block_prints_what_stands_below_it(
    page: str, tmp_path: Path, demo_store_url: str, quick_specdb: Path
) -> None:
    printed = _printed(page, tmp_path, Path(str(sa.make_url(demo_store_url).database)), quick_specdb)
    runs = -1
    for block in _of(page):
        runs += block.runs
        if block.shows:
            lacking = _lacking(block, printed[runs])
            assert lacking is None, (
                f"{block.place}: what runs does not print {lacking!r}, but:\n{printed[runs][:5000]}"
            )


def _lacking(block: Block, printed: str) -> str | None:
    """The first part of what is shown that was not printed."""
    if block.language == "json":
        return _lacking_in(json.loads(block.text), json.loads(printed), "the answer")
    return _lacking_line(_lines(block.text), _lines(printed))


def _lines(text: str) -> list[str]:
    """Lines that are not blank, each with its white space folded."""
    return [folded for line in text.splitlines() if (folded := " ".join(line.split()))]


def _lacking_line(wanted: list[str], printed: list[str]) -> str | None:
    """The first wanted line that does not stand in ``printed`` after those before it."""
    place = 0
    for line in wanted:
        while place < len(printed) and line not in printed[place]:
            place += 1
        if place == len(printed):
            return line
        place += 1
    return None


def _lacking_in(wanted: Any, found: Any, where: str) -> str | None:
    """The first wanted part that is not in ``found``: objects and lists may be shown in part, lists from their
    beginning."""
    if isinstance(wanted, dict) and isinstance(found, dict):
        for name, value in wanted.items():
            if name not in found:
                return f"{where}.{name}"
            if (lacking := _lacking_in(value, found[name], f"{where}.{name}")) is not None:
                return lacking
        return None
    if isinstance(wanted, list) and isinstance(found, list):
        if len(wanted) > len(found):
            return f"{where}[{len(found)}]"
        for place, (value, its) in enumerate(zip(wanted, found, strict=False)):
            if (lacking := _lacking_in(value, its, f"{where}[{place}]")) is not None:
                return lacking
        return None
    return None if wanted == found and type(wanted) is type(found) else f"{where} = {wanted!r}"


# --- blocks that are read -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def client(demo_store_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(demo_store_url)) as started:
        yield started


QUESTIONS = [block for block in BLOCKS if block.asks]


@pytest.mark.parametrize("block", QUESTIONS, ids=lambda block: block.place)
def test_every_question_is_answered(block: Block, client: TestClient) -> None:
    asked = json.loads(block.text)
    answer = client.post("/v1/comparisons" if "elements" in asked else "/v1/equivalents", json=asked)
    assert answer.status_code == 200, answer.text
    assert answer.json()["requirements"]


def test_every_file_shown_has_columns_that_are_known() -> None:
    for block in BLOCKS:
        if block.use == "file":
            assert _wrong_in_file(block.text) is None, block.place


def _wrong_in_file(text: str) -> str | None:
    """What makes a text no file of a catalogue folder."""
    headings, *rows = csv.reader(io.StringIO(text))
    plain = {re.sub(r" \[.+\]$", "", heading) for heading in headings}
    if not any(plain <= set(columns) for columns in COLUMNS.values()):
        return f"no sheet has the columns {', '.join(headings)}"
    odd = [row for row in rows if len(row) != len(headings)]
    return f"a row of another length: {odd[0]}" if odd else None if rows else "no row"


def test_what_is_no_file_is_found_out() -> None:
    assert _wrong_in_file("maker,number,length [mm]\nPellwood,P-10,140\n") is None
    assert _wrong_in_file("maker,number,size of thread\nPellwood,P-10,1-12 UNF\n") is not None
    assert _wrong_in_file("maker,number\nPellwood\n") is not None
    assert _wrong_in_file("maker,number\n") is not None


# --- the comparison itself ------------------------------------------------------------------------


def test_what_is_not_printed_is_found_out() -> None:
    assert _lacking_line(["a", "c"], ["a b", "b", "c"]) is None
    assert _lacking_line(["c", "a"], ["a b", "b", "c"]) == "a"
    printed = {"rank": 1, "names": ["x", "y"], "shown": {"low": 1.5, "high": None}}
    assert _lacking_in({"names": ["x"], "shown": {"high": None}}, printed, "it") is None
    assert _lacking_in({"names": ["y"]}, printed, "it") == "it.names[0] = 'y'"
    assert _lacking_in({"names": ["x", "y", "z"]}, printed, "it") == "it.names[2]"
    assert _lacking_in({"shown": {"low": 1.6}}, printed, "it") == "it.shown.low = 1.6"
    assert _lacking_in({"rank": True}, printed, "it") == "it.rank = True"
    assert _lacking_in({"place": 1}, printed, "it") == "it.place"
