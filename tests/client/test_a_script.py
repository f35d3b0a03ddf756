"""A script with a store needs no service, no network and nothing of the server."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import sqlalchemy as sa

import specdb

ROOT = Path(__file__).parents[2]
_WITHOUT_NETWORK = """
import runpy, socket, sys

def refused(*_):
    raise AssertionError("the script reached for the network")

socket.socket.connect = socket.getaddrinfo = socket.create_connection = refused
sys.argv = sys.argv[1:]
runpy.run_path(sys.argv[0], run_name="__main__")
server = [name for name in ("httpx2", "fastapi", "starlette", "uvicorn", "api") if name in sys.modules]
assert not server, server
"""


def test_a_script_runs_without_a_network(demo_store_url: str) -> None:
    script, store = Path(__file__).with_name("a_script.py"), str(sa.make_url(demo_store_url).database)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", _WITHOUT_NETWORK, str(script), store],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = done.stdout.splitlines()
    assert [line.split()[0] for line in told[:3]] == ["1", "2", "3"]
    assert told[3:] == ["3", "0.01", "1 0", told[-2], "/number"]
    assert told[-2].startswith("An efficiency of 99.5 % is a filtration ratio of 200")


def test_the_front_of_the_package_names_what_there_is() -> None:
    assert list(specdb.__all__) == sorted(specdb.__all__)
    assert all(getattr(specdb, name) is not None for name in specdb.__all__)
    assert {*specdb.__all__} <= {*dir(specdb)}
    assert not hasattr(specdb, "nothing")
    assert (ROOT / "specdb" / "py.typed").exists()
