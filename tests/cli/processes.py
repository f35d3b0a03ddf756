"""The program as a process of its own: as it is installed, or quickly started."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

PROGRAM = Path(sys.executable).with_name("specdb")


def environment(**more: str) -> dict[str, str]:
    """Ours, where warnings are errors, but without a store and without a width."""
    without = ("SPECDB_DATABASE_URL", "SPECDB_ALLOW_WRITES", "COLUMNS", "LINES")
    kept = {name: value for name, value in os.environ.items() if name not in without}
    return kept | {"PYTHONWARNINGS": "error"} | more


def run_program(*arguments: str, program: Path = PROGRAM, **more: str) -> subprocess.CompletedProcess[str]:
    """What the program does with these arguments; ``program`` may be ``quick_specdb``."""
    return subprocess.run(
        [program, *arguments], env=environment(**more), capture_output=True, text=True, check=False, timeout=60
    )
