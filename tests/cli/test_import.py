"""``specdb import``: what is taken in, what is refused and how it is told."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from specdb.demo import demo_folder
from tests.cli.conftest import Run

ELEMENTS = "maker,number\nDemo Works,D 1\nDemo Works,D 2\n"
RATINGS = (
    "maker,number,characteristic,value,size,flow\n"
    "Demo Works,D 1,filtration_ratio,200,10 um(c),75 L/min\n"
    "Demo Works,D 2,collapse_pressure,10 bar,,\n"
)
BROKEN = (
    "maker,number,characteristic,value,size,flow\n"
    "Demo Works,D 1,filtration_ratio,200,10 um(c),75\n"
    "Demo Works,D 2,collapse_pressure,10 bar,,\n"
    'Demo Works,D 2,burst_pressure,"1,200 kPa",,\n'
    "Demo Works,D 3,luck,7,,\n"
)


def test_a_folder_is_taken_in_and_twice_is_once(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    made = folder(elements=ELEMENTS, ratings=RATINGS)
    first = run("import", str(made), url=own_url)
    assert (first.status, first.err) == (0, "")
    assert "elements: 2 added, 0 unchanged" in first.out
    assert "ratings: 2 added, 0 unchanged" in first.out
    assert "The catalogue is now at revision 1." in first.out
    second = run("import", str(made), url=own_url)
    assert second.status == 0
    assert "Nothing was new; the catalogue is unchanged." in second.out
    assert run("show", "D 1", "--json", url=own_url).answer()["catalog_revision"] == 1


def test_a_dry_run_writes_nothing(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    done = run("import", str(folder(elements=ELEMENTS, ratings=RATINGS)), "--dry-run", url=own_url)
    assert done.status == 0
    assert "elements: 2 would be added" in done.out
    assert "Dry run: nothing was written." in done.out
    assert run("show", "D 1", url=own_url).status in (3, 6)


def test_the_report_as_json(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    told = run("import", str(folder(elements=ELEMENTS, ratings=RATINGS)), "--json", url=own_url).answer()
    assert told["revision"] == 1
    assert told["added"]["elements"] == 2
    assert told["dry_run"] is False


def test_every_fault_is_told_with_file_row_and_column(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    made = folder(elements=ELEMENTS, ratings=BROKEN)
    for dry in ((), ("--dry-run",)):
        said = run("import", str(made), *dry, url=own_url).refused(4)
        assert "nothing was changed" in said
        assert "ratings.csv, row 2, column flow: " in said
        assert "ratings.csv, row 4, column value: " in said
        assert "ratings.csv, row 5, column characteristic: " in said
        assert "row 3" not in said
    assert run("show", "D 1", url=own_url).status in (3, 6)


def test_faults_as_json_name_file_row_and_column(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    done = run("import", str(folder(elements=ELEMENTS, ratings=BROKEN)), "--json", url=own_url)
    assert (done.status, done.out) == (4, "")
    told = json.loads(done.err)
    assert told["code"] == "import-refused"
    places = {(fault["file"], fault["row"], fault["column"]) for fault in told["errors"]}
    assert ("ratings.csv", 2, "flow") in places
    assert ("ratings.csv", 4, "value") in places
    for fault in told["errors"]:
        assert fault["message"]
        assert fault["remedy"]


def test_a_folder_that_is_not_there_or_holds_no_sheet(run: Run, tmp_path: Path, own_url: str) -> None:
    assert "No such file" in run("import", str(tmp_path / "none"), url=own_url).refused(4)
    assert "elements.csv" in run("import", str(tmp_path), url=own_url).refused(4)


def test_the_demo_catalogue_is_a_folder_like_any_other(run: Run, own_url: str) -> None:
    told = run("import", str(demo_folder()), "--json", "--actor", "someone", "--reason", "a try", url=own_url).answer()
    assert told["added"]["elements"] == 171
    assert told["revision"] == 1
