"""The installed program as a process of its own: the demo, and a service that answers."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import termios
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
import uvicorn

from tests.cli.conftest import Run
from tests.cli.processes import PROGRAM, environment, run_program


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def _started(*arguments: str, port: int, log: list[str] | None = None, **more: str) -> Iterator[str]:
    """A service that answers, stopped afterwards; gives its address. ``log`` is given the lines it printed."""
    address = f"http://127.0.0.1:{port}"
    process = subprocess.Popen(
        [PROGRAM, *arguments, "--port", str(port)],
        env=environment(**more),
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
        if log is not None:
            log += printed.splitlines()


def _wait_until_answering(process: subprocess.Popen[str], address: str) -> None:
    until = time.monotonic() + 40
    while time.monotonic() < until and process.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/health", timeout=5):
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail(f"the service did not answer; it ended with {process.poll()}")


def _fetched(address: str, body: Any = None, **headers: str) -> Any:
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(address, data, {"content-type": "application/json"} | headers)
    with urllib.request.urlopen(request, timeout=20) as response:
        return json.load(response)


def test_the_demo_loads_twice_and_what_it_says_to_try_works(tmp_path: Path, quick_specdb: Path) -> None:
    for program in (PROGRAM, quick_specdb):
        done = run_program("demo", "--load-only", program=program, XDG_DATA_HOME=str(tmp_path))
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
        assert "Every maker, part and figure in it is invented." in done.stdout
    lines = [line.strip() for line in done.stdout.splitlines() if line.startswith("  ")]
    assert len(lines) == 5
    script = "set -eu\n" + "\n".join(lines)
    tried = subprocess.run(
        ["bash", "-c", script], env=environment(), cwd=tmp_path, capture_output=True, text=True, timeout=60
    )
    assert tried.returncode == 0, tried.stderr
    assert tried.stdout.count("Dulse 23") >= 2
    assert "revision 1)" in tried.stdout


def test_serve_answers_on_the_loopback_address(demo_store_url: str, quick_specdb: Path) -> None:
    with _started("serve", port=_free_port(), SPECDB_DATABASE_URL=demo_store_url) as address:
        health = _fetched(f"{address}/health")
        assert (health["alive"], health["catalog_revision"]) == (True, 1)
        question = {"original": {"number": "Dulse 23"}, "limit": 2}
        over_http = _fetched(f"{address}/v1/equivalents", question)
        asked = ("rank", "Dulse 23", "--limit", "2", "--json")
        printed = run_program(*asked, program=quick_specdb, SPECDB_DATABASE_URL=demo_store_url).stdout
        assert over_http == json.loads(printed)


def test_every_line_of_the_log_names_its_request(demo_store_url: str) -> None:
    log: list[str] = []
    port = _free_port()
    with _started("serve", "--allow-writes", port=port, log=log, SPECDB_DATABASE_URL=demo_store_url) as address:
        _fetched(f"{address}/health", **{"X-Request-ID": "counter-7"})
        # A question in an address may be long.
        assert _fetched(f"{address}/v1/search?q=dulse%2023", **{"X-Long": "x" * 100_000})["hits"]
    assert log[0] == f"specdb: Writes are allowed: anyone who reaches port {port} may import into the catalogue."
    lines = [line for line in log if not line.startswith("specdb: ")]
    assert len(lines) > 4
    for line in lines:
        assert re.match(r"[0-9-]{10} [0-9:,]{12} [A-Z]+ \[[A-Za-z0-9._-]+\] ", line), line
    assert [line for line in lines if "[counter-7] GET /health 200" in line]


def test_who_can_reach_the_service_is_said(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[dict[str, Any]] = []
    monkeypatch.setattr(uvicorn, "run", lambda app, **how: started.append({"app": app} | how))
    monkeypatch.delenv("SPECDB_ALLOW_WRITES", raising=False)
    monkeypatch.setenv("SPECDB_HOSTS", "counter.example")
    port = str(_free_port())
    quiet = run("serve", "--port", port)
    assert (quiet.status, quiet.out, quiet.err) == (0, "", "")
    assert "SPECDB_ALLOW_WRITES" not in os.environ
    told = run("serve", "--port", port, "--host", "0.0.0.0")
    assert "0.0.0.0 is reached from other machines too, without access control" in told.err
    monkeypatch.setenv("SPECDB_ALLOW_WRITES", "0")
    assert "Writes are allowed" in run("serve", "--port", port, "--allow-writes").err
    assert os.environ["SPECDB_ALLOW_WRITES"] == "1"
    assert run("serve", "--port", port, "--host", "localhost").status == 0
    # A page that is opened by the name that is served may import too.
    assert {"counter.example", "localhost"} <= {*os.environ["SPECDB_HOSTS"].split()}
    assert {how["app"] for how in started} == {"api:app"}
    assert {how["access_log"] for how in started} == {False}
    assert {how["h11_max_incomplete_event_size"] for how in started} == {256 * 1024}


@pytest.mark.parametrize("host", ["no such host", "x" * 300, "10.255.255.1"])
def test_an_address_that_cannot_be_bound_is_told(run: Run, host: str) -> None:
    said = run("serve", "--host", host).refused(2)
    assert "--host" in said
    assert len(said.splitlines()) == 1


def test_the_demo_serves_its_own_store_whatever_the_environment_names(demo_store_url: str, tmp_path: Path) -> None:
    # Loaded beforehand, since loading it is not what is tried here.
    (tmp_path / "specdb").mkdir()
    shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path / "specdb" / "demo.sqlite")
    elsewhere = {"XDG_DATA_HOME": str(tmp_path), "SPECDB_DATABASE_URL": "sqlite:////no/such/store.sqlite"}
    with _started("demo", port=_free_port(), **elsewhere) as address:
        assert _fetched(f"{address}/health")["catalog_revision"] == 1
        assert len(_fetched(f"{address}/v1/characteristics")["characteristics"]) > 10


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_a_taken_port_is_said_before_anything_starts(
    demo_store_url: str, tmp_path: Path, quick_specdb: Path, command: str
) -> None:
    its_own = {"SPECDB_DATABASE_URL": demo_store_url, "XDG_DATA_HOME": str(tmp_path)}
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        done = run_program(command, "--port", port, program=quick_specdb, **its_own)
    assert done.returncode == 2
    assert done.stdout == ""
    assert f"port {port}" in done.stderr
    assert "--port" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not list(tmp_path.rglob("*.sqlite"))


def _at_a_terminal(program: Path, columns: int, *arguments: str, **more: str) -> list[str]:
    """Lines that the program writes to a terminal of so many columns, without their colours."""
    ours, its = os.openpty()
    termios.tcsetwinsize(its, (50, columns))
    process = subprocess.Popen(
        [program, *arguments], env=environment(TERM="xterm", **more), stdin=its, stdout=its, stderr=its
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
def test_tables_fit_the_terminal(demo_store_url: str, quick_specdb: Path, columns: int) -> None:
    lines = _at_a_terminal(quick_specdb, columns, "show", "Rowan/3", SPECDB_DATABASE_URL=demo_store_url)
    assert len(lines) > 40
    assert columns // 2 < max(map(len, lines)) <= columns
    assert lines[0].startswith("Umberglyph Rowan/3")


def test_an_output_that_knows_ascii_only_is_no_failure(demo_store_url: str, quick_specdb: Path) -> None:
    narrow = {"SPECDB_DATABASE_URL": demo_store_url, "PYTHONIOENCODING": "ascii"}
    for program, *arguments in (
        (PROGRAM, "rank", "Dulse 23", "--limit", "1"), (quick_specdb, "show", "Rowan/3"), (quick_specdb, "show", "Ø 3"),
    ):  # fmt: skip
        done = run_program(*arguments, program=program, **narrow)
        assert done.returncode in (0, 3), done.stderr
        assert "Traceback" not in done.stderr
    asked = ("rank", "Dulse 23", "--limit", "1", "--json")
    told = json.loads(run_program(*asked, program=quick_specdb, **narrow).stdout)
    assert "µm(c)" in json.dumps(told, ensure_ascii=False)
