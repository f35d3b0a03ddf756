"""The notebook runs from top to bottom, and what it shows is what comes out."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.docs.notebook import NOTEBOOK, run, stored


def _shown(notebook: Any) -> list[tuple[str, list[dict[str, Any]]]]:
    return [(cell.source, [dict(each) for each in cell.outputs]) for cell in notebook.cells if cell.cell_type == "code"]


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")  # of the kernel's libraries
def test_the_notebook_shows_what_comes_out_of_it(demo_store_url: str, tmp_path: Path) -> None:
    shown = _shown(stored())
    assert len(shown) > 8
    assert sum(bool(outputs) for _, outputs in shown) >= len(shown) - 2
    for (source, outputs), (_, fresh) in zip(shown, _shown(run(demo_store_url, tmp_path)), strict=True):
        assert outputs == fresh, f"{source}\n\nIf that is meant: python -m tests.docs.notebook"


def test_the_notebook_says_that_its_data_are_invented() -> None:
    told = " ".join(" ".join(cell.source for cell in stored().cells if cell.cell_type == "markdown").split())
    assert "makers, numbers and ratings in it are invented" in told
    links = re.findall(r"\]\(([^)#]+)\)", told)
    assert "cautions.md" in links
    assert all((NOTEBOOK.parent / link).exists() for link in links)
