"""What a shell offers when a key is pressed, by the protocol of Bash."""

from __future__ import annotations

import os
import re
import shlex
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from specdb.characteristics import CHARACTERISTICS, KINDS
from specdb.cli import completion
from specdb.duty.question import AssumptionsAsked, FitAsked
from tests.cli.processes import PROGRAM, environment, run_program

Offered = Callable[..., list[str]]


@pytest.fixture
def offered(quick_specdb: Path) -> Offered:
    """What Bash is offered for the last word of a line; nothing may be said besides."""

    def pressed(line: str, url: str | None = None, **more: str) -> list[str]:
        words = re.split(r"(?<!\\) ", line)
        asked = {"_SPECDB_COMPLETE": "complete_bash", "COMP_WORDS": line, "COMP_CWORD": str(len(words) - 1)}
        store = {} if url is None else {"SPECDB_DATABASE_URL": url}
        done = run_program(program=quick_specdb, **asked, **store, **more)
        assert (done.returncode, done.stderr) == (0, "")
        return done.stdout.split("\n")[:-1] if done.stdout.strip() else []

    return pressed


def test_commands_and_options_are_offered(offered: Offered) -> None:
    assert offered("specdb sea") == ["search"]
    assert {"import", "export", "serve", "demo", "calc"} <= set(offered("specdb "))
    assert offered("specdb rank --expl") == ["--explain"]
    assert offered("specdb rank --units ") == ["si", "us"]
    assert offered("specdb picture c") == ["criteria"]


def test_words_of_the_vocabulary_are_offered(offered: Offered) -> None:
    judged = [key for key, c in CHARACTERISTICS.items() if c.sense != "shown"]
    assert offered("specdb rank --require ") == judged
    assert offered("specdb compare x --require col") == ["collapse_pressure"]
    assert offered("specdb rank --assume ") == ["customary", *AssumptionsAsked.model_fields]
    assert offered("specdb rank --fit ") == list(FitAsked.model_fields)
    assert offered("specdb list --kind ") == [kind.replace(" ", "\\ ") for kind in KINDS]
    assert "fluid_class" in offered("specdb list --fit flu")


def test_makers_and_numbers_on_file_are_offered(demo_store_url: str, offered: Offered) -> None:
    assert offered("specdb show --maker quo", demo_store_url) == ["Quollbeck"]
    numbers = offered("specdb show dulse\\ 2", demo_store_url)
    assert {"Dulse\\ 23", "Dulse\\ 24"} <= set(numbers)
    assert not [word for word in numbers if not word.startswith("Dulse\\ 2")]
    assert "23" in offered("specdb show Dulse 2", demo_store_url)  # the second word of a number without quotes
    assert offered("specdb rank --maker Oddmarrow 0042", demo_store_url)
    assert "12-1" in offered("specdb compare 00417 12-", demo_store_url)
    assert "12-1" in offered("specdb compare x --original 12-", demo_store_url)


def test_bash_itself_completes_a_number_with_a_space(demo_store_url: str, tmp_path: Path) -> None:
    done = run_program("--show-completion", "bash", _TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION="1")
    (tmp_path / "completion").write_text(done.stdout)
    asking = (
        f"source {shlex.quote(str(tmp_path / 'completion'))}\n"
        "COMP_WORDS=(specdb show 'Dulse\\ 23/'); COMP_CWORD=2\n"
        f"_specdb_completion {shlex.quote(str(PROGRAM))}\n"
        'printf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    told = subprocess.run(
        ["bash", "-c", asking],
        env=environment(SPECDB_DATABASE_URL=demo_store_url),
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert (told.stdout, told.stderr) == ("Dulse\\ 23/B\n", "")


def test_a_store_that_cannot_be_read_offers_nothing_and_is_left_alone(tmp_path: Path, offered: Offered) -> None:
    letter = tmp_path / "letter.sqlite"
    letter.write_text("Dear sir or madam, " * 1000)
    foreign = tmp_path / "foreign.sqlite"
    with sqlite3.connect(foreign) as connection:
        connection.execute("CREATE TABLE element (colour TEXT)")
    connection.close()
    missing = tmp_path / "none.sqlite"
    before = {path: path.read_bytes() for path in (letter, foreign)}
    urls = [f"sqlite:///{path}" for path in (letter, foreign, missing, tmp_path)]
    for url in (*urls, "sqlite://", "postgresql://nobody@127.0.0.1:1/none", "shelf"):
        assert offered("specdb show D", url) == []
        assert offered("specdb show --maker D", url) == []
    assert offered("specdb show D", XDG_DATA_HOME=str(tmp_path)) == []
    assert {path: path.read_bytes() for path in (letter, foreign)} == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["foreign.sqlite", "letter.sqlite"]


def test_completion_waits_for_nobody_and_leaves_no_trace(
    demo_store_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "shelf"
    folder.mkdir()
    file = folder / "copy.sqlite"
    with sqlite3.connect(str(sa.make_url(demo_store_url).database)) as ours, sqlite3.connect(file) as copy:
        ours.backup(copy)
    ours.close()
    copy.close()
    writer = sqlite3.connect(file, isolation_level=None)
    writer.execute("BEGIN EXCLUSIVE")
    file.chmod(stat.S_IRUSR)
    monkeypatch.setenv("SPECDB_DATABASE_URL", f"sqlite:///{file}")
    before = sorted(path.name for path in folder.iterdir())
    assert "Quollbeck" in completion.makers("q")
    assert sorted(path.name for path in folder.iterdir()) == before
    writer.close()


def test_names_that_no_shell_can_show_are_not_offered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "odd.sqlite"
    with sqlite3.connect(file) as connection:
        connection.execute("CREATE TABLE element (maker TEXT, number TEXT, maker_key TEXT, number_key TEXT)")
        rows = [("A", "1\n2", "A", "12"), ("A", "1\x1b[2J", "A", "1"), ("A", "1$(id)", "A", "1ID")]
        connection.executemany("INSERT INTO element VALUES (?, ?, ?, ?)", rows)
    connection.close()
    monkeypatch.setenv("SPECDB_DATABASE_URL", f"sqlite:///{file}")
    monkeypatch.setenv("_SPECDB_COMPLETE", "complete_bash")
    assert completion.whole_numbers("1") == ["1\\$\\(id\\)"]


def test_completion_of_what_is_on_file_loads_nothing_heavy(demo_store_url: str) -> None:
    code = (
        "import sys; from specdb.cli import completion; assert completion.makers(''); assert completion.judged('')\n"
        "print([m for m in ('sqlalchemy', 'numpy', 'pandas', 'pint') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=environment(SPECDB_DATABASE_URL=demo_store_url),
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert done.stdout.strip() == "[]"


def test_the_script_of_each_shell_can_be_shown_and_installed(tmp_path: Path, quick_specdb: Path) -> None:
    named = {"_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1"}
    for shell in ("bash", "zsh", "fish"):
        shown = run_program("--show-completion", shell, program=quick_specdb, **named)
        assert (shown.returncode, shown.stderr) == (0, "")
        assert "_SPECDB_COMPLETE" in shown.stdout
    done = run_program("--install-completion", "bash", program=quick_specdb, HOME=str(tmp_path), **named)
    assert done.returncode == 0, done.stderr
    installed = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert any("_SPECDB_COMPLETE" in path.read_text() for path in installed)
    assert os.path.commonpath([str(tmp_path), *map(str, installed)]) == str(tmp_path)
