"""The demo: an invented catalogue in a store of its own."""

from __future__ import annotations

import importlib.resources
import shlex
from pathlib import Path

from platformdirs import user_data_dir

from specdb.errors import StoreError


def demo_folder() -> Path:
    """The demo catalogue: inside the installed package, or beside it in a checkout."""
    package = Path(str(importlib.resources.files("specdb")))
    for folder in (package / "_demo_catalog", package.parent / "demo_catalog"):
        if folder.is_dir():
            return folder
    raise StoreError("The demo catalogue is not installed.", remedy="Install the package again.")


def demo_url() -> str:
    """A store of its own in the user's data folder, so that invented parts never mix with real ones."""
    folder = Path(user_data_dir("specdb"))
    folder.mkdir(parents=True, exist_ok=True)
    return f"sqlite:///{folder / 'demo.sqlite'}"


def what_to_try(url: str, service: str | None, program: str) -> str:
    """What to type next, ready to copy; ``program`` is how this one was called."""
    program = shlex.quote(program)
    lines = [
        "The demo catalogue is loaded. Every maker, part and figure in it is invented.",
        "",
        "Try next, in another terminal of the same folder:",
        f"  export SPECDB_DATABASE_URL={shlex.quote(url)}",
        f"  {program} search dulse 23",
        f"  {program} show Dulse 23",
        f"  {program} rank 'Dulse 23' --assume customary",
        f"  {program} rank --flow '75 L/min' --require 'filtration_ratio >= 200; size 10 um(c)' "
        "--require 'retained_capacity >= 60 g' --fit 'thread 1-12 UNF' --explain",
    ]
    if service is not None:
        question = '{"original": {"number": "Dulse 23"}, "duty": {"assumptions": "customary"}, "limit": 5}'
        lines += [
            f"  curl -s {service}/v1/equivalents -H 'content-type: application/json' -d '{question}'",
            f"  curl -s {service}/v1/characteristics",
            "",
            f"Open {service}/ in a browser for the pages; the API describes itself at {service}/openapi.json",
            f"Serving on {service}; stop with Ctrl+C.",
        ]
    return "\n".join(lines)
