"""The free office suite, without a window.

The program comes from ``SOFFICE``, else from the path; what drives it is a Python that has ``uno``: the system's, or
the one beside the program. Without them these tests are skipped, but where ``CI`` is set they fail. The suite starts
once for all tests that a process runs.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.office.office import Office, running

PYTHONS = ("/usr/bin/python3", "/usr/local/bin/python3")


def _without(reason: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(f"{reason}; in CI the tests of the office suite must run")
    pytest.skip(reason)


def _has_uno(python: str) -> bool:
    asked = [python, "-c", "import uno"]
    return os.access(python, os.X_OK) and subprocess.run(asked, capture_output=True).returncode == 0


@pytest.fixture(scope="session")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    program = os.environ.get("SOFFICE") or shutil.which("soffice")
    if program is None:
        _without("no office suite: set SOFFICE or put soffice on the path (Debian: libreoffice-calc)")
        return
    beside = str(Path(program).resolve().with_name("python"))
    python = next(filter(_has_uno, (*PYTHONS, beside)), None)
    if python is None:
        _without("no Python that has uno to drive the office suite with (Debian: python3-uno)")
        return
    with running(program, python, tmp_path_factory.mktemp("office")) as started:
        yield started
