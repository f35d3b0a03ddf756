"""``specdb show``: one element, numbers that are not on file, and texts that look like something else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from api import create_app
from tests.cli.conftest import Run


def test_an_element_is_shown_to_the_letter(run: Run) -> None:
    done = run("show", "rowan/3")
    assert (done.status, done.err) == (0, "")
    for text in ("Umberglyph Rowan/3", "150 psi", "SUS", "glass fibre", "ISO 16889"):
        assert text in done.out


@pytest.mark.parametrize("units", ["si", "us"])
def test_json_is_the_answer_of_the_api(run: Run, demo_store_url: str, units: str) -> None:
    told = run("show", "Dulse 22", "--units", units, "--json").answer()
    with TestClient(create_app(demo_store_url)) as client:
        assert client.get(f"/v1/elements/{told['element_id']}", params={"units": units}).json() == told


def test_a_number_that_is_not_on_file_is_told_with_those_that_look_alike(run: Run) -> None:
    said = run("show", "I2-l").refused(3)
    assert "Tarnwhistle 12-1" in said
    assert "Tarnwhistle 121" in said
    assert "Check its dashes" in run("show", "ZZ 9").refused(3)
    assert "Tarnwhistle" in run("rank", "I2-l").refused(3)


def test_nothing_was_on_file_before_the_first_revision(run: Run) -> None:
    assert "The first revision" in run("show", "12-1", "--as-of", "2001-01-01").refused(3)


def test_a_dash_tells_two_numbers_apart(run: Run) -> None:
    assert run("show", "12-1", "--json").answer()["number"] == "12-1"
    assert run("show", "121", "--json").answer()["number"] == "121"
    assert run("show", "00417", "--json").answer()["number"] == "00417"
    run("show", "417").refused(3)


TWO = "maker,number\nDemo Works,X 1\nOther Demo,x1\n"


def test_one_number_of_two_makers_asks_for_the_maker(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    assert run("import", str(folder(elements=TWO)), url=own_url).status == 0
    for command in ("show", "rank"):
        said = run(command, "x1", url=own_url).refused(2)
        assert "One of Demo Works, Other Demo." in said
    assert run("show", "x1", "--maker", "other demo", "--json", url=own_url).answer()["maker"] == "Other Demo"
    run("show", "x1", "--maker", "Nobody", url=own_url).refused(3)


STRANGE = ["[bold]X[/bold]", "=1+1", "[/]7", "-K 7", ":smile: 5", "Ø 30/µ", "[link=http://x]y[/link]", "a,b\"c", "007"]


@pytest.mark.parametrize("number", STRANGE)
def test_numbers_are_printed_literally_whatever_they_look_like(
    run: Run, folder: Callable[..., Path], own_url: str, number: str
) -> None:
    quoted = number.replace('"', '""')
    named = f'[red]Demo[/red],"{quoted}"'
    sheets: dict[str, Any] = {
        "sources": "source,title\nS1,[b]Demo sheet[/b]\n",
        "elements": f"maker,number,thread,source\n{named},1-12 UNF,S1\nOther,Z 9,1-12 UNF,S1\n",
        "ratings": "maker,number,characteristic,value,remark,source\n"
        f"{named},collapse_pressure,5 bar,[i]x[/i],S1\nOther,Z 9,collapse_pressure,4 bar,,S1\n",
    }
    assert run("import", str(folder(**sheets)), url=own_url).status == 0
    shown = run("show", "--", number, url=own_url)
    assert shown.status == 0
    assert f"[red]Demo[/red] {number}   (element " in shown.out
    ranked = run("rank", "--explain", "--", "Z 9", url=own_url)
    assert f"1. [red]Demo[/red] {number}" in ranked.out
    assert "S1 ([b]Demo sheet[/b])" in ranked.out
    assert f" {number} " in ranked.out
    assert run("show", "--json", "--", number, url=own_url).answer()["number"] == number
