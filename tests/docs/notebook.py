"""The notebook of the documentation, run from top to bottom by a kernel of its own.

``python -m tests.docs.notebook`` writes its outputs anew, after a change that is meant to change them.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

import nbformat
from nbclient import NotebookClient

from specdb.catalog.store import ENVIRONMENT_VARIABLE, open_store
from specdb.demo import demo_folder
from specdb.exchange import import_folder
from tests.docs.pages import ROOT

NOTEBOOK = ROOT / "docs" / "notebook.ipynb"
SECONDS_OF_A_CELL = 60


def stored() -> Any:
    return nbformat.read(NOTEBOOK, as_version=4)


def run(store_url: str, folder: Path) -> Any:
    """The notebook with the outputs that it has over a store. Raises CellExecutionError where a cell fails."""
    notebook = stored()
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    environment = os.environ | {ENVIRONMENT_VARIABLE: store_url}
    client = NotebookClient(notebook, timeout=SECONDS_OF_A_CELL, resources={"metadata": {"path": str(folder)}})
    client.execute(env=environment)
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)  # when each cell was run
    notebook.metadata = stored().metadata  # without the version of who ran it
    return notebook


def write() -> None:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'demo.sqlite'}"
        engine = open_store(url, create=True)
        import_folder(engine, demo_folder(), actor="test", reason="the demo catalogue")
        engine.dispose()
        nbformat.write(run(url, Path(folder)), NOTEBOOK)


if __name__ == "__main__":
    write()
