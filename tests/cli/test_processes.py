"""The installed program as a process of its own: the demo, and a service that answers."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import termios
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

PROGRAM = Path(sys.executable).with_name("specdb")


def _environment(**more: str) -> dict[str, str]:
    """Ours, where warnings are errors, but without a store."""
    kept = {name: value for name, value in os.environ.items() if name != "SPECDB_DATABASE_URL"}
    return kept | {"PYTHONWARNINGS": "error"} | more


def _run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [PROGRAM, *arguments], env=_environment(**environment), capture_output=True, text=True, check=False, timeout=60
    )


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def _started(*arguments: str, port: int, **environment: str) -> Iterator[str]:
    """A service that answers, stopped afterwards; gives its address."""
    address = f"http://127.0.0.1:{port}"
    process = subprocess.Popen(
        [PROGRAM, *arguments, "--port", str(port)],
        env=_environment(**environment),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        _wait_until_answering(process, address)
        yield address
    finally:
        process.terminate()
        printed, _ = process.communicate(timeout=20)
        assert "Traceback" not in printed, printed


def _wait_until_answering(process: subprocess.Popen[str], address: str) -> None:
    until = time.monotonic() + 40
    while time.monotonic() < until and process.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/health", timeout=5):
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail(f"the service did not answer; it ended with {process.poll()}")


def _fetched(address: str, body: Any = None) -> Any:
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(address, data, {"content-type": "application/json"})
    with urllib.request.urlopen(request, timeout=20) as response:
        return json.load(response)


def test_the_demo_loads_twice_and_what_it_says_to_try_works(tmp_path: Path) -> None:
    for _ in range(2):
        done = _run("demo", "--load-only", XDG_DATA_HOME=str(tmp_path))
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
        assert "Every maker, part and figure in it is invented." in done.stdout
    lines = [line.strip() for line in done.stdout.splitlines() if line.startswith("  ")]
    assert len(lines) == 4
    script = "set -eu\n" + "\n".join(lines)
    tried = subprocess.run(
        ["bash", "-c", script], env=_environment(), cwd=tmp_path, capture_output=True, text=True, timeout=60
    )
    assert tried.returncode == 0, tried.stderr
    assert tried.stdout.count("Dulse 23") >= 2
    assert "revision 1)" in tried.stdout


def test_serve_answers_on_the_loopback_address(demo_store_url: str) -> None:
    with _started("serve", port=_free_port(), SPECDB_DATABASE_URL=demo_store_url) as address:
        health = _fetched(f"{address}/health")
        assert (health["alive"], health["catalog_revision"]) == (True, 1)
        question = {"original": {"number": "Dulse 23"}, "limit": 2}
        over_http = _fetched(f"{address}/v1/equivalents", question)
        asked = ("rank", "Dulse 23", "--limit", "2", "--json")
        assert over_http == json.loads(_run(*asked, SPECDB_DATABASE_URL=demo_store_url).stdout)


def test_the_demo_serves_its_own_store_whatever_the_environment_names(demo_store_url: str, tmp_path: Path) -> None:
    # Loaded beforehand, since loading it is not what is tried here.
    (tmp_path / "specdb").mkdir()
    shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path / "specdb" / "demo.sqlite")
    elsewhere = {"XDG_DATA_HOME": str(tmp_path), "SPECDB_DATABASE_URL": "sqlite:////no/such/store.sqlite"}
    with _started("demo", port=_free_port(), **elsewhere) as address:
        assert _fetched(f"{address}/health")["catalog_revision"] == 1
        assert len(_fetched(f"{address}/v1/characteristics")["characteristics"]) > 10


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_a_taken_port_is_said_before_anything_starts(demo_store_url: str, tmp_path: Path, command: str) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        done = _run(command, "--port", port, SPECDB_DATABASE_URL=demo_store_url, XDG_DATA_HOME=str(tmp_path))
    assert done.returncode == 2
    assert done.stdout == ""
    assert f"port {port}" in done.stderr
    assert "--port" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not list(tmp_path.rglob("*.sqlite"))


def _at_a_terminal(columns: int, *arguments: str, **environment: str) -> list[str]:
    """Lines that the program writes to a terminal of so many columns, without their colours."""
    ours, its = os.openpty()
    termios.tcsetwinsize(its, (50, columns))
    unsized = {name: value for name, value in _environment(**environment).items() if name not in ("COLUMNS", "LINES")}
    process = subprocess.Popen(
        [PROGRAM, *arguments], env=unsized | {"TERM": "xterm"}, stdin=its, stdout=its, stderr=its
    )
    os.close(its)
    written = b""
    try:
        while chunk := os.read(ours, 65536):
            written += chunk
    except OSError:  # what reading a terminal ends with once the other side is closed
        pass
    finally:
        os.close(ours)
    assert process.wait(timeout=60) == 0
    return re.sub(r"\x1b\[[0-9;]*m", "", written.decode()).splitlines()


@pytest.mark.parametrize("columns", [72, 200])
def test_tables_fit_the_terminal(demo_store_url: str, columns: int) -> None:
    lines = _at_a_terminal(columns, "show", "Rowan/3", SPECDB_DATABASE_URL=demo_store_url)
    tables = [line for line in lines if line.startswith(" ")]
    assert len(tables) > 20
    assert max(map(len, tables)) <= columns
    assert lines[0].startswith("Umberglyph Rowan/3")


def test_output_that_is_cut_short_is_no_failure_to_report(demo_store_url: str) -> None:
    script = f"'{PROGRAM}' rank 'Dulse 23' --limit 500 --json | head -n 1"
    done = subprocess.run(
        ["bash", "-c", script],
        env=_environment(SPECDB_DATABASE_URL=demo_store_url),
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.stdout == "{\n"
    assert done.stderr == ""


def test_an_output_that_knows_ascii_only_is_no_failure(demo_store_url: str) -> None:
    narrow = {"SPECDB_DATABASE_URL": demo_store_url, "PYTHONIOENCODING": "ascii"}
    for arguments in (("rank", "Dulse 23", "--limit", "1"), ("show", "Rowan/3"), ("show", "Ø 3")):
        done = _run(*arguments, **narrow)
        assert done.returncode in (0, 3), done.stderr
        assert "Traceback" not in done.stderr
    told = json.loads(_run("rank", "Dulse 23", "--limit", "1", "--json", **narrow).stdout)
    assert "µm(c)" in json.dumps(told, ensure_ascii=False)
